"""How a difference is told: bits by number, fields of one side, opcodes that went elsewhere; and whether a demand that
is too large to be compared bit by bit counts as met."""

import pytest

from ordain.compare.behaviour import _hex
from ordain.compare.correspondence import correspond
from ordain.compare.declared import demands
from ordain.compare.difference import Passage
from ordain.meaning.strength import other_meanings
from tests.compare.judged import Texts, after, between, edited, moved, unit
from tests.workshop import contents_of

HOIST: Texts = ("""machine hoist
microprogram "m.micro"
store control 16 words of 12 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    test 2
    go   3
field target 4 bits address, idle 0
field up     1 bit
field down   1 bit
field note   2 bits
    none 0 idle
    bell 1
    horn 2
spare 2 bits
store entry 4 words of 4 bits
    address op
    word start of instruction
state upc 4 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        test: target if dial in (0b101, 0b001, 0b100, 0b000) else upc + 1
        go  : entry
register op 2 bits
    loads rope when upc is 0
input dial 3 bits, stop 1 bit
bus rope 2 bits, pulled low
    driven by drum when up
home HOME
""", """\
routine wait at 0
        branch go
instruction 1, 2 "lift"
        up, branch jump, target wait
instruction others "lower"
        branch test, target wait
        down, branch jump, target wait
""")


def hoist(*edits: tuple[str, str], home: str = "upc is 0") -> Texts:
    return edited((HOIST[0].replace("HOME", home), HOIST[1]), *edits)


def test_bits_that_do_not_lie_together_are_told_apart() -> None:
    """Control asks whether bit 1 of the dial is down; a bit of its own, and the two around it do not matter."""
    first = unit(after(hoist(), ("down, branch jump", "branch jump")), "lower").difference
    assert first is not None and [str(one) for one in first.way[0].when] == ["dial[1] is 1"]
    apart = hoist(("(0b101, 0b001, 0b100, 0b000)", "(0b111, 0b110, 0b101, 0b011, 0b010, 0b001, 0b000)"))
    first = unit(after(apart, ("down, branch jump", "branch jump")), "lower").difference
    assert first is not None and [str(one) for one in first.way[0].when] == ["dial is 4"]
    outer = hoist(("(0b101, 0b001, 0b100, 0b000)", "(0b111, 0b011, 0b110, 0b010, 0b001, 0b100, 0b000)"))
    first = unit(after(outer, ("down, branch jump", "branch jump")), "lower").difference
    assert first is not None and [str(one) for one in first.way[0].when] == ["dial is 5"]


def test_two_bits_around_a_third() -> None:
    ends = hoist(("(0b101, 0b001, 0b100, 0b000)", "(0b000, 0b010, 0b001, 0b011, 0b100, 0b110)"))
    first = unit(after(ends, ("down, branch jump", "branch jump")), "lower").difference
    assert first is not None and [str(one) for one in first.way[0].when] == ["dial[0] is 1", "dial[2] is 1"]


def test_a_way_that_has_ended_against_words_that_go_on() -> None:
    """`lift` comes home after one cycle; sent on to a tail it does not. What differs is only that."""
    longer = hoist(("        up, branch jump, target wait\ninstruction",
                    "        up, branch jump, target tail\n"
                    "routine tail\n        branch jump, target wait\ninstruction"))
    first = unit(between(hoist(), longer), "lift").difference
    assert first is not None and (first.cycle, first.changes, first.when) == (2, (), ())
    assert (first.old, first.old_end) == ((), "the instruction boundary")
    assert (first.new, first.new_end) == ((("control", 2),), "")
    assert first.way == (Passage((("control", 1),), (("control", 1),), ()),)
    back = unit(between(longer, hoist()), "lift").difference
    assert back is not None and (back.old, back.old_end, back.new, back.new_end) == (
        first.new, "", (), "the instruction boundary")


def test_which_of_two_boundaries_is_told_where_they_are_not_one() -> None:
    """Both ways have ended, each at a boundary; a way that goes on has no second one to be told from."""
    two = hoist(("instruction 1, 2", "routine other at 8\n        down, branch go\ninstruction 1, 2"),
                home="upc in (0, 8)")
    change = ("        up, branch jump, target wait", "        up, branch jump, target other")
    first = unit(after(two, change), "lift").difference
    assert first is not None and (first.cycle, first.old, first.new, first.changes) == (2, (), (), ())
    assert (first.old_end, first.new_end) == ("the instruction boundary, wait", "the instruction boundary, other")
    first = unit(between(edited(two, change), two), "lift").difference
    assert first is not None and (first.old_end, first.new_end) == (
        "the instruction boundary, other", "the instruction boundary, wait")


@pytest.mark.parametrize(("was", "now", "told"), [
    ("any", "2", "register `op` starts as 2, was any value"), ("2", "any", "register `op` starts as any value, was 2"),
    ("2", "3", "register `op` starts as 3, was 2"), ("2", "2", None),
])
def test_how_a_register_starts(was: str, now: str, told: str | None) -> None:
    old, new = (hoist(("register op 2 bits\n", f"register op 2 bits, reset {reset}\n")) for reset in (was, now))
    assert between(old, new).machine == (() if told is None else (told,))


@pytest.mark.parametrize(("clause", "told"), [("bell", "note: bell -> nothing"), ("none", None)])
def test_a_field_of_one_side_counts_when_it_is_not_idle(clause: str, told: str | None) -> None:
    with_note = hoist(("        up, branch", f"        up, note {clause}, branch"))
    without = (with_note[0].replace("field note   2 bits\n    none 0 idle\n    bell 1\n    horn 2\nspare 2 bits",
                                    "spare 4 bits"), with_note[1].replace(f", note {clause}", ""))
    found = between(with_note, without)
    assert ("lift" in moved(found)) == (told is not None)
    if told is not None:
        first = unit(found, "lift").difference
        assert first is not None and [str(change) for change in first.changes] == [told]


def test_a_field_that_is_left_open_on_both_sides_is_not_told() -> None:
    """Though its codes have other numbers; and what is set in it is told by the names of its codes."""
    was = hoist(("field note   2 bits\n    none 0 idle", "field note   2 bits, idle any\n    none 0"))
    now = edited(was, ("    bell 1\n    horn 2", "    bell 2\n    horn 1"))
    assert moved(between(was, now)) == {}
    first = unit(between(was, edited(now, ("        up, branch", "        down, branch"))), "lift").difference
    assert first is not None and [change.what for change in first.changes][:2] == ["up", "down"]
    assert "note" not in {change.what for change in first.changes}
    rung = edited(was, ("        up, branch", "        up, note bell, branch"))
    assert moved(between(rung, edited(now, ("        up, branch", "        up, note bell, branch")))) == {}
    first = unit(between(rung, edited(now, ("        up, branch", "        up, note horn, branch"))), "lift").difference
    assert first is not None and [str(change) for change in first.changes] == ["note: bell -> horn"]
    first = unit(between(rung, now), "lift").difference
    assert first is not None and [str(change) for change in first.changes] == ["note: bell -> any"]


def test_of_a_field_that_is_gone_only_what_it_said_is_told() -> None:
    """Where another field differs, the idle one of the old machine has nothing to say."""
    without = (HOIST[0].replace("HOME", "upc is 0").replace(
        "field note   2 bits\n    none 0 idle\n    bell 1\n    horn 2\nspare 2 bits", "spare 4 bits"),
        HOIST[1].replace("down, branch jump", "up, down, branch jump"))
    first = unit(between(hoist(), without), "lower").difference
    assert first is not None and [change.what for change in first.changes] == ["up"]


def test_an_opcode_that_went_elsewhere_is_not_the_one_that_changed() -> None:
    """`lift` loses opcode 2, and does something else at 1: nothing of it has moved."""
    lost = unit(after(hoist(), ("instruction 1, 2", "instruction 1"), ("up, branch", "down, branch")), "lift")
    assert (lost.status, lost.differing, lost.note) == ("changed", (1,), "")
    taken = unit(after(hoist(), ("instruction 1, 2", "instruction 1, 3")), "lift")
    assert taken.differing == (3,) and taken.note == "opcode 0x02 is now 0x03, where it does the same"


def test_an_opcode_that_went_elsewhere_and_does_something_else() -> None:
    """Not said to do the same: all of `lift` has changed."""
    found = unit(after(hoist(), ("instruction 1, 2", "instruction 1, 3"), ("up, branch", "up, down, branch")), "lift")
    assert (found.differing, found.note) == ((1, 3), "opcode 0x02 is now 0x03")


def test_an_instruction_that_takes_over_another() -> None:
    """`sway` is gone, and that is where it is told: `lift` does at its own opcode what it did."""
    sway = 'instruction 2 "sway"\n        down, branch jump, target wait\n'
    old = hoist(("instruction 1, 2", "instruction 1"), ("instruction others", f"{sway}instruction others"))
    found = between(old, hoist())
    assert moved(found) == {"sway": "gone"}
    assert unit(found, "sway").note == "its opcode is now `lift`"
    assert (unit(found, "lift").opcodes, unit(found, "lift").differing) == ((1, 2), ())


def test_what_an_instruction_was_called() -> None:
    """Only where it is one that is gone."""
    same = "        up, branch jump, target wait\n"
    split = after(hoist(), ("instruction 1, 2", f'instruction 2 "sway"\n{same}instruction 1'))
    assert [(unit(split, title).status, unit(split, title).was) for title in ("lift", "sway")] == [
        ("same", ""), ("same", "")]
    whole = after(hoist(), ('"lift"', '"raise"'))
    assert (unit(whole, "raise").status, unit(whole, "raise").was) == ("same", "lift")
    assert [one.title for one in whole.units if one.kind == "instruction"] == ["lower", "raise"]
    two = edited(hoist(), ("instruction 1, 2", f'instruction 2 "sway"\n{same}instruction 1'))
    joined = between(two, hoist(('"lift"', '"raise"')))
    assert (unit(joined, "raise").status, unit(joined, "raise").was) == ("same", "")
    assert {one.title: (one.status, one.note) for one in joined.units if one.status == "gone"} == {
        "lift": ("gone", "its opcode is now `raise`"), "sway": ("gone", "its opcode is now `raise`")}


def test_an_opcode_that_could_not_be_before() -> None:
    """A line of the mapping store was tied low: opcodes 2 and 3 are new to their instructions. And the other way round
    they do what 0 and 1 do, which is lower and lift, and did lift and lower."""
    tied = hoist(("    address op\n", "    address {0b0, op[0]}\n"))
    found = between(tied, hoist())
    assert unit(found, "lift").differing == (2,) and unit(found, "lower").differing == (3,)
    found = between(hoist(), tied)
    assert moved(found) == {"lift": "changed", "lower": "changed"}
    assert (unit(found, "lower").differing, unit(found, "lift").differing) == ((0,), (1,))


BELFRY = ("""machine belfry
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field branch 2 bits
    jump 0 idle
    go   1
    late 2
field target 4 bits address, idle 0
field chime 1 bit
field pull 1 bit
store entry 2 words of 4 bits
    address op
    word start of instruction
state upc 4 bits, reset 0
    next choose branch
        jump: target
        go  : entry
        late: {entry[3:1], 0b1}
        otherwise: 0
register op 1 bit, loads rope when upc is 0
bus rope 1 bit, pulled low
    driven by bell when pull
home upc is 0
""", """\
routine fetch at 0
        branch go
instruction 0 "ring" at 4
        chime, branch jump, target second
  second: branch jump, target fetch
instruction 1 "skip" at 8
        branch jump, target last
  last: branch jump, target fetch
""")


def test_a_second_way_to_dispatch_is_the_change_of_who_takes_it() -> None:
    """`skip` comes to the second word of what follows now; who is dispatched as before does what it did."""
    assert moved(after(BELFRY)) == {}
    assert moved(after(BELFRY, ("  last: branch jump, target fetch", "  last: branch late"))) == {"skip": "changed"}
    late = after(BELFRY, ("        branch go", "        branch late"))
    assert moved(late) == {"fetch": "changed", "reset": "changed"}


TOLLING = edited(
    BELFRY, ("loads rope when upc is 0", "loads rope when upc is 0 or pull"),
    ("        branch jump, target last\n  last: branch jump, target fetch", "        pull, branch jump, target last\n"
     "  last: branch late\nroutine side at 5\n        branch jump, target fetch"),
    ("        chime, branch jump, target second\n  second: branch jump, target fetch",
     "        chime, branch jump, target fetch"))
"""`skip` takes a new opcode from the rope: `ring` is then entered at 5, in the routine beside it."""


@pytest.mark.parametrize(("edits", "told", "nodes"), [
    ((), {}, 2),
    ((("        chime, branch", "        branch"),), {"ring": "changed"}, 2),                   # the one way
    ((("at 5\n        branch", "at 5\n        chime, branch"),), {"ring": "changed"}, 2),      # the other
    ((("        pull, branch jump", "        pull, chime, branch jump"),), {"skip": "changed"}, 2),
    ((("  last: branch late", "  last: branch go"),), {"skip": "changed"}, 1),
    # of ways that one side has alone nobody is told but who takes them
    ((("  last: branch late", "  last: branch go"), ("at 5\n        branch", "at 5\n        chime, branch")),
     {"skip": "changed"}, 1),
    ((("  last: branch late", "  last: branch jump, target fetch"), ("        chime, branch", "        branch")),
     {"skip": "changed", "ring": "changed"}, 1),
    ((('"ring" at 4', '"ring" at 10'), ("routine side at 5", "routine side at 11")), {}, 2),
    ((('"ring" at 4', '"ring" at 10'), ("routine side at 5", "routine side at 11"),
      ("        chime, branch", "        branch")), {"ring": "changed"}, 2),
])
def test_each_of_two_ways_to_dispatch_is_compared(edits: tuple[tuple[str, str], ...], told: dict[str, str],
                                                  nodes: int) -> None:
    other = edited(TOLLING, *edits)
    for found in (between(TOLLING, other), between(other, TOLLING)):
        assert moved(found) == told
        ring = unit(found, "ring")
        assert ring.differing == ((0,) if "ring" in told else ()) and ring.opcodes == (0,)
        if nodes == 2:
            assert len(ring.pairs) == len(ring.new_nodes) == 2


def test_an_input_whose_values_got_names() -> None:
    """All four of them: nothing has changed. With a name for three, it is said how many there were."""
    old = hoist(("input dial 3 bits, stop 1 bit", "input dial 3 bits, stop 1 bit, wind 2 bits"))
    named = "input wind (north, east, south, west)"
    for text, told in ((named, ()), (named.replace(", west", ""), ("input `wind` has 3 values, had 4",))):
        new = edited(old, (", wind 2 bits\n", f"\n{text}\n"))
        assert between(old, new).machine == told


def test_a_word_that_skips_the_next() -> None:
    """Where control goes is a sum, one part of which a line decides."""
    skipping = hoist(
        ("test: target if dial in (0b101, 0b001, 0b100, 0b000) else upc + 1", "test: upc + (2 if stop else 1)"),
        ("        down, branch jump, target wait\n",
         "        down, branch jump, target wait\n        up, branch jump, target wait\n"))
    assert moved(after(skipping)) == {}
    for old, new, when in (("down, branch jump", "branch jump", "not stop"),
                           ("wait\n        up, branch jump, target wait\n", "wait\n        branch jump, target wait\n",
                            "stop")):
        first = unit(after(skipping, (old, new)), "lower").difference
        assert first is not None and [str(one) for one in first.way[0].when] == [when]


def test_a_sum_that_comes_to_the_boundary() -> None:
    """From 15 on, or around to 0: there `lower` ends, and what the fetch does is no part of it."""
    around = hoist(("test: target if dial in (0b101, 0b001, 0b100, 0b000) else upc + 1",
                    "test: target + (1 if stop else 0)"),
                   ("branch test, target wait", "branch test, target last"),
                   ("instruction 1, 2", "routine last at 15\n        branch jump, target wait\ninstruction 1, 2"))
    assert moved(after(around, ("        branch go", "        up, branch go"))) == {
        "reset": "changed", "wait": "changed"}


def test_a_boundary_that_is_no_single_value() -> None:
    """Home is asked of a term, not of one pointer: a difference of the fetch stays with the fetch."""
    home = "upc is 0 and not (upc is 1)"
    assert moved(after(hoist(home=home), ("down, branch jump", "branch jump"))) == {"lower": "changed"}
    assert moved(after(hoist(home=home), ("        branch go", "        up, branch go"))) == {
        "reset": "changed", "wait": "changed"}


def test_a_boundary_that_is_a_part_of_a_pointer() -> None:
    """0 and 1, of which nothing stands at 1: a difference of the fetch stays with the fetch."""
    apart = ('"lift"', '"lift" at 5'), ('"lower"', '"lower" at 8')
    texts = hoist(*apart, home="upc[3:1] is 0")
    assert moved(after(texts, ("down, branch jump", "branch jump"))) == {"lower": "changed"}
    assert moved(after(texts, ("        branch go", "        up, branch go"))) == {
        "reset": "changed", "wait": "changed"}


def test_a_state_is_told_by_the_names_of_its_values() -> None:
    moody = hoist(("state upc 4 bits", "state mood (calm, wild, torn, mild), reset calm\n"
                   "    next wild if stop else torn\nstate upc 4 bits"),
                  ("test: target if dial in (0b101, 0b001, 0b100, 0b000)", "test: target if not mood is wild"))
    first = unit(after(moody, ("down, branch jump", "branch jump")), "lower").difference
    assert first is not None and [str(one) for one in first.way[0].when] == ["mood is wild"]


# ---------------------------------------------------------------- names


def test_what_a_boundary_was_called() -> None:
    machine, micro = hoist()
    found = between((machine, micro), (machine, micro.replace("wait", "idle")))
    assert [(one.title, one.was, one.status) for one in found.units if one.kind == "boundary"] == [
        ("idle", "wait", "same")]
    assert [(one.title, one.was) for one in after(hoist()).units if one.kind == "boundary"] == [("wait", "")]


def test_a_label_is_found_by_its_place_in_its_own_body() -> None:
    """A body above it has grown, and another label stands at the same distance from the beginning of the text."""
    old = hoist(("        branch test, target wait\n", "        branch test, target wait\n  here: up\n"))
    old = (old[0] + 'rule "once" never at "lower.here" and stop\n', old[1])
    new = (old[0].replace("lower.here", "lower.there"), old[1].replace("here: up", "there: up, down").replace(
        "        branch go\n", "        up\n        branch go\n", 1))
    said = correspond(contents_of(*old), contents_of(*new)).said
    assert "`lower.here` is now `lower.there`" in said


# ---------------------------------------------------------------- demands that are too large for a diagram


@pytest.mark.parametrize(("now", "kinds"), [
    ("left + right + left is far", set()),
    ("left + right + left is far + 1", {"weaker"}),
])
def test_what_cannot_be_compared_bit_by_bit_counts_as_weaker(now: str, kinds: set[str],
                                                             monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ordain.logic.diagrams.LARGEST", 10)
    wide = hoist()
    wide = (wide[0] + "register left 8 bits\nregister right 8 bits\nregister far 8 bits\n", wide[1])
    rule = 'rule "sum" never left + right + left is far\n'
    old, new = (contents_of(wide[0] + text, wide[1]) for text in (rule, rule.replace(
        "left + right + left is far", now)))
    assert {one.kind for one in demands(old, new, correspond(old, new), other_meanings).redefined} == kinds


@pytest.mark.parametrize(("now", "kinds"), [("left + right", set()), ("left + right + 1", {"weaker"})])
def test_signals_that_cannot_be_compared_bit_by_bit_exclude_themselves_alone(
        now: str, kinds: set[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ordain.logic.diagrams.LARGEST", 10)
    wide = hoist()
    wide = (wide[0] + "register left 8 bits\nregister right 8 bits\nregister far 8 bits\n"
            "signal meets = SUM is far\nexclusive meets, up\n", wide[1])
    old, new = (contents_of(wide[0].replace("SUM", text), wide[1]) for text in ("left + right", now))
    assert {one.kind for one in demands(old, new, correspond(old, new), other_meanings).redefined} == kinds


# ---------------------------------------------------------------- places that cannot be told


def test_a_jump_to_anywhere_may_come_to_every_word(monkeypatch: pytest.MonkeyPatch) -> None:
    """The switches say where to; there are more places than are looked at one by one."""
    monkeypatch.setattr("ordain.compare.places.MOST_WORDS", 4)
    panel = hoist(("test: target if dial in (0b101, 0b001, 0b100, 0b000) else upc + 1", "test: {0b1, wheel[2:0]}"),
                  ("stop 1 bit", "stop 1 bit, wheel 5 bits"),
                  ("instruction 1, 2", "routine far at 12\n        down, branch jump, target wait\ninstruction 1, 2"))
    assert moved(after(panel)) == {}
    found = after(panel, ("far at 12\n        down, branch", "far at 12\n        branch"))
    first = unit(found, "lower").difference
    assert moved(found) == {"lower": "changed"} and first is not None and first.cycle == 2
    assert first.old_end == first.new_end == "a place that cannot be told"


def test_many_opcodes_are_told_by_the_first_four() -> None:
    assert _hex([("entry", opcode) for opcode in range(4)]) == "0x00, 0x01, 0x02, 0x03"
    assert _hex([("entry", opcode) for opcode in range(16, 21)]) == "0x10, 0x11, 0x12, 0x13, ..."


def test_an_instruction_that_is_gone_with_an_opcode_that_cannot_be_any_more() -> None:
    """`lift` had 1 and 2; 1 is another's now, and 2 is tied away: it does what 0 does, and lowers."""
    tied = hoist(("    address op\n", "    address {0b0, op[0]}\n"),
                 ('instruction 1, 2 "lift"\n        up, branch', 'instruction 1 "sway"\n        up, down, branch'))
    found = between(hoist(), tied)
    assert moved(found) == {"lift": "gone", "sway": "new"}
    assert (unit(found, "lift").note, unit(found, "lift").opcodes) == ("its opcode is now `lower, sway`", (1, 2))
    assert unit(found, "sway").was == "lift"


@pytest.mark.parametrize(("now", "kinds"), [
    ("(up and not stop) or (stop and not up)", set()), ("not (up xor not stop)", set()), ("stop xor up", set()),
    ("up or stop", {"weaker"}), ("up and not stop", {"weaker"})])
def test_signals_that_exclude_each_other_are_known_by_what_they_mean(now: str, kinds: set[str]) -> None:
    asking = hoist()
    asking = (asking[0] + "signal meets = up xor stop\nexclusive meets, down\n", asking[1])
    old, new = contents_of(*asking), contents_of(asking[0].replace("up xor stop", now), asking[1])
    assert {one.kind for one in demands(old, new, correspond(old, new), other_meanings).redefined} == kinds
