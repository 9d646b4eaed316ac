"""A whole capture followed: reading after reading, with a table of what was met before.

A running machine comes to the same sets of states again and again, so most clocks are one look into a table.
"""

from collections import deque
from collections.abc import Callable, Iterable, Sequence

from ordain.capture.sampling import ClockedReading
from ordain.follow.model import ClockCycle, Followed, Hypothesis, Seen
from ordain.follow.states import States

HISTORY = 24
"""Clocks that are kept for who asks how it came to where it is."""


class Clips:
    """From the bits of a reading to lines. `places`: for each line the bit that it has in a reading, None: it was not
    seen."""

    def __init__(self, places: Sequence[int | None]) -> None:
        self.places = tuple(places)
        self.mask = sum(1 << place for place in {place for place in places if place is not None})
        self._known: dict[tuple[int, int], Seen] = {}

    def put(self, fault: Hypothesis) -> "Clips":
        """As they really are, with a fault of clips."""
        if not fault.clips:
            return self
        away = {line for line, _ in fault.clips}
        really = [None if line in away else place for line, place in enumerate(self.places)]
        for line, other in fault.clips:
            if other is not None:
                really[other] = self.places[line]
        return Clips(really)

    def seen(self, word: int, unknown: int) -> Seen:
        key = word & self.mask, unknown & self.mask
        found = self._known.get(key)
        if found is None:
            lines = known = 0
            for line, place in enumerate(self.places):
                if place is not None and not unknown >> place & 1:
                    known |= 1 << line
                    lines |= (word >> place & 1) << line
            found = self._known[key] = Seen(lines, known)
        return found


def follow(states: States, clips: Clips, readings: Iterable[ClockedReading], start: int, most: int | None = None,
           each: Callable[[ClockCycle], None] | None = None, report: Callable[[int], None] | None = None) -> Followed:
    """Until the readings end, `most` clocks are done, or one cannot be explained. `each` is told of every clock that
    is explained, `report` now and then how many there were."""
    mask, now, count = clips.mask, start, 0
    table: dict[tuple[int, int, int], int] = {}
    history: deque[ClockCycle] = deque(maxlen=HISTORY)
    recent: deque[tuple[int, int, ClockedReading]] = deque(maxlen=HISTORY)
    for reading in readings:
        _, word, unknown = reading
        key = (now, word & mask, unknown & mask)
        following = table.get(key)
        if following is None:
            following = states.after(now, clips.seen(word, unknown))
            table[key] = following
        if following < 0:
            break
        count += 1
        recent.append((count, now, reading))
        if each is not None:
            each(ClockCycle(count, reading.time, now, clips.seen(word, unknown)))
        now = following
        if report is not None and not count & 0xFFF:
            report(count)
        if count == most:
            following = 0
            break
    else:
        following = 0
    history.extend(ClockCycle(number, reading.time, before, clips.seen(reading.word, reading.unknown))
                   for number, before, reading in recent)
    broken = ClockCycle(count + 1, reading.time, now,
                        clips.seen(reading.word, reading.unknown)) if following < 0 else None
    return Followed(count, broken, tuple(history), now)
