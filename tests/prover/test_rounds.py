"""Questions asked in two rounds: the search of the first serves the second only where it says enough about it."""

import weakref
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ordain.prover.decide
import ordain.prover.symbolic.cases
import ordain.prover.symbolic.dead
from ordain.control.model import Variable
from ordain.control.system import build_system
from ordain.machine.model import Never
from ordain.prover.decide import ProofRounds, decide
from ordain.prover.model import Limits, Property
from ordain.prover.symbolic.cases import SearchCase
from ordain.prover.symbolic.space import Space
from ordain.rom.contents import Contents
from tests.prover.by_hand import random_comparisons, random_contents, random_journeys
from tests.workshop import contents_of

MACHINE = """machine small
microprogram "small.micro"
store control 4 words of 4 bits
    address upc
field target 2 bits address, idle following
field noting 1 bit
spare 1 bit
input go 1 bit
input level 1 bit
state upc 2 bits, reset 0
    next target
state noted 2 bits, reset 0
    next {go, go} if noting else noted
state other 1 bit, reset 0
    next go
rule "address"    never upc is 3
rule "low"        never noted[0] and upc is 2
rule "high"       never noted[1] and upc is 2
rule "other"      never other and upc is 2
rule "input"      never level and upc is 2
"""
MICRO = """
routine start at 0
    noting
    target following
    target start
"""


def never(contents: Contents, *names: str) -> tuple[Property, ...]:
    rules = {rule.text: rule.form for rule in contents.machine.rules}
    return tuple(Property("asked", name, "bad", form.condition) for name in names
                 if isinstance(form := rules[name], Never))


@pytest.fixture
def searches(monkeypatch: pytest.MonkeyPatch) -> list[SearchCase]:
    """Every search that is made."""
    made: list[SearchCase] = []

    def case(*given: object, **more: object) -> SearchCase:
        made.append(SearchCase(*given, **more))  # type: ignore[arg-type]
        return made[-1]

    monkeypatch.setattr(ordain.prover.decide, "SearchCase", case)
    return made


def outcomes(contents: Contents, first: tuple[Property, ...], second: tuple[Property, ...]) -> list[str]:
    rounds = ProofRounds(build_system(contents))
    rounds.decide(first)
    return [verdict.outcome for verdict in rounds.decide(second).verdicts]


def test_what_was_looked_at_already_is_not_searched_again(searches: list[SearchCase]) -> None:
    contents = contents_of(MACHINE, MICRO)
    first, second = never(contents, "low", "input"), never(contents, "low", "address")
    assert outcomes(contents, first, second) == ["broken", "proved"]
    assert len(searches) == 1


def test_the_same_is_not_searched_again_unless_the_search_was_stopped(searches: list[SearchCase]) -> None:
    contents = contents_of(MACHINE, MICRO)
    rounds, asked = ProofRounds(build_system(contents)), never(contents, "input", "address")
    for limits, outcomes, made in ((Limits(states=0), ["undecided", "undecided"], 1), (None, ["broken", "proved"], 2),
                                   (None, ["broken", "proved"], 2)):
        found = rounds.decide(asked, limits)
        assert [verdict.outcome for verdict in found.verdicts] == outcomes and len(searches) == made


@pytest.mark.parametrize("asked", ["high", "other", "input"])
def test_what_the_first_round_left_out_is_searched_for(searches: list[SearchCase], asked: str) -> None:
    """Another bit of a state, another state, an input."""
    contents = contents_of(MACHINE, MICRO)
    assert outcomes(contents, never(contents, "low"), never(contents, asked)) == ["broken"]
    assert len(searches) == 2


def test_bits_held_at_0_for_the_first_round_are_not_for_the_second(monkeypatch: pytest.MonkeyPatch) -> None:
    """For the first question the state is dead everywhere but at 1; the second reads it at 2."""
    monkeypatch.setattr(ordain.prover.symbolic.cases, "WIDE", 0)
    monkeypatch.setattr(ordain.prover.symbolic.dead, "SELDOM", 1)
    text = MACHINE + 'rule "before" never noted[0] and upc is 1\n'
    contents = contents_of(text, MICRO)
    assert outcomes(contents, never(contents, "before"), never(contents, "low")) == ["broken"]


def test_a_monitor_that_the_first_round_had_not_is_searched_for(searches: list[SearchCase]) -> None:
    contents = contents_of(MACHINE, MICRO)
    (low,) = never(contents, "low")
    leaf = contents.machine.terms.leaf("state", "was low", 1)
    monitor = Variable("was low", leaf, 2, 0, low.node, "monitor")
    later = Property("asked", "later", "bad", leaf, monitors=(monitor,))
    never_set = monitor._replace(next=contents.machine.terms.and_((low.node, contents.machine.terms.not_(low.node))))
    assert outcomes(contents, (low,), (later,)) == ["broken"]
    assert outcomes(contents, (low, later), (later,)) == ["broken"]
    assert outcomes(contents, (low, later._replace(monitors=(never_set,))), (later,)) == ["broken"]


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 1 << 32))
def test_two_rounds_say_what_each_says_alone(seed: int) -> None:
    random = Random(seed)
    contents, properties = random_contents(random)
    asked = [*properties, *random_journeys(random, contents)[:2], *random_comparisons(random, contents)[:2]]
    first, second = asked[::2], asked[1::2]
    rounds = ProofRounds(build_system(contents))
    rounds.decide(tuple(first))
    found = rounds.decide(tuple(second))
    wanted = decide(build_system(contents), tuple(second))
    assert [(one.outcome, one.worst, [each[:2] for each in one.breaks]) for one in found.verdicts] \
        == [(one.outcome, one.worst, [each[:2] for each in one.breaks]) for one in wanted.verdicts]
    assert found.executed == wanted.executed


@pytest.mark.parametrize("wide", [8192, 0])
def test_diagrams_are_given_back_before_others_are_made(monkeypatch: pytest.MonkeyPatch, wide: int) -> None:
    """Each set of diagrams sets aside gigabytes of addresses, of which a process may have been given few."""
    made: list[weakref.ref[Space]] = []

    class Counted(Space):
        def __init__(self, *given: Any) -> None:
            assert all(one() is None for one in made)
            made.append(weakref.ref(self))
            super().__init__(*given)

    monkeypatch.setattr(ordain.prover.symbolic.cases, "Space", Counted)
    monkeypatch.setattr(ordain.prover.symbolic.cases, "WIDE", wide)
    contents = contents_of(MACHINE, MICRO)
    assert outcomes(contents, never(contents, "low"), never(contents, "high")) == ["broken"]
    assert len(made) == (4 if not wide else 2)
