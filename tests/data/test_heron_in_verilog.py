"""Whole programs on heron in Icarus Verilog, from the chips' images on: what they leave in memory is what Python's own
arithmetic says, and what our run leaves there.

Icarus Verilog: https://github.com/steveicarus/iverilog, IEEE 1364-2005.
"""

import binascii
import shutil
from pathlib import Path
from random import Random

import pytest

from ordain.data.datapath import Datapath
from ordain.data.partial import exactly
from ordain.pipeline import build_model
from tests.data.test_heron_longer import (
    LEFT,
    LENGTH,
    MESSAGE,
    REST,
    RIGHT,
    ROW,
    SUM,
    Lines,
    assembled,
    crc_program,
    order_program,
    product_program,
    quotient_program,
    word,
)
from tests.data.test_heron_programs import HERON, ROM, heron, ran
from tests.twin.comparing import simulated

pytestmark = pytest.mark.skipif(shutil.which("iverilog") is None, reason="wants Icarus Verilog: apt install iverilog")

CHANCE = Random(61)
ONE, OTHER = CHANCE.randrange(1 << 16), CHANCE.randrange(1, 1 << 12)
BYTES = CHANCE.randbytes(4)
PAIR = {LEFT: ONE & 255, LEFT + 1: ONE >> 8, RIGHT: OTHER & 255, RIGHT + 1: OTHER >> 8}


@pytest.mark.parametrize(("program", "data", "left"), [
    (product_program(), PAIR, {REST: (ONE * OTHER >> 16, 2), LEFT: (ONE * OTHER & 0xFFFF, 2)}),
    (quotient_program(), PAIR, {LEFT: (ONE // OTHER, 2), REST: (ONE % OTHER, 2)}),
    (order_program(4), {ROW + at: each for at, each in enumerate(BYTES)},
     {ROW: (int.from_bytes(sorted(BYTES), "little"), 4)}),
    (crc_program(), {LENGTH: 2, MESSAGE: BYTES[0], MESSAGE + 1: BYTES[1]}, {SUM: (binascii.crc32(BYTES[:2]), 4)})],
    ids=["product", "quotient", "order", "CRC-32"])
def test_a_program_ends_with_the_same_in_memory(program: Lines, data: dict[int, int],
                                                left: dict[int, tuple[int, int]], tmp_path: Path) -> None:
    """`left`: address -> (value, bytes), the lowest first, by Python."""
    built, _ = build_model(HERON)
    assert built is not None
    code = assembled(program)
    found = ran(code, data)
    opcodes = heron()[1]
    cells = {ROM + at: exactly(opcodes[part] if isinstance(part, str) else part, 8)
             for at, part in enumerate([*code, "stop"])}
    cells.update((at, exactly(each, 8)) for at, each in data.items())
    simulated(Datapath(built.contents), built.images, {"memory": cells}, [{}] * found.cycles, tmp_path)
    lines = [line for line in (tmp_path / "memory.after").read_text().splitlines() if not line.startswith("//")]
    after = {at: int(digits, 2) for at, digits in enumerate(lines) if digits.isdecimal()}
    assert {at: word(after, at, count) for at, (_, count) in left.items()} == {
        at: value for at, (value, _) in left.items()}
    assert after == {at: bits.value for at, bits in found.memories["memory"].items() if bits.known == 0xFF}
