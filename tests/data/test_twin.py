"""Runs against their Verilog twin in Icarus Verilog: a fixed sample of what `python -m tests.twin` does for as long as
given, and what it would notice."""

import re
import shutil
import subprocess
from itertools import islice
from pathlib import Path
from random import Random

import pytest

from ordain.cli.main import run as command
from ordain.cli.run_watching import questions_of, watches_of
from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import exactly
from ordain.data.record import recorded
from ordain.data.run import run
from ordain.pipeline import build_model
from tests.data.test_compiled import at_power_up
from tests.data.test_heron_programs import heron
from tests.data.test_run import MACHINE
from tests.twin.comparing import compared, shown, simulated
from tests.twin.hunting import EXAMPLES, by_chance, example, inputs_by_chance
from tests.workshop import contents_of

ROOT = Path(__file__).parents[2]

pytestmark = pytest.mark.skipif(shutil.which("iverilog") is None, reason="wants Icarus Verilog: apt install iverilog")


def test_a_program_on_heron(tmp_path: Path) -> None:
    """A loop with flags, memory, stack, and both guests asking for the backplane in the middle of it."""
    path, opcodes, _ = heron()
    built, _ = build_model(ROOT / "microcode" / "heron.machine")
    assert built is not None
    program = ["load sp, nn", 0xFF, 0x1F, "load k, n", 9, "load x, nn", 0x00, 0x20, "clear a", "add a, n", 0x47,
               "store a, [x+]", "push flags", "roll_left a", "differ a, [nn]", 0x00, 0x20, "pull flags",
               "repeat nn", 0x09, 0xE0, "go nn", 0x00, 0xE0]
    code = [opcodes[part] if isinstance(part, str) else part for part in program]
    cells = {0xE000 + at: exactly(byte, 8) for at, byte in enumerate(code)}
    asking = [{"console.wants": int(100 < cycle < 160), "console.press": int(cycle == 125), "console.dial": 0x3000,
               "console.keys": 0x5A, "reader.column": int(120 < cycle < 140), "reader.place": 0x3100,
               "reader.holes": 0x77} for cycle in range(1, 601)]
    found = compared(path, built.images, {"memory": cells}, asking, tmp_path)
    assert not found.wrong, found.wrong[:5]
    assert found.both > 60_000 and found.ours + found.theirs < found.both // 10


@pytest.mark.parametrize("name", [name for name in EXAMPLES if "heron" not in name])
def test_examples_with_inputs_by_chance(name: str) -> None:
    """Registers are given values at power-up, so that control is known; a fight is `x` on both sides."""
    found = example(name, 1, 200)
    assert not found.wrong, found.wrong[:5]
    assert found.both > 1000


@pytest.mark.parametrize("first", range(0, 24, 6))
def test_machines_by_chance(first: int) -> None:
    """Machines of the judge, with and without a clock, and machines of data; a third without values at power-up."""
    both = 0
    for seed in range(first, first + 6):
        _, found = by_chance(seed, 60)
        if not isinstance(found, str):
            assert not found.wrong, (seed, found.wrong[:5])
            both += found.both
    assert both > 5000


@pytest.mark.parametrize("planted", [3, 11])
def test_a_planted_fight_is_x_in_the_cycle_that_the_run_names(planted: int, tmp_path: Path) -> None:
    """Of sixteen words one has both drivers on; that the word of memory differs from count in every bit, is by hand."""
    machine = MACHINE[:MACHINE.index("allow contention")].replace("4 words of 6", "16 words of 8").replace(
        "2 bits address", "4 bits address").replace("upc 2 bits", "upc 4 bits")
    micro = "".join(["routine main at 0\n", *(f"    put {'both' if word == planted else 'count'}\n"
                                              for word in range(15)), "    put ram, target main\n"])
    contents = contents_of(machine, micro)
    memories: Memories = {"ram": {3: exactly(0b1100, 4)}}
    path = Datapath(contents, watches_of(questions_of(contents)))
    made = recorded(path, {"ram": dict(memories["ram"])}, lambda cycle: {}, None, 40, None, ())
    assert made.ending == "fault" and [name.split()[1] for name in made.broken] == ["contention"]
    rows = simulated(path, {}, memories, [{}] * 16, tmp_path)
    data = list(shown(path)).index("data")
    assert [number for number, row in enumerate(rows, 1) if row[data] == "xxxx"] == [made.cycles] == [planted + 1]


@pytest.mark.parametrize(("text", "other"), [
    ("loads data + 1", "loads data + 2"), ("next target", "next target - 1"),
    ("writes data when write", "writes count + 1 when write"), ("floats", "pulled low"), ("reset 3", "reset 2")])
def test_the_comparison_would_notice(text: str, other: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The twin of a machine that is another one in one place."""
    micro = "routine main\n    put count, keep, write, target other\n  other: put ram\n    target main\n"
    right, wrong = Datapath(contents_of(MACHINE, micro)), Datapath(contents_of(MACHINE.replace(text, other), micro))
    memories: Memories = {"ram": {0: exactly(1, 4), 1: exactly(2, 4), 2: exactly(4, 4), 3: exactly(8, 4)}}
    found = compared(right, {}, memories, [{}] * 12, tmp_path)
    assert not found.wrong and found.both > 300
    theirs = simulated(wrong, {}, memories, [{}] * 12, tmp_path)
    monkeypatch.setattr("tests.twin.comparing.simulated", lambda *_: theirs)
    seen = compared(right, {}, memories, [{}] * 12, tmp_path)
    assert seen.wrong if text != "floats" else seen.theirs > found.theirs


def test_inputs_come_to_both_alike(tmp_path: Path) -> None:
    """A condition that nobody sets is `x` there and not known here; one that is set has that value in both."""
    machine = MACHINE.replace("driven by ram   when put in (ram, both)", "driven by keys = line when put is ram")
    machine += "condition line 4 bits\n"
    path = Datapath(contents_of(machine, "routine main\n    put ram, keep, target main\n"))
    inputs = [{}, {"line": 9}, {"line": 2}]
    rows = simulated(path, {}, {"ram": {}}, inputs, tmp_path)
    data = list(shown(path)).index("data")
    assert [row[data] for row in rows] == ["xxxx", "1001", "0010"]
    node = shown(path)["data"]
    given = iter(inputs)
    mine = islice(run(path, {"ram": {}}, lambda cycle: next(given), (node,)), 3)
    assert [ran.seen[0].value for ran in mine] == [0, 9, 2]
    contents = at_power_up(path.contents, Random(5).choice)
    assert not compared(Datapath(contents), {}, {"ram": {}}, inputs_by_chance(contents, Random(6), 50), tmp_path).wrong


def test_a_write_that_goes_nobody_knows_where_leaves_nothing_known_there_either(tmp_path: Path) -> None:
    """Verilog by itself would leave memory as it was."""
    contents = contents_of(MACHINE.replace(", reset 3", ""), "routine main\n    put count, write, target main\n")
    memories: Memories = {"ram": {at: exactly(at, 4) for at in range(4)}}
    rows = simulated(Datapath(contents), {}, memories, [{}] * 3, tmp_path)
    assert [row[-4:] for row in rows] == [["0000", "0001", "0010", "0011"], ["xxxx"] * 4, ["xxxx"] * 4]


def test_what_is_exported_runs_as_it_is(tmp_path: Path) -> None:
    """Five cycles of the exported heron with its bench: boot sets the program counter to E000, the fetch counts it."""
    assert command(["export", "verilog", str(ROOT / "microcode"), "--out", str(tmp_path), "--bench", "5", "-q"]) == 0
    subprocess.run(["iverilog", "-g2005", "-s", "bench", "-o", "m.out", "heron.v", "bench.v"], cwd=tmp_path, check=True)
    subprocess.run(["vvp", "-n", "m.out"], cwd=tmp_path, check=True, capture_output=True)
    dump = (tmp_path / "heron.vcd").read_text()
    (code,) = re.findall(r"^\$var reg 16 (\S+) pc ", dump, re.MULTILINE)
    values = re.findall(rf"^b(\S+) {re.escape(code)}$", dump, re.MULTILINE)
    assert int(values[-1], 2) == 0xE001
