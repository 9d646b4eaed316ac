"""Lamps and probes: which line each is at, and the level that it shows."""

import pytest

from ordain.language.machine_file import parse_machine
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import leaves
from ordain.machine.model import BoardLine
from ordain.machine.print import machine_lines
from tests.machine.described import FRAME, sound
from tests.machine.test_wires import said


def level(line: BoardLine, **values: int) -> int:
    """The level with fields and states at these values; everything else at 0."""
    return evaluate(line.level, {leaf: values.get(leaf.name, 0) for leaf in leaves((line.level,))})


def test_a_row_is_read_from_left_to_right_with_gaps() -> None:
    row, = sound(FRAME + 'lamps "door"\n    shows upc[3:2], blank, not go,\n        halt\n').lamps
    assert [lamp and lamp.line.name for lamp in row.lamps] == ["upc[3]", "upc[2]", None, "not go", "halt"]


@pytest.mark.parametrize("asserted", [0, 1])
@pytest.mark.parametrize(("option", "line", "lit_when_asserted"), [
    ("", "go", 1), ("", "not go", 0), ("", "halt", 0), ("", "not halt", 1),
    (", active low", "go", 0), (", active low", "not go", 1), (", active low", "halt", 1), (", active low", "not halt",
    0)])
def test_when_a_lamp_is_lit(option: str, line: str, lit_when_asserted: int, asserted: int) -> None:
    """`halt` is an active low field: its line is at 0 while it is asserted, and so is the bit that is stored."""
    row, = sound(FRAME + f'lamps "door"{option}\n    shows {line}\n').lamps
    assert row.lamps[0] is not None
    lit = evaluate(row.lamps[0].lit, dict.fromkeys(leaves((row.lamps[0].lit,)), asserted))
    assert lit == (lit_when_asserted if asserted else 1 - lit_when_asserted)


def test_the_highest_bit_is_at_the_first_channel() -> None:
    clips = sound(FRAME + 'probes pod "on sheet 1"\n    clock D9 falling\n    D[0:3] upc, {D7, "CH 8"} control[1:0]\n'
                  "    4 upc[1], D5 halt\n").probes["pod"]
    assert (clips.title, clips.clock, clips.edge) == ("on sheet 1", "D9", "falling")
    assert [(probe.channel, probe.line.name) for probe in clips.probes] == [
        ("D0", "upc[3]"), ("D1", "upc[2]"), ("D2", "upc[1]"), ("D3", "upc[0]"), ("D7", "control[1]"),
        ("CH 8", "control[0]"), ("4", "upc[1]"), ("D5", "halt")]
    of = {probe.channel: probe.line for probe in clips.probes}
    assert [level(of[channel], upc=0b0110) for channel in ("D0", "D1", "D2", "D3")] == [0, 1, 1, 0]
    assert [level(of["D5"], halt=asserted) for asserted in (0, 1)] == [1, 0]
    assert [level(of["CH 8"], control=word) for word in (0, 1)] == [0, 1]


def test_an_agents_lines_have_dotted_names() -> None:
    clips = sound(FRAME + "agent desk\n    input key 2 bits\n    state up 1 bit, reset 0\n        next key[0]\n"
                  "    signal lit = up and key[1]\nprobes pod\n    D[1:0] desk.key, D2 desk.up, D3 desk.lit\n"
                  ).probes["pod"]
    assert [probe.line.name for probe in clips.probes] == ["desk.key[1]", "desk.key[0]", "desk.up", "desk.lit"]


def test_a_phase_on_which_something_depends_can_be_seen() -> None:
    row, = sound(FRAME.replace("state upc", "clock clk (early, late)\nstate upc") +
                 'register r 1 bit, loads go when late\nlamps "door"\n    shows early, clk\n').lamps
    assert [lamp and lamp.line.name for lamp in row.lamps] == ["early", "clk"]


def test_both_are_printed() -> None:
    text = "\n".join(machine_lines(sound(
        FRAME + 'lamps "door", active low\n    shows upc, blank, go\nprobes pod "four clips"\n    clock D15 rising\n'
        '    D[1:0] upc[2:1], A3 halt\n')))
    assert text.endswith('''
lamps "door", active low
  upc[3:0]  -  go

probes pod "four clips"
  channel  line
  D15      the clock, rising
  D1       upc[2]
  D0       upc[1]
  A3       halt''')


def test_what_is_called_blank_is_no_gap() -> None:
    row, = sound(FRAME + 'input blank 1 bit\nlamps "door"\n    shows blank\n').lamps
    assert row.lamps[0] is not None


@pytest.mark.parametrize(("text", "fault"), [
    ("probes pod\n    D0 go and halt", ("syntax", "m:3:8")), ('lamps "door"\n    shows go, upc is 0', ("syntax",
    "m:3:15")),
    ('lamps "door"', ("syntax", "m:2:1")), ("probes pod", ("syntax", "m:2:1")), ("lamps door\n    shows go", ("syntax",
    "m:2:7")),
    ("probes\n    D0 go", ("syntax", "m:2:7")), ("probes pod\n    D0", ("syntax", "m:3:7")),
    ("probes pod\n    clock D0 slowly", ("syntax", "m:3:14")), ("probes pod\n    D[4000:0] upc", ("bad-number",
    "m:3:5")),
    ("probes pod\n    {D0 D1} upc", ("syntax", "m:3:5")), ('probes pod\n    "" upc', ("syntax", "m:3:5")),
    ("probes pod\n    D0 go\n        D1 go", ("indentation", "m:4:9"))])
def test_what_cannot_be_read(text: str, fault: tuple[str, str]) -> None:
    assert fault in said(parse_machine({"m": "machine m\n" + text + "\n"}, "m")[1])
