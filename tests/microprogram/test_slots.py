"""Stores addressed by instruction and step: every word at its step, for every line that it does not ask about."""

import pytest

from ordain.machine.print import machine_lines
from ordain.measure.advice import room_left
from tests.microprogram.compiled import compiled, described, faults, placed, program_of
from tests.workshop import contents_of

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
    (ARMS.format("ir is 4") + OTHERS, "3:16: too-wide: 4 needs 3 bits, and its place has 2 bits"),
    (ARMS.format("ir") + OTHERS, "3:10: width-mismatch: `ir` has 2 bits, and a condition is wanted, which has 1 bit"),
    (ARMS.format("ir is zero") + OTHERS, "3:10: width-mismatch: `ir` has 2 bits and `zero` has 1 bit"),
    (ARMS.format("ir[2]") + OTHERS, "3:10: bad-slice: `ir` has no bits [2:2]"),
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


NAMED = MACHINE.replace("address {late, zero, ir, step}", "address {console.mode, ir, step}").replace(
    "signal both = late and zero\n", """\
constant two = 2
constant all = 0b11
agent console
    state mode (idle, asking, looking, writing), reset idle
        next mode
    signal busy = mode is not idle
signal state_of = console.mode
""")


@pytest.mark.parametrize(("condition", "modes"), [
    ("console.mode is asking", {1}),                    # codes of an agent's state
    ("console.mode in (asking, writing)", {1, 3}),
    ("state_of is looking", {2}),                       # a signal that has the codes of a state
    ("console.busy", {1, 2, 3}),
    ("console.mode is two", {2}),                       # a constant is as wide as its place
    ("all is console.mode", {3}),
    ("two < console.mode", {3}),
    ("console.mode + two is 0", {2}),
    ("parity(console.mode)", {1, 2}),
    ("(console.mode[0] if console.mode[1] else 1) is 1", {0, 1, 3}),
    ("{console.mode[0], 0b0} is 0b10", {1, 3}),
])
def test_a_condition_of_an_arm_means_what_it_means_in_the_machine_file(condition: str, modes: set[int]) -> None:
    """Names, codes and widths are those of all other expressions."""
    found = marks(f'instruction 0bxx "all"\n    when {condition}\n        mark 11, over\n    otherwise\n'
                  "        mark 12, over\n", NAMED)
    assert {mode for mode in range(4) if found[mode << 4] == 11} == modes
    assert {mode for mode in range(4) if found[mode << 4] == 12} == set(range(4)) - modes


@pytest.mark.parametrize(("condition", "name"), [
    ("prior(zero)", "prior-in-hardware"), ("at all", "label-in-hardware"), ("mode is asking", "unknown-name")])
def test_an_arm_is_chosen_by_hardware(condition: str, name: str) -> None:
    text = f'instruction 0bxx "all"\n    when {condition}\n        mark 11, over\n'
    machine = described(MACHINE if "zero" in condition else NAMED)
    assert [line.split(": ")[1] for line in faults(machine, text)] == [name]


def test_an_opcode_in_a_part_of_a_register() -> None:
    """Named as the part that reaches the address, it gives the words of a register of just those bits."""
    micro = 'prologue\n    mark 1\ninstruction 2 "two"\n    mark 10\n    mark 11, over\n' + OTHERS
    wide = MACHINE.replace("register ir 2 bits, loads data[1:0]", "register ir 8 bits, loads data")
    part = wide.replace("zero, ir, step", "zero, ir[6:5], step").replace("instruction ir", "instruction ir[6:5]")
    assert part.count("ir[6:5]") == 2 and marks(micro, part) == marks(micro)


GATED = MACHINE.replace("{late, zero, ir, step}", "{LINE, zero, ir, step}").replace(
    "signal both", "state count 4 bits, reset 0\n    next count + 1\nsignal last = count is 15\nsignal both")
ASKING = """instruction 1 "one"
    when CONDITION
        mark 10, over
    otherwise
        mark 11, over
"""


@pytest.mark.parametrize(("line", "condition", "chosen"), [
    ("last", "last", [(1, 0), (1, 1)]),
    ("last", "count is 15 and zero", [(1, 1)]),
    ("last", "not last", [(0, 0), (0, 1)]),
    ("not last", "last", [(0, 0), (0, 1)]),
    ("late and count[0]", "late and count[0]", [(1, 0), (1, 1)]),
])
def test_a_line_of_the_address_may_come_from_a_gate(line: str, condition: str, chosen: list[tuple[int, int]]) -> None:
    found = marks(ASKING.replace("CONDITION", condition) + OTHERS, GATED.replace("LINE", line))
    for lines in LINES:
        assert found[address(*lines, 1, 0)] == (10 if lines in chosen else 11)


@pytest.mark.parametrize("condition", ["count is 14", "count[0]"])
def test_what_the_gate_does_not_say_is_in_no_line(condition: str) -> None:
    (said,) = faults(described(GATED.replace("LINE", "last")), ASKING.replace("CONDITION", condition) + OTHERS)
    assert "`count` does not reach the address of `control`" in said


RING = MACHINE.replace("step step\n    unused", "step step in (0b00, 0b10, 0b11, 0b01)\n    unused").replace(
    "else step + 1", "else {not step[0], step[1]}")
"""The steps come from a ring of two flip-flops whose last one is turned on its way to the first."""


def test_the_words_of_an_instruction_stand_in_the_order_of_the_steps() -> None:
    found = marks('instruction 1 "one"\n    mark 10\n    when zero\n        mark 11, over\n    otherwise\n'
                  "        mark 12\n        mark 13\n        mark 14, over\n" + OTHERS, RING)
    for late, zero in LINES:
        one = [found.get(address(late, zero, 1, step)) for step in (0b00, 0b10, 0b11, 0b01)]
        assert one == ([10, 11, None, None] if zero else [10, 12, 13, 14])


def test_a_step_that_never_comes_holds_nothing() -> None:
    """Of three steps the ring is never at 0b01."""
    short = RING.replace(", 0b01)", ")").replace("next 0 if over", "next 0 if over or step is 3")
    text = 'instruction 1 "one"\n    mark 10\n    mark 11\n    mark 12\n' + OTHERS
    found = marks(text, short)
    assert [found.get(address(0, 0, 1, step)) for step in range(4)] == [10, None, 11, 12]
    assert faults(described(short), text.replace("mark 12", "mark 12\n    mark 13")) == [
        "small.micro:5:5: over-full: the slot of `one` holds 3 words, needs 4"]


LATE = RING.replace("(0b00, 0b10, 0b11, 0b01)", "(0b11, 0b01, 0b00, 0b10)").replace(
    "next 0 if over", "next 3 if over").replace("step 2 bits, reset 0", "step 2 bits, reset 3")
"""The same ring, and an instruction begins where both flip-flops are set."""


def test_an_instruction_begins_at_the_first_step_that_is_said() -> None:
    contents = contents_of(LATE, 'instruction 1 "one"\n    mark 10\n    mark 11\n    mark 12, over\n' + OTHERS)
    assert contents.labels["one"] == ("control", {address(late, zero, 1, 0b11) for late, zero in LINES})
    [told] = [piece.finding.message for piece in room_left(contents, ()) if "steps" in piece.finding.message]
    assert told == "`control`: of 4 steps the longest instruction, `one`, uses 3"
    assert "  steps: 3, 1, 0, 2" in machine_lines(contents.machine)
