"""Every form of rule over sequences of a few cycles, one letter a cycle, worked by hand: what docs/language.md says of
it, and the words of its finding. A sequence begins anew when it is over."""

import random
from collections.abc import Callable

import pytest

from ordain.checks import rules
from tests.checks.reports import broken_in, findings_named, outcomes, report
from tests.planted.plant import Sound
from tests.workshop import contents_of

MACHINE = """\
machine drill "a drill with four lamps"
microprogram "m.micro"
store control 16 words of 5 bits
    address upc
field a    1 bit
field b    1 bit
field c    1 bit
field d    1 bit
field last 1 bit
state upc 4 bits, reset 0
    next 0 if last else upc + 1
rule "it" RULE
"""

BOTH = {"A": "a, c", "B": "b, c", "D": "d, c", "E": "a, d", "X": "a, b", ".": "a 0"}
"""Capitals are two lamps in one cycle: with `c`, but for `E` (`a` and `d`) and `X` (`a` and `b`)."""


def drill(rule: str, letters: str) -> Sound:
    words = [BOTH.get(letter, letter) for letter in letters]
    lines = [f"        {word}\n" for word in (*words[:-1], f"{words[-1]}, last")]
    return Sound(MACHINE.replace("RULE", rule), f"routine day at 0\n{''.join(lines)}")


def outcome(rule: str, letters: str) -> str:
    rows = report(drill(rule, letters)).rows
    (found,) = [row.outcome for row in rows if row.subject == "it" and row.check != "vacuous"]
    return found


@pytest.mark.parametrize(("letters", "expected"), [("X.", "broken"), ("ab", "proved"), ("a.X", "broken")])
def test_never(letters: str, expected: str) -> None:
    assert outcome("never a and b", letters) == expected


@pytest.mark.parametrize(("within", "letters", "expected"), [
    (0, "X.", "proved"), (0, "ab", "broken"), (1, "ab", "proved"), (1, "a.b", "broken"), (2, "a.b", "proved"),
    (2, "a..b", "broken"), (3, "a..b", "proved"), (2, "aab", "proved"), (1, "aab", "broken"), (1, "a", "broken"),
    (9, "a.", "broken"), (1, "ba.", "broken"), (2, "ba.", "proved"), (1, "abab", "proved"), (1, "b.", "vacuous"),
])
def test_when_then(within: int, letters: str, expected: str) -> None:
    """The response counts in the cycle of the trigger, too; from the last word control comes back to the first."""
    assert outcome(f"when a then b within {within} cycles", letters) == expected


@pytest.mark.parametrize(("letters", "expected"), [
    ("a.b.", "broken"), ("acb.", "proved"), ("ac..", "proved"), ("a.c.", "broken"), ("A...", "proved"),
    ("ab..", "proved")])
def test_when_then_unless(letters: str, expected: str) -> None:
    assert outcome("when a then b within 1 cycle unless c", letters) == expected


@pytest.mark.parametrize(("within", "letters", "said"), [
    (1, "a..b", "can take 3 cycles (1 cycle allowed)"), (2, "a.....b.", "can take 6 cycles (2 cycles allowed)"),
    (2, "a..", "can fail to come at all (2 cycles allowed)")])
def test_how_a_late_response_is_told(within: int, letters: str, said: str) -> None:
    [finding] = findings_named("when-then", report(drill(f"when a then b within {within} cycles", letters)))
    assert finding.message == f'the rule "it" is broken: the response {said}'
    assert finding.label == "the wait has lasted too long here"


@pytest.mark.parametrize(("within", "letters", "cycles"), [
    (0, "ab", 1), (1, "a..b", 2), (2, "a...b", 3), (2, ".a...b", 4)])
def test_a_late_response_is_shown_up_to_the_cycle_that_is_one_too_many(within: int, letters: str, cycles: int) -> None:
    [finding] = findings_named("when-then", report(drill(f"when a then b within {within} cycles", letters)))
    assert finding.trace is not None and len(finding.trace.cycles) == cycles


@pytest.mark.parametrize(("letters", "expected"), [
    ("acb.", "broken"), ("a.cb", "broken"), ("abc.", "vacuous"), ("a.bc", "proved"), ("cab.", "vacuous"),
    ("ca.b", "proved"), ("A.b.", "proved"), ("a.B.", "proved"), ("aAb.", "broken"), ("Xcb.", "broken"),
    ("Xc..", "broken"), ("ab..", "vacuous"), ("b.c.", "vacuous"), ("a.", "proved"), ("a.ac", "broken"),
])
@pytest.mark.parametrize("rule", ["between a and b never c", "after a never c until b"])
def test_a_window(rule: str, letters: str, expected: str) -> None:
    """After a cycle with `a`, before the next with `b`: both themselves lie outside, but for an `a` that comes while it
    is open. Where `a` and `b` come at once, it opens."""
    assert outcome(rule, letters) == expected


@pytest.mark.parametrize(("letters", "expected"), [
    ("acd.b", "proved"), ("adcb", "broken"), ("aD.b", "proved"), ("aDcb", "broken"), ("Ecb.", "broken"),
    ("dacb", "vacuous"), ("ad.b", "proved"), ("adbc", "vacuous"), ("adbac.b", "vacuous"), ("ad.bac.b", "proved"),
    ("a.d.cb", "broken"),
    ("da.cb", "vacuous"),
])
def test_a_window_that_begins_later(letters: str, expected: str) -> None:
    """From the cycle after a `d` on that comes while the window is open, or with the `a` that opens it."""
    assert outcome("between a and b never c after d", letters) == expected


def test_how_windows_are_told() -> None:
    [finding] = findings_named("between-never", report(drill("between a and b never c", "acb.")))
    assert finding.message == 'the rule "it" is broken at `day+1` (0x1)'
    assert finding.label == "forbidden inside the window, which is open here"
    [finding] = findings_named("after-never", report(drill("after a never c until b", "a.cb")))
    assert finding.message == 'the rule "it" is broken at `day+2` (0x2)'
    assert finding.label == "forbidden until it is released, which has not happened yet"
    [finding] = findings_named("vacuous", report(drill("between a and b never c", "ab..")))
    assert finding.message == ('the rule "it" holds for want of anything to happen: its window opens, but no cycle '
                               "ever lies inside it")


@pytest.mark.parametrize(("rule", "letters", "expected"), [
    ("reach a", "a.", "proved"), ("reach c", "a.", "broken"), ("reach a and b", "ab", "broken"),
    ("always reach a", "ab", "proved"), ("always reach c", "ab", "broken")])
def test_reach(rule: str, letters: str, expected: str) -> None:
    assert outcome(rule, letters) == expected


def test_what_is_reached_once_is_not_always_reached() -> None:
    """`a` comes first, and then control stays: with a way back it does not."""
    machine = MACHINE.replace("upc + 1", "(upc if b and HELD else upc + 1)")
    _, micro = drill("", "a.b.")
    for held, expected in (("not c", "broken"), ("c", "proved")):
        found = report(Sound(machine.replace("RULE", "always reach a").replace("HELD", held), micro))
        assert outcomes(found)["always-reach it"] == expected
        found = report(Sound(machine.replace("RULE", "reach a").replace("HELD", held), micro))
        assert outcomes(found)["reach it"] == "proved"


def test_how_it_is_told_that_nothing_is_reached() -> None:
    [finding] = findings_named("reach", report(drill("reach c", "a.")))
    assert finding.message == 'the rule "it" is broken: no sequence reaches what it asks for'
    [finding] = findings_named("always-reach", report(drill("always reach c", "ab")))
    assert finding.message.startswith('the rule "it" is broken: there is no way from a state at `day')


# ---------------------------------------------------------------- over many sequences

LINES = """\
machine drill "lamps that anybody may light"
CLOCK
microprogram "m.micro"
store control 2 words of 1 bit
    address upc
field go 1 bit
state upc 1 bit, reset 0
    next 0
input a 1 bit, b 1 bit, c 1 bit, d 1 bit, held 1 bit
rule "it" RULE
"""

Lamps = dict[str, int]


def inside(sequence: list[Lamps], at: int, first: str, last: str, forbidden: str, after: str) -> bool:
    """`forbidden` in a cycle after one with `first`, with no `last` since, and with an `after` since or with that."""
    return bool(sequence[at][forbidden]) and any(
        sequence[start][first] and not any(sequence[since][last] for since in range(start + 1, at + 1))
        and (not after or any(sequence[since][after] for since in range(start, at))) for start in range(at))


def too_late(sequence: list[Lamps], at: int, within: int) -> bool:
    """An `a` with neither `b` nor `c` since, `within` steps in which the clock went on since, and it goes on now."""
    def missing(step: int) -> bool:
        return not sequence[step]["b"] and not sequence[step]["c"]

    return not sequence[at]["held"] and any(
        sequence[start]["a"] and all(missing(step) for step in range(start, at + 1))
        and sum(not sequence[step]["held"] for step in range(start, at)) >= within for start in range(at + 1))


RULES: list[tuple[str, int, Callable[[list[Lamps], int], bool]]] = [
    ("between a and b never c", 2, lambda sequence, at: inside(sequence, at, "a", "b", "c", "")),
    ("between a and b never c after d", 3, lambda sequence, at: inside(sequence, at, "a", "b", "c", "d")),
    ("between a and a never c after b", 3, lambda sequence, at: inside(sequence, at, "a", "a", "c", "b")),
    ("after a never c until b", 2, lambda sequence, at: inside(sequence, at, "a", "b", "c", "")),
    *((f"when a then b within {within} phases unless c", within + 2,
       lambda sequence, at, within=within: too_late(sequence, at, within)) for within in range(5)),
]


@pytest.mark.parametrize(("rule", "values", "judge"), RULES, ids=[rule for rule, _, _ in RULES])
def test_a_rule_is_broken_where_its_words_say(rule: str, values: int,
                                              judge: Callable[[list[Lamps], int], bool]) -> None:
    """`values`: so many things are to be told apart from cycle to cycle."""
    clock = "clock turn (first, second)\n    held while held\n" if rule.startswith("when") else ""
    contents = contents_of(LINES.replace("CLOCK\n", clock).replace("RULE", rule), "routine day at 0\n        go\n")
    asked, chance, told = rules.question(contents, 0), random.Random(rule), 0
    assert [variable.values for variable in asked.monitors] == [values]
    for _ in range(60):
        sequence = [{name: int(chance.random() < share) for name, share in
                     (("a", .3), ("b", .15), ("c", .05 if clock else .4), ("d", .2), ("held", .4))} for _ in range(12)]
        cycles = [{contents.machine.terms.leaf("input", name, 1): value for name, value in cycle.items()}
                  for cycle in sequence]
        expected = [judge(sequence, at) for at in range(len(sequence))]
        assert broken_in(asked, cycles) == expected, sequence
        told += any(expected)
    assert 10 < told < 60


@pytest.mark.parametrize(("within", "letters", "expected"), [
    ("4 phases", "a.b", "proved"), ("3 phases", "a.b", "broken"), ("2 cycles", "a.b", "proved"),
    ("1 cycle", "a.b", "broken")])
def test_on_a_clock_that_is_never_held_every_phase_counts(within: str, letters: str, expected: str) -> None:
    """A word lasts two phases, and `a` is there in both: the first is the one that waits longest."""
    sound = drill(f"when a then b within {within}", letters)
    clocked = sound.machine.replace("microprogram", "clock turn (first, second)\nmicroprogram")
    assert outcomes(report(sound._replace(machine=clocked)))["when-then it"] == expected


@pytest.mark.parametrize(("within", "allowed"), [("1 phase", "1 phase"), ("2 phases", "1 cycle")])
def test_how_long_is_not_told_where_the_clock_may_be_held(within: str, allowed: str) -> None:
    machine = LINES.replace("CLOCK\n", "clock turn (first, second)\n    held while held\n").replace(
        "RULE", f"when a then b within {within}")
    [finding] = findings_named("when-then", report(Sound(machine, "routine day at 0\n        go\n")))
    assert finding.message == f'the rule "it" is broken: the response can take longer ({allowed} allowed)'
