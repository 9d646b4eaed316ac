"""What can be reached from everywhere, asked more than once: an earlier answer may shorten a later one, and no more."""

import pytest

from tests.checks.reports import outcomes, report
from tests.planted.plant import Sound

MACHINE = """\
machine press "a press with a safety catch"
microprogram "m.micro"
store control 4 words of 4 bits
    address upc
field strike 1 bit
field reset 1 bit
field last 1 bit
spare 1 bit
input hand 1 bit
state upc 2 bits, reset 0
    next 0 if last else upc + 1
state locked 1 bit, reset 0
    next 0 if reset and hand else 1 if strike and hand else locked
home first
rule "again" always reach at first
rule "unlocked" always reach not locked
rule "locked" always reach locked
rule "struck" always reach strike and not locked
"""


@pytest.mark.parametrize(("words", "expected"), [
    (("", "strike", "reset, last"), ("proved", "proved", "proved", "proved")),
    (("", "strike", "last"), ("proved", "broken", "proved", "broken")),
    (("", "reset", "last"), ("proved", "proved", "broken", "broken")),
    (("", "strike", "last, reset, strike"), ("proved", "proved", "proved", "proved")),
])
def test_from_every_state_and_not_only_from_those_that_come_first(words: tuple[str, ...],
                                                                  expected: tuple[str, ...]) -> None:
    """`first` comes again and again, locked or not. What can be reached from `first` unlocked need not be reached from
    `first` locked; both have to be looked at, though home is known to be reached from everywhere."""
    micro = "routine first at 0\n" + "".join(f"        {word or 'strike 0'}\n" for word in words)
    found = outcomes(report(Sound(MACHINE, micro)))
    assert found["stuck home"] == "proved"
    assert tuple(found[f"always-reach {name}"] for name in ("again", "unlocked", "locked", "struck")) == expected
