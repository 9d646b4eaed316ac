"""Where the lines are read: what is not said is tried on the first clocks, and what goes furthest is taken."""

from collections.abc import Iterator, Sequence
from itertools import islice

from ordain.capture.model import Capture
from ordain.capture.sampling import Told, Where, readings
from ordain.capture.timing import Clock
from ordain.follow.following import Clips, follow
from ordain.follow.states import States

TRIED = 2000
"""Clocks that are followed for each place."""
COARSE = 6
"""Samples a clock below which there is no room for lines that are still moving."""


def fitted(states: States, clips: Clips, capture: Capture, clock: Clock, edges: Sequence[str], setup: int | None,
    start: int,
           skip: int) -> Where:
    """`edges`: those that are in question. `setup`: in ticks, where it is said."""
    best: tuple[int, Where] | None = None
    for where in _places(clock, edges, setup):
        some = islice(readings(capture.events(), where, Told()), skip, skip + TRIED)
        followed = follow(states, clips, some, start)
        if followed.broken is None:
            return where
        if best is None or followed.clocks > best[0]:
            best = followed.clocks, where
    if best is None:
        raise ValueError("no place to read at")
    return best[1]


def _places(clock: Clock, edges: Sequence[str], setup: int | None) -> Iterator[Where]:
    """The likeliest first: a little before the edge, where lines have settled, and no nearer to it than samples of
    different channels may be apart."""
    grid, period = clock.grid, clock.period
    most = period - grid if "both" not in edges else period // 2 - grid
    guard = grid if period >= COARSE * grid else 0
    first = max(2 * grid, period // 8) if period >= 5 * grid else grid
    setups = [setup] if setup is not None else [
        one for one in dict.fromkeys((first, grid, 2 * grid, max(grid, period // 4), max(grid, period // 3)))
        if one <= max(grid, most)]
    for edge in edges:
        for one in setups:
            yield Where(clock.channel, edge, one, min(guard, one - 1) if one > 1 else 0, clock.shortest)
