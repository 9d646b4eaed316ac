"""What drivers are known to put on a bus.

That a pulled line of an open collector bus is low whoever else lets go of it, and that a resistor pack and a few
transistors make an interrupt's number, is common practice, no source."""

import pytest

from tests.control.test_system import ruled

VECTOR = """\
bus beam 2 bits, KIND
    driven by first = FIRST when hold
    driven by second = 0b10 when look
rule "number" never RULE
"""


@pytest.mark.parametrize(("kind", "first", "rule", "outcome"), [
    ("pulled high", "0b01", "hold and beam is not 1", "proved"),
    ("pulled high", "0b01", "hold and beam is 1", "broken"),
    ("pulled high", "0b01", "look and beam is not 2", "proved"),
    ("pulled high", "0b01", "more and beam is not 3", "proved"),
    ("floats", "0b01", "hold and beam is not 1", "proved"),
    ("floats", "0b01", "more and beam is not 1", "broken"),                 # nobody drives
    ("kept", "0b01", "more and beam is not 2", "proved"),
    ("pulled high", "upc + 1", "hold and beam is not 1", "proved"),         # of a state
    ("pulled high", "{more, hold}", "hold and beam is not 1", "broken"),    # of a word
    ("pulled high", "weight", "hold and beam is not weight", "broken"),     # of an input
    ("pulled high", "scale", "hold and beam is not 1", "broken"),           # data
], ids=str)
def test_a_driver_that_says_what_it_puts_there(kind: str, first: str, rule: str, outcome: str) -> None:
    parts = VECTOR.replace("KIND", kind).replace("FIRST", first).replace("RULE", rule)
    assert ruled("input weight 2 bits\nregister scale 2 bits, loads 1 when more, reset 1\n" + parts) == outcome


def test_two_that_drive_at_once_leave_any_level() -> None:
    parts = VECTOR.replace("KIND", "pulled high").replace("FIRST", "0b10").replace("RULE", "look and beam is not 2")
    assert ruled(parts) == "proved"
    assert ruled(parts.replace("when hold", "when look")) == "broken"


WIRED = """\
bus beam 2 bits, KIND
    driven by first = FIRST when hold or look
    driven by second = SECOND when look or more
rule "pulled" never RULE
"""


@pytest.mark.parametrize(("kind", "first", "second", "rule", "outcome"), [
    ("wired and", "0b10", "0b01", "look and beam is not 0", "proved"),
    ("wired and", "0b10", "0b01", "hold and beam is not 2", "proved"),
    ("wired and", "0b10", "0b01", "last and beam is not 3", "proved"),
    ("wired and", "0b10", "scale", "look and beam[0]", "proved"),           # the other may let go: bit 0 is low
    ("wired and", "0b10", "scale", "look and beam[1]", "broken"),
    ("wired and", "0b10", "scale", "look and not beam[1]", "broken"),
    ("wired or", "0b10", "0b01", "look and beam is not 3", "proved"),
    ("wired or", "0b10", "scale", "look and not beam[1]", "proved"),
    ("wired or", "0b10", "scale", "look and beam[0]", "broken"),
    ("wired or", "0b10", "0b01", "last and beam is not 0", "proved"),
], ids=str)
def test_a_wired_bus_is_pulled_by_all_that_are_on(kind: str, first: str, second: str, rule: str, outcome: str) -> None:
    parts = WIRED.replace("KIND", kind).replace("FIRST", first).replace("SECOND", second).replace("RULE", rule)
    assert ruled("register scale 2 bits, loads 1 when more, reset 1\n" + parts) == outcome


CALL = """\
bus beam 2 bits, floats
    driven by NAME when hold
rule "by name" never hold and beam is not VALUE
"""


@pytest.mark.parametrize(("more", "name", "value", "outcome"), [
    ("state count 2 bits, reset 2\n    next count\n", "count", "2", "proved"),
    ("signal turned = not upc\n", "turned", "3", "proved"),
    ("constant one = 1\n", "one", "1", "proved"),
    ("", "upc", "0", "proved"),
    ("", "pan", "1", "broken"),                                             # a part of which nothing is said
    ("constant nine = 9\n", "nine", "1", "broken"),                         # no two bits hold it
], ids=str)
def test_a_driver_that_is_called_like_what_it_puts_there(more: str, name: str, value: str, outcome: str) -> None:
    assert ruled(more + CALL.replace("NAME", name).replace("VALUE", value)) == outcome
