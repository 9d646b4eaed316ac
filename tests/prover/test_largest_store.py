"""A store as large as the language allows is proved like any other: no part of the prover has a limit of its own."""

import pytest

from ordain.logic.gates import Gates
from ordain.machine.declare import MOST_WORDS
from tests.checks.reports import outcomes, report
from tests.logic.test_gates import simulated
from tests.planted.plant import Sound

MACHINE = """\
machine large "two bits, and as many address lines as there are sockets for"
microprogram "m.micro"
store control {words} words of 2 bits
    address {{inp, 0b{zeros}, at}}
field go 1 bit address, idle following
field out 1 bit
input inp 1 bit
assume not inp
state at 1 bit, reset 0
    next go
bus line 1 bit, floats
    driven by here  when out
    driven by there when {there}
home first
"""
PROGRAM = """\
routine main at 0
    first : out
    second: go first
"""


@pytest.mark.parametrize(("there", "outcome"), [("not out", "proved"), ("at is 0", "broken")])
def test_two_words_of_two_millions_are_looked_at(there: str, outcome: str) -> None:
    text = MACHINE.format(words=1 << 21, zeros="0" * 19, there=there)
    assert outcomes(report(Sound(text, PROGRAM)))["contention line"] == outcome


def test_a_table_is_as_wide_as_the_largest_store() -> None:
    width = MOST_WORDS.bit_length() - 1
    gates = Gates(1 + width)
    row = int("10" * (width // 2), 2)
    found = gates.table(1 << row, [2 * (width - place) for place in range(width)])
    for number in (row, row ^ 1, row ^ 1 << width - 1, 0):
        levels = simulated(gates, [number >> place & 1 for place in range(width)])
        assert levels[found >> 1] ^ found & 1 == (number == row)
