"""What is done at a place: what whole words say, fields that say a place as well, what is known of return addresses."""

import pytest

from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import Texts, after, compared, edited, moved, unit
from tests.compare.test_joint import GIG, SHOWN
from tests.compare.test_two_stores import NANO, OTHER
from tests.compare.test_what_is_known import LOADED

# ---------------------------------------------------------------- two stores, in another order than their names have

TURNED: Texts = edited(NANO, ("store control 16", "store words 16"))


@pytest.mark.parametrize(("edits", "told"), [
    ((), []), (OTHER, []), ((("        row 3, lamp", "        row 3"),), ["lamp: 1 -> 0"]),
    ((("second in rows at 2\n        drum", "second in rows at 2\n        bell"),), ["bell: 0 -> 1", "drum: 1 -> 0"]),
])
def test_each_store_is_read_by_its_own_fields(edits: tuple[tuple[str, str], ...], told: list[str]) -> None:
    found = after(TURNED, *edits)
    assert moved(found) == (dict.fromkeys(("reset", "play"), "changed") if told else {})
    if told:
        first = unit(found, "play").difference
        assert first is not None and [str(change) for change in first.changes if "`" not in str(change)] == told


# ---------------------------------------------------------------- fields that say a place, and something else

TENDER = """\
machine tender
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field to   4 bitsHOLDSSENSE
field ring 1 bit
field hum  1 bit
spare 1 bit
field last 1 bit
state upc 4 bits, reset 0
    next to
memory chest 16 words of 1 bit
    address WHERE
    writes 0b1 when ring
bus rope 1 bit, pulled low
    driven by drum when WHEN
home upc is 0
"""


def tender(second: int, where: str = "to", when: str = "hum", sense: str = "", last: int = 0,
           holds: str = " address") -> Contents:
    """The first word goes to the second, of which there are three copies. `second`: which of them."""
    text = TENDER.replace("WHERE", where).replace("WHEN", when).replace("SENSE", sense).replace("HOLDS", holds)
    back = Word("back", {"to": 0})
    return burned(resolved(text), {0: Word("start", {"ring": 1, "to": second, "last": last}),
                                   8: back, 9: back, 10: back})


@pytest.mark.parametrize("holds", [" address", ""])
@pytest.mark.parametrize("sense", ["", ", active low"])
@pytest.mark.parametrize("where", ["to", "control.word[7:4]"])
def test_a_field_that_says_a_place_counts_where_something_else_reads_it(where: str, sense: str, holds: str) -> None:
    """The copies do the same; which of them it is says where the memory is written. So with a field of numbers."""
    for second in (8, 9, 10):
        assert (moved(compared(tender(8, "0b0011", sense=sense, holds=holds),
                               tender(second, "0b0011", sense=sense, holds=holds)))) == {}
        told = moved(compared(tender(8, where, sense=sense, holds=holds),
                              tender(second, where, sense=sense, holds=holds)))
        assert told == ({} if second == 8 else dict.fromkeys(("reset", "start"), "changed"))


def test_the_whole_word_says_what_its_fields_say() -> None:
    """The lowest bit, and one in the middle of it; of the other bits nothing hangs on it."""
    for last in (0, 1):
        for when, same in (("control.word[0]", True), ("last", True), ("not control.word[0]", False)):
            told = moved(compared(tender(8, when="last", last=last), tender(8, when=when, last=last)))
            assert (told == {}) == same, (last, when)
    for second, same in ((8, True), (9, False), (10, True)):
        old, new = (tender(at, "0b0011", when="control.word[4]") for at in (8, second))
        assert (moved(compared(old, new)) == {}) == same


# ---------------------------------------------------------------- what is known of what a cycle does


def test_a_return_address_that_is_shown_is_known_where_it_was_set_on_the_way() -> None:
    """Some other word is another, so that what is not known would be unlike."""
    def called(spare: int, behind: int) -> Contents:
        return burned(resolved(SHOWN), {0: Word("home", {"flow": "near", "target": behind}),
                                        behind: Word("shows", {"up": 1}), 9: Word("spare", {"up": spare})})

    assert moved(compared(called(0, 4), called(1, 4))) == {} == moved(compared(called(0, 4), called(1, 5)))


def test_what_a_register_becomes_is_said_of_what_it_was() -> None:
    """After `dry` the level is 0, and as both words leave it alone nothing is done otherwise before the third, where
    only one of the two asks."""
    words = edited(LOADED, ("        dry, drown\n", "        dry\n        open\n"))
    first = unit(after(words, ("        branch wet, target other\n", "        branch jump, target other\n")),
                 "start").difference
    assert first is not None and (first.cycle, [str(change) for change in first.changes]) == (
        3, ["branch: wet -> jump"])


# ---------------------------------------------------------------- a field that no order set, which drives something


def test_an_open_field_that_drives_something_is_not_open_to_the_bus() -> None:
    """`shade` drives nothing, `cask` does: there it matters what stands in the chips."""
    loose = edited((GIG, ""), ("field down 1 bit\nspare 2 bits", "field down 1 bit, idle any\n"
                               "field shade 1 bit, idle any\nspare 1 bit"))[0]

    def left(**first: int) -> Contents:
        return burned(resolved(loose), {0: Word("home", {"target": 0, **first}, open=("down", "shade"))})

    assert moved(compared(left(), left(shade=1))) == {}
    assert moved(compared(left(), left(down=1))) == {"reset": "changed", "home": "changed"}


def test_what_a_field_says_is_not_told_a_second_time_by_what_it_brings_about() -> None:
    """At night the drum is silent; that it hums is said by the field."""
    text = edited((GIG, ""), ("driven by drum when up", "driven by drum when up and not night"),
                  ("bus rope", "input night 1 bit\nbus rope"))[0]

    def lit(**home: int) -> Contents:
        return burned(resolved(text), {0: Word("home", {"target": 0, **home})})

    first = unit(compared(lit(), lit(up=1)), "home").difference
    assert first is not None and [str(change) for change in first.changes] == ["up: 0 -> 1"]


# ---------------------------------------------------------------- a strobe that is called as what it shows

RATCHET = """\
machine ratchet
microprogram "m.micro"
store control 8 words of 4 bits
    address {fast, slow, lit}
    step    {fast, slow, lit}
field lamp 1 bit
spare 3 bits
state fast 1 bit, reset 0
    next FAST
state slow 1 bit, reset 0
    next SLOW
state lit 1 bit, reset 0
    next 0
STROBE
home {fast, slow} is 0
"""


@pytest.mark.parametrize(("strobe", "same"), [
    ("", True), ("strobe slow", False), ("strobe tick\nsignal tick = slow", False), ("strobe lit", True)])
def test_a_strobe_that_is_a_line_of_the_step(strobe: str, same: bool) -> None:
    """The second word has moved from one line to the other: it does the same, and the line says when it acts."""
    old, new = (burned(resolved(RATCHET.replace("STROBE", strobe).replace("FAST", fast).replace("SLOW", slow)),
                       {0: Word("first", {}), second: Word("second", {"lamp": 1})})
                for fast, slow, second in (("0", "not slow", 2), ("not fast", "0", 4)))
    for one, two in ((old, new), (new, old)):
        assert moved(compared(one, two)) == ({} if same else {"reset": "changed", "first": "changed"})
