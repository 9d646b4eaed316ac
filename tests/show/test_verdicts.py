"""What a proof says, from a report made by hand."""

from typing import Any

from ordain.checks.check import Applied, Report, Row
from ordain.machine.model import Allowance
from ordain.show.verdicts import report_data, report_lines
from ordain.text.source import Span
from tests.show.crane import MACHINE, crane, fight, span

CRANE = crane()
HEARD, PULL = (rule.text for rule in CRANE.machine.rules)
SPAN = span(MACHINE, "bus data", "m.machine")


def row(check: str, subject: str, outcome: Any = "proved", worst: int | None = None, cycles: int = 0,
        note: str = "", witness: Any = None, place: Span = SPAN) -> Row:
    return Row(check, subject, outcome, 10, 20, worst, cycles, witness, note, place)


def report(*rows: Row, stopped: str = "", ended: str = "", allowances: tuple[Applied, ...] = ()) -> Report:
    return Report((), rows, allowances, {"control": frozenset({0, 1})}, 1234, 5678, 9, 0, stopped, ended or stopped)


def test_what_is_proved_is_gathered_and_rules_stand_one_by_one() -> None:
    lines = report_lines(CRANE, report(
        row("contention", "data"), row("floating", "data"), row("contention", "call"),
        row("reach", HEARD, witness=fight()),
        row("when-then", PULL, worst=2, cycles=3, note="worst case 2 cycles of 3")), False)
    assert lines == [
        "proved: contention, floating (3 verdicts)",
        "proved  reach      the deck hand is heard  reached in 3 cycles",
        "proved  when-then  no pull in the wind     worst case 2 cycles of 3",
        "every reachable cycle examined: 1,234 states, 5,678 transitions, 9 cycles deep",
    ]


def test_what_is_not_proved_comes_first_worst_first() -> None:
    lines = report_lines(CRANE, report(
        row("floating", "data"), row("nowhere", "control", "allowed"), row("race", "cell", "undecided"),
        row("vacuous", "what", "vacuous", note="1 of 2 occur"), row("contention", "data", "broken"),
        row("contention", "call")), False)
    assert lines == [
        "broken     contention  data",
        "vacuous    vacuous     what     1 of 2 occur",
        "undecided  race        cell",
        "allowed    nowhere     control",
        "proved: contention elsewhere, floating (2 verdicts)",
        "undecided: 1 question; the others over every reachable cycle: 1,234 states, 5,678 transitions, 9 cycles deep",
    ]


def test_everything_lists_every_verdict_in_its_order_and_draws_every_witness() -> None:
    lines = report_lines(CRANE, report(row("floating", "data"), row("contention", "data", "broken"),
                                       row("reach", HEARD, witness=fight())), True)
    assert lines[:5] == [
        "proved  floating    data",
        "broken  contention  data",
        "proved  reach  the deck hand is heard  reached in 3 cycles",
        "",
        "the deck hand is heard: reached in 3 cycles",
    ]
    assert [line.split()[:2] for line in lines[5:8]] == [["cycle", "1"], ["cycle", "2"], ["cycle", "3"]]


def test_a_limit_that_was_reached_can_never_look_like_a_proof() -> None:
    undecided = row("contention", "data", "undecided")
    for stopped, said in (("states", "the limit of states was reached"), ("interrupted", "interrupted"),
                          ("seconds", "the limit of seconds was reached")):
        lines = report_lines(CRANE, report(undecided, stopped=stopped), False)
        assert lines[-1] == (f"undecided: {said} after 1,234 states, 5,678 transitions, 9 cycles deep; "
                             "every sequence of up to 9 cycles was examined")
        assert not any("every reachable" in line or line.startswith("proved") for line in lines)


def test_what_is_left_open_is_counted_though_no_search_of_the_machine_alone_was_stopped() -> None:
    lines = report_lines(CRANE, report(row("race", "cell", "undecided"), row("floating", "data")), False)
    assert lines[-1] == ("undecided: 1 question; the others over every reachable cycle: "
                         "1,234 states, 5,678 transitions, 9 cycles deep")
    for ended, said in (("interrupted", "interrupted"), ("seconds", "the limit of seconds was reached")):
        lines = report_lines(CRANE, report(row("race", "cell", "undecided"), ended=ended), False)
        assert lines[-1].startswith(f"undecided: 1 question ({said}); the others over every reachable cycle: ")


def test_allowances_stand_in_every_report_with_their_reasons() -> None:
    used = Applied(Allowance("contention", "data", "start.hook", "resistors, 4 mA", SPAN), True)
    bare = Applied(Allowance("race", "", "", "never loaded twice", SPAN), None)
    assert report_lines(CRANE, report(row("race", "cell"), allowances=(used, bare)), False)[-3:-1] == [
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
