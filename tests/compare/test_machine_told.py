"""What differs about a machine whatever word is executed: each thing said once, with what it was and is; and a twin of
each change that is none."""

import pytest

from ordain.compare.variants import Variants
from ordain.faults.listing import bit_faults
from tests.compare.judged import Texts, after, between, edited, moved, unit
from tests.compare.test_how_it_is_told import hoist
from tests.compare.test_variants import wrong
from tests.workshop import contents_of

WHOLE: Texts = edited(hoist(), ("input dial", """\
memory chest 4 words of 2 bits
    address op
    writes rope when up
    holds zeros
state mood (calm, wild, torn), reset calm
    next wild if stop else torn
state stirred 2 bits, reset 1
    next stirred and {stop, stop}
register worn 2 bits, reset 2
    loads rope when down
input wind (north, east, south)
input gust 2 bits
condition shut 1 bit = stop
condition loose 1 bit
condition pealed 1 bit = note is bell
bus line 2 bits, floats
    driven by cleat when up
input dial"""))


ANOTHER = "condition `{}` means something else; it is taken for the same line"


@pytest.mark.parametrize(("edits", "told"), [
    ((), ()),
    ((("line 2 bits", "line 3 bits"),), ("bus `line` is 3 bits wide, was 2",)),
    ((("chest 4 words", "chest 3 words"),), ("memory `chest` has 3 words of 2 bits, had 4 of 2",)),
    ((("    holds zeros\n", ""),), ("memory `chest` holds anything at power-up, held zeros",)),
    ((("    holds zeros\n", '    holds "chest.bin"\n'),),
     ('memory `chest` holds "chest.bin" from 0 on at power-up, held zeros',)),
    ((("(calm, wild, torn), reset calm", "(calm, wild, torn), reset torn"),), ("state `mood` starts as 2, was 0",)),
    ((("(calm, wild, torn), reset calm", "(calm, wild, torn), reset any"),),
     ("state `mood` starts as any value, was 0",)),
    ((("(calm, wild, torn)", "(calm, wild, torn, mild)"),), ("state `mood` has 4 values, had 3",)),
    ((("stirred 2 bits, reset 1", "stirred 2 bits, reset 3"),), ("state `stirred` starts as 3, was 1",)),
    ((("worn 2 bits, reset 2", "worn 2 bits, reset 0"),), ("register `worn` starts as 0, was 2",)),
    ((("worn 2 bits, reset 2", "worn 2 bits, reset any"),), ("register `worn` starts as any value, was 2",)),
    ((("(north, east, south)", "(north, east, south, west)"),), ("input `wind` has 4 values, had 3",)),
    ((("input gust 2 bits", "input gust (weak, some, strong)"),), ("input `gust` has 3 values, had 4",)),
    ((("input gust 2 bits", "input gust (none, weak, some, strong)"),), ()),
    ((("shut 1 bit = stop", "shut 1 bit = not stop"),), (ANOTHER.format("shut"),)),
    ((("shut 1 bit = stop", "shut 1 bit"),), (ANOTHER.format("shut"),)),
    ((("shut 1 bit = stop", "shut 1 bit = stop is 1"),), ()),
    ((("loose 1 bit", "loose 1 bit = stop"),), (ANOTHER.format("loose"),)),
    ((("    bell 1\n    horn 2", "    bell 2\n    horn 1"),), ()),
    ((("bus line 2 bits, floats", "bus line 2 bits, kept"),), ("bus `line`: kept, was floats",)),
    ((("bus line 2 bits, floats", "bus line 2 bits, pulled low"),), ("bus `line`: pulled low, was floats",)),
    ((("wild if stop else torn", "wild if stop else calm"),),
     ("how `mood` steps has changed, whatever word is executed",)),
    ((("state upc 4 bits, reset 0", "state upc 4 bits, reset 4"),), ()),       # that is the way from reset
])
def test_what_differs_whatever_word_is_executed(edits: tuple[tuple[str, str], ...], told: tuple[str, ...]) -> None:
    """And no instruction is told beside it."""
    new = edited(WHOLE, *edits)
    found, back = between(WHOLE, new), between(new, WHOLE)
    assert found.machine == told and len(back.machine) == len(told)
    assert moved(found) == moved(back) == ({"reset": "changed"} if "upc" in str(edits) else {})


@pytest.mark.parametrize("gone", ["condition shut 1 bit = stop\n", "input gust 2 bits\n"])
def test_what_one_machine_alone_has_is_held_against_nothing(gone: str) -> None:
    less = edited(WHOLE, (gone, ""))
    assert between(WHOLE, less).machine == () == between(less, WHOLE).machine


@pytest.mark.parametrize(("gone", "about"), [
    ("state stirred 2 bits, reset 1\n    next stirred and {stop, stop}\n", ("how `stirred` steps",)),
    ("register worn 2 bits, reset 2\n    loads rope when down\n", ("what `worn` loads",)),
    ("memory chest 4 words of 2 bits\n    address op\n    writes rope when up\n    holds zeros\n",
     ("where `chest` is read", "memory `chest` is written", "what is written to `chest`, and where"))])
def test_of_what_one_machine_alone_has_nothing_is_said_but_that(gone: str, about: tuple[str, ...]) -> None:
    less = edited(WHOLE, (gone, ""))
    for old, new, whose in ((WHOLE, less, "old"), (less, WHOLE, "new")):
        told = "{}: only in the {} machine; elsewhere words that order nothing about it are taken to leave it alone"
        assert between(old, new).machine == tuple(told.format(each, whose) for each in about)


def test_an_effect_that_one_machine_alone_has() -> None:
    """Both have the line that is asked, so it is the machine that differs, and no word."""
    less = edited(WHOLE, ("bus line 2 bits, floats\n    driven by cleat when up\n", ""))
    said = "`cleat` drives `line`: only in the {} machine; elsewhere words that order nothing about it are taken to " \
           "leave it alone"
    assert said.format("old") in between(WHOLE, less).machine and said.format("new") in between(less, WHOLE).machine
    assert moved(between(WHOLE, less)) == {} == moved(between(less, WHOLE))


# ---------------------------------------------------------------- what is written to a memory

STOWED: Texts = edited(hoist(), ("input dial", """\
register far 2 bits
    loads rope when note is horn
memory chest 4 words of 2 bits
    address op
    writes rope when up
    writes far when down
input dial"""))


@pytest.mark.parametrize(("lift", "edit", "told"), [
    ("up, down", ("    writes rope when up\n    writes far when down\n",
                  "    writes far when down\n    writes rope when up\n"), set()),
    ("up, down", ("writes far when down", "writes far when down and not up"), {"lift"}),   # one of two is not any value
    ("up", ("writes far when down", "writes far when down and not up"), set()),
    ("up, down", ("writes far when down", "writes rope when down"), {"lift", "lower"}),
    ("up, down", ("    writes far when down\n", "    writes far when down\n    writes far when up and down\n"), set()),
    ("up, down", ("    writes far when down\n", "    writes far when down\n    writes rope when down\n"), {"lower"}),
    ("up", ("    address op\n    writes", "    address {op[0], op[1]}\n    writes"), {"lift", "lower"}),
    ("up", ("writes far when down", "writes far when down and note is none"), set()),
    ("up", ("writes far when down", "writes far when down or note is horn"), set()),
    ("note horn", ("writes far when down", "writes far when down or note is horn"), {"lift"}),
])
def test_what_is_written_and_where(lift: str, edit: tuple[str, str], told: set[str]) -> None:
    """`lift` writes as it says, `lower` in its second word; two different sources at once leave any value."""
    texts = edited(STOWED, ("        up, branch", f"        {lift}, branch"))
    new = edited(texts, edit)
    assert set(moved(between(texts, new))) == told == set(moved(between(new, texts)))


CHECKED = edited(hoist(), ("down   1 bit\n", "down   1 bit, active low\n"), ("spare 2 bits\nstore", """\
spare 1 bit
field check 1 bit = odd parity of control[11:1]
store"""))


@pytest.mark.parametrize(("edits", "differs"), [
    ((), False),
    ((("odd parity", "even parity"),), True),
    ((("odd parity", "not even parity"),), False),
    ((("odd parity of control[11:1]", "odd parity of control[10:1]"),), True),
    ((("odd parity of control[11:1]", "odd parity of control[11:2]"),), False),     # less by a spare bit that is 0
    ((("spare 1 bit\n", "spare 1 bit ones\n"),), True),
    ((("spare 1 bit\n", "field lamp 1 bit\n"),), False),                           # nobody orders it
    ((("spare 1 bit\n", "field lamp 1 bit, active low\n"),), True),
    ((("down   1 bit, active low", "down   1 bit"),), False),                       # the check is one of lines
    ((("field up     1 bit\n", ""), ("field note", "field up     1 bit\nfield note")), False),
])
def test_a_computed_field_of_which_nothing_says_where_it_leads(edits: tuple[tuple[str, str], ...],
                                                                  differs: bool) -> None:
    """A checker on the board stops at the first word of another parity."""
    new = edited(CHECKED, *edits)
    said = ("field `check` is computed in another way; nothing says where it leads",)
    assert between(CHECKED, new).machine == between(new, CHECKED).machine == (said if differs else ())


ALONE = "field `{}` is computed only in the {} machine; nothing says where it leads"


@pytest.mark.parametrize(("edits", "alone"), [
    ((("field check 1 bit = odd parity of control[11:1]", "spare 1 bit"),), [("check", 0)]),
    ((("field check 1 bit = odd parity of control[11:1]", "field check 1 bit"),), [("check", 0)]),
    ((("field check 1 bit", "field parity 1 bit"),), [("check", 0), ("parity", 1)]),
    ((("spare 1 bit\nfield check 1 bit = odd parity of control[11:1]",
       "field check 2 bits = {up, odd parity of control[11:2]}"),), [("check", 0), ("check", 1)]),
    ((("spare 1 bit\n", "field lamp 1 bit, idle any\n"),), []),
])
def test_a_computed_field_that_only_one_machine_has(edits: tuple[tuple[str, str], ...],
                                                    alone: list[tuple[str, int]]) -> None:
    """Whatever the line leads to gets another level now, or none. What is computed of a field that one machine has, and
    that no order may have set, is another."""
    new = edited(CHECKED, *edits)
    for old, now, names in ((CHECKED, new, ("old", "new")), (new, CHECKED, ("new", "old"))):
        expected = {ALONE.format(name, names[side]) for name, side in alone} or {
            "field `check` is computed in another way; nothing says where it leads"}
        assert set(between(old, now).machine) == expected


@pytest.mark.parametrize("reads", [(False, False), (True, False), (False, True), (True, True)])
def test_a_computed_field_counts_by_what_it_does_where_both_machines_say_that(reads: tuple[bool, bool]) -> None:
    """There is a second store with fields, besides."""
    nano = edited(CHECKED, ("store entry", "store nano 2 words of 4 bits\n    address up\nfield blow 3 bits, idle 0\n"
                                           "spare 1 bit\nstore entry"))
    alarm = ("home ", "strobe alarm\nsignal alarm = check\nhome ")
    old, new = (edited(texts, alarm) if read else texts
                for texts, read in zip((nano, edited(nano, ("odd parity", "even parity"))), reads))
    said = "field `check` is computed in another way; nothing says where it leads"
    assert (said in between(old, new).machine) == (reads != (True, True))
    assert not any(said in between(texts, texts).machine for texts in (old, new))
    bare = edited(nano, ("field check 1 bit = odd parity of control[11:1]", "spare 1 bit"))
    assert (ALONE.format("check", "old") in between(old, bare).machine) == (not reads[0])
    assert (ALONE.format("check", "new") in between(bare, old).machine) == (not reads[0])


def test_a_computed_field_is_made_of_the_word_that_it_is_in() -> None:
    """A spare bit of another store has another level."""
    nano = edited(CHECKED, ("store entry", "store nano 2 words of 4 bits\n    address up\nfield blow 3 bits, idle 0\n"
                                           "spare 1 bit\nstore entry"))
    other = edited(nano, ("blow 3 bits, idle 0\nspare 1 bit\n", "blow 3 bits, idle 0\nspare 1 bit ones\n"))
    assert between(nano, other).machine == () == between(other, nano).machine


@pytest.mark.parametrize(("word", "reader", "differs"), [
    ("{up, not dial[0]}", "", True), ("{not up, dial[0]}", "", True), ("{up, dial[0]}", "", False),
    ("{up, not dial[0]}", "not ", False), ("{up, not dial[0]}", "", True)])
def test_each_line_of_a_computed_store_counts_once(word: str, reader: str, differs: bool) -> None:
    """Its lowest line is read, or nothing is."""
    for reads in ([True] if reader else [False, True]):
        texts = edited(hoist(), ("store entry", "store lamps 4 words of 2 bits\n    address {up, dial[0]}\n"
                                                "    word {up, dial[0]}\nstore entry"))
        if reads:
            texts = edited(texts, ("home ", "strobe alarm\nsignal alarm = lamps.word[0]\nhome "))
        new = edited(texts, ("word {up, dial[0]}", f"word {word}"),
                     *((("= lamps.word[0]", f"= {reader}lamps.word[0]"),) if reader else ()))
        found = between(texts, new)
        assert (moved(found) != {} or found.machine != ()) == differs, (reads, moved(found), found.machine)


def test_a_computed_field_of_one_s_own_values() -> None:
    """What it is said to be of values stays, whatever level stands for them."""
    old = edited(CHECKED, ("odd parity of control[11:1]", "up and down"))
    assert between(old, edited(old, ("down   1 bit, active low", "down   1 bit"))).machine == ()
    assert len(between(old, edited(old, ("up and down", "up or down"))).machine) == 1


def test_a_computed_field_that_acts_is_told_of_its_words() -> None:
    old = edited(CHECKED, ("drum when up", "drum when up and check"))
    found = between(old, edited(old, ("odd parity", "even parity")))
    assert (found.machine, moved(found)) == ((), {"lift": "changed"})


# ---------------------------------------------------------------- what a condition is

TABLED = edited(hoist(), ("input dial", """\
store table 4 words of 4 bits
    address op
condition shut 1 bit = table[0]
register spy 1 bit
    loads shut when down
input dial"""))
TABLED = (TABLED[0], TABLED[1] + "map table\n        0: lift\n        others: lower\n")


def test_a_condition_that_a_store_says_is_another_where_its_words_are() -> None:
    """`lift` stands at 1, `lower` at 2: the row of opcode 1 says another level of the line."""
    told = "what condition `shut` is"
    assert moved(between(TABLED, TABLED)) == {}
    for edit in (("        0: lift", "        0, 1: lift"), ("shut 1 bit = table[0]", "shut 1 bit = table[1]")):
        found = between(TABLED, edited(TABLED, edit))
        assert moved(found)["lift"] == "changed"
        assert found.machine == ((ANOTHER.format("shut"),) if "shut" in edit[0] else ())
        first = unit(found, "lift").difference
        assert first is not None and told in [str(change) for change in first.changes]
    assert moved(after(TABLED, ("shut 1 bit = table[0]", "shut 1 bit = table[0] is 1"))) == {}


@pytest.mark.parametrize("line", ["upc is 2", "upc[1]"])
def test_a_condition_that_is_made_of_a_place_is_another_where_words_have_moved(line: str) -> None:
    """`lower` stands at 2, and at 3; elsewhere the line has another level as it acts."""
    asked = f"condition shut 1 bit = {line}\nregister spy 1 bit\n    loads shut when down\n"
    placed = edited(hoist(), ("input dial", f"{asked}input dial"), ('others "lower"', 'others "lower" at 2'))
    assert moved(between(placed, placed)) == {}
    assert moved(after(placed, ('"lower" at 2', '"lower" at 8'))) == {"lower": "changed"}
    assert moved(after(placed, ('"lift"', '"lift" at 9'))) == {}


def test_variants_of_a_store_that_only_a_condition_reads() -> None:
    contents = contents_of(*TABLED)
    assert wrong(contents, Variants(contents), [one for one in bit_faults(contents) if one.store == "table"]) == []


def test_variants_of_one_of_two_stores_that_say_one_thing() -> None:
    """A line is what both tables say together; control asks neither."""
    texts = edited(TABLED, ("shut 1 bit = table[0]", "shut 1 bit = table[0] and second[1]"),
                   ("store table", "store second 4 words of 4 bits\n    address op\nstore table"))
    contents = contents_of(texts[0], texts[1] + "map second\n        0, 1: lower\n        others: lift\n")
    faults = [one for one in bit_faults(contents) if one.store in ("table", "second")]
    found = Variants(contents)
    assert wrong(contents, found, faults) == []
