"""The pieces of a search, sorted by what matters about them."""

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import NamedTuple

from ordain.placement.bins import Budget, Region, Single, WordRow, pack
from ordain.placement.clusters import Unit, Units
from ordain.placement.pages import Pages
from ordain.placement.quick import groups_of
from ordain.placement.space import AddressSpace, gather

PageOf = tuple[int | None, ...]
"""The page of each group, None while it is open."""


class Kind(NamedTuple):
    """Pieces that are alike: same shape, same rules. `numbers` are their places in `Units.units`. `groups`: (group,
    offset). `shared`: some word of it may stand where another piece put it already; `own` words may not. `alone`: like
    no other, because words of it are shared or in a bond that is checked late."""

    numbers: tuple[int, ...]
    unit: Unit
    groups: tuple[tuple[int, int], ...]
    shared: bool
    own: int
    alone: bool


class Pieces(NamedTuple):
    """`kinds`: the pieces whose very address matters; `loose`: numbers of the units that at most care about a region.
    `groups`: (group, offset) of every unit."""

    space: AddressSpace
    units: Units
    pages: Pages
    kinds: tuple[Kind, ...]
    loose: tuple[int, ...]
    groups: tuple[tuple[tuple[int, int], ...], ...]


class Loose(NamedTuple):
    """The loose pieces when all pages are known. A piece's name is (is it a plain run, its number)."""

    rows: tuple[tuple[WordRow, tuple[bool, int]], ...]
    singles: tuple[tuple[Single, tuple[bool, int]], ...]
    edges: tuple[int, ...]


def sort(space: AddressSpace, units: Units, pages: Pages) -> Pieces:
    """The units by kind."""
    groups = tuple([tuple(groups_of(unit, pages)) for unit in units.units])
    counts: dict[int, int] = dict.fromkeys(units.fixed.values(), 1)
    for unit in units.units:
        for word in dict.fromkeys(unit.words):
            counts[word] = counts.get(word, 0) + 1
    late = {word for bond in pages.late for word in bond.words}
    kinds: dict[object, list[int]] = {}
    loose: list[int] = []
    for number, unit in enumerate(units.units):
        alone = any(counts[word] > 1 or word in late for word in unit.words)
        if alone or unit.high or any(not _below(bits, space) for _, bits in unit.rules):
            kinds.setdefault(number if alone else (unit.offsets, unit.domain, groups[number]), []).append(number)
        else:
            loose.append(number)
    return Pieces(space, units, pages, tuple([_kind(units, groups, numbers, counts, type(key) is int)
                                              for key, numbers in kinds.items()]), tuple(loose), groups)


def _kind(units: Units, groups: Sequence[tuple[tuple[int, int], ...]], numbers: list[int], counts: Mapping[int, int],
          alone: bool) -> Kind:
    unit = units.units[numbers[0]]
    own = sum(1 for word in unit.words if counts[word] == 1)
    return Kind(tuple(numbers), unit, groups[numbers[0]], own < len(unit.words), own, alone)


def _below(bits: int, space: AddressSpace) -> bool:
    """Whether the bits are all those from some bit on: then the rule is "below", not "aligned"."""
    return bits == ((1 << space.width) - 1) & ~((bits & -bits) - 1)


def twins(pieces: Pieces, order: Sequence[int]) -> dict[int, int]:
    """For a group the one before it (in the given order) that consists of pieces of the same shapes. They can change
    places, so a search need not give the later one a lower page."""
    alone = {kind.numbers[0] for kind in pieces.kinds if kind.alone}
    members_of: list[Counter[object]] = [Counter() for _ in pieces.pages.groups]
    for number, (unit, own) in enumerate(zip(pieces.units.units, pieces.groups)):
        groups = {group for group, _ in own}
        places = tuple([offset for _, offset in own])
        shape: object = number if number in alone else (unit.offsets, unit.domain, places)
        for group in groups:        # a piece that ties groups together stands in a place of its own in each
            members_of[group][shape if len(groups) == 1 else (number, group)] += 1
    before: dict[object, int] = {}
    found: dict[int, int] = {}
    for at in order:
        page, _, forced, _ = pieces.pages.groups[at]
        if forced is None:
            key = page, frozenset(members_of[at].items())
            if key in before:
                found[at] = before[key]
            before[key] = at
    return found


def groups_suit(pieces: Pieces, budget: Budget) -> bool:
    """Whether the groups can be dealt to pages by the number of their words alone: packing into bins, the free words of
    each page being a stretch of their own."""
    space, groups = pieces.space, pieces.pages.groups
    free = space.full & ~gather(pieces.units.fixed, space.size)
    fixed = set(pieces.units.fixed.values())
    for size in sorted({group.page for group in groups}):
        rooms = [(free & space.page(size, page)).bit_count() for page in space.pages(size)]
        needs = []
        for group in groups:
            if group.page == size:
                need = sum(1 for word in group.words if word not in fixed)
                if group.forced is None:
                    needs.append(need)
                else:
                    rooms[group.forced] -= need
        if min(rooms) < 0:
            return False
        stretches, width = 0, (1 << size) + 1
        for page, count in enumerate(rooms):
            stretches |= ((1 << count) - 1) << page * width
        whole = 0, len(rooms) * width
        rows = [WordRow(need, stretches, whole) for need in needs if need > 1]
        if pack(stretches, rows, [Single(whole)] * needs.count(1), (), budget) is None:
            return False
    return True


def confine(pieces: Pieces, wanted: dict[Region, int], unit: Unit, groups: Sequence[tuple[int, int]],
            open_pages: PageOf, times: int) -> None:
    """Adds the words of a unit to the smallest region that each of them must be in."""
    limits = [(offset, (0, pieces.space.reach(bits))) for offset, bits in unit.rules]
    for group, offset in groups:
        number, page = open_pages[group], pieces.pages.groups[group].page
        if number is not None:
            limits.append((offset, (number << page, (number + 1) << page)))
    own: dict[int, Region] = {}
    for offset, (start, end) in limits:
        low, high = own.get(offset, (0, pieces.space.size))
        own[offset] = max(low, start), min(high, end)
    for region in own.values():
        wanted[region] = wanted.get(region, 0) + times


def loose_pieces(pieces: Pieces, counting: int, page_of: PageOf) -> Loose:
    """Rows, single words, and the edges of all their regions."""
    space, whole = pieces.space, (0, pieces.space.size)
    edges = set(range(1 << counting, space.size, 1 << counting))
    rows: list[tuple[WordRow, tuple[bool, int]]] = []
    singles: list[tuple[Single, tuple[bool, int]]] = []
    for number in pieces.loose:
        unit = pieces.units.units[number]
        domain, region = unit.domain, whole
        limits = [(0, bits & -bits) for _, bits in unit.rules]
        for group, offset in pieces.groups[number]:
            page, size = page_of[group], pieces.pages.groups[group].page
            assert page is not None
            limits.append((page << size, (page + 1) << size))
            domain &= space.page(size, page) >> offset
        for start, end in limits:
            edges.update((start, end))
            region = max(region[0], start), min(region[1], end)
        if len(unit.words) == 1:
            singles.append((Single(region), (False, number)))
        else:
            rows.append((WordRow(len(unit.words), domain, region), (False, number)))
    for number, (_, length) in enumerate(pieces.units.runs):
        if length == 1:
            singles.append((Single(whole), (True, number)))
        else:
            rows.append((WordRow(length, space.rows(length, counting), whole), (True, number)))
    return Loose(tuple(rows), tuple(singles), tuple(sorted(edges)))
