"""A register that is told to take two values at one edge; and the ways in which two loads are none.

That a clocked register has one data input a bit, so that one value at most is taken at an edge: common practice, no
source."""

import pytest

from tests.checks.reports import findings_named, outcomes, report
from tests.planted.plant import Sound

SLUICE = """\
machine sluice "a gate that is wound up and down"
microprogram "m.micro"
store control 8 words of 4 bits
    address     {op, step}
    instruction op
    step        step
field last 1 bit
field up   1 bit
field set  1 bit
field slow 1 bit
state op 1 bit, reset 0
    next key if step is 0 else op
state step 2 bits, reset 0
    next 0 if last else step + 1
input key 1 bit
LOADS
bus height 4 bits, pulled high
    driven by dial when set
home step is 0
"""
MICRO = """\
prologue
        up
instruction 0 "rest"
        last
instruction 1 "wind"
        WORD
"""
COUNTER = "register gate 4 bits\n    loads height   when set\n    loads gate + 1 when up"


def machine(loads: str, word: str) -> Sound:
    return Sound(SLUICE.replace("LOADS", loads), MICRO.replace("WORD", word))


def test_a_word_that_asks_for_both_is_told_with_both_sources() -> None:
    [finding] = findings_named("double-load", report(machine(COUNTER, "set, up, last")))
    assert finding.message == "`gate` is loaded twice at `wind` (0x5): with `height` and with `gate + 1`"
    assert finding.span is not None and finding.span.text == "set, up, last"
    assert finding.trace is not None and len(finding.trace.cycles) == 2


@pytest.mark.parametrize(("loads", "word", "outcome"), [
    (COUNTER, "set, up, last", "broken"),
    (COUNTER, "set, last", "proved"),
    (COUNTER.replace("when up", "when up and not set"), "set, up, last", "proved"),
    (COUNTER.replace("gate + 1", "height"), "set, up, last", None),          # one source, twice: one load
    (COUNTER.replace("loads gate + 1", "changes"), "set, up, last", "broken"),
    (COUNTER.replace("loads gate + 1", "changes"), "set, slow, last", "proved"),
    ("register gate 4 bits\n    changes when set\n    changes when up", "set, up, last", "broken"),
    (COUNTER.replace("register", "latch"), "set, up, last", "broken"),
    (COUNTER.replace("register", "latch"), "set, last", "proved"),
    ("register gate 4 bits\n    loads height when set\n    loads 0 when slow\n    loads 1 when slow", "slow, last",
     "broken"),
])
def test_different_loads_that_hold_at_once_and_no_others(loads: str, word: str, outcome: str | None) -> None:
    assert outcomes(report(machine(loads, word))).get("double-load gate") == outcome


def test_an_allowance_says_that_the_part_knows() -> None:
    sound = machine(COUNTER, "set, up, last")
    allowed = Sound(sound.machine + 'allow double-load on gate at "wind" "the counter loads first"\n', sound.micro)
    assert outcomes(report(allowed))["double-load gate"] == "allowed"
    elsewhere = Sound(sound.machine + 'allow double-load on gate at "rest" "the counter loads first"\n', sound.micro)
    found = report(elsewhere)
    assert outcomes(found)["double-load gate"] == "broken"
    assert len(findings_named("stale-allowance", found)) == 1
