"""Each planted fault is found, by its name and at its place; its twin, one edit away, is clean."""

from collections import Counter
from functools import cache

import pytest

from ordain.checks import catalogue
from ordain.checks.check import Report
from ordain.checks.run import prove, questions
from ordain.cli.manner import finding_lines
from ordain.control.system import build_system
from ordain.meaning.run import with_meanings
from ordain.prover.decide import decide
from ordain.prover.model import Property, Verdicts
from ordain.show.groups import first_causes, grouped
from ordain.show.page import Page
from ordain.show.paint import Paint
from ordain.show.verdicts import answer_lines, report_lines
from ordain.text.findings import Finding, Severity
from tests.agreement import disagreements
from tests.planted.everything import LARGE, PLANTED
from tests.planted.plant import Planted, Sound
from tests.workshop import contents_of

SHEET = Page(Paint(False), 100, True)


@cache
def report_of(texts: Sound) -> Report:
    """Many faults have the same twin."""
    contents = contents_of(*texts)
    system = build_system(contents)

    def decided(asked: tuple[Property, ...]) -> Verdicts:
        return decide(system, asked)

    return with_meanings(contents, decided, prove(contents, decided))


def shown(finding: Finding) -> str:
    line = finding.span.source.line_text(finding.span.line).strip() if finding.span is not None else ""
    return f"{finding.name}: {finding.message} [{line}]"


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.name)
def test_a_planted_fault_is_found_at_its_place(planted: Planted) -> None:
    findings = [finding for finding in report_of(planted.faulty()).findings
                if finding.severity is not Severity.NOTE or finding.name == planted.finding]
    told = "\n".join(map(shown, findings))
    assert any(finding.name == planted.finding and planted.says in finding.message and finding.span is not None
               and planted.at in finding.span.source.line_text(finding.span.line) for finding in findings), told
    assert {finding.name for finding in findings} <= {planted.finding, *planted.also}, told


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.name)
def test_a_reader_is_led_to_the_cause(planted: Planted) -> None:
    """At most three findings stand by themselves, and all of it has room on one sheet of paper. What goes wrong in the
    planted line, or first, stands first."""
    contents, report = contents_of(*planted.faulty()), report_of(planted.faulty())
    groups = grouped(report.findings)
    shown, rest = first_causes(groups)
    assert len(shown) <= 3
    assert len(rest) + sum(1 + len(group.places) + len(group.others) for group in shown) \
        + sum(len(group.places) for group in groups if group not in shown) == len(report.findings)
    lines = [*answer_lines(contents, report, groups, SHEET), *finding_lines(groups, SHEET, contents=contents,
                                                                            everything=False),
             *report_lines(contents, report, False, SHEET)]
    assert len(lines) <= 60 and max(map(len, lines)) <= SHEET.width
    assert not any(line.startswith("proved:") for line in lines)
    first = shown[0]
    names = {finding.name for finding in (first.first, *first.others)}
    assert names & {planted.finding, *planted.also}, first.first.message


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.name)
def test_its_twin_is_clean(planted: Planted) -> None:
    report = report_of(planted.twin())
    assert [shown(finding) for finding in report.findings
            if finding.severity is not Severity.NOTE or finding.name == planted.finding] == []
    assert {row.outcome for row in report.rows} <= {"proved", "allowed"}


@pytest.mark.parametrize("planted", [planted for planted in PLANTED if planted not in LARGE],
                         ids=lambda planted: planted.name)
def test_the_plain_search_agrees(planted: Planted) -> None:
    contents = contents_of(*planted.faulty())
    assert disagreements(contents, [asked for _, asked in questions(contents)]) == []


def test_everything_that_can_be_found_is_planted_twice() -> None:
    count = Counter(planted.finding for planted in PLANTED)
    assert len(PLANTED) >= 40
    assert {name: count[name] for name in catalogue.provable() if count[name] < 2} == {}
    assert len({planted.name for planted in PLANTED}) == len(PLANTED)
