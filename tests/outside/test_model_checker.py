"""A second opinion from outside: `berkeley-abc` on the exported models. It must agree with the prover on every property,
and on the length of each shortest sequence."""

import random
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

import pytest

from ordain.checks.run import questions
from ordain.pipeline import build_model
from ordain.prover.decide import decide
from ordain.prover.model import Property, Verdict
from ordain.prover.system import build_system, lower_properties
from ordain.rom.contents import Contents
from ordain.show.aiger import BadState, aiger
from tests.generated import machine_text, random_words
from tests.outside.model_checker import DEEPEST, MISSING, PROGRAM, Answer, ask
from tests.planted.everything import PLANTED
from tests.workshop import compiled, contents_of

pytestmark = pytest.mark.skipif(PROGRAM is None, reason=MISSING)

ROOT = Path(__file__).parents[2]
MACHINES = sorted(path for place in ("microcode", "examples", "src/ordain/starter")
                  for path in (ROOT / place).rglob("*.machine") if path.read_text().lstrip("\n# ").count("\nmachine "))


class Case(NamedTuple):
    name: str
    contents: Contents


def disagreements(cases: Iterable[Case], place: Path) -> list[str]:
    """What the model checker says otherwise. One process is asked about all the cases."""
    files: list[tuple[Path, int]] = []
    expected: list[tuple[str, tuple[BadState, ...], tuple[Verdict, ...]]] = []
    for case in cases:
        asked = tuple(question for _, question in questions(case.contents))
        system = build_system(case.contents)
        written = aiger(system, lower_properties(system, asked))
        path = place / f"m{len(files)}.aig"
        path.write_bytes(written.data)
        files.append((path, len(written.bad)))
        triggers = tuple(Property("trigger", question.subject, "reach", question.vacuity) for question in asked
                         if question.vacuity is not None)
        verdicts = decide(case.contents, system, (*asked, *_with_monitors(asked, triggers))).verdicts
        expected.append((case.name, written.bad, verdicts))
    wrong = []
    for (name, bad, verdicts), answers in zip(expected, ask(files), strict=True):
        triggers = (verdict for verdict in verdicts if verdict.property.check == "trigger")
        for what, answer in zip(bad, answers, strict=True):
            verdict = next(triggers) if what.role == "trigger" else verdicts[what.property]
            if not _agrees(verdict, answer):
                wrong.append(f"{name}: {what.name}: {verdict.outcome}, {answer}")
    return wrong


def _with_monitors(asked: Iterable[Property], triggers: Iterable[Property]) -> Iterable[Property]:
    sources = [question for question in asked if question.vacuity is not None]
    return [trigger._replace(monitors=source.monitors) for source, trigger in zip(sources, triggers, strict=True)]


def _agrees(verdict: Verdict, answer: Answer) -> bool:
    cycles: int | None
    match verdict.property.kind:
        case "bad":
            cycles = min((found.cycles for found in verdict.breaks), default=None)
        case "reach":
            cycles = len(verdict.witness.cycles) if verdict.witness is not None else None
        case _:
            return answer.reachable == (verdict.outcome == "broken")
    if cycles is None or not answer.reachable:
        return cycles is None and not answer.reachable
    return answer.cycles == (cycles if cycles <= DEEPEST else None)


def test_on_the_planted_faults(tmp_path: Path) -> None:
    assert disagreements([Case(planted.name, contents_of(*planted.faulty())) for planted in PLANTED], tmp_path) == []


def test_on_generated_machines(tmp_path: Path) -> None:
    cases = []
    for seed in range(130):
        chance = random.Random(seed)
        text = machine_text(chance.choice)
        contents, _ = compiled(*text) if seed % 2 else (random_words(text, chance.choice), [])
        if contents is not None:
            cases.append(Case(f"seed {seed}", contents))
    assert len(cases) >= 100
    assert disagreements(cases, tmp_path) == []


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: str(path.relative_to(ROOT)))
def test_on_the_machines_that_come_with_the_project(path: Path, tmp_path: Path) -> None:
    built, findings = build_model(path)
    assert built is not None, [finding.message for finding in findings]
    assert disagreements([Case(path.stem, built.contents)], tmp_path) == []
