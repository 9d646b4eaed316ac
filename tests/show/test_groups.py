"""Which of several broken questions is shown as the cause. Machines of a few words, proved whole."""

from ordain.show.groups import group_lines, grouped
from ordain.show.page import Page
from ordain.show.paint import Paint
from tests.checks.reports import edited, report
from tests.planted.plant import Sound
from tests.workshop import contents_of

MACHINE = """\
machine toll "of a bridge"
microprogram "m.micro"
store control 4 words of 5 bits
    address upc
field red 1 bit
field green 1 bit
field blue 1 bit
field hush 1 bit
field last 1 bit
state upc 2 bits, reset 0
    next 0 if last else upc + 1
agent booth
    state mode (idle, owns), reset idle
        next owns
bus data 4 bits, floats
    driven by first when green
    driven by booth when booth.mode is owns and not hush
bus call 4 bits, floats
    driven by second when red
    driven by booth when booth.mode is owns and not hush
"""
MICRO = """\
routine all at 0
        hush
        red
        green
        green, last
"""
TOLL = Sound(MACHINE, MICRO)


def test_of_one_sequence_the_fault_that_comes_first_is_shown_whichever_bus_stands_first() -> None:
    for texts in (TOLL, edited(TOLL, ("        red\n        green\n", "        green\n        red\n"))):
        first = next(group.first for group in grouped(report(texts).findings) if group.first.name == "contention")
        assert first.trace is not None and len(first.trace.cycles) == 2


def test_a_check_is_shown_before_a_rule_that_the_same_sequence_breaks_and_each_question_has_a_line() -> None:
    ruled = edited(TOLL, ("bus data", 'rule "silent" never booth.mode is owns and (red or green)\nbus data'))
    groups = grouped(report(ruled).findings)
    assert {group.first.name for group in groups} == {"contention"}
    machine, page = contents_of(*ruled).machine, Page(Paint(False), 200)
    lines = [line for group in groups for line in group_lines(machine, group, page)]
    [told] = [line for line in lines if "silent" in line]
    assert told.strip().startswith("never:") and told.endswith("cycle 2, and at 2 more")
