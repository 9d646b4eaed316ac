"""`ordain burned`, on a machine of two chips, from the first record to burning an old set again."""

import hashlib
import json
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest

from ordain.cli.main import run

MACHINE = """\
machine weir "water gate"
microprogram "weir.micro"

store control 16 words of 8 bits
    address at_now
    unused  pause

field go   4 bits
    pause 0 idle
    lift  1
    lower 2
field rest 4 bits number, idle 0

state at_now 4 bits, reset 0
    next 0 if go is lower else at_now + 1

chip U1 16 x 4
    technology eeprom
    holds   control[7:4]
    address at_now
chip U2 16 x 4
    holds   control[3:0]
    address at_now

order pause    : go pause
order lift     : go lift
order lower    : go lower
order rest <n> : rest <n>
"""
MICRO = """\
routine main at 0
    lift, rest 3
    lower
"""


@pytest.fixture
def weir(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "weir.machine").write_text(MACHINE)
    (tmp_path / "weir.micro").write_text(MICRO)
    monkeypatch.chdir(tmp_path)
    assert run(["build", "--quiet"]) == 0
    return tmp_path


def rework(directory: Path, old: str, new: str) -> None:
    text = (directory / "weir.micro").read_text()
    assert old in text
    (directory / "weir.micro").write_text(text.replace(old, new))


def listed(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    capsys.readouterr()
    run(["burned", "--format", "json"])
    data: dict[str, Any] = json.loads(capsys.readouterr().out)
    return data


def states(data: dict[str, Any]) -> dict[str, str]:
    return {chip["chip"]: chip["state"] for chip in data["chips"]}


def test_before_anything_is_recorded(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert states(listed(capsys)) == {"U1": "unrecorded", "U2": "unrecorded"}
    assert not (weir / "burned.jsonl").exists()


def test_a_record_says_what_went_into_the_socket(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sums by plain lines and by zlib's CRC-32, not by the code under test."""
    import zlib

    image = (weir / "build" / "U1.bin").read_bytes()
    assert run(["burned", "U1", "--note", "bench", "--date", "2026-03-04"]) == 0
    (line,) = (weir / "burned.jsonl").read_text().splitlines()
    assert json.loads(line) == {
        "chip": "U1", "sha256": hashlib.sha256(image).hexdigest(), "crc32": f"{zlib.crc32(image):08X}",
        "sum16": f"{sum(image) % 65536:04X}", "size": len(image), "date": "2026-03-04T00:00:00Z", "revision": "",
        "modified": False, "machine": "weir", "note": "bench"}
    assert states(listed(capsys)) == {"U1": "same", "U2": "unrecorded"}


def test_after_a_change_only_the_chips_that_differ_are_due(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["burned", "U1", "U2"])
    assert states(listed(capsys)) == {"U1": "same", "U2": "same"}
    rework(weir, "rest 3", "rest 4")                # bits 3 .. 0, so U2
    run(["build", "--quiet"])
    assert states(listed(capsys)) == {"U1": "same", "U2": "differs"}
    run(["burned"])
    assert capsys.readouterr().out.splitlines()[0] == "to burn: 1 of 2: U2"
    run(["burned", "U2"])
    capsys.readouterr()
    run(["burned"])
    assert capsys.readouterr().out.splitlines()[0] == "every socket holds its chip of this build"


def test_the_old_set_comes_back_byte_for_byte(weir: Path) -> None:
    old = {name: (weir / "build" / name).read_bytes() for name in ("U1.bin", "U2.bin")}
    run(["burned", "U1", "U2"])
    rework(weir, "lift, rest 3", "lower, rest 9")
    run(["build", "--quiet"])
    assert {name: (weir / "build" / name).read_bytes() for name in old} != old
    assert run(["burned", "--restore", "again"]) == 0
    assert {name: (weir / "again" / name).read_bytes() for name in os.listdir("again")} == old


def test_a_lost_image_is_told_and_nothing_is_restored(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["burned", "U1", "U2"])
    os.unlink(weir / "burned" / os.listdir("burned")[0])
    assert run(["burned", "--restore", "again"]) == 1
    assert "error[lost-image]" in capsys.readouterr().out
    assert not (weir / "again").exists()


def test_nothing_is_restored_over_other_files(weir: Path) -> None:
    run(["burned", "U1"])
    (weir / "notes").mkdir()
    (weir / "notes" / "U1.bin").write_text("mine")
    assert run(["burned", "--restore", "notes"]) == 2
    assert (weir / "notes" / "U1.bin").read_text() == "mine"


def test_an_unknown_chip_names_the_nearest_and_nothing_is_recorded(
    weir: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["burned", "U1", "U3"]) == 2
    assert "no chip `U3`. Did you mean `U1`?" in " ".join(capsys.readouterr().err.split())
    assert not (weir / "burned.jsonl").exists()


def test_a_build_older_than_its_sources_is_told(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rework(weir, "rest 3", "rest 4")
    assert run(["burned", "U1"]) == 1
    assert "warning[sources-changed]" in (said := capsys.readouterr().out) and "weir.micro" in said
    assert listed(capsys)["chips"][0]["burned"]["modified"] is True


def test_an_edited_image_is_not_recorded(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (weir / "build" / "U1.bin").write_bytes(b"\0" * 16)
    assert run(["burned", "U1", "U2"]) == 1
    assert "error[damaged-build]" in capsys.readouterr().out
    assert not (weir / "burned.jsonl").exists()


def test_without_a_build_there_is_nothing_to_record(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["burned", "U1", "--build", "elsewhere"]) == 2
    assert "run `ordain build`" in capsys.readouterr().err


def test_the_revision_of_the_sources(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Held against what git itself says."""
    def git(*arguments: str) -> str:
        return subprocess.run(["git", "-c", "user.name=a", "-c", "user.email=a@b", *arguments], check=True,
                              capture_output=True, text=True).stdout.strip()

    git("init", "-q")
    git("add", "weir.machine", "weir.micro")
    git("commit", "-qm", "first")
    run(["burned", "U1"])
    rework(weir, "rest 3", "rest 4")
    run(["build", "--quiet"])
    run(["burned", "U2"])
    one, two = (chip["burned"] for chip in listed(capsys)["chips"])
    assert (one["revision"], one["modified"]) == (git("rev-parse", "HEAD"), False)
    assert (two["revision"], two["modified"]) == (git("rev-parse", "HEAD"), True)


def test_an_earlier_date_is_told(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["burned", "U1", "--date", "2026-03-04"]) == 0
    assert run(["burned", "U1", "--date", "2026-03-03T23:59:59Z"]) == 1
    assert "warning[earlier-date]" in capsys.readouterr().out
    assert run(["burned", "U1", "--date", "2026-02-30"]) == 2


def test_a_torn_ledger_is_told_refused_and_repaired(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["burned", "U1"])
    with open(weir / "burned.jsonl", "a") as ledger:
        ledger.write('{"chip": "U2')
    assert run(["burned"]) == 1
    assert "warning[torn-ledger]" in capsys.readouterr().out
    assert run(["burned", "U2"]) == 2
    assert "--repair" in capsys.readouterr().err
    assert run(["burned", "--repair"]) == 0
    assert (weir / "burned.torn").read_text() == '{"chip": "U2\n'
    assert run(["burned", "U2"]) == 0
    assert states(listed(capsys)) == {"U1": "same", "U2": "same"}


def test_two_machines_in_one_directory_keep_their_chips_apart(weir: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["burned", "U1"])
    other = {**json.loads((weir / "burned.jsonl").read_text()), "machine": "mill", "sha256": "0" * 64}
    with open(weir / "burned.jsonl", "a") as ledger:
        ledger.write(json.dumps(other) + "\n")
    assert states(listed(capsys)) == {"U1": "same", "U2": "unrecorded"}
