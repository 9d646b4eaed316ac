"""One reading of all lines a clock, taken where they stand still: shortly before the edge at which states change.

The lines are read `setup` ticks before the edge. A line that changes within `guard` ticks of that place (with few
samples a cycle, of those before it alone) is not known in that cycle: whatever it was, nothing false is said of it. A
pulse on the clock that is shorter than `shortest` is none; two with a short gap are one that was disturbed.
"""

from collections.abc import Iterator
from typing import NamedTuple

from ordain.capture.model import Event

MANY = 64
"""Changes that are kept, at least, while the clock stands still."""


class ClockedReading(NamedTuple):
    """`time`: of the edge that ends the cycle. `unknown`: the bits of which nothing is known."""

    time: int
    word: int
    unknown: int


class Where(NamedTuple):
    """Where the lines are read; times in ticks. `edges`: "rising", "falling" or "both". `before`: nothing that comes
    after the place is looked at."""

    channel: int
    edges: str
    setup: int
    guard: int
    shortest: int
    before: bool = False


class SamplingFaults:
    """What was met on the way: pulses of the clock that were none, lines that were moving when they were read."""

    def __init__(self) -> None:
        self.glitches = self.moving = 0


def readings(events: Iterator[Event], where: Where, told: SamplingFaults) -> Iterator[ClockedReading]:
    """A reading for each cycle, that of the first edge included if the capture reaches back to where it is read; what
    follows the last edge is no whole cycle."""
    bit, shortest, reach = where.channel, where.shortest, where.setup + where.guard
    wanted = {"rising": (1,), "falling": (0,), "both": (0, 1)}[where.edges]
    past: list[Event] = []
    level: int | None = None
    changed: int | None = None                          # the time of a change of the clock that is not yet sure
    short: tuple[int, int] | None = None                # from when to when there was a pulse that was too short
    begun, end = None, 0
    for event in events:
        time, word, unknown = event
        begun, end = (time if begun is None else begun), time
        now = word >> bit & 1
        if changed is not None and time - changed >= shortest:
            if level in wanted and changed - reach >= begun:
                yield _read(past, changed, where, told)
            changed = short = None
            _forget(past, time - reach - 3 * shortest)
        if not unknown >> bit & 1 and now != level:
            if changed is not None:
                told.glitches += 1
                if short is not None and level in wanted and changed - short[1] < shortest:
                    yield _read(past, short[0], where, told)
                    changed = short = None
                else:
                    short, changed = (changed, time), None
            elif level is not None:
                changed = time
            level = now
        if past and past[-1][1] == word and past[-1][2] == unknown:
            continue
        past.append(event)
        if len(past) > MANY:
            _forget(past, time - reach - 3 * shortest)
    if changed is not None and end - changed >= shortest and level in wanted:
        yield _read(past, changed, where, told)


def _forget(past: list[Event], before: int) -> None:
    """What reaches further back than anybody will ask, but for the one event that held then."""
    for at in range(len(past) - 1, 0, -1):
        if past[at][0] <= before:
            del past[:at]
            return


def _read(past: list[Event], edge: int, where: Where, told: SamplingFaults) -> ClockedReading:
    place = edge - where.setup
    early, late = place - where.guard, place if where.before else place + where.guard
    at = len(past) - 1
    moving = 0
    while at > 0 and past[at][0] > late:
        at -= 1
    last = at
    while at > 0 and past[at][0] > place:
        at -= 1
    _, word, unknown = past[at]
    if where.guard:
        first = at
        while first > 0 and past[first][0] > early:
            first -= 1
        for one in past[first:last + 1]:
            moving |= one[1] ^ word | one[2]
        told.moving += (moving & ~unknown).bit_count()
    return ClockedReading(edge, word, unknown | moving)


def states(events: Iterator[Event], grid: int, rows: bool) -> Iterator[ClockedReading]:
    """Every sample as a cycle, for captures that were taken with the machine's own clock."""
    before: Event | None = None
    for event in events:
        if before is not None:
            for time in range(before[0], event[0], grid) if not rows and grid else (before[0],):
                yield ClockedReading(time, before[1], before[2])
        before = event
