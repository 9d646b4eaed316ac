"""Runs against their Verilog twin in Icarus Verilog, which shares no code with ours: a bit that both know is the same.

Icarus Verilog: https://github.com/steveicarus/iverilog, IEEE 1364-2005.
"""

import re
import shutil
import subprocess
from collections.abc import Mapping
from itertools import count, islice
from pathlib import Path
from random import Random

import pytest

from ordain.cli.main import run as command
from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import UNKNOWN, Bits, exactly
from ordain.data.run import run
from ordain.machine.expression import Node
from ordain.pipeline import build_model
from ordain.rom.contents import Stored
from ordain.rom.images import pack
from ordain.rom.mem import write_mem
from ordain.show.verilog import clock_port, escaped, unchipped, verilog_text
from tests.data.test_compiled import at_power_up, by_chance
from tests.data.test_heron_programs import heron
from tests.data.test_run import MACHINE
from tests.judge.machines import machine
from tests.judge.tool import build
from tests.workshop import contents_of

ROOT = Path(__file__).parents[2]
Inputs = Mapping[int, Mapping[str, int]]

pytestmark = pytest.mark.skipif(shutil.which("iverilog") is None, reason="wants Icarus Verilog: apt install iverilog")


def shown(path: Datapath) -> dict[str, Node]:
    """What is compared in every cycle, by its name in the module: states, registers, what latches keep, buses."""
    terms, machine_ = path.terms, path.machine
    found = {name: terms.leaf("state", name, one.width) for name, one in machine_.states.items()}
    found.update((name, terms.leaf("register", name, one.width)) for name, one in machine_.registers.items())
    found.update((name, terms.leaf("bus", name, one.width)) for name, one in machine_.buses.items())
    return found


def bench(path: Datapath, memories: Memories, inputs: Inputs, cycles: int) -> str:
    """Sets the inputs of a cycle, writes what stands everywhere, and lets the clock rise."""
    machine_ = path.machine
    ports = {name: one.width for name, one in machine_.inputs.items()}
    ports.update((name, one.width) for name, one in machine_.conditions.items() if one.value is None)
    lines = ["module bench;", "  reg c = 0;"]
    lines += [f"  reg [{width - 1}:0] i{number} = 0;" for number, width in enumerate(ports.values())]
    wires = "".join(f", .{escaped(name)}(i{number})" for number, name in enumerate(ports))
    lines.append(f"  {escaped(machine_.name)} m(.{clock_port(machine_)}(c){wires});")
    lines.append("  initial begin")
    for name, cells in memories.items():
        lines += [f"    m.{escaped(f'{name} words')}[{address}] = {bits.value};" for address, bits in cells.items()]
    names = list(shown(path))
    form = " ".join("%b" for _ in names)
    values = ", ".join(f"m.{escaped(name)}" for name in names)
    for cycle in range(1, cycles + 1):
        given = inputs.get(cycle, {})
        for number, (name, width) in enumerate(ports.items()):
            value = given.get(name, 0 if name in machine_.inputs else None)
            lines.append(f"    i{number} = " + (f"{width}'b{'x' * width};" if value is None else f"{value};"))
        lines.append(f'    #1 $display("{form}", {values});')
        lines.append("    c = 1; #1 c = 0;")
    return "\n".join([*lines, "    $finish;", "  end", "endmodule", ""])


def simulated(path: Datapath, images: Mapping[str, bytes], memories: Memories, inputs: Inputs, cycles: int,
              place: Path) -> list[dict[str, Bits]]:
    """What Icarus Verilog says stands everywhere, cycle by cycle."""
    (place / "m.v").write_text(verilog_text(path) + bench(path, memories, inputs, cycles))
    for chip in path.machine.chips.values():
        (place / f"{chip.name}.mem").write_text(write_mem(images[chip.name], chip.bits, chip.name))
    for store in unchipped(path.machine):
        digits = (store.bits + 3) // 4
        words = path.contents.words[store.name]
        (place / f"{store.name}.mem").write_text("\n".join(f"{word:0{digits}x}" for word in words) + "\n")
    subprocess.run(["iverilog", "-g2005", "-s", "bench", "-o", "m.out", "m.v"], cwd=place, check=True)
    told = subprocess.run(["vvp", "-n", "m.out"], cwd=place, check=True, capture_output=True, text=True).stdout
    names = list(shown(path))
    rows = [line.split() for line in told.splitlines() if re.fullmatch(r"[01xz ]+", line)]
    assert len(rows) == cycles, told[:500]
    return [{name: Bits(int(re.sub("[xz]", "0", digits), 2), int(re.sub("[xz]", "0", digits.replace("0", "1")), 2))
             for name, digits in zip(names, row)} for row in rows]


def parted(path: Datapath, images: Mapping[str, bytes], memories: Memories, inputs: Inputs, cycles: int,
           place: Path) -> tuple[list[str], int, int]:
    """Bits that both know and that differ; how many bits both know, and how many only one of them does."""
    theirs = simulated(path, images, memories, inputs, cycles, place)
    wrong, both, one_only = [], 0, 0
    steps = count(1)
    mine = islice(run(path, {name: dict(cells) for name, cells in memories.items()},
                      lambda cycle: inputs.get(next(steps), {})), cycles)
    for number, (ran, row) in enumerate(zip(mine, theirs, strict=True), 1):
        for name, node in shown(path).items():
            ours, its = ran.moment.value(node), row[name]
            both += (ours.known & its.known).bit_count()
            one_only += (ours.known ^ its.known).bit_count()
            if (ours.value ^ its.value) & ours.known & its.known:
                wrong.append(f"cycle {number} {name}: {ours}, Verilog {its}")
    return wrong, both, one_only


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
    asking = {cycle: {"console.wants": int(100 < cycle < 160), "console.press": int(cycle == 125),
                      "console.dial": 0x3000, "console.keys": 0x5A, "reader.column": int(120 < cycle < 140),
                      "reader.place": 0x3100, "reader.holes": 0x77} for cycle in range(1, 601)}
    wrong, both, one_only = parted(path, built.images, {"memory": cells}, asking, 600, tmp_path)
    assert not wrong, wrong[:5]
    assert both > 30_000 and one_only < both // 50


@pytest.mark.parametrize("name", ["stepper", "slices", "refresh", "paired", "two-masters", "half-clock/mended",
                                  "half-clock/broken", "pause-fight/broken", "late-grant/broken"])
def test_examples_with_inputs_by_chance(name: str, tmp_path: Path) -> None:
    """Registers are given values at power-up, so that control is known; a fight is `x` on both sides."""
    (file,) = [one for one in (ROOT / "examples" / name).glob("*.machine") if "\nmachine " in "\n" + one.read_text()]
    built, findings = build_model(file)
    assert built is not None, findings
    contents = at_power_up(built.contents, Random(1).choice)
    path = Datapath(contents)
    wrong, both, _ = parted(path, built.images, {one: {} for one in contents.machine.memories},
                            by_chance(contents, Random(2).choice, 300), 300, tmp_path)
    assert not wrong, wrong[:5]
    assert both > 500


@pytest.mark.parametrize("first", range(0, 24, 3))
def test_machines_by_chance(first: int, tmp_path: Path) -> None:
    """Machines of the judge, half of them without values at power-up."""
    judged = 0
    for seed in range(first, first + 3):
        built, _ = build(machine(Random(seed).choice))
        if built is None:
            continue
        contents = at_power_up(built.contents, Random(seed).choice) if seed % 2 else built.contents
        images = pack(contents.machine, {name: Stored(dict(enumerate(words)), None)
                                         for name, words in contents.words.items()})
        memories: Memories = {name: {} for name in contents.machine.memories}
        inputs = by_chance(contents, Random(seed).choice, 60)
        wrong, _, _ = parted(Datapath(contents), images, memories, inputs, 60, tmp_path)
        assert not wrong, (seed, wrong[:5])
        judged += 1


def test_the_comparison_would_notice(tmp_path: Path) -> None:
    """The twin of a machine that counts by two instead of by one."""
    right = Datapath(contents_of(MACHINE, "routine main\n    put count, keep, write, target main\n"))
    other = Datapath(contents_of(MACHINE.replace("loads data + 1", "loads data + 2"),
                                 "routine main\n    put count, keep, write, target main\n"))
    theirs = simulated(other, {}, {"ram": {}}, {}, 4, tmp_path)
    mine = list(islice(run(right, {"ram": {}}, lambda cycle: {}), 4))
    node = right.terms.leaf("bus", "data", 4)
    assert [ran.moment.value(node).value for ran in mine] == [3, 4, 5, 6]
    assert [row["data"].value for row in theirs] == [3, 5, 7, 9]
    assert theirs[0]["data"] != UNKNOWN


def test_what_is_exported_runs_as_it_is(tmp_path: Path) -> None:
    """Five cycles of the exported heron with its bench: boot sets the program counter to E000, the fetch counts it."""
    assert command(["export", "verilog", str(ROOT / "microcode"), "--out", str(tmp_path), "--bench", "5", "-q"]) == 0
    subprocess.run(["iverilog", "-g2005", "-s", "bench", "-o", "m.out", "heron.v", "bench.v"], cwd=tmp_path, check=True)
    subprocess.run(["vvp", "-n", "m.out"], cwd=tmp_path, check=True, capture_output=True)
    dump = (tmp_path / "heron.vcd").read_text()
    (code,) = re.findall(r"^\$var reg 16 (\S+) pc ", dump, re.MULTILINE)
    values = re.findall(rf"^b(\S+) {re.escape(code)}$", dump, re.MULTILINE)
    assert int(values[-1], 2) == 0xE001
