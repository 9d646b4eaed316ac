"""What `berkeley-abc` says of the exported models beside what the prover says: every property, and the length of each
shortest sequence."""

from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from ordain.checks.run import questions
from ordain.control.model import System
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Property, Verdict
from ordain.prover.questions import lower_properties
from ordain.rom.contents import Contents
from ordain.show.aiger import aiger
from tests.outside.model_checker import Task, ask

DEEPEST = 120
"""Sequences up to this many cycles are compared in length; of longer ones only that there is one."""


class Case(NamedTuple):
    name: str
    contents: Contents


class Expected(NamedTuple):
    """What a task is to say: for each bad state its verdict."""

    case: str
    verdicts: tuple[Verdict, ...]


def disagreements(cases: Iterable[Case], place: Path, patience: float = 900) -> list[str]:
    """What the model checker says otherwise. One process is asked about all the cases; `patience`: its seconds. Raises
    subprocess.TimeoutExpired."""
    tasks: list[Task] = []
    expected: list[Expected] = []
    for case in cases:
        system = build_system(case.contents)
        verdicts = decide(system, safety(case.contents)).verdicts
        near = tuple(verdict for verdict in verdicts if 0 < _cycles(verdict) <= DEEPEST)
        waits = [(verdict,) for verdict in verdicts if verdict not in near and verdict.property.kind == "within"]
        rest = tuple(verdict for verdict in verdicts if verdict not in near and verdict.property.kind != "within")
        for group in (near, *waits, rest):  # a long wait holds the others up
            if group:
                path = place / f"m{len(tasks)}.aig"
                path.write_bytes(_exported(system, group))
                deepest = max(map(_cycles, group))
                tasks.append(Task(path, len(group), "shortest" if group is near else "decide", deepest))
                expected.append(Expected(case.name, group))
    wrong = []
    for task, (name, group), found in zip(tasks, expected, ask(tasks, patience), strict=True):
        for number, verdict in enumerate(group):
            cycles = _cycles(verdict)
            right = found.get(number) == cycles if task.job == "shortest" else (number in found) == (cycles > 0)
            if not right:
                wrong.append(f"{name}: {verdict.property.check}: {verdict.property.subject}: {verdict.outcome} in "
                             f"{cycles} cycles; {found.get(number)}")
    return wrong


def safety(contents: Contents) -> tuple[Property, ...]:
    """All questions that can be exported, and for each that can be vacuous its trigger as a question of its own."""
    found: list[Property] = []
    for _, asked in questions(contents):
        if asked.vacuity is not None:
            found.append(asked._replace(kind="reach", node=asked.vacuity, vacuity=None, trigger=None, unless=None,
                                        shown=True))
        if asked.kind != "always":
            found.append(asked._replace(vacuity=None, shown=True))
    return tuple(found)


def _cycles(verdict: Verdict) -> int:
    """How many cycles the exported bad state needs: 0 when it is never reached."""
    match verdict.property.kind:
        case "reach":
            return len(verdict.witness.cycles) if verdict.witness is not None else 0
        case "within":
            return DEEPEST + 1 if verdict.outcome == "broken" else 0  # the trace may show more than the lateness
    return min((found.cycles for found in verdict.breaks), default=0)


def _exported(system: System, verdicts: tuple[Verdict, ...]) -> bytes:
    written = aiger(system, lower_properties(system, tuple(verdict.property for verdict in verdicts)))
    assert [what.property for what in written.bad] == list(range(len(verdicts)))
    return written.data
