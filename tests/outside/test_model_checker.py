"""A second opinion from outside: `berkeley-abc` on the exported models. It must agree with the prover on every
property, and on the length of each shortest sequence."""

import random
from pathlib import Path

import pytest

from ordain.pipeline import build_model
from tests.generated import machine_text, random_words
from tests.judge.clocks import clocked
from tests.judge.machines import machine
from tests.judge.tool import build
from tests.outside.beside import Case, disagreements
from tests.outside.model_checker import MISSING, PROGRAM
from tests.planted.everything import PLANTED
from tests.workshop import compiled, contents_of

pytestmark = pytest.mark.skipif(PROGRAM is None, reason=MISSING)

ROOT = Path(__file__).parents[2]
MACHINES = sorted(path for place in ("microcode", "examples", "src/ordain/starter")
                  for path in (ROOT / place).rglob("*.machine")
                  if any(line.startswith("machine ") for line in path.read_text().splitlines()))


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


def test_on_machines_on_a_clock(tmp_path: Path) -> None:
    """Of two and three phases, some of it held, early, on the oscillator or on a clock of its own."""
    cases = []
    for seed in range(40):
        built, _ = build(clocked(random.Random(seed + 1).choice, machine(random.Random(seed).choice)))
        if built is not None:
            cases.append(Case(f"seed {seed}", built.contents))
    assert len(cases) >= 25
    assert disagreements(cases, tmp_path) == []


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: str(path.relative_to(ROOT)))
def test_on_the_machines_that_come_with_the_project(path: Path, tmp_path: Path) -> None:
    built, findings = build_model(path)
    assert built is not None, [finding.message for finding in findings]
    assert disagreements([Case(path.stem, built.contents)], tmp_path) == []
