"""Faults of machines by chance, many in one search, held against a whole proof and a whole comparison of each."""

from collections import Counter
from random import Random
from time import monotonic

from ordain.faulting import Campaign
from ordain.faults.listing import bit_faults, driver_faults
from ordain.faults.model import Fault
from tests.judge.clocks import clocked
from tests.judge.machines import machine
from tests.judge.tool import build

FAULTS = 12
"""Of each machine."""


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
    """A machine of everything that can be said, every third on a clock with phases."""
    random = Random(seed)
    text = machine(random.choice)
    made, _ = build(clocked(random.choice, text) if seed % 3 == 1 else text)
    if made is None:
        counts["machines that cannot be built"] += 1
        return []
    counts["machines"] += 1
    every = [*bit_faults(made.contents), *driver_faults(made.contents.machine)]
    return differing(Campaign(made.contents), random.sample(every, min(FAULTS, len(every))), counts)


def hunt(seconds: float, seed: int) -> Counter[str]:
    counts: Counter[str] = Counter()
    began = monotonic()
    while monotonic() - began < seconds:
        for wrong in examined(seed, counts):
            print(f"seed {seed}: {wrong}", flush=True)
            counts["disagreeing"] += 1
        seed += 1
    return counts
