"""The control store of a textbook: M. Morris Mano, Computer System Architecture, 3rd ed. (1993), chapter 7.

tests/reference/mano.json holds tables 7-1 to 7-3 as remembered, the binary rows derived from the symbols: all values
are from memory and were not held against the printed page. mano.machine and mano.micro say the same in our language.
"""

import json

import pytest

from ordain.microprogram.compile import compile_program
from ordain.microprogram.model import Program
from ordain.placement.model import Placement
from ordain.placement.place import place
from tests.microprogram.compiled import REFERENCE, described, parse_microprogram

TABLE = json.loads((REFERENCE / "mano.json").read_text())


@pytest.fixture(scope="module")
def built() -> tuple[Program, Placement]:
    machine = described((REFERENCE / "mano.machine").read_text())
    file, unreadable = parse_microprogram({"mano.micro": (REFERENCE / "mano.micro").read_text()}, ["mano.micro"])
    assert file is not None and not unreadable
    program, findings = compile_program(machine, file)
    assert [finding.name for finding in findings] == ["opcode-gap"]     # the book defines 4 of its 16 opcodes
    assert program is not None
    placement, findings = place(machine, program, None)
    assert placement is not None and not findings
    return program, placement


def test_every_word_of_the_table(built: tuple[Program, Placement]) -> None:
    """Table 7-3 with its fill rows, which hold a jump to FETCH (from memory)."""
    _, placement = built
    words = placement.words["control"]
    for row in TABLE["binary"]:
        word = placement.unused["control"] if row["fill"] else words[row["address"]]
        assert f"{word:020b}" == row["word"], row["address"]
        assert word == int(row["hex"], 16)
    assert sorted(words) == [row["address"] for row in TABLE["binary"] if not row["fill"]]


def test_the_addresses_of_its_labels(built: tuple[Program, Placement]) -> None:
    """Table 7-2: the addresses of the symbolic rows with a label (from memory)."""
    program, placement = built
    for row in TABLE["symbolic"]:
        if row["label"]:
            assert placement.addresses[program.labels[row["label"]]] == (row["address"],), row["label"]


def test_the_mapping_of_opcodes(built: tuple[Program, Placement]) -> None:
    """The start of an instruction is 0xxxx00 for opcode xxxx (from memory)."""
    program, placement = built
    for title, opcode in TABLE["opcodes"].items():
        assert placement.addresses[program.labels[title]] == (int(opcode, 2) * 4,)
    assert [(use.opcode, use.title, use.others) for use in program.opcodes] == [
        (int(opcode, 2), title, False) for title, opcode in TABLE["opcodes"].items()]


def test_one_wrong_symbol_shows() -> None:
    """The test can fail: with SUB for READ in the book's second row exactly that word differs."""
    machine = described((REFERENCE / "mano.machine").read_text().replace("order READ : F2 READ", "order READ : F2 SUB"))
    file, _ = parse_microprogram({"mano.micro": (REFERENCE / "mano.micro").read_text()}, ["mano.micro"])
    assert file is not None
    program, _ = compile_program(machine, file)
    assert program is not None
    placement, _ = place(machine, program, None)
    assert placement is not None
    different = [row["address"] for row in TABLE["binary"] if not row["fill"]
                 and placement.words["control"][row["address"]] != int(row["hex"], 16)]
    assert different == [row["address"] for row in TABLE["symbolic"] if "READ" in row["ops"]]
