"""Sequences of single states through what a search has found: a shortest one to a state, and one that goes round.

A path is given by its states; which inputs lead from one to the next is worked out when a trace is written.
"""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.prover.answers.answers import Region, State
from ordain.prover.answers.fixpoints import Back, Passages

LOOP_SEARCH = 20_000
"""States looked at to find a short loop; after that the first one that closes is taken."""


def shortest(back: Back, level: int, state: State) -> list[State]:
    """A sequence from a start state to a state that was new at that level; `level` + 1 states."""
    path = [state]
    state_sets, levels = back.search.state_sets, back.search.levels
    for earlier in range(level - 1, -1, -1):
        number, carried, inside = path[-1]
        goal = state_sets.one(carried, inside)
        new = levels[earlier]
        for before, edge in back.before[number]:
            found = edge.before(goal, new[before]) if before in new else 0
            if found:
                path.append((before, *state_sets.lowest(found)))
                break
        else:
            raise AssertionError("a reached state has no predecessor")
    return path[::-1]


class Loop(NamedTuple):
    """States one after another; after the last one comes state number `back`, or, when that is None, nothing: the last
    state has no successor."""

    states: list[State]
    back: int | None


def after(passages: Passages, state: State, within: Region) -> Iterable[State]:
    """The successors of a state that lie in a region."""
    number, carried, inside = state
    state_sets = passages.state_sets
    for edge, to in passages.of(number):
        if to in within:
            pairs = state_sets.pairs[within[to]]
            for later, found in edge.single(carried, inside):
                found &= state_sets.sets.sets[pairs.get(later, 0)]
                while found:
                    bit = found & -found
                    found ^= bit
                    yield to, later, bit.bit_length() - 1


def into(passages: Passages, state: State, goal: Region) -> State:
    """The first successor of a state in a region that has one."""
    for later in after(passages, state, goal):
        return later
    raise AssertionError("a state has no successor where it was said to have one")


def go_round(passages: Passages, start: State, within: Region) -> Loop:
    """From a state on, staying in a region: a way into a loop, as short as a breadth-first search finds one; or to a
    state without a successor."""
    before: dict[State, State | None] = {start: None}
    best: tuple[State, State] | None = None
    level = [start]
    while level and best is None and len(before) < LOOP_SEARCH:
        following = []
        for state in level:
            empty = True
            for later in after(passages, state, within):
                empty = False
                if later not in before:
                    before[later] = state
                    following.append(later)
                elif best is None and _is_above(before, later, state):
                    best = state, later
            if empty:
                return Loop(_down(before, state), None)
        level = following
    if best is not None:
        states = _down(before, best[0])
        return Loop(states, states.index(best[1]))
    return _walk(passages, start, within)


def _walk(passages: Passages, start: State, within: Region) -> Loop:
    """Goes on and on until a state comes again."""
    states, entrance = [start], {start: 0}
    while True:
        later = next(iter(after(passages, states[-1], within)), None)
        if later is None:
            return Loop(states, None)
        if later in entrance:
            return Loop(states, entrance[later])
        entrance[later] = len(states)
        states.append(later)


def _is_above(before: dict[State, State | None], upper: State, lower: State) -> bool:
    at: State | None = lower
    while at is not None:
        if at == upper:
            return True
        at = before[at]
    return False


def _down(before: dict[State, State | None], state: State) -> list[State]:
    states = []
    at: State | None = state
    while at is not None:
        states.append(at)
        at = before[at]
    return states[::-1]
