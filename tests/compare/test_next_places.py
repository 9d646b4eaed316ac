"""Who says where control goes next, where that is neither the word nor the opcode alone: a decoder of the word, a
decoder of the opcode that is asked in the middle, lines behind gates, tables asked by lines, a step that was kept."""

import pytest

from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import Texts, after, between, compared, edited, moved, unit

# ---------------------------------------------------------------- the next address out of decoders

SIGNALS: Texts = ("""machine heliograph
microprogram "m.micro"
store control 32 words of 16 bits
    address upc
field seq 3 bits, active low
    step 0 idle
    jump 1
    ask  2
    kind 3
    go   4
field target 5 bits address, idle 0
field flash 1 bit
field shade 1 bit
field load  1 bit
spare 5 bits
store ways 16 words of 2 bits
    address {seq, dark}
    word {seq is 4 or seq is 3, seq is 1 or seq is 3 or (seq is 2 and dark)}
store kinds 4 words of 1 bit
    address ir
    word ir is 3
store entry 4 words of 5 bits
    address ir
    word start of instruction
register ir 2 bits, loads mirror when load
input dark 1 bit
state upc 5 bits, reset 0
    next choose ways
        0: upc + 1
        1: target
        2: entry
        3: target if kinds else upc + 1
bus mirror 2 bits, pulled low
    driven by sun   when flash
    driven by cloud when shade
home upc is 0
""", """\
routine fetch at 0
        load
        seq go
instruction 0 "call"
        flash, seq ask, target rest
        flash, seq jump, target fetch
routine rest
        shade, seq jump, target fetch
instruction 1 "answer"
        seq jump, target common
instruction 2 "wait"
        flash, seq jump, target common
instruction 3 "end"
        shade, seq jump, target common
routine common
        seq kind, target last
        flash, shade, seq jump, target fetch
routine last
        seq step
        seq jump, target fetch
""")


@pytest.mark.parametrize(("edits", "told"), [
    ((), set()),
    ((("        flash, shade, seq jump", "        flash, seq jump"),), {"answer", "wait"}),
    ((("        seq step\n", "        flash\n"),), {"end"}),
    ((("ir is 3", "ir in (1, 3)"),), {"answer"}),
    ((("ir is 3", "ir in (2, 3)"),), {"wait"}),
    ((("ir is 3", "ir is 0"),), {"end"}),                     # `call` does not ask
    ((("        shade, seq jump, target fetch\ninstruction 1", "        seq jump, target fetch\ninstruction 1"),),
     {"call"}),
    ((("seq is 2 and dark", "seq is 2 and not dark"),), {"call"}),
    ((("seq is 2 and dark", "seq in (2, 7) and dark"),), set()),     # a code that no word has
    ((("routine rest\n", "routine pad\n        seq jump, target pad\nroutine rest\n"),), set()),
    ((("instruction 2", "routine pad\n        seq jump, target pad\ninstruction 2"),
      ("        seq step\n", "        flash\n")), {"end"}),
])
def test_decoders_that_say_where_control_goes(edits: tuple[tuple[str, str], ...], told: set[str]) -> None:
    for found in (after(SIGNALS, *edits), between(edited(SIGNALS, *edits), SIGNALS)):
        assert moved(found) == dict.fromkeys(told, "changed")
        assert {one.kind for one in found.units} == {"reset", "boundary", "instruction"}


def test_a_decoder_that_is_read_is_no_word_that_acts() -> None:
    """Neither the one of the word nor the one of the opcode is told as a place of the way."""
    first = unit(after(SIGNALS, ("        flash, shade, seq jump", "        flash, seq jump")), "wait").difference
    assert first is not None and first.cycle == 3
    assert {store for passage in first.way for store, _ in (*passage.old, *passage.new)} == {"control"}
    assert [store for store, _ in (*first.old, *first.new)] == ["control", "control"]
    dark = unit(after(SIGNALS, ("seq is 2 and dark", "seq is 2 and not dark")), "call").difference
    assert dark is not None and dark.cycle == 2 and len(dark.way[0].when) == 1


# ---------------------------------------------------------------- a table that is asked by lines

SWITCHED: Texts = ("""machine gantry
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field branch 2 bits
    jump 0 idle
    row  1
field target 4 bits address, idle 0
field hoist 1 bit
spare 1 bit
store table WORDS words of 4 bits
    address lever
input lever LINES bits
state upc 4 bits, reset 0
    next target if branch is jump else table.word
bus chain 1 bit, pulled low
    driven by drum when hoist
home upc is 0
""", """\
routine idle at 0
        branch row
routine raise at 4
        hoist, branch jump, target idle
routine lower at 8
        branch jump, target idle
map table
        0: raise
        others: lower
""")


@pytest.mark.parametrize(("lines", "rows"), [(1, False), (4, False), (5, True)])
def test_a_table_that_is_asked_by_few_lines_is_part_of_the_way(lines: int, rows: bool) -> None:
    """What is asked by many is asked which of many things is meant, and each of them is compared."""
    texts = (SWITCHED[0].replace("LINES bits", f"{lines} bit{'s'[:lines > 1]}").replace("WORDS", str(1 << lines)),
             SWITCHED[1])
    found = after(texts, ("        hoist, branch", "        branch"))
    assert ({one.kind for one in found.units} == {"reset", "boundary", "row"}) == rows
    assert moved(found) == ({"raise": "changed"} if rows else {"reset": "changed", "idle": "changed"})
    assert moved(after(texts, ("routine raise at 4", "routine raise at 5"))) == {}
    if not rows:
        first = unit(found, "idle").difference
        assert first is not None and first.cycle == 2
        assert [str(one) for one in first.way[0].when] == ["not lever" if lines == 1 else "lever is 0"]


# ---------------------------------------------------------------- lines of the address behind gates

GATED = """\
machine skerry
microprogram "m.micro"
store control 64 words of 12 bits
    address ADDRESS
field branch 2 bits
    jump 0 idle
    call 1
    back 2
field to   5 bits address
field ring 1 bit
field hum  1 bit
spare 3 bits
input night 1 bit, wind 1 bit
state ret 5 bits, reset any
    next LINK if branch is call else ret
state upc 5 bits, reset 0
    next ret if branch is back else to
bus data 1 bit, pulled low
    driven by bell when ring
    driven by drum when hum
home upc is 0
"""


def skerry(storm: str = "hum", link: str = "upc + 1", line: str = "night and wind", back: int = 6) -> Contents:
    """`start` calls `far`, which returns behind it; in a storm `far` has another word."""
    words = {0: Word("start", {"ring": 1, "branch": "call", "to": 6}), 1: Word("next", {"to": 8}),
             6: Word("far", {"branch": "back"}), 8: Word("last", {"hum": 1, "to": 0})}
    both = {2 * address + level: word for address, word in words.items() for level in (0, 1)}
    both[2 * back + 1] = Word("far", {**both[2 * back + 1].fields, storm: 1})
    return burned(resolved(GATED.replace("ADDRESS", f"{{upc, {line}}}").replace("LINK", link)), both)


@pytest.mark.parametrize("line", ["night and wind", "night xor wind", "not night"])
def test_a_line_behind_a_gate_chooses_one_of_two_words(line: str) -> None:
    levels = {"night and wind": {("night", "wind")}, "night xor wind": {("night", "not wind"), ("not night", "wind")},
              "not night": {("not night",)}}
    assert moved(compared(skerry(line=line), skerry(line=line))) == {}
    found = compared(skerry("hum", line=line), skerry("ring", line=line))
    first = unit(found, "start").difference
    assert first is not None and (first.cycle, first.old, first.new) == (2, (("control", 13),), (("control", 13),))
    assert tuple(sorted(str(one).split()[-1] for one in first.when)) in {
        tuple(sorted(one.split()[-1] for one in each)) for each in levels[line]}
    assert tuple(sorted(map(str, first.when))) in {tuple(sorted(each)) for each in levels[line]}
    other = unit(compared(skerry("hum", line=line, back=8), skerry("ring", line=line, back=8)), "start").difference
    assert other is not None and other.cycle == 4 and [str(one) for one in other.changes] == ["ring: 0 -> 1"]


# ---------------------------------------------------------------- a step that is kept, and taken again

WINDER: Texts = ("""machine winder
microprogram "m.micro"
store control 32 words of 10 bits
    address {op, step}
    instruction op
    step step
field over  1 bit
field keep  1 bit
field again 1 bit
field to    3 bits, idle 0
field up    1 bit
field down  1 bit
spare 2 bits
state step 3 bits, reset 0
    next 0 if over else (kept if again else step + 1)
state kept 3 bits, reset any
    next to if keep else kept
register op 2 bits, loads rope when over
bus rope 2 bits, pulled low
    driven by drum when up
home step is 0
""", """\
instruction 0 "mark"
        up, keep, to 2
        down, over
instruction 1 "back"
        again
        up
        down
        up, over
instruction others "rest"
        over
""")


def test_a_step_that_is_kept_counts_as_the_number_that_it_is() -> None:
    """`back` goes on at the step that `mark` has kept, and no other instruction asks."""
    assert moved(after(WINDER)) == {}
    assert moved(after(WINDER, ("to 2", "to 3"))) == {"mark": "changed"}
    assert moved(after(WINDER, ("        up\n        down\n", "        up\n        up\n"))) == {"back": "changed"}
    assert moved(after(WINDER, ("        over\n", "        over, to 3\n"))) == {}
    assert moved(after(WINDER, ("        over\n", "        over, up\n"))) == {"rest": "changed"}


# ---------------------------------------------------------------- what is left of an opcode that is loaded in part

LOADER: Texts = ("""machine punnet
microprogram "m.micro"
store control 16 words of 10 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    go   2
    test 3
field target 4 bits address, idle 0
field load 1 bit
field ring 1 bit
spare 2 bits
store entry 4 words of 4 bits
    address op
    word start of instruction
input line 1 bit
state upc 4 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        go  : entry
        test: target if op[1] else upc + 1
register op 2 bits, reset any, loads SOURCE when load
bus wire 1 bit, pulled low
    driven by bell when ring and line
home upc is 0
""", """\
routine fetch at 0
        load
        ring
        branch test, target other
        ring, branch go
routine other
        branch go
instruction 0, 1, 2, 3 "rest"
        branch jump, target fetch
""")


@pytest.mark.parametrize(("source", "known"), [
    ("{0b1, op[0]}", True), ("{op[0], 0b1}", False), ("{line, 0b1}", False), ("0b10", True),
    ("op", False), ("0b00", False)])
def test_which_way_an_opcode_sends_control_that_was_loaded_in_part(source: str, known: bool) -> None:
    """Where its upper bit is known to be 1, nobody comes to the word behind the question."""
    texts = (LOADER[0].replace("SOURCE", source), LOADER[1])
    found = moved(after(texts, ("        ring, branch go", "        branch go")))
    assert found == ({} if known else {"reset": "changed", "fetch": "changed"})


@pytest.mark.parametrize("source", ["{0b1, line}", "{line, line}", "{0b1, not line}"])
def test_a_line_that_was_loaded_is_not_the_line_that_is_there_now(source: str) -> None:
    texts = (LOADER[0].replace("SOURCE", source), LOADER[1])
    for now in ("ring and line and op[0]", "ring and line and not op[0]"):
        assert moved(after(texts, ("when ring and line", f"when {now}"))) == {"reset": "changed", "fetch": "changed"}


# ---------------------------------------------------------------- what only some of those ask who share a routine

SHARED: Texts = edited((LOADER[0].replace("SOURCE", "wire"), LOADER[1]), (
    'instruction 0, 1, 2, 3 "rest"\n        branch jump, target fetch\n',
    "routine tail\n        ring\n        branch jump, target fetch\n" + "".join(
        f'instruction {number} "{name}"\n        branch jump, target {tail}\n'
        for number, name, tail in ((0, "call", "tail"), (1, "answer", "tail"), (2, "wait", "tail"),
                                   (3, "end", "fetch")))),
    ("bus wire 1 bit", "bus wire 2 bits"))


@pytest.mark.parametrize(("opcodes", "told"), [
    ("op in (0, 3)", {"answer", "wait"}), ("op in (0, 1)", {"wait"}), ("op in (0, 1, 2)", set()),
    ("not op is 3", set()), ("op[0]", {"call", "wait"}), ("op[1]", {"call", "answer"})])
def test_an_effect_that_asks_which_instruction_it_is(opcodes: str, told: set[str]) -> None:
    """In the tail that three of four share. The fetch rings as well, and does not know which it will be."""
    quiet = edited(SHARED, ("        load\n        ring\n        branch test, target other\n        ring, branch go\n",
                            "        load\n        branch test, target other\n        branch go\n"))
    asking = edited(quiet, ("ring and line", f"ring and line and {opcodes}"))
    assert moved(between(quiet, asking)) == dict.fromkeys(told, "changed") == moved(between(asking, quiet))


# ---------------------------------------------------------------- machines without a place, and with one in two parts


def test_a_machine_without_a_sequencer_has_one_word_for_each_instruction() -> None:
    """The opcode and a line are the address, so no word says where control goes."""
    text = """\
machine lathe
microprogram "m.micro"
store control 8 words of 4 bits
    address {op, line}
    instruction op
field up   1 bit
field down 1 bit
spare 2 bits
input line 1 bit
register op 2 bits, loads rope when not down
bus rope 2 bits, pulled low
    driven by drum when up
"""

    def words(**fields: int) -> Contents:
        return burned(resolved(text), {2 * op + line: Word(name, fields if 2 * op + line == 5 else {"down": op & line})
                                       for op, name in enumerate(("lift", "lower", "stay", "rest")) for line in (0, 1)})

    assert {one.kind for one in compared(words(down=1), words(down=1)).units} == {"reset", "instruction"}
    found = compared(words(down=1), words(up=1))
    assert moved(found)["stay"] == "changed" and "lift" not in moved(found) and "rest" not in moved(found)


TWO_PARTS: Texts = ("""machine barrow
microprogram "m.micro"
store control 64 words of 12 bits
    address {high, low}
field branch 2 bits
    step 0 idle
    jump 1
    page 2
    wire 3
field target 6 bits address, idle 0
field ring 1 bit
field hum  1 bit
spare 2 bits
state high 3 bits, reset 0
    next choose branch
        jump: target[5:3]
        page: 0b101
        wire: 0b110
        otherwise: high
state low 3 bits, reset 0
    next choose branch
        step: low + 1
        wire: 0b010
        otherwise: target[2:0]
bus data 1 bit, pulled low
    driven by bell when ring
    driven by drum when hum
home high is 0 and low is 0
""", """\
routine start at 0
        ring
        branch page, target upper
routine upper at 0b101_011
        hum, branch wire
routine trap at 0b110_010
        ring, branch jump, target start
""")


def test_a_place_of_which_one_part_is_wired_is_no_wired_place() -> None:
    """`page` fixes the upper half and the word says the lower one; `wire` fixes both, and what stands there is told by
    itself."""
    assert {one.title: one.kind for one in after(TWO_PARTS).units} == {
        "reset": "reset", "start": "boundary", "trap": "wired"}
    assert moved(after(TWO_PARTS, ("        hum, branch wire", "        ring, branch wire"))) == dict.fromkeys(
        ("reset", "start"), "changed")
    assert moved(after(TWO_PARTS, ("        ring, branch jump", "        hum, branch jump"))) == {"trap": "changed"}


# ---------------------------------------------------------------- what people call the places to which control is sent


def test_a_row_is_called_by_the_word_to_which_it_leads() -> None:
    """A label in a routine, and a place where nothing was put."""
    rows = {0: Word("idle", {"branch": "row"}), 4: Word("raise", {"hoist": 1}), 5: Word("raise", {}, "more")}
    machine = resolved(SWITCHED[0].replace("LINES bits", "5 bits").replace("WORDS", "32"))
    contents = burned(machine, rows, tables={"table": {0: 4, 1: 5, 2: 9, 3: 4}})
    titles = {one.title: one.opcodes for one in compared(contents, contents).units if one.kind == "row"}
    assert titles == {"raise": (0, 3), "raise.more": (1,), "control 9": (2,), "idle": tuple(range(4, 32))}


def test_an_instruction_that_is_entered_in_the_middle_keeps_its_title() -> None:
    """SIGNALS with a start at the second word of `call`, in which the label is nobody's title."""
    middle = edited(SIGNALS, ("        flash, seq jump, target fetch\nroutine rest",
                              "  later: flash, seq jump, target fetch\nroutine rest"))
    late = after((middle[0].replace("2: entry", "2: {entry[4:1], not entry[0]}"), middle[1])).joint
    (second,) = late.common.sides[0].contents.labels["call.later"][1]
    assert [root.title for root in late.entered[0].roots
                        if root.addresses == (second,) and root.kind == "instruction"] == ["call"]


def test_opcodes_are_those_lines_of_the_address_and_no_other() -> None:
    """A line stands above them; by night `lift` may do something else at the same opcode."""
    by_night = edited(WINDER, ("store control 32 words", "store control 64 words"), ("{op, step}", "{night, op, step}"),
                      ("home step", "input night 1 bit\nhome step"))
    found = after(by_night, ("        up\n        down\n", "        up\n        up\n"))
    assert moved(found) == {"back": "changed"} and unit(found, "back").differing == (1,)
    assert {one.title: one.opcodes for one in found.units if one.kind == "instruction"} == {
        "mark": (0,), "back": (1,), "rest": (2, 3)}
