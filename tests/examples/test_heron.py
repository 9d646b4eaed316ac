"""heron: its size, and that its microprogram does what a programmer is told, opcode by opcode, run from the chips."""

import random
from pathlib import Path

import pytest

from tests.examples.loom import Board
from tests.examples.manual import Machine
from tests.examples.test_examples import built, changed, report_on

HERON = Path(__file__).parent.parent.parent / "microcode" / "heron.machine"
REST = 0x96


def test_it_is_of_real_size() -> None:
    made = built(HERON)
    instructions = [body for body in made.program.bodies if body.kind == "instruction" and body.name != "undefined"]
    assert len(instructions) >= 64
    assert len(made.placement.words["control"]) >= 300
    assert made.machine.stores["control"].bits == 60
    assert len(made.machine.agents) == 2
    assert len(made.machine.rules) >= 15


def test_everything_about_it_is_proved() -> None:
    report = report_on(HERON)
    assert [(found.name, found.message) for found in report.findings] == []
    assert {row.outcome for row in report.rows} == {"proved"} and report.stopped == ""
    assert {rule.text for rule in built(HERON).machine.rules} <= {row.subject for row in report.rows}
    assert report.states > 1_000_000


def test_its_rules_about_time_state_the_exact_worst_case() -> None:
    timed = [row for row in report_on(HERON).rows if row.check == "when-then"]
    assert len(timed) >= 5
    assert [row.worst for row in timed] == [row.cycles for row in timed]


FAULTS = [
    ("pause.micro", "lend: release, grant_console,", "lend: grant_console, point pc,", "contention", "address"),
    ("pause.micro", "column: release, grant_reader,", "column: grant_reader, count pc,", "lost-state", "pc"),
    ("pause.micro", "grant_console, lamps lent,", "grant_console,", "never", "the door says"),
    ("pause.micro", "leave: release, resume", "leave: release, finish", "after-never", "something gets done"),
    ("boundary.micro", "routine fetch at fetch_vector\n        point pc\n", "routine fetch at fetch_vector\n",
     "missing-hold", "address"),
    ("boundary.micro", "pick accept, ea_low", "ea_low", "never", "shuts the next one out"),
    ("boundary.micro", "loom stop, ea_low <- number, number 0x20", "ea_low <- number, number 0x20", "when-then",
     "stops the loom"),
    ("arithmetic.micro", "        point ea, backplane <- acc, write\n        point ea, backplane <- acc, finish",
     "        point ea, backplane <- acc, write, finish", "missing-hold", "data"),
    ("loom.micro", "        put temp along y\n        count tally\n        unless attention goto byte",
     "        put temp along y\n        count tally\n        goto byte", "when-then", "console gets"),
    ("loom.micro", "        unless pause goto wait,", "        goto wait,", "when-then", "console gets"),
    ("console.machine", "leaving  : leaving if grant_console else idle", "leaving  : idle", "contention", "address"),
    ("console.machine", "turning  : writing                  #", "turning  : holding                  #", "reach",
     "write"),
    ("console.machine", "looking  : leaving if not wants else (turning if press else looking)",
     "looking  : leaving if not wants else (writing if press else looking)", "turnaround", "data"),
    ("reader.machine", "holding  : leaving if second else stepping", "holding  : stepping", "when-then",
     "console gets"),
    ("heron.machine", "bus address 16 bits, floats, turnaround 1", "bus address 16 bits, floats, turnaround 4",
     "turnaround", "address"),
]


@pytest.mark.parametrize(("file", "old", "new", "check", "word"), FAULTS)
def test_a_fault_put_into_it_is_found(tmp_path: Path, file: str, old: str, new: str, check: str, word: str) -> None:
    report = report_on(changed(tmp_path, "microcode/heron.machine", file, old, new), check)
    assert any(finding.name == check and word in finding.message for finding in report.findings)


def board(seed: int) -> Board:
    """A board with memory and registers of no particular content."""
    dice = random.Random(seed)
    page = [dice.randrange(256) for _ in range(4096)]
    made = Board(built(HERON).images, lambda address: page[address % 4096 ^ address >> 12])
    made.start(acc=dice.randrange(256), temp=dice.randrange(256), tally=dice.randrange(20), flags=dice.randrange(8),
               **{pointer: dice.randrange(0x10000) for pointer in ("pc", "sp", "x", "y", "ea")})
    made.brake, made.pick_enabled = dice.randrange(2), dice.randrange(2)
    return made


@pytest.mark.parametrize("opcode", [opcode for opcode in range(256) if opcode != REST])
def test_an_instruction_does_what_the_programmer_is_told(opcode: int) -> None:
    for seed in range(8):
        made = board(seed << 8 | opcode)
        made.memory[made.registers["pc"]] = opcode
        before = dict(made.memory)
        told = Machine(made.registers, made.read, made.brake, made.pick_enabled)
        told._read = lambda address, before=before, made=made: before.get(address, made.background(address))
        told.obey()
        made.instruction()
        registers = made.registers
        assert (registers["acc"], registers["tally"], registers["flags"]) == (told.a, told.k, told.f)
        assert [registers[name] for name in ("pc", "sp", "x", "y")] == [told.pc, told.sp, told.x, told.y]
        assert made.memory == before | told.written
        assert (made.brake, made.pick_enabled) == (told.brake, told.enabled)


def test_power_up_stops_the_loom_and_begins_in_rom() -> None:
    made = board(1)
    made.upc, made.brake, made.pick_enabled = 0, 0, 1
    made.instruction()
    assert (made.registers["pc"], made.brake, made.pick_enabled) == (0xE000, 1, 0)


@pytest.mark.parametrize("seed", range(20))
def test_a_pick_is_served_between_two_instructions_and_the_program_goes_on(seed: int) -> None:
    """A service program of one instruction, `return from service`, leaves everything as it was."""
    made = board(seed)
    made.memory.update({made.registers["pc"]: 0x9B, 0xE010: 0x86})
    made.registers["sp"] = 0x4000
    made.pick_seen = made.pick_enabled = 1
    kept = {name: value for name, value in made.registers.items() if name not in ("temp", "ea", "ir")}
    made.instruction()
    assert made.registers["pc"] == 0xE010 and not made.pick_enabled and not made.pick_seen
    made.instruction()
    kept["pc"] = kept["pc"] + 1 & 0xFFFF
    assert {name: made.registers[name] for name in kept} == kept
    assert made.pick_enabled


@pytest.mark.parametrize(("opcode", "bytes_moved"), [(0x94, 5), (0x95, 5)])
def test_a_block_goes_on_after_every_pause(opcode: int, bytes_moved: int) -> None:
    """With somebody asking all the time, a byte is moved between two pauses, and all of them in the end."""
    made = board(opcode)
    made.memory[made.registers["pc"]] = opcode
    made.registers.update(tally=bytes_moved, x=0x1000, y=0x2000)
    expected = [made.read(0x1000 + at) if opcode == 0x94 else made.registers["acc"] for at in range(bytes_moved)]
    start, pauses = made.registers["pc"], 0
    for _ in range(2000):
        made.asked = 1
        made.clock()
        if made.granted:
            pauses += 1
            made.asked = 0
            while made.upc != 0x020:
                made.clock()
        if made.registers["pc"] != start and made.upc == 0x020 and made.registers["tally"] == 0:
            break
    assert [made.read(0x2000 + at) for at in range(bytes_moved)] == expected
    assert made.registers["tally"] == 0 and pauses >= bytes_moved


def test_rest_waits_for_a_pick_and_lends_the_backplane_meanwhile() -> None:
    made = board(3)
    start = made.registers["pc"]
    made.memory[start] = REST
    made.pick_enabled = 0
    for _ in range(50):
        made.clock()
    assert made.registers["pc"] == start + 1 and not made.granted
    made.asked = 1
    while not made.granted:
        made.clock()
    assert made.registers["pc"] == start
    made.asked, made.pick_seen = 0, 1
    while made.registers["pc"] != start + 1:
        made.clock()
    made.instruction()
    assert made.registers["pc"] == start + 1
