"""How a condition is named, and what is said of one thing that a cycle does otherwise: by hand. And which of several
words that stand side by side is told."""

from collections.abc import Mapping

import pytest

from ordain.compare.difference import Assignment, Change, named
from ordain.logic.diagrams import Functions
from ordain.machine.expression import Leaf, Node, Terms
from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import Texts, between, compared, edited, unit
from tests.compare.test_correspondence import LATHE, renamed
from tests.compare.test_how_it_is_told import hoist
from tests.compare.test_two_stores import NANO
from tests.workshop import contents_of

MACHINE = contents_of(*hoist(
    ("input dial 3 bits, stop 1 bit", "input dial 3 bits, stop 1 bit, lane 5 bits\ninput wind (north, east, south)\n"
     "input gear (first, second, third, fourth, back)"),
    ("state upc 4", "state mood (calm, wild, torn, mild), reset calm\n    next mood\nstate upc 4"))).machine


@pytest.mark.parametrize(("bits", "said"), [
    ({("stop", 0): 1}, ["stop"]), ({("stop", 0): 0}, ["not stop"]),
    ({("dial", 0): 1, ("dial", 1): 0, ("dial", 2): 1}, ["dial is 5"]),
    ({("dial", 2): 1, ("dial", 1): 0}, ["dial[2:1] is 2"]), ({("dial", 1): 1, ("dial", 0): 0}, ["dial[1:0] is 2"]),
    ({("dial", 1): 1}, ["dial[1] is 1"]), ({("dial", 2): 0, ("dial", 0): 1}, ["dial[0] is 1", "dial[2] is 0"]),
    ({("wind", 0): 0, ("wind", 1): 1}, ["wind is south"]), ({("wind", 0): 1, ("wind", 1): 1}, ["wind is 3"]),
    ({("wind", 1): 1}, ["wind[1] is 1"]), ({("mood", 0): 1, ("mood", 1): 1}, ["mood is mild"]),
    ({("mood", 0): 0, ("mood", 1): 0}, ["mood is calm"]), ({("op", 0): 0, ("op", 1): 1}, ["op is 2"]),
    ({("stop", 0): 1, ("dial", 0): 0, ("op", 1): 1}, ["dial[0] is 0", "op[1] is 1", "stop"]),
    ({("gear", 1): 1}, ["gear[1] is 1"]), ({("gear", 2): 1, ("gear", 1): 0, ("gear", 0): 0}, ["gear is back"]),
    ({("lane", 4): 1, ("lane", 2): 1, ("lane", 1): 0, ("lane", 0): 1}, ["lane[2:0] is 5", "lane[4] is 1"]),
])
def test_the_levels_of_lines_as_people_name_them(bits: dict[tuple[str, int], int], said: list[str]) -> None:
    terms = Terms()
    made: dict[str, Node] = {"dial": terms.leaf("input", "dial", 3), "stop": terms.leaf("input", "stop", 1),
                             "wind": terms.leaf("input", "wind", 2), "mood": terms.leaf("state", "mood", 2),
                             "op": terms.leaf("register", "op", 2), "lane": terms.leaf("input", "lane", 5),
                             "gear": terms.leaf("input", "gear", 3)}
    functions = Functions([leaf for leaf in made.values() if type(leaf) is Leaf])
    lines = [terms.slice(made[name], bit, bit) for name, bit in bits]
    guard = functions.condition(terms.and_([line if level else terms.not_(line)
                                            for line, level in zip(lines, bits.values())]))
    found = named(functions, MACHINE, guard)
    assert [str(one) for one in found] == said
    assert all(one.code == "" for one in found if one.high - one.low + 1 < one.width)


@pytest.mark.parametrize(("one", "said"), [
    (Assignment("stop", 1, 0, 0, 1, ""), "stop"), (Assignment("stop", 1, 0, 0, 0, ""), "not stop"),
    (Assignment("dial", 3, 2, 0, 5, ""), "dial is 5"), (Assignment("dial", 3, 2, 1, 1, ""), "dial[2:1] is 1"),
    (Assignment("dial", 3, 1, 1, 0, ""), "dial[1] is 0"), (Assignment("mood", 2, 1, 0, 0, "calm"), "mood is calm")])
def test_one_condition(one: Assignment, said: str) -> None:
    assert str(one) == said


@pytest.mark.parametrize(("one", "said"), [
    (Change("feed", "slow", "quick"), "feed: slow -> quick"), (Change("feed", "", "quick"), "feed: nothing -> quick"),
    (Change("feed", "slow", ""), "feed: slow -> nothing"), (Change("what `a` loads", "", ""), "what `a` loads")])
def test_one_change(one: Change, said: str) -> None:
    assert str(one) == said


def test_a_name_that_two_kinds_of_things_have_is_that_of_its_kind() -> None:
    """What is made up for a thing, such as what a memory shows, may be called as a state or an input is."""
    terms = Terms()
    for name in ("wind", "mood"):
        leaf = terms.leaf("free", name, 2)
        assert type(leaf) is Leaf
        functions = Functions([leaf])
        guard = functions.condition(terms.among(leaf, frozenset((1,))))
        assert [str(one) for one in named(functions, MACHINE, guard)] == [f"{name} is 1"]


def test_what_is_too_large_to_be_taken_apart_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """It has no name; what must hold beside it is told. So it is with what the cycle before said."""
    monkeypatch.setattr("ordain.logic.diagrams.LARGEST", 10)
    terms = Terms()
    left, right, dial, stop = (terms.leaf("input", name, width) for name, width in (
        ("left", 8), ("right", 8), ("dial", 3), ("stop", 1)))
    functions = Functions([leaf for leaf in (left, right, dial, stop) if type(leaf) is Leaf])
    for whole in (terms.equal(terms.add(left, right), terms.const(77, 8)), terms.prior(stop)):
        guard = functions.both(functions.condition(whole), functions.condition(stop))
        assert [str(one) for one in named(functions, MACHINE, guard)] == ["stop"]


# ---------------------------------------------------------------- words side by side

FERRY = """machine ferry
store control 16 words of 8 bits
    address {upc, stop}
field target 3 bits, idle 0
field up 1 bit
field down 1 bit
spare 3 bits
state upc 3 bits, reset 0
    next target
input stop 1 bit
home upc is 0
"""


def ferry(left: Word, right: Word, start: Mapping[int, Word | None] | None = None) -> Contents:
    """In its second cycle one of two words acts, as the line says. `start`: what is placed at 0 and 1."""
    words = {0: START, 1: START, 2: left, 3: right, **(start or {})}
    return burned(resolved(FERRY), {at: word for at, word in words.items() if word is not None})


START = Word("start", {"target": 1})
UP, DOWN, NOTHING = (Word("turn", fields) for fields in ({"up": 1}, {"down": 1}, {}))


@pytest.mark.parametrize(("was", "now", "one_of", "when", "changes"), [
    ((UP, DOWN), (UP, NOTHING), (3,), ["stop"], ["down: 1 -> 0"]),
    ((UP, DOWN), (NOTHING, DOWN), (2,), ["not stop"], ["up: 1 -> 0"]),
    ((UP, UP), (DOWN, DOWN), (2, 3), [], ["up: 1 -> 0", "down: 0 -> 1"]),     # whatever the line says
])
def test_the_word_that_differs_is_told_with_when_it_acts(was: tuple[Word, Word], now: tuple[Word, Word],
                                                         one_of: tuple[int, ...], when: list[str],
                                                         changes: list[str]) -> None:
    first = unit(compared(ferry(*was), ferry(*now)), "reset").difference
    assert first is not None and first.cycle == 2
    assert first.old == first.new and first.old in [(("control", address),) for address in one_of]
    assert [str(one) for one in first.when] == when and [str(one) for one in first.changes] == changes


def test_a_word_that_nobody_placed_says_what_stands_there() -> None:
    """No bit of it is left open, though the lowest one may be elsewhere. And of one that is nothing is told."""
    machine = resolved(FERRY.replace("spare 3 bits", "spare 2 bits\nfield lamp 1 bit, idle any"))
    start = Word("start", {"target": 1})

    def second(left: Word, unused: int, up: int) -> Contents:
        return burned(machine, {0: start, 1: start, 2: left}, unused={"lamp": unused, "up": up})

    first = unit(compared(second(UP, 0, 0), second(UP, 1, 1)), "reset").difference
    assert first is not None and first.old == (("control", 3),)
    assert [str(one) for one in first.changes] == ["up: 0 -> 1", "lamp: 0 -> 1"]
    dark, bright = (Word("turn", {"up": 1, "lamp": lamp}, open=("lamp",) if lamp else ()) for lamp in (0, 1))
    first = unit(compared(second(bright, 0, 0), second(Word("turn", {}, open=("lamp",)), 0, 0)), "reset").difference
    assert first is not None and [str(one) for one in first.changes] == ["up: 1 -> 0"]
    first = unit(compared(second(bright, 0, 0), second(dark, 0, 0)), "reset").difference
    assert first is not None and [str(one) for one in first.changes] == ["lamp: any -> 0"]


def test_a_field_that_only_one_machine_has_and_that_is_left_open() -> None:
    """Nothing is told of it."""
    machine = resolved(FERRY.replace("spare 3 bits", "spare 2 bits\nfield lamp 1 bit, idle any"))
    start = Word("start", {"target": 1}, open=("lamp",))
    new = burned(machine, {0: start, 1: start, 2: start, 3: Word("turn", {"up": 1}, open=("lamp",))})
    plain = Word("start", {"target": 1})
    first = unit(compared(burned(resolved(FERRY), {0: plain, 1: plain, 2: plain, 3: NOTHING}), new), "reset").difference
    assert first is not None and [str(one) for one in first.changes] == ["up: 0 -> 1"]


# ---------------------------------------------------------------- in the new machine's words

WINDS = "input dial 3 bits, stop 1 bit\ninput wind (north, east, south, west)"


def test_a_value_is_told_by_the_name_that_it_has_now() -> None:
    was = hoist(("input dial 3 bits, stop 1 bit", WINDS),
                ("test: target if dial in (0b101, 0b001, 0b100, 0b000)", "test: target if not wind is 1"))
    now = edited(was, ("east", "levant"), ("        down, branch jump", "        branch jump"))
    first = unit(between(was, now), "lower").difference
    assert first is not None and [str(one) for one in first.way[0].when] == ["wind is levant"]


def changes(old: Texts, new: Texts, title: str) -> list[str]:
    first = unit(between(old, new), title).difference
    assert first is not None
    return [str(change) for change in first.changes]


def test_where_a_row_stands_is_no_change_of_the_number_that_calls_it() -> None:
    """Whatever the number is called."""
    other = edited(NANO, ("        row 1\n", "        row 5\n"),
                   ("first in rows at 1\n        bell", "first in rows at 5\n        drum"))
    for new in (other, renamed(other, "row", "line")):
        for told in (changes(NANO, new, "play"), changes(new, NANO, "play")):
            assert [text.split(":")[0] for text in told if "`" not in text] == ["bell", "drum"]


def test_a_code_that_counts_by_what_it_does_is_no_change_by_itself() -> None:
    """`slow` has another name and number, and drives what it drove; the coolant beside it is what differs."""
    other = edited(renamed(LATHE, "slow", "gentle"), ("    gentle  1\n    quick 2", "    gentle  3\n    quick 2"),
                   ("start at 0\n        feed gentle", "start at 0\n        feed gentle, cool"))
    for old, new in ((LATHE, other), (other, LATHE)):
        told = changes(old, new, "start")
        assert told[0] in ("cool: 0 -> 1", "cool: 1 -> 0") and not any(text.startswith("feed") for text in told)


def test_a_code_that_only_one_side_has_is_not_the_one_that_is_0_there() -> None:
    """Nothing says what `horn` does; it is gone, and its number is a code that was called otherwise."""
    note = "field note 2 bits\n    none 0 idle\n    bell 1\n    horn 2\n"
    was = edited(LATHE, ("spare 3 bits", f"{note}spare 1 bit"),
                 ("start at 0\n        feed slow", "start at 0\n        note horn, feed slow"))
    now = edited(was, ("    bell 1\n    horn 2\n", "    bell 2\n"), ("note horn, ", ""))
    assert changes(was, now, "start") == ["note: horn -> none"]
    assert changes(now, was, "start") == ["note: none -> horn"]


# ---------------------------------------------------------------- what is done otherwise by the same codes


DRIVEN = "driven by drum when up"


@pytest.mark.parametrize(("was", "now", "told"), [
    ("up", "up and stop", "always -> at times"), ("up and stop", "up", "at times -> always"),
    ("up", "down", "always -> never"), ("down", "up", "never -> always"),
    ("down", "up and stop", "never -> at times"), ("up and stop", "up and not stop", "at times -> at other times"),
    ("up", "up or note is bell", ""),                                   # of a word that orders no bell
])
def test_how_often_something_is_done(was: str, now: str, told: str) -> None:
    old, new = (hoist((DRIVEN, f"driven by drum when {when}\n    sampled by gauge when {when}"),
                      ("home upc", f"strobe clang\nsignal clang = {when}\nhome upc")) for when in (was, now))
    if told:
        assert changes(old, new, "lift") == [f"{what}: {told}" for what in (
            "`drum` drives `rope`", "strobe `clang`", "`gauge` takes `rope`")]
    else:
        assert unit(between(old, new), "lift").status == "same"


def test_what_is_done_otherwise_and_has_no_often() -> None:
    """A value that is another says only which."""
    loads = ("loads rope when upc is 0", "loads rope when upc is 0 or up")
    assert changes(hoist(), hoist(loads), "lift") == ["what `op` loads"]
    old, new = (hoist((DRIVEN, f"driven by swap when up\nsignal swap = {lines}")) for lines in (
        "{dial[0], dial[1]}", "{dial[1], dial[0]}"))
    assert changes(old, new, "lift") == ["what `swap` puts on `rope`"]
