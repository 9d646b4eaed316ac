"""Which name of the old machine is which of the new one: what is said of every pair, and what is never paired."""

import re
from itertools import combinations
from random import Random

import pytest

from ordain.compare.correspondence import correspond
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import Texts, between, compared, edited, moved, unit
from tests.workshop import contents_of

LATHE: Texts = ("""machine lathe
microprogram "m.micro"
store control 16 words of 16 bits
    address upc
field branch 2 bits
    step 0 idle
    jump 1
    ask  2
    look 3
field target 4 bits address, idle 0
field feed  2 bits
    off   0 idle
    slow  1
    quick 2
field cool  1 bit
field clamp 1 bit
field turns 3 bits, idle 0
spare 3 bits
store table 4 words of 4 bits
    address tool
state upc 4 bits, reset 0
    next choose branch
        step: upc + 1
        jump: target
        ask : target if hot else upc + 1
        look: table.word
state worn 1 bit, reset 0
    next worn or hot
register tool 2 bits, loads bed[1:0] when clamp
register depth 4 bits, loads bed when cool
register width 4 bits, loads rail when cool
register last 4 bits, loads depth when clamp
input hot 1 bit, stop 1 bit
condition done 1 bit = depth is width
bus bed 4 bits, floats
    driven by depth when feed is slow
    driven by slide when feed is quick
    sampled by scale when clamp
bus rail 4 bits, floats
    driven by width when cool
    driven by slide when clamp
strobe cut
    bed steady 1 cycle before
signal cut = feed is quick and not stop
home upc is 0
""", """\
routine start at 0
        feed slow, branch look
routine bore
        feed quick, clamp, turns 5
        cool, branch ask, target bore
        branch jump, target start
routine face
        feed slow, cool
        feed slow
        branch jump, target start
map table
        0, 1: bore
        2, 3: face
""")


def renamed(texts: Texts, old: str, new: str) -> Texts:
    """A word of both texts, wherever it stands."""
    machine, micro = (re.sub(rf"\b{old}\b", new, text) for text in texts)
    assert (machine, micro) != texts
    return machine, micro


def said(old: Texts, new: Texts) -> tuple[str, ...]:
    return correspond(contents_of(*old), contents_of(*new)).said


@pytest.mark.parametrize(("old", "new", "expected"), [
    ("tool", "bit", "register `tool` is now `bit`"), ("depth", "deep", "register `depth` is now `deep`"),
    ("last", "former", "register `last` is now `former`"), ("worn", "blunt", "state `worn` is now `blunt`"),
    ("upc", "counter", "state `upc` is now `counter`"), ("hot", "warm", "input `hot` is now `warm`"),
    ("bed", "way", "bus `bed` is now `way`"), ("rail", "way", "bus `rail` is now `way`"),
    ("slide", "cross", "part `slide` is now `cross`"), ("scale", "ruler", "part `scale` is now `ruler`"),
    ("table", "tools", "store `table` is now `tools`"), ("control", "words", "store `control` is now `words`"),
    ("cut", "bite", "strobe `cut` is now `bite`"),
    ("feed", "drive", "field `feed` is now `drive`: it has the same codes"),
    ("turns", "speed", "field `turns` is now `speed`: it lies in the same bits"),
])
def test_one_name_for_another(old: str, new: str, expected: str) -> None:
    """Everything that is said; and nothing behaves differently."""
    other = renamed(LATHE, old, new)
    assert said(LATHE, other) == (expected,)
    assert said(other, LATHE) == (expected.replace(f"`{old}` is now `{new}`", f"`{new}` is now `{old}`"),)
    found = between(LATHE, other)
    assert moved(found) == {} and found.machine == ()


@pytest.mark.parametrize(("old", "new", "names", "parts"), [
    ("depth", "deep", {"depth": "deep"}, {}), ("slide", "cross", {}, {"slide": "cross"}),
    ("bed", "way", {"bed": "way"}, {}), ("cut", "bite", {"cut": "bite"}, {}), ("feed", "drive", {}, {})])
def test_what_is_renamed_in_what_was_said_before(old: str, new: str, names: dict[str, str],
                                                 parts: dict[str, str]) -> None:
    """Only what differs: names of what is declared, and of what is nothing but a name; fields keep theirs."""
    renames = correspond(contents_of(*LATHE), contents_of(*renamed(LATHE, old, new))).renames
    assert (renames.names, renames.parts, renames.places) == (names, parts, {})


def test_an_old_name_is_put_out_of_the_way_where_the_new_machine_has_it_for_another() -> None:
    """`deep` is `depth` now; the `depth` that was, of another width, is gone."""
    both = edited(renamed(LATHE, "depth", "deep"),
                  ("state worn", "register depth 6 bits, loads {0b11, bed} when cool\nstate worn"))
    renames = correspond(contents_of(*both), contents_of(*LATHE)).renames
    assert renames.names == {"deep": "depth", "depth": "depth of the old machine"}
    assert correspond(contents_of(*LATHE), contents_of(*both)).renames.names == {"depth": "deep"}
    kept = edited(LATHE, ("state worn", "register spindle 6 bits, loads {0b11, bed} when cool\nstate worn"))
    assert correspond(contents_of(*kept), contents_of(*renamed(kept, "depth", "deep"))).renames.names == {
        "depth": "deep"}


def test_an_old_name_that_another_thing_has_now_goes_with_what_had_it() -> None:
    """A register gets the name that a wider one had, or a part, which have new ones; a condition that of a part that
    has kept it."""
    both = edited(LATHE, ("state worn", "register chuck 3 bits, loads bed[2:0] when clamp and cool\nstate worn"))
    other = renamed(renamed(both, "depth", "deep"), "chuck", "depth")
    assert set(said(both, other)) == {"register `depth` is now `deep`", "register `chuck` is now `depth`"}
    assert moved(between(both, other)) == {} and between(both, other).machine == ()
    other = renamed(renamed(both, "slide", "cross"), "chuck", "slide")
    assert set(said(both, other)) == {"part `slide` is now `cross`", "register `chuck` is now `slide`"}
    assert moved(between(both, other)) == {} and between(both, other).machine == ()
    shut = edited(LATHE, ("condition done", "condition shut 1 bit\ncondition done"), ("worn or hot", "worn or shut"))
    other = renamed(shut, "shut", "slide")
    assert said(shut, other) == ("condition `shut` is now `slide`",)
    assert moved(between(shut, other)) == {} and between(shut, other).machine == ()


def test_a_field_keeps_its_name_though_a_register_has_it_now() -> None:
    """What drives the wire is a field, which words are read by; a register is called as it was, and it otherwise."""
    both = edited(LATHE, ("home upc", "bus wire 3 bits, floats\n    driven by turns when clamp\n"
                                      "register lit 3 bits, loads wire when cool\nhome upc"))
    other = renamed(renamed(both, "turns", "speed"), "lit", "turns")
    assert set(said(both, other)) == {"field `turns` is now `speed`: it lies in the same bits",
                                      "register `lit` is now `turns`"}
    assert moved(between(both, other)) == {} == moved(between(other, both))
    assert between(both, other).machine == ()
    worse = edited(other, ("speed 5", "speed 4"))
    assert moved(between(both, worse)) == {"bore": "changed"} == moved(between(worse, both))


@pytest.mark.parametrize("described", [0, 1])
def test_a_field_of_which_one_machine_says_what_it_does_counts_by_its_values(described: int) -> None:
    """The codes have other names and numbers on both sides, and one side alone has the effect."""
    note = "field note 2 bits\n    none 0 idle\n    bell 1\n    horn 2\n"
    other = note.replace("none 0", "quiet 3").replace("bell 1", "ring 0").replace("horn 2", "toot 1")
    texts = [edited(LATHE, ("spare 3 bits", f"{lines}spare 1 bit"),
                    ("start at 0\n        feed slow", f"start at 0\n        note {code}, feed slow"))
             for lines, code in ((note, "bell"), (other, "CODE"))]
    texts[described] = edited(texts[described], (
        "input hot", "register ink 4 bits, loads bed when note is 2\ninput hot"))
    for code, told in (("toot", False), ("ring", True)):
        new = texts[1][0], texts[1][1].replace("CODE", code)
        found = moved(between(texts[0], new))
        assert ("start" in found) == told, (code, found)


def test_the_same_names_say_nothing() -> None:
    assert said(LATHE, LATHE) == ()


def test_several_names_at_once() -> None:
    """A bus and all that is joined to it: each is found by the others."""
    other = renamed(renamed(renamed(LATHE, "bed", "way"), "depth", "deep"), "scale", "ruler")
    assert set(said(LATHE, other)) == {"bus `bed` is now `way`", "register `depth` is now `deep`",
                                       "part `scale` is now `ruler`"}
    assert moved(between(LATHE, other)) == {}


def test_a_bus_of_which_every_part_has_a_new_name_is_known_once_they_are() -> None:
    """Nothing reads the lamps, so only what drives them says which bus that is: it is looked at again once that is
    known, though nothing else was found in between."""
    lit = edited(LATHE, ("home upc", "bus lamps 1 bit, floats\n    driven by worn when stop\nhome upc"))
    other = renamed(renamed(lit, "lamps", "glow"), "worn", "blunt")
    assert said(lit, other) == ("bus `lamps` is now `glow`", "state `worn` is now `blunt`")
    assert moved(between(lit, other)) == {}


def test_two_that_changed_their_names_for_each_other_are_other_things() -> None:
    """Names and widths are the same on both sides, so a name is taken at its word, and what it does has changed."""
    swapped = renamed(renamed(renamed(LATHE, "depth", "mine"), "width", "depth"), "mine", "width")
    assert said(LATHE, swapped) == () and moved(between(LATHE, swapped)) != {}


def test_twins_are_not_told_apart() -> None:
    """Two registers that are loaded alike and read by nobody: with new names nobody can say which is which."""
    twins = edited(LATHE, ("input hot", "register left 4 bits, loads bed when clamp\n"
                                        "register right 4 bits, loads bed when clamp\ninput hot"))
    one = renamed(twins, "left", "port")
    assert said(twins, one) == ("register `left` is now `port`",)
    both = renamed(one, "right", "starboard")
    assert said(twins, both) == ()


def test_of_twins_of_which_one_is_gone_nobody_knows_which() -> None:
    twins = edited(LATHE, ("input hot", "register left 4 bits, loads bed when clamp\n"
                                        "register right 4 bits, loads bed when clamp\ninput hot"))
    alone = edited(LATHE, ("input hot", "register port 4 bits, loads bed when clamp\ninput hot"))
    assert said(twins, alone) == () == said(alone, twins)


@pytest.mark.parametrize(("old", "new"), [
    ("bus cord 3 bits, floats\n    driven by crank when clamp\n",           # of neither anything is known
     "bus rope 3 bits, floats\n    driven by winch when clamp\n"),
    ("register tally 3 bits, loads depth[2:0] when clamp\n", "register count 3 bits, loads width[2:0] when cool\n"),
    ("strobe chime\nsignal chime = clamp\n", "strobe gong\nsignal gong = not clamp\n"),
    ("input lonely 5 bits\n", "input single 5 bits\n"),
])
def test_what_has_no_more_in_common_than_its_kind_is_not_the_same(old: str, new: str) -> None:
    texts = [edited(LATHE, ("home upc", f"{lines}home upc")) for lines in (old, new)]
    assert said(texts[0], texts[1]) == () == said(texts[1], texts[0])


def test_a_part_is_known_by_one_bus_though_another_is_gone() -> None:
    """The rail is one of 5 bits now, and so it is another; and a part more on it is of no matter."""
    wide = edited(renamed(renamed(LATHE, "slide", "cross"), "rail", "way"), ("bus way 4 bits", "bus way 5 bits"),
                  ("driven by width when cool", "driven by long when cool"), ("loads way when", "changes when"))
    assert said(LATHE, wide) == ("part `slide` is now `cross`",)
    more = edited(renamed(LATHE, "scale", "ruler"), ("driven by width when cool", "driven by width when cool\n"
                                                     "    driven by lamp when feed is off and stop"))
    assert said(LATHE, more) == ("part `scale` is now `ruler`",)


@pytest.mark.parametrize(("old", "new"), [
    ("loads bed[1:0] when clamp", "loads bed[1:0] when clamp and ASKED"),
    ("4 words of 4 bits\n    address tool", "8 words of 4 bits\n    address {tool, ASKED}"),
    ("depth when feed is slow", "depth when feed is slow and ASKED"),
    ("sampled by scale when clamp", "sampled by scale when clamp and ASKED"),
    ("next worn or hot", "next worn or ASKED"), ("loads depth when clamp", "loads {depth[3:1], ASKED} when clamp"),
    ("signal cut = feed is quick", "signal cut = feed is quick and ASKED")])
def test_a_line_is_known_by_where_it_is_asked(old: str, new: str) -> None:
    """Wherever that is; nothing else says what it is."""
    asked = edited(LATHE, (old, new), ("condition done", "condition ASKED 1 bit\ncondition done"))
    one, other = ((asked[0].replace("ASKED", name), asked[1].replace("2, 3: face", "others: face")) for name in (
        "shut", "closed"))
    assert said(one, other) == ("condition `shut` is now `closed`",)
    assert moved(between(one, other)) == {}


def test_a_state_that_follows_itself_is_not_the_one_that_follows_it() -> None:
    both = edited(LATHE, ("register tool", "state this 1 bit, reset 0\n    next not this\n"
                          "state that 1 bit, reset 0\n    next not this\nregister tool"))
    other = renamed(renamed(both, "this", "one"), "that", "two")
    assert set(said(both, other)) == {"state `this` is now `one`", "state `that` is now `two`"}


def test_a_state_that_follows_itself_is_neither_of_two_that_follow_each_other() -> None:
    """Nor are these told apart."""
    states = "".join(f"state {name} 1 bit, reset 0\n    next {before} and hot\n" for name, before in (
        ("alone", "alone"), ("left", "right"), ("right", "left")))
    three = edited(LATHE, ("register tool", f"{states}register tool"))
    other = renamed(renamed(renamed(three, "alone", "single"), "left", "port"), "right", "starboard")
    assert said(three, other) == ("state `alone` is now `single`",)


def test_what_is_asked_where_nothing_else_is_known() -> None:
    """Besides, something else has changed, which speaks of neither."""
    for old, new in (("hot", "warm"), ("worn", "blunt"), ("stop", "halt")):
        texts = renamed(LATHE, old, new)
        change = ("loads bed[1:0] when clamp", "loads bed[1:0] when clamp and cool")
        assert f"`{old}` is now `{new}`" in " ".join(said(LATHE, edited(texts, change)))
        assert f"`{new}` is now `{old}`" in " ".join(said(edited(texts, change), LATHE))


def test_what_asks_for_a_code_is_known_by_its_name() -> None:
    """The codes have other numbers besides; and what asks for a plain number asks for that."""
    rings = edited(LATHE, ("home upc", "strobe chime\nsignal chime = feed is quick\nstrobe gong\n"
                                       "signal gong = feed is slow\nhome upc"))
    other = edited(renamed(renamed(rings, "chime", "ring"), "gong", "boom"),
                   ("    slow  1\n    quick 2", "    slow  2\n    quick 1"))
    assert {"strobe `chime` is now `ring`", "strobe `gong` is now `boom`"} < set(said(rings, other))
    plain = edited(LATHE, ("home upc", "strobe chime\nsignal chime = upc[2:0] in (3, 5)\nstrobe gong\n"
                                       "signal gong = upc[2:0] in (3, 6)\nhome upc"))
    assert set(said(plain, renamed(renamed(plain, "chime", "ring"), "gong", "boom"))) == {
        "strobe `chime` is now `ring`", "strobe `gong` is now `boom`"}


def test_two_registers_that_differ_in_what_they_load() -> None:
    """One is loaded from the bed, one from the rail, one with any value, one at another time; all have new names."""
    loads = {"a": "loads bed when clamp", "b": "loads rail when clamp", "c": "changes when clamp",
             "d": "loads bed when not clamp"}
    lines = "".join(f"register {name} 4 bits, {load}\n" for name, load in loads.items())
    old = edited(LATHE, ("input hot", f"{lines}input hot"))
    new = old
    for name in loads:
        new = renamed(new, name, f"{name}{name}")
    assert said(old, new) == tuple(f"register `{name}` is now `{name}{name}`" for name in loads)


def test_another_width_is_another_thing() -> None:
    wide = edited(renamed(LATHE, "last", "former"), ("register former 4 bits, loads depth", "register former 5 bits, "
                                                    "loads {0b0, depth}"))
    assert said(LATHE, wide) == ()


# ---------------------------------------------------------------- fields and their codes


def test_codes_with_other_numbers() -> None:
    """Compared by the codes' names: nothing has changed. Two that swap names have."""
    other = edited(LATHE, ("    slow  1\n    quick 2", "    slow  2\n    quick 1"))
    assert said(LATHE, other) == ("field `feed` has other numbers for its codes: compared by the codes' names",)
    assert moved(between(LATHE, other)) == {}
    worse = edited(other, ("start at 0\n        feed slow", "start at 0\n        feed quick"))
    assert set(moved(between(LATHE, worse))) == {"reset", "start"}


def test_a_wire_that_asks_for_a_number_does_not_follow_the_name() -> None:
    """`slow` and `quick` change numbers, and what drives the bed is wired to number 1 as before."""
    wired = edited(LATHE, ("driven by depth when feed is slow", "driven by depth when feed is 1"))
    other = edited(wired, ("    slow  1\n    quick 2", "    slow  2\n    quick 1"))
    for old, new in ((wired, other), (other, wired)):
        assert moved(between(old, new)) == dict.fromkeys(("reset", "start", "bore", "face"), "changed")
    both = edited(other, ("driven by depth when feed is 1", "driven by depth when feed is 2"))
    assert moved(between(wired, both)) == {} == moved(between(both, wired))


@pytest.mark.parametrize(("was", "now"), [(3, 0), (0, 3)])
def test_a_number_without_a_name_is_not_the_code_that_has_it_now(was: int, now: int) -> None:
    """As a chip with a bad bit may hold it: nothing says that it meant what `off` means."""
    texts = edited(LATHE, ("    off   0 idle", f"    off   {was} idle"),
                   ("start at 0\n        feed slow", "start at 0\n        feed off"))
    old, new = (contents_of(*each) for each in (texts, edited(texts, (f"    off   {was} idle",
                                                                     f"    off   {now} idle"))))
    feed, words = old.machine.fields["feed"], list(old.words["control"])
    words[0] = words[0] & ~feed.mask | now << feed.low
    broken = old._replace(words={**old.words, "control": tuple(words)})
    assert moved(compared(old, new)) == {} == moved(compared(broken, broken))
    assert {"reset", "start"} <= set(moved(compared(broken, new)))


def test_a_code_with_another_name_and_the_same_number() -> None:
    other = renamed(LATHE, "slow", "gentle")
    assert said(LATHE, other) == () and moved(between(LATHE, other)) == {}


def test_codes_without_a_counterpart() -> None:
    """`slow` is gone, and its number is another code's: the machine says what the field drives, that is compared."""
    other = edited(renamed(LATHE, "slow", "gentle"), ("    gentle  1\n    quick 2", "    gentle  3\n    quick 2"))
    assert said(LATHE, other) == ("field `feed` has other codes: words are compared by what it drives, loads and "
                                  "strobes",)
    assert moved(between(LATHE, other)) == {}
    worse = edited(other, ("start at 0\n        feed gentle", "start at 0\n        feed quick"))
    assert set(moved(between(LATHE, worse))) == {"reset", "start"}


def test_a_field_of_one_side() -> None:
    """What the machine says of it is compared; of one that stands alone it counts whether it is idle."""
    gone = (LATHE[0].replace("field clamp 1 bit\n", "").replace("spare 3 bits", "spare 4 bits")
            .replace("when clamp", "when feed is quick"), LATHE[1].replace(", clamp", ""))
    assert said(LATHE, gone) == ("field `clamp` is only in the old machine: words are compared by what it drives, "
                                 "loads and strobes",)
    assert said(gone, LATHE) == (said(LATHE, gone)[0].replace("old", "new"),)
    assert moved(between(LATHE, gone)) == {}
    mute = (LATHE[0].replace("field turns 3 bits, idle 0\n", "").replace("spare 3 bits", "spare 6 bits"),
            LATHE[1].replace(", turns 5", ""))
    assert said(LATHE, mute) == () and moved(between(LATHE, mute)) == {"bore": "changed"}
    lamp = edited(mute, ("spare 6 bits", "spare 2 bits\nfield lamp 4 bits, idle 0"))
    assert said(mute, lamp) == () and moved(between(mute, lamp)) == {}
    assert moved(between(mute, edited(lamp, ("feed quick, clamp", "feed quick, clamp, lamp 3")))) == {"bore": "changed"}


MODES = "field MODE 2 bits\n    off   0 idle\n    slow  1\n    quick 2\n"


def test_a_field_is_known_by_its_codes_among_those_that_have_changed_their_names() -> None:
    """Another has the same codes and its old name; where both have new ones, or one is gone, nobody knows which."""
    two = edited(LATHE, ("spare 3 bits", MODES.replace("MODE", "first") + "spare 1 bit"))
    assert said(two, renamed(two, "first", "only")) == ("field `first` is now `only`: it has the same codes",)
    both = renamed(renamed(two, "first", "this"), "feed", "that")
    assert [text for text in said(two, both) if " is now " in text] == []
    one = renamed(LATHE, "feed", "that")
    assert [text for old, new in ((two, one), (one, two)) for text in said(old, new) if " is now " in text] == []


def test_a_number_in_other_bits_with_another_name_is_another_field() -> None:
    other = edited(renamed(LATHE, "turns", "speed"), ("field speed 3 bits, idle 0\nspare 3 bits",
                                                      "spare 3 bits\nfield speed 3 bits, idle 0"))
    assert said(LATHE, other) == () and moved(between(LATHE, other)) == {"bore": "changed"}


def test_a_number_with_more_bits_is_the_number_that_it_was() -> None:
    other = edited(LATHE, ("field turns 3 bits, idle 0\nspare 3 bits", "field turns 4 bits, idle 0\nspare 2 bits"))
    assert said(LATHE, other) == () and moved(between(LATHE, other)) == {} == moved(between(other, LATHE))
    assert moved(between(LATHE, edited(other, ("turns 5", "turns 13")))) == {"bore": "changed"}


def test_what_is_computed_of_where_words_stand_is_no_order() -> None:
    """The parity of a word whose target has moved."""
    checked = edited(LATHE, ("spare 3 bits", "field check 1 bit = odd parity of control[15:1]"),
                     ("field turns 3 bits", "spare 2 bits\nfield turns 3 bits"))
    here, there = (edited(checked, ("routine bore\n", f"routine bore at {address}\n")) for address in (4, 6))
    words = [contents_of(*texts).words["control"] for texts in (here, there)]
    jumps = [next(word for word in row if word >> 14 == 2) for row in words]      # `ask`, of which there is one
    assert jumps[0] & 1 != jumps[1] & 1
    assert moved(between(here, there)) == {}


def test_a_field_of_the_same_name_in_another_store_is_another_field() -> None:
    """Which of two chips has the line is no matter of names."""
    rows, lamp = "store nano 2 words of 4 bits\n    address clamp\n", "field lamp 3 bits, idle 0"
    here = LATHE[0].replace("spare 3 bits", lamp).replace("input hot", f"{rows}spare 4 bits\ninput hot")
    there = LATHE[0].replace("input hot", f"{rows}{lamp}\nspare 1 bit\ninput hot")
    fields = [correspond(*(burned(resolved(text), {0: Word("start", {})}) for text in texts)).pairing
              for texts in ((here, there), (there, here), (here, here))]
    assert [("lamp" in each.values, "lamp" in each.old_alone, "lamp" in each.new_alone) for each in fields] == [
        (False, True, True), (False, True, True), (True, False, False)]


def test_a_field_with_codes_on_one_side_alone() -> None:
    """A name that means a number on one side is no counterpart; what the field does is compared."""
    codes = "field feed  2 bits\n    off   0 idle\n    slow  1\n    quick 2"
    plain = edited(LATHE, (codes, "field feed 2 bits, idle 0"))
    plain = (plain[0].replace("is slow", "is 1").replace("is quick", "is 2"),
             plain[1].replace("feed slow", "feed 1").replace("feed quick", "feed 2"))
    assert said(LATHE, plain) == tuple(
        f"field `feed` is only in the {side} machine: words are compared by what it drives, loads and strobes"
        for side in ("old", "new"))
    assert moved(between(LATHE, plain)) == {}


def test_an_address_field_with_another_name() -> None:
    """What it says is where control goes, and that is compared anyway."""
    other = renamed(LATHE, "target", "goal")
    assert said(LATHE, other) == () and moved(between(LATHE, other)) == {}


def test_a_field_is_told_by_its_new_name_and_both_codes() -> None:
    """Where words stand is not told beside it, though every target has moved."""
    pad = ("routine bore\n", "routine pad\n        cool, branch jump, target start\nroutine bore\n")
    other = edited(renamed(LATHE, "feed", "drive"), ("at 0\n        drive slow", "at 0\n        drive quick"), pad)
    first = unit(between(LATHE, other), "start").difference
    assert first is not None and "drive: slow -> quick" in {str(change) for change in first.changes}
    sent = edited(LATHE, ("cool, branch ask", "branch ask"), pad)
    first = unit(between(LATHE, sent), "bore").difference
    assert first is not None and [str(change) for change in first.changes if "`" not in str(change)] == ["cool: 1 -> 0"]


def test_two_strobes_with_the_same_needs_are_told_apart_by_when_they_act() -> None:
    trim = "strobe trim\n    bed steady 1 cycle before\nsignal trim = feed is quick and stop\n"
    two = edited(LATHE, ("signal cut", f"{trim}signal cut"))
    other = renamed(renamed(two, "cut", "bite"), "trim", "shave")
    assert set(said(two, other)) == {"strobe `cut` is now `bite`", "strobe `trim` is now `shave`"}
    assert moved(between(two, other)) == {}


def test_a_register_of_one_side_is_left_alone_by_words_that_order_nothing_about_it() -> None:
    inked = edited(LATHE, ("spare 3 bits", "field stamp 1 bit\nspare 2 bits"),
                   ("input hot", "register ink 4 bits, loads bed when stamp\ninput hot"))
    assert moved(between(LATHE, inked)) == {} and moved(between(inked, LATHE)) == {}
    used = edited(inked, ("feed quick, clamp", "feed quick, clamp, stamp"))
    assert moved(between(LATHE, used)) == {"bore": "changed"}


@pytest.mark.parametrize(("level", "title", "gone"), [("0b0", "face", [2, 3]), ("0b1", "bore", [0, 1])])
def test_rows_that_cannot_be_any_more(level: str, title: str, gone: list[int]) -> None:
    """The tool has two rows left: the others are gone, and the other way round they are new."""
    tied = edited(LATHE, ("    address tool\n", f"    address {{{level}, tool[0]}}\n"))
    for old, new, status in ((LATHE, tied, "gone"), (tied, LATHE, "new")):
        rows = [row for row in between(old, new).units if row.kind == "row" and row.status == status]
        assert {row.title for row in rows} == {title}
        assert sorted(opcode for row in rows for opcode in row.opcodes) == gone
        assert all(row.differing == row.opcodes for row in rows if status == "gone")


def test_a_field_without_codes_in_a_store_with_another_name() -> None:
    """It lies in the same bits of what is the same store."""
    other = renamed(renamed(LATHE, "control", "words"), "turns", "speed")
    assert set(said(LATHE, other)) == {"store `control` is now `words`",
                                       "field `turns` is now `speed`: it lies in the same bits"}
    assert moved(between(LATHE, other)) == {}


def test_a_name_that_the_new_machine_has_for_something_else() -> None:
    """`depth` is called `deep` now, and a register of another width has the old name."""
    other = edited(renamed(LATHE, "depth", "deep"),
                   ("state worn", "register depth 6 bits, loads {0b11, bed} when cool\nstate worn"))
    assert "register `depth` is now `deep`" in said(LATHE, other)
    assert moved(between(LATHE, other)) == {}
    assert "register `deep` is now `depth`" in said(other, LATHE)
    assert moved(between(other, LATHE)) == {}


NEAR: Texts = edited(LATHE, ("input hot", """\
register plain  4 bits, loads bed when cool and clamp
register source 4 bits, loads rail when cool and clamp
register moment 4 bits, loads bed when cool and not clamp
register narrow 3 bits, loads bed[2:0] when cool and clamp
register asked  4 bits, loads bed when cool and clamp
register drives 4 bits, loads bed when cool and clamp
register taken  4 bits, loads bed when cool and clamp
state zero 2 bits, reset 0
    next zero and {hot, hot}
state one 2 bits, reset 1
    next one and {hot, hot}
state whichever 2 bits, reset any
    next whichever and {hot, hot}
state another 2 bits, reset 0
    next another or {hot, hot}
state named (first, second, third, fourth), reset first
    next named if hot else first
condition when_asked 1 bit = asked is 3
bus floating 4 bits, floats
    driven by one_end when cool
bus high_side 4 bits, pulled high
    driven by one_end when cool
bus lagging 4 bits, floats, turnaround 1
    driven by one_end when cool
bus wide 5 bits, floats
    driven by one_end when cool
bus led 4 bits, floats
    driven by drives when cool
    sampled by taken when clamp
strobe first_of
    bed steady 1 cycle before
signal first_of = feed is quick and clamp
strobe second_of
    bed steady 1 cycle before
signal second_of = feed is slow and clamp
strobe third_of
    bed steady 1 cycle before
signal third_of = feed is quick and clamp and hot
strobe longer
    bed steady 2 cycles before
signal longer = feed is quick and clamp
strobe behind
    bed steady 1 cycle after
signal behind = feed is quick and clamp
strobe elsewhere
    rail steady 1 cycle before
signal elsewhere = feed is quick and clamp
input hot"""))
"""Beside each thing others that are like it but for one."""


def names_of(texts: Texts) -> list[str]:
    return [*re.findall(r"^(?:register|state|store|bus|strobe|input) (\w+)", texts[0], re.M),
            "stop", "slide", "scale", "feed", "turns"]


@pytest.mark.parametrize(("texts", "chosen"), [
    (LATHE, names_of(LATHE)),
    *((NEAR, [name for name in names_of(NEAR) if Random(f"{seed} {name}").random() < 0.5]) for seed in range(5))])
def test_many_names_at_once(texts: Texts, chosen: list[str]) -> None:
    """Each is found by what it is and by what it is joined to."""
    other = texts
    for name in chosen:
        other = renamed(other, name, f"{name[::-1]}_")
    found = {one.partition(":")[0].partition(" ")[2] for one in said(texts, other)}
    assert found == {f"`{name}` is now `{name[::-1]}_`" for name in chosen}


# ---------------------------------------------------------------- two things never come to one name

BARGE = """\
machine barge
microprogram "m.micro"
constant hoist = 3
store control 8 words of 8 bits
    address upc
field go     1 bit
field target 3 bits address, idle 0
field pull   1 bit
field push   1 bit
field crane  1 bit
spare 1 bit
input winch 3 bits
state upc 3 bits, reset 0
    next target if go else upc + 1
register SINKS 3 bits
    loads rope when go
memory hold 2 words of 3 bits
    address go
    writes rope when go
signal jib = {0b00, push}
bus rope 3 bits, pulled low
    driven by DRIVERS
home upc is 0
"""


def barge(register: str, drivers: str, instead: str = "") -> Contents:
    """`instead`: what is not declared."""
    text = BARGE.replace("SINKS", register).replace("DRIVERS", drivers.replace(", ", "\n    driven by "))
    kept = [part for part in re.split(r"\n(?=\w)", text) if part.split()[0] == "register" or part.split()[1] != instead]
    return burned(resolved("\n".join(kept)), {0: Word("fetch", {"pull": 1}), 1: Word("second", {"push": 1}),
                                              2: Word("third", {"go": 1, "target": 0})})


@pytest.mark.parametrize("other", ["hold", "winch", "jib", "hoist", "gantry"])
def test_a_register_that_takes_the_name_of_another_driver(other: str) -> None:
    """`vat` puts something on the bus in one word and a memory, input, signal, constant or part in the next; in the new
    machine one register of that name does both."""
    was = barge("vat", f"vat when pull, {other} when push")
    now = barge(other, f"{other} when pull or push", other)
    for old, new in ((was, now), (now, was)):
        found = compared(old, new)
        assert moved(found) == dict.fromkeys(("reset", "fetch"), "changed") or found.machine
    alone, renamed = barge("vat", "vat when pull or push", other), barge(other, f"{other} when pull or push", other)
    assert moved(compared(alone, renamed)) == {} == moved(compared(renamed, alone))


def test_an_input_is_no_other_input_because_a_part_is_called_so() -> None:
    """`winch` is on both sides, and in the old machine another input is on the bus."""
    boom = burned(resolved(BARGE.replace("SINKS", "vat").replace("DRIVERS", "boom when pull").replace(
        "input winch 3 bits", "input winch 3 bits, boom 3 bits")), {0: Word("fetch", {"pull": 1, "go": 1})})
    winch = burned(resolved(BARGE.replace("SINKS", "vat").replace("DRIVERS", "winch when pull")),
                   {0: Word("fetch", {"pull": 1, "go": 1})})
    for old, new in ((boom, winch), (winch, boom)):
        assert [text.split(":")[0] for text in compared(old, new).machine] == [
            "`boom` drives `rope`", "`winch` drives `rope`"]


TACKLE = """\
machine tackle
microprogram "m.micro"
constant one = 1
constant two = 2
store control 8 words of 12 bits
    address upc
field go     1 bit
field target 3 bits address, idle 0
field pull   1 bit
field push   1 bit
field left   3 bits, idle 0
field right  3 bits, idle 0
memory hold 2 words of 3 bits
    address go
    writes rope when push
memory bin 2 words of 3 bits
    address go
    writes rope when go
signal jib = {0b00, push}
signal boom = {0b00, pull}
state upc 3 bits, reset 0
    next target if go else upc + 1
bus rope 3 bits, pulled low
    driven by DRIVER when pull
    sampled by SAMPLER when go
home upc is 0
"""


def tackle(text: str, driver: str = "crane", sampler: str = "deck") -> Contents:
    return burned(resolved(text.replace("DRIVER", driver).replace("SAMPLER", sampler)), {
        0: Word("fetch", {"pull": 1, "left": 3, "right": 5}), 1: Word("second", {"push": 1}),
        2: Word("third", {"go": 1, "target": 0})})


def replaced(text: str, old: str, new: str) -> str:
    return re.sub(rf"\b{old}\b", new, text)


SAYING = [("one", "two"), ("left", "right"), ("hold", "bin"), ("jib", "boom")]


@pytest.mark.parametrize(("name", "other"), [
    *SAYING, *((name, "crane") for name, _ in SAYING), *((one, two) for (one, _), (two, _) in combinations(SAYING, 2))])
def test_a_driver_that_is_called_like_another_constant_field_memory_or_signal(name: str, other: str) -> None:
    """Both machines have both: what comes to the bus is another thing now, not the same one under another name."""
    for ours, theirs in ((name, other), (other, name)):
        found = compared(tackle(TACKLE, ours), tackle(TACKLE, theirs))
        assert found.said == () and found.machine != (), (ours, theirs)
        found = compared(tackle(TACKLE, sampler=ours), tackle(TACKLE, sampler=theirs))
        assert found.said == () and found.machine != (), (ours, theirs)


@pytest.mark.parametrize("name", [pair[0] for pair in SAYING])
def test_a_constant_field_memory_or_signal_that_drives_under_another_name(name: str) -> None:
    """What it puts on the bus is what counts; `spar` says the same, and, changed, something else."""
    old, other = tackle(TACKLE, name), replaced(TACKLE, name, "spar")
    new = tackle(other, "spar")
    if name == "left":          # the words that are made here are said with fields
        new = burned(resolved(other.replace("DRIVER", "spar").replace("SAMPLER", "deck")), {
            0: Word("fetch", {"pull": 1, "spar": 3, "right": 5}), 1: Word("second", {"push": 1}),
            2: Word("third", {"go": 1, "target": 0})})
    for pair in ((old, new), (new, old)):
        found = compared(*pair)
        assert moved(found) == {} and found.machine == (), (found.machine, found.said)
        assert [said.split(" `")[0] for said in found.said] == {
            "hold": ["memory"], "left": ["field"]}.get(name, ["part"])


@pytest.mark.parametrize(("before", "after"), [
    ("constant one = 1", "constant one = 3"), ("signal jib = {0b00, push}", "signal jib = {0b00, pull}"),
    ("    address go\n    writes rope when push\n", "    address pull\n    writes rope when push\n"),
    ("writes rope when push\n", "writes rope when go\n")])
def test_under_another_name_it_is_held_against_what_it_was(before: str, after: str) -> None:
    name = {"c": "one", "s": "jib"}.get(before[0], "hold")
    assert TACKLE.count(before) == 1
    old = tackle(TACKLE, name)
    for text, same in ((TACKLE, True), (TACKLE.replace(before, after), False)):
        found = compared(old, tackle(replaced(text, name, "spar"), "spar"))
        assert (moved(found) == {} and found.machine == ()) == same, (found.machine, moved(found))


@pytest.mark.parametrize("asked", ["register vat 3 bits, loads hold when push\n",
                                   "strobe chime\nsignal chime = hold is 3\n",
                                   "memory jar 2 words of 3 bits\n    address hold[0]\n    writes rope when pull\n",
                                   "memory jar 2 words of 3 bits\n    address pull\n    writes hold when pull\n",
                                   "memory jar 2 words of 3 bits\n    address pull\n    writes rope when hold is 0\n"])
def test_two_memories_with_new_names_are_known_by_who_reads_them(asked: str) -> None:
    """They differ in nothing else."""
    text = TACKLE.replace("    writes rope when go", "    writes rope when push").replace("home", f"{asked}home")
    for names in (("one_", "two_"), ("two_", "one_")):
        other = text
        for name, its in zip(("hold", "bin"), names):
            other = replaced(other, name, its)
        found = compared(tackle(text), tackle(other))
        assert set(found.said) == {f"memory `{name}` is now `{its}`" for name, its in zip(("hold", "bin"), names)}
        assert moved(found) == {} and found.machine == ()


# ---------------------------------------------------------------- codes that are gone, and numbers that another has now

WINCHES = """\
machine windlass
microprogram "m.micro"
store control 8 words of 8 bits
    address upc
field go     1 bit
field target 3 bits address, idle 0
field winch  WIDTH bits
CODES
spare REST bits
state upc 3 bits, reset 0
    next target if go else upc + 1
home upc is 0
"""


def windlass(codes: str, order: str, width: int = 2) -> Contents:
    """A field of which the machine says nothing but its codes; the first word has one of them, or a number."""
    text = WINCHES.replace("WIDTH", str(width)).replace("REST", str(4 - width)).replace(
        "CODES", "\n".join(f"    {code}" for code in codes.split(", ")))
    value = int(order) if order.isdigit() else order
    return burned(resolved(text), {0: Word("fetch", {"winch": value}), 1: Word("back", {"go": 1, "target": 0})})


@pytest.mark.parametrize(("codes", "alike"), [
    ("none 0 idle, a 1, b 2", {"a": "a", "b": "b", "3": "3"}),
    ("none 0 idle, a 2, b 1", {"a": "a", "b": "b", "3": "3"}),
    ("none 0 idle, b 1", {"a": "", "b": "b", "3": "3"}),             # `a` is gone, and its number is another's
    ("none 0 idle, b 1, c 2", {"a": "", "b": "b", "3": "3"}),
    ("none 0 idle, b 1, c 3", {"a": "", "b": "b", "3": ""}),
    ("none 0 idle, b 2", {"a": "1", "b": "b", "3": "3"}),            # its number has no name any more
    ("none 0 idle, c 1, b 2", {"a": "c", "b": "b", "3": "3"}),       # or a new one
    ("none 0 idle, c 1, b 3", {"a": "c", "b": "b", "3": ""}),
])
def test_codes_are_known_by_their_names_then_by_their_numbers(codes: str, alike: dict[str, str]) -> None:
    unnamed = [str(number) for number in range(4) if f" {number}" not in codes]
    for order, its in alike.items():
        was = windlass("none 0 idle, a 1, b 2", order)
        for now in (*re.findall(r"(\w+) \d", codes), *unnamed):
            same = moved(compared(was, windlass(codes, now))) == {}
            assert same == (now == its), (order, now)


def test_of_a_field_of_another_width_only_names_are_left() -> None:
    for codes, order, now, same in (
            ("a 4, b 1", "a", "a", True), ("a 4, b 1", "b", "b", True), ("a 4, b 1", "a", "b", False),
            ("a 4, b 1", "3", "3", False), ("a 1, b 2", "a", "a", True), ("a 1, b 2", "3", "3", False),
            ("c 1, b 2", "a", "c", False), ("b 2", "a", "1", False)):
        found = compared(windlass("none 0 idle, a 1, b 2", order), windlass(f"none 0 idle, {codes}", now, 3))
        assert (moved(found) == {}) == same, (order, now)


def test_one_code_without_a_counterpart_is_enough() -> None:
    """`slow` is gone, and its number is that of `off`; `quick` is `rapid`. The machine says what the field does."""
    other = edited(LATHE, ("    off   0 idle\n    slow  1\n    quick 2\n", "    off   1 idle\n    rapid 2\n"))
    other = (other[0].replace("feed is slow", "feed is off").replace("is quick", "is rapid"),
             other[1].replace("feed slow", "feed off").replace("feed quick", "feed rapid"))
    assert said(LATHE, other) == (
        "field `feed` has other codes: words are compared by what it drives, loads and strobes",)


# ---------------------------------------------------------------- codes of which the machine says only a part

ORGAN = """\
machine organ
microprogram "m.micro"
store control 8 words of 12 bits
    address upc
field go     1 bit
field target 3 bits address, idle 0
FIELDspare REST bits
state upc 3 bits, reset 0
    next target if go else upc + 1
bus wind 3 bits, pulled low
    driven by pipe when SOUNDS
home upc is 0
"""


def organ(codes: str, order: int | str | None, sounds: str = "stop is not shut", width: int = 2) -> Contents:
    """A field `stop`, or none, of which the machine says when the pipe is on the bus; the first word has it so."""
    field = "".join((f"field stop {width} bits\n", *(f"    {code}\n" for code in codes.split(", ")))) if codes else ""
    text = ORGAN.replace("FIELD", field).replace("REST", str(8 - width if codes else 8)).replace("SOUNDS", sounds)
    return burned(resolved(text), {0: Word("fetch", {} if order is None else {"stop": order}), 1: Word("second", {}),
                                   2: Word("third", {"go": 1, "target": 0})})


@pytest.mark.parametrize(("was", "now", "same"), [
    ("flute", "flute", True), ("flute", "reed", False), ("reed", "flute", False), ("reed", "reed", False),
    ("shut", "shut", True), ("shut", "flute", False), ("reed", "shut", False)])
def test_codes_that_do_the_same_as_far_as_the_machine_says_are_told_by_their_names(was: str, now: str,
                                                                                  same: bool) -> None:
    """`oboe` is gone and `flute` has another number: the pipe sounds with each of them, and nothing says how."""
    old, new = "shut 0 idle, flute 1, oboe 2", "shut 0 idle, reed 1, flute 2"
    found = compared(organ(old, "oboe" if was == "reed" else was), organ(new, now))
    assert (moved(found) == {}) == same
    assert found.said == ("field `stop` has other codes: words are compared by what it drives, loads and strobes, but "
                          "for `flute`, `oboe`, `reed`, of which nothing else says what they do",)
    first = unit(found, "fetch").difference
    told = [] if first is None else [str(change) for change in first.changes if change.what == "stop"]
    assert told == ([] if same else [f"stop: {'oboe' if was == 'reed' else was} -> {now}"])


@pytest.mark.parametrize(("was", "now", "same"), [("loud", "still", False), ("loud", "forte", True),
                                                  ("still", "forte", False), ("still", "still", True)])
def test_codes_that_the_machine_tells_from_all_others_are_told_by_what_they_do(was: str, now: str, same: bool) -> None:
    """`loud` is gone, and so is its number; `still` has another one, that of `loud`."""
    old = organ("still 0 idle, loud 1", was, "stop is loud")
    assert (moved(compared(old, organ("still 1 idle, forte 3", now, "stop is forte"))) == {}) == same
    assert (moved(compared(organ("still 1 idle, forte 3", now, "stop is forte"), old)) == {}) == same
    wide = organ("still 0 idle, forte 1", now, "stop is forte", 3)
    assert (moved(compared(old, wide)) == {}) == same == (moved(compared(wide, old)) == {})


@pytest.mark.parametrize("order", ["flute", "oboe", "shut", 3])
def test_a_code_that_does_nothing_counts_in_a_field_that_only_one_machine_has(order: int | str) -> None:
    """`flute` is all that the machine tells from what is idle."""
    full = organ("shut 0 idle, flute 1, oboe 2", order, "go or stop is flute")
    bare = organ("", None, "go")
    for old, new in ((full, bare), (bare, full)):
        found = compared(old, new)
        assert (moved(found) == {}) == (order == "shut")
        which = "old" if old is full else "new"
        assert found.said == (f"field `stop` is only in the {which} machine: words are compared by what it drives, "
                              "loads and strobes, but for `oboe`, of which nothing else says what they do",)
        first = unit(found, "fetch").difference
        told = [] if first is None else [(change.old, change.new) for change in first.changes if change.what == "stop"]
        assert told == ([] if order in ("shut", "flute") else [(str(order), "") if old is full else ("", str(order))])


@pytest.mark.parametrize(("value", "same"), [(2, True), (3, True), (1, False), (6, False)])
def test_a_number_is_told_by_what_it_does_where_each_of_its_bits_matters(value: int, same: bool) -> None:
    """The pipe sounds at 2, and is on the bus with the word's own number at 3; 0 is idle."""
    number = ("field stop 3 bits, idle 0\n", "SOUNDS = stop")
    text = ORGAN.replace("FIELD", number[0]).replace("REST", "5").replace("SOUNDS", "go or stop is 2").replace(
        "home", "    driven by drum when stop is 3\nhome")
    other = ORGAN.replace("FIELD", "field pipe_on 1 bit\nfield drum_on 1 bit\n").replace("REST", "6").replace(
        "SOUNDS", "go or pipe_on").replace("home", "    driven by drum when drum_on\nhome")
    rest = {1: Word("second", {}), 2: Word("third", {"go": 1, "target": 0})}
    old = burned(resolved(text), {0: Word("fetch", {"stop": value}), **rest})
    new = burned(resolved(other), {0: Word("fetch", {"pipe_on": int(value == 2), "drum_on": int(value == 3)}), **rest})
    assert (moved(compared(old, new)) == {}) == same == (moved(compared(new, old)) == {})


DRIVING = LATHE[0] + """\
bus dial 3 bits, floats
    driven by turns when clamp
    sampled by pointer when clamp
""", LATHE[1]


def test_a_field_that_drives_a_bus_and_has_another_name_is_told_once() -> None:
    assert said(DRIVING, renamed(DRIVING, "turns", "speed")) == (
        "field `turns` is now `speed`: it lies in the same bits",)
    other = DRIVING[0].replace("driven by turns", "driven by knob"), DRIVING[1]
    assert said(other, renamed(other, "knob", "wheel")) == ("part `knob` is now `wheel`",)
