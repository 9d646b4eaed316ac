"""A run beside its Verilog twin in Icarus Verilog, which shares no code with ours: what both know is the same.

Icarus Verilog: https://github.com/steveicarus/iverilog, IEEE 1364-2005.
"""

import re
import subprocess
from collections.abc import Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import UNKNOWN, Ternary
from ordain.data.run import run
from ordain.machine.expression import Node, Prior, postorder
from ordain.rom.mem import write_mem
from ordain.show.verilog import clock_port, escaped, unchipped, verilog_text

Inputs = Sequence[Mapping[str, int]]
"""What is set from outside, by step."""

LARGEST = 64
"""Words of a memory whose every cell is looked at in every step; of a larger one all cells at the end."""


LONGEST = 5
"""Seconds beyond which a simulation goes round in a step without an end."""


class Unsettled(Exception):
    """Gates that lead back to themselves never come to rest in the simulation, where each takes no time."""


class Compared(NamedTuple):
    """`wrong`: bits that both know and that differ. `both`, `ours`, `theirs`: bits that both know, that one of them
    does. `fights`: steps in which drivers fought, on a bus that both sides then have no level for."""

    wrong: list[str]
    steps: int
    both: int
    ours: int
    theirs: int
    fights: int


def shown(path: Datapath) -> dict[str, Node]:
    """What is compared in every step, by its name in the module."""
    terms, machine = path.terms, path.machine
    found = {name: terms.leaf("state", name, one.width) for name, one in machine.states.items()}
    found.update((name, terms.leaf("register", name, one.width)) for name, one in machine.registers.items())
    found.update((name, terms.leaf("bus", name, one.width)) for name, one in machine.buses.items())
    found.update((name, terms.leaf("word", name, one.bits)) for name, one in machine.stores.items())
    found.update((name, terms.leaf("condition", name, one.width)) for name, one in machine.conditions.items()
                 if one.value is not None)
    found.update((name, one.value) for name, one in machine.signals.items()
                 if not any(type(part) is Prior for part in postorder((one.value,))))
    return found


def _ports(path: Datapath) -> dict[str, int]:
    """What is set from outside, with its width."""
    ports = {name: one.width for name, one in path.machine.inputs.items()}
    return ports | {name: one.width for name, one in path.machine.conditions.items() if one.value is None}


def _cells(path: Datapath) -> list[tuple[str, int]]:
    return [(name, address) for name, memory in path.machine.memories.items() if memory.words <= LARGEST
            for address in range(memory.words)]


def bench(path: Datapath, memories: Memories, steps: int) -> str:
    """Reads what is set in each step, writes what stands everywhere, and lets the clock rise."""
    machine, ports = path.machine, _ports(path)
    whole = sum(ports.values()) or 1
    lines = ["module bench;", "  reg c = 0;", f"  reg [{whole - 1}:0] given [0:{steps - 1}];",
             f"  reg [{whole - 1}:0] now;", "  integer step;"]
    low, wires = whole, ""
    for name, width in ports.items():
        low -= width
        wires += f", .{escaped(name)}(now[{low + width - 1}:{low}])"
    lines.append(f"  {escaped(machine.name)} m(.{clock_port(machine)}(c){wires});")
    lines += ["  initial begin", '    $readmemb("given.mem", given);']
    lines += [f'    $readmemb("{name}.words", m.{escaped(f"{name} words")});' for name in machine.memories]
    form = " ".join(["%b"] * (len(shown(path)) + len(_cells(path))))
    values = [f"m.{escaped(name)}" for name in shown(path)]
    values += [f"m.{escaped(f'{name} words')}[{address}]" for name, address in _cells(path)]
    lines += [f"    for (step = 0; step < {steps}; step = step + 1) begin", "      now = given[step];",
              f'      #1 $display("{form}", {", ".join(values)});', "      c = 1; #1 c = 0;", "    end"]
    lines += [f'    $writememb("{name}.after", m.{escaped(f"{name} words")});' for name in machine.memories]
    return "\n".join([*lines, "    $finish;", "  end", "endmodule", ""])


def simulated(path: Datapath, images: Mapping[str, bytes], memories: Memories, inputs: Inputs,
              place: Path) -> list[list[str]]:
    """What Icarus Verilog says stands everywhere, step by step, in digits 0, 1, x and z."""
    machine, ports = path.machine, _ports(path)
    (place / "m.v").write_text(verilog_text(path) + bench(path, memories, len(inputs)))
    for chip in machine.chips.values():
        (place / f"{chip.name}.mem").write_text(write_mem(images[chip.name], chip.bits, chip.name))
    for store in unchipped(machine):
        digits = (store.bits + 3) // 4
        words = path.contents.words[store.name]
        (place / f"{store.name}.mem").write_text("\n".join(f"{word:0{digits}x}" for word in words) + "\n")
    for name, memory in machine.memories.items():
        cells = memories[name]
        (place / f"{name}.words").write_text("".join(
            f"{digits_of(cells.get(address, UNKNOWN), memory.bits)}\n" for address in range(memory.words)))
    (place / "given.mem").write_text("".join(
        ("".join("x" * width if name in machine.conditions and name not in given else f"{given.get(name, 0):0{width}b}"
                 for name, width in ports.items()) or "0") + "\n" for given in inputs))
    subprocess.run(["iverilog", "-g2005", "-s", "bench", "-o", "m.out", "m.v"], cwd=place, check=True)
    try:
        told = subprocess.run(["vvp", "-n", "m.out"], cwd=place, check=True, capture_output=True, text=True,
                              timeout=LONGEST + len(inputs) / 100).stdout
    except subprocess.TimeoutExpired:
        raise Unsettled from None
    rows = [line.split() for line in told.splitlines() if re.fullmatch(r"[01xz ]+", line)]
    assert len(rows) == len(inputs), told[:500]
    return rows


def digits_of(bits: Ternary, width: int) -> str:
    if bits.known == (1 << width) - 1:
        return f"{bits.value:0{width}b}"
    return "".join(str(bits.value >> at & 1) if bits.known >> at & 1 else "x" for at in reversed(range(width)))


def bits_of(digits: str) -> Ternary:
    """Of x and z nothing is known."""
    if digits.isdecimal():
        return Ternary(int(digits, 2), (1 << len(digits)) - 1)
    return Ternary(int(re.sub("[xz]", "0", digits), 2), int(re.sub("[xz]", "0", digits.replace("0", "1")), 2))


def compared(path: Datapath, images: Mapping[str, bytes], memories: Memories, inputs: Inputs, place: Path) -> Compared:
    """Every signal, bus, register, word and condition, in every step; memories in every step or at the end."""
    theirs = simulated(path, images, memories, inputs, place)
    names = shown(path)
    own = {name: dict(cells) for name, cells in memories.items()}
    steps = iter(inputs)
    wrong: list[str] = []
    counts = [0, 0, 0]
    fights = 0

    def hold(at: str, ours: Ternary, its: Ternary) -> None:
        both = ours.known & its.known
        counts[0] += both.bit_count()
        counts[1] += (ours.known & ~its.known).bit_count()
        counts[2] += (its.known & ~ours.known).bit_count()
        if (ours.value ^ its.value) & both:
            wrong.append(f"{at}: {ours}, Verilog {its}")

    for number, (ran, row) in enumerate(
            zip(islice(run(path, own, lambda cycle: next(steps), tuple(names.values())), len(inputs)), theirs), 1):
        for name, ours, digits in zip(names, ran.seen, row):
            hold(f"step {number} {name}", ours, bits_of(digits))
        for (name, address), digits in zip(_cells(path), row[len(names):]):
            hold(f"step {number} {name}[{address}]", own[name].get(address, UNKNOWN), bits_of(digits))
        for fight in ran.fights:
            fights += 1
            level = row[list(names).index(fight.bus)]
            put = [ran.moment.value(value) for name in fight.drivers
                   if (value := path.puts[fight.bus, name]) is not None]
            if len(put) == len(fight.drivers) and "x" not in level and any(
                    (put[0].value ^ other.value) & put[0].known & other.known for other in put[1:]):
                wrong.append(f"step {number}: we say that {fight.drivers} fight on {fight.bus}, Verilog has {level}")
        if len(wrong) > 20:
            break
        last = ran
    for name, memory in path.machine.memories.items():
        for written in last.written:
            if written.memory == name and not wrong:
                own[name] = {} if written.address is None else {**own[name], written.address: written.value}
        after = [line for line in (place / f"{name}.after").read_text().splitlines() if not line.startswith("//")]
        assert len(after) == memory.words
        for address, digits in enumerate(after) if not wrong else ():
            hold(f"at the end {name}[{address}]", own[name].get(address, UNKNOWN), bits_of(digits))
    return Compared(wrong, len(inputs), *counts, fights)
