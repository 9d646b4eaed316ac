"""What came of faults is found again, goes on where a run was ended, and is never believed where it is damaged."""

import json
from pathlib import Path

import pytest

from ordain.cli.main import run
from ordain.faulting import Campaign
from ordain.faults.kept import outcomes_data, outcomes_from
from ordain.faults.model import Fault, FaultOutcome, Noticed
from ordain.text.entries import data_kept, keep_data

EXAMPLE = Path(__file__).parent.parent.parent / "examples" / "two-masters"
CALL = ["faults", str(EXAMPLE), "--only", "bit", "--only", "branch,target", "--format", "json"]


def said(capsys: pytest.CaptureFixture[str]) -> object:
    assert run(CALL) == 1
    return json.loads(capsys.readouterr().out)


def test_a_second_run_says_the_same_without_a_search_and_a_damaged_file_is_none(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    first = said(capsys)
    asked: list[int] = []
    whole = Campaign._noticed

    def counted(campaign: Campaign, faults: list[Fault]) -> dict[int, Noticed]:
        asked.append(len(faults))
        return whole(campaign, faults)

    monkeypatch.setattr(Campaign, "_noticed", counted)
    assert said(capsys) == first and not asked
    (file,) = (tmp_path / "ordain").glob("*.verdicts")
    text = file.read_bytes()
    data = json.loads(text.partition(b"\n")[2])
    keep_data(tmp_path / "ordain", file.stem, dict(list(data.items())[:20]))     # as if it had been ended there
    assert said(capsys) == first and 0 < sum(asked) < len(data)
    for damaged in (text[:-1], text.replace(b"silent", b"harmless"), b"", b"\xff"):
        asked.clear()
        file.write_bytes(damaged)
        assert said(capsys) == first and asked
    assert run([*CALL, "--no-cache"]) == 1


def test_what_is_no_outcome_is_passed_over(tmp_path: Path) -> None:
    kept = FaultOutcome("changed", titles=("add n", "ring"), meanings=("ring",))
    outcomes = {"f": kept, "a": FaultOutcome("silent", titles=("reset",)),
                "b": FaultOutcome("noticed", Noticed("never", "x", 3)),
                "c": FaultOutcome("noticed", Noticed("unreachable", "control 3", None)), "d": FaultOutcome("harmless")}
    keep_data(tmp_path, "0" * 64, outcomes_data({**outcomes, "e": FaultOutcome("undecided", why="time")}))
    assert outcomes_from(data_kept(tmp_path, "0" * 64)) == outcomes
    for wrong in ([], ["silent"], ["silent", ["never", "x", 1], [], []], ["noticed", None, [], []],
                  ["loud", None, [], []], ["noticed", ["never", "x", 0], [], []], ["noticed", ["never", 3, 1], [], []],
                  ["silent", None, [1], []], ["silent", None, [], [1]], ["silent", None, []],
                  ["noticed", ["never", "x", True], [], []], ["undecided", None, [], []], None, {"a": 1}):
        assert outcomes_from({"a": wrong}) == {}
    assert outcomes_from(None) == outcomes_from([1]) == {}
