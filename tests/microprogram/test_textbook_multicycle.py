"""The control of a textbook's multicycle processor: Patterson & Hennessy, Computer Organization and Design, appendix
"Mapping Control to Hardware", written as microcode.

tests/reference/ph.json holds signals, states, dispatch tables and microprogram as remembered, the words derived from
the state table: all values are from memory and were not held against the printed page. The machine below says the same
in our language; the symbols of the columns of the microprogram are orders.
"""

import json

import pytest

from ordain.microprogram.model import Program
from ordain.placement.model import Placement
from ordain.placement.place import place
from tests.microprogram.compiled import REFERENCE, described, program_of

TABLE = json.loads((REFERENCE / "ph.json").read_text())

FIELDS = "\n".join(f"field {signal} 1 bit" for signal in TABLE["signals"])

MACHINE = f"""\
machine multicycle
microprogram "multicycle.micro"

store control 16 words of 18 bits
    address now

{FIELDS}
field AddrCtl 2 bits
    fetch      0
    dispatch_1 1
    dispatch_2 2
    seq        3

store dispatch1 64 words of 4 bits
    address op
store dispatch2 64 words of 4 bits
    address op

state now 4 bits, reset 0
    next choose AddrCtl
        fetch     : 0
        dispatch_1: dispatch1.word
        dispatch_2: dispatch2.word
        seq       : now + 1
register op 6 bits, loads instruction[31:26] when IRWrite
bus instruction 32 bits, kept
    driven by memory when MemRead

order alu Add           : ALUOp1 0, ALUOp0 0
order alu Subt          : ALUOp1 0, ALUOp0
order alu Func_code     : ALUOp1, ALUOp0 0
order src1 PC           : ALUSrcA 0
order src1 A            : ALUSrcA
order src2 B            : ALUSrcB1 0, ALUSrcB0 0
order src2 four         : ALUSrcB1 0, ALUSrcB0
order src2 Extend       : ALUSrcB1, ALUSrcB0 0
order src2 Extshft      : ALUSrcB1, ALUSrcB0
order registers Read    : RegWrite 0
order registers Write ALU : RegDst, RegWrite
order registers Write MDR : MemtoReg, RegWrite
order memory Read PC    : IRWrite, MemRead
order memory Read ALU   : IorD, MemRead
order memory Write ALU  : IorD, MemWrite
order pc ALU            : PCWrite
order pc ALUOut_cond    : PCSource0, PCWriteCond
order pc Jump_address   : PCSource1, PCWrite
order Seq               : AddrCtl seq
order Fetch             : AddrCtl fetch
order Dispatch one      : AddrCtl dispatch_1
order Dispatch two      : AddrCtl dispatch_2
"""

SYMBOLS = {
    "ALU control": "alu", "SRC1": "src1", "SRC2": "src2", "Register control": "registers", "Memory": "memory",
    "PCWrite control": "pc",
}
OURS = {"Func code": "Func_code", "4": "four", "ALUOut-cond": "ALUOut_cond", "Jump address": "Jump_address",
        "Dispatch 1": "Dispatch one", "Dispatch 2": "Dispatch two"}


def micro() -> str:
    """The book's table, row by row, in our spelling."""
    lines = ["routine Fetch_cycle at 0"]
    for row in TABLE["microprogram"]:
        clauses = [f"{order} {OURS.get(row[column], row[column])}" for column, order in SYMBOLS.items() if row[column]]
        label = f"{row['Label']}: " if row["Label"] else ""
        lines.append(f"    {label}{', '.join([*clauses, OURS.get(row['Sequencing'], row['Sequencing'])])}")
    for store, targets in (("dispatch1", {"0110": "Rformat1", "1001": "JUMP1", "1000": "BEQ1", "0010": "Mem1"}),
                           ("dispatch2", {"0011": "LW2", "0101": "SW2"})):
        lines.append(f"map {store}")
        lines += [f"    0b{opcode}: {targets[row['value']]}" for opcode, row in TABLE[store].items()]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def built() -> tuple[Program, Placement]:
    machine = described(MACHINE)
    program = program_of(machine, micro())
    placement, findings = place(machine, program, None)
    assert placement is not None and not findings
    return program, placement


def test_all_ten_words(built: tuple[Program, Placement]) -> None:
    """The 18-bit words of states 0 to 9 (from memory)."""
    _, placement = built
    assert {state["state"]: state["word18"] for state in TABLE["states"]} == {
        address: f"{word:018b}" for address, word in sorted(placement.words["control"].items())}


@pytest.mark.parametrize("store", ["dispatch1", "dispatch2"])
def test_dispatch_tables(built: tuple[Program, Placement], store: str) -> None:
    """The rows of both dispatch ROMs, and nothing in their other cells (from memory)."""
    _, placement = built
    assert {opcode: row["value"] for opcode, row in TABLE[store].items()} == {
        f"{address:06b}": f"{word:04b}" for address, word in placement.words[store].items()}
    assert placement.unused[store] is None


def test_where_the_next_state_must_be_the_next_address(built: tuple[Program, Placement]) -> None:
    """Exactly the states with AddrCtl 3, "state + 1" (from memory), must be followed in the store."""
    program, placement = built
    follows = {placement.addresses[index][0] for index, word in enumerate(program.words) if word.succeeds}
    assert follows == {state["state"] for state in TABLE["states"] if state["addrctl"] == 3}
