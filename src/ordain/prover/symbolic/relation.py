"""What a cycle does, as a partitioned relation: the next values of some atoms, and what is required of every cycle.

What is quantified is quantified as soon as no later part reads it (Burch, Clarke, Long 1991).
"""

from collections.abc import Callable, Iterable
from typing import NamedTuple

from oxidd.bdd import BDDFunction
from oxidd.util import BooleanOperator

from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.space import Space

AND = BooleanOperator.AND
LARGEST = 4000
"""Nodes of a part of the relation up to which others are joined to it."""


class Part(NamedTuple):
    """`holds`: over present, next and free atoms. `reads`: the present and free atoms in it, `sets`: the next ones."""

    holds: BDDFunction
    reads: int
    sets: int


class _Step(NamedTuple):
    """One part of an image, what is quantified with it going forwards, and going backwards."""

    holds: BDDFunction
    forwards: BDDFunction
    sets: BDDFunction
    backwards: BDDFunction


class Relation:
    """The cycles with `required`, as far as they set the atoms in `parts`. `over`: the atoms of the states that it
    starts from. `look` is called before each operation."""

    def __init__(self, space: Space, parts: list[Part], over: int, required: Part, look: Callable[[], None]) -> None:
        self.space, self.over, self.required = space, over, required
        self._together, self.look = parts, look
        self._inputs = ((1 << space.atoms.count) - 1) >> space.states << space.states
        self._steps = self._scheduled(self._alone(parts))
        sets = [atom for part in parts for atom in members(part.sets)]
        self._to_now, self._to_next = space.renamed(sets, False), space.renamed(sets, True)
        self._free = space.cube(members(self._inputs))

    def only(self, condition: BDDFunction, reads: int) -> "Relation":
        """The cycles of these in which a condition over states and inputs holds."""
        required = Part(self.required.holds & condition, self.required.reads | reads, 0)
        return Relation(self.space, self._together, self.over, required, self.look)

    def _alone(self, parts: list[Part]) -> list[Part]:
        """The parts with the inputs quantified that nothing else reads."""
        found = []
        for number, part in enumerate(parts):
            others = self.required.reads
            for other in parts[:number] + parts[number + 1:]:
                others |= other.reads
            alone = part.reads & self._inputs & ~others
            found.append(part if not alone else
                         Part(part.holds.exists(self.space.cube(members(alone))), part.reads & ~alone, part.sets))
        return found

    def _scheduled(self, parts: list[Part]) -> list[_Step]:
        space, steps = self.space, list[_Step]()
        forwards = self.over | self._inputs
        backwards = self._inputs & ~self.required.reads
        for number, part in enumerate(every := [self.required, *parts]):
            later = 0
            for other in every[number + 1:]:
                later |= other.reads
            steps.append(_Step(part.holds, space.cube(members(forwards & ~later)),
                               space.next_cube(members(part.sets)), space.cube(members(backwards & ~later))))
            forwards, backwards = forwards & later, backwards & later
        return steps

    def after(self, states: BDDFunction) -> BDDFunction:
        """The values that the atoms can have one cycle after a set of states."""
        found = states
        for step in self._steps:
            self.look()
            found = found.apply_exists(AND, step.holds, step.forwards)
        return found.substitute(self._to_now)

    def before(self, states: BDDFunction) -> BDDFunction:
        """The states from which a cycle leads into a set."""
        found = states.substitute(self._to_next)
        required, *others = self._steps
        for step in others:
            self.look()
            if found.exists(step.sets) != found:
                found = found.apply_exists(AND, step.holds, step.sets & step.backwards)
        self.look()
        return found.apply_exists(AND, required.holds, self._free)


def parts_of(space: Space, sets: Iterable[int], look: Callable[[], None]) -> list[Part]:
    """The next values of some atoms, put together while they stay small, those that read the same side by side."""
    parts: list[Part] = []
    for single in _in_order([Part(space.next(atom).equiv(space.function(atom)), space.reads[atom], 1 << atom)
                             for atom in sets]):
        look()
        if parts:
            last = parts[-1]
            both = last.holds & single.holds
            if both.node_count() <= LARGEST:
                parts[-1] = Part(both, last.reads | single.reads, last.sets | single.sets)
                continue
        parts.append(single)
    return parts


def _in_order(parts: list[Part]) -> list[Part]:
    left, found, seen = list(parts), list[Part](), 0
    while left:
        best = max(range(len(left)), key=lambda at: ((left[at].reads & seen).bit_count()
                                                     - (left[at].reads & ~seen).bit_count(), -at))
        part = left.pop(best)
        seen |= part.reads
        found.append(part)
    return found
