"""What is said to decide how long control takes: in the names of the machine file, wide values as numbers."""

import pytest

from ordain.control.system import build_system
from ordain.measure.cycles import cycles_of
from ordain.show.cycle_table import cycle_lines
from tests.workshop import contents_of

MACHINE = """\
machine m
CLOCK
store control 8 words of 4 bits
    address upc
field pick 1 bit
field to 3 bits address, idle 0
INPUT
state upc 3 bits, reset 0
    next {0b1, key} if pick else to
home start
"""
MICRO = """\
routine start at 0
    pick
routine a at 4
    to start
routine b at 5
    to more
  more: to start
routine c at 6
    to start
routine d at 7
    to start
"""
CLOCK = "clock clk (first, second)\n    held while stopped and clk is second\ninput stopped 1 bit"


@pytest.mark.parametrize(("clock", "given"), [("", "input key 2 bits"), (CLOCK, "input key 2 bits on clk"),
                                              (CLOCK, "input key 2 bits")])
def test_a_value_of_two_bits_that_picks_the_word(clock: str, given: str) -> None:
    """Of an input on the clock is remembered what it was, by a name that nobody has declared."""
    contents = contents_of(MACHINE.replace("CLOCK", clock).replace("INPUT", given), MICRO)
    found = cycles_of(build_system(contents), [])
    assert found is not None and found.round is not None
    assert (found.round.least, found.round.most) == (2, 3)
    text = " ".join(cycle_lines("m", found, {}, 200))
    assert "3 if key=1 at 0" in text and "kept" not in text and "moved" not in text
