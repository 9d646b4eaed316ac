"""What a run meets on its way, what it is told from outside, and what it writes: a machine small enough to read."""

import io
import json
import os
import signal
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest

from ordain.cli.main import run

reader = pytest.importorskip("vcd.reader", reason="install the Python package pyvcd to have dumps read back")

MACHINE = """\
machine dock
microprogram "m.micro"
store control 16 words of 8 bits
    address count
field low 1 bit
field high 1 bit
field write 1 bit
field load 1 bit
field send 1 bit
spare 3 bits
state count 4 bits, reset 0
    next count if stay else count + 1
input stay 1 bit, key 4 bits, colour (red, green, blue)
register mar 4 bits, loads data when load, reset 3
register never_loaded 4 bits, loads data when load and send
memory ram 16 words of 4 bits
    address place
    writes data when write
bus place 4 bits, multiplexed
    driven by mar
bus data 4 bits, floats
    driven by zero = 0x0 when low
    driven by keys = key when high
    sampled by lamp when send
strobe write
    place steady 1 cycle before, 1 cycle after
rule "over is the end" after at over never write until at main
visible mar, ram
"""
QUIET = ("low", "high", "high", "low", "over: low", "low")


@pytest.fixture(autouse=True)
def wide(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")


def put(directory: Path, words: tuple[str, ...] = QUIET, machine: str = MACHINE) -> None:
    rest = ["low"] * (16 - len(words))
    rest[-1:] = ["low" if any(word.startswith("over:") for word in words) else "over: low"]
    (directory / "m.machine").write_text(machine)
    (directory / "m.micro").write_text("".join(["routine main at 0\n", *(f"    {word}\n" for word in (*words, *rest))]))


def said(capsys: pytest.CaptureFixture[str], directory: Path, *arguments: str) -> tuple[int, str]:
    status = run(["run", "-m", str(directory), "--cycles", "9", *arguments])
    captured = capsys.readouterr()
    return status, captured.out + captured.err


# ---------------------------------------------------------------- what is watched


@pytest.mark.parametrize(("words", "told"), [
    (("low", "low, high"),
     "error[contention]: cycle 2: two drivers share bus `data` at `main+1` (0x1): `zero` and `keys`"),
    (("low", "low, load", "low, write"),
     "error[missing-hold]: cycle 3: bus `place` is not steady for 1 cycle before strobe `write` at `main+2` (0x2)"),
    (("low", "low, write, load", "low"),
     "error[missing-hold]: cycle 3: bus `place` is not held for 1 cycle after strobe `write`: it changes at `main+2`"),
    (("low", "over: low", "low", "low, write"),
     'error[after-never]: cycle 4: the rule "over is the end" is broken at `main.over+2` (0x3)'),
])
def test_what_is_broken_ends_a_run(words: tuple[str, ...], told: str, tmp_path: Path,
                                   capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path, words)
    status, out = said(capsys, tmp_path)
    assert status == 1
    assert told in out and "1 error\n" in out and "stopped at a fault" in out


@pytest.mark.parametrize("words", [
    ("low", "high"), ("low, load", "low", "low, write"), ("low", "low, write", "low, load"),
    ("low", "low, write", "over: low", "low")])
def test_what_is_as_it_should_be_does_not(words: tuple[str, ...], tmp_path: Path,
                                          capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path, words)
    status, out = said(capsys, tmp_path)
    assert status == 0 and "dock: 9 cycles; stopped after as many cycles as it was given" in out


def test_what_is_allowed_is_no_fault(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("low", "low, high", "over: low")
    put(tmp_path, words, MACHINE + 'allow contention on data at main "resistors"\n')
    assert said(capsys, tmp_path)[0] == 0
    put(tmp_path, words, MACHINE + 'allow contention on data at over "resistors"\n')
    assert said(capsys, tmp_path)[0] == 1


def test_the_last_cycles_are_drawn_with_what_stood_on_the_buses(tmp_path: Path,
                                                                capsys: pytest.CaptureFixture[str]) -> None:
    """Fourteen cycles; the twelve up to the fault are drawn. Memory, which cycle 6 overwrites, is read as it was."""
    lamp = "    sampled by lamp when send\n"
    machine = MACHINE.replace(lamp, f"    driven by ram when send\n{lamp}")
    put(tmp_path, ("low", "over: low", "send", "high", "high", "high", "send", "low", "low", "low", "low", "low", "low",
                   "low, high"), machine.replace("writes data when write", "writes data when at_6").replace(
                       "strobe write", "signal at_6 = count is 5\nstrobe write"))
    status, out = said(capsys, tmp_path, "--cycles", "20", "--put", "ram@3=9", "--with", "key=6")
    lines = {row[:10].strip(): row[12:] for row in out.splitlines() if row[10:12] == "  "}
    assert status == 1
    assert lines["cycle"].split() == [str(number) for number in range(3, 15)]
    assert [part.strip() for part in lines["data"].split("|")[1:]] == [
        "ram 9", "keys 6", "ram 6", "zero 0", "!! zero + keys !!"]


# ---------------------------------------------------------------- from outside

SCRIPT = """\
key = 5, colour = green          # as the keys stand at first
at cycle 3: stay = 1 for 2 cycles
when count is 4: key = (0x7, 0xA)
"""


def test_a_script_moves_the_inputs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Held in cycles 3 and 4, word 2 is there for three cycles; count is 4 in cycle 7, and the key moves in cycle 8."""
    put(tmp_path, ("high, load",) * 7)
    (tmp_path / "s").write_text(SCRIPT)
    status, out = said(capsys, tmp_path, "--script", str(tmp_path / "s"), "--each", "cycle")
    rows = [line.split() for line in out.splitlines()[1:-2]]
    assert status == 0
    assert [row[1] for row in rows] == ["0", "1", "2", "2", "2", "3", "4", "5", "6"]
    assert [row[-1] for row in rows if row[-1].startswith("mar")] == ["mar=5", "mar=7"]
    assert said(capsys, tmp_path, "--script", str(tmp_path / "s"), "--with", "key=1@1-", "--expect", "mar=1")[0] == 0


@pytest.mark.parametrize(("text", "told"), [
    ("kee = 1", "error[unknown-name]: no input or condition is called `kee`"),
    ("key = 16", "error[too-wide]: `16` is no value of `key`"),
    ("colour = pink", "error[unknown-code]: `pink` is no value of `colour`"),
    ("colour = 3", "error[too-wide]: `3` is no value of `colour`"),
    ("at cycle 0: key = 1", "error[syntax]: cycles are counted from 1"),
    ("at cycle x: key = 1", "error[syntax]: a number of cycles should stand here, and there is `x`"),
    ("at cycle 3 key = 1", "error[syntax]: a colon, and then what is set should stand here, and there is `key`"),
    ("when nosuch: key = 1", "error[unknown-name]: nothing is called `nosuch`"),
    ("when at nosuch: key = 1", "error[unknown-name]: no label or instruction is called `nosuch`"),
    ("when mar: key = 1", "error["),
    ("while stay: key = 1 for 2 cycles", "error[syntax]: `while` says already how long"),
    ("key = 1 for 2 phases", "error[syntax]: nothing in this machine depends on which phase it is"),
    ("key = (1, 2", "error[unclosed-bracket]"),
    ("key = 1 2", "error[syntax]: the end of the line should stand here, and there is `2`"),
    ("every 3: key = 1", "error[syntax]: `cycles` should stand here, and there is `:`"),
    ("device lamp = data", "error[syntax]: `when`, and then the condition"),
    ("device lamp = nosuch when stay", "error[unknown-name]: nothing is called `nosuch`"),
    ("key = 1\n  stay = 1", "error[indentation]"),
    ("key\t= 1", "error[tab]"),
    ("key = 1\0", "error[binary-file]"),
])
def test_a_script_that_cannot_be_followed_says_where(text: str, told: str, tmp_path: Path,
                                                     capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path)
    (tmp_path / "s").write_text(text)
    status, out = said(capsys, tmp_path, "--script", str(tmp_path / "s"))
    assert status == 1 and told in out and "dock:" not in out
    assert f"{tmp_path / 's'}:" in out or "binary" in told


def test_a_script_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path)
    assert said(capsys, tmp_path, "--script", str(tmp_path / "nosuch"))[0] == 2


def test_what_devices_were_sent_and_what_is_not_known_of_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The lamp samples data; the plotter is named here. Nobody drives in the word `send`."""
    put(tmp_path, ("low, send", "high, send", "send", "over: low"))
    (tmp_path / "s").write_text("key = 9\ndevice plotter = never_loaded[1:0] when count is 1\n")
    status, out = said(capsys, tmp_path, "--script", str(tmp_path / "s"), "--each", "sent")
    assert status == 1
    assert out.splitlines()[:5] == ["  cycle  device   takes", "  1      lamp     0", "  2      lamp     9",
                                    "  2      plotter  x", "  3      lamp     x"]
    assert "`plotter` takes bits in cycle 2 that have no known value\n  note: `never_loaded` was never loaded" in out
    assert "`lamp` takes bits in cycle 3 that have no known value\n  note: `data` floats" in out
    status, out = said(capsys, tmp_path, "--device", "counter = {0b0, count} when stay", "--with", "stay=1@4",
                       "--each", "sent", "--format", "json")
    assert [one for one in json.loads(out)["sent"] if one["device"] == "counter"] == [
        {"cycle": 4, "device": "counter", "value": "03"}]


@pytest.mark.parametrize("text", ["lamp", "x = data", "x = nosuch when stay", "x = data when mar",
                                  "x = data when stay 5"])
def test_a_device_that_cannot_be_read(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path)
    status, out = said(capsys, tmp_path, "--device", text)
    assert status == 1 and "--device:1:" in out


def test_a_memory_that_is_written_nobody_knows_where(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path, ("low", "low, write"), MACHINE.replace("data when load, reset 3", "data when load"))
    status, out = said(capsys, tmp_path, "--put", "ram@0=1", "--dump", "ram@0-1")
    assert status == 1
    assert "warning[unknown-address]: `ram` is written in cycle 2 at an address that is not known" in out
    assert "note: `mar` was never loaded" in out and out.splitlines()[-1] == "ram 0  x x"


# ---------------------------------------------------------------- files


def test_memory_goes_into_files_and_comes_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path)
    for form in ("bin", "hex", "s19", "mem"):
        file = tmp_path / f"ram.{form}"
        assert said(capsys, tmp_path, "--put", "ram@4=1 2 3", "--dump", f"ram@4-6={file}")[0] == 0
        assert said(capsys, tmp_path, "--load", f"ram@9={file}", "--expect", "ram@9=1", "--expect", "ram@b=3")[0] == 0
    for form in ("hex", "s19", "mem"):
        file = tmp_path / f"gap.{form}"
        assert said(capsys, tmp_path, "--put", "ram@5=1", "--put", "ram@7=2", "--dump", f"ram@4-8={file}")[0] == 0
        status, out = said(capsys, tmp_path, "--load", f"ram@4={file}", "--dump", "ram@4-8")
        assert out.splitlines()[-1] == "ram 4  x 1 x 2 x", form
    (tmp_path / "gap.bin").write_text("as it was")
    status, out = said(capsys, tmp_path, "--put", "ram@4=1", "--dump", f"ram@4-8={tmp_path / 'gap.bin'}")
    assert status == 1 and "error[unknown-word]: `ram` holds nothing known at 5" in out
    assert (tmp_path / "gap.bin").read_text() == "as it was"
    assert said(capsys, tmp_path, "--dump", f"ram@4-8={tmp_path / 'gap.txt'}")[0] == 2


def dumped(text: str) -> dict[str, list[str]]:
    """By pyvcd's tokenizer, which shares no code with ours: the value of each variable in each cycle of ten units."""
    names: dict[str, str] = {}
    scope: list[str] = []
    values: dict[str, str] = {}
    found: dict[str, list[str]] = {}
    now = 0

    def until(time: int) -> None:
        for at in range(now, time):
            if at % 10 == 1:
                for code, name in names.items():
                    found.setdefault(name, []).append(values[code])

    for token in reader.tokenize(io.BytesIO(text.encode())):
        match token.kind:
            case reader.TokenKind.SCOPE:
                scope.append(token.scope.ident)
            case reader.TokenKind.UPSCOPE:
                scope.pop()
            case reader.TokenKind.VAR:
                names[token.var.id_code] = "/".join([*scope[1:], token.var.reference])
            case reader.TokenKind.CHANGE_TIME:
                until(token.time_change)
                now = token.time_change
            case reader.TokenKind.CHANGE_SCALAR:
                values[token.scalar_change.id_code] = token.scalar_change.value
            case reader.TokenKind.CHANGE_VECTOR:
                value = token.vector_change.value
                values[token.vector_change.id_code] = value if isinstance(value, str) else str(value)
    return found


def test_a_dump_has_every_line_in_every_cycle(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path, ("low", "high, load", "send", "high", "over: low"))
    file = tmp_path / "out.vcd"
    assert said(capsys, tmp_path, "--with", "key=6@2", "--with", "key=5@4", "--vcd", str(file))[0] == 1
    found = dumped(file.read_text())
    assert found["count"] == [str(at) for at in range(9)]
    assert found["key"] == ["0", "6", "0", "5", "0", "0", "0", "0", "0"]
    assert found["mar"] == ["3", "3", "6", "6", "6", "6", "6", "6", "6"]
    assert found["never_loaded"] == ["x" * 4] * 9
    assert [value[:1] for value in found["bus_data/level"]] == ["0", "6", "z", "5", "0", "0", "0", "0", "0"]
    assert found["bus_data/driven_by_keys"] == ["0", "1", "0", "1", "0", "0", "0", "0", "0"]


def test_a_dump_that_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path)
    status, out = said(capsys, tmp_path, "--vcd", str(tmp_path / "nosuch" / "out.vcd"))
    assert status == 2 and "nosuch" in out and "dock" not in out


def test_a_run_that_is_broken_off_says_where_it_stood(tmp_path: Path) -> None:
    """By Ctrl-C: status 130, and a dump that ends with a whole cycle. By a kill: what was there before is there."""
    put(tmp_path)
    file = tmp_path / "out.vcd"
    file.write_text("as it was")
    command = [sys.executable, "-m", "ordain", "run", "-m", str(tmp_path), "--cycles", "100000000", "--each", "nothing",
               "--vcd", str(file)]
    for signal_, status in ((signal.SIGKILL, -9), (signal.SIGINT, 130)):
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=dict(os.environ)) as started:
            while not any(one.stat().st_size > 20_000 for one in tmp_path.glob(".out.vcd.new-*")):
                assert started.poll() is None
                time.sleep(0.02)
            started.send_signal(signal_)
            out, _ = started.communicate(timeout=60)
        assert started.returncode == status
        if status != 130:
            assert file.read_text() == "as it was"
        for left in tmp_path.glob(".out.vcd.new-*"):
            assert status != 130
            left.unlink()
    cycles = int(out.split("dock: ")[1].split()[0])
    assert "interrupted" in out
    found = dumped(file.read_text())
    assert cycles - 1 <= len(found["count"]) <= cycles
    assert all((int(one) + 1) % 16 == int(other) for one, other in pairwise(found["count"]))


# ---------------------------------------------------------------- what is not known, and clocks that stand still


@pytest.mark.parametrize(("words", "told"), [
    (("low", "load, send", "low"), "`mar` got it in cycle 2, because `data` floats"),
    (("load, send", "low", "load, send", "low"), "`mar` got it in cycle 3, because `data` floats"),
    (("low", "send", "low"), "`mar` was never loaded"),
])
def test_a_register_loaded_with_bits_that_are_not_known_was_loaded(
        words: tuple[str, ...], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing was known of it before, either: the load changes nothing that is known."""
    put(tmp_path, (*words, "low, send"), MACHINE.replace("data when load, reset 3", "data when load"))
    out = said(capsys, tmp_path, "--each", "nothing", "--device", f"plotter = mar when count is {len(words)}")[1]
    assert f"`plotter` takes bits in cycle {len(words) + 1} that have no known value\n  note: {told}\n" in out


HELD = MACHINE + """clock clk (one, two)
    held while key is 9 and clk is two
register seen 1 bit, loads 1 when load, on one
"""


def test_a_clock_that_stands_still_is_told_once_with_what_lets_it_go(tmp_path: Path,
                                                                    capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path, machine=HELD)
    status, out = said(capsys, tmp_path, "--with", "key=9@2-3", "--each", "cycle")
    lines = out.splitlines()
    assert status == 0 and len(lines) == 9
    assert [line.split()[:3] for line in lines[1:4]] == [["1", "one", "0"], ["1", "two", "0"], ["2", "one", "1"]]
    assert lines[4].split()[:3] == ["2", "two", "1"]
    assert lines[5].split(maxsplit=1) == ["...", "the same for 4095 phases more: the clock is held"]
    assert lines[6] == "dock: 2 cycles; stopped because its clock stands still"
    assert "`when CONDITION: NAME = VALUE for N phases`" in lines[7]


@pytest.mark.parametrize(("phases", "told"), [(2, 0), (3, 1), (9, 1)])
def test_what_a_script_lets_go_after_some_phases_goes_on(phases: int, told: int, tmp_path: Path,
                                                         capsys: pytest.CaptureFixture[str]) -> None:
    """What the line about a clock that stands still says, done: it is held in so many phases from the second of cycle 2
    on, and there is one more."""
    put(tmp_path, machine=HELD)
    (tmp_path / "s").write_text(f"when count is 1: key = 9 for {phases} phases\n")
    out = said(capsys, tmp_path, "--script", str(tmp_path / "s"), "--each", "cycle")[1]
    here = [line for line in out.splitlines() if line.startswith("  2 two")]
    assert "dock: 9 cycles; stopped after as many" in out
    assert (len(here), f"the same for {phases} phases more" in out) == ((1, True) if told else (phases + 1, False))
