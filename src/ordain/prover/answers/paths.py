"""A shortest sequence of single states through what a search has found.

It is given by its states; which inputs lead from one to the next is worked out when a trace is written.
"""

from ordain.prover.answers.answers import State
from ordain.prover.answers.fixpoints import Back


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
