"""What a proof says, from a report made by hand."""

from typing import Any

from ordain.checks.check import Applied, Report, Row
from ordain.machine.model import Allowance
from ordain.show.groups import grouped
from ordain.show.verdicts import answer_lines, report_data, report_lines
from ordain.text.findings import error, warning
from ordain.text.source import Span
from tests.show.crane import MACHINE, crane, fight, span

CRANE = crane()
HEARD, PULL = (rule.text for rule in CRANE.machine.rules)
SPAN = span(MACHINE, "bus data", "m.machine")


def row(check: str, subject: str, outcome: Any = "proved", worst: int | None = None, cycles: int = 0,
        note: str = "", witness: Any = None, place: Span = SPAN) -> Row:
    return Row(check, subject, outcome, 10, 20, worst, cycles, witness, note, place)


def report(*rows: Row, stopped: str = "", ended: str = "", allowances: tuple[Applied, ...] = ()) -> Report:
    return Report((), rows, allowances, {"control": frozenset({0, 1})}, 1234, 5678, 9, stopped, ended or stopped)


def test_when_all_is_proved_the_answer_is_a_line_and_the_longest_wait_another() -> None:
    proved = report(
        row("contention", "data"), row("floating", "data"), row("contention", "call"),
        row("reach", HEARD, witness=fight()),
        row("when-then", PULL, worst=2, cycles=3, note="worst case 2 cycles of 3"))
    answer = "crane: all 5 questions proved (3 checks, 2 rules) over 1,234 states, 5,678 transitions, 9 cycles deep"
    assert answer_lines(CRANE, proved, []) == [answer]
    assert report_lines(CRANE, proved, False) == ["longest wait: 2 of 3 cycles (no pull in the wind)"]
    assert answer_lines(CRANE, proved._replace(kept=True), []) == [
        f"{answer} (kept from an earlier run; --no-cache proves anew)"]


def test_what_is_not_proved_is_counted_and_the_rest_never_happens() -> None:
    found = report(
        row("floating", "data"), row("nowhere", "control", "allowed"), row("race", "cell", "undecided"),
        row("vacuous", "what", "vacuous", note="1 of 2 occur"), row("contention", "data", "broken"),
        row("contention", "call"))
    assert report_lines(CRANE, found, False) == [
        "broken: vacuous 1 (1 of 2 occur), contention 1",
        "undecided  race  cell",
        "never happens: contention elsewhere, floating (2 questions)",
    ]
    groups = grouped([error("contention", "two drivers", None), error("other", "another", None),
                      warning("vacuous", "never occurs", None)])
    assert answer_lines(CRANE, found, groups) == [
        "crane: 1 question undecided; 2 faults, 1 warning; 2 of 6 questions broken over "
        "1,234 states, 5,678 transitions, 9 cycles deep"]


def test_everything_lists_every_verdict_in_its_order_and_draws_every_witness() -> None:
    lines = report_lines(CRANE, report(row("floating", "data"), row("contention", "data", "broken"),
                                       row("reach", HEARD, witness=fight())), True)
    assert lines[:5] == [
        "never happens  floating    data",
        "broken         contention  data",
        "proved         reach       the deck hand is heard  reached in 3 cycles",
        "",
        "the deck hand is heard: reached in 3 cycles",
    ]
    assert any("motor AND deck drive data" in line for line in lines[5:])


def test_a_limit_that_was_reached_can_never_look_like_a_proof() -> None:
    undecided = row("contention", "data", "undecided")
    for stopped, said in (("states", "stopped at the limit of states after 1,234 states"),
                          ("interrupted", "interrupted after 1,234 states"),
                          ("seconds", "stopped at the limit of seconds after 1,234 states")):
        [answer] = answer_lines(CRANE, report(undecided, stopped=stopped), [])
        assert answer == (f"crane: 1 question undecided, {said}; every sequence of up to 9 cycles was examined")
        lines = report_lines(CRANE, report(*[undecided] * 9, stopped=stopped), False)
        assert lines == [], "nine rows that say the same are not listed"


def test_what_is_left_open_is_counted_though_no_search_of_the_machine_alone_was_stopped() -> None:
    for ended, said in (("", ""), ("interrupted", ", interrupted after 1,234 states"),
                        ("seconds", ", stopped at the limit of seconds after 1,234 states")):
        found = report(row("race", "cell", "undecided"), row("floating", "data"), ended=ended)
        assert answer_lines(CRANE, found, []) == [
            f"crane: 1 question undecided{said}; 1 of 2 proved over 1,234 states, 5,678 transitions, 9 cycles deep"]


def test_allowances_stand_in_every_report_with_their_reasons() -> None:
    used = Applied(Allowance("contention", "data", "start.hook", "resistors, 4 mA", SPAN), True)
    bare = Applied(Allowance("race", "", "", "never loaded twice", SPAN), None)
    assert report_lines(CRANE, report(row("race", "cell"), allowances=(used, bare)), False) == [
        "allowed: contention on data at start.hook: resistors, 4 mA",
        "allowed: race: never loaded twice",
    ]


def test_the_same_as_data() -> None:
    data = report_data(CRANE, report(row("when-then", PULL, "broken", 5, 3), row("reach", HEARD, witness=fight(0)),
                                     stopped="states"))
    assert (data["machine"], data["states"], data["transitions"], data["depth"], data["stopped"],
            data["ended"]) == ("crane", 1234, 5678, 9, "states", "states")
    late, heard = data["verdicts"]
    line = MACHINE[:MACHINE.index("bus data")].count("\n") + 1
    assert late == {"check": "when-then", "subject": PULL, "outcome": "broken", "states": 10, "transitions": 20,
                    "worst": 5, "within": 3, "file": "m.machine", "line": line, "note": ""}
    assert heard["witness"]["loop"] == 1
    assert [cycle["matters"] for cycle in heard["witness"]["cycles"]] == [[], ["deck.wave", "gust"], ["slack"]]


def test_many_open_questions_are_told_in_part_where_the_search_came_to_its_end() -> None:
    """Meanings stay open one by one, each for its own reason; a search that was stopped leaves all for one."""
    left = [row("meaning", f"load {name}", "undecided") for name in "abcdefgh"]
    lines = report_lines(CRANE, report(*left), False)
    assert [line.split()[-1] for line in lines[:6]] == list("abcdef")
    assert lines[6] == "2 questions more undecided; --all lists them"
    assert not any("more undecided" in line for line in report_lines(CRANE, report(*left[:6]), False))
