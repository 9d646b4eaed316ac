"""`ordain run` as a user calls it, on the reference machine and on what is no use to it."""

import json
from pathlib import Path

import pytest

from ordain.cli.main import run

HERON = str(Path(__file__).parents[2] / "microcode")
PROGRAM = ("--put", "memory@E000=38 05 00 07 49 40 20 99", "--until", 'at "stop"')


@pytest.fixture(autouse=True)
def wide(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    status = run(["run", "-m", HERON, *arguments])
    captured = capsys.readouterr()
    return status, captured.out + captured.err


def test_a_line_for_each_instruction(capsys: pytest.CaptureFixture[str]) -> None:
    status, out = said(capsys, *PROGRAM)
    assert status == 0
    assert out.splitlines() == [
        "  cycle  instruction    changed",
        "  1      (boot)         pc=E000",
        "  4      load a, n      pc=E002, acc=05, flags=0b0x0",
        "  10     add a, n       pc=E004, acc=0C, flags=0",
        "  16     store a, [nn]  pc=E007, memory[2040]=0C",
        "  26     stop           pc=E008",
        "heron: 29 cycles, 4 instructions; stopped as was asked",
        "acc=0C, tally=xx, flags=0, pc=E008, sp=xxxx, x=xxxx, y=xxxx"]


def test_what_was_expected_and_what_came(capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, *PROGRAM, "--each", "nothing", "--expect", "acc=0c", "--expect", "memory@2040=0C")[0] == 0
    status, out = said(capsys, *PROGRAM, "--quiet", "--expect", "acc=0d", "--expect", "memory@2041=0C")
    assert status == 1
    assert out.splitlines() == ["expected acc=0D, found 0C", "expected memory@2041=0C, found xx"]


def test_control_that_depends_on_what_nobody_wrote(capsys: pytest.CaptureFixture[str]) -> None:
    status, out = said(capsys, "--put", "memory@E000=38 05")
    assert status == 1
    assert "error[unknown-branch]: where control goes in cycle 13 is not known" in out
    assert "`ir` got it in cycle 11, because `memory` holds nothing known where it was read" in out


def test_how_far_it_goes(capsys: pytest.CaptureFixture[str]) -> None:
    assert "heron: 12 cycles, 1 instruction; stopped after as many cycles" in said(
        capsys, *PROGRAM, "--cycles", "12")[1]
    assert "heron: 12 cycles, 1 instruction; stopped after as many as" in said(
        capsys, *PROGRAM, "--instructions", "1")[1]


def test_files_come_first_and_words_over_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Four bytes as Intel HEX at 0002 of the file, from E000 on; the record's check sum by hand: 100 - (04 + 02 + 38 +
    05 + 99) = 24."""
    (tmp_path / "p.hex").write_text(":040002003805990024\n:00000001FF\n")
    status, out = said(capsys, "--load", f"memory@E000={tmp_path / 'p.hex'}", "--put", "memory@E000=38 09",
                       *PROGRAM[2:], "--dump", "memory@DFFF-E006")
    assert status == 0
    assert out.splitlines()[-1] == "memory DFFF  xx 38 09 38 05 99 00 xx"
    (tmp_path / "p.bin").write_bytes(b"\x38\x07\x99")
    assert said(capsys, "--load", f"memory@E000={tmp_path / 'p.bin'}", *PROGRAM[2:], "--expect", "acc=07")[0] == 0


@pytest.mark.parametrize(("arguments", "told"), [
    (("--put", "memry@0=1"), "no memory is called `memry`. Did you mean `memory`?"),
    (("--put", "memory@10000=1"), "`memory` ends at FFFF"),
    (("--put", "memory@FFFF=1 2"), "`memory` ends at FFFF"),
    (("--put", "memory@0=100"), "`100` is no word of 8 bits in hexadecimal"),
    (("--put", "memory@0=zz"), "`zz` is no word of 8 bits in hexadecimal"),
    (("--put", "memory@zz=1"), "write MEMORY@ADDRESS"),
    (("--load", "memory@0"), "names no file"),
    (("--load", "memory@0=nosuch.bin"), "there is no file `nosuch.bin`"),
    (("--until", "at nowhere"), "no label or instruction is called `nowhere`"),
    (("--until", "acc is"), "--until"),
    (("--until", "acc is 5 5"), "left over"),
    (("--until", "nosuch is 5"), "nothing is called `nosuch`"),
    (("--expect", "bcc=5"), "`bcc` is nothing that a programmer sees"),
    (("--expect", "acc=100"), "no value of 8 bits"),
    (("--dump", "memory@8-7"), "ends before it begins"),
    (("--with", "nosuch=1"), "nothing that can be set so is called `nosuch`"),
])
def test_what_cannot_be_run_says_why(arguments: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, out = said(capsys, *arguments)
    assert status == 2 and told in out


def test_json_has_every_cycle(capsys: pytest.CaptureFixture[str]) -> None:
    status, out = said(capsys, *PROGRAM, "--format", "json", "--expect", "acc=0d")
    data = json.loads(out)
    assert (status, data["ending"], data["cycles"], len(data["lines"])) == (1, "until", 29, 29)
    assert data["lines"][8] == {"cycle": 9, "address": data["lines"][8]["address"], "word": "load a, n+2",
                                "instruction": None, "changes": [{"name": "acc", "address": None, "value": "05"},
                                                                 {"name": "flags", "address": None, "value": "0b0x0"}]}
    assert data["held"]["acc"] == "0C" and data["missed"] == [{"name": "acc", "expected": "0D", "found": "0C"}]


def test_a_line_for_each_phase_has_its_name(capsys: pytest.CaptureFixture[str]) -> None:
    """Two lines a cycle, which said the same twice."""
    machine = str(Path(__file__).parents[2] / "examples" / "half-clock" / "mended")
    assert run(["run", "-m", machine, "--cycles", "2", "--each", "cycle"]) == 0
    assert [line.split()[:2] for line in capsys.readouterr().out.splitlines()[1:5]] == [
        ["1", "settle"], ["1", "act"], ["2", "settle"], ["2", "act"]]
    assert run(["run", "-m", machine, "--cycles", "2", "--each", "cycle", "--format", "json"]) == 0
    told = json.loads(capsys.readouterr().out)["lines"]
    assert [(line["cycle"], line["phase"]) for line in told] == [(1, "settle"), (1, "act"), (2, "settle"), (2, "act")]
    assert run(["run", "-m", HERON, "--cycles", "2", "--each", "cycle", "--format", "json"]) == 0
    assert all("phase" not in line for line in json.loads(capsys.readouterr().out)["lines"])
