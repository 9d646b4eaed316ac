"""What is remembered at an end of a way for whoever comes back later: which pointers may have a value by then, and that
an opcode may be another one."""

import pytest

from ordain.compare.graph import later
from ordain.compare.side import make_side
from ordain.machine.expression import Const, Terms
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared, moved
from tests.compare.side_by_side import parting

FERRY = """\
machine ferry
microprogram "m.micro"
store control 32 words of 12 bits
    address upc
field flow 3 bits
    step 0 idle
    jump 1
    park 2
    back 3
    skip 4
field target 5 bits address, idle 0
field tow 1 bit
spare 3 bits
state upc 5 bits, reset 0
    next choose flow
        jump: target
        back: b
        otherwise: upc + 1
state a 5 bits, reset any
    next target if flow is park else a
ROWS
home upc is 0
"""


@pytest.mark.parametrize(("rows", "values", "told"), [
    ("b: a if tow else b", {"b": {6}, "upc": {6}}, set()),
    ("b: a + 1 if tow else b", {"b": {7}, "upc": {7}}, set()),
    ("b: a if tow else a + 1", {"b": {6, 7}, "upc": {6, 7}}, set()),
    ("b: target if tow else b if flow is step else a", {"b": {6}, "upc": {6}}, set()),
    ("b: a if tow else b; c: target if tow else b if flow is step else c", {"b": {6}, "upc": {6}}, set()),
    ("b: a if tow else b if flow is skip else c; c: a + 1 if flow is skip else c",
     {"b": {6, 7}, "c": {7}, "upc": {6, 7}}, set()),
    ("b: b + 8 if flow is skip else a", {"b": {6, 14, 22, 30}, "upc": {6, 14, 22, 30}}, set()),
    ("b: {a[4:3], target[2:0]} if tow else b", {}, {"b", "upc"}),
    ("b: {a[4:3], target[2:0]} if tow else a", {"b": {6}, "upc": {6}}, {"b", "upc"}),
    ("b: c if tow else b; c: a xor target if flow is skip else c", {}, {"c", "b", "upc"}),
    ("b: c if tow else {a[4:3], target[2:0]}; c: upc + 1 if flow is skip else c", {}, {"b", "upc"}),
])
def test_what_becomes_of_a_place_that_is_held(rows: str, values: dict[str, set[int]], told: set[str]) -> None:
    """`a` holds 6. Control does not come on from where it is."""
    states = "".join(f"state {name} 5 bits, reset any\n    next {next_}\n" for name, next_ in (
        row.split(": ") for row in rows.split("; ")))
    machine, terms = resolved(FERRY.replace("ROWS\n", states)), Terms()
    side = make_side(burned(machine, {0: Word("start", {})}), terms)
    pointers = {leaf.name: leaf for leaf in side.sequencing.pointers}
    found = later(pointers["a"], terms.const(6, 5), side.sequencing, (pointers["upc"],), terms)
    held: dict[str, set[int]] = {}
    for leaf, value in found.values:
        assert type(value) is Const
        held.setdefault(leaf.name, set()).add(value.value)
    assert (held, {leaf.name for leaf in found.told}, found.endless) == (values, told, False)
    assert later(pointers["upc"], terms.const(6, 5), side.sequencing, (pointers["upc"],), terms) == (
        (), frozenset(), False)


# ---------------------------------------------------------------- a place that an opcode has chosen that was there then

TOLL = """\
machine toll
microprogram "m.micro"
store control 32 words of 12 bits
    address upc
field flow 3 bits
    step 0 idle
    jump 1
    park 2
    back 3
    go   4
    mark 5
field target 5 bits address, idle 0
field load 1 bit
field ring 1 bit
spare 2 bits
store entry 4 words of 5 bits
    address op
    word start of instruction
register op 2 bits, loads wire when load
input lever 1 bit
state ret 5 bits, reset 0
    next {0b1, op, 0b00} if flow is park else (target if flow is mark else ret)
state upc 5 bits, reset 0
    next choose flow
        jump: target
        park: target
        back: ret if lever else upc + 1
        go  : entry
        otherwise: upc + 1
bus wire 2 bits, pulled low
    driven by bell when ring and RINGS
home upc is 0
"""
HIDDEN = frozenset(("upc", "ret"))


def toll(rings: str, loads: bool = True) -> Contents:
    """`fetch` keeps a place that the opcode says, and comes to the boundary; from there control may go back to that
    place, or to an instruction."""
    words = {0: Word("fetch", {"flow": "back"}), 1: Word("keep", {"flow": "park", "target": 2}),
             2: Word("load", {"load": int(loads), "flow": "jump", "target": 0})}
    words.update({16 + 4 * op: Word(f"kept_{op}", {"flow": "jump", "target": 0, "ring": 1}) for op in range(4)})
    words.update({8 + op: Word(f"op_{op}", {"flow": "jump", "target": 0}) for op in range(4)})
    return burned(resolved(TOLL.replace("RINGS", rings)), words, tables={"entry": {op: 8 + op for op in range(4)}})


@pytest.mark.parametrize("at", range(4))
@pytest.mark.parametrize("loads", [True, False])
def test_a_place_that_an_opcode_has_chosen_is_come_to_with_another_one(at: int, loads: bool) -> None:
    """The bell rings with opcode 1, in the new machine not at one of the places. Where the opcode is loaded again
    before control goes there, it may be any of them at each; where it is not, it is the one that has chosen the
    place."""
    old, new = toll("op is 1", loads), toll(f"op is 1 and upc is not {16 + 4 * at}", loads)
    assert any(parting(old, new, HIDDEN, seed, 60) for seed in range(12)) == (loads or at == 1)
    if loads or at == 1:
        for pair in ((old, new), (new, old)):
            assert moved(compared(*pair)) == dict.fromkeys(("reset", "fetch"), "changed")
    assert moved(compared(new, new)) == {}


# ---------------------------------------------------------------- an address in two parts, of which one returns

PAGES = """\
machine pages
microprogram "m.micro"
store control 1024 words of 15 bits
    address {high, low}
field flow 2 bits
    step 0 idle
    jump 1
    call 2
    back 3
field target 10 bits address, idle 0
field ring 1 bit
spare 2 bits
input lever 1 bit
state high 5 bits, reset 0
    next choose flow
        step: high
        back: BACK if lever else high
        otherwise: target[9:5]
state ret 5 bits, reset any
    next low + 1 if flow is call else ret
state low 5 bits, reset 0
    next choose flow
        step: low + 1
        back: ret if lever else low + 1
        otherwise: target[4:0]
bus wire 1 bit, pulled low
    driven by bell when ring
home high is 0 and low is 0
"""


def pages(back: str, **rings: int) -> Contents:
    """`fetch` returns while the lever is pulled, else a word there calls `far`, which ends at once."""
    words = {0: Word("fetch", {"flow": "back"}), 1: Word("on", {"flow": "jump", "target": 4}),
             4: Word("calls", {"flow": "call", "target": 512}), 512: Word("far", {"flow": "jump", "target": 0})}
    words.update({32 * high + 5: Word(f"page_{high}", {
        "flow": "jump", "target": 0, "ring": rings.get(f"p{high}", 0)}) for high in (1, 2, 3)})
    return burned(resolved(PAGES.replace("BACK", back)), words, unused={"flow": "jump"})


@pytest.mark.parametrize(("old", "new", "same"), [
    (pages("0b00001"), pages("0b00001"), True), (pages("0b00001", p1=1), pages("0b00001"), False),
    (pages("0b00001", p2=1), pages("0b00001"), True), (pages("0b00001", p1=1), pages("0b00010", p2=1), False),
    (pages("0b00001", p1=1), pages("0b00010", p1=1), False)])
def test_a_return_into_a_page_that_the_machine_says(old: Contents, new: Contents, same: bool) -> None:
    """Which that is counts, though in both it is the low half that returns: all of the page may be asked for."""
    assert (moved(compared(old, new)) == {}) == same == (moved(compared(new, old)) == {})


# ---------------------------------------------------------------- a place of which only a part is said yet

TUG = FERRY.replace("spare 3 bits", "field ring 1 bit\nspare 2 bits").replace(
    "back: b\n", "back: b if lever else upc + 1\n").replace("home upc is 0\n", """\
input lever 1 bit
bus wire 1 bit, pulled low
    driven by bell when ring
home upc is 0
""").replace("ROWS", "state b 5 bits, reset any\n    next ROW if tow else b")


def tug(row: str, parked: int, rings: int) -> Contents:
    """While the lever is pulled the boundary goes on to what `b` holds. What `a` holds, `b` takes the next time."""
    words = {0: Word("home", {"flow": "back"}), 1: Word("takes", {"tow": 1, "target": 3}),
             2: Word("parks", {"flow": "park", "target": parked}), 3: Word("ends", {"flow": "jump"})}
    words.update({at: Word(f"at {at}", {"flow": "jump", "ring": int(at == rings)}) for at in (9, 11, 17, 19)})
    return burned(resolved(TUG.replace("ROW", row)), words)


@pytest.mark.parametrize(("row", "rings", "same"), [
    ("a", 5, True), ("a", 9, False), ("a", 17, False), ("a", 11, True),
    ("{a[4:3], target[2:0]}", 11, False), ("{a[4:3], target[2:0]}", 19, False)])
def test_a_place_that_is_made_into_another_one_later_counts_as_the_number_that_it_is(row: str, rings: int,
                                                                                     same: bool) -> None:
    """9 is parked on one side, 17 on the other: a place that is the same by where it leads, or the page of one."""
    old, new = tug(row, 9, rings), tug(row, 17, rings)
    assert (moved(compared(old, new)) == {}) == same == (moved(compared(new, old)) == {})
    assert moved(compared(old, old)) == {}


HALVES = """\
machine halves
microprogram "m.micro"
store control 1024 words of 15 bits
    address {high, low}
field flow 3 bits
    jump 0
    back 1
    fork 2
    page 3
    line 4
    down 5
field target 10 bits address, idle 0
field ring 1 bit
spare 1 bit
input lever 1 bit
state high 5 bits, reset 0
    next choose flow
        jump: target[9:5]
        back: leaf if lever else high
        otherwise: high
state low 5 bits, reset 0
    next choose flow
        jump: target[4:0]
        back: ret if lever else low + 1
        fork: target[4:0] if lever else low + 1
        otherwise: low + 1
state leaf 5 bits, reset any
    next target[9:5] if flow is page else leaf
SAID
bus wire 1 bit, pulled low
    driven by bell when ring
home high is 0 and low is 0
"""
AT_ONCE = "state ret 5 bits, reset any\n    next target[4:0] if flow is line else ret"
LATER = """\
state held 5 bits, reset any
    next target[4:0] if flow is line else held
state ret 5 bits, reset any
    next held if flow is down else ret"""


def halves(said: str, page: int, line: int, rings: bool = True) -> Contents:
    """While the lever is pulled the boundary returns into a page at a line. Otherwise it is on to a word that says the
    line, or to one that says the page, by the lever: never both before the boundary."""
    words = {0: Word("home", {"flow": "back"}), 1: Word("parts", {"flow": "fork", "target": 4}),
             2: Word("line", {"flow": "line", "target": line}), 3: Word("ends", {"flow": "jump"}),
             4: Word("page", {"flow": "page", "target": 32 * page}), 5: Word("down", {"flow": "down"}),
             6: Word("ends", {"flow": "jump"})}
    words.update({32 * high + low: Word(f"at {high} {low}", {
        "flow": "jump", "ring": int(rings and (high, low) == (2, 8))}) for high in (2, 3) for low in (8, 9)})
    return burned(resolved(HALVES.replace("SAID", said)), words, unused={"flow": "jump"})


@pytest.mark.parametrize("said", [AT_ONCE, LATER])
def test_a_half_of_a_place_counts_as_the_number_that_it_is(said: str) -> None:
    """The bell rings in one page at one line: where either half is said to be another it never does."""
    old = halves(said, 2, 8)
    for new in (halves(said, 3, 8), halves(said, 2, 9), halves(said, 2, 8, False)):
        assert moved(compared(old, new)) != {} != moved(compared(new, old))
    assert moved(compared(old, old)) == {}
