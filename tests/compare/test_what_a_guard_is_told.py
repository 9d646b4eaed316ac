"""What was not expected, one finding each: of which unit, at which line of the new text, and what is said there."""

import pytest

from ordain.compare.behaviour import Behaviour
from ordain.compare.comparison import Comparison, cycle_changes, findings_of
from ordain.measure.cycles import Cycles
from tests.compare.judged import after, between, compared
from tests.compare.test_how_it_is_told import hoist
from tests.compare.test_joint import DRIFT, drift
from tests.compare.test_unplaced_words import stray
from tests.compare.test_verdicts import taken

Told = list[tuple[str, int, str]]


def told(found: Behaviour, *expected: str) -> Told:
    """Message, line and label of each finding; line 0 where there is none."""
    whole = Comparison("v1", "v2", found, None, None, None, None, frozenset(expected), ())
    return [(one.message, one.span.line if one.span is not None else 0, one.label) for one in findings_of(whole)]


SWAY = 'instruction 2 "sway"\n        down, branch jump, target wait\n'
TAIL = ("        up, branch jump, target wait\ninstruction",
        "        up, branch jump, target tail\nroutine tail\n        branch jump, target wait\ninstruction")


@pytest.mark.parametrize(("edits", "expected"), [
    ((("        up, branch", "        down, branch"),),
     [("`lift` behaves differently against v1", 4, "cycle 1 is the first that differs")]),
    ((("        down, branch jump", "        branch jump"),),
     [("`lower` behaves differently against v1", 7, "cycle 2 is the first that differs")]),
    ((("instruction 1, 2", f"{SWAY}instruction 1"),), [("`sway` is new against v1", 4, "begins here")]),
    ((TAIL,), [("`lift` behaves differently against v1", 6, "cycle 2 is the first that differs")]),
])
def test_where_it_differs(edits: tuple[tuple[str, str], ...], expected: Told) -> None:
    assert told(after(hoist(), *edits)) == expected
    title = expected[0][0].split("`")[1]
    assert told(after(hoist(), *edits), title) == [] == told(after(hoist()))
    assert told(after(hoist(), *edits), "", "wait") == expected


def test_where_the_new_side_has_ended_its_beginning_is_shown() -> None:
    assert told(between(hoist(TAIL), hoist())) == [("`lift` behaves differently against v1", 4, "begins here")]


def test_what_is_gone_stands_nowhere() -> None:
    old = hoist(("instruction 1, 2", f"{SWAY}instruction 1"))
    assert told(between(old, hoist())) == [("`sway` is gone against v1", 0, "")]


def test_what_had_another_title_is_expected_by_either() -> None:
    found = after(hoist(), ('"lift"\n        up', '"raise"\n        up, down'))
    messages = {message for message, _, _ in told(found)}
    assert messages == {"`raise` is new against v1", "`lift` is gone against v1"}
    assert told(found, "lift") == [] and [one[0] for one in told(found, "raise")] == ["`lift` is gone against v1"]


def test_words_without_a_line() -> None:
    """Of cells in which nothing was placed, and of words that nobody wrote."""
    for found in (compared(stray(last=0, light=0), stray(last=1, light=0)), compared(drift(), drift(up=1))):
        assert {(line, label) for _, line, label in told(found)} == {(0, "")}


def test_a_unit_that_begins_where_nobody_can_tell(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ordain.compare.places.MOST_WORDS", 16)
    anywhere = DRIFT.replace("upc 5 bits, reset 0", "upc 5 bits, reset any")
    found = compared(drift(anywhere), drift(anywhere, spare=1))
    assert ("`reset` behaves differently against v1", 0, "") in told(found)


def test_the_machine_by_its_own_word() -> None:
    found = after(hoist(), ("rope 2 bits, pulled low", "rope 2 bits, floats"))
    assert told(found) == [("against v1: bus `rope`: floats, was pulled low", 0, "")] and told(found, "machine") == []


def test_what_never_begins_takes_no_cycles() -> None:
    one = taken("lift", 2, 4)
    before, now = (Cycles(None, None, "home", (each,)) for each in (one, one._replace(begins=False)))
    assert [(change.title, change.old, change.new) for change in cycle_changes(before, now)] == [("lift", (2, 4), None)]
    assert cycle_changes(now, now) == () == cycle_changes(before, before)
