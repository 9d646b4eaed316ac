"""`ordain follow` as people use it, and everything that they may get wrong."""

import json
from pathlib import Path

import pytest

from ordain.capture.read import read_capture
from ordain.cli.main import run as command
from tests.follow.sampled import Analyzer, dump, rows, samples, session

MACHINE = """\
machine lathe "a ring of five words, and a switch that is asked"
microprogram "lathe.micro"
store control 8 words of 8 bits
    address upc
field branch 2 bits
    step  0 idle
    jump  1
    asked 2
field target 3 bits address, idle 0
field cut  1 bit
field turn 1 bit, active low
spare 1 bit
state upc 3 bits, reset 0
    next choose branch
        step      : upc + 1
        jump      : target
        asked     : target if key else upc + 1
        otherwise : 0
input key 1 bit
bus feed 1 bit, floats
    driven by cutter when cut
    driven by turner when turn
home begin
order goto <there>: branch jump, target <there>
order if key goto <there>: branch asked, target <there>
chip U1 8 x 8
    holds branch, target, cut, turn, spare
    address upc
probes pod
    clock clk rising
    {A2, A1, A0} upc, C cut, T turn
"""
MICRO = """\
routine begin at 0
        cut
        turn
        if key goto long
        goto begin
routine long
        cut, goto begin
"""
KEYS = (0, 1)
NAMES = ["A0", "A1", "A2", "C", "T", "clk"]
WORDS = {0: 0b11000, 1: 0b00001, 2: 0b10010, 3: 0b10011, 4: 0b11100}
"""By hand: A0 A1 A2 C T from the lowest bit on; T is low while `turn` is asserted."""


def run_of(*addresses: int) -> list[int]:
    return [WORDS[address] for address in addresses]


SOUND = run_of(*[0, 1, 2, 3, 0, 1, 2, 4] * 6, 0)


@pytest.fixture
def lathe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "lathe.machine").write_text(MACHINE)
    (tmp_path / "lathe.micro").write_text(MICRO)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def seen(words: list[int], rate: float = 8.0) -> list[int]:
    from random import Random

    return samples(words, 5, Analyzer(rate), Random(1))


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    status = command(["follow", *arguments])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return status, out + err


def test_a_capture_in_the_machines_own_words(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session(lathe / "c.sr", NAMES, seen(SOUND))
    status, text = said(capsys, "c.sr", "--all")
    lines = text.splitlines()
    assert status == 0 and "48 clocks explained, all that there are; in the end in one state" in text
    assert "before the rising edge of clk, a clock of 800 ns" in text
    rows_of = [line.split(maxsplit=5) for line in lines[1:9]]
    assert [row[3] for row in rows_of] == ["0", "1", "2", "3", "0", "1", "2", "4"]
    assert rows_of[0][4:] == ["begin", "cut   feed: cutter"] and rows_of[7][4] == "long"


@pytest.mark.parametrize("form", ["dump", "rows", "changes"])
def test_the_other_formats(form: str, lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = seen(SOUND)
    if form == "dump":
        dump(lathe / "c", NAMES, found)
    else:
        rows(lathe / "c", NAMES, found, form == "changes")
    status, text = said(capsys, "c")
    assert status == 0 and "48 clocks explained" in text


def test_the_first_clock_that_cannot_be(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """After word 2 come 3 or, with the key, 4; seen is word 1. T is wrong in both, and A1 and A2 at once."""
    session(lathe / "c.sr", NAMES, seen(run_of(0, 1, 2, 3, 0, 1, 2) + run_of(1, 2, 3, 0, 1, 2, 3, 0)))
    status, text = said(capsys, "c.sr")
    assert status == 1 and "7 clocks explained, the next one is not" in text and "clock 8, 6.4 us" in text
    assert "cannot be, whatever the rest is: turn 0" in text
    assert "possible: 3 begin+3, with upc[1] 1, turn 1; by not key in the clock before" in text
    assert "possible: 4 long, with" in text and "; by key in the clock before" in text
    assert "U1.D1" in text and "control at" in text


def test_lines_that_cannot_be_at_once(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of the address alone, 3 or 4 can come after 2, so no single line is wrong when 7 is seen."""
    session(lathe / "c.sr", [*NAMES[:3], "clk"], [word & 7 | word >> 5 << 3 for word in seen(
        [*run_of(0, 1, 2), 7, *run_of(0, 1, 2, 3, 0, 1)])])
    status, text = said(capsys, "c.sr", "--clock", "clk")
    assert status == 1 and "cannot be at once: " in text
    first = text.partition("cannot be at once: ")[2].splitlines()[0]
    assert "upc[2] 1" in first and ("upc[0] 1" in first or "upc[1] 1" in first)


def test_as_data(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session(lathe / "c.sr", NAMES, seen(run_of(0, 1, 2, 1, 2, 3, 0, 1, 2, 3, 0)))
    assert command(["follow", "c.sr", "--format", "json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["clocks"] == 3 and data["broken"]["clock"] == 4 and data["broken"]["never"] == ["turn"]
    assert [one["addresses"] for one in data["broken"]["possible"]] == [{"control": 3}, {"control": 4}]
    session(lathe / "c.sr", NAMES, seen(SOUND))
    assert command(["follow", "c.sr", "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["broken"] is None


def test_what_was_seen_goes_into_a_dump_with_addresses(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Read back by our own reader, which is held to another one elsewhere."""
    session(lathe / "c.sr", [*NAMES[:3], "clk"], [word & 7 | word >> 5 << 3 for word in seen(SOUND)])
    assert said(capsys, "c.sr", "--vcd", "out.vcd", "--labels", "words.txt")[0] == 0
    made = read_capture(lathe / "out.vcd")
    address = [made.channels[f"lathe.control_address[{bit}]"] for bit in range(3)]
    events = list(made.events())
    told = [sum((word >> bit & 1) << place for place, bit in enumerate(address)) for _, word, unknown in events
            if not unknown]
    assert told[:8] == [0, 1, 2, 3, 0, 1, 2, 4] and abs(made.tick * events[3][0] - 3 * 8e-7) < 2e-7
    assert (lathe / "words.txt").read_text() == "0 begin\n1 begin+1\n2 begin+2\n3 begin+3\n4 long\n"


def test_every_sample_a_clock(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (lathe / "c.csv").write_text("A0,A1,A2,C,T\n" + "".join(
        ",".join(str(word >> bit & 1) for bit in range(5)) + "\n" for word in SOUND))
    status, text = said(capsys, "c.csv")
    assert status == 0 and f"{len(SOUND)} clocks explained" in text and "every sample is a clock" in text
    (lathe / "d.csv").write_text((lathe / "c.csv").read_text().replace("\n1,1,0,0,1", "\n1,0,1,0,1", 1))
    assert said(capsys, "d.csv", "--clock", "none")[0] == 1


def test_too_few_samples_a_clock(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two levels a clock are two samples at least; read at both edges as many as that for each."""
    session(lathe / "c.sr", NAMES, seen(SOUND, 2))
    status, text = said(capsys, "c.sr", "--edge", "both")
    assert status == 2 and "c.sr: fewer than two samples a clock, so clocks are missing in it" in text
    assert "take four samples a clock or more" in text
    assert said(capsys, "c.sr")[0] == 0


def test_from_reset_or_from_anywhere(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session(lathe / "c.sr", NAMES, seen(SOUND[2:]))
    assert said(capsys, "c.sr")[0] == 0
    assert said(capsys, "c.sr", "--from", "reset")[0] == 1
    assert said(capsys, "c.sr", "--from", "reset", "--skip", "6")[0] == 0
    assert "5 clocks explained" in said(capsys, "c.sr", "--cycles", "5")[1]


def test_other_names(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    session(lathe / "c.sr", ["1", "2", "3", "4", "5", "6"], seen(SOUND))
    clips = [part for pair in zip(["--clip"] * 4, ["1=upc[0]", "2=upc[1]", "4=cut", "5=turn"]) for part in pair]
    status, text = said(capsys, "c.sr", *clips)
    assert status == 0 and "edge of 6" in text
    assert said(capsys, "c.sr", *clips[:-1], "5=not turn")[0] == 1
    session(lathe / "d.sr", ["top.upc[0]", "top.upc[1]", "upc[2]", "cut", "x", "ck"], seen(SOUND))
    assert said(capsys, "d.sr")[0] == 0


RULES = """\
signal cutting = cut
strobe cutting
    feed steady 0 cycles before, 0 cycles after
rule "back in time" when at long then at begin within 2 cycles
rule "ends soon"    when turn then at begin within 1 cycle
rule "never long"   never at long
rule "both at once" reach cut and turn
rule "was turned"   never prior(turn) and cut
rule "one round"    between at begin and at begin never turn
rule "and no more"  between at begin and at begin never turn after turn
rule "back first"   after at long never turn until at begin
"""


def test_what_a_capture_says_of_the_rules(lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By hand, in 0 1 2 3 0 1 2 4 six times over: `long` comes six times, and `begin` right after it; after `turn`, in
    word 1, `begin` comes three clocks later, which is late; cutting lasts one clock in words 0, and goes on from word 4
    to the word 0 after it. The first run of a strobe is not whole, since it may have begun before the capture."""
    (lathe / "lathe.machine").write_text(MACHINE.replace("home begin\n", RULES + "home begin\n"))
    session(lathe / "c.sr", NAMES, seen(SOUND))
    status, text = said(capsys, "c.sr", "--rules")
    told = text.partition("over the capture:")[2].splitlines()
    rules = {line[2:14].rstrip(): line[14:].strip() for line in told if line}
    assert status == 0 and rules == {
        "back in time": "5 times, 1 clock, 2 allowed", "ends soon": "11 times, 3 clocks, 1 allowed; late in clock 4",
        "never long": "held 6 times, first in clock 8", "both at once": "not seen", "was turned": "never held for sure",
        "cutting": "11 times, 1 to 2 clocks",
        "one round": "11 times from beginning to end, 4 clocks; broken in clock 2",
        "and no more": "11 times from beginning to end, 4 clocks; not broken",
        "back first": "5 times from beginning to end, 1 clock; not broken"}
    assert command(["follow", "c.sr", "--rules", "--format", "json"]) == 0
    data = json.loads(capsys.readouterr().out)["measured"]
    assert {one["text"]: one["times"] for one in data}["ends soon"] == 11
    session(lathe / "c.sr", [*NAMES[:3], "clk"], [word & 3 | word >> 5 << 3 for word in seen(SOUND)])
    assert "not sure" in said(capsys, "c.sr", "--rules", "--clip", "A0=key", "--clock", "clk")[1]


@pytest.mark.parametrize(("arguments", "says"), [
    (["none.sr"], "none.sr"), (["c.sr", "--clip", "9=cut"], "no channel `9`"), (["c.sr", "--clip", "C"], "is no clip"),
    (["c.sr", "--clip", "C=ctu"], "Did you mean `cut`?"), (["c.sr", "--clip", "C=upc"], "has the bits 0 to 2"),
    (["c.sr", "--clip", "C=upc[3]"], "has the bits 0 to 2"), (["c.sr", "--clip", "C=cut and turn"], "is no line"),
    (["c.sr", "--probes", "pad"], "there are: pod"), (["c.sr", "--clock", "D9"], "there are: A0"),
    (["c.sr", "--clock", "still"], "no two edges"), (["rubbish"], "binary"), (["cut.sr"], "archive is broken"),
    (["other.sr"], "no channel of the capture is at a line"), (["late.vcd"], "time goes back"),
    (["short.sr"], "no channel looks like a clock")])
def test_what_can_be_wrong(arguments: list[str], says: str, lathe: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = seen(SOUND)
    whole = session(lathe / "c.sr", [*NAMES, "still"], found).read_bytes()
    (lathe / "cut.sr").write_bytes(whole[:len(whole) // 2])
    (lathe / "rubbish").write_bytes(bytes(range(256)) * 9)
    session(lathe / "other.sr", ["p", "q", "r", "s", "v", "u"], found)
    session(lathe / "short.sr", NAMES[:5], found[:20])
    text = dump(lathe / "late.vcd", NAMES, found).read_text().splitlines()
    (lathe / "late.vcd").write_text("\n".join([*text, "#3", "0!", ""]))
    status, told = said(capsys, *arguments)
    assert status == 2 and says in told, told


@pytest.mark.parametrize("polarity", [", active low", ""])
def test_what_a_run_writes_is_explained_also_where_a_strobe_is_a_field_that_is_active_low(
        capsys: pytest.CaptureFixture[str], tmp_path: Path, polarity: str) -> None:
    """In a dump a strobe is 1 while it is active; the line of an active low field is 0 then, and has another name."""
    machine = MACHINE.replace("active low", "active low" if polarity else "idle 0") + "strobe turn\n"
    (tmp_path / "lathe.machine").write_text(machine)
    (tmp_path / "lathe.micro").write_text(MICRO)
    dumped = tmp_path / "run.vcd"
    assert command(["run", "-m", str(tmp_path), "--cycles", "12", "--vcd", str(dumped)]) == 0
    assert (" turn_active " in dumped.read_text(), " turn " in dumped.read_text()) == (bool(polarity), not polarity)
    capsys.readouterr()
    assert command(["follow", str(dumped), "-m", str(tmp_path)]) == 0
    assert "11 clocks explained, all that there are" in capsys.readouterr().out
