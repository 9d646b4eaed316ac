"""How many transitions there are: pairs of a reachable state and one of its distinct successors.

The factors of a step are independent, so the number of successors of a state by one step is a product; the states of a
set are counted by that number. Where several steps lead to the same control state, their successors may coincide; then
one state of each kind is tried.
"""

from ordain.prover.relation.images import Relation, Ring, Stages, Step
from ordain.prover.search.breadth_first import Search
from ordain.prover.search.edge import Edge


class Successors:
    """Counts successors by step and set, remembered by number of the set."""

    def __init__(self, search: Search) -> None:
        self._sets = search.state_sets.sets.sets
        self._degrees: dict[Relation, list[tuple[int, int]]] = {}
        self._joint: dict[tuple[Step, ...], list[tuple[int, int]]] = {}
        self._single: dict[tuple[int, int], int] = {}
        self._several: dict[tuple[tuple[Step, ...], int], int] = {}

    def along(self, edge: Edge, pairs: dict[int, int]) -> int:
        """The number of pairs (state of a state set, successor by an edge)."""
        total = 0
        for carried, inside in pairs.items():
            moves = edge.moves(carried)
            if len(moves) == 1:
                total += self.by(moves[0][1], inside)
                continue
            targets: dict[int, list[Step]] = {}
            for after, step in moves:
                targets.setdefault(after, []).append(step)
            for steps in targets.values():
                total += self.by(steps[0], inside) if len(steps) == 1 else self.by_any(tuple(steps), inside)
        return total

    def by(self, step: Step, inside: int) -> int:
        """The number of pairs (state of the set, successor by the step)."""
        key = (step.number, inside)
        count = self._single.get(key)
        if count is None:
            count = self._single[key] = self._counted(step.relation, self._sets[inside] & step.guard)
        return count

    def by_any(self, steps: tuple[Step, ...], inside: int) -> int:
        """The same for several steps to one control state, each successor of a state counted once."""
        key = (steps, inside)
        count = self._several.get(key)
        if count is None:
            relations = {step.relation: 0 for step in steps}
            for step in steps:
                relations[step.relation] |= step.guard
            found = self._sets[inside]
            if len(relations) == 1:
                (relation, guard), = relations.items()
                count = self._counted(relation, found & guard)
            else:
                degrees = self._joint.get(steps)
                if degrees is None:
                    degrees = self._joint[steps] = _joint_degrees(relations)
                count = sum(degree * (found & where).bit_count() for degree, where in degrees)
            self._several[key] = count
        return count

    def _counted(self, relation: Relation, found: int) -> int:
        degrees = self._degrees.get(relation)
        if degrees is None:
            degrees = self._degrees[relation] = successor_counts(relation.stages)
        return sum(degree * (found & where).bit_count() for degree, where in degrees)


def count_transitions(search: Search) -> int:
    """Of all states reached; only of those visited when the search was stopped."""
    successors = Successors(search)
    counted: dict[Edge, dict[int, int]] = {}
    total = 0
    for number, edges in enumerate(search.edges):
        state_set = search.reached[number]
        for edge, _ in edges or ():
            by_state_set = counted.get(edge)
            if by_state_set is None:
                by_state_set = counted[edge] = {}
            count = by_state_set.get(state_set)
            if count is None:
                count = by_state_set[state_set] = successors.along(edge, search.state_sets.pairs[state_set])
            total += count
    return total


def successor_counts(stages: Stages) -> list[tuple[int, int]]:
    """(number of successors, the valuations that have so many), those without any left out. The masks of a factor do
    not depend on the variables overwritten before it, so they can all be read at the start."""
    parts = [(1, -1)]
    for stage in stages:
        joint: dict[int, int] = {}
        for count, where in _sizes(stage).items():
            for degree, there in parts:
                both = there & where
                if both:
                    joint[degree * count] = joint.get(degree * count, 0) | both
        parts = list(joint.items())
    return parts


def _sizes(stage: tuple[tuple[int, int], ...] | Ring) -> dict[int, int]:
    """From a number of moves, 0 left out, to the valuations that have so many at one stage."""
    if isinstance(stage, Ring):
        inside: dict[int, int] = {}
        for where, stages in stage.parts:
            for count, there in successor_counts(stages):
                inside[count] = inside.get(count, 0) | there & where
        return inside
    sizes = {0: -1}
    for _, where in stage:
        grown: dict[int, int] = {}
        for count, there in sizes.items():
            more, same = there & where, there & ~where
            if more:
                grown[count + 1] = grown.get(count + 1, 0) | more
            if same:
                grown[count] = grown.get(count, 0) | same
        sizes = grown
    sizes.pop(0, None)
    return sizes


def _joint_degrees(relations: dict[Relation, int]) -> list[tuple[int, int]]:
    """The same for several relations, each within its guard. Valuations that no guard and no mask tells apart have the
    same moves, so one of each kind is tried."""
    masks = dict.fromkeys(relations.values())
    masks.update((where, None) for relation in relations for where in relation.masks())
    everywhere = 0
    for guard in relations.values():
        everywhere |= guard
    kinds = [everywhere]
    for mask in masks:
        kinds = [part for kind in kinds for part in (kind & mask, kind & ~mask) if part]
    found = []
    for kind in kinds:
        single = kind & -kind
        after = 0
        for relation, guard in relations.items():
            if single & guard:
                after |= relation.image(single)
        if after:
            found.append((after.bit_count(), kind))
    return found
