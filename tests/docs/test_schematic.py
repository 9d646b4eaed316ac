"""What docs/language.md says a part of the schematic becomes: each block of it stands in a machine that is proved, and
in one that is a step away and is not.

The rules say what the part does: its function in a maker's data sheet (named in tests/reference/functions.json), or
from memory where that says so."""

import json
import re
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.checks.reports import names, report
from tests.docs.test_language_blocks import FENCE, PAGE, dedent
from tests.planted.plant import Sound

SECTION = PAGE[PAGE.index("### From the schematic"):PAGE.index("## The microprogram\n")]
FUNCTIONS = json.loads((Path(__file__).parent.parent / "reference" / "functions.json").read_text())


class Row(NamedTuple):
    """`flags`: one-bit fields of the word. `beside`: lines of the machine file that the block takes for granted, and
    what the part must do, as rules. `words`: the microprogram, gone round for ever. `old`, `new`: what breaks it, in
    the block or the microprogram; `finding`: what is found then."""

    flags: str
    beside: str
    words: str
    old: str
    new: str
    finding: str


ROWS = {
    "Flip-flops": Row("", """\
input asked 1 bit, served 1 bit
rule "cleared at once" never served and waiting
rule "it waits" reach waiting
rule "what was asked for stays" never prior(asked and not served) and not served and not waiting
""", "target main", "waiting_held and not served", "waiting_held", "never"),
    "Registers with an enable": Row("load_acc show_acc read", "", "read, load_acc\nshow_acc", "read, load_acc",
                                    "read, load_acc, show_acc", "contention"),
    "A latch": Row("hold_open read look", "strobe look\n    shown steady 1 cycle before\n", "read, hold_open\n\nlook",
                   "read, hold_open", "read, hold_open, look", "missing-hold"),
    "Set and reset": Row("pressed clear_alarm", """\
rule "set at once, and reset" never pressed and not alarm or clear_alarm and alarm
rule "it stays" never prior(alarm) and not clear_alarm and not alarm
""", "pressed\n\nclear_alarm", "pressed\n\n", "pressed, clear_alarm\n\n", "double-load"),
    "A decoder": Row("refresh", """\
rule "one at a time" never acc_out and memory_out
rule "each of them" reach memory_out
""", "source acc\nsource memory\nsource memory, refresh", "source is memory and", "source[0] and", "never"),
    "A priority encoder": Row("", """\
input ask 4 bits
rule "the highest wins" never ask[3] and level is not 3 or ask[2] and level < 2
rule "the lowest is heard" reach level is 1 and ask is 2
rule "somebody" never asked is (ask is 0)
""", "target main", "3 if ask[3] else 2 if ask[2]", "2 if ask[2] else 3 if ask[3]", "never"),
    "Multiplexers": Row("second_half", """\
input flag_zero 1 bit, ready_2 1 bit, row 4 bits, column 4 bits
rule "not asked for" never tested and test is never
rule "passed on" never test is zero and tested is not flag_zero or test is ready and tested is not ready_2
rule "halves" never low_address is not (column if second_half else row)
""", "test zero\ntest ready\nsecond_half", "otherwise: 0", "otherwise: flag_zero", "never"),
    "Counters": Row("", """\
input clear 1 bit, load_count 1 bit, enable 1 bit, up 1 bit, down 1 bit, preset 4 bits
rule "clear goes first" never prior(clear) and count is not 0
rule "then load" never prior(load_count and not clear) and count is not prior(preset)
rule "then count" never prior(enable and not clear and not load_count) and count is not prior(count) + 1
rule "up" never prior(up) and level is not prior(level) + 1
rule "down" never prior(down and not up) and level is not prior(level) - 1
rule "ripple" reach ripple
""", "target main", "0 if clear else (preset if load_count else", "preset if load_count else (0 if clear else",
                    "never"),
    "Shift registers": Row("", """\
input serial 1 bit, mode (hold, right, left, load), data_in 4 bits
rule "left" never prior(mode is left) and bits is not {prior(bits[2:0]), prior(serial)}
rule "right" never prior(mode is right) and bits is not {prior(serial), prior(bits[3:1])}
rule "loaded" never prior(mode is load) and bits is not prior(data_in)
rule "one of the ring" never ring not in (1, 2, 4, 8)
rule "round" when ring is 1 then ring is 8 within 3 cycles
""", "target main", "reset 1 ", "reset 3 ", "never"),
    "An arithmetic unit": Row("keep_flags show_alu read", 'rule "asked" reach zero\n', "show_alu, keep_flags\nread",
                              "show_alu, keep_flags", "show_alu, keep_flags, read", "contention"),
    "Bus drivers": Row("show_acc join_buses inward read", "register acc 8 bits, loads inner when read\n",
                       "show_acc, join_buses\nread, join_buses, inward", "join_buses, inward", "join_buses",
                       "contention"),
    "Small memories": Row("write_file read_file advance", "register pointer 4 bits, loads pointer + 1 when advance\n",
                          "\nwrite_file\n\nadvance\nread_file", "write_file\n\nadvance", "write_file, advance\n",
                          "missing-hold"),
    "Resistors": Row("fire", """\
rule "a switch stays" never prior(option) and not option
rule "a key has one place" never up and down
rule "the pulse ends" when fire then not pulse_may_be within 4 cycles
rule "it comes through" reach punched_2
""", "fire\n\n\n\n", "next option", "next option and not fire", "never"),
}


def block(heading: str) -> str:
    """The block under a heading of the section."""
    start = SECTION.index(f"**{heading}")
    found = FENCE.search(SECTION, start)
    assert found is not None and "\n**" not in SECTION[start + 2:found.start()], heading
    return dedent(found[3])


def machine(row: Row, text: str, words: str) -> Sound:
    fields = "".join(f"field {flag} 1 bit\n" for flag in row.flags.split())
    width = 4 + sum(map(int, re.findall(r"^field \w+ (\d+) bits?", fields + text, re.MULTILINE)))
    micro = "routine main at 0\n" + "".join(f"        {word or 'target following'}\n" for word in words.split("\n"))
    return Sound(f"machine page\nmicroprogram \"m.micro\"\nstore control 16 words of {width} bits\n    address upc\n"
                 f"field target 4 bits address, idle following\n{fields}{text}"
                 f"state upc 4 bits, reset 0\n    next target\n{row.beside}",
                 micro if "target main" in words else micro + "        target main\n")


@pytest.mark.parametrize("heading", ROWS)
def test_the_block_does_what_the_part_does(heading: str) -> None:
    row = ROWS[heading]
    found = report(machine(row, block(heading), row.words))
    assert [(each.name, each.message) for each in found.findings] == []
    assert {each.outcome for each in found.rows} == {"proved"}


@pytest.mark.parametrize("heading", ROWS)
def test_a_step_away_it_is_found(heading: str) -> None:
    row, text = ROWS[heading], block(heading)
    assert (text + row.words).count(row.old) == 1
    found = report(machine(row, text.replace(row.old, row.new), row.words.replace(row.old, row.new)))
    assert row.finding in names(found)


def test_every_block_has_a_row_here() -> None:
    headings = re.findall(r"^\*\*([^*:,;]+)", SECTION, re.MULTILINE)
    assert sorted(headings) == sorted({*ROWS})


def test_every_part_of_the_table_is_one_whose_function_is_known() -> None:
    """Those without a star have a data sheet that names the function, those with one are from memory."""
    table = [line.split("|")[1] for line in SECTION.splitlines() if line.startswith("| ") and "---" not in line][1:]
    parts = {part for cell in table for part in re.findall(r"\b\d{2,3}\*?", cell)}
    known = {number: FUNCTIONS["parts"][number]["source"] for number in FUNCTIONS["parts"]}
    assert parts == {number + ("*" if source == "from memory" else "") for number, source in known.items()}
