"""Programs by chance on heron's microprogram, and instruction by instruction as the manual has it: what a programmer
sees is the same whenever an instruction is fetched, and memory at the end."""

from functools import cache
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.data.model import Memories
from ordain.data.partial import exactly
from ordain.data.run import run
from tests.data.isa import Programmer
from tests.data.test_heron_programs import heron

WIDTHS = {"acc": 8, "tally": 8, "flags": 3, "sp": 16, "x": 16, "y": 16, "pc": 16}
LEFT_OUT = ("rest", "undefined", "go x", "go y", "go nn", "call nn", "return", "return from service", "repeat nn")
"""What waits for the loom, or goes somewhere by chance; the programs have most of them in places of their own."""
START = 0xE100


@cache
def titles() -> dict[int, str]:
    path, opcodes, _ = heron()
    named = {opcode: title for title, opcode in opcodes.items()}
    entry = path.contents.words["entry"]
    first = {address: title for title, (store, addresses) in path.contents.labels.items() if title in opcodes
             for address in addresses}
    return named | {opcode: first[entry[opcode]] for opcode in range(256)
                    if opcode not in named and entry[opcode] in first}


def operands(title: str) -> int:
    return 2 if "nn" in title else 1 if title.endswith(" n") or title.startswith(("feel", "lift")) else 0


def program(seed: int) -> bytearray:
    """65536 bytes: RAM by chance; instructions with loops, jumps over some, calls, and traps that come back."""
    random = Random(seed)
    codes = heron()[1]
    memory = bytearray(random.randbytes(1 << 16))
    memory[0xE000:0xE003] = bytes([codes["go nn"], START & 255, START >> 8])
    for service in (0xE020, 0xE030):
        memory[service] = codes["return from service"]
    usual = [title for title in codes if title not in LEFT_OUT]
    in_loops = [title for title in usual if title not in ("move", "fill", "pull tally", "store a, k", "load k, n")
                and not title.startswith("go ")]

    def some(choices: list[str], count: int) -> bytes:
        found = b""
        for _ in range(count):
            title = random.choice(choices)
            if random.random() < 0.04:
                found += bytes([random.choice((0x43, 0x4B, 0x9C, 0xFF))])       # undefined
                continue
            low, high = random.randrange(256), random.choice((0x20, 0x20, 0x21, 0xC8, 0xE1, 0x00, 0xFF))
            found += bytes([codes[title], low, high][:1 + operands(title)])
        return found

    plain = [title for title in usual if not title.startswith("go ")]
    subroutine = bytes([codes["push x"], codes["add a, n"], 7, codes["pull y"], codes["return"]])
    memory[0xF000:0xF000 + len(subroutine)] = subroutine
    text = bytes([codes["clear a"], codes["load k, n"], random.randrange(4), codes["load sp, nn"], 0x80, 0x1F,
                  codes["load x, nn"], random.randrange(256), 0x20, codes["load y, nn"], random.randrange(256), 0x21])
    for _ in range(random.randrange(2, 9)):
        match random.randrange(5):
            case 0:
                text += bytes([codes["load k, n"], random.randrange(1, 4)])
                at = START + len(text)
                text += some(in_loops, random.randrange(1, 4)) + bytes([codes["repeat nn"], at & 255, at >> 8])
            case 1:
                over = some(plain, random.randrange(1, 4))
                at = START + len(text) + 3 + len(over)
                text += bytes([codes[random.choice([title for title in usual if title.startswith("go nn ")])],
                               at & 255, at >> 8]) + over
            case 2:
                text += bytes([codes["load sp, nn"], 0x80, 0x1F, codes["call nn"], 0x00, 0xF0])
            case 3:
                text += bytes([codes["load sp, nn"], random.randrange(8, 256), 0x1E, codes["load k, n"],
                               random.randrange(4), codes[random.choice(("move", "fill"))]])
            case _:
                text += some(plain, random.randrange(1, 6))
    memory[START:START + len(text) + 1] = text + bytes([codes["stop"]])
    return memory


def seen(person: Programmer) -> dict[str, int]:
    return {name: getattr(person, name) for name in WIDTHS}


def differences(seed: int, person_of: type[Programmer] = Programmer, most: int = 6000) -> tuple[list[str], int]:
    """Where the two part, and how many instructions they went together."""
    path, _, stop = heron()
    memory = program(seed)
    person = person_of(bytearray(memory), titles())
    cells: Memories = {"memory": {at: exactly(byte, 8) for at, byte in enumerate(memory)}}
    home = path.machine.home
    assert home is not None
    leaves = {name: path.terms.leaf("register", name, width) for name, width in WIDTHS.items()}
    count = 0
    for ran in run(path, cells, lambda cycle: {}, (home, stop)):
        if ran.seen[0].value:
            if count:
                person.step()
            found = {name: ran.moment.held[leaf] for name, leaf in leaves.items()}
            wrong = [f"instruction {count + 1} at {person.pc:04X}: {name} {bits}, by the manual {seen(person)[name]:X}"
                     for name, bits in found.items()
                     if bits != exactly(seen(person)[name], WIDTHS[name]) and (bits.known or count > 7)]
            count += 1
            if wrong:
                return wrong, count
        if ran.seen[1].value:
            break
        if ran.cycle > most:
            return [f"no end after {most} cycles"], count
    after = {at: bits.value for at, bits in cells["memory"].items()}
    return [f"memory {at:04X}: {after[at]:02X}, by the manual {byte:02X}"
            for at, byte in enumerate(person.memory) if after[at] != byte], count


@settings(deadline=None, max_examples=8)
@given(st.integers(0, 1 << 40))
def test_programs_by_chance(seed: int) -> None:
    wrong, _ = differences(seed)
    assert not wrong, wrong[:3]


def test_the_sample_has_every_instruction_and_goes_far() -> None:
    """By the manual alone, which is quick: what is left out is what waits for the loom or goes anywhere."""
    met: set[str] = set()
    for seed in range(300):
        person = Programmer(program(seed), titles())
        for _ in range(3000):
            title = titles().get(person.memory[person.pc], "undefined")
            met.add(title)
            if title == "stop" and person.pc >= START:
                break
            person.step()
    assert set(heron()[1]) - met <= {"rest", "go x", "go y"}


@pytest.mark.parametrize("name", ["alone", "operand", "flow", "push_word"])
def test_another_manual_would_be_noticed(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    class Other(Programmer):
        pass

    def forgetful(self: Programmer, *arguments: object) -> object:
        """Does as the manual says, and has the carry otherwise afterwards, or the stack."""
        told = getattr(Programmer, name)(self, *arguments)
        if name == "push_word":
            self.sp ^= 1
        else:
            self.carry ^= 1
        return told

    monkeypatch.setattr(Other, name, forgetful, raising=False)
    assert any(differences(seed, Other)[0] for seed in range(12))
