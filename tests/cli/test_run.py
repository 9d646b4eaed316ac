"""`ordain run` as a user calls it, on the reference machine and on what is no use to it."""

import json
import shlex
from pathlib import Path

import pytest

from ordain.cli.main import run
from tests.cli.shell import change, write_starter

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


# ---------------------------------------------------------------- what is there at power-up


@pytest.fixture
def lamp(tmp_path: Path) -> Path:
    """The starter, whose pointer may stand anywhere at power-up."""
    return write_starter(tmp_path)


def of_lamp(capsys: pytest.CaptureFixture[str], lamp: Path, *arguments: str) -> tuple[int, str]:
    status = run(["run", str(lamp), "--cycles", "12", *arguments])
    captured = capsys.readouterr()
    return status, captured.out + captured.err


def test_a_register_begins_with_what_it_was_put_to(lamp: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From E on two bytes are filled, in eight cycles after the first; the run says what it rests on."""
    status, out = of_lamp(capsys, lamp)
    assert status == 1 and "or say what it holds at power-up (--put)" in " ".join(out.split())
    status, out = of_lamp(capsys, lamp, "--put", "pointer=3", "--put", "pointer=E", "--put", "memory@0=AA",
                          "--dump", "memory@0-F")
    assert status == 0
    assert out.splitlines()[-3:] == [
        "pointer=0, copy=55, lamps=AA", "assumed at power-up: pointer=E",
        "memory 0  AA xx xx xx xx xx xx xx xx xx xx xx xx xx 55 55"]


def test_a_program_is_told_what_was_assumed(lamp: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = of_lamp(capsys, lamp, "--put", "pointer=E", "--put", "lamps=7", "--format", "json")[1]
    assert json.loads(out)["assumed"] == {"pointer": "E", "lamps": "07"}
    assert json.loads(of_lamp(capsys, lamp, "--format", "json")[1])["assumed"] == {}


@pytest.mark.parametrize(("put", "told"), [
    ("pointr=3", "no memory, register or state is called `pointr`. Did you mean `pointer`?"),
    ("quartz=3", "There are: memory, pointer, copy, lamps"),
    ("pointer=10", "`10` is no value for `pointer`: write 4 bits in hexadecimal"),
    ("pointer=", "`` is no value for `pointer`"),
    ("pointer", "`` is no value for `pointer`"),
    ("pointer=-1", "`-1` is no value for `pointer`"),
    ("upc=3", "`upc` is 0 at power-up, the machine file says. Change its `reset`"),
    ("panel.mode=idle", "`panel.mode` is 0 at power-up"),
    ("pointer@0=3", "no memory is called `pointer`"),
])
def test_what_nothing_can_hold_at_power_up(lamp: Path, capsys: pytest.CaptureFixture[str], put: str, told: str) -> None:
    status, out = of_lamp(capsys, lamp, "--put", put)
    assert status == 2 and told in " ".join(out.split())


def test_a_state_of_any_value_and_a_latch_are_put_too(lamp: Path, capsys: pytest.CaptureFixture[str]) -> None:
    change(lamp, "register copy 8 bits\n",
           "state tide (low, high, slack), reset any\n    next tide\nlatch copy 8 bits\n")
    change(lamp, "visible pointer, ", "visible tide, pointer, ")
    out = of_lamp(capsys, lamp, "--put", "pointer=F", "--put", "tide=slack", "--put", "copy=9", "--cycles", "1")[1]
    assert "tide=2, pointer=F, copy=55" in out and "assumed at power-up: pointer=F, tide=2, copy=09" in out
    assert "`tide` has no such value: write one of low, high, slack" in of_lamp(capsys, lamp, "--put", "tide=3")[1]


@pytest.mark.parametrize("kind", ["next-address", "slices"])
def test_what_a_starter_tells_to_run_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str,
                                          capsys: pytest.CaptureFixture[str]) -> None:
    """Every line of its README that runs a program, as a new user types it."""
    monkeypatch.chdir(tmp_path)
    assert run(["new", "mill", "--kind", kind]) == 0
    monkeypatch.chdir(tmp_path / "mill")
    lines = [line.partition("    #")[0] for line in Path("README.md").read_text().splitlines()
             if line.startswith("    ordain run")]
    assert lines
    for line in lines:
        assert run(shlex.split(line)[1:]) == 0, line
    said_ = capsys.readouterr().out
    assert "not known" not in said_ and ("lamps=A5" in said_) == (kind == "next-address")


@pytest.mark.parametrize(("name", "content", "told"), [
    ("p.hex", b"38 05\n99\n", "`p.hex` has neither records of Intel HEX nor S-records"),
    ("p.S19", b"\x38\x05\x99", "`p.S19` has neither records of Intel HEX nor S-records"),
    ("p.txt", b"38 05\r\n99 // stop", "`p.txt` reads like hexadecimal text"),
    ("p.hex", b":03000000380599" b"27\n:00000001FF\n", ""),
    ("p.MEM", b"38 05\n99\n", ""),
    ("p.txt", b"38 05, 99", "where control goes"),                                    # bytes that are other words
    ("p.bin", b"38 05 99\n", "where control goes"),
])
def test_text_is_not_taken_for_raw_bytes(name: str, content: bytes, told: str, tmp_path: Path,
                                         capsys: pytest.CaptureFixture[str]) -> None:
    """The record's check sum by hand: 100 - (03 + 38 + 05 + 99) = 27."""
    (tmp_path / name).write_bytes(content)
    status, out = said(capsys, "--load", f"memory@E000={tmp_path / name}", *PROGRAM[2:], "--expect", "acc=05")
    assert status == int(bool(told)) and told in out
    assert ("error[not-raw]" in out) == ("would be taken for raw bytes" in out) == told.startswith("`p.")
