"""Ways to say where control goes on that few machines have: plain numbers, bits of the whole word, words of a store
that holds more than starts, wires behind gates, lines that say nothing; and limits of effort beyond which nothing is
the same that was not proved to be."""

from collections.abc import Mapping

import pytest

from ordain.compare.equal_terms import equal_above
from ordain.compare.reach import reach_of_change
from ordain.machine.expression import Terms
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import after, between, compared, edited, moved, unit
from tests.compare.test_how_it_is_told import hoist
from tests.compare.test_sequencers import NIBBLE, ORRERY, TIDECLOCK
from tests.compare.test_what_is_known import DECODED, left_behind

# ---------------------------------------------------------------- the next place is in the word, but no address field

SLEDGE = """\
machine sledge
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field to   4 bits
field ring 1 bit
field hum  1 bit
spare 2 bits
state upc 4 bits, reset 0
    next NEXT
bus data 1 bit, pulled low
    driven by bell when ring
    driven by drum when hum
home upc is 0
"""


def sledge(following: str, far: int, **fields: int) -> Contents:
    return burned(resolved(SLEDGE.replace("NEXT", following)),
                  {0: Word("start", {"to": "@far", "ring": 1}), far: Word("far", {"to": "@start", **fields})})


def test_a_plain_number_may_be_a_place() -> None:
    """It says where control goes and nothing else: another number for the same word is no change, and is not told."""
    was = sledge("to", 5)
    assert moved(compared(was, sledge("to", 9))) == {}
    found = compared(was, sledge("to", 9, hum=1))
    assert moved(found) == dict.fromkeys(("reset", "start"), "changed")
    first = unit(found, "start").difference
    assert first is not None and (first.cycle, [str(change) for change in first.changes]) == (2, ["hum: 0 -> 1"])


def test_bits_of_the_whole_word_may_be_a_place() -> None:
    was = sledge("control.word[7:4]", 5)
    assert moved(compared(was, sledge("control.word[7:4]", 5))) == {}
    first = unit(compared(was, sledge("control.word[7:4]", 5, hum=1)), "start").difference
    assert first is not None and (first.cycle, first.new) == (2, (("control", 5),))
    assert [str(change) for change in first.changes] == ["hum: 0 -> 1"]


def test_a_plain_number_is_a_place_where_words_are_divided_otherwise_as_well() -> None:
    """The new machine has a lamp in its spare bits, so that words are compared field by field."""
    more = resolved(SLEDGE.replace("NEXT", "to").replace("spare 2 bits", "field lamp 2 bits, idle 0"))

    def lit(far: int, **fields: int) -> Contents:
        return burned(more, {0: Word("start", {"to": "@far", "ring": 1}), far: Word("far", {"to": "@start", **fields})})

    assert moved(compared(sledge("to", 5), lit(9))) == {} == moved(compared(lit(9), sledge("to", 5)))
    first = unit(compared(sledge("to", 5), lit(9, hum=1)), "start").difference
    assert first is not None and [str(change) for change in first.changes] == ["hum: 0 -> 1"]


# ---------------------------------------------------------------- two boundaries that differ in instructions alone

TWINS = """\
machine twins
microprogram "m.micro"
store control 64 words of 12 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    go   2
field target 6 bits address, idle 0
field up   1 bit
field down 1 bit
spare 2 bits
store entry 4 words of 5 bits
    address op
    word start of instruction
state upc 6 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        go  : {upc[5], entry}
        otherwise: 0
register op 2 bits, loads rope when upc in (0, 32)
bus rope 2 bits, pulled low
    driven by drum when up
    driven by cask when down
home upc in (0, 32)
"""


def twins(lift_ends_at: int, upper: Mapping[str, int], shift: int = 0) -> Contents:
    """The words at both boundaries are alike, and so are the instructions, but for one: `upper` is its doing after the
    second boundary; after the first it is `down`. `shift`: how much higher that half stands."""
    lift, drop = 4 + shift, 6 + shift
    words = {0: Word("low", {"branch": "go"}), 32: Word("high", {"branch": "go"}),
             lift: Word("lift", {"up": 1, "branch": "jump", "target": lift_ends_at}),
             drop: Word("drop", {"down": 1, "branch": "jump", "target": 32}),
             32 + lift: Word("raise", {"up": 1, "branch": "jump", "target": 32}),
             32 + drop: Word("lower", {**upper, "branch": "jump", "target": 32})}
    return burned(resolved(TWINS), words, tables={"entry": {0: lift, 1: drop, 2: lift, 3: drop}})


def test_a_boundary_is_what_follows_it() -> None:
    alike, other = {"down": 1}, {"down": 1, "up": 1}
    assert moved(compared(twins(0, other), twins(0, other, 3))) == {}
    assert moved(compared(twins(0, alike), twins(32, alike, 3))) == {}      # they are one boundary with a copy
    for one, another in ((twins(0, other), twins(32, other)), (twins(0, alike), twins(0, other))):
        assert moved(compared(one, another)) != {} != moved(compared(another, one))


# ---------------------------------------------------------------- a store of starts that says something else as well

SKIFF = """\
machine skiff
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field go 2 bits
    step     0 idle
    jump     1
    dispatch 2
field to   4 bits address, idle 0
field ring 1 bit
field hum  1 bit
store decode 64 words of 6 bits
    address op
spare 1 bit
field begin 4 bits address SENSE
field quiet 1 bit
state upc 4 bits, reset 0
    next choose go
        step    : upc + 1
        jump    : to
        dispatch: begin
        otherwise: 0
register op 6 bits, loads wire when upc is 0
bus wire 6 bits, pulled low
    driven by bell when ring and not quiet
    driven by drum when hum
home upc is 0
"""


def skiff(sense: str, lift: int, drop: int, quiet: int = 0, drops: Mapping[str, int] = {"hum": 1}) -> Contents:
    back: dict[str, int | str] = {"go": "jump", "to": "@fetch"}
    turn = 15 if sense else 0
    row = {opcode: (at ^ turn) << 1 | (quiet >> opcode & 1)
           for opcode, at in enumerate((lift, drop) * 32)}
    return burned(resolved(SKIFF.replace("SENSE", sense)),
                  {0: Word("fetch", {"go": "dispatch"}), lift: Word("lift", {"ring": 1, **back}),
                   drop: Word("drop", {**drops, **back})}, tables={"decode": row})


@pytest.mark.parametrize("sense", ["", ", active low"])
def test_a_field_of_a_store_of_starts(sense: str) -> None:
    was = skiff(sense, 4, 8)
    assert moved(compared(was, skiff(sense, 9, 6))) == {}
    found = compared(was, skiff(sense, 9, 6, drops={"ring": 1}))
    assert moved(found) == {"drop": "changed"} and unit(found, "drop").differing == tuple(range(1, 64, 2))
    assert moved(compared(was, skiff(sense, 4, 8, quiet=0b0100)))["lift"] == "changed"


# ---------------------------------------------------------------- wires from the opcode behind gates

BEHIND = (NIBBLE.replace("{0b1, ir[7:4], 0b00}", "{0b1, not ir[7:4], 0b00}"),
          'routine fetch at 0\n    mark 1\n    go dispatch\ninstruction 0b00x1 "one"\n    mark 3\n'
          '    mark 4, go home\ninstruction others "rest"\n    go home\n')


def test_what_is_behind_gates_is_told_as_a_whole() -> None:
    """Which instruction it is cannot be told; that something is another one is."""
    assert moved(after(BEHIND)) == {}
    for change in (("mark 3", "mark 5"), ('0b00x1 "one"', '0b0001 "one"')):
        assert moved(after(BEHIND, change)) == {"reset": "changed"}


# ---------------------------------------------------------------- a line of the address that says nothing

LINE = """\
machine punt
microprogram "m.micro"
store control WORDS words of 8 bits
    address ADDRESS
field to   4 bits address
field ring 1 bit
field hum  1 bit
spare 2 bits
input night 1 bit
state upc 4 bits, reset 0
    next to
bus data 1 bit, pulled low
    driven by bell when ring
    driven by drum when hum
home upc is 0
"""


def punt(line: bool, by_night: str = "ring") -> Contents:
    words = {0: Word("start", {"ring": 1, "to": 6}), 6: Word("far", {"hum": 1, "to": 0})}
    if not line:
        return burned(resolved(LINE.replace("WORDS", "16").replace("ADDRESS", "upc")), words)
    both = {2 * address + level: word for address, word in words.items() for level in (0, 1)}
    both[1] = Word("start", {by_night: 1, "to": 6})
    return burned(resolved(LINE.replace("WORDS", "32").replace("ADDRESS", "{upc, night}")), both)


def test_words_that_are_alike_at_both_levels_of_a_line_are_one() -> None:
    for old, new in ((punt(True), punt(False)), (punt(False), punt(True))):
        assert moved(compared(old, new)) == {}
    found = compared(punt(False), punt(True, "hum"))
    assert moved(found) == dict.fromkeys(("reset", "start"), "changed")
    first = unit(found, "start").difference
    assert first is not None and [str(literal) for literal in first.when] == ["night"]
    assert [str(change) for change in first.changes] == ["ring: 1 -> 0", "hum: 0 -> 1"]
    found = compared(punt(True, "hum"), punt(True))
    first = unit(found, "start").difference
    assert first is not None and (first.old, first.new) == ((("control", 1),), (("control", 1),))
    assert [str(change) for change in first.changes] == ["ring: 0 -> 1", "hum: 1 -> 0"]


# ---------------------------------------------------------------- an instruction that takes over an opcode


def test_a_new_instruction_at_an_opcode_of_another() -> None:
    sway = 'instruction 2 "sway"\n        down, branch jump, target wait\n'
    found = after(hoist(), ("instruction 1, 2", f"{sway}instruction 1"))
    assert (unit(found, "sway").status, unit(found, "sway").was) == ("new", "lift")
    (word,) = reach_of_change(found).words
    sites = [side.contents.sites["control"] for side in found.joint.common.sides]
    assert [sites[side][address].owner for side, addresses in enumerate((word.old, word.new))
            for _, address in addresses] == ["lift", "sway"]
    assert [(via.title, via.cycles) for via in word.executed_by] == [("sway", 0)]


# ---------------------------------------------------------------- limits of effort


@pytest.mark.parametrize("limit", ["places.MOST_WORDS", "places.MOST_OPCODE_BITS", "roots.MOST_COMBINATIONS"])
def test_beyond_a_limit_nothing_is_the_same_that_is_not(limit: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What can be told no more is told as changed, with less to say; what is one text is the same still."""
    monkeypatch.setattr(f"ordain.compare.{limit}", 0)
    orrery = (ORRERY[0], ORRERY[1])
    for texts, change in (
            ((TIDECLOCK[0], TIDECLOCK[1]), ("  rising: quotient <- number, number 10",
                                            "  rising: quotient <- number, number 12")),
            (left_behind(4), ("        out 1\n", "        out 2\n")),
            (DECODED, ("        source lamp\n", "        source siren\n"))):
        assert moved(after(texts)) == {}
        assert moved(after(texts, change)) != {}
    assert moved(after(orrery)) == {}


def test_terms_of_two_widths_are_not_equal() -> None:
    terms = Terms()
    wide = terms.leaf("register", "a", 4)
    assert not equal_above(wide, terms.slice(wide, 1, 0))
    assert not equal_above(terms.join((terms.const(0, 1), wide)), wide)


def test_small_parts_that_two_terms_have_stand_for_themselves() -> None:
    """Both are `a xor b`, and equal only by what the parts that they have in common are made of."""
    terms = Terms()
    a, b = (terms.leaf("register", name, 1) for name in "ab")
    differ = terms.xor(a, b)
    one, other = (terms.or_((differ, terms.and_((this, terms.not_(that))))) for this, that in ((a, b), (b, a)))
    assert one is not other and equal_above(one, other)
    assert not equal_above(one, terms.or_((differ, terms.and_((a, b)))))


# ---------------------------------------------------------------- what a memory holds


def test_what_a_memory_holds_at_power_up_is_told() -> None:
    chest = edited(hoist(), ("input dial", "memory chest 4 words of 2 bits\n    address op\n    writes rope when up\n"
                                           "    holds zeros\ninput dial"))
    found = after(chest, ("    holds zeros\n", ""))
    assert found.machine == ("memory `chest` holds anything at power-up, held zeros",)
    found = between(edited(chest, ("    holds zeros\n", "")), chest)
    assert found.machine == ("memory `chest` holds zeros at power-up, held anything",)


# ---------------------------------------------------------------- an opcode that gates keep out while it is fetched

KELP = """\
machine kelp
microprogram "m.micro"
store control 256 words of 8 bits
    address     {latched, opcode, step}
    instruction opcode
    step        step
field mark 6 bits, idle 0
field load 1 bit
field last 1 bit
input zero 1 bit
bus data 4 bits, multiplexed
    driven by memory
register ir 4 bits, loads data when load
state latched 1 bit, reset any
    next zero if last else latched
state step 3 bits, reset 0
    next 0 if last else step + 1
state fetching 1 bit, reset 1
    next 1 if last else 0 if load else fetching
signal opcode = GATE
home step is 0
"""
KELP_WORDS = """\
prologue
    mark 1
    load
instruction 1 "one"
    mark 2
    when latched
        mark 3, last
    otherwise
        mark 4, last
instruction 0b001x "two"
    mark 5
    mark 6, last
instruction others "rest"
    last
"""


@pytest.mark.parametrize("gate", [
    "0 if fetching else ir", "ir if not fetching else 0b0000", "ir and {open, open, open, open}",
    "not (not ir or {fetching, fetching, fetching, fetching})", "0 if step < 2 else ir",
    "{ir[3:2] and {open, open}, 0 if fetching else ir[1:0]}"])
def test_an_opcode_behind_gates_is_one(gate: str) -> None:
    text = KELP.replace("signal opcode = GATE", f"signal open = not fetching\nsignal opcode = {gate}")
    kelp = text, KELP_WORDS
    assert moved(between(kelp, kelp)) == {} and len(between(kelp, kelp).units) == 5
    found = after(kelp, ("mark 4", "mark 7"))
    assert moved(found) == {"one": "changed"} and unit(found, "one").opcodes == (1,)
    assert moved(after(kelp, ("mark 5", "mark 7"))) == {"two": "changed"}
    assert moved(after(kelp, ("mark 1", "mark 7"))) == dict.fromkeys(("reset", "prologue"), "changed")


HALVES = """\
machine halves "a flip-flop chooses between two halves of the store, and an instruction may begin in either"
microprogram "m.micro"
store control 32 words of 11 bits
    address {other, upc}
field go 2 bits
    step 0 idle
    jump 1
    leap 2
    dispatch 3
field to 4 bits address[3:0], idle 0
field mark 4 bits, idle 0
field load 1 bit
store entry 4 words of 4 bits
    address ir
    word start of instruction
bus data 2 bits, multiplexed
    driven by memory
register ir 2 bits, loads data when load
input ask 1 bit
state asked 1 bit, reset 0
    next ask
state other 1 bit, reset 0
    next not other if go is leap else 1 if go is dispatch and asked else other
state upc 4 bits, reset 0
    next choose go
        step    : upc + 1
        dispatch: 8 if asked else {0b0, entry[2:0]}
        otherwise: to
order goto <there>: go jump, to page(<there>)
order leap <there>: go leap, to part(<there>)
home fetch
"""
HALVES_WORDS = """\
routine fetch at 0
    load
    go dispatch
instruction 1 "one"
    mark 1
    goto fetch
instruction others "rest"
    goto fetch
routine wait at 24
    mark 2
    leap fetch
routine beyond at 16
    leap fetch
    leap fetch
    leap fetch
    leap fetch
    leap fetch
    leap fetch
    leap fetch
    leap fetch
"""


def test_an_instruction_is_called_so_where_another_word_might_act() -> None:
    """The flip-flop is not known where the dispatch is entered; what the table says is."""
    halves = HALVES, HALVES_WORDS
    assert {one.title for one in between(halves, halves).units} >= {"one", "rest", "wait"}
    found = after(halves, ("mark 1", "mark 3"))
    assert moved(found)["one"] == "changed" and unit(found, "one").opcodes == (1,)
