"""Sets of addresses as numbers, against sets of addresses."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.placement.space import AddressSpace, cells, gather, lowest, members, room, segments

SIZES = [(16, 4), (12, 4), (1, 0), (2, 1)]


def number(addresses: set[int]) -> int:
    return sum(1 << address for address in addresses)


@pytest.mark.parametrize(("size", "width"), SIZES)
def test_addresses_by_their_bits(size: int, width: int) -> None:
    space = AddressSpace(size, width)
    every = range(size)
    assert space.full == number(set(every))
    for _ in range(2):      # the second time they are remembered
        for bits in range(1 << width):
            assert space.zeros(bits) == number({address for address in every if not address & bits})
            assert space.ones(bits) == number({address for address in every if address & bits == bits})
    for bits in range(1 << width):
        assert any(space.reach(bits) == 1 << end and all(1 << at & bits for at in range(end, width)) and (
            not end or not 1 << end - 1 & bits) for end in range(width + 1))
    for page in range(width + 1):
        assert list(space.pages(page)) == sorted({address >> page for address in every})
        for which in range(size >> page):
            assert space.page(page, which) == number({address for address in every if address >> page == which})
    for counting in range(width + 1):
        for length in range(1, size + 2):
            assert space.rows(length, counting) == number({base for base in every if base + length <= size and (
                base >> counting == base + length - 1 >> counting)})
    for end in range(-1, size + 2):
        assert space.below(end) == number({address for address in every if address < end})


@given(st.sets(st.integers(0, 15)), st.integers(1, 9))
def test_where_a_row_has_room(free: set[int], length: int) -> None:
    assert room(number(free), length) == number({base for base in range(16)
                                                 if all(base + at in free for at in range(length))})
    assert cells(3, length) == number({3 + at for at in range(length)})


@given(st.sets(st.integers(0, 15)))
def test_what_a_set_has(addresses: set[int]) -> None:
    found = number(addresses)
    assert gather(addresses, 16) == found and list(members(found)) == sorted(addresses)
    runs = segments(found)
    assert {address for start, end in runs for address in range(start, end)} == addresses
    assert all(end < start for (_, end), (start, _) in pairwise(runs)), "none touches the next"
    if addresses:
        assert lowest(found) == min(addresses)
    assert gather((), 0) == 0
