"""What an allowance takes out of a question, and that it takes out no more: every finding that it is not about is told
as it would be without, once."""

import pytest

from ordain.checks.run import Selection, prove, static_pass
from ordain.control.system import build_system
from ordain.prover.decide import decide
from tests.checks.reports import findings_named, outcomes, report
from tests.checks.test_vacuous import HALTS, POST
from tests.checks.test_wording import crane
from tests.planted.plant import Sound
from tests.workshop import contents_of

MACHINE = """\
machine yard "a yard with five cranes on one rail"
microprogram "m.micro"
store control 16 words of 9 bits
    address upc
field a    1 bit
field b    1 bit
field c    1 bit
field d    1 bit
field e    1 bit
field take 1 bit
field wind 1 bit
field beat 1 bit
field last 1 bit
state upc 4 bits, reset 0
    next 0 if last else upc + 1
register x 1 bit
    loads rail when take
    loads x when wind
register y 1 bit
    loads rail when take
    loads not y when wind
register z 1 bit
    loads rail when take
    loads y when wind
bus rail 1 bit, floats, turnaround 1
    driven by one   = x when a
    driven by two   = x when b
    driven by three = x when c
    driven by four  = x when d
    driven by five  = x when e
    sampled by eye when take
strobe beat
    rail steady 1 cycle before, 1 cycle after
exclusive a, b, c, d
keep x, y, z while e and wind
"""


def yard(words: str, *allowances: str, machine: str = MACHINE) -> Sound:
    return Sound(machine + "".join(f'allow {allowance} "known"\n' for allowance in allowances),
                 "routine day at 0\n" + "".join(f"        {word}\n" for word in words.split(" / ")))


def told(check: str, sound: Sound) -> list[str]:
    return [finding.message for finding in report(sound, Selection(frozenset((check,)))).findings
            if finding.name == check]


@pytest.mark.parametrize(("check", "words", "name", "fewer", "left"), [
    ("contention", "a, b / take 0 / c, d / take 0 / a, e / last", "five", "`five`", 2),
    ("contention", "a, b, c, d / last", "three", "`three`", 3),
    ("turnaround", "a / b / c / take 0 / last", "one", "`one`", 1),
    ("turnaround", "a / b / c / a / take 0 / last", "two", "`two`", 1),
    ("floating", "take / last", "y", "`y`", 3),
    ("lost-state", "e, wind / last", "x", "`x`", 2),
    ("conflicting-enables", "a, b, c, d / last", "a", "`a`", 3),
])
def test_a_part_is_excused_and_each_of_the_others_told_once(check: str, words: str, name: str, fewer: str,
                                                            left: int) -> None:
    without = told(check, yard(words))
    expected = [message for message in without if fewer not in message]
    assert len(expected) == left < len(without) == len(set(without))
    assert sorted(told(check, yard(words, f"{check} on {name}"))) == sorted(expected)
    assert told(check, yard(words, check)) == []


@pytest.mark.parametrize(("check", "words", "name"), [
    ("contention", "a, b / last", "eye"),               # takes from that bus, and drives nothing
    ("missing-hold", "a / a, take, wind, beat / a / last", "one"),
    ("double-load", "a, wind, take / last", "rail"),
    ("turnaround", "a / b / last", "control"),
    ("stuck", "a / last", "upc"),
])
def test_an_allowance_of_what_is_no_part_of_the_question_excuses_nothing(check: str, words: str, name: str) -> None:
    home = "home upc is 9\n"
    found = report(yard(words, f"{check} on {name}", machine=MACHINE + home), Selection(frozenset((check,))))
    assert {row.outcome for row in found.rows} >= {"broken"}
    assert len(found.rows) == len(report(yard(words, machine=MACHINE + home), Selection(frozenset((check,)))).rows)
    assert told(check, yard(words, f"{check} on {name}", machine=MACHINE + home)) == \
        told(check, yard(words, machine=MACHINE + home))
    assert [one.needed for one in found.allowances] == [False]


def test_a_place_is_that_of_a_label_or_all_of_a_routine() -> None:
    """They fight at the first and at the third word of the routine."""
    words = "first: a, b / take 0 / third: a, b / last"
    for place, at in (("day.first", ["(0x2)"]), ("day.third", ["(0x0)"]), ("day", [])):
        found = told("contention", yard(words, f"contention at {place}"))
        assert [message.split()[-4].rstrip(":") for message in found] == at
    assert told("contention", yard(words, "contention at day.first", "contention on two at day.third")) == []
    assert len(told("contention", yard(words, "contention at day.first", "contention on one at day.first"))) == 1


def test_what_no_longer_happens_is_told_with_its_place() -> None:
    found = report(yard("first: a / take 0 / b / last", "contention at day.first", "contention"))
    assert [(finding.message, finding.label) for finding in findings_named("stale-allowance", found)] == [
        ("this allowance of `contention` allows nothing: nothing of the kind happens at `day.first`", "not needed"),
        ("this allowance of `contention` allows nothing: nothing of the kind happens", "not needed")]


TWO = """\
machine bells "two drums that strike beside each other"
microprogram "m.micro"
store hours 4 words of 3 bits
    address hour
field tick 1 bit
field tone 2 bits
    low  0 idle
    high 1
store quarters 4 words of 2 bits
    address quarter
field tock 2 bits
    rest 0 idle
    ring 1
state hour 2 bits, reset 0
    next 0 if tick else hour + 1
state quarter 2 bits, reset 0
    next 0
"""
STRIKES = """\
routine strike in hours at 0
  one:   tone high
  two:   tick
  three: tick, tone high
routine chime in quarters at 0
  one:   tock ring
  two:   tock ring
  three: tock ring
"""


@pytest.mark.parametrize(("allowance", "left", "needed"), [
    ("", ["tone one", "tone three", "tock one", "tock three"], []),
    ("undefined-code", [], [True]),
    ("undefined-code on tone", ["tock one", "tock three"], [True]),
    ("undefined-code on tone at strike.one", ["tone three", "tock one", "tock three"], [True]),
    ("undefined-code on tone at chime.one", ["tone one", "tone three", "tock one", "tock three"], [False]),
    ("undefined-code on tone at strike.two", ["tone one", "tone three", "tock one", "tock three"], [False]),
    ("undefined-code at chime", ["tone one", "tone three"], [True]),
    ("undefined-code on tick", ["tone one", "tone three", "tock one", "tock three"], [False]),
    ("unreachable", ["tone one", "tone three", "tock one", "tock three"], [True]),
])
def test_codes_that_are_allowed_in_a_field_and_at_a_place_of_its_store(allowance: str, left: list[str],
                                                                       needed: list[bool]) -> None:
    """The chips hold other codes than were meant, in the first and in the third word of either store."""
    meant = contents_of(TWO + f'allow {allowance} "old chips"\n' * bool(allowance), STRIKES)
    contents = meant._replace(words={"hours": (2, *meant.words["hours"][1:2], 7, 0), "quarters": (3, 1, 2, 0)})
    system = build_system(contents)
    found = prove(contents, lambda asked: decide(system, asked))
    assert [f"{field} {label}" for finding in findings_named("undefined-code", found)
            for field in ("tone", "tock") if f"`{field}`" in finding.message
            for label in ("one", "two", "three") if f".{label}`" in finding.message] == left
    assert [one.needed for one in found.allowances] == needed


@pytest.mark.parametrize(("allowance", "left", "needed"), [
    ("", ["strike.three", "chime.two"], []),
    ("unreachable", [], [True]),
    ("unreachable at strike.three", ["chime.two"], [True]),
    ("unreachable at chime.three", ["strike.three", "chime.two"], [True]),      # the word after the other one
    ("unreachable at chime", ["strike.three"], [True]),
    ("unreachable at chime.one", ["strike.three", "chime.two"], [False]),
    ("unreachable on tone", ["strike.three", "chime.two"], [False]),            # such words are of no part
    ("undefined-code", ["strike.three", "chime.two"], [False]),
])
def test_idle_words_that_are_allowed_at_a_place_of_their_store(allowance: str, left: list[str],
                                                               needed: list[bool]) -> None:
    found = report(Sound(TWO + f'allow {allowance} "for the winter"\n' * bool(allowance), STRIKES))
    assert [name for finding in findings_named("unreachable", found)
            for name in ("strike.one", "strike.two", "strike.three", "chime.one", "chime.two", "chime.three")
            if f"`{name}`" in finding.message] == left
    assert [one.needed for one in found.allowances] == needed


@pytest.mark.parametrize(("ways", "needed"), [("", True), ("target office", False)])
def test_to_be_stuck_is_allowed_anywhere(ways: str, needed: bool) -> None:
    """From neither the door nor the cellar a way leads back, but where both lead to the desk."""
    micro = POST.replace("target door", ways or "target door").replace("target cellar", ways or "target cellar")
    found = report(Sound(HALTS + 'allow stuck "closed"\n', micro), Selection(frozenset(("stuck",))))
    assert outcomes(found)["stuck home"] == ("allowed" if needed else "proved")
    assert [finding.name for finding in found.findings] == ([] if needed else ["stale-allowance"])
    assert [one.needed for one in found.allowances] == [needed]


@pytest.mark.parametrize(("words", "needed"), [("a, b / last", True), ("c, d / last", True), ("a, d / last", False)])
def test_an_allowance_is_needed_where_one_of_its_questions_needs_it(words: str, needed: bool) -> None:
    """Of two buses the one is driven with `a` and `b`, the other with `c` and `d`."""
    first, _, rest = MACHINE.partition("    driven by three ")
    machine = first + "bus road 1 bit, floats\n    driven by three " + rest.replace("rail steady", "road steady")
    found = report(yard(words, "contention", machine=machine), Selection(frozenset(("contention",))))
    assert [one.needed for one in found.allowances] == [needed]
    assert sorted(row.outcome for row in found.rows) == (["allowed", "proved"] if needed else ["proved"] * 2)


@pytest.mark.parametrize(("allowance", "told"), [
    ("contention on three", ["`one` and `two`"]), ("contention", []), ("contention on one", []),
    ("contention on rail", []), ("contention at day.first", []), ("contention at day.later", ["`one` and `two`"]),
    ("floating", ["`one` and `two`"])])
def test_what_is_allowed_is_not_told_before_the_search_either(allowance: str, told: list[str]) -> None:
    found = static_pass(contents_of(*yard("first: a, b / later: take 0 / last", allowance)))
    assert [finding.message.split(": ")[1] for finding in found if finding.name == "contention"] == told


@pytest.mark.parametrize(("allowance", "told"), [
    ("contention on five", {"contention"}), ("contention on two", {"contention", "missing-hold"}),
    ("floating", {"contention"})])
def test_a_hold_is_missing_for_a_fight_or_for_itself(allowance: str, told: set[str]) -> None:
    """While two of the cranes fight, the rail is not steady: told as the fight where that is not allowed, whatever is
    allowed to the other ones."""
    found = report(yard("a, b / a, b, beat / a, b / a, e / last", allowance))
    assert {finding.name for finding in found.findings} & {"contention", "missing-hold", "stale-allowance"} == told | (
        {"stale-allowance"} if allowance == "floating" else set())


@pytest.mark.parametrize(("words", "needed"), [(["lift"], False), (["last", "lift"], True)])
def test_rows_of_a_mapping_store_are_no_words_to_be_executed(words: list[str], needed: bool) -> None:
    sound = crane(*words)
    machine = sound.machine.replace("store control", "store scale 4 words of 2 bits\n    address arm\nstore control")
    found = report(Sound(machine + 'allow unreachable "later"\n', sound.micro + "map scale\n        others: main\n"))
    assert [one.needed for one in found.allowances] == [needed]
    assert bool(findings_named("stale-allowance", found)) == (not needed)
