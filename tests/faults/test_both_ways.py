"""Many faulty machines in one search come to the classes that a whole proof and a whole comparison of each give."""

from collections import Counter
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.cli.faults import every_fault
from ordain.faulting import Campaign
from ordain.faults.listing import bit_faults
from ordain.pipeline import build_model
from tests.faults.hunting import differing, examined
from tests.generated import machine_text, random_words
from tests.judge.machines import machine
from tests.judge.tool import build

ROOT = Path(__file__).parent.parent.parent
MACHINES = {
    "two-masters": ("examples/two-masters/signalbox.machine", 30), "refresh": ("examples/refresh/starmap.machine", 30),
    "paired": ("examples/paired/tideclock.machine", 30), "stepper": ("examples/stepper/carillon.machine", 20),
    "slices": ("examples/slices/orrery.machine", 4),
    "half-clock": ("examples/half-clock/mended/barograph.machine", 8),
    "half-clock-broken": ("examples/half-clock/broken/barograph.machine", 8),
    "late-grant": ("examples/late-grant/mended/lantern.machine", 30),
    "late-grant-broken": ("examples/late-grant/broken/lantern.machine", 20),
    "pause-fight": ("examples/pause-fight/mended/flapboard.machine", 30),
    "pause-fight-silenced": ("examples/pause-fight/silenced/flapboard.machine", 20),
    "heron": ("microcode/heron.machine", 2),
}


@pytest.mark.parametrize("name", MACHINES)
def test_a_sample_of_the_faults_of_an_example(name: str) -> None:
    path, count = MACHINES[name]
    built, _ = build_model(ROOT / path)
    assert built is not None
    every, passed_over = every_fault(built)
    assert not passed_over and {fault.kind for fault in every} >= {"bit", "erased", "pin", "chip"}
    assert differing(Campaign(built.contents), Random(19).sample(every, count), Counter()) == []


@settings(max_examples=5, deadline=None)
@given(st.data())
def test_machines_by_chance(data: st.DataObject) -> None:
    def choose(options: object) -> object:
        return data.draw(st.sampled_from(options))  # type: ignore[arg-type]

    contents = random_words(machine_text(choose), choose)  # type: ignore[arg-type]
    every = list(bit_faults(contents))
    assert differing(Campaign(contents), [every[data.draw(st.integers(0, len(every) - 1))] for _ in range(4)],
                     Counter()) == []


def test_a_wrong_bit_in_one_of_several_equal_words_is_no_tearing() -> None:
    """Words stand in several columns, as many lines beside instruction and step do not matter to them."""
    made, _ = build(machine(Random(1032).choice))
    assert made is not None
    faults = [fault for fault in bit_faults(made.contents) if fault.text.endswith("09: pulse")]
    counts: Counter[str] = Counter()
    assert differing(Campaign(made.contents), faults, counts) == [] and counts == {"changed": 1}


def test_a_sample_of_faults_of_machines_with_all_that_can_be_said() -> None:
    counts: Counter[str] = Counter()
    assert [wrong for seed in (1002, 1003, 1006) for wrong in examined(seed, counts)] == []
    assert {"noticed", "changed", "harmless", "silent"} <= counts.keys()
