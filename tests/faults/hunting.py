"""Faults of machines by chance, many in one search, held against a whole proof and a whole comparison of each."""

from collections import Counter
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from time import monotonic

from ordain.cli.faults import every_fault
from ordain.faulting import Campaign
from ordain.faults.model import Fault
from ordain.pipeline import build_model
from tests.images.programs import program
from tests.judge.clocks import clocked
from tests.judge.machines import machine
from tests.judge.tool import Text

FAULTS = 4
"""Of each kind and machine."""


def differing(campaign: Campaign, faults: list[Fault], counts: Counter[str]) -> list[str]:
    """The faults of which both do not say the same. Counted are the classes."""
    wrong = []
    for tried in campaign.of(faults):
        plain = campaign.plainly(tried.fault)
        counts[plain.kind] += 1
        if plain != tried.outcome:
            wrong.append(f"{tried.fault.text}: {tried.outcome}, plainly {plain}")
    return wrong


def examined(seed: int, counts: Counter[str]) -> list[str]:
    """A machine of everything that can be said, every third on a clock with phases, or now and then a program in chips
    whose pins are wired by chance; some faults of each kind."""
    random = Random(seed)
    text = program(random.choice) if seed % 5 == 0 else machine(random.choice)
    if seed % 15 in (1, 4, 7):
        text = clocked(random.choice, Text(text.machine, text.micro))
    with TemporaryDirectory() as name:
        directory = Path(name)
        (directory / "m.machine").write_text(text.machine)
        (directory / "m.micro").write_text(text.micro)
        built, _ = build_model(directory / "m.machine")
    if built is None:
        counts["machines that cannot be built"] += 1
        return []
    counts["machines"] += 1
    kinds: dict[str, list[Fault]] = {}
    for fault in every_fault(built)[0]:
        kinds.setdefault(fault.kind, []).append(fault)
    some = [fault for every in kinds.values() for fault in random.sample(every, min(FAULTS, len(every)))]
    return differing(Campaign(built.contents), some, counts)


def hunt(seconds: float, seed: int) -> Counter[str]:
    counts: Counter[str] = Counter()
    began = monotonic()
    while monotonic() - began < seconds:
        for wrong in examined(seed, counts):
            print(f"seed {seed}: {wrong}", flush=True)
            counts["disagreeing"] += 1
        seed += 1
    return counts
