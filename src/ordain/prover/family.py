"""Many machines that differ little, looked at in one search.

A variable that no cycle changes says which machine it is (`control.model.Versions`), so what is reached is a set of
pairs of a machine and a state, and every answer is the set of machines that it holds for. What the machines have in
common is worked out once. A machine leaves the search with the first cycle in which a question that one cycle answers
is broken: nothing is asked of what follows.
"""

from collections.abc import Collection, Sequence
from time import monotonic
from typing import NamedTuple

from oxidd.bdd import BDDFunction
from oxidd.util import BooleanOperator, DDMemoryError

from ordain.control.model import System, Variable, Versions
from ordain.control.system import with_free
from ordain.machine.expression import Node
from ordain.prover.limits import LimitReached
from ordain.prover.model import Limits, Property
from ordain.prover.questions import lower_properties, nodes_of
from ordain.prover.symbolic.cases import Watch, model_of, start_of
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import Part, Relation
from ordain.prover.symbolic.space import by_value

NAME = "which machine"
"""The variable's name: no machine file can have one with a space in it."""
LARGEST = 200_000
"""Nodes of what is new in a cycle up to which machines are looked at together."""


class TooMany(Exception):
    """The machines have too little in common to be looked at together, or a limit was reached. The argument says
    which: "width" or a limit."""


def with_versions(system: System, changes: dict[str, tuple[dict[int, int], ...]], count: int) -> System:
    """The system of `count` machines. `changes`: as in `Versions`."""
    leaf = number_leaf(system, count)
    variable = Variable(NAME, leaf, count, None, leaf, "monitor")
    return system._replace(variables=(*system.variables, variable), versions=Versions(leaf, dict(changes)))


def number_leaf(system: System, count: int) -> Node:
    return system.terms.leaf("state", NAME, max(1, (count - 1).bit_length()))


class Broken(NamedTuple):
    """A question, by its number, that is broken in a machine. `cycles`: how many the shortest sequence has."""

    question: int
    cycles: int


class Family:
    """`first[machine]`: the questions among `stopping` (of kind "bad") that are broken in the first cycle in which one
    of them is. `left`: the machines in which none is; of these more can be asked. Raises TooMany."""

    def __init__(self, system: System, properties: Sequence[Property], stopping: Collection[int], count: int,
                 limits: Limits) -> None:
        asked = lower_properties(system, tuple(properties))
        nodes = tuple(node for prop in asked for node in nodes_of(prop))
        system = system._replace(free=with_free(system.free, nodes))
        assert system.versions is not None
        self._properties, self._count = asked, count
        self._terms = system.terms
        self._watch = Watch(limits, None, monotonic())
        try:
            self._model = model_of(system, asked, limits)
            self._space = space = self._model.space
            self._watch.tidy = space.tidy
            self._system = system
            atoms = self._model.plain
            for own in self._model.monitors.values():
                atoms |= own
            self._atoms = atoms
            self._leaf = system.versions.leaf
            number = sum(1 << atom for atom in space.atoms.of(self._leaf))
            self._others = space.cube(members(atoms & ~number))
            self._free = space.cube(range(space.states, space.atoms.count))
            watched = sum(own for own in self._model.monitors.values())
            self._watchers = space.cube(members(watched))
            self._having: dict[Node, BDDFunction] = {}
            self.first: dict[int, list[Broken]] = {}
            self._search(sorted(stopping))
        except LimitReached as limit:
            raise TooMany(str(limit)) from None
        except DDMemoryError:
            raise TooMany("memory") from None

    # ------------------------------------------------------------ the search

    def _search(self, stopping: list[int]) -> None:
        space, model = self._space, self._model
        parts = model.parts(self._atoms, self._watch.look)
        self._parts = parts
        relation = Relation(space, parts, self._atoms, model.required, self._watch.look)
        now = reached = start_of(model, self._atoms)
        fatal = self.having(self._terms.or_([self._properties[number].node for number in stopping])) \
            if stopping else space.false
        self.new: list[BDDFunction] = []
        level = 0
        while now.satisfiable():
            if now.node_count() > LARGEST:
                raise TooMany("width")
            hit = now & fatal
            if hit.satisfiable():
                self._note(now, self.machines(hit), stopping, level)
                now = now & ~self._projected(hit)
            self.new.append(now)
            self._watch.look()
            now = relation.after(now) & ~reached
            reached = reached | now
            level += 1
        self._reached = reached & ~self._among(self.first) if self.first else reached
        self._plain = self._reached.exists(self._watchers)
        self.left = frozenset(range(self._count)) - self.first.keys()

    def _note(self, now: BDDFunction, machines: frozenset[int], stopping: list[int], level: int) -> None:
        for number in stopping:
            holding = now & self.having(self._properties[number].node)
            for machine in self.machines(holding):
                self.first.setdefault(machine, []).append(Broken(number, level + 1))
        assert machines <= self.first.keys()

    def having(self, node: Node) -> BDDFunction:
        """The states, with machines, in which some input makes a condition true."""
        found = self._having.get(node)
        if found is None:
            found = self._having[node] = self._having_of(self._space.of(node))
        return found

    def _having_of(self, condition: BDDFunction) -> BDDFunction:
        return condition.apply_exists(BooleanOperator.AND, self._model.required.holds, self._free)

    def _projected(self, states: BDDFunction) -> BDDFunction:
        return states.exists(self._others)

    def machines(self, states: BDDFunction) -> frozenset[int]:
        """Those that have a state in a set."""
        bits = self._space.bits(self._leaf)
        return frozenset(value for value, _ in by_value(bits, self._projected(states)))

    def _among(self, machines: Collection[int]) -> BDDFunction:
        return self._space.of(self._terms.among(self._leaf, frozenset(machines)))

    def restrict(self, machines: Collection[int]) -> None:
        """Ask no more of others."""
        wanted = self._among(machines) if machines else self._space.false
        self._reached, self._plain = self._reached & wanted, self._plain & wanted
        self.left = frozenset(machines)

    # ------------------------------------------------------------ what is asked of those that are left

    def occurring(self, node: Node) -> frozenset[int]:
        """The machines in which some cycle has a condition. The node: lowered, as in `lowered`."""
        return self.machines(self._reached & self.having(node))

    def lowered(self, number: int) -> Property:
        return self._properties[number]

    def broken(self, number: int) -> frozenset[int]:
        """The machines that are left in which a question is broken."""
        prop = self._properties[number]
        try:
            match prop.kind:
                case "bad":
                    return self.occurring(prop.node)
                case "reach":
                    return self.left - self.occurring(prop.node)
                case "always":
                    return self._lost(prop)
                case "within":
                    return self._late(prop)
        except LimitReached as limit:
            raise TooMany(str(limit)) from None
        except DDMemoryError:
            raise TooMany("memory") from None

    def vacuous(self, number: int) -> frozenset[int]:
        """Those in which what a question takes for granted never occurs."""
        prop = self._properties[number]
        return frozenset() if prop.vacuity is None else self.left - self.occurring(prop.vacuity)

    def dead(self) -> frozenset[int]:
        """Those in which some state has no input that satisfies the assumptions."""
        return self.machines(self._reached & ~self._having_of(self._space.true))

    def _lost(self, prop: Property) -> frozenset[int]:
        """From some state no way leads to what is always to be reached: backwards from all that has it."""
        space = self._space
        reached = self._reached if prop.monitors else self._plain
        wanted = self._atoms if prop.monitors else self._model.plain
        following = BDDFunction.make_substitution(
            (space.number[atom], space.function(atom)) for atom in members(wanted))
        able = now = reached & self.having(prop.node)
        while now.satisfiable():
            self._watch.look()
            now = self._having_of(now.substitute(following)) & reached & ~able
            able = able | now
        return self.machines(reached & ~able)

    def _late(self, prop: Property) -> frozenset[int]:
        """After a cycle with the trigger and no response, so many more without one."""
        terms, space = self._terms, self._space
        assert prop.trigger is not None
        open_ = terms.and_([terms.not_(node) for node in (prop.node, prop.unless) if node is not None])
        ignored = terms.and_((prop.trigger, open_))
        if not prop.cycles:
            return self.occurring(ignored)
        reads = self._model.required.reads | space.read_by(open_) | space.read_by(ignored)
        relation = Relation(space, self._parts, self._atoms, Part(self._model.required.holds, reads, 0),
                            self._watch.look)
        waiting = space.of(open_)
        now = relation.after(self._reached & space.of(ignored))
        for _ in range(prop.cycles - 1):
            if not now.satisfiable():
                break
            now = relation.after(now & waiting)
        return self.machines(now & self.having(open_))

    def executed(self, store: str) -> dict[int, frozenset[int]]:
        """Per address of a store the machines that are left in which some cycle presents it."""
        space, address = self._space, self._system.addresses[store]
        number = sum(1 << atom for atom in space.atoms.of(self._leaf))
        others = ((1 << space.atoms.count) - 1) & ~space.read_by(address) & ~number
        shown = (self._plain & self._model.required.holds).exists(space.cube(members(others)))
        bits = space.bits(self._leaf)
        wanted = space.cube(members(((1 << space.atoms.count) - 1) & ~number & space.read_by(address)))
        found = {}
        for place, some in by_value(space.bits(address), shown):
            found[place] = frozenset(value for value, _ in by_value(bits, some.exists(wanted)))
        return found
