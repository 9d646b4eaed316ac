"""Rows and single words into what is left of a store, exactly.

The edges of pages and of what a short field can reach cut the store into zones. A row inside one zone may be shifted to
the low end of its free stretch (whatever was there moves up by as much and stays in the zone), so only the *choice* of
the stretch matters: packing into bins. A row across an edge is decided before, address by address. Single words are
dealt out last, those with the smallest region first; regions are nested or apart, so that is exact.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ordain.placement.space import cells, lowest, room, segments

Region = tuple[int, int]
"""Addresses start .. end - 1; of any two regions one holds the other or they are apart."""


class Spent(Exception):
    """The budget of a search is used up: nothing is known."""


class Budget:
    """How many more states may be looked at."""

    __slots__ = ("left",)

    def __init__(self, states: int) -> None:
        self.left = states

    def spend(self) -> None:
        self.left -= 1
        if self.left < 0:
            raise Spent


class WordRow(NamedTuple):
    """`length` words in a row. `domain`: the bases that it may have where it crosses an edge. `region`: where a row
    that crosses none must be as a whole."""

    length: int
    domain: int
    region: Region


class Single(NamedTuple):
    """One word somewhere in its region."""

    region: Region


class Packed(NamedTuple):
    rows: tuple[int, ...]
    singles: tuple[int, ...]


def pack(free: int, rows: Sequence[WordRow], singles: Sequence[Single], edges: Sequence[int], budget: Budget
         ) -> Packed | None:
    """The base of every row and single word, or None when there is no way."""
    if sum(row.length for row in rows) + len(singles) > free.bit_count():
        return None
    for walls, bases in _across(free, rows, edges, budget):
        budget.spend()
        left = free
        for number, base in bases:
            left ^= cells(base, rows[number].length)
        found = _into_zones(left, rows, dict(bases), singles, walls, budget)
        if found is not None:
            return found
    return None


_Straddlers = tuple[tuple[int, int], ...]


def _across(free: int, rows: Sequence[WordRow], edges: Sequence[int], budget: Budget
            ) -> Iterator[tuple[Sequence[int], _Straddlers]]:
    """Every way to lay rows across edges, as (row, base) pairs; first the way in which none is."""
    crossable = [edge for edge in edges if edge and free >> (edge - 1) & 3 == 3]
    alike: dict[tuple[int, int, Region], list[int]] = {}
    for number, row in enumerate(rows):
        alike.setdefault((row.length, row.domain, row.region), []).append(number)
    options = [[(numbers, base) for (length, domain, _), numbers in alike.items()
                for base in _crossing(domain & room(free, length), length, edge,
                                      crossable[at - 1] if at else 0)]
               for at, edge in enumerate(crossable)]
    stack: list[tuple[int, int, _Straddlers]] = [(0, free, ())]
    while stack:
        at, left, placed = stack.pop()
        while at < len(crossable) and not options[at]:
            at += 1
        if at == len(crossable):
            yield edges, placed
            continue
        budget.spend()
        used = {number for number, _ in placed}
        for numbers, base in reversed(options[at]):
            unused = next((number for number in numbers if number not in used), None)
            if unused is not None:
                shape = cells(base, rows[unused].length)
                if left & shape == shape:
                    stack.append((at + 1, left ^ shape, (*placed, (unused, base))))
        stack.append((at + 1, left, placed))


def _crossing(bases: int, length: int, edge: int, before: int) -> list[int]:
    """Those of the bases from which a row crosses `edge` but not the edge `before`, where it was considered already."""
    start = max(edge - length + 1, before, 0)
    return [base for base in range(start, edge) if bases >> base & 1]


def _into_zones(free: int, rows: Sequence[WordRow], placed: dict[int, int], singles: Sequence[Single],
                edges: Sequence[int], budget: Budget) -> Packed | None:
    """The rows that cross no edge into free stretches cut at the edges, then the single words."""
    if not _regions_suffice(free, rows, placed, singles):
        return None
    order = sorted((number for number in range(len(rows)) if number not in placed),
                   key=lambda at: (-rows[at].length, rows[at].region[1] - rows[at].region[0]))
    regions = sorted({rows[at].region for at in order} | {single.region for single in singles})
    stretches = [(end - start, _zone(start, regions), start) for start, end in _cut(free, edges)]
    one_zone = len({zone for _, zone, _ in stretches}) <= 1
    failed: set[object] = set()
    bases: dict[int, int] = dict(placed)
    trail: list[tuple[Iterator[int], list[tuple[int, tuple[int, ...], int]]]] = []
    while True:
        depth = len(trail)
        if depth == len(order):
            dealt = _deal(free, rows, bases, singles)
            if dealt is not None:
                return Packed(tuple([bases[number] for number in range(len(rows))]), dealt)
        else:
            row = rows[order[depth]]
            key = depth, tuple(sorted([(length, zone) for length, zone, _ in stretches]))
            if key not in failed and _long_enough(stretches, order[depth:], rows):
                trail.append((iter(_choices(stretches, row, one_zone)), stretches))
            failed.add(key)
        while trail:
            choices, before = trail[-1]
            choice = next(choices, None)
            if choice is not None:
                break
            trail.pop()
        else:
            return None
        budget.spend()
        number = order[len(trail) - 1]
        length, zone, start = before[choice]
        bases[number] = start
        stretches = list(before)
        stretches[choice] = length - rows[number].length, zone, start + rows[number].length


def _choices(stretches: Sequence[tuple[int, tuple[int, ...], int]], row: WordRow, one_zone: bool) -> list[int]:
    """The stretches that are worth trying for a row, the tightest first, one of each sort. Where all stretches are
    alike but for their length, one that the row fills exactly is as good as any."""
    seen: dict[tuple[int, tuple[int, ...]], int] = {}
    for at, (length, zone, start) in enumerate(stretches):
        if length >= row.length and row.region[0] <= start < row.region[1]:
            seen.setdefault((length, zone), at)
    found = [seen[key] for key in sorted(seen)]
    if one_zone and found and stretches[found[0]][0] == row.length:
        return found[:1]
    return found


def _long_enough(stretches: Sequence[tuple[int, tuple[int, ...], int]], order: Sequence[int],
                 rows: Sequence[WordRow]) -> bool:
    """Whether the stretches that can hold any of the coming rows have room for all of their words."""
    shortest = rows[order[-1]].length
    need = sum(rows[number].length for number in order)
    return need <= sum(length for length, _, _ in stretches if length >= shortest)


def _zone(address: int, regions: Sequence[Region]) -> tuple[int, ...]:
    """Which regions hold the address: stretches with the same answer are interchangeable."""
    return tuple([at for at, (start, end) in enumerate(regions) if start <= address < end])


def _cut(free: int, edges: Sequence[int]) -> Iterator[tuple[int, int]]:
    for start, end in segments(free):
        at = bisect_right(edges, start)
        while at < len(edges) and edges[at] < end:
            yield start, edges[at]
            start = edges[at]
            at += 1
        yield start, end


def _regions_suffice(free: int, rows: Sequence[WordRow], placed: dict[int, int], singles: Sequence[Single]) -> bool:
    """For every region: the words that must be inside are no more than its free addresses."""
    need: dict[Region, int] = {}
    for number, row in enumerate(rows):
        if number not in placed:
            need[row.region] = need.get(row.region, 0) + row.length
    for single in singles:
        need[single.region] = need.get(single.region, 0) + 1
    for start, end in need:
        inside = sum(count for (low, high), count in need.items() if start <= low and high <= end)
        if inside > (free >> start & (1 << max(0, end - start)) - 1).bit_count():
            return False
    return True


def _deal(free: int, rows: Sequence[WordRow], bases: dict[int, int], singles: Sequence[Single]) -> tuple[int,
                                                                                                         ...] | None:
    """An address for every single word once all rows lie."""
    for number, base in bases.items():
        free &= ~cells(base, rows[number].length)
    addresses = [0] * len(singles)
    for at in sorted(range(len(singles)), key=lambda at: (singles[at].region[1] - singles[at].region[0], at)):
        start, end = singles[at].region
        inside = free >> start & (1 << end - start) - 1
        if not inside:
            return None
        addresses[at] = start + lowest(inside)
        free ^= 1 << addresses[at]
    return tuple(addresses)
