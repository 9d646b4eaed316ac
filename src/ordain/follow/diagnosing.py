"""Which single fault explains a capture: the machine with each of them is followed through the same readings."""

from collections.abc import Callable, Iterable, Sequence

from ordain.capture.sampling import ClockedReading
from ordain.follow.cells import CellFault, cell_fault
from ordain.follow.following import Clips, follow
from ordain.follow.model import Hypothesis, Seen, Suspect
from ordain.follow.states import States


class SoundCourse:
    """What a sound machine may be through a capture, wherever it begins. `seen`: each clock of it. `sets`: the set in
    which each begins, up to the first that it does not explain; `clocks`: how many it explains."""

    def __init__(self, states: States, clips: Clips, readings: Sequence[ClockedReading]) -> None:
        self.states, self.seen = states, [clips.seen(reading.word, reading.unknown) for reading in readings]
        self.sets, now = [states.anywhere()], states.anywhere()
        table: dict[tuple[int, Seen], int] = {}
        for seen in self.seen:
            following = table.get((now, seen))
            if following is None:
                following = table[now, seen] = states.after(now, seen)
            if following < 0:
                break
            now = following
            self.sets.append(now)
        self.clocks = len(self.sets) - 1
        self._distinct = set(self.sets)
        self._presented: dict[tuple[int, str], int] = {}
        self._read: dict[str, int] = {}

    def hot(self, fault: Hypothesis) -> set[int]:
        """The sets of the course in which a word may be presented that the fault changes."""
        words = self.states.system.contents.words
        found: set[int] = set()
        for store, changed in fault.words.items():
            bits = self._read.get(store)
            if bits is None:
                bits = self._read[store] = self.states.read(store)
            mask = sum(1 << at for at, (word, other) in enumerate(zip(words[store], changed)) if (word ^ other) & bits)
            found |= {number for number in self._distinct if self._of(number, store) & mask} if mask else set()
        return found

    def _of(self, number: int, store: str) -> int:
        found = self._presented.get((number, store))
        if found is None:
            found = self._presented[number, store] = self.states.presented(number, store)
        return found

    def explained(self, fault: Hypothesis) -> int:
        """How many clocks the machine with a fault of its words explains. It is the sound one until a word is presented
        that is another, and again when it has come to what that can be."""
        hot, at, last = self.hot(fault), 0, self.clocks
        if not hot:
            return last
        faulty, sets = self.states.changed(fault), self.states.sets
        table: dict[tuple[int, Seen], int] = {}
        while True:
            while at <= last and self.sets[at] not in hot:
                at += 1
            if at > last or at == len(self.seen):
                return last
            now = faulty.number(sets[self.sets[at]])
            while True:
                if at == len(self.seen):
                    return at
                seen = self.seen[at]
                following = table.get((now, seen))
                if following is None:
                    following = table[now, seen] = faulty.after(now, seen)
                if following < 0:
                    return at
                now, at = following, at + 1
                if at <= last and faulty.sets[now] == sets[self.sets[at]]:
                    break


def suspects(states: States, clips: Clips, readings: Sequence[ClockedReading], every: Iterable[Hypothesis],
             cells: Sequence[CellFault] = (), report: Callable[[int], None] | None = None) -> list[Suspect]:
    """Those that explain more than the sound machine does, the best first. Faults with the same words are one. `cells`:
    what `Cells` has found."""
    groups: dict[tuple[object, ...], list[Hypothesis]] = {}
    for fault in every:
        groups.setdefault(_key(fault), []).append(fault)
    for cell in cells:
        fault = cell_fault(states.system.contents, cell)
        groups.setdefault(_key(fault), []).append(fault)
    sound = follow(states, clips, readings, states.running()).clocks
    course = SoundCourse(states, clips, readings)
    found = []
    for number, group in enumerate(groups.values(), 1):
        if report is not None:
            report(number)
        first = group[0]
        if first.words:
            clocks = course.explained(first)
        else:
            faulty = states.changed(first)
            clocks = follow(faulty, clips.put(first), readings, faulty.running()).clocks
        if clocks > sound:
            found.append(Suspect(tuple(group), clocks))
    return sorted(found, key=lambda one: -one.clocks)


def _key(fault: Hypothesis) -> tuple[object, ...]:
    """What a fault does."""
    return tuple(sorted(fault.words.items())), fault.state, fault.bit, fault.level, fault.inside, fault.clips
