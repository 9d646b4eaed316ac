"""An error that was reported once is not reported again in what follows from it."""

import pytest

from ordain.language.machine_file import parse_machine
from ordain.language.micro_file import parse_microprogram
from ordain.machine.resolve import resolve
from ordain.microprogram.compile import compile_program
from ordain.pipeline import build_texts

MACHINE = """\
machine small
store control 16 words of 16 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
field target 4 bits address, idle 0
field source 2 bits
    none 0 idle
    acc  1
field load 2 bits
    none 0 idle
    temp 1
spare 6 bits
store entry 4 words of 4 bits
    address ir
    word start of instruction
register ir 2 bits, loads data[1:0] when load is temp
state upc 4 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        otherwise: entry.word
bus data 4 bits, floats
    driven by acc when source is acc
    sampled by temp when load is temp
order goto <there>: branch jump, target <there>
"""

MICRO = """\
instruction 0b0x "low"
    temp <- acc
    goto low
instruction 0b1x "high"
  wait: goto wait
routine other
    goto high.wait
"""


def names(machine_text: str, micro_text: str) -> tuple[list[str], list[str]]:
    """Names of what was found before, and by the compiler."""
    file, earlier = parse_machine({"small.machine": machine_text}, "small.machine")
    assert file is not None
    machine, more = resolve(file, earlier)
    earlier += more
    assert machine is not None
    micro, more = parse_microprogram({"small.micro": micro_text}, ["small.micro"])
    earlier += more
    assert micro is not None
    _, findings = compile_program(machine, micro, earlier)
    return [finding.name for finding in earlier], [finding.name for finding in findings]


def test_nothing_wrong() -> None:
    assert names(MACHINE, MICRO) == ([], [])


@pytest.mark.parametrize(("right", "wrong"), [
    ("order goto <there>: branch", "order goto <there> branch"),
    ("order goto <there>: branch jump, target <there>",
     "order goto <there>: come <there>\norder come <there>: goto <there>"),
    ("order goto <there>: branch jump, target <there>", "order goto <there>: branch jump, target <ther>"),
    ("    driven by acc when source is acc", "    driven by acc when source ist acc"),
    ("    driven by acc when source is acc", "    driven acc when source is acc"),
    ("    sampled by temp when load is temp", "    sampled by temp when lode is temp"),
    ("    none 0 idle\n    acc  1", "    none 0 idel\n    acc  1"),
    ("    word start of instruction", "    word begin of instruction"),
    ("field target 4 bits address, idle 0", "field target four bits address, idle 0"),
    ("        step: upc + 1\n", "        step: upc ++ 1\n"),             # the counter may be what could not be read
    ("    next choose branch\n", "    next 0 if ir is 1 else choose branch\n"),
])
def test_faults_of_the_machine_file(right: str, wrong: str) -> None:
    assert right in MACHINE
    earlier, found = names(MACHINE.replace(right, wrong), MICRO)
    assert earlier and found == []


@pytest.mark.parametrize(("right", "wrong"), [
    ('instruction 0b1x "high"', 'instruction 0b1y "high"'),
    ('instruction 0b1x "high"', 'instruction "high"'),
    ("    goto low\n", "    goto low)\n"),
    ("  wait: goto wait\n", "  wait goto: wait\n"),
])
def test_faults_of_the_microprogram(right: str, wrong: str) -> None:
    assert right in MICRO
    earlier, found = names(MACHINE, MICRO.replace(right, wrong))
    assert earlier and found == []


@pytest.mark.parametrize(("right", "wrong"), [
    ('instruction 0b1x "high"', 'instruction 0b1y "high"'),
    ("    goto low\n", "    goto low)\n"),
])
def test_other_faults_are_told_beside_them(right: str, wrong: str) -> None:
    """An error in one line hides no error that has nothing to do with it."""
    micro = MICRO.replace(right, wrong) + "routine more\n    got more\n    acc <- temp\n"
    earlier, found = names(MACHINE, micro)
    assert earlier and "unknown-order" in found
    earlier, found = names(MACHINE.replace("order goto <there>: branch", "order goto <there> branch"),
                           MICRO + "routine more\n    souce acc, goto more\n    load tmep, goto more\n")
    assert earlier and found == ["unknown-order", "unknown-code"]


def test_a_store_that_is_declared_twice_says_nothing_of_what_follows_a_word() -> None:
    """No field is any store's then, not even one that is read: whether words decide where control goes is not known."""
    store = "store control 16 words of 8 bits\n    address upc\n    unused target start\n"
    clock = "clock clk (low, high)\n    held while slow and low and line\n"
    machine = ("machine m\nmicroprogram \"m.micro\"\n" + clock + store * 2
               + "field target 4 bits address, idle following\nfield slow 1 bit\nspare 3 bits\ninput line 1 bit\n"
               "state upc 4 bits, reset 0\n    next target\n")
    _, findings = build_texts({"m.machine": machine, "m.micro": "routine start at 0\n    target start\n"}, "m.machine")
    assert "defined-twice" in {finding.name for finding in findings}
    assert "no-order" not in {finding.name for finding in findings}
