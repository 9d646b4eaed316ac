"""Machines with fresh seeds, one after another, until the time is over; what disagrees is made small and kept."""

import gc
import re
import traceback
from collections import Counter
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from random import Random
from time import monotonic
from typing import NamedTuple

from tests.judge.clocks import clocked
from tests.judge.commanding import failures
from tests.judge.counting import cycles_disagreements, text_of
from tests.judge.cycle import Unsupported
from tests.judge.flip_flops import in_flip_flops
from tests.judge.judging import MOST_CYCLES, alone, disagreements, judged
from tests.judge.lowering import lowered
from tests.judge.machines import machine
from tests.judge.pairs import changed, compared
from tests.judge.reporting import report_disagreements
from tests.judge.scrambling import scrambled
from tests.judge.search import TooLarge
from tests.judge.several import many
from tests.judge.shrinking import shrunk
from tests.judge.shuffling import shuffled_disagreements
from tests.judge.slicing import sliced
from tests.judge.tool import Text, build, report
from tests.judge.wiring import rewired

SHRINKING = 120.0
"""Seconds for making one case small."""

VERSIONS = {"pairs": changed, "wires": rewired, "several": many}
"""What makes the other of two versions."""


class Case(NamedTuple):
    """Something in which the two disagree."""

    seed: int
    text: Text
    wrong: list[str]


def hunt(seconds: float, seed: int, into: Path | None, only: str = "", most: int = 0, low: bool = False,
         say: Callable[[str], None] = print) -> tuple[Counter[str], list[Case]]:
    """What was looked at, and what was found. `most`: so many seeds at most, 0 for no limit. `only`: what to look at
    (questions, report, alone, shuffled, pairs, wires, several, cycles; clocks: the questions of machines on a clock;
    commands: how these end), "" for all of it but the last six. `low`: with limits of effort that small machines come
    to."""
    end = monotonic() + seconds
    gc.set_threshold(200_000, 5, 5)  # looking for what a machine leaves behind took a sixth of the time
    counts: Counter[str] = Counter()
    cases: list[Case] = []
    number = 0
    while monotonic() < end and (not most or number < most):
        here = seed + number
        text = text_of(here) if only == "cycles" else machine(Random(here).choice)
        if only == "clocks" or (only in ("", "report", "alone", "shuffled", "commands") and here % 7 == 4):
            text = clocked(Random(here + 1).choice, text)
        if only in ("", "questions", "report", "alone", "commands") and here % 11 == 6:
            text = sliced(Random(here + 1).choice, text)
        if only not in ("cycles", "clocks") and here % 13 == 5:
            text = in_flip_flops(Random(here + 2).choice, text, mixed=only not in VERSIONS)
        number += 1
        with lowered(Random(here)) if low else nullcontext():
            wrong = examined(text, here, counts, only)
        if wrong:
            say(f"{here}: " + "\n    ".join(wrong[:4]))
            counts["disagreeing"] += 1
            case = Case(here, text, wrong)
            if into is not None:
                case = case if only == "cycles" or low else small(case, only)
                write(into, case, only)
            cases.append(case)
    return counts, cases


def examined(text: Text, seed: int, counts: Counter[str], only: str = "", limit: int = MOST_CYCLES) -> list[str]:
    """Everything in which the tool and the plain search differ about one machine."""
    if only in VERSIONS:
        return compared(text, VERSIONS[only](text, seed), counts)
    if only == "cycles":
        return cycles_disagreements(seed, counts)
    if only == "commands":
        counts["machines"] += 1
        return failures(text, changed(text, seed).text, faults=seed % 8 == 0)
    try:
        built, _ = build(text)
        if built is None:
            counts["not built"] += 1
            return []
        if seed % 5 == 3:
            built, only = scrambled(built, Random(seed)), only if only != "shuffled" else "report"
        one = judged(built, limit)
    except TooLarge:
        counts["too large"] += 1
        return []
    except Unsupported:
        counts["not judged"] += 1
        return []
    counts["machines"] += 1
    counts["questions"] += len(one.answers)
    counts["states"] += len(one.graph.states)
    wrong: list[str] = []
    try:
        if only in ("questions", "clocks") or seed % 4 == 0 or one.description.allows:
            wrong += disagreements(one, reduce=seed % 4 != 0)
        found, first = report(one.built.contents) if only in ("", "report", "shuffled") else (None, None)
        if found is not None and first is not None and only != "shuffled":
            wrong += report_disagreements(one, found, first)
        if only == "alone" or (not only and seed % 4 == 1):
            wrong += alone(one, Random(seed).choice)
        if found is not None and (only == "shuffled" or (not only and seed % 4 == 2 and seed % 5 != 3)):
            wrong += shuffled_disagreements(text, one, found, Random(seed))
    except TooLarge:
        counts["too large"] += 1
    except Exception:  # whatever ends a proof is a find
        *_, where, _, last = traceback.format_exc().splitlines()
        wrong.append(f"crash: {last}, {where.strip()}")
    return wrong


def small(case: Case, only: str = "") -> Case:
    """The same kind of disagreement in less text."""
    kind = kind_of(case.wrong[0])

    def shows(text: Text) -> bool:
        return any(kind_of(each) == kind for each in examined(text, case.seed, Counter(), only))

    text = shrunk(case.text, shows, SHRINKING)
    return Case(case.seed, text, examined(text, case.seed, Counter(), only))


def kind_of(wrong: str) -> str:
    """The check and what is wrong with it, without numbers and names."""
    words = re.findall(r"breaks|trace|alone|shuffled|crash|same|tells|proved|broken|vacuous|allowed|needed", wrong)
    return " ".join([*re.findall(r"^(?:row \(')?([a-z-]+)", wrong), *words[:2]])


def write(into: Path, case: Case, only: str = "") -> None:
    place = into / f"seed-{case.seed}"
    place.mkdir(parents=True, exist_ok=True)
    (place / "m.machine").write_text(case.text.machine)
    (place / "m.micro").write_text(case.text.micro)
    if only in VERSIONS:
        new = VERSIONS[only](case.text, case.seed).text
        (place / "new.machine").write_text(new.machine)
        (place / "new.micro").write_text(new.micro)
    (place / "wrong.txt").write_text("\n".join(["the tool; the plain search", *case.wrong]) + "\n")
