"""What is known of an address whatever its leaves are, and which of the words there it could lead to."""

from ordain.machine.expression import Node, Terms
from ordain.microprogram.strays import MOST, _possible, settled

TERMS = Terms()
KEY, PAGE = TERMS.leaf("input", "key", 1), TERMS.leaf("input", "page", 2)


def const(value: int, width: int = 4) -> Node:
    return TERMS.const(value, width)


def test_bits_that_are_known_whatever_the_leaves_are() -> None:
    """(which bits, and what they are), by hand"""
    chosen = TERMS.if_(KEY, const(0b0110), const(0b0011))
    joined = TERMS.join([const(0b10, 2), PAGE])
    assert settled(const(0b0101)) == (0b1111, 0b0101)
    assert settled(PAGE) == (0, 0)
    assert settled(chosen) == (0b1010, 0b0010)              # bits 3 and 1 are alike in both
    assert settled(joined) == (0b1100, 0b1000)
    assert settled(TERMS.not_(joined)) == (0b1100, 0b0100)
    assert settled(TERMS.or_((joined, const(0b0001)))) == (0b1101, 0b1001)
    assert settled(TERMS.and_((joined, const(0b0111)))) == (0b1100, 0)
    assert settled(TERMS.slice(chosen, 2, 1)) == (0b01, 0b01)


def test_words_that_an_address_may_lead_to() -> None:
    every = set(range(16))
    assert _possible(const(5), every) == {5} and _possible(const(5), every - {5}) == set()
    assert _possible(TERMS.join([const(0b10, 2), PAGE]), every) == {8, 9, 10, 11}
    assert _possible(TERMS.if_(KEY, const(6), const(3)), every) == {3, 6}
    bits = MOST.bit_length() - 1
    assert len(_possible(TERMS.leaf("input", "open", bits), range(2 * MOST))) == MOST
    assert _possible(TERMS.leaf("input", "open", bits + 1), range(2 * MOST)) == set()
