"""Stores addressed by instruction and step: every word at its step, for every line that it does not ask about."""

import pytest

from tests.microprogram.compiled import compiled, described, faults, placed, program_of

MACHINE = """\
machine small
store control 64 words of 8 bits
    address {late, zero, ir, step}          # bit 5, bit 4, bits 3..2, bits 1..0
    instruction ir
    step step
    unused over
field over 1 bit
field mark 7 bits, idle 0
state step 2 bits, reset 0
    next 0 if over else step + 1
register ir 2 bits, loads data[1:0] when mark is 1
register zero 1 bit, loads data[7] when mark is 2
input switch 1 bit
state late 1 bit, reset 0
    next switch
bus data 8 bits, floats
    driven by memory when mark is 1
signal both = late and zero
"""


def marks(micro: str, machine: str = MACHINE) -> dict[int, int]:
    """Address -> the number that the word there carries, over the whole store."""
    placement = placed(described(machine), micro)
    return {address: word & 0x7F for address, word in placement.words["control"].items()}


def address(late: int, zero: int, opcode: int, step: int) -> int:
    return late << 5 | zero << 4 | opcode << 2 | step


LINES = [(late, zero) for late in (0, 1) for zero in (0, 1)]

OTHERS = 'instruction others "rest"\n    mark 9, over\n'


def test_the_nth_word_stands_at_step_n_for_all_lines() -> None:
    found = marks('instruction 1 "one"\n    mark 10\n    mark 11\n    mark 12, over\n' + OTHERS)
    for late, zero in LINES:
        assert [found.get(address(late, zero, 1, step)) for step in range(4)] == [10, 11, 12, None]
        for opcode in (0, 2, 3):
            assert [found.get(address(late, zero, opcode, step)) for step in range(4)] == [9, None, None, None]


def test_one_text_for_several_opcodes() -> None:
    program = program_of(described(MACHINE), 'instruction 0b0x "low"\n    mark 10\n    mark 11, over\n' + OTHERS)
    assert len(program.words) == 3
    assert program.words[1].fixed == tuple(address(late, zero, opcode, 1) for late, zero in LINES
                                           for opcode in (0, 1))
    assert program.words[0].succeeds == 0


def test_prologue_words_come_first_for_every_opcode() -> None:
    """Also for an opcode without an instruction: the prologue is what fetches the next opcode."""
    text = 'prologue\n    mark 1\ninstruction 1 "one"\n    mark 10, over\n'
    placement_machine = described(MACHINE)
    program, findings = compiled(placement_machine, text)
    assert [finding.name for finding in findings] == ["opcode-gap"] and program is not None
    assert program.words[0].fixed == tuple(sorted(address(late, zero, opcode, 0) for late, zero in LINES
                                                  for opcode in range(4)))
    assert program.words[1].fixed == tuple(address(late, zero, 1, 1) for late, zero in LINES)


ARMS = """\
instruction 1 "one"
    mark 10
    when {0}
        mark 11
        mark 12, over
    otherwise
        mark 13, over
"""


@pytest.mark.parametrize(("condition", "holds"), [
    ("zero", lambda late, zero: zero),
    ("not zero", lambda late, zero: not zero),
    ("late and zero", lambda late, zero: late and zero),
    ("late or not zero", lambda late, zero: late or not zero),
    ("late xor zero", lambda late, zero: late != zero),
    ("zero is 1", lambda late, zero: zero == 1),
    ("zero is not late", lambda late, zero: zero != late),
    ("{late, zero} is 2", lambda late, zero: late and not zero),
    ("{late, zero} in (1, 2)", lambda late, zero: late != zero),
    ("{late, zero} not in (1, 2)", lambda late, zero: late == zero),
    ("{late, zero} < 2", lambda late, zero: not late),
    ("1 <= {late, zero}", lambda late, zero: late or zero),
    ("{late, zero} + 1 is 0", lambda late, zero: late and zero),
    ("both", lambda late, zero: late and zero),
])
def test_arms(condition: str, holds: object) -> None:
    found = marks(ARMS.format(condition) + OTHERS)
    for late, zero in LINES:
        expected = [10, 11, 12, None] if holds(late, zero) else [10, 13, None, None]  # type: ignore[operator]
        assert [found.get(address(late, zero, 1, step)) for step in range(4)] == expected


def test_the_first_arm_that_holds_and_arms_in_arms() -> None:
    found = marks("""\
instruction 1 "one"
    when zero
        mark 20
        when late
            mark 21, over
    when late
        mark 30
    mark 40, over
""" + OTHERS)
    ways = {(late, zero): [found.get(address(late, zero, 1, step)) for step in range(4)] for late, zero in LINES}
    assert ways == {(0, 0): [40, None, None, None], (0, 1): [20, 40, None, None], (1, 0): [30, 40, None, None],
                    (1, 1): [20, 21, 40, None]}


BY_OPCODE = """\
instruction 0bxx "all"
    when {0}
        mark 10, over
    otherwise
        mark 11, over
"""


def test_an_arm_may_ask_about_the_opcode() -> None:
    found = marks(BY_OPCODE.format("ir[0]"))
    assert [found[address(0, 0, opcode, 0)] for opcode in range(4)] == [11, 10, 11, 10]


def test_the_prologue_may_have_arms() -> None:
    found = marks('prologue\n    when late\n        mark 1\n        mark 2\n    otherwise\n        mark 3\n'
                  'instruction 0bxx "all"\n    mark 10, over\n')
    assert [found.get(address(1, 0, 2, step)) for step in range(4)] == [1, 2, 10, None]
    assert [found.get(address(0, 1, 2, step)) for step in range(4)] == [3, 10, None, None]


@pytest.mark.parametrize(("text", "found"), [
    ('instruction 0bxx "all"\n' + "    mark 10\n" * 3 + "    over\n", ""),
    ('instruction 0bxx "all"\n' + "    mark 10\n" * 4 + "    over\n",
     "6:5: over-full: the slot of `all` holds 4 words, needs 5"),
    ("prologue\n    mark 1\n" + 'instruction 0bxx "all"\n' + "    mark 10\n" * 3 + "    over\n",
     "7:5: over-full: the slot of `all` holds 4 words, needs 5"),
    (ARMS.format("zero") + OTHERS, ""),
    (ARMS.format("zro") + OTHERS, "3:10: unknown-name: nothing is called `zro`"),
    (ARMS.format("switch") + OTHERS, "3:10: not-in-address: `switch` does not reach the address of `control`"),
    (ARMS.format("step is 1") + OTHERS, "3:10: wrong-kind: an arm asks at which step the instruction is"),
    (ARMS.format("ir is 4") + OTHERS, "3:16: too-wide: 4 does not fit in 2 bits"),
    (ARMS.format("ir") + OTHERS, "3:10: width-mismatch: a condition has 1 bit, this has 2"),
    (ARMS.format("ir is zero") + OTHERS, "3:16: width-mismatch: 2 bits beside 1 bits"),
    (ARMS.format("ir[2]") + OTHERS, "3:10: bad-slice: there are no bits [2:2] in 2 bits"),
    (ARMS.format("zero or not zero") + OTHERS, "7:9: never-chosen: no address of `one` leads to this word"),
    ('instruction 0bxx "all" at 3\n    over\n',
     "1:1: placement-conflict: `all` stands where its opcode and steps say"),
])
def test_a_fault_and_its_neighbour(text: str, found: str) -> None:
    shown = faults(described(MACHINE), text)
    assert shown == ([f"small.micro:{found}"] if found else [])


COUNTED = """\
machine small
store control 16 words of 8 bits
    address upc
field over 1 bit
field mark 7 bits, idle 0
state upc 4 bits, reset 0
    next 0 if over else upc + 1
"""


def test_arms_and_prologues_need_steps() -> None:
    assert faults(described(COUNTED), "routine one\n    over\n") == []
    assert faults(described(COUNTED), "routine one\n    when upc is 0\n        mark 1\n    over\n") == [
        "small.micro:2:5: no-steps: `control` is not addressed by instruction and step"]
    assert faults(described(COUNTED), "prologue\n    over\n") == [
        "small.micro:1:1: no-steps: `control` is not addressed by instruction and step"]


def test_an_inverted_address_line() -> None:
    machine = MACHINE.replace("address {late, zero,", "address {late, not zero,")
    found = marks(ARMS.format("zero") + OTHERS, machine)
    assert [found.get(address(0, 0, 1, step)) for step in range(4)] == [10, 11, 12, None]
    assert [found.get(address(0, 1, 1, step)) for step in range(4)] == [10, 13, None, None]


def test_more_opcode_lines_than_the_address_carries() -> None:
    """The address carries the two low lines of a wider register; opcodes are what reaches the address."""
    machine = MACHINE.replace("register ir 2 bits, loads data[1:0]", "register ir 8 bits, loads data").replace(
        "address {late, zero, ir, step}", "address {late, zero, ir[1:0], step}")
    found = marks(BY_OPCODE.format("ir[1]"), machine)
    assert [found[address(0, 0, opcode, 0)] for opcode in range(4)] == [11, 11, 10, 10]
