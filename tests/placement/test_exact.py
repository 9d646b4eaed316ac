"""Placements that the quick way does not find, and proofs that there is none."""

import random
from collections.abc import Sequence
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.microprogram.model import Body, Microinstruction, Program, Target
from ordain.placement.bins import Budget, Row, Single, Spent, pack
from ordain.placement.place import place
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


@given(st.lists(st.integers(1, 6), min_size=1, max_size=5), st.integers(1, (1 << 14) - 1), st.integers(0, 3))
def test_packing_into_bins_against_all_choices(lengths: list[int], free: int, singles: int) -> None:
    """Rows into a set of free addresses, with single words that must lie in the lower half."""
    rows = [Row(length, (1 << 14) - 1, (0, 14)) for length in lengths]
    found = pack(free, rows, [Single((0, 8))] * singles, (8,), Budget(100_000))

    def fits(left: int, at: int) -> bool:
        if at == len(lengths):
            return (left & 0xFF).bit_count() >= singles
        shape = (1 << lengths[at]) - 1
        return any(left & shape << base == shape << base and fits(left & ~(shape << base), at + 1)
                   for base in range(14))

    assert (found is not None) == fits(free, 0)
    if found is not None:
        taken = [set(range(base, base + length)) for base, length in zip(found.rows, lengths)]
        taken += [{address} for address in found.singles]
        assert all(free >> address & 1 for cells in taken for address in cells)
        assert not any(a & b for a, b in combinations(taken, 2))
        assert all(address < 8 for address in found.singles)


def test_a_spent_budget_is_not_an_answer() -> None:
    with pytest.raises(Spent):
        pack((1 << 14) - 1, [Row(3, (1 << 14) - 1, (0, 14))] * 3, [], (), Budget(2))


def test_the_same_program_is_placed_the_same_way() -> None:
    wanted = from_pieces(cut(128, (3, 1, 2, 1, 1), 7))
    first = place(by_hand.one_store(128, 7), wanted, None)
    assert all(place(by_hand.one_store(128, 7), wanted, None) == first for _ in range(3))
