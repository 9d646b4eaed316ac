"""`ordain step` and `ordain cycles` as people use them: arms, waits, what may be set, tables in the width there is."""

import json
from pathlib import Path

import pytest

from ordain.cli.main import run

TOP = Path(__file__).parents[2]

MACHINE = """\
machine kiln "instruction and step addressing, one condition"
microprogram "kiln.micro"
store control 64 words of 6 bits
    address     {warm_2, op, step}
    instruction op
    step        step
    unused      over
field over  1 bit
field stay  1 bit
field drive 1 bit
field lamp  1 bit
spare 2 bits
state step 3 bits, reset 0
    next 0 if over else (step if stay else step + 1)
input warm 1 bit
state warm_2 1 bit, reset 0
    next warm
register op 2 bits
    loads data when step is 0
bus data 2 bits, kept
    driven by memory when drive
home step is 0
order nothing :
"""

MICRO = """\
prologue
        drive
instruction 0 "short a, n"
        over
instruction 1 "wait"
    when warm_2
        over
    otherwise
        stay, lamp
instruction others "long"
        nothing
        nothing
        over
"""


@pytest.fixture
def kiln(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "kiln.machine").write_text(MACHINE)
    (tmp_path / "kiln.micro").write_text(MICRO)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> list[str]:
    assert run(list(arguments)) == 0
    return capsys.readouterr().out.splitlines()


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(list(arguments)) == 2
    return capsys.readouterr().err


@pytest.mark.parametrize(("options", "answer", "cycles", "other"), [
    (("--from", "warm_2=1"), "wait: 1 cycle, then the next instruction begins", 1, "--from warm_2=0"),
    (("--from", "warm_2=0"), "wait: with these inputs it goes round for ever, from cycle 1 on", 1, "--from warm_2=1"),
    (("--from", "warm_2=0", "--with", "warm=1@3-"), "wait: 4 cycles, then the next instruction begins", 4,
     "--from warm_2=1"),
])
def test_every_arm_can_be_played(options: tuple[str, ...], answer: str, cycles: int, other: str, kiln: Path,
                                 capsys: pytest.CaptureFixture[str]) -> None:
    lines = told(capsys, "step", "wait", *options)
    assert lines[0] == answer and f"  another arm: {other}" in lines
    assert len(json.loads("\n".join(told(capsys, "step", "wait", *options, "--format", "json")))["cycles"]) == cycles


def test_no_arm_is_told_where_all_words_are_the_same(kiln: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert not any("another arm" in line for line in told(capsys, "step", "long"))


def test_it_begins_in_a_state_that_some_sequence_reaches(kiln: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The opcode is there, and so is what only came with it; a state in which nobody comes to the word is refused."""
    (kiln / "kiln.machine").write_text(MACHINE + "state seen 1 bit, reset 0\n    next seen or op is 2\n")
    data = json.loads("\n".join(told(capsys, "step", "long", "--format", "json")))
    assert data["cycles"][0]["states"]["op"] == 2 and data["cycles"][0]["states"]["seen"] == 0
    assert data["ending"] == "until" and len(data["cycles"]) == 3
    (kiln / "kiln.machine").write_text(MACHINE + "state never_set 1 bit, reset 0\n    next never_set\n")
    assert "no sequence from reset comes to `long` with never_set=1" in refused(capsys, "step", "long", "--from",
                                                                                "never_set=1")
    assert run(["step", "long", "--from", "never_set=0"]) == 0


def test_what_may_be_set_is_said_buses_included(kiln: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = told(capsys, "step", "long")
    assert "  --with takes: warm, data (2 bits)" in lines
    assert "  --from takes: step (3 bits), warm_2, op (2 bits)" in lines
    assert "There are: warm, data" in refused(capsys, "step", "long", "--with", "zzz=1")


def test_it_goes_through_into_the_next_instruction(kiln: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = told(capsys, "step", "short a, n", "--through", "--cycles", "5")
    assert lines[0].startswith("short a, n: ") and "next instruction" not in lines[0]
    options = ("--through", "--cycles", "5", "--format", "json")
    assert len(json.loads("\n".join(told(capsys, "step", "short a, n", *options)))["cycles"]) > 1


# ---------------------------------------------------------------- cycles


def test_the_table_of_cycles(kiln: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert told(capsys, "cycles") == """\
kiln: the fetch takes 1 cycle, an instruction 1 to 3 more, 1 of 3 can wait

opcode  instruction          cycles  with fetch  decided by
        fetch, from home on       1
0       short a, n                1           2
1       wait                     1+          2+  waits for warm_2 at 9
2-3     long                      3           4""".splitlines()


def test_a_machine_without_instructions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    machine = tmp_path / "round.machine"
    (tmp_path / "m.micro").write_text("routine idle at 0\n    start: ask\n    walk: step\n    go: again\n")
    text = """\
machine round
microprogram "m.micro"
store control 4 words of 4 bits
    address upc
field way 2 bits
    step  0 idle
    wait  1
    again 2
spare 2 bits
input key 1 bit
state upc 2 bits, reset 0
    next choose way
        wait     : upc + 1 if key else upc
        again    : 0
        otherwise: upc + 1
home start
order ask   : way wait
order again : way again
order step  : way step
"""
    machine.write_text(text)
    assert " ".join(map(str.strip, told(capsys, "cycles", str(machine)))) == (
        "round has no instructions; from start control comes back to it after 3 cycles or longer: waits for key at 0")
    machine.write_text(text.replace("again    : 0", "again    : upc"))
    assert " ".join(map(str.strip, told(capsys, "cycles", str(machine)))) == (
        "round has no instructions; from start control never comes back to it: waits for key at 0; goes round at 2 for "
        "ever")


@pytest.mark.parametrize("machine", sorted(
    [*TOP.glob("examples/*/*.machine"), TOP / "microcode" / "heron.machine"]), ids=lambda path: path.stem)
def test_no_line_is_wider_than_the_terminal(machine: Path, capsys: pytest.CaptureFixture[str],
                                            monkeypatch: pytest.MonkeyPatch) -> None:
    for columns in (80, 120, 200):
        monkeypatch.setenv("COLUMNS", str(columns))
        if run(["cycles", str(machine)]) == 0:
            assert max(map(len, capsys.readouterr().out.splitlines())) <= columns


def test_a_fault_of_a_mix_is_found_where_the_mix_is(kiln: Path, capsys: pytest.CaptureFixture[str],
                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    (kiln / "below").mkdir()
    (kiln / "below" / "day.mix").write_text("short a 0.5\nlng 0.5\n")
    assert run(["cycles", "--mix", "below/day.mix"]) == 1
    out = capsys.readouterr().out
    assert "below/day.mix:2:1" in out and "below/day.mix:1" not in out
    monkeypatch.chdir(kiln / "below")
    assert run(["cycles", "..", "--mix", "day.mix"]) == 1
    assert " day.mix:2:1" in capsys.readouterr().out
    (kiln / "below" / "day.mix").write_text("short a 0.5\nlong 0.5\n")
    assert told(capsys, "cycles", "..", "--mix", "day.mix")[0] == (
        "cycles per instruction of this mix, fetch included: 3")
