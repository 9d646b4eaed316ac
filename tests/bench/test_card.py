"""Cards: which lamps are known, what has to be set, where a choice is; on paper what the steps say and nothing else."""

import re
from pathlib import Path
from random import Random
from xml.etree import ElementTree

import pytest

from ordain.bench.model import BenchStep, Card
from ordain.bench.steps import begun, steps_of, watched
from ordain.cli.main import run as command
from ordain.control.play import Start, play
from ordain.control.sequencing import sequencing
from ordain.control.system import build_system
from ordain.data.datapath import Datapath, Moment
from ordain.data.partial import exactly
from ordain.data.run import power_up
from ordain.rom.contents import Contents
from ordain.show.card import ASCII, CAUTIONS, UNICODE, card_lines
from ordain.show.card_page import card_page
from ordain.show.labels import PAPERS
from ordain.show.page import PLAIN
from tests.workshop import contents_of

MACHINE = """\
machine lamp_post "two instructions, a switch that is asked and a bus from outside"
store control 16 words of 10 bits
    address upc
field branch 2 bits
    step  0 idle
    jump  1
    asked 2
    op    3
field target 4 bits address, idle 0
field take 1 bit
field show 1 bit, active low
spare 2 bits
state upc 4 bits, reset 0
    next choose branch
        step  : upc + 1
        jump  : target
        asked : target if key else upc + 1
        op    : {0b1, ir, 0b0}
input key 1 bit, dial 4 bits
register ir 2 bits, loads data[1:0] when take
register acc 4 bits, loads data when take
bus data 4 bits, pulled low
    driven by memory when show
home fetch
order goto <there>: branch jump, target <there>
order if key goto <there>: branch asked, target <there>
order dispatch: branch op
lamps "upper"
    shows upc, blank, ir, show
lamps "lower", active low
    shows acc, show
"""
MICRO = """\
routine boot at 0
        if key goto fetch
        goto fetch
routine fetch at 2
        show, take
        dispatch
routine first at 8
        goto fetch
routine second at 10
        goto fetch
routine third at 12
        goto fetch
routine fourth at 14
        goto fetch
"""
CONTENTS = contents_of(MACHINE, MICRO)


def steps(contents: Contents, cycles: int, **chosen: int) -> list[BenchStep]:
    system, path = build_system(contents), Datapath(contents)
    return steps_of(path, system, play(system, Start({}), lambda _: chosen, cycles, None).trace, power_up(path))


def test_what_nothing_gives_a_value_is_left_open() -> None:
    """By hand: at reset nothing is known of ir and acc; the word at 2 shows memory on data, of which the sequence needs
    that its lower bits are 10 to go where it goes, and nothing is said of the upper ones."""
    first, second, third, fourth = steps(CONTENTS, 4, data=2)
    assert first.lamps == ((0, 0, 0, 0, None, None, None, 1), (None,) * 4 + (0,))
    assert (first.addresses, first.depends, first.needs) == ({"control": 0}, ("key",), ())
    assert second.lamps[0] == (0, 0, 0, 1, None, None, None, 1)
    assert third.addresses == {"control": 2} and third.needs == (("data", 2, 4),)
    assert third.lamps[0] == (0, 0, 1, 0, None, None, None, 0)
    assert third.lamps[1] == (None,) * 4 + (1,)
    assert fourth.lamps == ((0, 0, 1, 1, None, 1, 0, 1), (1, 1, 0, 1, 0))
    assert steps(CONTENTS, 5, data=2)[4].addresses == {"control": 12}


def test_a_lamp_is_never_said_to_be_what_it_need_not_be() -> None:
    """Against the same sequence with every unknown bit at some level, by chance: what a card says of a lamp holds then,
    too. Between them the levels make every open lamp both lit and dark."""
    told = steps(CONTENTS, 8, data=1)
    path, random = Datapath(CONTENTS), Random(5)
    nodes = watched(path.machine)[1:]
    met: list[list[set[int]]] = [[set() for _ in nodes] for _ in told]
    for _ in range(40):
        held = {leaf: bits if bits.known else exactly(random.getrandbits(leaf.width), leaf.width)
                for leaf, bits in power_up(path).items()}
        for at, step in enumerate(told):
            moment = Moment(path, held, {}, step.inputs)
            data = {name: value for name, value, _ in step.needs}.get("data", random.getrandbits(4))
            shown = moment.value(path.terms.leaf("field", "show", 1)).value
            moment.known[path.terms.leaf("bus", "data", 4)] = exactly(data if shown else 0, 4)
            for number, node in enumerate(nodes):
                met[at][number].add(moment.value(node).value)
            held = {leaf: moment.value(node) for leaf, node in path.nexts.items()}
    for at, step in enumerate(told):
        said = [level for row, levels in zip(path.machine.lamps, step.lamps)
                for lamp, level in zip(row.lamps, levels) if lamp is not None]
        for level, seen in zip(said, met[at]):
            assert seen == ({0, 1} if level is None else {level}), at


def test_where_control_depends_on_what_is_not_known_it_is_said() -> None:
    """With `reset any` for what is dispatched by, nothing loaded: it is one of four, and the card says which."""
    contents = contents_of(MACHINE, MICRO.replace("        show, take\n", "        show\n"))
    system, path = build_system(contents), Datapath(contents)
    trace = play(system, Start({"ir": 3}), lambda _: {}, 5, None).trace
    made = steps_of(path, system, trace, power_up(path))
    assert [step.needs for step in made] == [(), (), (), (("ir", 3, 2),), ()]
    assert made[4].addresses == {"control": 14} and made[2].lamps[0][5:7] == (None, None)


def test_where_the_address_is_not_known_the_word_may_be() -> None:
    """Both instructions begin with the same word, whatever is in op; from the second on it counts."""
    contents = contents_of("""\
machine kiln "instruction and step"
store control 16 words of 4 bits
    address     {op, step}
    instruction op
    step        step
field over 1 bit
field heat 1 bit
field take 1 bit
spare 1 bit
state step 2 bits, reset 0
    next 0 if over else step + 1
register op 2 bits, loads data when take
bus data 2 bits, pulled low
    driven by memory when heat
lamps "panel"
    shows op, step, heat
home step is 0
""", """\
prologue
        heat, take
instruction 0b0x "warm"
        heat, over
instruction 0b1x "cool"
        over
""")
    system, path = build_system(contents), Datapath(contents)
    made = steps_of(path, system, play(system, Start({"op": 3}), lambda _: {"data": 2}, 2, None).trace, power_up(path))
    assert [(step.addresses["control"], step.near["control"], step.lamps[0]) for step in made] == [
        (None, 0, (None, None, 0, 0, 1)), (9, 9, (1, 0, 0, 1, 0))]
    assert "[ ]    1  ?  prologue" in card_lines(contents, Card("", tuple(made), ""), PLAIN, ASCII)


def test_an_instruction_begins_with_states_known_and_registers_not() -> None:
    system, path = build_system(CONTENTS), Datapath(CONTENTS)
    trace = play(system, Start({"upc": 12, "ir": 2}), lambda _: {}, 2, None).trace
    opcodes = sequencing(path.machine, system.terms).opcodes
    first = steps_of(path, system, trace, begun(path, trace.cycles[0], opcodes))[0]
    assert first.lamps[0][:4] == (1, 1, 0, 0) and first.lamps[1][:4] == (None,) * 4


def card(count: int) -> Card:
    return Card("reset and the fetch loop", tuple(steps(CONTENTS, count, data=2, key=1)), "The card ends here.")


def test_as_text_it_is_eighty_columns_wide_and_has_everything() -> None:
    lines = card_lines(CONTENTS, card(4), PLAIN, ASCII)
    assert max(map(len, lines)) <= 80
    text = "\n".join(lines)
    assert all(caution.split()[0] in text for caution in CAUTIONS) and text.count("[ ]") == 4
    assert "before it, set key" in text and "all along at 0: dial" in text
    assert """\
[ ]    2  2  fetch
          show, take
          A  oo#o ..o  upc 2, ir ?
          B  ....#  acc ?
          goes on so with data = 2
""" in text


def test_on_paper_every_step_stands_whole_on_a_sheet() -> None:
    """Read back as XML by Python's parser: a box for each step, a circle for each lamp, nothing beyond the paper."""
    made = card(4)
    for paper, (width, height) in PAPERS.items():
        page = card_page(CONTENTS, made._replace(steps=made.steps * 8), paper)
        sheets = [ElementTree.fromstring(sheet) for sheet in re.findall(r"<svg.*?</svg>", page, re.DOTALL)]
        space = "{http://www.w3.org/2000/svg}"
        assert len(sheets) > 2 and f"size: {width:g}mm {height:g}mm" in page
        boxes = [box for sheet in sheets for box in sheet.iter(f"{space}rect") if box.get("height") == "6"]
        lamps = [lamp for sheet in sheets for lamp in sheet.iter(f"{space}circle")]
        assert len(boxes) == 32 and len(lamps) == 32 * 12 + 3
        assert sum(lamp.get("fill") == "#000" for lamp in lamps) == 1 + 8 * sum(
            level == 1 for step in made.steps for row, levels in zip(CONTENTS.machine.lamps, step.lamps)
            for lamp, level in zip(row.lamps, levels) if lamp is not None)
        for sheet in sheets:
            for group in sheet.iter(f"{space}g"):
                found = re.fullmatch(r"translate\(12 ([\d.]+)\)", group.get("transform", ""))
                assert found is not None
                for text in group.iter(f"{space}text"):
                    size = float(text.get("font-size", "3.2"))
                    assert 12 + float(text.get("x", "0")) + 0.61 * size * len(text.text or "") < width
                    assert float(found[1]) + float(text.get("y", "0")) < height - 12


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "post.machine").write_text(MACHINE.replace('outside"\n', 'outside"\nmicroprogram "post.micro"\n') + """\
memory rom 16 words of 4 bits
    address upc
rule "never four" never upc is 14
""")
    (tmp_path / "post.micro").write_text(MICRO)
    monkeypatch.chdir(tmp_path)
    assert command(["card"]) == 0
    assert "reset and the fetch loop, " in capsys.readouterr().out
    assert command(["card", "third"]) == 0
    assert "third, 1 clock\n" in capsys.readouterr().out
    assert command(["card", "--finding", "never four"]) == 0
    assert "The fault is in the last clock." in capsys.readouterr().out
    assert command(["card", "--put", "rom@0=1", "--cycles", "2", "--page", "c.html", "--paper", "letter"]) == 0
    assert "size: 215.9mm 279.4mm" in (tmp_path / "c.html").read_text()
    for wrong in (["card", "fifth"], ["card", "--finding", "nothing"], ["card", "--finding", "contention"],
                  ["card", "third", "--put", "rom@0=1"], ["card", "--from", "upc=3"],
                  ["card", "third", "--from", "ir=9"]):
        assert command(wrong) == 2, wrong
        assert "Traceback" not in capsys.readouterr().err


def test_signs() -> None:
    assert len({*UNICODE}) == len({*ASCII}) == 3


def test_it_begins_with_names_of_the_machine_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On a clock that something holds it is remembered what an input was, under names that nobody has written."""
    machine = MACHINE.replace("input key 1 bit, dial 4 bits", "input key 1 bit on low, dial 4 bits, stop 1 bit")
    machine = machine.replace("store control", "clock clk (low, high)\n    held while stop\nstore control")
    (tmp_path / "m.machine").write_text(machine.replace("store control", 'microprogram "m.micro"\nstore control', 1))
    (tmp_path / "m.micro").write_text(MICRO)
    assert command(["card", "fetch", "-m", str(tmp_path)]) == 0
    [line] = [line for line in capsys.readouterr().out.splitlines() if "it begins with" in line]
    assert line.strip().startswith("it begins with clk low, upc=") and "kept" not in line and "moved" not in line
