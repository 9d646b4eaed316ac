"""Many machines that differ little, looked at in one search.

A variable that no cycle changes says which machine it is (`control.model.Versions`), so what is reached is a set of
pairs of a machine and a state, and every answer is the set of machines that it holds for. What the machines have in
common is worked out once. A machine leaves the search with the first cycle in which a question that one cycle answers
is broken: nothing is asked of what follows.

One machine more is looked at first, that in which nothing is other (the *sound* one). Where in no cycle from a state
that it reaches anything other follows in another machine, that machine reaches the same states after the same numbers
of cycles, so it takes no search of its own.

What questions remember from cycle to cycle is left out of all this. What may occur with it is known from an outline:
all that follows from any reached state with nothing remembered yet (see `prover.symbolic.outline`). Machines in which a
question with a memory may be broken are searched once more, with it.
"""

from collections.abc import Collection, Iterator, Sequence
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
from ordain.prover.symbolic.relation import Graph, Part, Relation
from ordain.prover.symbolic.space import by_value

NAME = "which machine"
"""The variable's name: no machine file can have one with a space in it."""
LARGEST = 200_000
"""Nodes of what is new in a cycle up to which machines are looked at together."""


class TooMany(Exception):
    """The machines have too little in common to be looked at together, or a limit was reached. The argument says
    which: "width" or a limit."""


def with_versions(system: System, changes: dict[str, tuple[dict[int, int], ...]], count: int) -> System:
    """The system of `count` machines, and of the sound one, whose number that is. `changes`: as in `Versions`."""
    leaf = system.terms.leaf("state", NAME, count.bit_length())
    variable = Variable(NAME, leaf, count + 1, None, leaf, "monitor")
    return system._replace(variables=(*system.variables, variable), versions=Versions(leaf, dict(changes)))


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
            number = self._number_atoms = sum(1 << atom for atom in space.atoms.of(self._leaf))
            self._number = space.cube(members(number))
            self._others = space.cube(members(atoms & ~number))
            self._free = space.cube(range(space.states, space.atoms.count))
            watched = sum(own for own in self._model.monitors.values())
            self._watched = watched
            self._having: dict[Node, BDDFunction] = {}
            self._graphs: dict[tuple[frozenset[int], int], Graph] = {}
            self.first: dict[int, list[Broken]] = {}
            self._search(sorted(stopping))
        except LimitReached as limit:
            raise TooMany(str(limit)) from None
        except DDMemoryError:
            raise TooMany("memory") from None

    # ------------------------------------------------------------ the search

    def _search(self, stopping: list[int]) -> None:
        space, plain = self._space, self._model.plain
        self._parts: dict[int, list[Part]] = {}
        self._to_sound = BDDFunction.make_substitution(
            (space.number[atom], space.true if self._count >> bit & 1 else space.false)
            for bit, atom in enumerate(space.atoms.of(self._leaf)))
        at_once = [number for number in stopping if not self._properties[number].monitors]
        self._seen = space.false
        number = self._among((self._count,))
        layers = [layer.exists(self._number) for layer in self._layers(plain, number, ())]
        self._sound = space.false
        for layer in layers:
            self._sound = self._sound | layer
        everyone = space.within(self._leaf, self._count + 1) & ~number
        gone = everyone & self._projected(self._moving())
        same = everyone & ~gone
        self._seen = space.false
        for level, layer in enumerate(layers):
            self._seen = self._seen | layer & same
            same = self._stopped(layer & same, same, at_once, level)
        reached = self._sound & same
        if gone.satisfiable():
            for layer in self._layers(plain, gone, at_once):
                reached = reached | layer
        self._alike = self.machines(same)
        self._outlined = self._outline() if self._watched else self._seen
        self._again([number for number in stopping if self._properties[number].monitors], stopping)
        self.left = frozenset(range(self._count)) - self.first.keys()
        self._alike &= self.left
        self._plain = reached & ~self._among(self.first) if self.first else reached
        self._with_memory: tuple[frozenset[int], BDDFunction] | None = None

    def _again(self, remembering: list[int], stopping: list[int]) -> None:
        """Search the machines once more in which a question with a memory may be broken, with what it remembers."""
        if remembering:
            broken = self.having(self._terms.or_([self._properties[number].node for number in remembering]))
            maybe = self.machines(self._outlined & broken)
            for machine in maybe:
                self.first.pop(machine, None)
            if maybe:
                for _ in self._layers(self._atoms, self._among(maybe), stopping):
                    pass

    def _outline(self) -> BDDFunction:
        """More than what is reached with what questions remember, in states that were seen."""
        found = now = self._seen & start_of(self._model, self._watched)
        relation = self._relation(self._atoms)
        while now.satisfiable():
            if now.node_count() > LARGEST:
                raise TooMany("width")
            self._watch.look()
            now = relation.after(now) & self._seen & ~found
            found = found | now
        return found

    def _relation(self, atoms: int, reads: int = 0) -> Relation:
        """What follows, as far as some atoms know. `reads`: what conditions read that sets are met with."""
        if atoms not in self._parts:
            self._parts[atoms] = self._model.parts(atoms, self._watch.look)
        required = self._model.required
        return Relation(self._space, self._parts[atoms], atoms, Part(required.holds, required.reads | reads, 0),
                        self._watch.look)

    def _layers(self, atoms: int, machines: BDDFunction, stopping: Sequence[int]) -> Iterator[BDDFunction]:
        """What some machines reach, cycle after cycle, as long as none of the questions is broken."""
        now = reached = start_of(self._model, atoms) & machines
        relation, level = self._relation(atoms), 0
        while now.satisfiable():
            if now.node_count() > LARGEST:
                raise TooMany("width")
            self._seen = self._seen | now
            now = self._stopped(now, now, stopping, level)
            yield now
            self._watch.look()
            now = relation.after(now) & ~reached
            reached = reached | now
            level += 1

    def _stopped(self, now: BDDFunction, among: BDDFunction, stopping: Sequence[int], level: int) -> BDDFunction:
        """Of a set the part with machines in which no question is broken in a layer; the others are noted."""
        hit = now & self.having(self._terms.or_([self._properties[number].node for number in stopping])) \
            if stopping else self._space.false
        if not hit.satisfiable():
            return among
        self._note(now, self.machines(hit), stopping, level)
        return among & ~self._projected(hit)

    def _moving(self) -> BDDFunction:
        """The sound machine's states with the machines in which something else can follow."""
        space = self._space
        found = space.false
        for atom in members(self._model.plain):
            function = space.function(atom)
            sound = function.substitute(self._to_sound)
            if sound != function and not self._number_atoms >> atom & 1:
                self._watch.look()
                found = found | self._having_of((function ^ sound) & self._sound)
        required = self._model.required.holds
        return found | self._differing(required, required.substitute(self._to_sound))

    def _differing(self, one: BDDFunction, other: BDDFunction) -> BDDFunction:
        return ((one ^ other) & self._sound).exists(self._free)

    def _note(self, now: BDDFunction, machines: frozenset[int], stopping: Sequence[int], level: int) -> None:
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
        self._plain = self._plain & wanted
        self.left = frozenset(machines)
        self._alike &= self.left

    # ------------------------------------------------------------ what is asked of those that are left

    def occurring(self, node: Node) -> frozenset[int]:
        """The machines that are left in which some cycle has a condition."""
        having = self.having(node)
        if not self._space.read_by(node) & self._watched:
            return self.machines(self._plain & having)
        may = self.machines(self._outlined & having) & self.left
        sure = self._surely(node) & may
        return sure | self.machines(self._remembering(may - sure) & having) if may - sure else sure

    def _surely(self, node: Node) -> frozenset[int]:
        """The machines in which a condition certainly occurs, as far as the outline says: as in
        `prover.symbolic.outline`, where one bit opens a window, and what opens it also keeps it open."""
        space = self._space
        read = members(space.read_by(node) & self._watched)
        monitor = next((one for one, own in self._model.monitors.items()
                        if len(read) == 1 and own == 1 << read[0]), None)
        if monitor is None or monitor.reset != 0 or space.reads[read[0]] & self._watched & ~(1 << read[0]):
            return frozenset()
        atom, function = read[0], space.function(read[0])
        opens, stays = (function.substitute(BDDFunction.make_substitution([(space.number[atom], value)]))
                        for value in (space.false, space.true))
        shut = self.machines(self._having_of(opens & ~stays) & self._plain)
        return self.machines(self._outlined & space.now[atom] & self.having(node)) - shut

    def _remembering(self, machines: frozenset[int]) -> BDDFunction:
        """What some machines reach, with what questions remember."""
        if self._with_memory is None or not machines <= self._with_memory[0]:
            found = self._space.false
            for layer in self._layers(self._atoms, self._among(machines), ()):
                found = found | layer
            self._with_memory = machines, found
        return self._with_memory[1] & self._among(machines)

    def broken(self, number: int) -> frozenset[int]:
        """The machines that are left in which a question is broken that is not broken in the sound machine."""
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
        return self.machines(self._plain & ~self._having_of(self._space.true))

    def _own(self, prop: Property, conditions: Sequence[Node]) -> frozenset[int]:
        """The machines that are left of which the sound one does not say what follows, or in which some conditions
        hold in other cycles."""
        if prop.monitors:
            return self.left
        apart = set(self.left - self._alike)
        for node in conditions:
            holds = self._space.of(node)
            sound = holds.substitute(self._to_sound)
            if holds != sound:
                apart |= self.machines(self._differing(holds, sound)) & self.left
        return frozenset(apart)

    def _lost(self, prop: Property) -> frozenset[int]:
        """From some state no way leads to what is always to be reached: backwards from all that has it."""
        own = self._own(prop, (prop.node,))
        if not own:
            return own
        reached = self._remembering(own) if prop.monitors else self._plain & self._among(own)
        graph = self._graph(own, reached, self._atoms if prop.monitors else self._model.plain)
        able = now = reached & self.having(prop.node)
        while now.satisfiable():
            now = graph.before(now) & ~able
            able = able | now
        return self.machines(reached & ~able)

    def _graph(self, machines: frozenset[int], reached: BDDFunction, atoms: int) -> Graph:
        """The cycles from what some machines reach."""
        found = self._graphs.get((machines, atoms))
        if found is None:
            self._graphs.clear()
            found = self._graphs[machines, atoms] = self._relation(atoms).graph(reached, self._space.true, 0)
        return found

    def _late(self, prop: Property) -> frozenset[int]:
        """After a cycle with the trigger and no response, so many more without one."""
        terms, space = self._terms, self._space
        assert prop.trigger is not None
        open_ = terms.and_([terms.not_(node) for node in (prop.node, prop.unless) if node is not None])
        ignored = terms.and_((prop.trigger, open_))
        if not prop.cycles:
            return self.occurring(ignored)
        own = self._own(prop, (open_, ignored))
        if not own:
            return own
        reached = self._remembering(own) if prop.monitors else self._plain & self._among(own)
        relation = self._relation(self._atoms if prop.monitors else self._model.plain,
                                  space.read_by(open_) | space.read_by(ignored))
        waiting = space.of(open_)
        now = relation.after(reached & space.of(ignored))
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
