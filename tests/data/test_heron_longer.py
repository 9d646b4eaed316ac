"""Whole programs on heron's microprogram against Python's own: CRC-32, a quotient, an order, a product of 16 bits."""

import binascii
from collections.abc import Mapping

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.data.test_heron_programs import ROM, byte, ran, value

Lines = list["str | int | tuple[str, str]"]
"""Titles of instructions, bytes, `("at", NAME)` for a place, `("to", NAME)` for its two bytes."""


def assembled(lines: Lines) -> list[str | int]:
    """The program with the addresses of its places, low byte first."""
    places: dict[str, int] = {}
    at = ROM
    for line in lines:
        if isinstance(line, tuple) and line[0] == "at":
            places[line[1]] = at
        else:
            at += 2 if isinstance(line, tuple) else 1
    found: list[str | int] = []
    for line in lines:
        if not isinstance(line, tuple):
            found.append(line)
        elif line[0] == "to":
            found += [places[line[1]] & 255, places[line[1]] >> 8]
    return found


def at(address: int) -> list[int]:
    return [address & 255, address >> 8]


def word(found: Mapping[int, int], address: int, count: int) -> int:
    return sum(found[address + number] << 8 * number for number in range(count))


def results(lines: Lines, data: dict[int, int], places: range, most: int = 60_000) -> dict[int, int]:
    found = ran(assembled(lines), data, most)
    return {address: byte(found, address) for address in places}


# ---------------------------------------------------------------- CRC-32

SUM, LENGTH, MESSAGE = 0x2000, 0x2008, 0x2100


def crc_program() -> Lines:
    """CRC-32 of IEEE 802.3: polynomial EDB88320, the lowest bit first, from all ones, inverted at the end. The sum has
    four bytes at SUM, the lowest first."""
    lines: Lines = ["clear a", "invert a"]
    for number in range(4):
        lines += ["store a, [nn]", *at(SUM + number)]
    lines += ["load x, nn", *at(MESSAGE), ("at", "byte"),
              "load a, [nn]", *at(LENGTH), "go nn if zero", ("to", "end"), "decrease a", "store a, [nn]", *at(LENGTH),
              "load a, [x+]", "differ a, [nn]", *at(SUM), "store a, [nn]", *at(SUM), "load k, n", 8, ("at", "bit")]
    for number in (3, 2, 1, 0):
        lines += ["load a, [nn]", *at(SUM + number), "shift_right a" if number == 3 else "roll_right a",
                  "store a, [nn]", *at(SUM + number)]
    lines += ["go nn unless carry", ("to", "next")]
    for number, part in enumerate((0x20, 0x83, 0xB8, 0xED)):
        lines += ["load a, [nn]", *at(SUM + number), "differ a, n", part, "store a, [nn]", *at(SUM + number)]
    lines += [("at", "next"), "repeat nn", ("to", "bit"), "go nn", ("to", "byte"), ("at", "end")]
    for number in range(4):
        lines += ["load a, [nn]", *at(SUM + number), "invert a", "store a, [nn]", *at(SUM + number)]
    return lines


@settings(deadline=None, max_examples=3)
@given(st.binary(max_size=6))
def test_crc_32_over_some_bytes(message: bytes) -> None:
    data = {LENGTH: len(message), **{MESSAGE + number: each for number, each in enumerate(message)}}
    assert word(results(crc_program(), data, range(SUM, SUM + 4)), SUM, 4) == binascii.crc32(message)


def test_crc_32_of_the_usual_nine_digits() -> None:
    """The check value that is usually given for it, CBF43926 (common practice, no source), and Python's library."""
    data = {LENGTH: 9, **{MESSAGE + number: each for number, each in enumerate(b"123456789")}}
    found = word(results(crc_program(), data, range(SUM, SUM + 4)), SUM, 4)
    assert found == 0xCBF43926 == binascii.crc32(b"123456789")


# ---------------------------------------------------------------- quotient and product

LEFT, RIGHT, REST = 0x2010, 0x2012, 0x2014


def quotient_program() -> Lines:
    """By shifting and subtracting: the quotient takes the dividend's place at LEFT, the rest is at REST."""
    lines: Lines = ["clear a", "store a, [nn]", *at(REST), "store a, [nn]", *at(REST + 1), "load k, n", 16,
                    ("at", "bit"), "load a, [nn]", *at(LEFT), "shift_left a", "store a, [nn]", *at(LEFT)]
    for address in (LEFT + 1, REST, REST + 1):
        lines += ["load a, [nn]", *at(address), "roll_left a", "store a, [nn]", *at(address)]
    lines += ["go nn if carry", ("to", "fits"),
              "load a, [nn]", *at(REST), "subtract a, [nn]", *at(RIGHT),
              "load a, [nn]", *at(REST + 1), "subtract_carry a, [nn]", *at(RIGHT + 1),
              "go nn if carry", ("to", "next"), ("at", "fits"),
              "load a, [nn]", *at(REST), "subtract a, [nn]", *at(RIGHT), "store a, [nn]", *at(REST),
              "load a, [nn]", *at(REST + 1), "subtract_carry a, [nn]", *at(RIGHT + 1), "store a, [nn]", *at(REST + 1),
              "load a, [nn]", *at(LEFT), "increase a", "store a, [nn]", *at(LEFT),
              ("at", "next"), "repeat nn", ("to", "bit")]
    return lines


@settings(deadline=None, max_examples=3)
@given(st.integers(0, 0xFFFF), st.integers(1, 0xFFFF))
def test_a_quotient_of_16_bits(dividend: int, divisor: int) -> None:
    data = {LEFT: dividend & 255, LEFT + 1: dividend >> 8, RIGHT: divisor & 255, RIGHT + 1: divisor >> 8}
    found = results(quotient_program(), data, range(LEFT, REST + 2))
    assert (word(found, LEFT, 2), word(found, REST, 2)) == divmod(dividend, divisor)


def product_program() -> Lines:
    """By shifting right and adding: the low half of the product takes the place of the one factor at LEFT, the high
    half stands at REST."""
    lines: Lines = ["clear a", "store a, [nn]", *at(REST), "store a, [nn]", *at(REST + 1), "load k, n", 16,
                    ("at", "bit"), "load a, [nn]", *at(LEFT), "shift_right a", "go nn unless carry", ("to", "even"),
                    "load a, [nn]", *at(REST), "add a, [nn]", *at(RIGHT), "store a, [nn]", *at(REST),
                    "load a, [nn]", *at(REST + 1), "add_carry a, [nn]", *at(RIGHT + 1), "go nn", ("to", "shift"),
                    ("at", "even"), "clear a", "load a, [nn]", *at(REST + 1), ("at", "shift"),
                    "roll_right a", "store a, [nn]", *at(REST + 1)]
    for address in (REST, LEFT + 1, LEFT):
        lines += ["load a, [nn]", *at(address), "roll_right a", "store a, [nn]", *at(address)]
    lines += ["repeat nn", ("to", "bit")]
    return lines


@settings(deadline=None, max_examples=3)
@given(st.integers(0, 0xFFFF), st.integers(0, 0xFFFF))
def test_a_product_of_32_bits(one: int, other: int) -> None:
    data = {LEFT: one & 255, LEFT + 1: one >> 8, RIGHT: other & 255, RIGHT + 1: other >> 8}
    found = results(product_program(), data, range(LEFT, REST + 2))
    assert word(found, REST, 2) << 16 | word(found, LEFT, 2) == one * other


# ---------------------------------------------------------------- order

ROW, PASSES = 0x2200, 0x2020


def order_program(count: int) -> Lines:
    """By exchanging neighbours, as often through the row as it has bytes; equal ones stay as they are."""
    lines: Lines = ["load a, n", count, "store a, [nn]", *at(PASSES), ("at", "pass"),
                    "load x, nn", *at(ROW), "load k, n", count - 1, ("at", "pair"),
                    "load y, x", "increase y", "load a, [x]", "compare a, [y]",
                    "go nn if zero", ("to", "next"), "go nn if carry", ("to", "next"),
                    "push acc", "load a, [y]", "store a, [x]", "pull acc", "store a, [y]",
                    ("at", "next"), "increase x", "repeat nn", ("to", "pair"),
                    "load a, [nn]", *at(PASSES), "decrease a", "store a, [nn]", *at(PASSES),
                    "go nn unless zero", ("to", "pass")]
    return ["load sp, nn", *at(0x1F80), *lines]


@settings(deadline=None, max_examples=5)
@given(st.lists(st.integers(0, 255), min_size=2, max_size=7))
def test_bytes_in_their_order(row: list[int]) -> None:
    found = results(order_program(len(row)), {ROW + number: each for number, each in enumerate(row)},
                    range(ROW, ROW + len(row)))
    assert [found[ROW + number] for number in range(len(row))] == sorted(row)


@settings(deadline=None, max_examples=3)
@given(st.lists(st.integers(0, 255), min_size=1, max_size=9))
def test_the_largest_of_some_bytes(row: list[int]) -> None:
    """In the accumulator, with the carry of a comparison as the borrow."""
    lines: Lines = ["load x, nn", *at(ROW), "load k, n", len(row), "clear a", ("at", "next"), "compare a, [x]",
                    "go nn unless carry", ("to", "kept"), "load a, [x]", ("at", "kept"), "increase x",
                    "repeat nn", ("to", "next")]
    found = ran(assembled(lines), {ROW + number: each for number, each in enumerate(row)})
    assert value(found, "acc") == max(row)
