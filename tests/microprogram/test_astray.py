"""Labels in finished words, held against where the hardware goes from there: small stores, worked out by hand."""

import pytest

from ordain.machine.expression import Terms
from ordain.microprogram.ahead import may_be
from ordain.pipeline import build_texts

PAGES = """\
machine m "a jump holds three bits of four"
microprogram "m.micro"
store control 16 words of 6 bits
    address {page, low}
field jump 1 bit
field turn 1 bit
field to 3 bits address[2:0], idle any
spare 1 bit
state page 1 bit, reset 0
    next not page if turn else page
state low 3 bits, reset 0
    next to if jump else low + 1
order goto <there>: jump, to <there>
order near <there>: jump, to page(<there>)
order over        : jump, turn, to 0
"""
WORDS = """\
routine main at 0
    jump 0
    over
routine other at 8
    jump 0
    goto main
"""


def found(machine: str, micro: str) -> list[str]:
    """What is said of labels; nothing else may be wrong."""
    _, findings = build_texts({"m.machine": machine, "m.micro": micro}, "m.machine")
    assert {finding.name for finding in findings} <= {"goes-astray"}, findings
    return [finding.message for finding in findings]


def test_the_hardware_keeps_the_bits_that_a_field_does_not_hold() -> None:
    """Word 9 goes to 8, whatever stands in its three bits for the label at 0."""
    assert found(PAGES, WORDS) == ["`to` does not lead to `main` from 0x9: the hardware goes on to 0x8"]


@pytest.mark.parametrize(("machine", "micro"), [
    (PAGES, WORDS.replace("goto main", "near other")),
    (PAGES, WORDS.replace("goto main", "turn, goto main")),                     # from the second page to the first
    (PAGES.replace("if turn else page", "if turn else (0 if jump else page)"), WORDS),
    (PAGES.replace("if turn else page", "if turn else key if jump else page") + "input key 1 bit\n", WORDS),
    (PAGES, WORDS.replace("goto main", "jump, to 0")),                          # a number is taken as it is
], ids=["kept", "turned", "tied", "from outside", "a number"])
def test_where_it_can_lead_there_nothing_is_said(machine: str, micro: str) -> None:
    assert found(machine, micro) == []


UNUSED = PAGES.replace("    address {page, low}\n", "    address {page, low}\n    unused REST\n")


@pytest.mark.parametrize("rest", ["near main", "goto main"])
def test_an_unused_word_is_the_same_in_every_page(rest: str) -> None:
    """From 0xA the hardware goes on to 0x8. Where no cell of the other page is free, nothing is wrong."""
    machine = UNUSED.replace("REST", rest)
    assert found(machine, WORDS.replace("goto main", "near other")) == [
        "`to` does not lead to `main` from 0xA: the hardware goes on to 0x8"]
    full = WORDS.replace("goto main", "near other") + "".join(
        f"routine r{at} at {at}\n    near other\n" for at in range(10, 16))
    assert found(machine, full) == []
    assert found(UNUSED.replace("REST", "jump, to 0"), WORDS.replace("goto main", "near other")) == []


FAR = """\
machine m "a far jump sets page and place at once, or the page is kept in a register before"
microprogram "m.micro"
store control 16 words of 8 bits
    address {page, low}
field jump  1 bit
field far   1 bit
field keep  1 bit
field where 3 bits address[2:0], idle any
field other 1 bit address[3], idle 0
spare 1 bit
state page 1 bit, reset 0
    next OTHER if far else page
state kept 1 bit, reset 0
    next other if keep else kept
state low 3 bits, reset 0
    next where if jump else low + 1
order far <there> : jump, far, where <there>, other <there>
order keep <there>: keep, other part(<there>)
order over <there>: jump, far, where part(<there>)
"""


def test_two_fields_of_a_word_hold_the_address_of_one_label() -> None:
    """Neither asks for zeros in what the other holds, and both hold one place."""
    words = "routine main at 0\n    far away\nroutine away at 0xD\n    jump 0\n    far main\n"
    built, findings = build_texts({"m.machine": FAR.replace("OTHER", "other"), "m.micro": words}, "m.machine")
    assert built is not None and not findings
    stored = built.contents.words["control"]
    assert stored[0] == 0b11_0_101_1_0 and stored[0xE] == 0b11_0_000_0_0
    assert found(FAR.replace("OTHER", "not other"), words)[0] == (
        "`where` does not lead to `away` from 0x0: the hardware goes on to 0x5")


def test_a_page_register_that_is_loaded_before_the_jump() -> None:
    """`part(...)` asks nothing of the label's place: the word before has sent the rest to the register."""
    words = ("routine main at 0\n    keep away\n    over away\n"
             "routine away at 0xD\n    jump 0\n    keep main\n    over main\n")
    built, findings = build_texts({"m.machine": FAR.replace("OTHER", "kept"), "m.micro": words}, "m.machine")
    assert built is not None and not findings
    stored = built.contents.words["control"]
    assert (stored[0], stored[1]) == (0b00_1_000_1_0, 0b11_0_101_0_0)
    assert (stored[0xE], stored[0xF]) == (0b00_1_000_0_0, 0b11_0_000_0_0)


BEHIND = """\
machine m "a register between what the words say and the store"
microprogram "m.micro"
store control 8 words of 4 bits
    address shown
field successor 3 bits address, idle following
spare 1 bit
state shown 3 bits, reset 0
    next decided
state decided 3 bits, reset 0
    next {successor[2:1], LOW}
"""
ROUND = """\
routine start at 0
    successor away
    successor away
routine away at 4
    successor start
    successor start
"""


def test_a_register_delays_the_address_by_a_cycle() -> None:
    assert found(BEHIND.replace("LOW", "successor[0]"), ROUND) == []
    assert found(BEHIND.replace("LOW", "0b1"), ROUND)[0] == (
        "`successor` does not lead to `away` from 0x0: the hardware goes on to 0x5")


FORK = """\
machine m "a word names its successor; a line is at the lowest bit"
microprogram "m.micro"
store control 8 words of 5 bits
    address at_word
field asks 1 bit
field successor 3 bits address, idle following
field hint 1 bit
input key 1 bit
state at_word 3 bits, reset 0
    next {successor[2:1], LOW}
order fork <no> <yes>: asks, successor pair(<no>, <yes>)
"""
FORKS = """\
routine start at 0
    fork start away
routine away
    successor start
"""


def test_a_bit_that_the_hardware_ties() -> None:
    assert found(FORK.replace("LOW", "key if asks else successor[0]"), FORKS) == []
    assert found(FORK.replace("LOW", "key or 0b1"), FORKS.replace("fork start away", "successor away")) == [
        "`successor` does not lead to `start` from 0x1: the hardware goes on to 0x1"]  # `away` stands at 0x1


def test_what_a_term_may_be() -> None:
    terms = Terms()
    a, b, line = (terms.leaf("state", name, width) for name, width in (("a", 4), ("b", 4), ("line", 1)))
    chosen = terms.if_(line, terms.const(3, 4), terms.const(5, 4))
    assert [value for value in range(16) if may_be(chosen, value)] == [3, 5]
    masked = terms.and_((a, terms.const(6, 4)))
    assert [value for value in range(16) if may_be(masked, value)] == [0, 2, 4, 6]
    forced = terms.or_((b, terms.const(9, 4)))
    assert [value for value in range(16) if may_be(forced, value)] == [9, 11, 13, 15]
    joined = terms.join((line, terms.const(2, 2)))
    assert [value for value in range(8) if may_be(joined, value)] == [2, 6]


SHIFTED = """\
machine m "the address is no counter that is known, and makes another one of itself all the same"
microprogram "m.micro"
store control 16 words of 8 bits
    address pc
field jump 1 bit
field to   4 bits address, idle 0
spare 3 bits
input key 1 bit
state pc 4 bits, reset 1
    next to if jump else NEXT
"""
ROW = "routine main at 1\n    jump 0\n    jump 0\n    jump, to main\n"
TEST = "routine main at 1\n    jump, to there\n    jump 0\n  there: jump, to main\n"


@pytest.mark.parametrize(("next", "micro", "said"), [
    # a shift register with feedback: 1, 2, 4
    ("{pc[2:0], pc[3] xor pc[2]}", ROW, "0x2: the hardware goes on to 0x4"),
    ("{pc[2:0], pc[3] xor pc[2]}", ROW.replace("    jump 0\n    jump 0\n", "    jump 0\n"), ""),
    ("pc + 1", ROW, ""), ("pc - 1", ROW, "0x1: the hardware goes on to 0x0"),
    ("pc + 1 if key else {pc[2:0], 0b0}", ROW, ""),     # from 2 to 4 too: a second way is for the proof
    # lines that are kept where they are, and some from elsewhere; a place that is held; nothing of the place
    ("{pc[3:1], key}", ROW, ""), ("pc", ROW, ""), ("0", ROW, ""), ("pc if key else 0", ROW, ""),
    ("pc xor 1", ROW, "0x1: the hardware goes on to 0x0"),
    ("pc xor 0b11", ROW, "0x2: the hardware goes on to 0x1"),
    ("pc - 1 if key else to", TEST, "0x1: the hardware goes on to 0x0"), ("pc + 1 if key else to", TEST, ""),
])
def test_what_shifts_or_turns_the_address_goes_on_as_well(next: str, micro: str, said: str) -> None:
    machine = SHIFTED.replace("NEXT", next).replace("to if jump else pc + 1 if", "pc + 1 if").replace(
        "to if jump else pc - 1 if", "pc - 1 if")
    _, findings = build_texts({"m.machine": machine, "m.micro": micro}, "m.machine")
    told = [finding.message for finding in findings if finding.name == "goes-astray"]
    before = "control does not go on to the word below from "
    assert [one.removeprefix(before) for one in told[:1]] == [said] * bool(said)


REEL = """\
machine m "steps in the order of a ring"
microprogram "m.micro"
store control 16 words of 2 bits
    address {ir, ring}
    instruction ir
    step ring in (0b000, 0b100, 0b110, 0b111, 0b011, 0b001)
field mark 1 bit
field over 1 bit
register ir 1 bit, loads mark when over
state ring 3 bits, reset 0
    next 0 if over else {not ring[0], ring[2:1]}
home ring is 0
"""
REELED = 'instruction 0 "a"\n    mark\n    mark\n    mark, over\ninstruction 1 "b"\n    mark\n    over\n'


@pytest.mark.parametrize(("before", "after", "said"), [
    ("0b111", "0b111", []),
    ("0b110, 0b111", "0b111, 0b110",
     ["no word brings control from step 4 to step 7: the hardware goes on to step 0 or 6"]),
    ("step ring in (0b000, 0b100, 0b110, 0b111, 0b011, 0b001)", "step ring",
     ["no word brings control from step 0 to step 1: the hardware goes on to step 0 or 4"]),
])
def test_the_order_of_the_steps_is_held_against_the_hardware(before: str, after: str, said: list[str]) -> None:
    assert found(REEL.replace(before, after), REELED) == said


@pytest.mark.parametrize(("step", "said"), [("count", 0), ("ring", 2)])
def test_a_row_that_something_else_steps_through(step: str, said: int) -> None:
    """Without opcodes the words stand one behind the other, and a ring goes from 1 to 2 and to 4."""
    machine = f"""\
machine m "a store without opcodes"
microprogram "m.micro"
store control 8 words of 1 bit
    address {step}
    step {step}
field mark 1 bit
state count 3 bits, reset 1
    next count + 1
state ring 3 bits, reset 1
    next {{ring[1:0], ring[2]}}
"""
    micro = "routine main at 1\n" + "    mark\n" * 4
    _, findings = build_texts({"m.machine": machine, "m.micro": micro}, "m.machine")
    assert sum(one.name == "goes-astray" for one in findings) == said


CHOSEN = """\
machine m "flip-flops behind the word choose the next address"
microprogram "m.micro"
store control 16 words of 8 bits
    address fetched
    starts at {0b1, ir, 0b0}
field branch 2 bits
    step 0 idle
    jump 1
    go 2
field to 4 bits address, idle 0
field low 1 bit
spare 1 bit
register ir 2 bits, loads data when low
bus data 2 bits, floats
    driven by memory
state held 2 bits, reset 0
    next branch
state held_to 4 bits, reset 0
    next to
state upc 4 bits, reset 0
    next fetched + 1
signal fetched = choose held
    0: upc
    1: held_to
    2: {0b1, ir, 0b0}
    otherwise: 0
"""


def test_an_address_that_is_chosen_by_what_went_before_is_no_move_of_the_one_before() -> None:
    """The first word goes to where the opcode says, not to the word below, which is one for another label."""
    micro = ("routine main at 0\n    branch go\n  next: branch jump, to main\n"
             'instruction others "rest"\n    branch jump, to next\n')
    _, findings = build_texts({"m.machine": CHOSEN, "m.micro": micro}, "m.machine")
    assert [one.name for one in findings] == []


ROWS = """\
machine m "words pick rows of a second store, and a bus takes an address to a register that is shown later"
microprogram "m.micro"
store control 16 words of 13 bits
    address upc
field back 1 bit
field keep 1 bit
field row  4 bits address, idle 0
field to   4 bits address, idle following
field way  3 bits, idle 0
store rows 8 words of 2 bits
    address row[2:0]
field mark 2 bits, idle 0
bus inner 4 bits, multiplexed
    driven by row
register held 4 bits, loads inner when keep
state below 4 bits, reset 0
    next held
state upc 4 bits, reset 0
    next below if back else to
"""
ROWS_WORDS = """\
routine main at 0
    row second
    row first, to main
routine extra in rows
 first: mark 1
 second: mark 2
"""


def test_a_label_stands_in_a_store_to_whose_address_the_field_comes() -> None:
    """Two cycles and more from a word are not looked through for where it leads, only for into which stores."""
    assert found(ROWS, ROWS_WORDS) == []
    assert found(ROWS, ROWS_WORDS.replace("row second", "row main, keep")) == []     # by `inner`, `held` and `below`
    called = ROWS.replace("    driven by row\n", "    driven by carried\nsignal carried = row\n")
    assert found(called, ROWS_WORDS.replace("row second", "row main, keep")) == []   # as a signal is
    assert found(ROWS.replace("next held", "next 0"), ROWS_WORDS.replace("row second", "row main, keep")) == [
        "`row` is a part of the address of `rows`, and `main` stands in `control`"]
    assert found(ROWS, ROWS_WORDS.replace("to main", "to first")) == [
        "`to` is a part of the address of `control`, and `first` stands in `rows`"]
    both = ROWS.replace("row[2:0]", "to[2:0]")                          # `to` comes into both stores
    assert found(both, ROWS_WORDS.replace("row second", "to main").replace("row first", "row 1")) == []


STARTS = """\
machine m "a PROM of start addresses, with one line wired beside it"
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field branch 2 bits
    step 0 idle
    go   1
    jump 2
field to 4 bits address, idle 0
spare 2 bits
store entry 2 words of 3 bits
    address ir
    word start of instruction
state ir 1 bit, reset 0
    next not ir
input pin 1 bit
state upc 4 bits, reset 0
    next (START) if branch is go else (to if branch is jump else upc + 1)
"""
INSTRUCTIONS = """\
routine main at 0
    branch step
    branch go
instruction 0 "one"
    branch step
    branch jump, to main
instruction 1 "two"
    branch step
    branch jump, to main
"""


@pytest.mark.parametrize(("start", "wrong"), [
    ("{entry, 0b0}", 0), ("{entry, 0b0} + 1", 1), ("{entry, 0b0} xor 0b0001", 1), ("not {entry, 0b0}", 1),
    ("{entry, 0b0} and {pin, pin, pin, pin}", 0), ("{entry, pin}", 0), ("{entry, 0b0} or 0b0001", 1),
    ("{entry, 0b0} if pin else {entry, 0b0} + 1", 0), ("({entry, 0b0} + 1) if pin else ({entry, 0b0} + 2)", 1)])
def test_a_start_address_leads_to_the_instruction_that_it_is_for(start: str, wrong: int) -> None:
    """What stands between the store and the address leaves the start as it is, or does in some cycles; else the second
    word of the instruction, or one of another, would run. Told once for each store."""
    _, findings = build_texts({"m.machine": STARTS.replace("START", start), "m.micro": INSTRUCTIONS}, "m.machine")
    said = [finding.message for finding in findings if finding.name == "goes-astray"]
    assert len(said) == wrong and all(message.startswith("`entry` does not lead to `one`: ") for message in said)


@pytest.mark.parametrize(("turned", "said"), [("", 0), ("not ", 1)])
def test_a_row_of_a_map_leads_to_the_word_that_it_names(turned: str, said: int) -> None:
    """The row of a register behind the map as well: a cycle later."""
    machine = STARTS.replace("3 bits\n    address ir\n    word start of instruction", "4 bits\n    address ir")
    machine = machine.replace("START", f"{turned}held") + "state held 4 bits, reset 0\n    next entry\n"
    micro = """\
routine main at 0
    branch step
    branch go
routine work at 4
    branch jump, to main
map entry
    0: work
    1: main
"""
    assert len(found(machine, micro)) == said
