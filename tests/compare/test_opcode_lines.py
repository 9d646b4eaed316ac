"""Instructions are numbered by lines: when these are crossed or left out, what counts is what is done at which levels
of the lines, and not the number."""

from collections.abc import Callable

import pytest

from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared

TOP = """\
machine quay
microprogram "m.micro"
store control 32 words of 12 bits
    address CONTROL
field go     2 bits
    step 0 idle
    jump 1
    look 2
field target 5 bits address, idle 0
field lift   1 bit
field lower  1 bit
spare 3 bits
"""
SEQUENCER = """\
state upc 5 bits, reset 0
    next choose go
        step: upc + 1
        jump: target
        look: LOOK
        otherwise: 0
home upc is 0
"""
REST = """\
register op 2 bits, reset any, loads rope when lift and lower
bus rope 2 bits, pulled low
    driven by drum when lift
"""
BACK: dict[str, int | str] = {"go": "jump", "target": 0}
DOES: dict[str, dict[str, int | str]] = {"up": {"lift": 1, **BACK}, "down": {"lower": 1, **BACK}}
PLACES = {"up": 8, "down": 10}
Rows = tuple[str, ...]
"""What is done at each number."""


def begun() -> dict[int, Word]:
    return {0: Word("fetch", {"lift": 1, "lower": 1}), 1: Word("fetch", {"go": "look"})}


def by_table(lines: str, rows: Rows) -> Contents:
    return _by_store(lines, rows, "    word start of instruction\n")


def by_map(lines: str, rows: Rows) -> Contents:
    return _by_store(lines, rows, "")


def _by_store(lines: str, rows: Rows, filled: str) -> Contents:
    store = f"store entry {len(rows)} words of 5 bits\n    address {{{lines}}}\n{filled}"
    return burned(resolved(TOP.replace("CONTROL", "upc") + store + SEQUENCER.replace("LOOK", "entry") + REST),
                  {**begun(), **{at: Word(name, DOES[name]) for name, at in PLACES.items()}},
                  tables={"entry": {number: PLACES[name] for number, name in enumerate(rows)}})


def by_wires(lines: str, rows: Rows) -> Contents:
    wired = f"{{0b1, 0b{0:0{2 - len(rows) // 4}b}, {lines}, 0b0}}"
    text = TOP.replace("CONTROL", f"upc\n    starts at {wired}\n    instruction {{{lines}}}")
    return burned(resolved(text + SEQUENCER.replace("LOOK", wired) + REST),
                  {**begun(), **{16 + 2 * number: Word(name, DOES[name]) for number, name in enumerate(rows)}})


def by_address(lines: str, rows: Rows) -> Contents:
    """Two steps each, of which the first fetches."""
    address = f"{{0b{0:0{3 - len(rows) // 4}b}, {lines}, step}}\n    instruction {{{lines}}}\n    step step"
    text = TOP.replace("CONTROL", address) + REST + "state step 1 bit, reset 0\n    next not step\nhome step is 0\n"
    return burned(resolved(text), {2 * number + step: Word(name, DOES[name] if step else {"lift": 1, "lower": 1})
                                   for number, name in enumerate(rows) for step in (0, 1)})


KINDS = {"table": by_table, "map": by_map, "wires": by_wires, "address": by_address}
STRAIGHT = "op[1], op[0]"
CROSSED: dict[str, Callable[[int], int]] = {
    STRAIGHT: lambda op: op, "op[0], op[1]": lambda op: op >> 1 | (op & 1) << 1,
    "op[1], not op[0]": lambda op: op ^ 1, "op[0]": lambda op: op & 1, "op[1]": lambda op: op >> 1}
"""The number that lines say, by what `op` is."""


@pytest.mark.parametrize(("kind", "lines"), [
    (kind, lines) for kind in KINDS for lines in CROSSED if "not" not in lines or kind == "map"
    if kind != "table" or lines != "op[0], op[1]"])    # turned or crossed, these are refused
def test_what_is_done_at_which_levels_of_the_lines(kind: str, lines: str) -> None:
    """Same is what does the same for every value of `op`, and nothing else: held to that with the rows that are nearest
    to it, and all that differ from these at one number."""
    number, was = CROSSED[lines], ("up", "up", "down", "up")
    old, count = KINDS[kind](STRAIGHT, was), len({number(op) for op in range(4)})
    near = tuple(next(was[op] for op in range(4) if number(op) == each) for each in range(count))
    for at in range(-1, count):
        rows = tuple(({"up": "down", "down": "up"}[name] if place == at else name) for place, name in enumerate(near))
        new = KINDS[kind](lines, rows)
        for one, other in ((old, new), (new, old)):
            told = [each for each in compared(one, other).units if each.status != "same"]
            assert bool(told) == any(was[op] != rows[number(op)] for op in range(4)), (rows, told)
