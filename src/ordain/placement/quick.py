"""The quick way: the most constrained first, every choice final. Linear in the words where nothing is special.

When it gets stuck that proves nothing; `exact` then decides.
"""

from collections.abc import Sequence
from typing import NamedTuple

from ordain.placement.clusters import Unit, Units
from ordain.placement.pages import Pages
from ordain.placement.space import AddressSpace, cells, gather, lowest, members, room, segments


class Arrangement(NamedTuple):
    """The bases of the units and of the plain runs, in their order."""

    units: tuple[int, ...]
    runs: tuple[int, ...]


class Stuck(NamedTuple):
    """The unit or run for which no room was left."""

    unit: int | None
    run: int | None


class Wishes(NamedTuple):
    """Where units and runs would like to stand (last recorded build), None where they do not care. The numbers in
    `firm` are those whose words were all recorded exactly so: they are served before the others."""

    units: tuple[int | None, ...]
    runs: tuple[int | None, ...]
    firm: frozenset[tuple[str, int]]


def lay(space: AddressSpace, units: Units, pages: Pages, counting: int, wishes: Wishes | None,
        heads: frozenset[int] = frozenset()) -> Arrangement | Stuck:
    """A layout, or the first piece for which no room was left. `heads`: the first words of bodies; every other word
    likes to stand behind the one before it, for people who read the listing."""
    laying = _Laying(space, units, pages)
    if wishes is not None:
        laying.fulfil(wishes, counting)
    stuck = laying.groups_in_order()
    if stuck is None:
        stuck = laying.units_in_order(range(len(units.units)))
    if stuck is not None:
        return Stuck(stuck, None)
    open_runs = [number for number, base in enumerate(laying.run_bases) if base is None]
    pieces = free_runs(laying.free, counting)
    runs = [units.runs[number] for number in open_runs]
    found = first_fit(pieces, runs, range(len(runs)), laying.ends(), heads)
    if isinstance(found, int):
        by_length = sorted(range(len(runs)), key=lambda at: -runs[at][1])
        found = first_fit(pieces, runs, by_length, {}, None)
        if isinstance(found, int):
            return Stuck(None, open_runs[found])
    for number, base in zip(open_runs, found):
        laying.run_bases[number] = base
    return Arrangement(tuple([base for base in laying.unit_bases if base is not None]),
                       tuple([base for base in laying.run_bases if base is not None]))


def first_fit(pieces: Sequence[tuple[int, int]], runs: Sequence[tuple[int, int]], order: Sequence[int],
              ends: dict[int, int], heads: frozenset[int] | None) -> list[int] | int:
    """Each run behind the word before it where there is room, else at the lowest place where it fits, in the given
    order; the index of the first that fits nowhere. `ends`: word -> the address after the word before it, as far as
    that is placed already. `heads`: words that do not care what stands before them; None: nobody cares.

    Pieces only shrink, so the first piece that may hold a run of some length only moves on: linear in pieces times
    distinct lengths."""
    starts = [start for start, _ in pieces]
    limits = [end for _, end in pieces]
    beginning = {start: piece for piece, start in enumerate(starts)}
    bases = [0] * len(runs)
    first: dict[int, int] = {}
    count = len(starts)
    for at in order:
        word, length = runs[at]
        piece = -1 if heads is None or word in heads else beginning.get(ends.get(word, -1), -1)
        if piece < 0 or limits[piece] - starts[piece] < length:
            piece = first.get(length, 0)
            while piece < count and limits[piece] - starts[piece] < length:
                piece += 1
            if piece == count:
                return at
            first[length] = piece
        base = bases[at] = starts[piece]
        starts[piece] = base + length
        beginning.pop(base, None)
        beginning[base + length] = piece
        ends[word + length] = base + length
    return bases


def free_runs(free: int, counting: int) -> list[tuple[int, int]]:
    """The free runs of addresses, cut where the counter begins a new lap."""
    cut = []
    for start, end in segments(free):
        while start >> counting != (end - 1) >> counting:
            lap = ((start >> counting) + 1) << counting
            cut.append((start, lap))
            start = lap
        cut.append((start, end))
    return cut


def groups_of(unit: Unit, pages: Pages) -> list[tuple[int, int]]:
    """(group, offset) of every word of a unit that is in a group."""
    return [(number, offset) for offset, word in zip(unit.offsets, unit.words)
            for number in pages.of_word.get(word, ())]


class _Laying:
    """What is free, and the bases given so far."""

    __slots__ = ("free", "given", "groups", "page_of", "pages", "run_bases", "space", "unit_bases", "units")

    def __init__(self, space: AddressSpace, units: Units, pages: Pages) -> None:
        self.space, self.units, self.pages = space, units, pages
        self.free = space.full & ~gather(units.fixed, space.size)
        self.unit_bases: list[int | None] = [None] * len(units.units)
        self.run_bases: list[int | None] = [None] * len(units.runs)
        self.given: list[tuple[int, int | None]] = []
        self.groups = [groups_of(unit, pages) for unit in units.units]
        self.page_of = [group.forced for group in pages.groups]

    def ends(self) -> dict[int, int]:
        """The address after every word that is placed already, by the number of the word that follows it. All units
        are."""
        found = {word + 1: address + 1 for address, word in self.units.fixed.items()}
        for unit, base in zip(self.units.units, self.unit_bases):
            assert base is not None
            found.update((word + 1, base + offset + 1) for offset, word in zip(unit.offsets, unit.words))
        for (first, length), base in zip(self.units.runs, self.run_bases):
            if base is not None:
                found[first + length] = base + length
        return found

    def fulfil(self, wishes: Wishes, counting: int) -> None:
        """Gives every unit and run the place that it wishes for where that is free and suits it, firm wishes first. The
        store may be smaller than it was when a wish was recorded, and the counter narrower."""
        size = self.space.size
        taken = bytearray(size)
        for address in self.units.fixed:
            taken[address] = 1
        for firm in (True, False):
            for number, base in enumerate(wishes.units):
                if base is not None and (("unit", number) in wishes.firm) == firm:
                    self._fulfil_unit(number, base, taken)
            for number, base in enumerate(wishes.runs):
                if base is not None and (("run", number) in wishes.firm) == firm:
                    length = self.units.runs[number][1]
                    end = base + length
                    if end <= size and base >> counting == end - 1 >> counting and taken.find(1, base, end) < 0:
                        taken[base:end] = b"\1" * length
                        self.run_bases[number] = base
        self.free = self.space.full & ~gather([at for at, used in enumerate(taken) if used], size)

    def _fulfil_unit(self, number: int, base: int, taken: bytearray) -> None:
        unit = self.units.units[number]
        if not unit.domain >> base & 1 or any(taken[base + offset] for offset in unit.offsets):
            return
        own: dict[int, int] = {}
        for group, offset in self.groups[number]:
            page = (base + offset) >> self.pages.groups[group].page
            if (self.page_of[group] if self.page_of[group] is not None else own.setdefault(group, page)) != page:
                return
        for offset in unit.offsets:
            taken[base + offset] = 1
        self._give(number, base)

    def _give(self, number: int, base: int) -> None:
        self.unit_bases[number] = base
        self.given.append((number, None))
        for group, offset in self.groups[number]:
            if self.page_of[group] is None:
                self.page_of[group] = (base + offset) >> self.pages.groups[group].page
                self.given.append((number, group))

    def _take_back(self, count: int) -> None:
        """Undoes all giving of bases and pages but the first `count` steps."""
        while len(self.given) > count:
            number, group = self.given.pop()
            self.unit_bases[number] = None
            if group is not None:
                self.page_of[group] = None

    def groups_in_order(self) -> int | None:
        """Groups of the smallest pages first, among those the largest group first; a unit that got stuck, or None."""
        members_of: list[list[int]] = [[] for _ in self.pages.groups]
        for number, own in enumerate(self.groups):
            for group in dict.fromkeys(group for group, _ in own):
                members_of[group].append(number)
        order = sorted(range(len(members_of)), key=lambda at: (
            self.pages.groups[at].page, self.page_of[at] is None, -len(self.pages.groups[at].words)))
        for group in order:
            open_units = [number for number in members_of[group] if self.unit_bases[number] is None]
            stuck = self._one_group(group, open_units)
            if stuck is not None:
                return stuck
        return None

    def _one_group(self, group: int, open_units: list[int]) -> int | None:
        """The units of a group into the fullest page that has room for them."""
        if self.page_of[group] is not None:
            return self.units_in_order(open_units)
        size = self.pages.groups[group].page
        need = sum(len(self.units.units[number].words) for number in open_units)
        rooms = sorted((count, page) for page in self.space.pages(size)
                       if (count := (self.free & self.space.page(size, page)).bit_count()) >= need)
        stuck: int | None = open_units[0]
        for _, page in rooms[:8]:
            free, given = self.free, len(self.given)
            self.page_of[group] = page
            stuck = self.units_in_order(open_units)
            if stuck is None:
                return None
            self.free, self.page_of[group] = free, None
            self._take_back(given)
        return stuck

    def units_in_order(self, numbers: Sequence[int]) -> int | None:
        """Units with the fewest bases first, among those the longest; the one that got stuck, or None."""
        units = self.units.units
        order = sorted([number for number in numbers if self.unit_bases[number] is None],
                       key=lambda at: (units[at].domain.bit_count(), -len(units[at].words), at))
        for number in order:
            bases = self._bases(number)
            if len(self.groups[number]) < 2:
                base = lowest(bases) if bases else None
            else:
                base = next((base for base in members(bases) if self._same_pages(number, base)), None)
            if base is None:
                return number
            self.free &= ~cells(base, len(units[number].words))
            self._give(number, base)
        return None

    def _bases(self, number: int) -> int:
        unit = self.units.units[number]
        bases = unit.domain & room(self.free, len(unit.words))
        for group, offset in self.groups[number]:
            page = self.page_of[group]
            if page is not None:
                bases &= self.space.page(self.pages.groups[group].page, page) >> offset
        return bases

    def _same_pages(self, number: int, base: int) -> bool:
        """Whether the words that the unit has in one group would stand in one page."""
        found: dict[int, int] = {}
        return all(found.setdefault(group, (base + offset) >> self.pages.groups[group].page)
                   == (base + offset) >> self.pages.groups[group].page for group, offset in self.groups[number])
