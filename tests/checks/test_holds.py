"""Pulses, holds and hand-overs on a bus, one letter a cycle: what a strobe needs before, during and after it, and how
long a bus lies still between two drivers. Counted by hand; the sequence begins anew when it is over."""

import random

import pytest

from ordain.checks import missing_hold, turnaround
from ordain.checks.run import Selection, static_pass
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from tests.checks.reports import broken_in, findings_named, outcomes, report
from tests.planted.plant import Sound
from tests.workshop import contents_of

MACHINE = """\
machine mangle "a mangle with two rollers"
microprogram "m.micro"
store control 16 words of 5 bits
    address upc
field press 1 bit
field steam 1 bit
field beat  1 bit
field wind  1 bit
field last  1 bit
state upc 4 bits, reset 0
    next 0 if last else upc + 1
register upper 2 bits, loads upper + 1 when wind
register lower 2 bits
bus cloth 2 bits, KIND
    driven by upper when press
    driven by lower when steam
strobe beat
    cloth steady NEED
"""

LETTERS = {".": "wind", "u": "press", "l": "steam", "U": "press, beat", "L": "steam, beat", "n": "beat",
           "w": "press, wind", "W": "press, wind, beat", "-": "press 0", "b": "press, steam"}
"""`u`pper or `l`ower roller drives, or `b`oth; in capitals while the strobe is active; `n`: the strobe alone.
`w`: the upper one changes at the end of the cycle."""


def mangle(letters: str, need: str = "0 cycles before, 0 cycles after", kind: str = "floats") -> Sound:
    words = "".join(f"        {LETTERS[letter]}\n" for letter in letters[:-1])
    return Sound(MACHINE.replace("NEED", need).replace("KIND", kind),
                 f"routine day at 0\n{words}        {LETTERS[letters[-1]]}, last\n")


@pytest.mark.parametrize(("before", "after", "letters", "broken"), [
    (0, 0, ".U.", ""), (0, 0, ".n.", "during"), (0, 0, ".UU.", ""), (0, 0, ".UL.", "during"), (0, 0, ".WU.", "during"),
    (1, 0, ".uU.", ""), (1, 0, ".U.", "before"), (1, 0, ".lU.", "before"), (1, 0, ".wU.", "before"),
    (1, 0, "U.", "before"), (1, 0, "uU.", ""),
    (2, 0, ".uuU.", ""), (2, 0, ".uU.", "before"), (2, 0, ".u.uU.", "before"), (2, 0, ".uluU.", "before"),
    (2, 0, "uU.", "before"), (2, 0, ".uuUU.", ""), (2, 0, ".uuUuU.", ""),
    (3, 0, ".uuuU.", ""), (3, 0, ".uuU.", "before"), (3, 0, ".uuwuU.", "before"), (3, 0, ".uuuuuU.", ""),
    (4, 0, ".uuuuU.", ""), (4, 0, ".uuuU.", "before"),
    (0, 1, ".Uu.", ""), (0, 1, ".U.", "after"), (0, 1, ".Ul.", "after"), (0, 1, ".Wu.", "after"), (0, 1, ".Uw.", ""),
    (0, 1, ".UUu.", ""), (0, 1, ".UuUu.", ""),
    (0, 2, ".Uuu.", ""), (0, 2, ".Uu.", "after"), (0, 2, ".Uw.", "after"), (0, 2, ".Uww.", "after"),
    (0, 2, ".UuUuu.", ""), (0, 2, ".UuL.", "after"), (0, 2, ".Uuw.", ""),
    (0, 3, ".Uuuu.", ""), (0, 3, ".Uuu.", "after"), (0, 4, ".Uuuuu.", ""), (0, 4, ".Uuuu.", "after"),
    (1, 1, ".uUu.", ""), (1, 1, ".uUuUu.", ""), (1, 1, ".U.", "before after"), (2, 2, ".uuUuu.", ""),
])
def test_what_a_strobe_needs(before: int, after: int, letters: str, broken: str) -> None:
    found = report(mangle(letters, f"{before} cycles before, {after} cycles after"),
                   Selection(frozenset(("missing-hold",))))
    said = {row.subject.split()[1] for row in found.rows if row.outcome == "broken"}
    assert said == set(broken.split()), outcomes(found)
    asked = {"during", *(["before"] if before else []), *(["after"] if after else [])}
    assert {row.subject.split()[1] for row in found.rows} == asked


@pytest.mark.parametrize(("kind", "letters", "broken"), [
    ("floats", ".n.", True), ("pulled high", ".n.", False), ("pulled high", "-U-", True),
    ("pulled high", "-uU-", False),
    ("pulled low", "-n-", False), ("pulled low", "-u-n-", False), ("pulled low", "-un-", True), ("kept", "-un-", False),
    ("kept", "-wn-", True), ("kept", "-u-n-", False), ("kept", "-w--n-", False), ("multiplexed", "-n-", True),
    ("wired and", ".uU.", False), ("wired and", "-n-", False), ("wired and", "-uL-", True), ("wired or", "-lL-", False),
])
def test_who_holds_the_level(kind: str, letters: str, broken: bool) -> None:
    """One cycle before: by pull resistors while nobody drives, by a keeper also when a driver left that did not change,
    on a wired bus by the same drivers; nothing holds a bus that floats."""
    found = report(mangle(letters, "1 cycle before, 0 cycles after", kind), Selection(frozenset(("missing-hold",))))
    assert ("broken" in outcomes(found).values()) == broken


@pytest.mark.parametrize(("turnaround", "letters", "broken"), [
    (1, "u.l.", False), (1, "ul.", True), (1, "u.u.", False), (1, "lu.", True), (1, "u.", False), (1, "u.l", True),
    (2, "u..l..", False), (2, "u.l..", True), (2, "u.u..l..", False), (2, "u..u.", False), (2, "u...l..", False),
    (3, "u...l...", False), (3, "u..l...", True), (3, "u...l..", True),
    (4, "u....l....", False), (4, "u...l....", True), (2, "..u.l..", True), (3, "u.u..l...", True),
])
def test_how_long_a_bus_lies_still(turnaround: int, letters: str, broken: bool) -> None:
    found = report(mangle(letters, kind=f"floats, turnaround {turnaround}"), Selection(frozenset(("turnaround",))))
    assert outcomes(found) == {"turnaround cloth": "broken" if broken else "proved"}


def test_how_a_hand_over_is_told() -> None:
    [finding] = findings_named("turnaround", report(mangle("u..l...", kind="floats, turnaround 3")))
    assert finding.message == ("bus `cloth` passes too quickly from `upper` to `lower` at `day+3` (0x3) (2 cycles "
                               "undriven, 3 cycles owed)")
    assert [place.label for place in finding.places] == ["`upper` drove `cloth` before", "`lower` drives `cloth` now"]
    assert finding.help == "leave `cloth` undriven for 3 cycles before `lower` takes it"


@pytest.mark.parametrize(("need", "letters", "message", "before"), [
    ("2 cycles before, 0 cycles after", ".uU.",
     "bus `cloth` is not steady for 2 cycles before strobe `beat` at `day+2` (0x2)", "`day+1` (0x1)"),
    ("0 cycles before, 0 cycles after", ".n.", "bus `cloth` is not steady during strobe `beat` at `day+1` (0x1)",
     "`day` (0x0)"),
    ("0 cycles before, 1 cycle after", ".Ul.",
     "bus `cloth` is not held for 1 cycle after strobe `beat`: it changes at `day+2` (0x2)", "`day+1` (0x1)"),
])
def test_how_a_missing_hold_is_told(need: str, letters: str, message: str, before: str) -> None:
    [finding] = findings_named("missing-hold", report(mangle(letters, need)))
    assert finding.message == message and finding.notes == (f"the cycle before is at {before}",)
    assert [place.label for place in finding.places] == ["`beat` needs `cloth` steady"]


Need = tuple[int, int]


def steady_into(letters: str, at: int) -> bool:
    """The same roller alone before and after the edge, and it has not been turned; `.` and `w` turn the upper one."""
    def on(letter: str) -> set[str]:
        return {roller for roller, those in (("upper", "uUwWb"), ("lower", "lLb")) if letter in those}

    return at > 0 and on(letters[at]) == on(letters[at - 1]) and len(on(letters[at])) == 1 and not (
        letters[at] in "uUwW" and letters[at - 1] in "wW")


def not_held(letters: str, at: int, before: int, after: int) -> set[str]:
    """On which side of a pulse something is missing that shows in this cycle. An edge from one pulse right into the
    hold of another belongs to what the second needs before it, where it needs anything."""
    beats = [letter in "ULnW" for letter in letters]
    found = set()
    begins = beats[at] and not (at and beats[at - 1])
    if begins and letters[at] != "n" and before and not all(
            edge > 0 and steady_into(letters, edge) for edge in range(at - before + 1, at + 1)):
        found.add("before")
    if beats[at] and (letters[at] == "n" or (not begins and not steady_into(letters, at))):
        found.add("during")
    owed = any(beats[earlier] for earlier in range(max(0, at - after), at))
    if owed and not steady_into(letters, at) and (
            not beats[at] or (begins and not before and letters[at] != "n")):
        found.add("after")
    return found


@pytest.mark.parametrize("need", [(0, 0), (0, 1), (0, 2), (0, 3), (1, 0), (1, 2), (2, 1), (3, 0), (4, 4)])
def test_a_pulse_needs_what_its_words_say(need: Need) -> None:
    contents = contents_of(*mangle("u", "{} cycles before, {} cycles after".format(*need)))
    asked = {question.subject.split()[1]: question for question in missing_hold.ask(contents)}
    leaf, chance, told = contents.machine.terms.leaf, random.Random(sum(need)), set[str]()
    for _ in range(60):
        letters = "".join(chance.choice("uuuuuulUUULnwW.b") for _ in range(10))
        cycles = [{leaf("field", name, 1): int(name in LETTERS[letter].replace("press 0", "").split(", "))
                   for name in ("press", "steam", "beat", "wind", "last")} for letter in letters]
        expected = [not_held(letters, at, *need) for at in range(len(letters))]
        for side, question in asked.items():
            assert broken_in(question, cycles) == [side in each for each in expected], (letters, side)
        told |= set[str]().union(*expected)
    assert told == set(asked)


@pytest.mark.parametrize(("letters", "told"), [
    (".n.", [("missing-hold", "day+1")]), ("-n.", [("missing-hold", "day+1")]), (".U.", []), ("bn.", [
        ("contention", "day"), ("missing-hold", "day+1")]), (".nbn.", [
            ("contention", "day+2"), ("missing-hold", "day+1"), ("missing-hold", "day+3")])])
def test_a_strobe_while_nobody_drives_is_seen_in_the_word_alone(letters: str, told: list[tuple[str, str]]) -> None:
    found = static_pass(contents_of(*mangle(letters)))
    assert [(finding.name, finding.message.split(" at `")[1].split("`")[0]) for finding in found] == told


@pytest.mark.parametrize(("letters", "notes"), [
    ("n.", ()), (".n.", ("the cycle before is at `day` (0x0)",))])
def test_before_the_first_cycle_there_is_none(letters: str, notes: tuple[str, ...]) -> None:
    [finding] = findings_named("missing-hold", report(mangle(letters)))
    assert finding.notes == notes


# ---------------------------------------------------------------- what stands still


ROUND = """\
machine bellows "two bellows and a pipe between them"
microprogram "m.micro"
store control 16 words of 6 bits
    address upc
field give  1 bit
field forth 1 bit
field back  1 bit
field beat  1 bit
field wind  1 bit
field last  1 bit
state upc 4 bits, reset 0
    next 0 if last else upc + 1
register air 2 bits, loads air + 1 when wind
signal WHAT
bus left 2 bits, floats
    driven by blown when give
    driven by pipe when back, follows right
bus right 2 bits, floats
    driven by valve when forth, follows left
strobe beat
    right steady 1 cycle before, 0 cycles after
"""


@pytest.mark.parametrize(("what", "words", "broken"), [
    ("blown = air", "give, forth", False), ("blown = air", "give, forth, wind", True),
    ("blown = {air[0], air[1]}", "give, forth", False), ("blown = {air[0], air[1]}", "give, forth, wind", True),
    ("blown = {upc[0], upc[0]}", "give, forth", True), ("blown = {upc[3], upc[3]}", "give, forth", False),
    ("blown = {give, forth}", "give, forth", False), ("blown = {wind, forth}", "give, forth, wind", True),
    ("blown = air", "back, forth", True),           # each follows the other
])
def test_what_a_driver_drives_stays_or_does_not(what: str, words: str, broken: bool) -> None:
    """Through the pipe to the other bus, a cycle before the strobe and in it; `wind` is in the first word alone."""
    micro = f"routine day at 0\n        {words}\n        {words.replace(', wind', '')}, beat\n        last\n"
    found = report(Sound(ROUND.replace("WHAT", what), micro), Selection(frozenset(("missing-hold",))))
    assert ("broken" in outcomes(found).values()) == broken


def test_a_signal_made_of_another_bus() -> None:
    """Turned round, what stands on the left bus drives the right one: steady as that is."""
    machine = ROUND.replace("signal WHAT\n", "signal turned = {left[0], left[1]}\n").replace(
        "driven by blown when give", "driven by air when give").replace(
        "    driven by pipe when back, follows right\n", "").replace("driven by valve when forth, follows left",
                                                                   "driven by turned when forth")
    for wind, broken in (("", False), (", wind", True)):
        found = report(Sound(machine, f"routine day at 0\n        give, forth{wind}\n        give, forth, beat\n"
                             "        last\n"), Selection(frozenset(("missing-hold",))))
        assert ("broken" in outcomes(found).values()) == broken


# ---------------------------------------------------------------- wired buses, and breaks without a trace


def test_on_a_wired_bus_all_who_left_count() -> None:
    """Both rollers pull, and in the next cycle a third one alone: that is a hand-over. One of the two is none."""
    third = MACHINE.replace("field wind ", "field third").replace("NEED", "0 cycles before, 0 cycles after").replace(
        "KIND", "wired and, turnaround 1").replace(", loads upper + 1 when wind", "").replace(
        "    driven by lower when steam\n", "    driven by lower when steam\n    driven by upc when third\n").replace(
        "cloth 2 bits", "cloth 4 bits").replace("upper 2 bits", "upper 4 bits").replace("lower 2 bits", "lower 4 bits")
    for word, outcome in (("third", "broken"), ("steam", "proved"), ("press, steam, third", "proved")):
        found = report(Sound(third, f"routine day at 0\n        press, steam\n        {word}\n        third 0, last\n"),
                       Selection(frozenset(("turnaround",))))
        assert outcomes(found) == {"turnaround cloth": outcome}


def test_what_is_told_where_no_trace_was_wanted() -> None:
    found = report(mangle("..ul.", kind="floats, turnaround 2"), limits=Limits(traces=0))
    [finding] = findings_named("turnaround", found)
    assert finding.trace is None and finding.notes == ("shortest sequence from reset: 4 cycles",)
    assert finding.message == ("bus `cloth` passes too quickly from `upper` to `lower` at `day+3` (0x3) (2 cycles "
                               "undriven owed)")


def test_a_hand_over_of_which_nobody_asked_between_whom() -> None:
    contents = contents_of(*mangle("ul.", kind="floats, turnaround 1"))
    (question,) = turnaround.ask(contents)
    (verdict,) = decide(build_system(contents), (question,)).verdicts
    finding = turnaround.tell(contents, verdict, verdict.breaks[0])
    assert finding.message == ("bus `cloth` changes driver too quickly at `day+1` (0x1) (0 cycles undriven, 1 cycle "
                               "owed)")


@pytest.mark.parametrize(("promise", "wind", "broken"), [
    ("", "", False), ("", ", wind", True), (", steady while give", ", wind", False),
    (", steady while back", ", wind", True), (", steady while back", "", False),
    (", steady while wind", ", wind", True)])
def test_one_of_two_reasons_is_enough_over_the_whole_edge(promise: str, wind: str, broken: bool) -> None:
    """The valve follows a bus that stays, or it is promised to stay, before and after the edge alike."""
    machine = ROUND.replace("WHAT", "blown = air").replace("follows left\n", f"follows left{promise}\n")
    micro = f"routine day at 0\n        give, forth{wind}\n        give, forth, beat\n        last\n"
    found = report(Sound(machine, micro), Selection(frozenset(("missing-hold",))))
    assert ("broken" in outcomes(found).values()) == broken


def test_on_a_clock_of_phases_it_is_the_phase_before() -> None:
    clocked = mangle(".U.", "1 cycle before, 0 cycles after").machine.replace(
        "microprogram", "clock turn (first, second)\nmicroprogram").replace(
        "lower 2 bits\n", "lower 2 bits, loads cloth when wind, on first\n")
    [finding] = findings_named("missing-hold", report(Sound(clocked, mangle(".U.").micro)))
    assert "is not steady for 1 cycle before strobe `beat`" in finding.message
    assert [note.split(" is ")[0] for note in finding.notes] == ["the phase before"]


# ---------------------------------------------------------------- one cause, one finding


@pytest.mark.parametrize(("kind", "letters", "sampled", "told"), [
    ("floats", "wU.", "", True),                    # a value that moves is no fight
    ("floats", "lU.", "", True),
    ("wired and", "wU.", "", True),
    ("wired and", "lU.", "", True),
    ("pulled high", "-U.", "", True),
    ("floats", "-U.", "", True),                    # nobody drives it, and nobody takes it then
    ("floats", "-U.", "press 0", False),            # taken while it floats: told as that
    ("floats", "-U.", "wind", True),
    ("multiplexed", "-U.", "press 0", False),
    ("kept", "-U.", "press 0", True),               # has a level, but for the first cycle; and then a driver comes
    ("floats", "uU.", "", False),
    ("floats", "bU.", "", False),                   # both drive: told as the fight
    ("wired and", "bU.", "", True),                 # no fight there
])
def test_what_is_told_beside_a_fault_of_another_name(kind: str, letters: str, sampled: str, told: bool) -> None:
    """Two drivers fight all the time on another bus, so that the questions are asked once more without what has a
    finding of its own."""
    sound = mangle(f"u{letters}", "1 cycle before, 0 cycles after", kind)
    yard = "bus yard 2 bits, floats\n    driven by upper when not last\n    driven by lower when not last\n"
    taken = f"    sampled by hand when {'not press' if sampled == 'press 0' else sampled}\n" if sampled else ""
    found = report(Sound(sound.machine.replace("strobe beat", f"{taken}{yard}strobe beat"), sound.micro))
    assert "contention" in {finding.name for finding in found.findings}
    assert bool(findings_named("missing-hold", found)) == told


@pytest.mark.parametrize(("allowance", "told"), [("", False), ('allow contention "weak outputs"\n', True)])
def test_a_fight_that_is_allowed_excuses_no_hold(allowance: str, told: bool) -> None:
    """Both rollers drive in the cycle before the pulse."""
    sound = mangle("ubU.", "1 cycle before, 0 cycles after")
    found = report(Sound(sound.machine + allowance, sound.micro))
    assert bool(findings_named("missing-hold", found)) == told
    assert bool(findings_named("contention", found)) == (not allowance)


def test_what_a_keeper_has_not_kept_yet_takes_a_memory_and_excuses_no_hold() -> None:
    """The bus is sampled and strobed before anybody has driven it: two findings, the second without that memory."""
    sound = mangle("nU", kind="kept")
    taken = sound.machine.replace("strobe beat", "    sampled by counter when beat\nstrobe beat")
    found = report(sound._replace(machine=taken))
    assert {finding.name for finding in found.findings} >= {"floating", "missing-hold"}


@pytest.mark.parametrize(("letters", "sides"), [("wUL", "before during"), ("wUu", "before"), ("uUL", "during")])
def test_each_side_of_a_pulse_is_told_once_beside_a_fight(letters: str, sides: str) -> None:
    """The fight is on another bus, so each side is asked once more."""
    sound = mangle(letters + "-", "1 cycle before, 0 cycles after")
    yard = "bus yard 2 bits, floats\n    driven by upper when not last\n    driven by lower when not last\n"
    found = report(sound._replace(machine=sound.machine.replace("strobe beat", f"{yard}strobe beat")))
    messages = [finding.message for finding in findings_named("missing-hold", found)]
    assert [next(side for side in ("before", "during") if f"{side} strobe" in message)
            for message in messages] == sides.split()
