"""What reading a bus or a register means in a cycle: levels that pull-ups hold, and values that come from afar.

A line with a resistor and no driver has the resistor's level, an open collector line is high while nobody pulls it:
common practice, no source."""

import pytest

from tests.checks.reports import report
from tests.planted.plant import Sound

MACHINE = """\
machine weighhouse "a scale whose pointer may be let go"
microprogram "m.micro"
store control 4 words of 4 bits
    address upc
field hold 1 bit
field look 1 bit
field last 1 bit
field more 1 bit
state upc 2 bits, reset 0
    next 0 if last else upc + 1
PARTS
"""
MICRO = """\
routine gate at 0
        hold
        look
        more
        last
"""


def ruled(parts: str) -> str:
    """What becomes of the only rule, which has a title in one word."""
    title = parts.split('rule "')[1].split('"')[0]
    found = report(Sound(MACHINE.replace("PARTS", parts), MICRO))
    (outcome,) = [row.outcome for row in found.rows if title in row.subject]
    return outcome


BUS = """\
bus beam 2 bits, KIND
    driven by pan when hold
register mark 2 bits, reset 1
    loads beam when look
rule "as held" never more and mark is not LEVEL
"""


@pytest.mark.parametrize("kind, level, other", [
    ("pulled high", 3, 2), ("wired and", 3, 1), ("pulled low", 0, 1), ("wired or", 0, 2)])
def test_an_undriven_bus_has_the_level_at_which_it_is_held(kind: str, level: int, other: int) -> None:
    parts = BUS.replace("KIND", kind)
    assert ruled(parts.replace("LEVEL", str(level))) == "proved"
    assert ruled(parts.replace("LEVEL", str(other))) == "broken"
    assert ruled(parts.replace("LEVEL", str(level)).replace("when hold", "when look")) == "broken"


KEPT = """\
bus beam 2 bits, kept
    driven by pan when hold
state seen 2 bits, reset 0
    next beam if hold else seen
register mark 2 bits, loads beam when WHEN, reset 0
rule "as held" never more and mark is not seen
"""


def test_a_kept_bus_has_the_level_of_its_last_driver() -> None:
    assert ruled(KEPT.replace("WHEN", "look")) == "proved"
    assert ruled(KEPT.replace("WHEN", "look").replace("kept", "floats")) == "broken"


CHAIN = """\
input weight 1 bit
register pan 2 bits, loads {0b1, weight} when hold, reset any
register beam 2 bits, loads pan when look
register mark 2 bits, loads beam when WHEN, reset 2
rule "from afar" never mark[1] is 0
"""


def test_values_are_followed_through_any_number_of_registers() -> None:
    assert ruled(CHAIN.replace("WHEN", "more")) == "proved"
    assert ruled(CHAIN.replace("WHEN", "hold")) == "broken"  # before `beam` was loaded for the first time
    assert ruled(CHAIN.replace("WHEN", "more").replace("0b1,", "weight,")) == "broken"


SUMS = """\
register count WIDTH bits, loads count + STEP when look, reset 0
register mark 1 bit, loads count[0] when more, reset 0
rule "even" never mark is 1
"""


def test_a_narrow_sum_is_followed_and_a_wide_one_is_data() -> None:
    even = SUMS.replace("STEP", "2")
    assert ruled(even.replace("WIDTH", "8")) == "proved"
    assert ruled(SUMS.replace("STEP", "1").replace("WIDTH", "8")) == "broken"
    assert ruled(even.replace("WIDTH", "9")) == "broken"
    assert ruled(even.replace("WIDTH", "9") + "signal read = count[0]\n") == "proved"


RING = """\
latch pan 1 bit, loads not beam when hold
latch beam 1 bit, loads pan when hold, reset 0
rule "settled" never hold and pan is not beam
"""


def test_latches_of_a_ring_may_show_anything_while_they_are_open() -> None:
    assert ruled(RING) == "broken"
    assert ruled(RING.replace("loads not beam", "loads 0")) == "vacuous"  # they never differ
