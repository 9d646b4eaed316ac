"""The clock of a capture: which channel it is, and how long a cycle takes."""

from collections.abc import Collection, Iterator, Mapping
from itertools import islice, pairwise
from math import gcd
from typing import NamedTuple

from ordain.capture.model import Capture, Event

LOOKED_AT = 60_000
"""Events that are looked at."""
FEWEST = 6
"""Edges of one direction that a clock must have at least."""
FEW = 8
"""One cycle, or pulse, of so many may be shorter than what is taken for a short one: those are disturbances."""
REGULAR = 0.6
"""Part of the cycles that must be within a quarter of the usual length: a clock may stand still now and then."""


class CapturedClock(NamedTuple):
    """`channel`: its bit. `period`: the usual length of a cycle in ticks, `least`: of a short one; `shortest`: a pulse
    that is shorter is a glitch. `grid`: ticks from sample to sample, as far as the times show it."""

    channel: int
    period: int
    least: int
    shortest: int
    grid: int


def clocks(capture: Capture, besides: Collection[int]) -> list[CapturedClock]:
    """The channels that may be a clock, the fastest first; those in `besides` are something else."""
    events = list(islice(capture.events(), LOOKED_AT))
    grid = _grid(capture, events)
    found = []
    for bit in sorted(set(capture.channels.values()) - set(besides)):
        edges = _rises(iter(events), bit)
        clock = _clock(bit, edges, events, grid)
        if clock is not None:
            found.append((len(edges), clock))
    return [clock for _, clock in sorted(found, key=lambda one: -one[0])]


def clock_at(capture: Capture, bit: int) -> CapturedClock | None:
    """The clock on a channel that is known to be it; None where it has too few edges."""
    events = list(islice(capture.events(), LOOKED_AT))
    edges = _rises(iter(events), bit)
    if len(edges) < 2:
        return None
    lengths = sorted(b - a for a, b in pairwise(edges))
    period = max(1, lengths[len(lengths) // 2])
    return _clock_of(bit, lengths, period, _pulses(iter(events), bit), _grid(capture, events))


def _clock_of(bit: int, lengths: list[int], period: int, pulses: list[int], grid: int) -> CapturedClock:
    """A single sample is no pulse where the clock has two at each of its levels."""
    two = pulses[len(pulses) // FEW] >= 2 * grid
    return CapturedClock(bit, period, lengths[len(lengths) // FEW], max(1, period // 8, 2 * grid if two else 0), grid)


def _pulses(events: Iterator[Event], bit: int) -> list[int]:
    """How long a channel stays at a level, the shortest first."""
    found: list[int] = []
    level, since = None, 0
    for time, word, unknown in events:
        if not unknown >> bit & 1 and word >> bit & 1 != level:
            if level is not None:
                found.append(time - since)
            level, since = word >> bit & 1, time
    return sorted(found[1:]) or [1]


def _grid(capture: Capture, events: list[Event]) -> int:
    if capture.grid:
        return capture.grid
    found = 0
    for before, after in pairwise(events):
        found = gcd(found, after[0] - before[0])
    return max(1, found)


def _rises(events: Iterator[Event], bit: int) -> list[int]:
    edges: list[int] = []
    before: int | None = None
    for time, word, unknown in events:
        if unknown >> bit & 1:
            continue
        level = word >> bit & 1
        if level and before == 0:
            edges.append(time)
        before = level
    return edges


def _clock(bit: int, edges: list[int], events: list[Event], grid: int) -> CapturedClock | None:
    if len(edges) < FEWEST:
        return None
    lengths = sorted(b - a for a, b in pairwise(edges))
    period = lengths[len(lengths) // 2]
    near = sum(abs(length - period) * 4 <= period + 4 * grid for length in lengths)
    if not period or near < REGULAR * len(lengths):
        return None
    return _clock_of(bit, lengths, period, _pulses(iter(events), bit), grid)


def seconds(capture: Capture, time: int) -> str:
    """A time of the capture as people say it: `3.25 us`; in samples or units where the file says nothing of time."""
    if not capture.tick:
        return f"sample {time}" if capture.grid == 1 else f"at {time}"
    value = time * capture.tick
    for unit, factor in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6), ("ns", 1e-9)):
        if abs(value) >= factor:
            return f"{value / factor:.6g} {unit}"
    return f"{value / 1e-9:.6g} ns"


def named(channels: Mapping[str, int], bit: int) -> str:
    return next(name for name, at in channels.items() if at == bit)
