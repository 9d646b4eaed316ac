"""The quick way by itself: which place units and groups get that share pages, and of which piece it says that there was
no room for it."""

from collections.abc import Mapping, Sequence

import pytest

from ordain.placement.clusters import Unit, Units
from ordain.placement.pages import PageGroup, Pages
from ordain.placement.quick import Arrangement, Stuck, lay
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
