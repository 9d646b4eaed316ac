"""How a proof ends before its time: what was found stays, nothing more is begun, and it says why."""

from collections.abc import Callable
from random import Random
from typing import Any

import pytest
from oxidd.util import DDMemoryError

import ordain.prover.decide
from ordain.control.model import Variable
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.limits import LimitReached
from ordain.prover.model import Limits, Property, Verdicts
from ordain.prover.symbolic.cases import SearchCase
from ordain.prover.symbolic.verdicts import Judge
from ordain.rom.contents import Contents
from tests.prover.by_hand import random_contents

CONTENTS, _ = random_contents(Random(7))


def asked(contents: Contents) -> tuple[Property, ...]:
    """Two questions about the machine alone, then ten that need a bit of their own each: more than one search."""
    terms = contents.machine.terms
    go, upc = terms.leaf("input", "go", 1), terms.leaf("state", "upc", contents.machine.states["upc"].width)
    home = terms.among(upc, frozenset((0,)))
    properties = [Property("seen", "", "bad", go), Property("back", "", "always", home)]
    for number in range(10):
        leaf = terms.leaf("state", f"turning {number}", 1)
        following = terms.xor(leaf, terms.and_((go, terms.not_(leaf))))
        monitor = Variable(f"turning {number}", leaf, 2, 0, following, "monitor")
        other = Variable(f"turned {number}", terms.leaf("state", f"turned {number}", 1), 2, 0, leaf, "monitor")
        properties.append(Property(f"turned {number}", "", "bad", terms.and_((leaf, other.leaf)),
                                   monitors=(monitor, other)))
    return tuple(properties)


def found(limits: Limits | None = None) -> Verdicts:
    return decide(build_system(CONTENTS), asked(CONTENTS), limits)


def outcomes(verdicts: Verdicts) -> list[str]:
    return [verdict.outcome for verdict in verdicts.verdicts]


def searches(monkeypatch: pytest.MonkeyPatch, then: Callable[[int, SearchCase], None]) -> list[SearchCase]:
    """Every search that is made, with something done to it afterwards."""
    made: list[SearchCase] = []

    def case(*given: Any, **more: Any) -> SearchCase:
        made.append(SearchCase(*given, **more))
        then(len(made), made[-1])
        return made[-1]

    monkeypatch.setattr(ordain.prover.decide, "SearchCase", case)
    return made


def test_all_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    made = searches(monkeypatch, lambda number, case: None)
    whole = found()
    assert (whole.stopped, whole.ended) == ("", "") and "undecided" not in outcomes(whole)
    assert len(made) >= 3, "otherwise the others here show nothing"


@pytest.mark.parametrize("reason", ["interrupted", "seconds", "memory"])
def test_when_a_later_search_ends_early_none_is_begun_after_it(monkeypatch: pytest.MonkeyPatch, reason: str) -> None:
    whole = found()

    def then(number: int, case: SearchCase) -> None:
        if number == 2:
            case.layers.stopped = reason

    made = searches(monkeypatch, then)
    part = found()
    assert (part.stopped, part.ended, len(made)) == ("", reason, 2)
    assert part.verdicts[:2] == whole.verdicts[:2] and "undecided" in outcomes(part)
    assert all(some in (every, "undecided") for some, every in zip(outcomes(part), outcomes(whole), strict=True))
    assert part.executed == whole.executed


def test_a_limit_of_states_is_one_of_each_search(monkeypatch: pytest.MonkeyPatch) -> None:
    def then(number: int, case: SearchCase) -> None:
        if number == 2:
            case.layers.stopped = "states"

    made = searches(monkeypatch, then)
    assert found().ended == "states" and len(made) >= 3


@pytest.mark.parametrize(("ending", "said", "then"), [
    (KeyboardInterrupt(), "interrupted", "undecided"), (DDMemoryError(), "memory", "undecided"),
    (LimitReached("seconds"), "seconds", "undecided"), (LimitReached("states"), "states", None)])
def test_an_end_while_answers_are_worked_out(monkeypatch: pytest.MonkeyPatch, ending: BaseException, said: str,
                                             then: str | None) -> None:
    """Nothing is begun after it, but that a limit of states is one of each search."""
    whole = found()
    judge = Judge.verdict

    def verdict(self: Judge, prop: Property) -> Any:
        if prop.check == "back":
            raise ending
        return judge(self, prop)

    monkeypatch.setattr(Judge, "verdict", verdict)
    part = found()
    assert (part.stopped, part.ended) == ("", said)
    assert part.verdicts[0] == whole.verdicts[0] and part.verdicts[1].outcome == "undecided"
    assert outcomes(part)[2:] == [then or one for one in outcomes(whole)[2:]]


@pytest.mark.parametrize(("first", "second", "said"), [
    (LimitReached("seconds"), DDMemoryError(), "seconds"), (DDMemoryError(), KeyboardInterrupt(), "interrupted")])
def test_of_two_ends_the_first_is_told_or_the_interruption(monkeypatch: pytest.MonkeyPatch, first: BaseException,
                                                           second: BaseException, said: str) -> None:
    endings = {"back": first, "seen": second}
    monkeypatch.setattr(Judge, "verdict", lambda self, prop: raised(endings[prop.check]))
    seen, back, *_ = asked(CONTENTS)
    assert decide(build_system(CONTENTS), (back, seen)).ended == said


def raised(ending: BaseException) -> Any:
    raise ending


@pytest.mark.parametrize("level", [0, 1])
@pytest.mark.parametrize("reason", ["interrupted", "seconds", "memory"])
def test_a_search_that_ends_early_tells_what_it_saw(monkeypatch: pytest.MonkeyPatch, reason: str, level: int) -> None:
    """Whatever limit it is, and even at once: what the levels looked at show is told, with a trace, and nothing is
    called proved."""
    whole = found()
    done = ordain.prover.symbolic.cases.SearchWatch.level_done

    def level_done(self: Any, at: int, states: int) -> None:
        done(self, at, states)
        if at == level:
            raise KeyboardInterrupt if reason == "interrupted" else ordain.prover.limits.LimitReached(reason)

    monkeypatch.setattr(ordain.prover.symbolic.cases.SearchWatch, "level_done", level_done)
    part = found()
    assert (part.stopped, part.ended, part.depth) == (reason, reason, level)
    assert (part.verdicts[0].outcome, part.verdicts[0].breaks[0].trace) == \
        ("broken", whole.verdicts[0].breaks[0].trace)
    assert set(outcomes(part)[1:]) == {"undecided"}
