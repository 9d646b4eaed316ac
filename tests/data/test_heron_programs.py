"""Machine code on heron's microprogram, against the same in Python. The programs are ours; what an instruction does to
the accumulator and the flags is said here a second time, from the manual in microcode/README.md."""

from binascii import crc_hqx
from functools import cache
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.data.datapath import Datapath
from ordain.data.model import Record
from ordain.data.partial import exactly
from ordain.data.record import recorded
from ordain.machine.expression import Node
from ordain.pipeline import build_model

HERON = Path(__file__).parents[2] / "microcode" / "heron.machine"
ROM = 0xE000


@cache
def heron() -> tuple[Datapath, dict[str, int], Node]:
    """The machine, its first opcode by title, and the condition that it stops."""
    built, findings = build_model(HERON)
    assert built is not None, findings
    opcodes: dict[str, int] = {}
    for use in built.program.opcodes:
        opcodes.setdefault(use.title, use.opcode)
    path = Datapath(built.contents)
    stop = path.terms.leaf("at", "stop", 1)
    return path, opcodes, stop


def ran(program: list[str | int], data: dict[int, int] | None = None, most: int = 20_000) -> Record:
    """Titles of instructions and bytes from the beginning of the ROM on, until `stop`."""
    path, opcodes, stop = heron()
    code = [opcodes[part] if isinstance(part, str) else part for part in [*program, "stop"]]
    cells = {ROM + at: exactly(byte, 8) for at, byte in enumerate(code)}
    cells.update((at, exactly(byte, 8)) for at, byte in (data or {}).items())
    titles = {title for title in opcodes if title in path.contents.labels}
    found = recorded(path, {"memory": cells}, lambda cycle: {}, stop, most, None, titles, kept="nothing", steady=0)
    assert found.ending == "until" and not found.findings, found.findings
    return found


def value(found: Record, name: str) -> int:
    bits, width = found.held[name]
    assert bits.known == (1 << width) - 1, f"{name} is not known"
    return bits.value


def byte(found: Record, address: int) -> int:
    bits = found.memories["memory"][address]
    assert bits.known == 0xFF
    return bits.value


# ---------------------------------------------------------------- one instruction after another

OPERATORS = ("add", "add_carry", "subtract", "subtract_carry", "both", "either", "differ", "load")
ALONE = ("invert a", "clear a", "increase a", "decrease a", "shift_left a", "shift_right a", "roll_left a",
         "roll_right a")


def done(title: str, a: int, n: int, carry: int) -> tuple[int, int]:
    """Accumulator and carry after an instruction."""
    match title.split()[0]:
        case "add":
            return (a + n) % 256, (a + n) // 256
        case "add_carry":
            return (a + n + carry) % 256, (a + n + carry) // 256
        case "subtract":
            return (a - n) % 256, int(a < n)
        case "subtract_carry":
            return (a - n - carry) % 256, int(a < n + carry)
        case "both":
            return a & n, carry
        case "either":
            return a | n, carry
        case "differ":
            return a ^ n, carry
        case "load":
            return n, carry
        case "invert":
            return 255 - a, carry
        case "clear":
            return 0, 0
        case "increase":
            return (a + 1) % 256, int(a == 255)
        case "decrease":
            return (a - 1) % 256, int(a == 0)
        case "shift_left":
            return a * 2 % 256, a // 128
        case "shift_right":
            return a // 2, a % 2
        case "roll_left":
            return (a * 2 + carry) % 256, a // 128
        case "roll_right":
            return a // 2 + carry * 128, a % 2
    raise ValueError(title)


steps = st.lists(st.one_of(st.tuples(st.sampled_from([f"{name} a, n" for name in OPERATORS]), st.integers(0, 255)),
                           st.tuples(st.sampled_from(ALONE), st.none())), min_size=1, max_size=12)


@settings(deadline=None, max_examples=25)
@given(steps)
def test_any_row_of_instructions_does_what_the_manual_says(given_steps: list[tuple[str, int | None]]) -> None:
    program: list[str | int] = ["clear a"]
    a = carry = 0
    for title, n in given_steps:
        program += [title] if n is None else [title, n]
        a, carry = done(title, a, n or 0, carry)
    found = ran(program)
    assert (value(found, "acc"), value(found, "flags")) == (a, (a >> 7) << 2 | carry << 1 | (a == 0))


# ---------------------------------------------------------------- programs


@settings(deadline=None, max_examples=6)
@given(st.integers(0, 255), st.integers(1, 12))
def test_a_product_by_sums(one: int, other: int) -> None:
    """16 bits: the sum in memory, low byte first."""
    low, high = 0x2000, 0x2001
    loop = ROM + 13
    program: list[str | int] = [
        "load a, n", 0, "store a, [nn]", low & 255, low >> 8, "store a, [nn]", high & 255, high >> 8,
        "load k, n", other, "load a, n", 0, "clear a",
        "load a, [nn]", low & 255, low >> 8, "add a, n", one, "store a, [nn]", low & 255, low >> 8,
        "load a, [nn]", high & 255, high >> 8, "add_carry a, n", 0, "store a, [nn]", high & 255, high >> 8,
        "repeat nn", loop & 255, loop >> 8]
    found = ran(program)
    assert byte(found, low) + 256 * byte(found, high) == one * other


@settings(deadline=None, max_examples=5)
@given(st.binary(min_size=1, max_size=3))
def test_the_check_sum_of_the_ccitt_over_some_bytes(message: bytes) -> None:
    """CRC-16 with 0x1021, most significant bit first, from 0: `binascii.crc_hqx` of Python's library. The bytes are at
    2100, the sum at 2000 (high) and 2001 (low)."""
    high, low, start = 0x2000, 0x2001, 0x2100
    program: list[str | int] = ["load x, nn", start & 255, start >> 8, "load a, n", 0,
                                "store a, [nn]", low & 255, low >> 8, "store a, [nn]", high & 255, high >> 8]
    for _ in message:
        program += ["load a, [x+]", "differ a, [nn]", high & 255, high >> 8, "store a, [nn]", high & 255, high >> 8,
                    "load k, n", 8]
        loop = ROM + len(program)
        program += ["load a, [nn]", low & 255, low >> 8, "shift_left a", "store a, [nn]", low & 255, low >> 8,
                    "load a, [nn]", high & 255, high >> 8, "roll_left a", "store a, [nn]", high & 255, high >> 8]
        after = ROM + len(program) + 3 + 13
        program += ["go nn unless carry", after & 255, after >> 8,
                    "differ a, n", 0x10, "store a, [nn]", high & 255, high >> 8,
                    "load a, [nn]", low & 255, low >> 8, "differ a, n", 0x21, "store a, [nn]", low & 255, low >> 8]
        assert ROM + len(program) == after
        program += ["repeat nn", loop & 255, loop >> 8]
    found = ran(program, {start + at: each for at, each in enumerate(message)})
    assert byte(found, high) * 256 + byte(found, low) == crc_hqx(message, 0)
