"""What a cycle does: as a partitioned relation, for going forwards, and as the graph of the cycles from some states.

In a partitioned relation what is quantified is quantified as soon as no later part reads it (Burch, Clarke, Long 1991).
A graph has no inputs left in it. From states that are known to be all that can be reached it is small, and one step in
it, forwards or backwards, is one operation.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from oxidd.bdd import BDDFunction
from oxidd.util import BooleanOperator

from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.space import Space

AND = BooleanOperator.AND
LARGEST = 4000
"""Nodes of a part of the relation up to which others are joined to it, if nothing else is said."""


class Conjunct(NamedTuple):
    """`holds`: over present, next and free atoms. `reads`: the present and free atoms in it, `sets`: the next ones."""

    holds: BDDFunction
    reads: int
    sets: int


class Graph:
    """Pairs of a state and one that follows, over present and next values of some atoms."""

    def __init__(self, space: Space, holds: BDDFunction, atoms: int, look: Callable[[], None]) -> None:
        self.holds, self._space, self._atoms, self._look = holds, space, atoms, look
        every = members(atoms)
        self._now, self._next = space.cube(every), space.next_cube(every)
        self._to_now, self._to_next = space.renamed(every, False), space.renamed(every, True)

    def after(self, states: BDDFunction) -> BDDFunction:
        """The states that follow those of a set."""
        self._look()
        return self.holds.apply_exists(AND, states, self._now).substitute(self._to_now)

    def before(self, states: BDDFunction) -> BDDFunction:
        """The states that a state of a set follows."""
        self._look()
        return self.holds.apply_exists(AND, states.substitute(self._to_next), self._next)

    def having(self, condition: BDDFunction) -> "Graph":
        """The cycles from states with a condition, over these alone."""
        return Graph(self._space, self.holds & condition, self._atoms, self._look)


class Relation:
    """The cycles with what is `required`, as far as they set the atoms in `parts`. `over`: the atoms of the states that
    it starts from; all others have any value, in every cycle. `look` is called before each operation."""

    def __init__(self, space: Space, parts: list[Conjunct], over: int, required: Conjunct,
                 look: Callable[[], None]) -> None:
        self.space, self.over, self.parts, self.required, self.look = space, over, parts, required, look
        self._inputs = ((1 << space.atoms.count) - 1) & ~over
        alone = [required, *_alone(space, parts, required.reads, self._inputs)]
        self._steps = scheduled(space, alone, over | self._inputs)
        self._keeping = scheduled(space, alone, self._inputs)
        sets = [atom for part in parts for atom in members(part.sets)]
        self._to_now, self._to_next = space.renamed(sets, False), space.renamed(sets, True)
        self._next = space.next_cube(sets)

    def after(self, states: BDDFunction) -> BDDFunction:
        """The values that the atoms can have one cycle after a set of states."""
        found = states
        for holds, quantified in self._steps:
            self.look()
            found = found.apply_exists(AND, holds, quantified)
        return found.substitute(self._to_now)

    def into(self, states: BDDFunction, one: BDDFunction) -> BDDFunction:
        """Those of a set of states that one single state follows."""
        goal, found = one.substitute(self._to_next), states
        for holds, quantified in self._keeping:
            found = found.apply_exists(AND, holds.apply_exists(AND, goal, self._next), quantified)
        return found

    def graph(self, states: BDDFunction, condition: BDDFunction, reads: int) -> Graph:
        """The cycles from a set of states in which a condition over states and inputs holds."""
        found = states & condition
        required = Conjunct(self.required.holds, self.required.reads | reads, 0)
        parts = [required, *_alone(self.space, self.parts, required.reads, self._inputs)]
        for holds, quantified in scheduled(self.space, parts, self._inputs):
            self.look()
            found = found.apply_exists(AND, holds, quantified)
        return Graph(self.space, found, self.over, self.look)


def _alone(space: Space, parts: list[Conjunct], read: int, inputs: int) -> list[Conjunct]:
    """The parts with the inputs quantified that nothing else reads. `read`: what is read elsewhere."""
    found = []
    for number, part in enumerate(parts):
        others = read
        for other in parts[:number] + parts[number + 1:]:
            others |= other.reads
        alone = part.reads & inputs & ~others
        found.append(part if not alone else
                     Conjunct(part.holds.exists(space.cube(members(alone))), part.reads & ~alone, part.sets))
    return found


def scheduled(space: Space, parts: list[Conjunct], quantified: int) -> list[tuple[BDDFunction, BDDFunction]]:
    """The parts, and what is quantified with each: what no later one reads."""
    steps = []
    left = quantified
    for number, part in enumerate(parts):
        later = 0
        for other in parts[number + 1:]:
            later |= other.reads
        steps.append((part.holds, space.cube(members(left & ~later))))
        left &= later
    return steps


def parts_of(space: Space, sets: Iterable[int], look: Callable[[], None],
             live: Mapping[int, BDDFunction] | None = None, largest: int = LARGEST) -> list[Conjunct]:
    """The next values of some atoms, put together while they stay small, those that read the same side by side.
    `live`: where the next values of some atoms count, over next values of others; elsewhere they are 0. `largest`:
    nodes of a part up to which others are joined to it."""
    parts: list[Conjunct] = []
    plain, held = list[Conjunct](), list[Conjunct]()
    for atom in sets:
        if live is None or atom not in live:
            plain.append(Conjunct(space.next(atom).equiv(space.function(atom)), space.reads[atom], 1 << atom))
        else:
            held.append(Conjunct(space.next(atom).equiv(space.function(atom) & live[atom]), space.reads[atom],
                                 1 << atom))
    for single in [*_in_order(plain), *_in_order(held)]:
        look()
        if parts:
            last = parts[-1]
            both = last.holds & single.holds
            if both.node_count() <= largest:
                parts[-1] = Conjunct(both, last.reads | single.reads, last.sets | single.sets)
                continue
        parts.append(single)
    return parts


def _in_order(parts: list[Conjunct]) -> list[Conjunct]:
    left, found, seen = list(parts), list[Conjunct](), 0
    while left:
        best = max(range(len(left)), key=lambda at: ((left[at].reads & seen).bit_count()
                                                     - (left[at].reads & ~seen).bit_count(), -at))
        part = left.pop(best)
        seen |= part.reads
        found.append(part)
    return found
