"""Opcodes, wired starts, mapping stores, maps, worked-out stores."""

import pytest

from ordain.placement.place import place
from tests.microprogram.compiled import compiled, described, faults, placed, program_of

MACHINE = """\
machine small
store control 64 words of 8 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    begin 2
field target 6 bits address, idle 0
store entry 16 words of 6 bits
    address ir
    word start of instruction
store more 8 words of 6 bits
    address kind
store decoder 32 words of 3 bits
    address {{kind, ir[3:2]}}
    word {0}
state upc 6 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        begin: entry.word
        otherwise: more.word
register ir 4 bits, loads data when branch is begin
register kind 3 bits, loads data[2:0] when branch is begin
bus data 4 bits, floats
    driven by memory
order goto <there>: branch jump, target <there>
order begin: branch begin
"""

SOUND = described(MACHINE.format("kind"))

ALL = 'instruction others "rest"\n    begin\n'


@pytest.mark.parametrize(("text", "found"), [
    ('instruction 1 "a"\n    begin\ninstruction 2 "b"\n    begin\n' + ALL, []),
    ('instruction 1 "a"\n    begin\ninstruction 1 "b"\n    begin\n' + ALL,
     ["3:13: opcode-clash: opcode 0x1 means `a` and `b`"]),
    ('instruction 0b00xx "a"\n    begin\ninstruction 0bx11x "b"\n    begin\n' + ALL, []),
    ('instruction 0b0xxx "a"\n    begin\ninstruction 0bx11x "b"\n    begin\n' + ALL,
     ["3:13: opcode-clash: opcode 0x6-0x7 means `a` and `b`"]),
    ('instruction 3, 3 "a"\n    begin\n' + ALL, ["1:16: opcode-clash: opcode 0x3 means `a` and `a`"]),
    ('instruction 15 "a"\n    begin\n' + ALL, []),
    ('instruction 16 "a"\n    begin\n' + ALL, ["1:13: too-wide: opcode 0x10 needs 5 bits, an opcode has 4"]),
    ('instruction 0b0xxx "a"\n    begin\ninstruction 0b1xxx "b"\n    begin\n', []),
    ('instruction 0b0xxx "a"\n    begin\ninstruction 0b11x1 "b"\n    begin\n',
     ["3:1: opcode-gap: 6 of 16 opcodes mean nothing: 0x8-0xC, 0xE"]),
    ('instruction 0bxxxx "a"\n    begin\n' + ALL, ["3:1: unused-others: every opcode has an instruction of its own"]),
    (ALL + ALL.replace("rest", "more"), ["3:1: defined-twice: `instruction others` stands twice"]),
])
def test_opcodes_and_their_faults(text: str, found: list[str]) -> None:
    assert faults(SOUND, text) == [f"small.micro:{each}" for each in found]


def test_which_instruction_an_opcode_has() -> None:
    program = program_of(SOUND, 'instruction 5, 0b001x "a"\n    begin\n' + ALL)
    assert {use.opcode: use.title for use in program.opcodes if not use.others} == {2: "a", 3: "a", 5: "a"}
    assert {use.title for use in program.opcodes if use.others} == {"rest"} and len(program.opcodes) == 16


def test_the_cells_of_a_mapping_store() -> None:
    placement = placed(SOUND, 'instruction 5, 0b001x "a" at 0x21\n    begin\n' + ALL.replace('"rest"', '"rest" at 9'))
    assert placement.words["entry"] == {opcode: 0x21 if opcode in (2, 3, 5) else 9 for opcode in range(16)}


def test_a_mapping_store_with_another_address_line() -> None:
    """Opcodes are part of its address; the cells are the same for both levels of the other line."""
    text = MACHINE.format("kind").replace("entry 16 words", "entry 32 words").replace(
        "    address ir\n", "    address {ir, kind[0]}\n    instruction ir\n")
    placement = placed(described(text), 'instruction 5 "a" at 7\n    begin\n' + ALL.replace('"rest"', '"rest" at 9'))
    assert placement.words["entry"] == {cell: 7 if cell >> 1 == 5 else 9 for cell in range(32)}


def test_a_mapping_store_with_fewer_words_than_opcodes() -> None:
    text = MACHINE.format("kind").replace("entry 16 words", "entry 12 words")
    placement = placed(described(text), ALL.replace('"rest"', '"rest" at 9'))
    assert placement.words["entry"] == dict.fromkeys(range(12), 9)


def test_a_mapping_store_too_narrow_for_an_address() -> None:
    """Four bits reach sixteen words."""
    text = MACHINE.format("kind").replace("store entry 16 words of 6 bits", "store entry 16 words of 4 bits").replace(
        "begin: entry.word", "begin: {0b00, entry.word}")
    micro = 'routine first at 0\n' + "    branch step\n" * 30 + '    begin\ninstruction 0bxxxx "a"\n    begin\n'
    program = program_of(described(text), micro)
    placement, findings = place(described(text), program, None)
    assert placement is None and findings[0].name == "over-full"
    placement, _ = place(described(text), program_of(described(text), micro.replace(" at 0", " at 16")), None)
    assert placement is not None and set(placement.words["entry"].values()) == {0}


WIRED = """\
machine small
store control 64 words of 8 bits
    address upc
    starts at {0}
field branch 2 bits
    step 0 idle
    jump 1
    begin 2
field target 6 bits address, idle 0
state upc 6 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        begin: {0}
        otherwise: 0
register ir 4 bits, loads data when branch is begin
bus data 4 bits, floats
    driven by memory
order goto <there>: branch jump, target <there>
order begin: branch begin
"""


def test_wired_starts() -> None:
    machine = described(WIRED.replace("{0}", "{0b0, ir, 0b0}"))
    placement = placed(machine, 'instruction 3, 8 "a"\n    branch step\n    begin\n' + ALL)
    assert placement.addresses[0] == (6, 16) and placement.addresses[1] == (7, 17)
    assert set(placement.addresses[2]) == {2 * opcode for opcode in range(16)} - {6, 16}


def test_wired_starts_that_are_too_near() -> None:
    machine = described(WIRED.replace("{0}", "{0b0, ir, 0b0}"))
    program = program_of(machine, 'instruction 3 "a"\n    branch step\n    branch step\n    begin\n' + ALL)
    placement, (finding,) = place(machine, program, None)
    assert placement is None
    assert finding.message == "the slot of opcode 0x3 holds 2 words, needs 3"


def test_opcodes_without_a_way_to_them() -> None:
    text = WIRED.replace("    starts at {0}\n", "").replace("{0}", "0")
    assert faults(described(text), "routine one\n    goto one\n") == []
    assert faults(described(text), 'routine one\n    goto one\ninstruction 1 "a"\n    begin\n') == [
        "small.micro:3:1: no-opcodes: nothing says where an instruction starts"]


MAP = """\
routine one at 1
    begin
routine two at 2
    begin
map more
    {0}: one
    {1}: two
"""


@pytest.mark.parametrize(("first", "second", "cells"), [
    ("0", "1", {0: 1, 1: 2}),
    ("0b0x1", "0b1xx", {1: 1, 3: 1, 4: 2, 5: 2, 6: 2, 7: 2}),
    ("0, 7", "others", {cell: 1 if cell in (0, 7) else 2 for cell in range(8)}),
    ("others", "6", {cell: 2 if cell == 6 else 1 for cell in range(8)}),
])
def test_rows_of_a_map(first: str, second: str, cells: dict[int, int]) -> None:
    placement = placed(SOUND, MAP.format(first, second))
    assert placement.words["more"] == cells


@pytest.mark.parametrize(("text", "found"), [
    (MAP.format("0", "1"), []),
    (MAP.format("0", "0"), ["7:5: opcode-clash: 0x0 of `more` leads to two places"]),
    (MAP.format("0bx0x", "0b0xx"), ["7:5: opcode-clash: 0x0-0x1 of `more` leads to two places"]),
    (MAP.format("0", "8"), ["7:5: too-wide: `more` has no address 0x8"]),
    (MAP.format("others", "others"), ["7:5: defined-twice: `others` of `more` stands twice"]),
    (MAP.format("0", "1").replace(": two", ": tow"), ["7:8: unknown-label: there is no label `tow`"]),
    (MAP.format("0", "1").replace("map more", "map mroe"), ["5:5: unknown-name: there is no store `mroe`"]),
    (MAP.format("0", "1").replace("map more", "map control"),
     ["5:5: wrong-kind: `control` is not filled by a map"]),
])
def test_maps_and_their_faults(text: str, found: list[str]) -> None:
    assert faults(SOUND, text) == [f"small.micro:{each}" for each in found]


@pytest.mark.parametrize(("word", "value"), [
    ("kind", lambda kind, high: kind),
    ("{high, kind[0]}", lambda kind, high: high << 1 | kind & 1),
    ("{not kind[2], parity(kind), high is 3}",
     lambda kind, high: (1 - (kind >> 2)) << 2 | (kind.bit_count() & 1) << 1 | (high == 3)),
    ("kind + 3", lambda kind, high: (kind + 3) % 8),
    ("kind - 3", lambda kind, high: (kind - 3) % 8),
    ("kind if high[1] else 0b101", lambda kind, high: kind if high & 2 else 5),
    ("{kind < 5, kind > 2, kind in (1, 6)}",
     lambda kind, high: (kind < 5) << 2 | (kind > 2) << 1 | (kind in (1, 6))),
    ("kind xor {high, 0b1}", lambda kind, high: kind ^ (high << 1 | 1)),
    ("{high is kind[1:0], kind < {0b0, high}, 0b0}",
     lambda kind, high: (high == kind & 3) << 2 | (kind < high) << 1),
])
def test_a_worked_out_store(word: str, value: object) -> None:
    """Every cell against plain arithmetic."""
    machine = described(MACHINE.format(word).replace("high", "ir[3:2]"))
    program, _ = compiled(machine, "routine one\n    begin\n")
    assert program is not None
    assert list(program.computed["decoder"]) == [
        int(value(address >> 2, address & 3)) for address in range(32)]  # type: ignore[operator]
