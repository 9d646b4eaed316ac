"""Cycles are counted as if nothing held the clock: what counts meanwhile and says where control goes is named."""

import pytest

from ordain.control.system import build_system
from ordain.measure.cycles import cycles_of
from ordain.show.cycle_table import cycle_lines
from tests.workshop import contents_of

MACHINE = """\
machine quay "a slow crane, and a time-out"
microprogram "m.micro"
store control 8 words of 8 bits
    address upc
field target 3 bits address, idle following
field slow 1 bit
spare 4 bits
CLOCK
input ready 1 bit
state waited 2 bits, reset 0, ON
    next COUNT
state upc 3 bits, reset 0
    next NEXT
home start
"""
MICRO = """\
routine start at 0
    slow
    target start
routine trap at 4
    target start
"""
HELD = "clock clk (early, late)\n    held while late and slow and not ready and waited is not 3"
COUNT = "0 if early or not slow else waited + 1"
NEXT = "4 if waited is 3 else target"


@pytest.mark.parametrize(("clock", "on", "count", "following", "named"), [
    (HELD, "on oscillator", COUNT, NEXT, ("waited",)),
    (HELD, "on oscillator", COUNT, "target", ()),                           # it lets the clock go, and no more
    (HELD, "on clk", COUNT.replace("early or ", ""), NEXT, ()),             # it stands while the clock is held
    (HELD, "on own clock", COUNT, NEXT, ()),                                # it may count at any time anyway
    (HELD, "on oscillator", "2 if ready else 1", NEXT, ()),                 # it remembers nothing
    ("clock clk (early, late)", "on oscillator", COUNT, NEXT, ()),
])
def test_what_counts_while_the_clock_is_held_is_named(clock: str, on: str, count: str, following: str,
                                                      named: tuple[str, ...]) -> None:
    """With the time-out the round is of three cycles, by way of the trap; nothing that is counted comes there."""
    text = MACHINE.replace("CLOCK", clock).replace("ON\n", f"{on}\n").replace("COUNT", count).replace("NEXT", following)
    found = cycles_of(build_system(contents_of(text, MICRO)), [])
    assert found is not None and found.unheld == named
    told = " ".join(cycle_lines("quay", found, {}, 200))
    assert ("`waited` while it is held" in told) == bool(named)
    assert found.round is not None and found.round.least == 2
