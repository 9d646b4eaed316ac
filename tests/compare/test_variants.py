"""Many variants of one build compared in one go, held against a comparison of each by itself."""

from pathlib import Path
from random import Random

import pytest

from ordain.compare.behaviour import behaviour
from ordain.compare.joint import join
from ordain.compare.variants import Variants
from ordain.faulting import with_changes
from ordain.faults.listing import bit_faults
from ordain.pipeline import build_model

ROOT = Path(__file__).parent.parent.parent


@pytest.mark.parametrize("path", ["examples/stepper/carillon.machine", "examples/slices/orrery.machine",
                                  "examples/paired/tideclock.machine", "examples/two-masters/signalbox.machine"])
def test_it_says_the_same_of_words_with_a_wrong_bit(path: str) -> None:
    built, _ = build_model(ROOT / path)
    assert built is not None
    contents = built.contents._replace(meanings={})
    variants = Variants(contents)
    every, seen = list(bit_faults(contents)), set()
    for fault in Random(3).sample(every, 24):
        faulty = with_changes(contents, fault.changes)
        alone, found = behaviour(join(contents, faulty)), variants.of(fault.changes, faulty)
        statuses = [(unit.kind, unit.title, unit.status, unit.opcodes, unit.differing) for unit in alone.units
                    if unit.status != "same"]
        assert [(unit.kind, unit.title, unit.status, unit.opcodes, unit.differing) for unit in found.units] == statuses
        assert found.machine == alone.machine
        seen.add(bool(statuses))
    assert True in seen


def test_nothing_is_otherwise_where_nothing_rests_on_the_word() -> None:
    built, _ = build_model(ROOT / "examples/two-masters/signalbox.machine")
    assert built is not None
    word = built.contents.words["control"][31]
    changes = {"control": {31: word ^ 1}}
    assert Variants(built.contents).of(changes, with_changes(built.contents, changes)).units == ()
