"""Many machines that differ little, looked at in one search.

A variable that no cycle changes says which machine it is (`control.model.Versions`), so what is reached is a set of
pairs of a machine and a state, and every answer is the set of machines that it holds for. What the machines have in
common is worked out once. A machine leaves the search with the first cycle in which a question that one cycle answers
is broken: nothing is asked of what follows.

One machine more is looked at first, that in which nothing is other (the *sound* one). Where in no cycle from a state
that it reaches anything other follows in another machine, that machine reaches the same states after the same numbers
of cycles, so it takes no search of its own.

What questions remember from cycle to cycle is left out of all this. Of the machines that are left then, what may occur
with it is known from an outline: all that follows from any reached state with nothing remembered yet (see
`prover.symbolic.outline`). Machines in which a question with a memory may be broken are searched once more, with it.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
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
FEW = 8
"""So many machines are searched as quickly as something is found out about them otherwise."""


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
    of them is; those that remember earlier cycles are asked only where no other is broken. `left`: the machines in
    which none is; of these more can be asked. Raises TooMany."""

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
            watched = sum(own for own in self._model.monitors.values())
            self._leaf = system.versions.leaf
            number = self._number_atoms = sum(1 << atom for atom in space.atoms.of(self._leaf))
            self._number = space.cube(members(number))
            self._others = space.cube(members((self._model.plain | watched) & ~number))
            self._free = space.cube(range(space.states, space.atoms.count))
            self._watched = watched
            self._outlines: dict[int, BDDFunction] = {}
            self._besides: dict[int, tuple[frozenset[int], BDDFunction]] = {}
            self._remembered: dict[int, tuple[frozenset[int], BDDFunction]] = {}
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
        number = self._among((self._count,))
        layers = [layer.exists(self._number) for layer in self._layers(plain, number, ())]
        self._sound = space.false
        for layer in layers:
            self._sound = self._sound | layer
        everyone = space.within(self._leaf, self._count + 1) & ~number
        gone = everyone & self._projected(self._moving())
        same = everyone & ~gone
        for level, layer in enumerate(layers):
            same = self._stopped(layer & same, same, at_once, level)
        reached = self._sound & same
        if gone.satisfiable():
            for layer in self._layers(plain, gone, at_once):
                reached = reached | layer
        self._plain = reached & ~self._among(self.first) if self.first else reached
        self._alike = self.machines(same)
        self._again([number for number in stopping if self._properties[number].monitors])
        self.restrict(frozenset(range(self._count)) - self.first.keys())

    def _again(self, remembering: list[int]) -> None:
        """Search the machines once more in which only a question with a memory may be broken: once for each set of
        things to remember."""
        groups: dict[int, list[int]] = {}
        for number in remembering:
            groups.setdefault(self._memory((self._properties[number].node,)), []).append(number)
        before = frozenset(self.first)
        for memory, numbers in groups.items():
            broken = self.having(self._terms.or_([self._properties[number].node for number in numbers]))
            maybe = self._maybe(memory, broken) - before
            if maybe:
                for _ in self._layers(self._model.plain | memory, self._among(maybe), numbers):
                    pass
        for machine, found in self.first.items():
            least = min(one.cycles for one in found)
            self.first[machine] = [one for one in found if one.cycles == least]

    def _memory(self, nodes: Iterable[Node]) -> int:
        """What questions remember that some conditions depend on, as atoms."""
        found, now = 0, 0
        for node in nodes:
            now |= self._space.read_by(node) & self._watched
        while now:
            found |= now
            more = 0
            for atom in members(now):
                more |= self._space.reads[atom] & self._watched
            now = more & ~found
        return found

    def _maybe(self, memory: int, condition: BDDFunction) -> frozenset[int]:
        """The machines in which a condition may occur: all others certainly never have it."""
        may = self.machines(self._outline(memory) & condition)
        return self.machines(self._beside(memory, may) & condition) if len(may) > FEW else may

    def _beside(self, memory: int, machines: frozenset[int]) -> BDDFunction:
        """More than what some machines reach, and mostly less than their outline: what the sound one reaches, and all
        that follows from that in them."""
        known = self._besides.get(memory)
        if known is None or not machines <= known[0]:
            atoms, plain = self._model.plain | memory, self._plain & self._among(machines)
            sound = self._space.false
            for layer in self._layers(atoms, self._among((self._count,)), ()):
                sound = sound | layer
            found = now = sound.exists(self._number) & plain
            relation = self._relation(atoms)
            while now.satisfiable():
                if now.node_count() > LARGEST:
                    raise TooMany("width")
                self._watch.look()
                now = relation.after(now) & plain & ~found
                found = found | now
            known = self._besides[memory] = machines, found
        return known[1]

    def _outline(self, memory: int) -> BDDFunction:
        """More than what the machines that were left reach, with what questions remember, in states that were seen."""
        if not memory:
            return self._plain
        known = self._outlines.get(memory)
        if known is not None:
            return known
        atoms = self._model.plain | memory
        found = now = self._plain & start_of(self._model, memory)
        relation = self._relation(atoms)
        while now.satisfiable():
            if now.node_count() > LARGEST:
                raise TooMany("width")
            self._watch.look()
            now = relation.after(now) & self._plain & ~found
            found = found | now
        self._outlines[memory] = found
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
        having, memory = self.having(node), self._memory((node,))
        if not memory:
            return self.machines(self._plain & having)
        may = self._maybe(memory, having) & self.left
        sure = self._surely(node, memory) & may
        return sure | self._met(memory, may - sure, having)

    def _met(self, memory: int, machines: frozenset[int], condition: BDDFunction) -> frozenset[int]:
        """Those of some machines that reach a condition, with what questions remember; each is followed until then."""
        atoms, found = self._model.plain | memory, frozenset[int]()
        relation = self._relation(atoms)
        now = reached = start_of(self._model, atoms) & self._among(machines)
        while now.satisfiable():
            if now.node_count() > LARGEST:
                raise TooMany("width")
            self._watch.look()
            hit = self.machines(now & condition)
            if hit:
                found |= hit
                now = now & ~self._among(hit)
            now = relation.after(now) & ~reached
            reached = reached | now
        return found

    def _surely(self, node: Node, memory: int) -> frozenset[int]:
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
        return self.machines(self._outline(memory) & space.now[atom] & self.having(node)) - shut

    def _remembering(self, memory: int, machines: frozenset[int]) -> BDDFunction:
        """What some machines reach, with what questions remember."""
        before = self._remembered.get(memory)
        if before is None or not machines <= before[0]:
            found = self._space.false
            for layer in self._layers(self._model.plain | memory, self._among(machines), ()):
                found = found | layer
            before = self._remembered[memory] = machines, found
        return before[1] & self._among(machines)

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
        memory = self._memory((prop.node,))
        reached = self._remembering(memory, own) if memory else self._plain & self._among(own)
        graph = self._graph(own, reached, self._model.plain | memory)
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
        memory = self._memory((open_, ignored))
        reached = self._remembering(memory, own) if memory else self._plain & self._among(own)
        relation = self._relation(self._model.plain | memory, space.read_by(open_) | space.read_by(ignored))
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
