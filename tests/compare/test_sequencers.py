"""Comparison on every way in which a control store is addressed: each with a change that keeps what is done, and one
that does not."""

from pathlib import Path

import pytest

from ordain.compare.behaviour import Behaviour, ComparedUnit, behaviour
from ordain.compare.joint import join
from ordain.rom.contents import Contents
from tests.microprogram.test_textbook_multicycle import MACHINE as MULTICYCLE
from tests.workshop import contents_of

ROOT = Path(__file__).parents[2]
MANO = [(ROOT / "tests" / "reference" / f"mano.{kind}").read_text() for kind in ("machine", "micro")]
CARILLON = [(ROOT / "examples" / "stepper" / f"carillon.{kind}").read_text() for kind in ("machine", "micro")]
TIDECLOCK = [(ROOT / "examples" / "paired" / f"tideclock.{kind}").read_text() for kind in ("machine", "micro")]
ORRERY = [(ROOT / "examples" / "slices" / "orrery.machine").read_text(),
          "\n".join((ROOT / "examples" / "slices" / f"{name}.micro").read_text()
                    for name in ("sequence", "instructions", "arithmetic"))]


def compared(old: Contents, new: Contents) -> Behaviour:
    return behaviour(join(old, new))


def after(texts: list[str], old: str, new: str, count: int = 1) -> Behaviour:
    """The microprogram against itself with one place of its text changed."""
    assert texts[1].count(old) == count, (old, texts[1].count(old))
    return compared(contents_of(*texts), contents_of(texts[0], texts[1].replace(old, new)))


def moved(found: Behaviour) -> dict[str, str]:
    """title -> status of what is not the same."""
    return {unit.title: unit.status for unit in found.units if unit.status != "same"}


def unit(found: Behaviour, title: str) -> ComparedUnit:
    return next(one for one in found.units if one.title == title)


# ---------------------------------------------------------------- subroutine register, wired starts (Mano, from memory)


def test_a_subroutine_changes_exactly_its_callers() -> None:
    """tests/reference/mano.json, table 7-2, from memory: all four instructions call INDRCT; EXCHANGE alone has the word
    ACTDR, DRTAC."""
    found = after(MANO, "  INDRCT: READ, U JMP following", "  INDRCT: READ, INCPC, U JMP following")
    assert moved(found) == dict.fromkeys(("ADD", "BRANCH", "STORE", "EXCHANGE"), "changed")
    first = unit(found, "ADD").difference
    assert first is not None and first.cycle == 2
    assert [str(literal) for literal in first.way[0].when] == ["indirect"]
    assert [str(change) for change in first.changes] == ["F3: NOP -> INCPC"]
    found = after(MANO, "ACTDR, DRTAC, U JMP following", "ACTDR, U JMP following")
    assert moved(found) == {"EXCHANGE": "changed"}


def test_a_subroutine_may_move_and_have_another_name() -> None:
    moved_away = MANO[1].replace("  INDRCT: READ", "  ELSEWHERE: READ").replace("INDRCT", "ELSEWHERE").replace(
        "  ELSEWHERE: READ, U JMP following\n        DRTAR, U RET\n", "")
    moved_away += "\nroutine ELSEWHERE at 100\n        READ, U JMP following\n        DRTAR, U RET\n"
    found = compared(contents_of(*MANO), contents_of(MANO[0], moved_away))
    assert moved(found) == {}
    assert {one.title for one in found.units} >= {"ADD", "BRANCH", "STORE", "EXCHANGE", "FETCH", "reset"}


def test_the_fetch_is_told_by_itself() -> None:
    """The book's machine dispatches by wires from the opcode; what leads there is no part of any instruction."""
    assert moved(after(MANO, "        READ, INCPC, U JMP following", "        READ, U JMP following")) == {
        "FETCH": "changed", "reset": "changed"}


# ---------------------------------------------------------------- dispatch tables (Patterson & Hennessy, from memory)


MULTICYCLE_MICRO = """\
routine fetch at 0
        alu Add, src1 PC, src2 four, memory Read PC, pc ALU, Seq
        alu Add, src1 PC, src2 Extshft, registers Read, Dispatch one
routine memory at 2
        alu Add, src1 A, src2 Extend, Dispatch two
routine load at 3
        memory Read ALU, Seq
        registers Write MDR, Fetch
routine store at 5
        memory Write ALU, Fetch
routine rtype at 6
        alu Func_code, src1 A, src2 B, Seq
        registers Write ALU, Fetch
map dispatch1
        0b100011, 0b101011 : memory
        0b000000           : rtype
map dispatch2
        0b100011 : load
        0b101011 : store
"""


def test_a_second_dispatch_knows_which_instruction_it_is() -> None:
    """lw (35) and sw (43) share the address word and part at the second table; only lw writes back."""
    whole = [MULTICYCLE.replace('"multicycle.micro"', '"m.micro"'), MULTICYCLE_MICRO]
    found = after(whole, "registers Write MDR, Fetch", "registers Write ALU, Fetch")
    assert moved(found) == {"memory": "changed"}
    assert unit(found, "memory").differing == (35,)
    found = after(whole, "src1 A, src2 Extend, Dispatch two", "src1 A, src2 B, Dispatch two")
    assert unit(found, "memory").differing == (35, 43)
    found = after(whole, "        0b101011 : store\n", "        0b101011 : load\n")
    assert unit(found, "memory").differing == (43,)


# ---------------------------------------------------------------- instruction and step


@pytest.mark.parametrize(("old", "new", "expected"), [
    ("mar_out, memory <- acc  ", "mar_out, acc_out        ", {"store [n]"}),
    ("        stay, lamp", "        stay", {"wait"}),
    ("        damp\n        damp, over", "        damp, over", {"damp"}),
    ("        wind, over", "        wind, stay, over", {"wind"}),
])
def test_steps_of_one_instruction_change_that_one(old: str, new: str, expected: set[str]) -> None:
    assert set(moved(after(CARILLON, old, new))) == expected


def test_a_word_for_one_level_of_an_address_line_says_so() -> None:
    found = after(CARILLON, "        stay, lamp", "        stay")
    first = unit(found, "wait").difference
    assert first is not None and [str(literal) for literal in first.when] == ["not beat_2"]
    for side, told, text in zip(found.joint.common.sides, (first.old, first.new), ("stay, lamp", "stay")):
        ((store, address),) = told
        assert side.contents.sites[store][address].text == text


def test_the_prologue_is_no_part_of_an_instruction() -> None:
    """A changed fetch is one change, not sixteen."""
    found = after(CARILLON, "        pc_out\n        pc_out, ir", "        pc_out, lamp\n        pc_out, ir")
    assert set(moved(found)) == {"prologue", "reset"}


# ---------------------------------------------------------------- every word names its successor; pairs by conditions


def test_aligned_pairs_may_move_as_a_whole() -> None:
    padding = "\nroutine padding at 0x80\n        goto start.idle\n        goto start.idle\n"
    assert moved(compared(contents_of(*TIDECLOCK), contents_of(TIDECLOCK[0], TIDECLOCK[1] + padding))) == {}
    swapped = TIDECLOCK[1].replace("either refresh or reading by ready", "either reading or refresh by ready")
    assert swapped != TIDECLOCK[1]
    assert "start.idle" in moved(compared(contents_of(*TIDECLOCK), contents_of(TIDECLOCK[0], swapped)))


def test_the_way_to_a_difference_names_the_conditions() -> None:
    found = after(TIDECLOCK, "  rising: quotient <- number, number 10", "  rising: quotient <- number, number 12")
    first = unit(found, "start.idle").difference
    assert first is not None
    said = [str(literal) for passage in first.way for literal in passage.when]
    assert "not ready_2" in said and "column is 3" in said and "not sign" in said
    assert [str(change) for change in first.changes] == ["number: 10 -> 12"]


# ---------------------------------------------------------------- a stack of return addresses


def test_nested_subroutines_are_followed_to_their_callers() -> None:
    found = compared(contents_of(*ORRERY), contents_of(*ORRERY))
    assert moved(found) == {} and len(found.units) > 15


# ---------------------------------------------------------------- a register between store and machine


DELAYED = """machine delayed
microprogram "m.micro"
store control 32 words of 12 bits
    address active
field branch 1 bit
field target 5 bits address, idle 0
field source 2 bits
    none 0 idle
    acc  1
    temp 2
spare 4 bits
state upc 5 bits, reset 0
    next target if branch else upc + 1
state active 5 bits, reset 0
    next upc
bus data 8 bits, floats
    driven by acc when source is acc
    driven by temp when source is temp
home top
order goto <there>: branch, target <there>
"""


def test_a_delay_slot_belongs_to_the_way() -> None:
    """The word after a branch still acts; to move it away from there changes what is done."""
    kept = "routine top at 0\n        source acc\n        goto top\n        source temp\n        source none\n"
    other = kept.replace("        source temp\n", "        source acc\n")
    assert moved(compared(contents_of(DELAYED, kept), contents_of(DELAYED, kept))) == {}
    found = compared(contents_of(DELAYED, kept), contents_of(DELAYED, other))
    assert "changed" in moved(found).values()


@pytest.mark.parametrize("next_", ["upc", "active if hold else upc"])
def test_behind_a_register_words_may_move(next_: str) -> None:
    """The address that acts is a copy of the one that words and counts make: both say where control is."""
    machine = DELAYED.replace("    next upc\n", f"    next {next_}\ninput hold 1 bit\n")
    kept = "routine top at 0\n        goto far\n        source temp\n" \
           "routine near\n        goto top\n        source acc\nroutine far\n        goto near\n        source acc\n"
    bodies = kept.split("routine ")
    other = "routine ".join((bodies[0], bodies[1], bodies[3], bodies[2]))
    assert moved(compared(contents_of(machine, kept), contents_of(machine, other))) == {}
    changed = other.replace("goto near", "goto near, source temp")
    assert moved(compared(contents_of(machine, kept), contents_of(machine, changed))) != {}
    later = machine.replace("    address active\n", "    address last\n").replace(
        "bus data", "state last 5 bits, reset 0\n    next active\nbus data")
    slow = [text.replace("        source acc\n", "        source acc\n        source none\n").replace(
        "source temp\n", "source temp\n        source none\n") for text in (kept, other)]
    assert moved(compared(contents_of(later, slow[0]), contents_of(later, slow[1]))) == {}


# ---------------------------------------------------------------- an interrupt that comes back


INTERRUPTED = """machine interrupted
microprogram "m.micro"
constant entry = 0x18
store control 32 words of 12 bits
    address upc
field branch 2 bits
    step   0 idle
    jump   1
    look   2
    resume 3
field target 5 bits address, idle 0
field source 2 bits
    none 0 idle
    acc  1
    temp 2
spare 3 bits
input asks 1 bit
state upc 5 bits, reset 0
    next choose branch
        step  : upc + 1
        jump  : target
        look  : entry if asks else upc + 1
        resume: kept
state kept 5 bits, reset 0
    next upc + 1 if branch is look and asks else kept
bus data 8 bits, floats
    driven by acc when source is acc
    driven by temp when source is temp
home top
order goto <there>: branch jump, target <there>
order look: branch look
order resume: branch resume
"""


def test_what_follows_an_interruption_belongs_to_what_was_interrupted() -> None:
    """`top` looks for a request and goes on behind it; the way through the service comes back there, too."""
    text = ("routine top at 0\n        source acc, look\n        source temp\n        goto top\n"
            "routine service at 0x18\n        source none\n        resume\n")
    spread = text.replace("        source temp\n        goto top\n", "        goto onward\n") + (
        "routine onward\n        source temp\n        goto top\n")
    texts = [INTERRUPTED, text]
    assert moved(after(texts, "source temp", "source acc")) == {"top": "changed", "reset": "changed"}
    assert moved(after(texts, "        source none\n", "        source acc\n")) == {"service": "changed"}
    assert "top" in moved(compared(contents_of(*texts), contents_of(INTERRUPTED, spread)))
    padded = text + "routine padding at 4\n        source acc\n        goto top\n"
    assert moved(compared(contents_of(*texts), contents_of(INTERRUPTED, padded))) == {}


def test_only_the_way_back_differs() -> None:
    """The same words, but one level of the request line comes back to another place."""
    other = INTERRUPTED.replace("next upc + 1 if branch is look", "next target if branch is look")
    text = ("routine top at 0\n        source acc, branch look, target back\n        source temp\n  back: goto top\n"
            "routine service at 0x18\n        source none\n        resume\n")
    found = compared(contents_of(INTERRUPTED, text), contents_of(other, text))
    assert moved(found) == {"top": "changed", "reset": "changed"}


# ---------------------------------------------------------------- an opcode in a part of a register


NIBBLE = """\
machine nibble
store control 128 words of 10 bits
    address upc
    starts at {0b1, ir[7:4], 0b00}
    instruction ir[7:4]
field go 2 bits
    next 0 idle
    home 1
    dispatch 2
field mark 8 bits, idle 0
state upc 7 bits, reset 0
    next choose go
        next: upc + 1
        home: 0
        dispatch: {0b1, ir[7:4], 0b00}
        otherwise: upc
register ir 8 bits, loads data when mark is 1
bus data 8 bits, floats
    driven by memory
home upc is 0
"""


TWO_REGISTERS = NIBBLE.replace("{0b1, ir[7:4], 0b00}", "{0b1, high, low, 0b00}").replace(
    "instruction ir[7:4]", "instruction {high, low}").replace(
    "register ir 8 bits, loads data when mark is 1\n", "register high 2 bits, loads data[7:6] when mark is 1\n"
                                                       "register low 2 bits, loads data[5:4] when mark is 1\n")


@pytest.mark.parametrize("machine", [NIBBLE, TWO_REGISTERS, NIBBLE.replace("    instruction ir[7:4]\n", "").replace(
    "register ir 8", "register ir 4").replace("loads data", "loads data[7:4]").replace("ir[7:4]", "ir")])
def test_a_change_is_found_where_the_opcode_is_a_part_of_a_register(machine: str) -> None:
    """As where the register holds the opcode and nothing else; and it is told by the opcodes as they are written."""
    micro = ('routine fetch at 0\n    mark 1\n    go dispatch\n'
             'instruction 0b00x1 "one"\n    mark 3\n    mark 4, go home\n'
             'instruction others "rest"\n    go home\n')
    found = after([machine, micro], "mark 3", "mark 5")
    assert moved(found) == {"one": "changed"}
    assert (unit(found, "one").opcodes, unit(found, "one").differing) == ((1, 3), (1, 3))
    found = after([machine, micro], '0b00x1 "one"', '0b0001 "one"')
    assert moved(found) == {"rest": "changed"} and unit(found, "rest").differing == (3,)


# ---------------------------------------------------------------- an opcode that is loaded as it is asked about

POINTS = ("""machine points
microprogram "m.micro"
store control 16 words of 8 bits
    address ADDRESS
field branch 2 bits
    jump 0 idle
    one  1
    two  2
field target 4 bits address, idle 0
field load 1 bit
field ring 1 bit
store first 2 words of 4 bits
    address op
store second 2 words of 4 bits
    address op
state upc 4 bits, reset RESET
    next choose branch
        jump: target
        one : first
        two : second
        otherwise: 0
state now 4 bits, reset 0
    next upc
register op 1 bit, loads wire when load
bus wire 1 bit, pulled low
    driven by post when ring
home start
""", """\
routine start at 0
        branch one, FIRST
        branch one, SECOND
routine decode
        branch two
        branch two
routine left
        target start
        target start
routine right
        target start
        target start
map first
        0: decode
        1: start
map second
        0: left
        1: right
""")


@pytest.mark.parametrize(("late", "first", "second", "told"), [
    (False, "load", "load 0", True),            # asked about is the old opcode, and left is the new one
    (False, "load 0", "load", False),           # it stays, and `decode` is for 0 alone
    (True, "load 0", "load 0", False),
    (True, "load 0", "load", True),             # one cycle later, when control is not there yet
    (True, "load", "load 0", True),             # between two times that it is asked about
])
def test_what_was_loaded_as_it_was_asked_about_is_another_opcode(late: bool, first: str, second: str,
                                                                 told: bool) -> None:
    """By way of `decode`, where the rows of the second table part, control comes to `right` only with opcode 1. With a
    register before the address, the word behind each is executed as well."""
    machine = POINTS[0].replace("ADDRESS", "now" if late else "upc").replace(
        "RESET", "1" if late else "0")
    old = machine, POINTS[1].replace("FIRST", first).replace("SECOND", second)
    new = old[0], old[1].replace("routine right\n        target start\n        target",
                                 "routine right\n        ring, target start\n        ring, target")
    assert bool(moved(behaviour(join(contents_of(*old), contents_of(*new))))) == told
    assert not moved(behaviour(join(contents_of(*old), contents_of(*old))))


@pytest.mark.parametrize(("late", "first", "second", "told"), [
    (False, "load", "load 0", False),           # it shows what it loads as it is asked, and `decode` is for 0 alone
    (False, "load 0", "load", False), (True, "load 0", "load 0", False),
    (True, "load 0", "load", True),             # one cycle later
])
def test_a_latch_is_another_opcode_only_where_it_opens_later(late: bool, first: str, second: str, told: bool) -> None:
    machine = POINTS[0].replace("ADDRESS", "now" if late else "upc").replace("RESET", "1" if late else "0").replace(
        "register op", "latch op")
    old = machine, POINTS[1].replace("FIRST", first).replace("SECOND", second)
    new = machine, old[1].replace("routine right\n        target start\n        target",
                                  "routine right\n        ring, target start\n        ring, target")
    assert bool(moved(compared(contents_of(*old), contents_of(*new)))) == told
    assert not moved(compared(contents_of(*old), contents_of(*old)))


# ---------------------------------------------------------------- a return address that is set before the dispatch


LINKED = ["""machine linked
microprogram "m.micro"
store control 16 words of 12 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    back 2
    go   3
field target 4 bits address, idle 0
field up     1 bit
field down   1 bit
field keep   1 bit
spare 3 bits
store entry 4 words of 4 bits
    address op
    word start of instruction
state upc 4 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        back: link
        go  : entry
state link 4 bits, reset 0
    next target if keep else link
register op 2 bits
    loads rope when upc is 0
bus rope 2 bits, pulled low
    driven by drum when up
home upc is 0
""", """\
routine wait at 0
        branch go, keep, target tail
routine tail
        up
        branch jump, target wait
instruction 1, 2 "lift"
        up, branch back
instruction others "lower"
        down, branch step
        down, branch back
"""]


@pytest.mark.parametrize(("old", "new", "changed"), [
    ("routine tail\n        up\n", "routine tail\n        up, down\n", {"reset", "wait"}),
    ("up, branch back", "up, down, branch back", {"lift"}), ("down, branch step", "branch step", {"lower"}),
    ("target tail", "target wait", {"reset", "wait"}),
])
def test_where_instructions_return_to_belongs_to_who_said_it(old: str, new: str, changed: set[str]) -> None:
    """The fetch says it, and what stands there is reached through no instruction in particular."""
    assert set(moved(after(LINKED, old, new))) == changed


def test_instructions_to_which_no_word_leads_yet() -> None:
    """The store of starts is wired, though the fetch does not go there."""
    quiet = [LINKED[0], LINKED[1].replace("branch go, keep", "branch jump, keep")]
    assert moved(after(quiet, "up, branch back", "up, down, branch back")) == {"lift": "changed"}


# ---------------------------------------------------------------- places wired by number, some of them alike


LEVERS = ["""\
machine cabin "four levers, of which the number is a part of the address"
microprogram "m.micro"
store control 32 words of 10 bits
    address upc
field branch 2 bits
    step  0 idle
    jump  1
    serve 2
field target 5 bits address, idle 0
field ring 1 bit
field lift 1 bit
spare 1 bit
input lever 2 bits, pulled 1 bit
state upc 5 bits, reset 0
    next choose branch
        step     : upc + 1
        jump     : target
        serve    : {0b1, lever, 0b00} if pulled else upc
        otherwise: 0
home idle
order goto <there>: branch jump, target <there>
""", """\
routine idle at 0
        branch serve
""" + "".join(f"routine lever_{number} at {16 + 4 * number}\n        {order}\n        lift, goto idle\n"
              for number, order in enumerate(("lift", "ring", "lift", "ring")))]


@pytest.mark.parametrize(("number", "before", "now"), [(0, "lift", "step"), (0, "lift", "ring"), (3, "ring", "lift"),
                                                       (1, "ring", "step")])
def test_of_places_that_did_the_same_one_does_something_else(number: int, before: str, now: str) -> None:
    """What the others are paired with must not hang on which of them are alike."""
    place = f"at {16 + 4 * number}\n        "
    assert moved(after(LEVERS, place + before, place + now.replace("step", "branch step"))) == {
        f"lever_{number}": "changed"}


def test_places_that_did_the_same_and_do_so_still() -> None:
    assert moved(after(LEVERS, "routine idle at 0\n", "routine idle at 0\n        ring\n")) == dict.fromkeys(
        ("idle", "reset"), "changed")
    assert moved(after(LEVERS, "at 20\n        ring", "at 20\n        ring, target 9")) == {}


def test_a_place_that_is_taken_for_another_is_told() -> None:
    """The wires of the levers crossed: each place does what it did, and control comes to others."""
    crossed = LEVERS[0].replace("{0b1, lever, 0b00}", "{0b1, lever[0], lever[1], 0b00}")
    edited = LEVERS[1].replace("lift, goto idle\nr", "ring, goto idle\nr", 1)
    found = compared(contents_of(*LEVERS), contents_of(crossed, edited))
    assert {"idle": "changed", "lever_0": "changed"}.items() <= moved(found).items()
