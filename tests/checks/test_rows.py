"""The table of a report, from verdicts put together by hand."""

from typing import Literal, TypeAlias

import pytest

from ordain.checks.allowances import Plan
from ordain.checks.catalogue import CHECKS
from ordain.checks.check import About
from ordain.checks.rows import Answer, rows
from ordain.prover.model import Property, Verdict, Verdicts
from tests.checks.test_wording import crane
from tests.workshop import contents_of

CONTENTS = contents_of(*crane("lift"))
SPAN = CONTENTS.machine.span
Kind: TypeAlias = Literal["bad", "reach", "always", "within"]
BY_LETTER: dict[str, Literal["proved", "broken", "vacuous", "undecided"]] = {
    "b": "broken", "p": "proved", "u": "undecided", "v": "vacuous"}


def asked(check: str = "contention", subject: str = "rope", kind: Kind = "bad", cycles: int = 0) -> Property:
    return Property(check, subject, kind, CONTENTS.machine.terms.const(0, 1), cycles=cycles,
                    data=About((), SPAN))


def verdict(letter: str, states: int = 1, worst: int | None = None, question: Property | None = None) -> Verdict:
    return Verdict(question or asked(), BY_LETTER[letter], (), None, worst, states, 2 * states)


def answer(judged: str, probes: str = "", bare: str = "", finer: str = "", question: Property | None = None,
           states: int = 1, worst: int | None = None) -> Answer:
    plan = Plan(CHECKS[0], question or asked(), None, (), None)
    return Answer(plan, verdict(judged, states, worst) if judged else None, tuple(map(verdict, probes)),
                  verdict(bare) if bare else None, tuple(map(verdict, finer)))


def table(*answers: Answer, dead: tuple[str, ...] = (), over: str = "p",
          takes: bool = False) -> list[tuple[object, ...]]:
    first = Verdicts((), verdict(over, 7), {}, 0, 0, 0, "", "")
    parts = [verdict("b", question=asked("vacuous", subject)) for subject in dead]
    return [(*row[:8], row.note) for row in rows(CONTENTS, answers, parts, first, lambda name: takes)]


@pytest.mark.parametrize(("judged", "finer", "told"), [
    ("", "", ""), ("b", "", "b"), ("b", "bp", "bp"), ("b", "pp", "pp"), ("b", "pu", "b"), ("b", "bu", "bu"),
    ("b", "u", "b")])
def test_what_findings_are_made_from(judged: str, finer: str, told: str) -> None:
    """The finer verdicts; but where one is open and none is broken, the coarse one."""
    found = answer(judged, finer=finer).telling
    assert [one.outcome for one in found] == [BY_LETTER[letter] for letter in told]


@pytest.mark.parametrize(("judged", "probes", "bare", "outcome"), [
    ("b", "", "", "broken"), ("u", "b", "", "undecided"), ("v", "b", "", "vacuous"), ("p", "", "", "proved"),
    ("p", "pp", "", "proved"), ("p", "pb", "", "allowed"), ("p", "ub", "", "allowed"), ("p", "pu", "", "undecided"),
    ("p", "vp", "", "vacuous"), ("p", "vu", "", "undecided"), ("", "b", "", "allowed"), ("", "p", "", "proved"),
    ("", "u", "", "undecided"), ("p", "bb", "p", "proved"), ("p", "pp", "b", "allowed"), ("p", "p", "u", "undecided")])
def test_what_becomes_of_a_question(judged: str, probes: str, bare: str, outcome: str) -> None:
    """Proved without what is allowed; then whether something is: by the probes, or by the question with none."""
    assert answer(judged, probes, bare).outcome == outcome


@pytest.mark.parametrize(("outcomes", "worst"), [
    ("pb", "broken"), ("pu", "undecided"), ("pv", "vacuous"), ("ub", "broken"), ("vu", "undecided"), ("pp", "proved")])
def test_questions_of_one_subject_have_one_row(outcomes: str, worst: str) -> None:
    (row,) = table(*(answer(letter, states=number, finer="b" if letter == "b" else "") for number, letter in
                     enumerate(outcomes, 3)))
    assert row == ("contention", "rope", worst, 4, 8, None, 0, None, "")


def test_the_worst_of_all_counts_and_what_is_allowed() -> None:
    assert table(answer("p", "b"), answer("p"))[0][2] == "allowed"
    assert table(answer("", "b"))[0][2:5] == ("allowed", 1, 2)
    assert [row[:3] for row in table(answer("p"), answer("b", question=asked(subject="other")))] == [
        ("contention", "rope", "proved"), ("contention", "other", "broken")]


def test_what_is_broken_by_another_fault_alone_says_so() -> None:
    assert table(answer("b", finer="pp"))[0][-1] == "only where another finding is the cause"
    assert table(answer("b", finer="pb"))[0][-1] == table(answer("b"))[0][-1] == ""


def test_how_many_things_occur_that_are_taken_for_granted() -> None:
    found = table(*(answer(letter, question=asked("vacuous", f"thing {at}")) for at, letter in enumerate("pbp")))
    assert [(row[1], row[2], row[-1]) for row in found] == [
        ("what checks and rules take for granted", "vacuous", "2 of 3 occur")]
    assert table(answer("p", question=asked("vacuous", "thing")))[0][2] == "proved"
    assert table(answer("u", question=asked("vacuous", "thing")))[0][2] == "undecided"


def test_a_rule_of_which_a_part_is_dead_is_vacuous() -> None:
    assert table(answer("p"), dead=("rope",))[0][2] == "vacuous"
    assert table(answer("p"), dead=("other",))[0][2] == "proved"
    assert table(answer("b"), dead=("rope",))[0][2] == "broken"


@pytest.mark.parametrize(("worst", "kind", "said"), [
    (3, "within", "worst case 3 of 5 cycles"), (0, "within", "worst case 0 of 5 cycles"), (None, "within", ""),
    (3, "bad", "")])
def test_the_worst_case_of_a_response(worst: int | None, kind: str, said: str) -> None:
    (row,) = table(answer("p", question=asked("when-then", "it answers", kind, 5), worst=worst))
    assert row[5:7] == (worst if kind == "within" else None, 5) and row[-1] == said


def test_assumptions_have_a_row_where_they_are_asked_about() -> None:
    assert table(over="b") == []
    assert table(over="b", takes=True) == [("over-assumed", "assumptions", "broken", 7, 14, None, 0, None, "")]
