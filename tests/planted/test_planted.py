"""Each planted fault is found, by its name and at its place; its twin, one edit away, is clean."""

from collections import Counter
from functools import cache

import pytest

from ordain.checks import catalogue
from ordain.checks.check import Report
from ordain.checks.run import prove, questions
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.text.findings import Finding
from tests.agreement import disagreements
from tests.planted.everything import LARGE, PLANTED
from tests.planted.plant import Planted, Sound
from tests.workshop import contents_of


@cache
def report_of(texts: Sound) -> Report:
    """Many faults have the same twin."""
    contents = contents_of(*texts)
    system = build_system(contents)
    return prove(contents, lambda asked: decide(contents, system, asked))


def shown(finding: Finding) -> str:
    line = finding.span.source.line_text(finding.span.line).strip() if finding.span is not None else ""
    return f"{finding.name}: {finding.message} [{line}]"


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.name)
def test_a_planted_fault_is_found_at_its_place(planted: Planted) -> None:
    findings = report_of(planted.faulty()).findings
    told = "\n".join(map(shown, findings))
    assert any(finding.name == planted.finding and planted.says in finding.message and finding.span is not None
               and planted.at in finding.span.source.line_text(finding.span.line) for finding in findings), told
    assert {finding.name for finding in findings} <= {planted.finding, *planted.also}, told
    for finding in findings:
        if finding.trace is not None and finding.name not in ("stuck", "always-reach", "when-then", "over-assumed"):
            assert f"{len(finding.trace.cycles)} cycle" in " ".join(finding.notes)


@pytest.mark.parametrize("planted", PLANTED, ids=lambda planted: planted.name)
def test_its_twin_is_clean(planted: Planted) -> None:
    report = report_of(planted.twin())
    assert [shown(finding) for finding in report.findings] == []
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
