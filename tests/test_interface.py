"""The three calls from Python."""

from pathlib import Path

import pytest

import ordain

EXAMPLE = Path(__file__).parent.parent / "examples" / "pause-fight"


def test_a_build_is_proved_and_compared() -> None:
    broken, mended = (ordain.build_machine(EXAMPLE / which / "flapboard.machine") for which in ("broken", "mended"))
    assert {row.outcome for row in ordain.prove_machine(mended).rows} <= {"proved", "allowed"}
    assert "contention" in {row.check for row in ordain.prove_machine(broken).rows if row.outcome == "broken"}
    change = ordain.compare_machines(broken, mended)
    assert change.verdicts is not None and {moved.kind for moved in change.verdicts.moved} == {"repaired"}
    assert change.chips is not None and any(chip.action != "nothing" for chip in change.chips)
    same = ordain.compare_machines(mended, mended)
    assert same.verdicts is not None and not same.verdicts.moved
    assert same.behaviour is not None and {unit.status for unit in same.behaviour.units} == {"same"}


def test_what_cannot_be_built_says_why(tmp_path: Path) -> None:
    with pytest.raises(ordain.NotBuilt, match="no file"):
        ordain.build_machine(tmp_path / "nothing.machine")
