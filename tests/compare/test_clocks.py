"""Two versions of a machine on a clock: what its clock does is compared as part of what the machine does, lengths of
time in cycles however many phases these have."""

import re

import pytest

from ordain.compare.correspondence import correspond
from ordain.compare.declared import demands
from ordain.meaning.strength import other_meanings
from tests.checks.test_phases import PROGRAMS
from tests.compare.judged import Texts, compared, edited, moved
from tests.planted.winch import CLOCKED
from tests.workshop import contents_of

WINCH: Texts = (CLOCKED, PROGRAMS["back through a register that moves early"])


@pytest.mark.parametrize("edit", [
    ("held while (slow and not ready) or panel.stops", "held while slow and not ready"),
    ("    held while (slow and not ready) or panel.stops\n", "    moves in first\n"),
    ("(first, second)", "(second, first)"),
    ("loads data[1:0] when load is tally, on first, reset 0", "loads data[1:0] when load is tally, reset 0"),
    ("acc when source is acc and second", "acc when source is acc"),
    ("on own clock", "on clk"),
    ("strobe write on second", "strobe write on first"),
])
def test_what_the_clock_does_is_noticed(edit: tuple[str, str]) -> None:
    found = compared(contents_of(*WINCH), contents_of(*edited(WINCH, edit)))
    assert found.machine or moved(found)


@pytest.mark.parametrize(("edit", "told"), [
    (("turnaround 1 phase", "turnaround 2 phases"), {("stronger", "turnaround", "data")}),
    (("turnaround 1 phase", "turnaround 0"), {("weaker", "turnaround", "data")}),
    (("1 cycle before", "1 phase before"), {("weaker", "missing-hold", "address before write")}),
    (("1 cycle before", "2 phases before"), set()),
    (("within 3 cycles", "within 6 phases"), set()),
    (("within 3 cycles", "within 7 phases"), {("weaker", "when-then", "written in time")}),
    (("or panel.stops", "or panel.stops or ticks is 3"), {("weaker", "when-then", "written in time")}),
])
def test_lengths_of_time_are_compared(edit: tuple[str, str], told: set[tuple[str, str, str]]) -> None:
    old, new = contents_of(*WINCH), contents_of(*edited(WINCH, edit))
    found = demands(old, new, correspond(old, new), other_meanings).redefined
    assert {tuple(one) for one in found if one.check != "never"} == told


def test_the_same_lengths_with_other_phases() -> None:
    """A cycle of four phases instead of two: the turnaround said in cycles is the same demand, and what stands still
    while a strobe acts is no length at all."""
    two = edited(WINCH, ("turnaround 1 phase", "turnaround 1 cycle"))
    four = edited(two, ("clock clk (first, second)", "clock clk (first, more, second, last)\n    moves in second"))
    old, new = contents_of(*two), contents_of(*four)
    found = demands(old, new, correspond(old, new), other_meanings).redefined
    assert not [one for one in found if one.check == "turnaround" or " during " in one.subject]


def test_a_clock_of_another_name_is_the_same_clock() -> None:
    renamed = edited(WINCH, ("clock clk", "clock ticker"))
    assert moved(compared(contents_of(*WINCH), contents_of(*renamed))) == {}


def test_while_the_clock_is_held_counts_beside_other_names() -> None:
    """A register has another name: what is demanded within so many cycles, not counting those, is the same."""
    machine, micro = (re.sub(r"\bacc\b", "sum_", text) for text in WINCH)
    renamed = machine, micro
    for one, other in ((WINCH, renamed), (renamed, WINCH)):
        old, new = contents_of(*one), contents_of(*other)
        both = correspond(old, new)
        assert both.renames.names
        assert not [found for found in demands(old, new, both, other_meanings).redefined if found.check == "when-then"]
        assert moved(compared(old, new)) == {}
