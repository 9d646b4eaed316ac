"""What is demanded, and what is promised and allowed: what counts as the same demand, and which label it speaks of."""

import pytest

from ordain.compare.correspondence import correspond
from ordain.compare.declared import Demands, demands
from ordain.meaning.strength import other_meanings
from tests.compare.judged import Texts, edited
from tests.compare.test_correspondence import LATHE, renamed
from tests.compare.test_declarations import LOCK
from tests.workshop import contents_of


def demanded(old: Texts, new: Texts) -> Demands:
    before, after = contents_of(*old), contents_of(*new)
    return demands(before, after, correspond(before, after), other_meanings)


# `full` is an input and a label as well; only what is spoken of as a place is meant.
LABELLED = edited(LOCK, ("        source depth, count 1\n        shut, tells, goto start",
                         "  full: source depth, count 1\n        shut, tells, goto start"))
ELSEWHERE = edited(LABELLED, ("  full: source depth, count 1\n        shut, tells, goto start",
                              "        source depth, count 1\n  full: shut, tells, goto start"))


@pytest.mark.parametrize(("line", "told"), [
    ("", False), ('rule "never there" never fill and at full\n', True),
    ('rule "never then" never fill and full and open and shut\n', False),
    ('rule "never here" never fill and in start\n', False),
    ('allow race at full "slow valves"\n', True), ('allow race at start "slow valves"\n', False),
    ('allow race on full "slow valves"\n', False)])
def test_a_label_that_names_another_word_is_remarked_where_it_is_spoken_of(line: str, told: bool) -> None:
    order = "order idle :\n"
    old, new = (edited(each, (order, line + order)) for each in (LABELLED, ELSEWHERE))
    said = ("label `full` stands at another word than before: what names it speaks of another place",)
    assert demanded(old, new).remarks == demanded(new, old).remarks == (said if told else ())
    assert demanded(old, old).remarks == ()


@pytest.mark.parametrize(("edit", "kinds"), [
    (("exclusive open, fill", "exclusive open, fill_"), []),            # the same line in other words
    (("exclusive open, fill", "exclusive fill_, open"), []),
    (("exclusive open, fill", "exclusive open, fill, shut"), ["stronger"]),
    (("exclusive open, fill", "exclusive open, shut"), None),           # another demand, and none for the old one
    (("never open and shut and moving", "never shut and moving and open"), []),
    (("never open and shut and moving", "never open and shut"), []),    # `moving` is either
    (("never open and shut and moving", "never open and shut and full"), ["weaker"]),
    (("never open and shut and moving", "never open"), ["stronger"])])
def test_one_demand_in_other_words(edit: tuple[str, str], kinds: list[str] | None) -> None:
    old = edited(LOCK, ("signal gate = open", "signal gate = open\nsignal fill_ = not (not fill or fill and not fill)"))
    found = demanded(old, edited(old, edit))
    met = {key for key in found.met if key[0] in ("never", "conflicting-enables")}
    assert met == {*[("never", "one gate")] * (kinds != ["weaker"]),
                   *[("conflicting-enables", "open, fill")] * (kinds is not None)}
    assert [one.kind for one in found.redefined] == [kind for kind in kinds or () if "exclusive" not in edit[0]]


ONCE = "    bed steady 1 cycle before\n"
TWICE = f"{ONCE}    bed steady 2 cycles before, 1 cycle after\n"


@pytest.mark.parametrize(("was", "now", "kinds"), [
    (ONCE, ONCE, {}), (TWICE, TWICE, {}),
    (TWICE, "    bed steady 2 cycles before, 1 cycle after\n    bed steady 1 cycle before\n", {}),
    (ONCE, TWICE, {"before": "stronger", "after": "stronger"}), (TWICE, ONCE, {"before": "weaker", "after": "weaker"}),
    (TWICE, "    bed steady 2 cycles before\n    bed steady 1 cycle before, 1 cycle after\n", {}),
    (TWICE, "    bed steady 3 cycles before\n    bed steady 1 cycle before, 1 cycle after\n", {"before": "stronger"})])
def test_demands_of_one_title_are_held_against_each_other_as_a_whole(was: str, now: str, kinds: dict[str, str]) -> None:
    """A strobe may say twice how long a bus stands still; the two share a row."""
    found = demanded(*(edited(LATHE, (ONCE, lines)) for lines in (was, now))).redefined
    assert [(one.check, one.subject, one.kind) for one in found] == [
        ("missing-hold", f"bed {part} cut", kind) for part, kind in kinds.items()]


def test_what_two_lines_of_one_title_demand_less_is_told_once() -> None:
    old = edited(LATHE, ("home upc", "signal meets = cool\nexclusive meets, clamp\nexclusive meets, clamp\nhome upc"))
    assert demanded(old, old).redefined == ()
    found = demanded(old, edited(old, ("meets = cool", "meets = cool and stop"))).redefined
    assert [(one.check, one.subject, one.kind) for one in found] == [("conflicting-enables", "meets, clamp", "weaker")]


def test_what_is_demanded_of_a_number_with_more_bits_is_not_shown_to_be_as_much() -> None:
    """Nothing says that the line above was down."""
    old = edited(LATHE, ("home upc", 'rule "slow there" never turns is 5 and stop\nhome upc'))
    new = edited(old, ("field turns 3 bits, idle 0\nspare 3 bits", "field turns 4 bits, idle 0\nspare 2 bits"))
    assert [(one.kind, one.subject) for one in demanded(old, new).redefined] == [("weaker", "slow there")]
    assert demanded(old, old).redefined == demanded(new, new).redefined == ()


@pytest.mark.parametrize("field", ["feed is slow", "turns is 5"])
def test_what_is_demanded_of_a_field_that_has_another_name_is_the_same(field: str) -> None:
    old = edited(LATHE, ("home upc", f'rule "slow there" never {field} and stop\nhome upc'))
    new = renamed(old, field.split()[0], "other")
    for one, two in ((old, new), (new, old)):
        assert demanded(one, two).redefined == () and ("never", "slow there") in demanded(one, two).met


def test_what_is_demanded_of_a_code_that_is_gone_nothing_stands_for() -> None:
    """Its number is another code's, and so never its own: that would be demanding nothing."""
    note = "field note 2 bits\n    none 0 idle\n    bell 1\n    horn 2\n"
    old = edited(LATHE, ("spare 3 bits", f"{note}spare 1 bit"),
                 ("home upc", 'rule "silent" never note is horn and stop\nhome upc'))
    new = edited(old, ("    bell 1\n    horn 2\n", "    bell 2\n"), ("note is horn", "note is bell"))
    assert [(one.kind, one.subject) for one in demanded(old, new).redefined] == [("weaker", "silent")]


STEADY = "driven by depth when source is depth, steady while not loads"


@pytest.mark.parametrize(("edit", "promised"), [
    ((", steady while not loads", ""), []),                                             # less is promised
    ((STEADY, STEADY.replace("not loads", "not (loads and not loads)")), ["depth on water"]),
    ((STEADY, STEADY.replace("not loads", "not loads and not tells")), []),
    ((STEADY, STEADY.replace("not loads", "loads is 0")), []),                          # in other words
    (("when source is level\n", "when source is level, steady while loads\n"), ["level on water"]),
    # a driver that was not there promised nothing
    (("    driven by mark", "    driven by peg when open and tells, steady while loads\n    driven by mark"), []),
    (("full and dial is fast)\n", "full and dial is fast)\nassume not (wet and full)\n"), ["not (wet and full)"]),
    (("full and dial is fast)\n", "full and dial is fast)\nassume not (wet and full and dial is fast)\n"), []),
    (("not (full and dial is fast)", "not full"), ["not full"]),
    (("not (full and dial is fast)", "not full or not (dial is fast)"), []),
    (("not (full and dial is fast)", "not (full and dial is fast and wet)"), [])])
def test_what_is_promised_in_addition(edit: tuple[str, str], promised: list[str]) -> None:
    new = edited(LOCK, edit)
    assert [one.subject for one in demanded(LOCK, new).redefined if one.kind == "promised"] == promised
    assert {one.kind for one in demanded(LOCK, new).redefined} <= {"promised"}


@pytest.mark.parametrize(("edit", "redefined", "unmet"), [
    (("always reach mode is low", "reach mode is low"), [], {("always-reach", "it comes down")}),
    (('"it rises"      reach', '"it rises"      always reach'), [], {("reach", "it rises")}),
    (("always reach mode is low", "always reach mode is low and full"), [("stronger", "always-reach")], set()),
    (("always reach mode is low", "always reach mode in (low, high)"), [("weaker", "always-reach")],
     {("always-reach", "it comes down")}),
    (("      reach mode is high", "      reach mode in (rising, high)"), [("weaker", "reach")],
     {("reach", "it rises")}),
    (('"it comes down" always', '"it falls" always'), [], set()),
    (("home      start", "home      at start and full"), [("stronger", "stuck")], set()),
    (("home      start", "home      at start or full"), [("weaker", "stuck")], {("stuck", "home")})])
def test_what_is_to_be_reached(edit: tuple[str, str], redefined: list[tuple[str, str]],
                               unmet: set[tuple[str, str]]) -> None:
    found = demanded(LOCK, edited(LOCK, edit))
    assert [(one.kind, one.check) for one in found.redefined] == redefined
    assert demanded(LOCK, LOCK).met.keys() - found.met.keys() == unmet
    assert all(key == answer for key, answer in demanded(LOCK, LOCK).met.items())
