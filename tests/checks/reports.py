"""Whole reports of machines written as text."""

from ordain.checks.check import Report
from ordain.checks.run import EVERYTHING, Selection, prove
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from ordain.text.findings import Finding
from tests.planted.plant import Sound
from tests.workshop import contents_of


def report(texts: Sound, selection: Selection = EVERYTHING, limits: Limits | None = None) -> Report:
    contents = contents_of(*texts)
    system = build_system(contents)
    return prove(contents, lambda asked: decide(system, asked, limits), selection)


def edited(texts: Sound, *edits: tuple[str, str]) -> Sound:
    machine, micro = texts
    for old, new in edits:
        assert (machine + micro).count(old) == 1, old
        machine, micro = machine.replace(old, new), micro.replace(old, new)
    return Sound(machine, micro)


def names(found: Report) -> list[str]:
    return [finding.name for finding in found.findings]


def findings_named(name: str, found: Report) -> list[Finding]:
    return [finding for finding in found.findings if finding.name == name]


def outcomes(found: Report) -> dict[str, str]:
    return {f"{row.check} {row.subject}": row.outcome for row in found.rows}
