"""Sequences of single states through what a search has found: a shortest one to a state, and one that goes round.

A point is (control state, surroundings), both by number. A path is given by its points; which inputs lead from one to
the next is worked out when a trace is written.
"""

from collections.abc import Callable, Iterable
from typing import NamedTuple

from ordain.prover.answers import Ways, lowest, preimage
from ordain.prover.relation import Step
from ordain.prover.search import Search

Point = tuple[int, int]
LOOP_SEARCH = 20_000
"""Points looked at to find a short loop; after that the first one that closes is taken."""


class Back:
    """The edges of a search the other way round."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.before: list[list[tuple[int, Step]]] = [[] for _ in search.states]
        for number, ways in enumerate(search.edges):
            for step, to in ways or ():
                self.before[to].append((number, step))

    def shortest(self, level: int, point: Point) -> list[Point]:
        """A sequence from a start state to a point that was new at that level; `level` + 1 points."""
        path = [point]
        sets, levels = self.search.sets.sets, self.search.levels
        for earlier in range(level - 1, -1, -1):
            number, inside = path[-1]
            new = levels[earlier]
            for before, step in self.before[number]:
                if before in new:
                    from_here = preimage(step, 1 << inside) & sets[new[before]]
                    if from_here:
                        path.append((before, lowest(from_here)))
                        break
            else:
                raise AssertionError("a reached state has no predecessor")
        return path[::-1]


class Loop(NamedTuple):
    """Points one after another; after the last one comes point number `back`, or, when that is None, nothing: the last
    state has no successor."""

    points: list[Point]
    back: int | None


def after(ways: Ways, point: Point, within: Callable[[int], int]) -> Iterable[Point]:
    """The successors of a point that lie in a region, given as control state -> set."""
    number, inside = point
    for step, to in ways.of(number):
        found = step.relation.image(1 << inside & step.guard) & within(to)
        while found:
            bit = found & -found
            found ^= bit
            yield to, bit.bit_length() - 1


def go_round(ways: Ways, start: Point, within: Callable[[int], int]) -> Loop:
    """From a point on, staying in a region that has a successor in it for each of its points (or none at all for some):
    a way into a loop, as short as a breadth-first search finds one."""
    before: dict[Point, Point | None] = {start: None}
    depth = {start: 0}
    best: tuple[int, Point, Point] | None = None
    level = [start]
    while level and len(before) < LOOP_SEARCH and (best is None or depth[level[0]] < best[0]):
        following = []
        for point in level:
            empty = True
            for later in after(ways, point, within):
                empty = False
                if later not in before:
                    before[later], depth[later] = point, depth[point] + 1
                    following.append(later)
                elif (best is None or depth[point] + 1 < best[0]) and _is_above(before, later, point):
                    best = depth[point] + 1, point, later
            if empty:
                return Loop(_down(before, point), None)
        level = following
    if best is not None:
        points = _down(before, best[1])
        return Loop(points, points.index(best[2]))
    return _walk(ways, start, within)


def _walk(ways: Ways, start: Point, within: Callable[[int], int]) -> Loop:
    """Goes on and on until a point comes again."""
    points, place = [start], {start: 0}
    while True:
        later = next(iter(after(ways, points[-1], within)), None)
        if later is None:
            return Loop(points, None)
        if later in place:
            return Loop(points, place[later])
        place[later] = len(points)
        points.append(later)


def _is_above(before: dict[Point, Point | None], upper: Point, lower: Point) -> bool:
    at: Point | None = lower
    while at is not None:
        if at == upper:
            return True
        at = before[at]
    return False


def _down(before: dict[Point, Point | None], point: Point) -> list[Point]:
    points = []
    at: Point | None = point
    while at is not None:
        points.append(at)
        at = before[at]
    return points[::-1]
