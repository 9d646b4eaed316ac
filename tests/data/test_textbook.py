"""The basic computer of a textbook, its registers after every clock and its small programs with their results.

M. Morris Mano, Computer System Architecture, 3rd ed., chapters 5 and 6: the machine in tests/reference/basic.machine,
the figures in tests/reference/basic.json. The problems are from memory; the book prints transfers and answers, not all
registers after every clock, so those were derived from its table of transfers by other hands than the machine file's.
"""

import json
import re
from itertools import islice
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import Ternary, exactly
from ordain.data.run import Ran, run
from tests.workshop import contents_of

REFERENCE = Path(__file__).parent.parent / "reference"
MACHINE, MICRO = (REFERENCE / "basic.machine").read_text(), (REFERENCE / "basic.micro").read_text()
CASES: dict[str, Any] = json.loads((REFERENCE / "basic.json").read_text())["cases"]
WIDTHS = {"AC": 16, "E": 1, "PC": 12, "AR": 12, "DR": 16, "IR": 16, "I": 1}


def computer(initial: dict[str, Any], text: str = MACHINE) -> Datapath:
    """The machine with these values in its registers at the start."""
    for name, value in initial.items():
        if name in WIDTHS:
            text, count = re.subn(rf"(?m)^(register {name.lower()} .*reset) 0", rf"\1 {int(str(value), 16)}", text)
            assert count == 1
    return Datapath(contents_of(text, MICRO))


def ram(initial: dict[str, Any]) -> Memories:
    return {"ram": {int(name[2:5], 16): exactly(int(value, 16), 16) for name, value in initial.items()
                    if name.startswith("M[")}}


def registers(path: Datapath, ran: Ran) -> dict[str, int]:
    """What the registers hold after a clock, all of it known."""
    found = {}
    for name, width in WIDTHS.items():
        bits = ran.held[path.terms.leaf("register", name.lower(), width)]
        assert bits.known == (1 << width) - 1
        found[name] = bits.value
    return found


def instruction(path: Datapath, memories: Memories) -> list[Ran]:
    """The clocks of one instruction, the last one, which clears SC, included."""
    sc = path.terms.leaf("state", "sc", 4)
    found = []
    for ran in run(path, memories, lambda cycle: {}):
        found.append(ran)
        if ran.held[sc] == Ternary(0, 15) or len(found) == 16:
            return found
    raise AssertionError


def numbers(row: dict[str, Any]) -> dict[str, int]:
    return {name: int(str(row[name]), 16) for name in WIDTHS if row.get(name) is not None}


@pytest.mark.parametrize("case", ["p5_12_add_indirect", "course_lda_indirect"])
def test_every_register_after_every_clock(case: str) -> None:
    initial, trace = CASES[case]["initial"], CASES[case]["trace_after_each_clock"]
    path = computer(initial)
    clocks = instruction(path, ram(initial))
    assert [registers(path, ran) for ran in clocks] == [numbers(row) for row in trace]
    assert len(clocks) == len(trace) == 6


def test_a_carry_that_goes_nowhere_would_be_seen() -> None:
    initial, trace = CASES["p5_12_add_indirect"]["initial"], CASES["p5_12_add_indirect"]["trace_after_each_clock"]
    path = computer(initial, MACHINE.replace("loads sum[16] when function is add", "loads e when function is add"))
    after = [registers(path, ran) for ran in instruction(path, ram(initial))]
    assert after[:5] == [numbers(row) for row in trace[:5]] and after[5] != numbers(trace[5])


@pytest.mark.parametrize("row", CASES["p5_9_register_reference"]["after"], ids=lambda row: row["instr"])
def test_register_reference_instructions(row: dict[str, Any]) -> None:
    initial = CASES["p5_9_register_reference"]["initial"]
    path = computer(initial)
    clocks = instruction(path, ram({f"M[{initial['PC']}]": row["IR"]}))
    wanted, found = numbers(row), registers(path, clocks[-1])
    assert {name: found[name] for name in wanted} == wanted and len(clocks) == 4
    assert clocks[-1].held[path.terms.leaf("state", "s", 1)].value == (row["instr"] != "HLT")


@pytest.mark.parametrize("row", CASES["p5_10_memory_reference"]["after"], ids=lambda row: row["instr"])
def test_memory_reference_instructions(row: dict[str, Any]) -> None:
    """The published clocks: 5 for STA and BUN, 6 for AND, ADD, LDA and BSA, 7 for ISZ (table 5-4 ff., from memory)."""
    initial = CASES["p5_10_memory_reference"]["initial"]
    path, memories = computer(initial), ram({**initial, f"M[{initial['PC']}]": row["IR"]})
    clocks = instruction(path, memories)
    for written in clocks[-1].written:
        assert written.address is not None
        memories[written.memory][written.address] = written.value
    wanted, found = numbers(row), registers(path, clocks[-1])
    assert {name: found[name] for name in wanted} == wanted
    assert memories["ram"][0x83] == exactly(int(row["M083"], 16), 16)
    assert len(clocks) == {"STA": 5, "BUN": 5, "ISZ": 7}.get(row["instr"], 6)


def halted(program: dict[int, int], start: int, most: int = 4000) -> tuple[dict[str, int], dict[int, int], int]:
    """Registers and memory when the machine has stopped, and how many instructions it took."""
    path = computer({"PC": f"{start:X}"})
    memories: Memories = {"ram": {address: exactly(word, 16) for address, word in program.items()}}
    sc, s = path.terms.leaf("state", "sc", 4), path.terms.leaf("state", "s", 1)
    count = 0
    for ran in islice(run(path, memories, lambda cycle: {}), most):
        count += ran.held[sc].value == 0
        if ran.held[s] == Ternary(0, 1):
            return registers(path, ran), {at: bits.value for at, bits in memories["ram"].items()}, count
    raise AssertionError("it did not stop")


def listing(text: str) -> dict[int, int]:
    return {int(line.split()[0], 16): int(line.split()[1], 16) for line in text.split(",")}


@pytest.mark.parametrize("case", ["p6_2_subroutine", "p6_2_variant", "table6_add_two_numbers"])
def test_programs(case: str) -> None:
    row = CASES[case]
    program = listing(row["program"])
    found, memory, count = halted(program, min(program))
    assert count == row["instructions"]
    assert "AC" not in row or found["AC"] == int(row["AC"], 16)
    for name, value in row.items():
        if name.startswith("M["):
            assert memory[int(name[2:5], 16)] == int(value, 16)


def test_the_product_of_two_numbers() -> None:
    row = CASES["table6_14_multiply"]
    _, memory, count = halted({0x100 + at: int(word, 16) for at, word in enumerate(row["program_at_100"])}, 0x100)
    assert (memory[0x114], count) == (int(row["P"], 16), row["instructions"])


@settings(deadline=None, max_examples=12)
@given(st.integers(0, 255), st.integers(0, 255))
def test_other_products(one: int, other: int) -> None:
    program = {0x100 + at: int(word, 16) for at, word in enumerate(CASES["table6_14_multiply"]["program_at_100"])}
    _, memory, _ = halted({**program, 0x112: one, 0x113: other}, 0x100)
    assert memory[0x114] == one * other
