"""Placements that the quick way does not find, and proofs that there is none."""

import random
from collections.abc import Sequence
from itertools import combinations, pairwise, product
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.microprogram.model import Body, Microinstruction, Program, Target
from ordain.placement.bins import Budget, Packed, Single, Spent, WordRow, pack
from ordain.placement.clusters import Unit, Units, join
from ordain.placement.demands import collect
from ordain.placement.exact import search
from ordain.placement.kinds import groups_suit, sort, twins
from ordain.placement.model import Recorded
from ordain.placement.pages import PageGroup, Pages, group
from ordain.placement.place import place
from ordain.placement.quick import Stuck
from ordain.placement.space import AddressSpace
from tests.placement import by_hand
from tests.placement.by_hand import block, body, label, one_store, program, word
from tests.placement.test_against_every_possibility import faults

Piece = tuple[str, int, int]
"""What a piece is (row, pair, table, fixed, single), its length, where it stands in the solution."""


def cut(size: int, weights: Sequence[float], seed: int) -> list[Piece]:
    """A full store cut into pieces at random: there is exactly one word for every address."""
    rng = random.Random(seed)
    pieces: list[Piece] = []
    at = 0
    while at < size:
        kind = rng.choices(("row", "single", "pair", "table", "fixed"), weights)[0]
        length = {"row": rng.randint(2, 9), "pair": 2, "table": 4}.get(kind, 1)
        if at + length > size or (kind in ("pair", "table") and at % length):
            kind, length = "single", 1
        pieces.append((kind, length, at))
        at += length
    rng.shuffle(pieces)
    return pieces


def from_pieces(pieces: Sequence[Piece]) -> Program:
    words: list[Microinstruction] = []
    for kind, length, at in pieces:
        first = len(words)
        targets: list[tuple[str, Target]] = []
        if kind in ("pair", "table"):
            targets = [("whole", block(*range(first, first + length)))]
        words += [word(first + step, succeeds=int(kind == "row" and step < length - 1),
                       fixed=(at,) if kind == "fixed" else (), targets=targets if not step else ())
                  for step in range(length)]
    return program(words)


@pytest.mark.parametrize("weights", [(3, 2, 2, 1, 0), (3, 0, 2, 1, 1), (3, 0, 0, 0, 2), (1, 0.5, 3, 2, 1)])
@pytest.mark.parametrize("seed", range(4))
def test_full_stores_are_filled(weights: Sequence[float], seed: int) -> None:
    """Every address is taken in the only solutions that there are."""
    wanted = from_pieces(cut(128, weights, seed))
    placement, findings = place(one_store(128, 7), wanted, None)
    assert placement is not None, findings
    assert faults(wanted, placement, 128, 7) == []


@pytest.mark.parametrize("seed", range(4))
def test_full_stores_with_one_word_too_many(seed: int) -> None:
    pieces = [*cut(128, (3, 0, 2, 1, 1), seed), ("single", 1, 0)]
    placement, findings = place(one_store(128, 7), from_pieces(pieces), None)
    assert placement is None and "over-full by 1 word" in findings[0].message


def rows_in_stretches(lengths: Sequence[int], stretches: Sequence[int]) -> bool:
    """Whether rows fit into free stretches, by the plainest search there is."""
    if not lengths:
        return True
    return any(rows_in_stretches(lengths[1:], [*stretches[:at], room - lengths[0], *stretches[at + 1:]])
               for at, room in enumerate(stretches) if room >= lengths[0])


@given(st.lists(st.integers(2, 6), min_size=1, max_size=6), st.lists(st.integers(2, 11), min_size=1, max_size=4))
def test_rows_in_free_stretches(lengths: list[int], stretches: list[int]) -> None:
    """Packing rows between fixed words, against a plain search over all ways."""
    size = sum(stretches) + len(stretches)
    words: list[Microinstruction] = []
    for length in lengths:
        words += [word(len(words) + step, succeeds=int(step < length - 1)) for step in range(length)]
    wall = 0
    for stretch in stretches:
        wall += stretch + 1
        words.append(word(len(words), fixed=(wall - 1,)))
    wanted = program(words)
    width = max(1, (size - 1).bit_length())
    placement, findings = place(one_store(size, width), wanted, None)
    assert (placement is not None) == rows_in_stretches(lengths, stretches)
    assert placement is not None or findings[0].name == "over-full"


def test_sets_of_pages() -> None:
    """25 bodies of 10 words, each in one page of 64: six to a page, so that 24 fit, though 6 words are free in all."""
    def of(count: int) -> Program:
        words = [word(at, succeeds=int(at % 10 != 9)) for at in range(10 * count)]
        return program(words, [body(at, at + 10, name=f"b{at}", same_page=64) for at in range(0, 10 * count, 10)])

    placement, _ = place(one_store(256, 8), of(24), None)
    assert placement is not None
    for first in range(0, 240, 10):
        assert len({placement.addresses[at][0] // 64 for at in range(first, first + 10)}) == 1
    placement, findings = place(one_store(256, 8), of(25), None)
    assert placement is None
    assert findings[0].message.startswith("store `control` is over-full by 10 words: no arrangement")


@pytest.mark.parametrize("sizes", [(33, 9), (20, 21, 22), (13, 12), (4, 60), (31, 32)])
def test_pages_that_are_filled_to_the_last_word(sizes: Sequence[int]) -> None:
    """Bodies of these sizes, as many of each as pages, and single words for what is left: everything is taken."""
    pages, size = 4, 64
    words: list[Microinstruction] = []
    made: list[Body] = []
    for number in range(pages):
        for length in sizes:
            first = len(words)
            words += [word(first + at, succeeds=int(at < length - 1)) for at in range(length)]
            made.append(body(first, first + length, name=f"b{number} {length}", same_page=size))
    words += [word(at) for at in range(len(words), pages * size)]
    wanted = program(words, made)
    placement, findings = place(one_store(256, 8), wanted, None)
    assert placement is not None, findings
    assert faults(wanted, placement, 256, 8) == []


def test_a_word_in_two_pairs_stands_twice() -> None:
    """Once as the first and once as the second of a pair; both branches lead to the same text."""
    wanted = program([word(0, targets=[("whole", block(2, 3))]), word(1, targets=[("whole", block(4, 2))]), word(2),
                      word(3), word(4)])
    placement, findings = place(one_store(8, 3), wanted, None)
    assert placement is not None and not findings
    assert faults(wanted, placement, 8, 3) == []
    assert [address % 2 for address in placement.addresses[2]] == [0, 1]
    assert placement.copies == ((2, placement.addresses[2][1], "for `pair(w4, w2)`"),)


def test_what_follows_a_copied_word_is_copied_with_it() -> None:
    """w2 counts on to w3, and is in two pairs."""
    wanted = program([word(0, targets=[("whole", block(4, 2))]), word(1, targets=[("whole", block(5, 2))]),
                      word(2, succeeds=1), word(3), word(4), word(5)])
    placement, _ = place(one_store(16, 4), wanted, None)
    assert placement is not None
    assert faults(wanted, placement, 16, 4) == []
    assert [word for word, _, _ in placement.copies] == [2, 3]


def test_one_place_serves_a_pair_and_a_table() -> None:
    wanted = program([word(0, targets=[("whole", block(2, 3, 4, 5))]), word(1, targets=[("whole", block(4, 5))]),
                      *[word(at) for at in range(2, 6)]])
    placement, _ = place(one_store(8, 3), wanted, None)
    assert placement is not None and placement.copies == ()


def test_a_fixed_word_serves_a_pair_where_it_stands() -> None:
    def fixed(at: int) -> Program:
        return program([word(0, targets=[("whole", block(1, 2))]), word(1, fixed=(at,)), word(2)])

    placement, _ = place(one_store(8, 3), fixed(4), None)
    assert placement is not None and placement.addresses[1:] == ((4,), (5,)) and placement.copies == ()
    placement, _ = place(one_store(8, 3), fixed(5), None)
    assert placement is not None
    assert placement.addresses[1][0] == 5 and placement.addresses[1][1] % 2 == 0


def test_bound_pages_of_jumps() -> None:
    """Short jumps tie words into groups; each group gets a page that holds all of it."""
    words = [word(at, targets=[("short", label(at // 4 * 4 + (at + 1) % 4, page=True))]) for at in range(16)]
    wanted = program(words)
    placement, _ = place(one_store(16, 4), wanted, None)
    assert placement is not None
    assert faults(wanted, placement, 16, 4) == []


def test_an_exact_fit_is_not_always_best() -> None:
    """Below 8 are three free addresses in a row, and three single words need them: the row of three has to go into
    the longer stretch above."""
    low, high = 0b111 << 2, 0b1111 << 9
    found = pack(low | high, [WordRow(3, (1 << 14) - 1, (0, 14))], [Single((0, 8))] * 3, (8,), Budget(1000))
    assert found is not None and found.rows[0] >= 8 and sorted(found.singles) == [2, 3, 4]
    assert pack(low | high >> 1, [WordRow(3, (1 << 14) - 1, (0, 14))], [Single((0, 8))] * 4, (8,), Budget(1000)) is None


@given(st.lists(st.integers(1, 4), min_size=1, max_size=3), st.lists(st.integers(1, 4), min_size=1, max_size=3),
       st.lists(st.integers(2, 4), min_size=2, max_size=5), st.data())
def test_packing_into_two_zones(lower: list[int], upper: list[int], lengths: list[int], data: st.DataObject) -> None:
    """Rows that may be bound to one of two zones, stretches of given lengths in each: as numbers of stretches only."""
    zones = [(0, 16), (16, 32)]
    free = 0
    for (start, _), stretches in zip(zones, (lower, upper)):
        for stretch in stretches:
            free |= ((1 << stretch) - 1) << start
            start += stretch + 1
    bound = [data.draw(st.sampled_from([(0, 32), *zones])) for _ in lengths]
    singles = data.draw(st.lists(st.sampled_from([(0, 32), *zones]), max_size=4))
    rows = [WordRow(length, (1 << 32) - 1, region) for length, region in zip(lengths, bound)]
    found = pack(free, rows, [Single(region) for region in singles], (16,), Budget(100_000))

    def fits(at: int, rooms: list[tuple[int, int]]) -> bool:
        if at == len(lengths):
            left = [sum(room for zone, room in rooms if zone == number) for number in (0, 1)]
            own = [singles.count(zone) for zone in zones]
            return own[0] <= left[0] and own[1] <= left[1] and len(singles) <= sum(left)
        return any(room >= lengths[at] and bound[at] in ((0, 32), zones[zone])
                   and fits(at + 1, [*rooms[:number], (zone, room - lengths[at]), *rooms[number + 1:]])
                   for number, (zone, room) in enumerate(rooms))

    rooms = [(0, room) for room in lower] + [(1, room) for room in upper]
    assert (found is not None) == fits(0, rooms)


def test_what_failed_in_one_zone_may_succeed_in_the_other() -> None:
    """Seven free addresses below 8 and seven above. The row of four first goes below, which leaves three there for four
    single words; the other way round leaves the same numbers of addresses, but elsewhere."""
    found = pack(0x7F | 0x7F << 9, [WordRow(4, 0xFFFF, (0, 16)), WordRow(3, 0xFFFF, (0, 16))], [Single((0, 8))] * 4,
                 (8,),
                 Budget(1000))
    assert found is not None and found.rows[0] >= 8


def test_four_pairs_side_by_side() -> None:
    """Without the quick way: the bound on pieces that are alike must not be too low."""
    words = [word(at, targets=[("whole", block(at, at + 1))] if not at % 2 else ()) for at in range(8)]
    with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
        placement, _ = place(one_store(8, 3), program(words), None)
    assert placement is not None and faults(program(words), placement, 8, 3) == []


def test_a_page_reference_needs_a_place_that_its_field_can_hold() -> None:
    """w1 is fixed at 1; a field without the lowest bit names it from page 0 and so needs it at 2 as well."""
    def named(*taken: int) -> Program:
        return program([word(0, fixed=(0,), targets=[("middle", label(1, page=True))]), word(1, fixed=(1,)),
                        *[word(2 + at, fixed=(address,)) for at, address in enumerate(taken)]])

    placement, _ = place(one_store(8, 3), named(), None)
    assert placement is not None and placement.addresses[1] == (1, 2)
    placement, findings = place(one_store(8, 3), named(2), None)
    assert placement is None and findings[0].name == "over-full"


def test_groups_with_shared_words_are_no_twins() -> None:
    """Two groups of one piece each change places only if their pieces are alike and share no word with others."""
    space = AddressSpace(8, 3)

    def twins_of(second: tuple[int, ...]) -> dict[int, int]:
        units = [Unit((0,), (1,), 255, (), ((0, 0),), False), Unit((0,), (2,), 255, (), ((1, 0),), False),
                 Unit(tuple(range(len(second))), second, 127, (), ((2, 0),), False)]
        groups = (PageGroup(2, (1,), None, None), PageGroup(2, (2,), None, None))
        pieces = sort(space, Units((), tuple(units), {}, (), (), True), Pages(groups, {1: (0,), 2: (1,)}, ()))
        return twins(pieces, [0, 1])

    assert twins_of((3, 4)) == {1: 0}
    assert twins_of((3, 2)) == {}
    assert twins_of((1, 2)) == {}


def test_groups_of_blocks_that_are_alike_are_twins() -> None:
    """Two aligned pairs, each in a page of its own; not where a word of one stands elsewhere too."""
    def twins_of(*words: tuple[int, int], forced: int | None = None) -> dict[int, int]:
        units = [Unit((0, 1), both, 0b01010101, ((0, 1),), ((number, 0),), False) for number, both in enumerate(words)]
        groups = (PageGroup(2, words[0], forced, None), PageGroup(2, words[1], None, None))
        of_word = {word: (number,) for number, both in enumerate(words[:2]) for word in both}
        return twins(sort(AddressSpace(8, 3), Units((), tuple(units), {}, (), (), True), Pages(groups, of_word, ())),
                     [0, 1])

    assert twins_of((1, 2), (3, 4)) == {1: 0}
    assert twins_of((1, 2), (3, 4), (4, 5)) == {}
    assert twins_of((1, 2), (3, 4), forced=1) == {}      # the other one may still have page 0


@pytest.mark.parametrize(("third", "expected"), [((5, 6), {1: 0}), ((4, 6), {}), ((6, 2), {})])
def test_groups_of_which_a_piece_has_a_word_that_stands_elsewhere_too_are_no_twins(
        third: tuple[int, int], expected: dict[int, int]) -> None:
    """Two pairs of which the first word shares a page with others; the second may stand in a third pair as well."""
    units = tuple([Unit((0, 1), both, 0b01010101, ((0, 1),), ((number, 0),), False)
                   for number, both in enumerate(((1, 2), (3, 4), third))])
    groups = PageGroup(2, (1,), None, None), PageGroup(2, (3,), None, None)
    pieces = sort(AddressSpace(8, 3), Units((), units, {}, (), (), True), Pages(groups, {1: (0,), 3: (1,)}, ()))
    assert twins(pieces, [0, 1]) == expected


def pair_of(number: int, *named: int, fixed: Sequence[int] = ()) -> Microinstruction:
    return word(number, fixed=fixed, targets=[("whole", block(*named))])


@pytest.mark.parametrize("page", [0, 8])
def test_what_fails_once_with_words_in_several_pages_may_succeed_later(page: int) -> None:
    """Two pairs share w1, so it stands twice; at 0 and 2 they leave no row of three, at 0 and 6 they do."""
    words = [pair_of(0, 1, 2, fixed=(5,)), word(1), word(2), pair_of(3, 3, 1), word(4, succeeds=1),
             word(5, succeeds=1), word(6)]
    wanted = program(words, [body(0, 1, name="first"), body(1, 3, name="paged", same_page=page),
                             body(3, 7, name="rest")])
    with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
        placement, _ = place(one_store(8, 3), wanted, None)
    assert placement is not None and faults(wanted, placement, 8, 3) == [] and placement.addresses[4] == (2,)


def test_a_spent_budget_is_not_an_answer() -> None:
    with pytest.raises(Spent):
        pack((1 << 14) - 1, [WordRow(3, (1 << 14) - 1, (0, 14))] * 3, [], (), Budget(2))


def test_the_same_program_is_placed_the_same_way() -> None:
    wanted = from_pieces(cut(128, (3, 1, 2, 1, 1), 7))
    first = place(by_hand.one_store(128, 7), wanted, None)
    assert all(place(by_hand.one_store(128, 7), wanted, None) == first for _ in range(3))


REGIONS = ((0, 14), (0, 8), (4, 14), (4, 8), (10, 14))
QUARTERS = ((0, 12), (0, 3), (3, 6), (6, 9), (9, 12))


def assert_packed(free: int, pieces: Sequence[tuple[int, tuple[int, int]]], edges: Sequence[int]) -> None:
    """Pieces of some length, each within its region, are packed just where some way to pack them exists."""
    def bases(length: int, region: tuple[int, int]) -> range:
        return range(region[0], region[1] - length + 1)

    def fits(left: int, at: int) -> bool:
        if at == len(pieces):
            return True
        length, region = pieces[at]
        shape = (1 << length) - 1
        return any(left >> base & shape == shape and fits(left & ~(shape << base), at + 1)
                   for base in bases(length, region))

    rows = [piece for piece in pieces if piece[0] > 1]
    singles = [piece for piece in pieces if piece[0] == 1]
    found = pack(free, [WordRow(length, sum(1 << base for base in bases(length, region)), region)
                        for length, region in rows], [Single(region) for _, region in singles], edges, Budget(100_000))
    assert (found is not None) == fits(free, 0), (free, pieces)
    if found is not None:
        stand = list(zip((*found.rows, *found.singles), (*rows, *singles)))
        taken = [set(range(base, base + length)) for base, (length, _) in stand]
        assert all(free >> address & 1 for part in taken for address in part), (free, pieces)
        assert not any(a & b for a, b in combinations(taken, 2)), (free, pieces)
        assert all(base in bases(*piece) for base, piece in stand), (free, pieces)


@pytest.mark.parametrize("seed", range(3))
def test_packing_into_regions_against_all_choices(seed: int) -> None:
    rng = random.Random(seed)
    for _ in range(200):
        pieces = [(rng.randint(1, 5), rng.choice(REGIONS)) for _ in range(rng.randint(0, 3))]
        pieces += [(1, rng.choice(REGIONS)) for _ in range(rng.randint(0, 3))]
        assert_packed(rng.getrandbits(14) | rng.getrandbits(14), pieces, (4, 8, 10))


@pytest.mark.parametrize("seed", range(3))
def test_packing_rows_across_edges_against_all_choices(seed: int) -> None:
    """Rows that may lie anywhere, across one edge or several, beside single words that are bound to a quarter."""
    rng = random.Random(seed)
    for _ in range(200):
        free = rng.getrandbits(12)
        free |= free >> 1 | free << 1 & 0xFFF       # few gaps, so that rows have room
        pieces = [(rng.randint(2, 6), (0, 12)) for _ in range(rng.randint(0, 4))]
        while sum(length for length, _ in pieces) < free.bit_count() and rng.random() < 0.8:
            pieces.append((1, rng.choice(QUARTERS)))
        assert_packed(free, pieces, (3, 6, 9))


def dealt(groups: Sequence[tuple[int, int, int | None]], taken: set[int]) -> tuple[bool, bool]:
    """Whether bodies that have to stand in one page can be dealt to pages by the number of their words alone, as
    `groups_suit` says and as all ways to deal them say. A group: its words, the size of its page, and the address at
    which its first word is fixed."""
    words = [by_hand.word(number, fixed=(address,)) for number, address in enumerate(sorted(taken))]
    made = [by_hand.body(0, len(words), name="taken")] if words else []
    for number, (length, page, at) in enumerate(groups):
        made.append(by_hand.body(len(words), len(words) + length, name=f"group {number}", same_page=page))
        words += [by_hand.word(len(words) + step, fixed=() if at is None or step else (at,)) for step in range(length)]
    (task,), _ = collect(by_hand.one_store(15, 4), by_hand.program(words, made))
    space = AddressSpace(15, 4)
    units = join(space, task, frozenset(word for bond in task.bonds for word in bond.words), merge=True)
    pieces = sort(space, units, group(task.bonds, units))
    used = {*taken, *(at for _, _, at in groups if at is not None)}
    possible = True
    for page in {page for _, page, _ in groups}:
        own = [(length - (at is not None), at) for length, size, at in groups if size == page]
        rooms = [sum(address not in used for address in range(start, min(15, start + page)))
                 for start in range(0, 15, page)]
        possible &= any(all(at is None or at // page == where for (_, at), where in zip(own, way)) and all(
            sum(need for (need, _), where in zip(own, way) if where == number) <= room
            for number, room in enumerate(rooms)) for way in product(range(len(rooms)), repeat=len(own)))
    return groups_suit(pieces, Budget(100_000)), possible


@pytest.mark.parametrize(("sizes", "taken"), [
    ([3] * 5, set()),            # no page has room for two groups
    ([2] * 5, {0, 4, 8, 12}), ([1] * 3 + [4] * 3, set()), ([1] * 4 + [4] * 3, set()),
    ([1], set(range(15))), ([2], set(range(14))), ([1], set(range(14))), ([2], set(range(2, 15)))])
def test_groups_that_fill_pages(sizes: list[int], taken: set[int]) -> None:
    said, possible = dealt([(size, 4, None) for size in sizes], taken)
    assert said == possible


@pytest.mark.parametrize("seed", range(4))
def test_dealing_groups_to_pages_against_all_choices(seed: int) -> None:
    rng = random.Random(seed)
    for _ in range(60):
        taken = set(rng.sample(range(15), rng.randint(0, 7)))
        left = [address for address in range(15) if address not in taken]
        rng.shuffle(left)
        groups = [(rng.randint(1, page), page, left.pop() if rng.random() < 0.25 and left else None)
                  for page in [rng.choice([4, 4, 4, 2]) for _ in range(rng.randint(1, 5))]]
        said, possible = dealt(groups, taken)
        assert said == possible, (groups, taken)


def stretches(*lengths: int) -> int:
    """Free addresses: stretches of these lengths, one address between each and the next."""
    found, at = 0, 0
    for length in lengths:
        found |= (1 << length) - 1 << at
        at += length + 1
    return found


def rows_of(*lengths: int, within: tuple[int, int] = (0, 128)) -> list[WordRow]:
    return [WordRow(length, (1 << 128) - 1, within) for length in lengths]


@pytest.mark.parametrize(("free", "rows", "singles", "edges", "fits", "states"), [
    # three single words for two addresses: whatever the rows do
    (stretches(*[5] * 8), rows_of(*[2] * 10), [Single((0, 2))] * 3, (2,), False, 3),
    # three rows of four below 12, where ten addresses are free
    (stretches(*[5] * 8), [*rows_of(4, 4, 4, within=(0, 12)), *rows_of(*[2] * 5)], [], (12,), False, 1),
    # sixteen words in rows of four, and one stretch alone that can hold any
    (stretches(3, 3, 3, 3, 3, 3, 3, 9), rows_of(4, 4, 4, 4), [], (), False, 1),
    # a row of two has to stand in each stretch beside others; the same lengths come about in many ways
    (stretches(*[7] * 7), rows_of(*[3] * 14, 2, 2, 2), [], (), False, 27),
    (stretches(*[9] * 6), rows_of(*[5] * 6, *[3] * 6, 2, 2), [], (), False, 10),
    # two rows of five in twelve addresses: one of them, or both, across an edge
    (0xFFF, rows_of(5, 5), [Single((0, 4)), Single((8, 12))], (4, 8), True, 15),
    # the row that has to be below 4 goes before the other one
    (stretches(3, 3), [*rows_of(3), *rows_of(3, within=(0, 4))], [], (4,), True, 3),
    # what fills a stretch stands there
    (stretches(2, 3, 3), rows_of(2, 2, 2, 2), [], (), False, 3),
    (stretches(4, 5, 6, 7, 8, 9, 10), rows_of(10, 9, 8, 7, 6, 3, 3), [], (), True, 8),
])
def test_how_many_states_it_takes(free: int, rows: list[WordRow], singles: list[Single], edges: Sequence[int],
                                  fits: bool,
                                  states: int) -> None:
    """What counting rules out is not searched: no search can go every way in a store of thousands of words."""
    assert (pack(free, rows, singles, edges, Budget(states)) is not None) == fits
    with pytest.raises(Spent):
        pack(free, rows, singles, edges, Budget(states - 1))


def blocks_and_rows(blocks: Sequence[int], rows: Sequence[int], *fixed: int) -> Program:
    """Aligned blocks and rows of these lengths, and a word at each fixed address."""
    words: list[Microinstruction] = []
    for length in blocks:
        own = range(len(words), len(words) + length)
        words += [word(number, targets=[("whole", block(*own))] if number == own[0] else ()) for number in own]
    for length in rows:
        words += [word(len(words) + step, succeeds=int(step < length - 1)) for step in range(length)]
    return program([*words, *(word(len(words) + at, fixed=(address,)) for at, address in enumerate(fixed))])


def paged(groups: Sequence[int], singles: int) -> Program:
    """Bodies of these lengths, each in one page of four words, and single words."""
    starts = [sum(groups[:at]) for at in range(len(groups) + 1)]
    bodies = [body(start, end, name=f"at {start}", same_page=4) for start, end in pairwise(starts)]
    return program([word(number) for number in range(starts[-1] + singles)],
                   [*bodies, body(starts[-1], starts[-1] + singles, name="rest")])


@pytest.mark.parametrize(("wanted", "size", "fits", "states"), [
    (blocks_and_rows([2] * 7, [], 1, 7), 16, False, 1),             # six aligned places are left
    (blocks_and_rows([2] * 6, [1, 1, 1], 1), 16, True, 8),
    (blocks_and_rows([2] * 6, [1, 1, 1, 1], 1), 16, False, 1),      # a word too many
    (blocks_and_rows([2] * 5 + [4, 4], [], 4), 20, True, 9),
    (blocks_and_rows([2, 2, 4, 4], [5], 8, 13), 20, False, 53),     # no stretch of five is left, whichever way
    (blocks_and_rows([4, 4, 2, 2], [], 1, 7), 16, True, 6),          # the tables above 8, the pairs below
    (blocks_and_rows([8, 8, 4, 4, 2, 2], [], 1, 13), 40, True, 8),
    (paged([3, 3, 3, 3], 4), 16, True, 15), (paged([3, 3, 3, 3], 5), 16, False, 6),
    (paged([3] * 5, 0), 16, False, 3),
])
def test_how_many_states_the_exact_way_takes(wanted: Program, size: int, fits: bool, states: int) -> None:
    (task,), _ = collect(one_store(size, (size - 1).bit_length()), wanted)
    space = AddressSpace(size, task.width)
    units = join(space, task, frozenset(number for bond in task.bonds for number in bond.words), merge=True)
    pages, likes = group(task.bonds, units), [None] * len(units.units)
    assert (search(space, units, pages, task.counting, likes, Budget(states)) is not None) == fits
    with pytest.raises(Spent):
        search(space, units, pages, task.counting, likes, Budget(states - 1))


@pytest.mark.parametrize(("row", "fits", "states"), [(4, False, 35), (3, True, 6)])
def test_what_failed_is_not_tried_again(row: int, fits: bool, states: int) -> None:
    """A word at 0 or 1, one at 0, 1 or 2, one anywhere, and a row; 4 is taken. That the first two can stand the other
    way round leaves the same places free."""
    domains = 0b11, 0b111, 0xFF
    words = tuple([Unit((0,), (number,), domain, (), ((0, 0),), True) for number, domain in enumerate(domains)])
    units = Units((), words, {4: 9}, (), ((3, row),), False)

    def found(budget: int) -> bool:
        return search(AddressSpace(8, 3), units, Pages((), {}, ()), 3, (None,) * 3, Budget(budget)) is not None

    assert found(states) == fits
    with pytest.raises(Spent):
        found(states - 1)


def test_words_of_an_inner_region_are_dealt_first() -> None:
    """The word that may stand anywhere leaves the only free address of the inner region to the one bound to it."""
    singles = [Single((0, 20)), Single((8, 14))]
    for free, found in (((9, 15), (15, 9)), ((3, 9), (3, 9)), ((9, 13), (13, 9)), ((3, 15), None), ((9,), None)):
        packed = pack(sum(1 << address for address in free), [], singles, (8, 14), Budget(100))
        assert (packed.singles if packed else None) == found


def test_a_word_that_may_be_nowhere() -> None:
    """Its two limits have nothing in common."""
    assert pack(0xFFFF, [], [Single((8, 4))], (4, 8), Budget(10)) is None
    assert pack(0xFFFF, [], [Single((8, 8))], (8,), Budget(10)) is None
    assert pack(0xFFFF, [], [Single((7, 8))], (7, 8), Budget(10)) == Packed((), (7,))


def fixed_at(number: int, *addresses: int, targets: Sequence[tuple[str, Target]] = ()) -> Microinstruction:
    return word(number, fixed=addresses, targets=targets)


@pytest.mark.parametrize("wanted", [
    [fixed_at(0, 7), word(1, targets=[("whole", block(2, 0))]), word(2, targets=[("whole", block(1, 0))]),
     fixed_at(3, 2, targets=[("whole", block(0, 3))]), word(4, targets=[("short", label(2))])],
    [fixed_at(0, 5, targets=[("whole", block(1, 0))]), word(1, targets=[("whole", block(3, 4))]),
     word(2, targets=[("short", label(4))]), fixed_at(3, 6, targets=[("even", label(0))]),
     word(4, targets=[("whole", block(3, 0))])],
    [word(0, targets=[("whole", block(5, 1))]), fixed_at(1, 7, targets=[("short", label(5))]),
     word(2, targets=[("whole", block(3, 1))]), fixed_at(3, 4, targets=[("short", label(0))]),
     word(4, targets=[("whole", block(2, 1))]), word(5, targets=[("even", label(4))])],
])
def test_what_failed_with_words_at_some_addresses_may_succeed_with_them_at_others(
        wanted: list[Microinstruction]) -> None:
    """The same addresses are taken, by words that stand twice: by which of them at which is not the same."""
    with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
        placement, _ = place(one_store(8, 3), program(wanted), None)
    assert placement is not None and faults(program(wanted), placement, 8, 3) == []


def test_a_word_whose_address_begins_with_a_one() -> None:
    """As where a wire is tied high beside what a table holds: 8 is the lowest of them, and 9 where that is fixed."""
    space = AddressSpace(16, 4)
    for fixed, expected in (({}, 8), ({8: 1}, 9)):
        unit = Unit((0,), (0,), space.ones(8), (), ((0, 0),), True)
        found = search(space, Units((), (unit,), fixed, (), (), False), Pages((), {}, ()), 4, (None,), Budget(100))
        assert found is not None and found.units == (expected,)


def test_groups_that_a_piece_ties_together_are_no_twins() -> None:
    """A row of two has its first word in one group and its second in the other: they cannot change places."""
    groups = (PageGroup(2, (1,), None, None), PageGroup(2, (2,), None, None))
    row = Unit((0, 1), (1, 2), 127, (), ((0, 0),), False)
    pieces = sort(AddressSpace(8, 3), Units((), (row,), {}, (), (), False), Pages(groups, {1: (0,), 2: (1,)}, ()))
    assert twins(pieces, [0, 1]) == {}


def test_a_row_that_goes_on_in_the_next_page() -> None:
    """Free are 0, 3, 4, 5 and 7: the first word of the row names w4 in its page, the two others name w3 in theirs, so
    it begins at 3. The second group is the larger one, and has the higher page all the same."""
    page_of = {number: [("short", label(named, page=True))] for number, named in ((0, 4), (1, 3), (2, 3))}
    words = [word(number, succeeds=int(number < 2), targets=page_of.get(number, ())) for number in range(5)]
    placement, findings = place(one_store(8, 3), program(
        [*words, *(word(5 + at, fixed=(address,)) for at, address in enumerate((1, 2, 6)))]), None)
    assert placement is not None and not findings
    assert placement.addresses[:5] == ((3,), (4,), (5,), (7,), (0,))


@pytest.mark.parametrize(("first", "second", "expected"), [(2, 2, {1: 0}), (2, 1, {}), (1, 2, {})])
def test_groups_of_unlike_numbers_of_pieces_are_no_twins(first: int, second: int, expected: dict[int, int]) -> None:
    words = range(first + second)
    units = tuple(Unit((0,), (word,), 255, (), ((word, 0),), False) for word in words)
    groups = (PageGroup(2, tuple(words[:first]), None, None), PageGroup(2, tuple(words[first:]), None, None))
    of_word = {word: (int(word >= first),) for word in words}
    assert twins(sort(AddressSpace(8, 3), Units((), units, {}, (), (), False), Pages(groups, of_word, ())),
                 [0, 1]) == expected


@pytest.mark.parametrize(("sizes", "suit"), [
    ((4, 4), True), ((4, 4, 1), False), ((3, 1, 3, 1), True), ((3, 3, 2), False), ((1,) * 8, True), ((1,) * 9, False)])
def test_groups_are_dealt_to_pages_by_their_words(sizes: tuple[int, ...], suit: bool) -> None:
    """Two pages of four; each word is a piece of its own."""
    groups, units, of_word = [], [], {}
    for number, size in enumerate(sizes):
        words = range(len(of_word), len(of_word) + size)
        groups.append(PageGroup(2, tuple(words), None, None))
        units += [Unit((0,), (word,), 255, (), ((word, 0),), False) for word in words]
        of_word.update(dict.fromkeys(words, (number,)))
    pieces = sort(AddressSpace(8, 3), Units((), tuple(units), {}, (), (), False), Pages(tuple(groups), of_word, ()))
    assert groups_suit(pieces, Budget(100)) == suit


def test_words_that_are_alike_stand_side_by_side() -> None:
    """Two that may stand at 4 or 5 alone, and three."""
    def found(count: int) -> object:
        units = tuple(Unit((0,), (word,), 0b110000, (), ((word, 0),), True) for word in range(count))
        layout = search(AddressSpace(16, 4), Units((), units, {}, (), (), False), Pages((), {}, ()), 4,
                        (None,) * count, Budget(100))
        return layout and layout.units

    assert found(2) == (4, 5) and found(3) is None


def test_the_fullest_page_that_has_room_is_tried_first() -> None:
    """Of two pages of four the second holds two words already, and has room for the two."""
    words = [word(0), word(1), word(2, fixed=(5,)), word(3, fixed=(6,))]
    wanted = program(words, [body(0, 2, name="paged", same_page=4), body(2, 4, name="walls")])
    with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
        placement, _ = place(one_store(8, 3), wanted, None)
    assert placement is not None and placement.addresses[:2] == ((4,), (7,))


def test_a_place_that_serves_two_is_tried_first() -> None:
    """A pair of the third and fourth word of a table, each sought by itself: the table stands at 4, and the pair in it,
    though 0 is free as well."""
    wanted = program([word(0, targets=[("whole", block(2, 3, 4, 5))]), word(1, targets=[("whole", block(4, 5))]),
                      *(word(at) for at in range(2, 6)), word(6, fixed=(3,))])
    (task,), _ = collect(one_store(16, 4), wanted)
    space = AddressSpace(16, 4)
    units = join(space, task, frozenset(), merge=False)
    found = search(space, units, group((), units), 4, (None, None), Budget(100))
    assert found is not None and found.units == (4, 6)
    # the first word of the table behind another one: at 3 that is, though 1 is free as well
    before = program([word(0, targets=[("whole", block(2, 3, 4, 5))]), word(1, succeeds=1),
                      *(word(at) for at in range(2, 6)), word(6, fixed=(0,))])
    (task,), _ = collect(one_store(16, 4), before)
    units = join(space, task, frozenset(), merge=False)
    found = search(space, units, group((), units), 4, (None, None), Budget(100))
    assert found is not None and found.units == (4, 3)


def test_a_word_of_its_own_needs_a_free_place_beside_one_that_is_shared() -> None:
    """w2 is the second of two pairs; 0 and 1 are taken, or 0 alone."""
    for walls in ((0, 1), (0,)):
        wanted = program([word(0, targets=[("whole", block(1, 2))]), word(1), word(2),
                          word(3, targets=[("whole", block(3, 2))]),
                          *(word(4 + at, fixed=(address,)) for at, address in enumerate(walls))])
        with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
            placement, _ = place(one_store(8, 3), wanted, None)
        assert placement is not None and faults(wanted, placement, 8, 3) == []
        assert [placement.addresses[at][0] for at in (1, 3)] == [2, 4]


def two_rooms(*walls: int) -> Program:
    """w0 stands at 0 and 1, w1 at 4 and 5; each shares its page of eight with a word of a row of two."""
    return program([word(0, fixed=(0, 1), targets=[("short", label(2, page=True))]),
                    word(1, fixed=(4, 5), targets=[("short", label(3, page=True))]), word(2, succeeds=1), word(3),
                    *(word(4 + at, fixed=(address,)) for at, address in enumerate(walls))])


@pytest.mark.parametrize(("walls", "fits"), [((2, 3), True), ((2, 3, 6), False)])
def test_all_that_shares_a_page_with_a_row_is_looked_at(walls: tuple[int, ...], fits: bool) -> None:
    """6 and 7 are free, or 7 alone: from there the row would go on in the other page."""
    placement, findings = place(one_store(16, 4), two_rooms(*walls), None)
    assert (placement is not None) == fits == (not findings)
    assert placement is None or placement.addresses[2:4] == ((6,), (7,))
    before = Recorded({"control": {"body/2": (7,), "body/3": (8,)}}, {})
    assert (place(one_store(16, 4), two_rooms(*walls), before)[0] or None) == placement


def test_a_word_in_two_rooms_of_a_page_needs_no_search() -> None:
    wanted = program([word(0, fixed=(0, 1), targets=[("short", label(1, page=True))]), word(1)])
    with patch("ordain.placement.exact.search", side_effect=AssertionError):
        placement, _ = place(one_store(8, 3), wanted, None)
    assert placement is not None and placement.addresses == ((0, 1), (2,))


def test_what_failed_with_words_in_other_pages_is_tried_again() -> None:
    """w2 and w3 share a page with w4, which stands in both; free are 0, 1 and 4. With w0 at 0 or 1 there is no way,
    whatever is left free."""
    wanted = program([word(0), word(1, fixed=(2, 6)), word(2), word(3), word(4, fixed=(3, 7)), word(5, fixed=(5,))],
                     [body(0, 2, name="one", same_page=4), body(2, 5, name="two", same_page=4),
                      body(5, 6, name="wall")])
    with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
        placement, _ = place(one_store(8, 3), wanted, None)
    assert placement is not None and faults(wanted, placement, 8, 3) == []
    assert placement.addresses[0] == (4,)
