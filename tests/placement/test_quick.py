"""The quick way by itself: which place units and groups get that share pages, and of which piece it says that there was
no room for it."""

from collections.abc import Mapping, Sequence

import pytest

from ordain.placement.clusters import Unit, Units
from ordain.placement.pages import PageGroup, Pages
from ordain.placement.quick import Arrangement, Stuck, Wishes, lay
from ordain.placement.space import AddressSpace

Group = tuple[int, tuple[int, ...]]
"""Bits of the place in a page, and its words."""


def laid(rows: Sequence[int], groups: Sequence[Group], fixed: Mapping[int, int], *, size: int = 16,
         forced: int | None = None) -> Arrangement | Stuck:
    """Units of so many words in a row, the words numbered through; `fixed`: address -> word. `forced`: the page of the
    first group."""
    space, units, word = AddressSpace(size, (size - 1).bit_length()), list[Unit](), 0
    for number, length in enumerate(rows):
        units.append(Unit(tuple(range(length)), tuple(range(word, word + length)), space.below(size - length + 1), (),
                          ((number, 0),), False))
        word += length
    of_word: dict[int, tuple[int, ...]] = {}
    for number, (_, words) in enumerate(groups):
        for each in words:
            of_word[each] = (*of_word.get(each, ()), number)
    pages = Pages(tuple(PageGroup(page, words, forced if not number else None, None)
                        for number, (page, words) in enumerate(groups)), of_word, ())
    return lay(space, Units((), tuple(units), dict(fixed), (), (), False), pages, space.width, None)


def taken(*addresses: int) -> dict[int, int]:
    return {address: 100 + address for address in addresses}


@pytest.mark.parametrize(("rows", "groups", "fixed", "bases"), [
    ((3,), ((2, (1, 2)),), (), 0),                              # words 1 and 2 in one page of four: from 0 they are
    ((3,), ((2, (1, 2)),), (0,), 1),                            # from 1 at 2 and 3
    ((3,), ((2, (1, 2)),), (0, 1), 3),                          # from 2 at 3 and 4; from 3 again
])
def test_a_row_that_shares_pages_with_itself(rows: Sequence[int], groups: Sequence[Group], fixed: Sequence[int],
                                             bases: int) -> None:
    assert laid(rows, groups, taken(*fixed)) == Arrangement((bases,), ())


def test_a_row_in_pages_of_two_sizes() -> None:
    """The first two words in a page of four that is settled, the first and the last in one of eight that is not."""
    both = ((2, (0, 1)), (3, (0, 3)))
    assert laid((4,), both, taken(4, 5), forced=1) == Stuck(0, None)             # from 6 on the last would be at 9
    assert laid((4,), both, taken(8, 9), forced=2) == Arrangement((10,), ())     # from 10 on it is at 13
    assert laid((4,), both, taken(4), forced=1) == Stuck(0, None)
    assert laid((4,), both, {}, forced=1) == Arrangement((4,), ())


def test_the_fullest_page_that_has_room_for_the_group() -> None:
    three = ((2, (0, 1, 2)),)
    assert laid((1, 1, 1), three, taken(0, 1, 4)) == Arrangement((5, 6, 7), ())
    assert laid((1, 1, 1), three, taken(0, 4)) == Arrangement((1, 2, 3), ())
    assert laid((1, 1, 1), three, taken(0, 4), forced=2) == Arrangement((8, 9, 10), ())
    assert laid((2, 1), ((2, (0, 1, 2)),), taken(1, 4)) == Arrangement((2, 0), ())      # the longer one first
    assert laid((2, 1), ((2, (0, 1, 2)),), taken(1, 3, 4)) == Arrangement((5, 7), ())   # in 0 and 2 there is no row


def test_a_page_that_is_given_up_leaves_no_other_page_chosen() -> None:
    """Five words are free below 8, but for the row of three only 0 to 2, and no two in a row then. Its first word
    shares a page of 16 with another: that is the one from 16 on when the rows have to go there."""
    groups = ((3, (0, 1, 2, 3, 4)), (4, (0, 5)))
    assert laid((3, 2, 1), groups, taken(3, 5, 7, *range(8, 16)), size=32) == Arrangement((16, 19, 21), ())
    assert laid((3, 2, 1), groups, taken(3, 6, 7, *range(9, 16)), size=32) == Arrangement((0, 4, 8), ())
    assert laid((3, 2), groups[:1], taken(3, 5, 7, *range(8, 16)), size=32) == Arrangement((16, 19), ())
    # a page that is settled stays so: the first word has to stand below 16
    assert laid((3, 2, 1), groups[::-1], taken(3, 5, 7, *range(8, 16)), size=32, forced=0) == Stuck(0, None)


def test_a_group_whose_page_is_settled_goes_before_larger_ones() -> None:
    """Three are free in the first page, and a group of three would fill it."""
    assert laid((1, 1, 1, 1), ((2, (0,)), (2, (1, 2, 3))), taken(0), forced=0) == Arrangement((1, 4, 5, 6), ())


def test_of_two_groups_the_larger_goes_first_and_small_pages_before_large_ones() -> None:
    assert laid((1, 1, 1, 1, 1), ((2, (0, 1)), (2, (2, 3, 4))), taken(0)) == Arrangement((4, 5, 1, 2, 3), ())
    assert laid((1, 1, 1, 1, 1), ((3, (2, 3, 4)), (2, (0, 1))), taken(0)) == Arrangement((1, 2, 3, 4, 5), ())


def test_every_group_gets_a_page_that_has_room_for_it() -> None:
    """Of the second page one word alone is free, and the third group would begin there."""
    groups = ((2, (0, 1)), (2, (2, 3, 4)), (2, (5, 6)))
    assert laid((1,) * 7, groups, taken(0, 4, 5, 6)) == Arrangement((8, 9, 1, 2, 3, 10, 11), ())
    assert laid((1,) * 7, groups, taken(0, 4, 5, 6, 8)) == Arrangement((9, 10, 1, 2, 3, 12, 13), ())


def test_the_first_of_a_group_is_told_for_which_no_page_has_room() -> None:
    two_free = taken(0, 1, 4, 5, 8, 9, 12, 13)
    assert laid((1, 1, 1), ((2, (0, 1, 2)),), two_free) == Stuck(0, None)
    assert laid((1, 1), ((2, (0, 1)),), two_free) == Arrangement((2, 3), ())
    assert laid((1, 3, 1), ((2, (0, 4)),), taken(*range(0, 16, 2))) == Stuck(1, None)
    assert laid((1, 1, 1), ((2, (1, 2)),), taken(*range(13)), forced=3) == Arrangement((15, 13, 14), ())
    assert laid((1, 1, 1), ((2, (1, 2)),), taken(*range(1, 15)), forced=3) == Stuck(2, None)


def wished(units: Sequence[int | None], runs: Sequence[int | None], firm: Sequence[tuple[str, int]], *fixed: int,
           counting: int = 4) -> Arrangement | Stuck:
    """Units of two words and runs of two, in a store of 16 words, and where they would like to stand."""
    made = [Unit((0, 1), (2 * number, 2 * number + 1), (1 << 15) - 1, (), ((number, 0),), False)
            for number in range(len(units))]
    rows = [(2 * (len(units) + number), 2) for number in range(len(runs))]
    return lay(AddressSpace(16, 4), Units((), tuple(made), taken(*fixed), (), tuple(rows), False), Pages((), {}, ()),
               counting, Wishes(tuple(units), tuple(runs), frozenset(firm)), frozenset(range(100)))


@pytest.mark.parametrize(("units", "runs", "firm", "fixed", "made"), [
    ((6, 9), (), (), (), ((6, 9), ())),
    ((6, 7), (), (), (), ((6, 0), ())), ((6, 7), (), [("unit", 1)], (), ((0, 7), ())),
    ((6, 7), (), [("unit", 0)], (), ((6, 0), ())), ((6, 7), (), [("unit", 0), ("unit", 1)], (), ((6, 0), ())),
    ((), (6, 7), (), (), ((), (6, 0))), ((), (6, 7), [("run", 1)], (), ((), (0, 7))),
    ((6,), (7,), (), (), ((6,), (0,))), ((6,), (7,), [("run", 0)], (), ((0,), (7,))),
    ((6,), (5,), (), (), ((6,), (0,))), ((6,), (8,), (), (), ((6,), (8,))),
    ((6,), (), (), (5,), ((6,), ())), ((6,), (), (), (6,), ((0,), ())), ((6,), (), (), (7,), ((0,), ())),
    ((6,), (), (), (8,), ((6,), ())), ((15,), (), (), (), ((0,), ())), ((14,), (15,), (), (), ((14,), (0,))),
    ((), (14,), (), (), ((), (14,))), ((), (6,), (), (7,), ((), (0,))), ((), (6,), (), (8,), ((), (6,))),
    ((None,), (None, 0), (), (), ((2,), (4, 0)))])
def test_who_gets_the_place_that_it_would_like(
        units: Sequence[int | None], runs: Sequence[int | None], firm: Sequence[tuple[str, int]], fixed: Sequence[int],
        made: tuple[tuple[int, ...], tuple[int, ...]]) -> None:
    """Who was recorded as a whole comes first, and units before runs; who finds the place taken goes where there is
    room."""
    assert wished(units, runs, firm, *fixed) == Arrangement(*made)


def test_a_run_that_would_like_to_stand_across_the_end_of_a_lap() -> None:
    assert [wished((), (base,), (), counting=2) for base in (2, 3, 4)] == [
        Arrangement((), (base,)) for base in (2, 0, 4)]
