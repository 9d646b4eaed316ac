"""The exact way: every possibility is tried or ruled out, so that "it does not fit" is a proof.

What has structure is used. First each group of words that share a page gets its page, then the pieces for which the
very address matters (aligned blocks, words that may be shared) get theirs, fewest possibilities
first, alike pieces in ascending order only. Rows and single words that care at most about a page come last: rows are
packed into the free stretches as into bins, single words are counted (`bins`). States that failed are remembered.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple, Union

from ordain.placement.bins import Budget, Region, pack
from ordain.placement.clusters import Units
from ordain.placement.kinds import Kind, PageOf, confine, groups_suit, loose_pieces, sort, twins
from ordain.placement.pages import Pages, kept
from ordain.placement.quick import Arrangement
from ordain.placement.space import AddressSpace, cells, gather, lowest, members, room


class Trail(NamedTuple):
    """What was placed: a unit and its base, and what was placed before it."""

    unit: int
    base: int
    before: Union["Trail", None]


class SearchPoint(NamedTuple):
    """A point of the search. `pages`: page of each group, None while open. `left`: pieces still to be placed of each
    kind, `last`: base of the last one. `seats`: set of addresses of each word that may be shared."""

    free: int
    pages: PageOf
    left: tuple[int, ...]
    last: tuple[int, ...]
    seats: Mapping[int, int]
    trail: Trail | None


def search(space: AddressSpace, units: Units, pages: Pages, counting: int, wishes: Sequence[int | None],
           budget: Budget) -> Arrangement | None:
    """A layout, or None when there is none. Raises `Spent` when the budget ends first."""
    looking = _Search(space, units, pages, counting, wishes, budget)
    if not groups_suit(looking.pieces, budget):
        return None
    stack = [iter((looking.start(),))]
    while stack:
        state = next(stack[-1], None)
        if state is None:
            stack.pop()
            continue
        budget.spend()
        if None in state.pages or any(state.left):
            stack.append(looking.children(state))
        else:
            found = looking.finish(state)
            if found is not None:
                return found
    return None


class _Search:
    """What does not change while searching, and the states that have failed."""

    __slots__ = ("budget", "confined", "counting", "failed", "kinds", "late", "loose_need", "order", "pages", "pieces",
                 "space", "twins", "units", "wishes")

    def __init__(self, space: AddressSpace, units: Units, pages: Pages, counting: int, wishes: Sequence[int | None],
                 budget: Budget) -> None:
        self.space, self.units, self.pages, self.counting = space, units, pages, counting
        self.wishes, self.budget = wishes, budget
        self.pieces = sort(space, units, pages)
        self.kinds = self.pieces.kinds
        self.loose_need = (sum(len(units.units[number].words) for number in self.pieces.loose)
                           + sum(length for _, length in units.runs))
        self.failed: set[object] = set()
        self.confined: dict[PageOf, dict[Region, int]] = {}
        self.late = [(bond, frozenset(number for number, unit in enumerate(units.units)
                                      if not set(bond.words).isdisjoint(unit.words))) for bond in pages.late]
        self.order = sorted(range(len(pages.groups)), key=lambda at: -len(pages.groups[at].words))
        self.twins = twins(self.pieces, self.order)

    def start(self) -> SearchPoint:
        shared = {word for kind in self.kinds if kind.shared for word in kind.unit.words}
        seats = dict.fromkeys(sorted(shared), 0)
        for address, word in self.units.fixed.items():
            if word in shared:
                seats[word] |= 1 << address
        return SearchPoint(self.space.full & ~gather(self.units.fixed, self.space.size),
                           tuple([group.forced for group in self.pages.groups]),
                           tuple([len(kind.numbers) for kind in self.kinds]), (-1,) * len(self.kinds), seats, None)

    def children(self, state: SearchPoint) -> Iterator[SearchPoint]:
        """The states one decision further, the likeliest first; none when the state is a dead end."""
        if not self._roomy(state):
            return
        group = next((at for at in self.order if state.pages[at] is None), None)
        if group is not None:
            yield from self._with_page(state, group)
            return
        key = None if state.seats or self.late else (state.free, state.pages, state.left, state.last)
        if key in self.failed:
            return
        choices: list[tuple[int, int, int]] = []
        for at, left in enumerate(state.left):
            if left:
                bases = self._bases(state, at)
                if not _side_by_side(bases, len(self.kinds[at].unit.offsets), left):
                    return
                choices.append((bases.bit_count(), at, bases))
        _, at, bases = min(choices)
        yield from self._placed(state, at, bases)
        if key is not None:
            self.failed.add(key)

    def _roomy(self, state: SearchPoint) -> bool:
        """Whether the store, and every region that some words cannot leave, still has cells enough for the words that
        are to come."""
        need, wanted = self.loose_need, dict(self._loose_regions(state.pages))
        for at, left in enumerate(state.left):
            if left:
                kind = self.kinds[at]
                need += kind.own * left
                if not kind.shared:
                    confine(self.pieces, wanted, kind.unit, kind.groups, state.pages, left)
        if need > state.free.bit_count():
            return False
        for start, end in wanted:
            inside = sum([count for (low, high), count in wanted.items() if start <= low and high <= end])
            if inside > (state.free >> start & (1 << max(0, end - start)) - 1).bit_count():
                return False
        return True

    def _loose_regions(self, open_pages: PageOf) -> dict[Region, int]:
        """How many words of the loose pieces each region has to take; the same for every state with these pages."""
        found = self.confined.get(open_pages)
        if found is None:
            found = self.confined[open_pages] = {}
            for number in self.pieces.loose:
                confine(self.pieces, found, self.units.units[number], self.pieces.groups[number], open_pages, 1)
        return found

    def _with_page(self, state: SearchPoint, group: int) -> Iterator[SearchPoint]:
        """One state for each page, the fullest that still has room first."""
        size = self.pages.groups[group].page
        twin = self.twins.get(group)
        least = state.pages[twin] if twin is not None else 0
        assert least is not None
        order = sorted(((state.free & self.space.page(size, page)).bit_count(), page)
                       for page in self.space.pages(size)[least:])
        for _, page in order:
            yield state._replace(pages=(*state.pages[:group], page, *state.pages[group + 1:]))

    def _bases(self, state: SearchPoint, at: int) -> int:
        kind = self.kinds[at]
        unit = kind.unit
        if kind.shared:
            found = unit.domain
            for offset, word in zip(unit.offsets, unit.words):
                found &= (state.free | state.seats[word]) >> offset
        else:
            found = unit.domain & room(state.free, len(unit.words))
        for group, offset in kind.groups:
            page = state.pages[group]
            assert page is not None
            found &= self.space.page(self.pages.groups[group].page, page) >> offset
        return found & -1 << state.last[at] + 1

    def _placed(self, state: SearchPoint, at: int, bases: int) -> Iterator[SearchPoint]:
        """One state for each base of the next piece of a kind: the wished-for one, those that share words, then
        the others, ascending."""
        kind = self.kinds[at]
        number = kind.numbers[len(kind.numbers) - state.left[at]]
        left = (*state.left[:at], state.left[at] - 1, *state.left[at + 1:])
        for base in self._by_liking(state, kind, number, bases):
            shape = cells(base, len(kind.unit.words))
            last = state.last if len(kind.numbers) == 1 else (*state.last[:at], base, *state.last[at + 1:])
            seats = state.seats
            if kind.shared:
                seats = dict(seats)
                for offset, word in zip(kind.unit.offsets, kind.unit.words):
                    seats[word] |= 1 << (base + offset)
            child = SearchPoint(state.free & ~shape, state.pages, left, last, seats, Trail(number, base, state.trail))
            if not self.late or self._late_kept(child, number):
                yield child
            else:
                self.budget.spend()

    def _by_liking(self, state: SearchPoint, kind: Kind, number: int, bases: int) -> Iterator[int]:
        wish = self.wishes[number]
        if wish is not None and len(kind.numbers) == 1 and bases >> wish & 1:
            yield wish
        if kind.shared:
            sharing = 0
            for offset, word in zip(kind.unit.offsets, kind.unit.words):
                sharing |= state.seats[word] >> offset
            yield from members(bases & sharing)
            bases &= ~sharing
        yield from members(bases)

    def _late_kept(self, state: SearchPoint, number: int) -> bool:
        """Whether the bonds hold whose words have all got their places with unit `number`."""
        open_units = {unit for kind, left in zip(self.kinds, state.left) if left for unit in kind.numbers[-left:]}
        return all(kept(bond, self._places(state)) for bond, concerned in self.late
                   if number in concerned and concerned.isdisjoint(open_units))

    def _places(self, state: SearchPoint) -> dict[int, set[int]]:
        """The addresses of every word that is fixed or placed."""
        places: dict[int, set[int]] = {}
        for address, word in self.units.fixed.items():
            places.setdefault(word, set()).add(address)
        trail = state.trail
        while trail is not None:
            unit = self.units.units[trail.unit]
            for offset, word in zip(unit.offsets, unit.words):
                places.setdefault(word, set()).add(trail.base + offset)
            trail = trail.before
        return places

    def finish(self, state: SearchPoint) -> Arrangement | None:
        """The rows and single words into what is left, or None."""
        key = None if self.late else (state.free, state.pages)
        if key in self.failed:
            return None
        if not all(kept(bond, self._places(state)) for bond, _ in self.late):
            return None
        loose = loose_pieces(self.pieces, self.counting, state.pages)
        packed = pack(state.free, [row for row, _ in loose.rows], [single for single, _ in loose.singles], loose.edges,
                      self.budget)
        if packed is None:
            if key is not None:
                self.failed.add(key)
            return None
        unit_bases = [0] * len(self.units.units)
        run_bases = [0] * len(self.units.runs)
        trail = state.trail
        while trail is not None:
            unit_bases[trail.unit] = trail.base
            trail = trail.before
        for base, (_, (is_run, number)) in zip((*packed.rows, *packed.singles), (*loose.rows, *loose.singles)):
            (run_bases if is_run else unit_bases)[number] = base
        return Arrangement(tuple(unit_bases), tuple(run_bases))


def _side_by_side(bases: int, span: int, left: int) -> bool:
    """Whether `left` pieces of `span` words fit beside each other, nothing else being placed. Always taking the lowest
    next base gives the most."""
    while left and bases:
        base = lowest(bases)
        bases = bases >> (base + span) << (base + span)
        left -= 1
    return not left
