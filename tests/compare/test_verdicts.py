"""What moved from one report to another, and how many cycles: reports of a few rows, written down by hand."""

from typing import Any

import pytest

from ordain.checks.check import Applied, Report, Row
from ordain.compare.comparison import (
    Comparison,
    CycleChange,
    cycle_changes,
    findings_of,
    unchanged_though_expected,
    unexpected,
)
from ordain.compare.declared import Demands, Redefined
from ordain.compare.translation import SAME_NAMES, Renames
from ordain.compare.verdicts import VerdictChanges, verdict_changes, worse
from ordain.machine.model import Allowance
from ordain.measure.cycles import Cycles, Ring, Taken
from ordain.text.findings import error
from ordain.text.source import Source, Span
from tests.compare.judged import after
from tests.compare.test_declarations import LOCK

NOWHERE = Span(Source("none.machine", ""), 0, 0)


def report(*messages: str, stopped: str = "", allowances: dict[str, bool | None] | None = None, **rows: Any) -> Report:
    """Questions of the check `tide` by subject, each an outcome or (outcome, worst case); messages of its findings."""
    both = {name: said if isinstance(said, tuple) else (said, None) for name, said in rows.items()}
    made = [Row("tide", name, outcome, 1, 1, worst, 9, None, "", NOWHERE) for name, (outcome, worst) in both.items()]
    applied = tuple(Applied(Allowance("tide", "", "", reason, NOWHERE), needed)
                    for reason, needed in (allowances or {}).items())
    return Report(tuple(error("tide", message, None) for message in messages), tuple(made), applied, {}, 1, 1, 1,
                  stopped, stopped)


def said(changes: VerdictChanges) -> list[tuple[str, str, str, str]]:
    return [(one.kind, one.subject, one.old, one.new) for one in changes.moved]


@pytest.mark.parametrize(("old", "new", "kind"), [
    ("proved", "broken", "newly-broken"), ("proved", "vacuous", "newly-vacuous"),
    ("proved", "undecided", "newly-undecided"), ("broken", "allowed", "allowed"), ("undecided", "proved", "decided"),
    ("broken", "proved", "repaired"), ("vacuous", "proved", "repaired"),
    (("proved", 4), ("proved", 7), "grew"), (("proved", 7), ("proved", 4), "shrank"),
    (("proved", 7), ("proved", None), "grew"), (("proved", None), ("proved", 4), "shrank"),
])
def test_an_answer_that_is_another(old: Any, new: Any, kind: str) -> None:
    """A worst case that cannot be told any more has grown."""
    changes = verdict_changes(report(ebb="proved", flood=old), report(ebb="proved", flood=new))
    assert [(one.kind, one.check, one.subject) for one in changes.moved] == [(kind, "tide", "flood")]
    assert changes.same == 1
    assert bool(worse(changes)) == kind.startswith("newly")


@pytest.mark.parametrize(("outcome", "kind"), [("broken", "newly-broken"), ("vacuous", "newly-vacuous"),
                                               ("proved", "added"), ("undecided", "added")])
def test_a_question_that_is_new(outcome: str, kind: str) -> None:
    changes = verdict_changes(report(), report(flood=(outcome, 5)))
    assert said(changes) == [(kind, "flood", "", outcome)] and changes.same == 0
    assert (changes.moved[0].old_worst, changes.moved[0].new_worst) == (None, 5)
    assert bool(worse(changes)) == (kind != "added")


def test_a_question_that_is_gone() -> None:
    changes = verdict_changes(report(ebb="proved", flood=("broken", 5)), report(ebb="proved"))
    assert said(changes) == [("dropped", "flood", "broken", "")] and changes.same == 1
    assert (changes.moved[0].old_worst, changes.moved[0].new_worst) == (5, None)
    assert worse(changes) == changes.moved and worse(changes, {"tide: flood"}) == ()


def test_a_question_by_its_new_name() -> None:
    """`slack` is called `still` now; its faults are known by the new name, and at its label's new place."""
    renames = Renames({"slack": "still"}, {}, {"pump.in": "pump.out"})
    old = report("`slack` moves at `pump.in+2`", "after 3 cycles `slack` moves at `quay`", **{"slack water": "broken"})
    new = report("`still` moves at `pump.out+2`", "after 8 cycles `still` moves at `quay`", **{"still water": "broken"})
    more = report("`still` moves at `pump.in+2`", **{"still water": "broken"})
    asked = Demands((), {}, renames)
    # a finding is about a question when it names its subject
    old, new, more = (one._replace(findings=tuple(
        found._replace(message=f"{found.message} ({one.rows[0].subject})") for found in one.findings))
        for one in (old, new, more))
    assert verdict_changes(old, new._replace(findings=()), asked).moved == ()
    assert [one.kind for one in verdict_changes(old, more, asked).moved] == ["broken-elsewhere"]


def test_a_fault_more() -> None:
    """How often, and at which address, is no other fault; one of another check or of another question is not counted
    here."""
    old = report("flood: `a` at 0x10, 3 times", flood="broken", ebb="broken")
    again = report("flood: `a` at 0x1F, 4 times", flood="broken", ebb="broken")
    assert verdict_changes(old, again).moved == ()
    more = report("flood: `a` at 0x10, 3 times", "flood: `b` at 0x10", flood="broken", ebb="broken")
    (found,) = verdict_changes(old, more).moved
    assert (found.kind, found.subject, found.more) == ("broken-elsewhere", "flood", ("flood: `b` at 0x10",))
    assert verdict_changes(more, old).moved == ()
    fine = report("flood: `a` at 0x12, 9 times", flood="proved", ebb="broken")
    assert [one.kind for one in verdict_changes(old, fine).moved] == ["repaired"]
    other = old._replace(findings=(*old.findings, error("wave", "flood: `b`", None)))
    assert verdict_changes(old, other).moved == ()


@pytest.mark.parametrize(("was", "now", "more"), [
    ("`r1` and `r2` share `flood`", "`r1` and `r3` share `flood`", True),           # a figure of a name
    ("`flood`: `tide[3]` at `quay+1` (0x10)", "`flood`: `tide[4]` at `quay+1` (0x10)", True),
    ("`flood`: `tide[7:4]` at `quay+1`", "`flood`: `tide[7:2]` at `quay+1`", True),
    ("`flood`: `r1` at `quay+1` (0x1F), 3 times", "`flood`: `r1` at `quay+12` (0xA0), 14 times", False),
    ("`a1` and `b` are together", "`a1` and `b` are together at `quay`", True),     # that names no question
    ("`a1` and `b` are together 3 times", "`a1` and `b` are together 4 times", False),
    ("`ebb` at `quay`", "`ebb` at `pier`", False),                                  # that names another
])
def test_what_of_a_message_tells_faults_apart(was: str, now: str, more: bool) -> None:
    """`ebb` is broken on both sides, too, and is told where a message names it or none."""
    found = verdict_changes(report(was, flood="broken", ebb="broken"), report(was, now, flood="broken", ebb="broken"))
    assert [one.subject for one in found.moved if one.subject == "flood"] == ["flood"] * more
    assert {one.kind for one in found.moved} <= {"broken-elsewhere"} and all(one.more == (now,) for one in found.moved)
    assert bool(found.moved) == bool(worse(found)) == (more or "pier" in now)
    proved = verdict_changes(report(was, flood="broken", ebb="proved"), report(was, now, flood="broken", ebb="proved"))
    assert [one.subject for one in proved.moved] == ["flood"] * (more or "pier" in now)    # none is of what is proved


@pytest.mark.parametrize("flood", ["proved", "broken"])
def test_of_several_demands_for_which_one_stands_each_has_its_answer(flood: str) -> None:
    """`ebb` asks both now. It was broken; that `flood` was not is no answer of the other."""
    asked = Demands((Redefined("stronger", "tide", "ebb"),), {("tide", "flood"): ("tide", "ebb")}, SAME_NAMES)
    for old in (report(flood=flood, ebb="broken"), report(ebb="broken", flood=flood)):
        found = verdict_changes(old, report(ebb="broken", spring="proved"), asked)
        assert said(found) == [
            ("added", "spring", "", "proved"), *[("dropped", "flood", "proved", "")] * (flood == "proved"),
            ("stronger", "ebb", "broken", "broken")]
        assert found.same == 1 and bool(worse(found)) == (flood == "proved")
    twice = verdict_changes(report(flood="proved", ebb="proved"), report(ebb="broken"), asked)
    assert said(twice) == [("newly-broken", "ebb", "proved", "broken"), ("dropped", "flood", "proved", ""),
                           ("stronger", "ebb", "proved", "broken")]
    holds = verdict_changes(report(flood="proved", ebb="broken"), report(ebb="proved"), asked)
    assert said(holds) == [("repaired", "ebb", "broken", "proved"), ("stronger", "ebb", "broken", "proved")]


@pytest.mark.parametrize(("met", "was", "now", "told"), [
    ("a, b while dry", "`a` is to be kept while not wet, but loads", "`a` is to be kept while dry, but loads", False),
    ("a, b while dry", "`a` is to be kept while not wet, but loads", "`b` is to be kept while dry, but loads", True),
    ("calm", "the rule \"a, b while not wet\" is broken", "the rule \"calm\" is broken", False),
    ("calm", "the rule \"a, b while not wets\" is broken", "the rule \"calms\" is broken", True),
    ("a\\1", "\"a, b while not wet\" is broken", "\"a\\1\" is broken", False)])
def test_a_fault_of_what_is_said_in_other_words(met: str, was: str, now: str, told: bool) -> None:
    asked = Demands((), {("tide", "a, b while not wet"): ("tide", met)}, SAME_NAMES)
    old, new = report(was, **{"a, b while not wet": "broken"}), report(now, **{met: "broken"})
    assert [one.kind for one in verdict_changes(old, new, asked).moved] == ["broken-elsewhere"] * told
    wave = old._replace(findings=(error("wave", was, None),))       # of another check
    assert len(verdict_changes(wave, new, asked).moved) == 1


def of_wave(made: Report, *messages: str, **rows: Any) -> Report:
    """The report with rows and findings of the check `wave` as well."""
    return made._replace(
        rows=(*made.rows, *[row._replace(check="wave") for row in report(**rows).rows]),
        findings=(*made.findings, *[error("wave", message, None) for message in messages]))


def test_what_is_said_of_one_check_is_nothing_of_another() -> None:
    """Neither the words of a demand, nor the names of what is broken."""
    asked = Demands((), {("tide", "slack"): ("tide", "calm")}, SAME_NAMES)
    old, new = (of_wave(report(**{name: "broken"}), "`flood` while slack", flood="broken")
                for name in ("slack", "calm"))
    assert verdict_changes(old, new, asked).moved == ()
    more = of_wave(report("`quay` and `flood`", ebb="broken"), flood="broken")
    (found,) = verdict_changes(of_wave(report(ebb="broken"), flood="broken"), more).moved
    assert (found.kind, found.check, found.subject) == ("broken-elsewhere", "tide", "ebb")


def test_of_several_demands_for_which_one_stood_that_is_gone_each_is_told() -> None:
    asked = Demands((), {("tide", "flood"): ("tide", "ebb")}, SAME_NAMES)
    assert sorted(said(verdict_changes(report(flood="proved", ebb="broken"), report(), asked))) == [
        ("dropped", "ebb", "broken", ""), ("dropped", "flood", "proved", "")]


def test_a_demand_that_another_stands_for_has_its_answer() -> None:
    asked = Demands((), {("tide", "flood"): ("tide", "ebb")}, SAME_NAMES)
    assert said(verdict_changes(report(flood="proved"), report(ebb="broken"), asked)) == [
        ("newly-broken", "ebb", "proved", "broken")]


def test_what_is_asked_less_is_said_once() -> None:
    """A demand that became weaker is told with the answers of both sides; one that is gone as gone alone."""
    asked = Demands((Redefined("weaker", "tide", "ebb"), Redefined("weaker", "tide", "flood"),
                     Redefined("promised", "assume", "not full")), {}, SAME_NAMES)
    changes = verdict_changes(report(ebb="broken", flood="proved"), report(ebb="broken"), asked)
    assert said(changes) == [("dropped", "flood", "proved", ""), ("weaker", "ebb", "broken", "broken"),
                             ("promised", "not full", "", "")]


@pytest.mark.parametrize(("was", "now", "stale", "needed"), [
    (True, False, True, False), (None, False, True, False), (False, False, False, False), (False, True, False, True),
    (True, True, False, False), (False, None, False, False), (None, True, False, False)])
def test_allowances_that_went_stale(was: bool | None, now: bool | None, stale: bool, needed: bool) -> None:
    changes = verdict_changes(report(allowances={"a fuse": was}), report(allowances={"a fuse": now}))
    assert changes.stale == (("tide: a fuse",) if stale else ())
    assert changes.needed == (("tide: a fuse",) if needed else ())


def test_an_allowance_that_is_new() -> None:
    """One that was not there cannot have been needed: unneeded, it is said; needed, it is told as allowed."""
    changes = verdict_changes(report(), report(allowances={"a fuse": False, "a spring": True}))
    assert (changes.stale, changes.needed) == (("tide: a fuse",), ())


@pytest.mark.parametrize(("old", "new", "comparable"), [
    ("", "", True), ("time", "", False), ("", "time", False), ("time", "time", False)])
def test_searches_that_did_not_come_to_their_end(old: str, new: str, comparable: bool) -> None:
    assert verdict_changes(report(stopped=old), report(stopped=new)).comparable == comparable


# ---------------------------------------------------------------- cycles


def taken(title: str, least: int | None, most: int | None, rings: int = 0) -> Taken:
    return Taken("instruction", title, least, most, tuple(Ring((place,), ()) for place in range(rings)), (), ())


def cycles(*units: Taken, fetch: Taken | None = None) -> Cycles:
    return Cycles(fetch, None, "home", units)


def test_instructions_that_take_other_numbers_of_cycles() -> None:
    old = cycles(taken("add", 3, 4), taken("jump", 2, 2), taken("gone", 5, 5), fetch=taken("x", 2, 2))
    new = cycles(taken("add", 3, 5), taken("jump", 2, 2), taken("come", 6, None), fetch=taken("y", 3, 3))
    assert cycle_changes(old, new) == (
        CycleChange("(fetch)", (2, 2), (3, 3), (0, 0)), CycleChange("add", (3, 4), (3, 5), (0, 0)),
        CycleChange("come", None, (6, None), (0, 0)), CycleChange("gone", (5, 5), None, (0, 0)))
    assert cycle_changes(old, old) == () and cycle_changes(None, None) == ()
    assert [one.title for one in cycle_changes(None, old)] == ["(fetch)", "add", "jump", "gone"]


def test_the_round_of_a_machine_without_instructions() -> None:
    one, other = (Cycles(None, taken("x", least, 40), "home", ()) for least in (30, 32))
    assert cycle_changes(one, other) == (CycleChange("(round)", (30, 40), (32, 40), (0, 0)),)
    assert cycle_changes(one, one) == ()


def test_a_wait_more() -> None:
    """The same least and most, but there is a second ring to wait in."""
    assert cycle_changes(cycles(taken("add", 3, 4, 1)), cycles(taken("add", 3, 4, 2))) == (
        CycleChange("add", (3, 4), (3, 4), (1, 2)),)
    assert cycle_changes(cycles(taken("add", 3, 4, 2)), cycles(taken("add", 3, 4, 2))) == ()


def test_an_instruction_that_never_ends_on_either_side() -> None:
    """It is no news; one that is not there at all is."""
    assert cycle_changes(cycles(taken("halt", None, None)), cycles(taken("halt", None, None))) == ()
    assert cycle_changes(cycles(), cycles(taken("halt", None, None))) == (
        CycleChange("halt", None, (None, None), (0, 0)),)


def test_a_wait_that_stands_at_more_addresses() -> None:
    """A word for all opcodes that nothing else has, of which another instruction takes one: a wait, before and now."""
    two, three = (taken("trap", None, None, number) for number in (2, 3))
    two, three = (one._replace(rings=tuple(ring._replace(names=("go",), words=("trap",)) for ring in one.rings))
                  for one in (two, three))
    other = two._replace(rings=(two.rings[0], two.rings[1]._replace(names=("go", "stop"))))
    assert cycle_changes(cycles(two), cycles(three)) == ()
    assert cycle_changes(cycles(two), cycles(other)) == (CycleChange("trap", (None, None), (None, None), (1, 2)),)


# ---------------------------------------------------------------- what was not expected


def comparison(changes: VerdictChanges | None, *expected: str) -> Comparison:
    return Comparison("HEAD", "here", None, None, changes, None, None, frozenset(expected), ())


def test_what_a_guard_says() -> None:
    changes = verdict_changes(report(ebb="broken", flood="proved", surge="proved", wave="proved"),
                              report("ebb: again", ebb="broken", flood="broken", surge="proved", eddy="broken"))
    found = [(one.name, one.message) for one in findings_of(comparison(changes))]
    assert found == [("verdict-worse", f"against HEAD: tide: {text}") for text in (
        "ebb was broken, is broken in more places", "flood was proved, is broken", "eddy was not asked, is broken",
        "wave is not asked any more")]
    assert len(findings_of(comparison(changes, "wave", "flood"))) == 3
    assert findings_of(comparison(changes))[1].help == "`ordain prove` shows the sequence that breaks it"
    assert findings_of(comparison(changes))[3].help == 'if it is meant, name it: `--expect "wave"`'
    assert findings_of(comparison(None)) == []


def test_what_was_named_and_did_not_change() -> None:
    """A unit is named by its title or the one that it had; a question only where it is asked less, or not at all."""
    found = after(LOCK, ("        branch next, open", "        branch next"), ('"down"', '"lower"'))
    changes = verdict_changes(report(ebb="proved", flood="proved", wave="proved"), report(ebb="broken", flood="proved"))
    named = ("up", "down", "lower", "rest", "machine", "wave", "tide: ebb", "tide: flood")
    both = Comparison("HEAD", "here", found, None, changes, None, None, frozenset(named), ())
    assert unchanged_though_expected(both) == ("down", "lower", "machine", "rest", "tide: ebb", "tide: flood")
    assert unchanged_though_expected(both._replace(behaviour=None)) == ()
    assert unchanged_though_expected(both._replace(verdicts=None)) == (
        "down", "lower", "machine", "rest", "tide: ebb", "tide: flood", "wave")
    assert [unit.title for unit in unexpected(both)] == []
    assert [unit.title for unit in unexpected(both._replace(expected=frozenset()))] == ["up"]
    machine = after(LOCK, ("= level is 0", "= level is 1"))
    assert "machine" not in unchanged_though_expected(both._replace(behaviour=machine))
    lines = [one.message for one in findings_of(both._replace(behaviour=machine, expected=frozenset()))
             if one.name == "machine-changed"]
    assert lines == ["against HEAD: condition `wet` means something else; it is taken for the same line"]


def test_a_unit_is_expected_by_the_name_that_it_had() -> None:
    found = after(LOCK, ('"down"\n        source depth', '"lower"\n        source level'))
    (unit,) = [unit for unit in found.units if unit.title == "lower"]
    assert (unit.status, unit.was) == ("new", "down")
    both = Comparison("HEAD", "here", found, None, None, None, None, frozenset(("down",)), ())
    assert "lower" not in [one.title for one in unexpected(both)] and unchanged_though_expected(both) == ()


def test_where_a_new_unit_begins() -> None:
    """What is new is shown where it begins, what differs where it first does; what is gone has no place any more."""
    def told(*edits: tuple[str, str]) -> list[tuple[str, str, str]]:
        both = Comparison("HEAD", "here", after(LOCK, *edits), None, None, None, None, frozenset(), ())
        return [(one.message, one.label, "" if one.span is None else one.span.text) for one in findings_of(both)]

    assert told(('"down"\n        source depth', '"lower"\n        source level'))[1] == (
        "`lower` is new against HEAD", "begins here", "source level, count 1")
    assert told(("        branch next, open", "        branch next")) == [
        ("`up` behaves differently against HEAD", "cycle 2 is the first that differs", "branch next")]
    gone = told(('instruction 1 "down"\n        source depth, count 1\n        shut, tells, goto start\n', ""))
    assert gone == [("`down` is gone against HEAD", "", "")]


def test_what_never_ends_and_is_gone_is_told() -> None:
    assert cycle_changes(cycles(taken("halt", None, None)), cycles()) == (
        CycleChange("halt", (None, None), None, (0, 0)),)


@pytest.mark.parametrize(("check", "asked", "dropped"), [
    ("strays", {("nowhere", "control")}, False), ("torn", {("nowhere", "control")}, False),
    ("strays", {("nowhere", "entry")}, True), ("torn", {("race", "control")}, True),
    ("strays", {("nowhere", "strays")}, True), ("floating", {("nowhere", "control")}, True)])
def test_what_is_asked_of_a_store_only_where_its_words_could_fail_it(
        check: str, asked: set[tuple[str, str]], dropped: bool) -> None:
    """It is not asked any more, and the store is there: no word of it could. Of a store that is gone nobody knows."""
    row = report(control="proved").rows[0]
    old = report()._replace(rows=(row._replace(check=check),))
    new = report()._replace(rows=tuple(row._replace(check=name, subject=subject) for name, subject in sorted(asked)))
    told = {(one.check, one.subject): one.kind for one in verdict_changes(old, new).moved}
    assert told == {**dict.fromkeys(asked, "added"), **({(check, "control"): "dropped"} if dropped else {})}
