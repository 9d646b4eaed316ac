"""Where the lines are read: what is not said is tried on the first clocks, and what goes furthest is taken."""

from collections.abc import Iterator, Sequence
from itertools import islice

from ordain.capture.model import BadCapture, Capture
from ordain.capture.sampling import SamplingFaults, Where, readings
from ordain.capture.timing import CapturedClock
from ordain.follow.following import Clips, follow
from ordain.follow.states import States

TRIED = 2000
"""Clocks that are followed for each place."""
COARSE, COARSER, COARSEST, FEWEST = 6, 4, 3, 2
"""Samples a clock below which a line cannot be looked at on both sides of the place; only at the place itself; only
right before the edge and one sample earlier; not at all."""


def fitted(states: States, clips: Clips, capture: Capture, clock: CapturedClock, edges: Sequence[str],
           setup: int | None,
    start: int,
           skip: int) -> Where:
    """`edges`: those that are in question. `setup`: in ticks, where it is said."""
    best: tuple[int, Where] | None = None
    for where in _places(clock, edges, setup):
        some = islice(readings(capture.events(), where, SamplingFaults()), skip, skip + TRIED)
        followed = follow(states, clips, some, start)
        if followed.broken is None:
            return where
        if best is None or followed.clocks > best[0]:
            best = followed.clocks, where
    if best is None:
        raise ValueError("no place to read at")
    return best[1]


def _places(clock: CapturedClock, edges: Sequence[str], setup: int | None) -> Iterator[Where]:
    """The likeliest first: a little before the edge, where lines have settled, and no nearer to it than samples of
    different channels may be apart.

    A channel may be up to a sample early or late beside the clock. Then, of cycles of two samples, that right before
    the edge or the one before it is in the cycle: the level is known where both have it. Of cycles of three the
    second before the edge is in it, of four the third as well, so a single disturbed sample is noticed."""
    grid = clock.grid
    period, least = (clock.period // 2, clock.least // 2) if "both" in edges else (clock.period, clock.least)
    if least < FEWEST * grid:
        raise BadCapture("fewer than two samples a clock, so clocks are missing in it",
                         "take four samples a clock or more, eight are better; or one a clock, taken with the "
                         "machine's own clock, and --clock none")
    if least < COARSER * grid:
        near, guard = (grid, grid) if least < COARSEST * grid else (2 * grid, 0)
        for edge in edges:
            yield Where(clock.channel, edge, setup or near, 0 if setup else guard, clock.shortest, before=True)
        return
    fine = least >= COARSE * grid
    first = max(2 * grid, period // 8)
    setups = [setup] if setup is not None else [
        one for one in dict.fromkeys((first, grid, 2 * grid, max(grid, period // 4), max(grid, period // 3)))
        if one <= period - grid]
    for edge in edges:
        for one in setups:
            guard = min(grid, one - 1) if fine else grid if one == 2 * grid else 0
            yield Where(clock.channel, edge, one, guard, clock.shortest, before=not fine)
