"""Which words act: two stores whose lines are not known, an opcode behind a gate of which nothing is known, decoders
that are read on the way to a place."""

from itertools import product

import pytest

from ordain.compare.behaviour import behaviour
from ordain.compare.joint import join
from ordain.compare.variants import Variants
from ordain.faults.model import with_changes
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import Texts, after, between, compared, edited, moved
from tests.compare.test_rare_sequencers import KELP, KELP_WORDS

# ---------------------------------------------------------------- lines of two stores

YOKE = """\
machine yoke
microprogram "m.micro"
store control 8 words of 6 bits
    address {upc, left}
field to   2 bits address
field row  2 bits
field ring 1 bit
spare 1 bit
store rows 8 words of 2 bits
    address {row, right}
field hum  1 bit
field hiss 1 bit
input left 1 bit, right 1 bit
state upc 2 bits, reset 0
    next to
bus rope 1 bit, pulled low
    driven by drum when hum
    driven by cask when hiss
    driven by bell when ring
home upc is 0
"""


def yoke(*told: int, spare: int = 0, ring: int = 0) -> Contents:
    """One place of control, at which two words of each store may act; `told`: rows of the second, in which the drum
    hums."""
    made = burned(resolved(YOKE), {at: Word("all", {"row": 1, "ring": ring if at == 1 else 0}) for at in (0, 1)})
    rows = [2 if at in told else 0 for at in range(8)]
    rows[7] = spare
    return made._replace(words={**made.words, "rows": tuple(rows)})


@pytest.mark.parametrize(("most", "known"), [(4096, True), (3, True), (2, False), (1, False)])
def test_lines_of_two_stores_are_looked_at_up_to_a_limit(most: int, known: bool,
                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    """Two words of one store, and for each two rows of the other. Beyond the limit all is told but one build."""
    monkeypatch.setattr("ordain.compare.places.MOST_WORDS", most)
    assert moved(compared(yoke(2), yoke(2))) == {}
    assert (moved(compared(yoke(2), yoke(2, spare=1))) == {}) == known
    for other in (yoke(3), yoke(2, 3), yoke(), yoke(2, ring=1)):
        assert moved(compared(yoke(2), other)) != {}


# ---------------------------------------------------------------- an opcode behind a gate that nobody knows

OPEN: Texts = (KELP.replace("signal opcode = GATE", "input open 1 bit\nsignal opcode = ir if open else 0b0000"),
               KELP_WORDS)


def test_an_opcode_behind_a_gate_that_is_not_known() -> None:
    """There is no instruction by itself: whichever is another, the way from reset is told as one. The same gate said
    otherwise is the same."""
    gates = (OPEN[0].replace("ir if open else 0b0000", "ir and {open, open, open, open}"), OPEN[1])
    assert moved(between(OPEN, OPEN)) == {} == moved(between(OPEN, gates)) == moved(between(gates, OPEN))
    for change in (("mark 2", "mark 7"), ("mark 3", "mark 7"), ("mark 5", "mark 7"), ("mark 6, last", "mark 7, last")):
        told = dict.fromkeys(("reset", "prologue"), "changed")
        assert moved(after(OPEN, change)) == told == moved(between(OPEN, edited(gates, change)))


# ---------------------------------------------------------------- decoders between the word and the next place

GEARS = """\
machine gears
microprogram "m.micro"
store control 16 words of 10 bits
    address upc
field way  2 bits
field to   4 bits address
field ring 1 bit
field hum  1 bit
spare 2 bits
store first 8 words of 3 bits
    address {way, wind}
field slow 1 bit
field late 2 bits, active low
store second 4 words of 1 bit
    address late
input wind 1 bit
state upc 4 bits, reset 0
    next to + 1 if second.word else to
bus rope 1 bit, pulled low
    driven by drum when hum
    driven by bell when ring
home upc is 0
"""


def gears(way: int, does: str = "ring", first: dict[int, int] | None = None, second: tuple[int, ...] = (0, 1, 1, 0),
          other: str = "hum", text: str = GEARS) -> Contents:
    """`home` goes on to 8 or 9 by what two decoders say of its way and the wind."""
    words = {0: Word("home", {"way": way, "to": 8}), 8: Word("eight", {does: 1}), 9: Word("nine", {other: 1})}
    rows = {0: 3, 1: 3, 2: 2, 3: 3, 4: 1, 5: 2, 6: 0, 7: 0} if first is None else first     # late is what is not there
    return burned(resolved(text), words, tables={"first": rows, "second": dict(enumerate(second))})


@pytest.mark.parametrize("way", range(4))
def test_decoders_that_are_read_one_by_the_other(way: int) -> None:
    """Ways 0 and 3 lead to 8 whatever the wind, 1 by the wind, 2 to 9: `late` is 0 0, 1 0, 2 1, 3 3. The words there
    have way 0. What the first decoder says is shown besides, wherever it leads."""
    old = gears(way)
    for change, ways in ((gears(way, "hum"), {0, 1, 3}), (gears(way, other="ring"), {1, 2}),
                         (gears(way, second=(1, 1, 1, 0)), {0, 1, 2, 3}), (gears(way, second=(0, 0, 1, 0)), {1, 2}),
                         (gears(way, second=(0, 1, 0, 0)), {2}), (gears(way, second=(0, 1, 1, 1)), {3}),
                         (gears(way, first={0: 3, 1: 3, 2: 3, 3: 2, 4: 1, 5: 2, 6: 0, 7: 0}), {1}),
                         (gears(way, first={0: 3, 1: 3, 2: 2, 3: 3, 4: 2, 5: 1, 6: 0, 7: 0}), {2})):
        assert (moved(compared(old, change)) != {}) == (way in ways)
        assert (moved(compared(change, old)) != {}) == (way in ways)
    assert {one.kind for one in behaviour(join(old, old)).units} == {"reset", "boundary"}



def test_every_other_word_of_decoders_that_are_read_one_by_the_other() -> None:
    """One variant after another: what rests on a word of them is worked out anew, also where it is computed and
    nothing but control reads it."""
    for way, text in product(range(4), (GEARS, GEARS.replace("address late", "address late\n    word late[0]"))):
        contents = gears(way, text=text)
        variants = Variants(contents)
        for store, bits in (("first", 3), ("second", 1)):
            for address, bit in product(range(len(contents.words[store])), range(bits)):
                changes = {store: {address: contents.words[store][address] ^ 1 << bit}}
                changed = with_changes(contents, changes)
                found = [(unit.title, unit.status) for unit in variants.of(changes, changed).units]
                assert found == [*moved(compared(contents, changed)).items()], (way, store, address, bit)


PICK = """\
machine pick
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field way  2 bits
field to   4 bits address
field ring 1 bit
field hum  1 bit
store pick 8 words of 1 bit
    address {way, wind}
    word    wind
input wind 1 bit
state upc 4 bits, reset 0
    next to + 1 if pick.word else to
bus rope 1 bit, pulled low
    driven by drum when hum
    driven by bell when ring
home upc is 0
"""


def test_every_other_word_of_a_decoder_of_which_a_line_is_open() -> None:
    contents = burned(resolved(PICK), {0: Word("home", {"way": 1, "to": 8}), 8: Word("eight", {"ring": 1}),
                                       9: Word("nine", {"hum": 1, "way": 2})}, tables={"pick": {3: 1}})
    variants, seen = Variants(contents), set()
    for address in range(8):
        changes = {"pick": {address: contents.words["pick"][address] ^ 1}}
        changed = with_changes(contents, changes)
        found = [(unit.title, unit.status) for unit in variants.of(changes, changed).units]
        assert found == [*moved(compared(contents, changed)).items()], address
        seen.add((address, bool(found)))
    assert seen == {(address, address < 6) for address in range(8)}


SORT = PICK.replace("words of 8 bits", "words of 9 bits").replace("field ring", "field go   1 bit\nfield ring").replace(
    "address {way, wind}\n    word    wind\n", """\
address {op, way[0]}
    word    op is 1
store entry 4 words of 4 bits
    address op
    word    start of instruction
register op 2 bits, loads wire when go
bus wire 2 bits, pulled high
""").replace("next to + 1", "next entry if go else to + 1")


@pytest.mark.parametrize("cells", [(), (1,), (5,), (1, 3, 5, 7), (2, 4)])
def test_a_decoder_of_an_opcode_that_is_not_known_is_no_store_of_starts(cells: tuple[int, ...]) -> None:
    """In the first word any opcode may be there: by the cell of one alone control may come to 9, and not otherwise."""
    def sort(ring: int) -> Contents:
        return burned(resolved(SORT), {0: Word("home", {"way": 1, "to": 8}), 8: Word("go", {"go": 1}),
                                       9: Word("nine", {"ring": ring}), 12: Word("twelve", {})},
                      tables={"pick": dict.fromkeys(cells, 1), "entry": dict.fromkeys(range(4), 12)})

    assert (moved(compared(sort(0), sort(1))) != {}) == any(cell & 1 for cell in cells)


# ---------------------------------------------------------------- conditions on a high line of the address

FORK = """\
machine fork
microprogram "m.micro"
store control 8 words of 4 bits
    address {LINE, upc}
field to   2 bits address
field ring 1 bit
field hum  1 bit
LEFT
input right 1 bit
state upc 2 bits, reset 0
    next to
bus rope 1 bit, pulled low
    driven by drum when hum
    driven by bell when RING
home upc is 0
"""


def fork(line: str, low: str, high: str, ring: str = "ring", left: str = "input left 1 bit") -> Contents:
    """After `home` one of two words by the level of a line."""
    return burned(resolved(FORK.replace("LINE", line).replace("RING", ring).replace("LEFT", left)), {
        0: Word("home", {"to": 1}), 4: Word("home", {"to": 1}), 1: Word("low", {low: 1}), 5: Word("high", {high: 1})})


@pytest.mark.parametrize(("line", "turned"), [
    ("left", "not left"), ("not left", "left"), ("left and right", "not left or not right"),
    ("left or right", "not (left or right)"), ("left xor right", "left xor not right")])
def test_at_which_level_of_a_line_a_word_stands(line: str, turned: str) -> None:
    old, told = fork(line, "ring", "hum"), dict.fromkeys(("reset", "home"), "changed")
    for new, same in ((fork(line, "ring", "hum"), True), (fork(turned, "hum", "ring"), True),
                      (fork(turned, "ring", "hum"), False), (fork(line, "hum", "hum"), False),
                      (fork(line, "ring", "ring"), False), (fork(line, "hum", "ring"), False)):
        assert moved(compared(old, new)) == ({} if same else told)
        assert moved(compared(new, old)) == ({} if same else told)


@pytest.mark.parametrize(("low", "high", "same"), [("hum", "ring", True), ("ring", "hum", False)])
def test_a_line_of_the_address_is_known_to_what_the_word_does(low: str, high: str, same: bool) -> None:
    """Where the word at the high level alone rings, it makes no difference that the line has a part in it: a flag of
    which nothing is known before."""
    plain, asked = (fork("left", low, high, ring, "register left 1 bit, loads 0b0 when hum")
                    for ring in ("ring", "ring and left"))
    assert (moved(compared(plain, asked)) == {}) == same == (moved(compared(asked, plain)) == {})


# ---------------------------------------------------------------- what was given to a flag of several bits

DIAL = """\
machine dial
microprogram "m.micro"
store control 16 words of 12 bits
    address upc
field go   2 bits
    step 0 idle
    jump 1
    ask  2
field to   4 bits address, idle 0
field set  1 bit
field want 2 bits
field ring 1 bit
spare 2 bits
register mode 2 bits, loads want when set
state upc 4 bits, reset 0
    next choose go
        step: upc + 1
        jump: to
        ask : to if mode is ASKED else upc + 1
        otherwise: 0
bus rope 1 bit, pulled low
    driven by bell when ring
home upc is 0
"""


@pytest.mark.parametrize(("want", "asked"), [*product(range(4), range(4))])
def test_by_the_number_that_a_word_gave_control_goes_one_way(want: int, asked: int) -> None:
    """A word that is another counts on the way that is gone, and on no other."""
    def dial(yes: int, no: int) -> Contents:
        return burned(resolved(DIAL.replace("ASKED", str(asked))), {
            0: Word("home", {"set": 1, "want": want}), 1: Word("home", {"go": "ask", "to": 8}),
            2: Word("no", {"ring": no, "go": "jump"}), 8: Word("yes", {"ring": yes, "go": "jump"})})

    assert (moved(compared(dial(0, 0), dial(1, 0))) == {}) == (want != asked)
    assert (moved(compared(dial(0, 0), dial(0, 1))) == {}) == (want == asked)


# ---------------------------------------------------------------- a place made of one that is held, or of the opcode

PAGE: Texts = ("""machine page
microprogram "m.micro"
store control 32 words of 12 bits
    address upc
field branch 2 bits
    jump 0 idle
    call 1
    back 2
    look 3
field target 5 bits address, idle 0
field row  1 bit
field bail 1 bit
spare 3 bits
store entry 4 words of 5 bits
    address ir
    word start of instruction
input wet 1 bit
state link 5 bits, reset any
    next {upc[4:1] + 1, 0b0} if branch is call else link
state upc 5 bits, reset 0
    next choose branch
        jump : target
        call : target
        back : {link[4:1], LINE}
        otherwise : entry
register ir 2 bits, loads data when row
bus data 2 bits, pulled high
home fetch
""", """\
routine fetch at 0
        row, branch jump, target seen
routine seen at 2
        branch look
routine deep at 3
        branch back
instruction 0 "cross" at 8
        bail, branch call, target deep
routine dry at 10
        bail, branch jump, target fetch
routine rain at 11
        branch jump, target fetch
instruction 1 "wait" at 16
        branch call, target deep
instruction others "again" at 24
        branch back
routine later at 18
        branch jump, target fetch
routine after at 19
        branch jump, target fetch
""")


@pytest.mark.parametrize("line", ["wet", "ir[0]"])
def test_a_return_into_a_page_at_a_line(line: str) -> None:
    """Behind a pair that is elsewhere nothing is another; each of its two words counts for the instruction that says
    so, as `again` may return there much later, with another opcode."""
    page = (PAGE[0].replace("LINE", line), PAGE[1])
    assert moved(after(page, ("at 8\n", "at 20\n"), ("at 10\n", "at 22\n"), ("at 11\n", "at 23\n"))) == {}
    for change in (("dry at 10\n        bail,", "dry at 10\n       "),
                   ("rain at 11\n        branch", "rain at 11\n        bail, branch")):
        assert moved(after(page, change)) == {"cross": "changed"}


# ---------------------------------------------------------------- two starts of instructions on their way at once

TWICE = """\
machine twice
microprogram "m.micro"
store control 16 words of 10 bits
    address now
field go   2 bits
    jump 0 idle
    row  1
    ask  2
field to   4 bits address, idle 0
field load 1 bit
field set  1 bit
field wipe 1 bit
field ring 1 bit
store first 2 words of 4 bits
    address op
    word start of instruction
register op 1 bit, loads wire when load
register mode 1 bit
    loads 0b1 when set
    loads 0b0 when wipe
state upc 4 bits, reset 0
    next choose go
        jump: to
        row : first
        ask : to if mode else 10
        otherwise: 0
state now 4 bits, reset 0
    next upc
bus wire 1 bit, pulled low
    driven by bell when ring
"""


@pytest.mark.parametrize("load", [1, 0])
def test_what_is_asked_about_is_not_what_was_asked_about_before(load: int) -> None:
    """The first word is executed twice, and two starts are on their way at once. Instruction 0 sets the mode and 1
    wipes it; the word behind 1 asks it, and finds it set only where a 0 was behind the 1: another opcode, loaded
    between."""
    def twice(ring: int) -> Contents:
        return burned(resolved(TWICE), {
            0: Word("begin", {"go": "row", "load": load}), 4: Word("sets", {"set": 1, "to": 8}),
            5: Word("wipes", {"wipe": 1, "to": 9}), 8: Word("eight", {}), 9: Word("nine", {"go": "ask", "to": 11}),
            10: Word("ten", {}), 11: Word("eleven", {"ring": ring})}, tables={"first": {0: 4, 1: 5}})

    assert moved(compared(twice(0), twice(0))) == {}
    assert (moved(compared(twice(0), twice(1))) == {}) == (load == 0)


ONCE = TWICE.replace("    ask  2\n", "    ask  2\n    next 3\n").replace("address now", "address upc").replace(
    "        row : first\n", "        row : first\n        next: second.word\n").replace(
    "register op", "store second 2 words of 4 bits\n    address op\nregister op").replace(
    "state now 4 bits, reset 0\n    next upc\n", "")


@pytest.mark.parametrize(("load", "mode"), [*product((0, 1), (0, 1))])
def test_an_opcode_that_was_loaded_since_stays_another_one_whatever_else_is_known(load: int, mode: int) -> None:
    """Instruction 0 asks the second table about what was loaded as it was dispatched: by row 1 to 9. What is known of
    the mode then changes nothing. All others load an opcode as they end, so that none is known in the first word."""
    def once(ring: int) -> Contents:
        return burned(resolved(ONCE), {
            0: Word("begin", {"go": "row", "load": load, "set": mode}), 4: Word("again", {"go": "next"}),
            5: Word("other", {"load": 1}), 8: Word("eight", {"go": "ask", "load": 1}),
            9: Word("nine", {"ring": ring, "load": 1}), 10: Word("ten", {"load": 1})},
            tables={"first": {0: 4, 1: 5}, "second": {0: 8, 1: 9}})

    assert moved(compared(once(0), once(0))) == {}
    assert (moved(compared(once(0), once(1))) != {}) == bool(load)


# ---------------------------------------------------------------- decoders of an opcode, maps of an opcode and a line

CRANK: Texts = ("""machine crank
microprogram "m.micro"
store control 16 words of 10 bits
    address upc
field branch 3 bits
    step 0 idle
    jump 1
    go   2
    pick 3
    kind 4
field target 4 bits address, idle 0
field load 1 bit
field ring 1 bit
spare 1 bit
store entry 4 words of 4 bits
    address op
    word start of instruction
store table 8 words of 4 bits
    address {op, wet}
store kinds 4 words of 1 bit
    address op
    word op is 2
input wet 1 bit
state upc 4 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        go  : entry
        pick: table.word
        kind: target if kinds.word else 0
        otherwise: 0
register op 2 bits, loads wire when load
bus wire 2 bits, pulled low
    driven by post when ring
home start
""", """\
routine start at 0
        load
        branch go
routine low
        ring, branch jump, target start
routine high
        branch jump, target start
routine of_kind
        branch jump, target start
instruction 1 "picks"
        branch pick
instruction 2, 3 "asks"
        branch kind, target of_kind
instruction others "rests"
        branch jump, target start
map table
        0b010: low
        0b011: high
        others: high
""")


@pytest.mark.parametrize(("change", "told"), [
    (("op is 2\n", "op in (2, 3)\n"), {"asks": (3,)}), (("op is 2\n", "op in (0, 1, 2)\n"), {}),
    (("of_kind\n        branch", "of_kind\n        ring, branch"), {"asks": (2,)}),
    (("low\n        ring,", "low\n       "), {"low": (2,)}),
    (("high\n        branch", "high\n        ring, branch"), {"high": (0, 1, 3, 4, 5, 6, 7)}),
    (("0b010: low", "0b010: high"), {"high": (2,)}), (("0b011: high", "0b011: low"), {"low": (3,)})])
def test_what_stores_say_of_an_opcode_is_said_of_that_one(change: tuple[str, str], told: dict[str, tuple[int, ...]]
                                                          ) -> None:
    """A decoder that is no store of starts, and a map that a line has a part in: its rows are told."""
    found = after(CRANK, change)
    assert ({one.title: one.differing for one in found.units if one.status != "same"}, found.machine) == (told, ())


# ---------------------------------------------------------------- a latch that is open in one of two words

BOLT = """\
machine bolt
microprogram "m.micro"
store control 64 words of 12 bits
    address {upc, wet}
field branch 3 bits
    jump 0
    go   1
    row  2
    back 3
field target 5 bits
field fetch 1 bit
field ring  1 bit
spare 2 bits
store entry 2 words of 5 bits
    address op
    word start of instruction
store table 2 words of 5 bits
    address op
input wet 1 bit
state link 5 bits, reset any
    next upc if fetch else link
state upc 5 bits, reset 0
    next choose branch
        jump: target
        go  : entry
        row : table.word
        otherwise: link
latch op 1 bit, loads data when fetch
bus data 1 bit, pulled low
    driven by reader when fetch
    driven by bell when ring
home upc is 0
"""


def bolt(dry: int, wet: int, does: str = "row", ring: int = 0) -> Contents:
    """What instruction 1 does, and whether it fetches then, at both levels of the line; by the table to 3 or 4."""
    return burned(resolved(BOLT), {
        0: Word("start", {"branch": "go"}), 1: Word("start", {"branch": "go"}),
        2: Word("rests", {}), 3: Word("rests", {}),
        4: Word("runs", {"branch": does, "fetch": dry}), 5: Word("runs", {"branch": does, "fetch": wet}),
        6: Word("low", {"ring": ring}), 7: Word("low", {"ring": ring}), 8: Word("high", {}), 9: Word("high", {})},
        tables={"entry": {0: 1, 1: 2}, "table": {0: 3, 1: 4}})


@pytest.mark.parametrize(("dry", "wet"), [*product((0, 1), (0, 1))])
def test_a_latch_that_is_open_in_one_of_the_words_that_may_act(dry: int, wet: int) -> None:
    """Otherwise instruction 1 never comes to `low`."""
    assert (moved(compared(bolt(dry, wet), bolt(dry, wet, ring=1))) != {}) == bool(dry or wet)


def test_a_return_of_an_instruction_whose_opcode_is_in_a_latch() -> None:
    assert moved(compared(bolt(0, 0, "back"), bolt(0, 0, "back", ring=1))) == {}
    assert moved(compared(bolt(0, 0, "back"), bolt(0, 0, "jump"))) == {"runs": "changed"}


# ---------------------------------------------------------------- a place that is held, beside a register in a row

BEHIND: Texts = ("""machine behind
microprogram "m.micro"
store control 32 words of 16 bits
    address now
field branch 1 bit
    jump 0 idle
    back 1
field target 5 bits address, idle 0
field there  5 bits address, idle 0
field keep 1 bit
field ring 1 bit
field hum  1 bit
spare 2 bits
state link 5 bits, reset any
    next there if keep else link
state upc 5 bits, reset 1
    next choose branch
        jump: target
        back: link
state now 5 bits, reset 0
    next upc
bus rope 1 bit, pulled low
    driven by bell when ring
    driven by drum when hum
home now is 0
""", """\
routine start at 0
        ring, target deep, there third, keep
routine second at 1
        target deeper
routine deep at 8
        ring, branch back
routine deeper at 9
        target fourth
routine third at 12
        hum, target start
routine fourth at 13
        target second
""")


def test_behind_a_register_a_place_that_is_held_may_be_elsewhere() -> None:
    """The register before the address says where control goes, what waits to be returned to does not say it yet."""
    for edits in ((("at 12\n", "at 20\n"),), (("at 13\n", "at 21\n"), ("at 8\n", "at 30\n")),
                  (("third at 12\n", "third at 9\n"), ("deeper at 9\n", "deeper at 12\n"))):
        assert moved(after(BEHIND, *edits)) == {}
    assert moved(after(BEHIND, ("at 12\n", "at 20\n"), ("        hum,", "       "))) == {
        "reset": "changed", "start": "changed"}
