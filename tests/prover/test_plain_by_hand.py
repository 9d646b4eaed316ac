"""The plain engine over machines of a few states, beside the plain search of the tests, and over one whose sequences
are written down here."""

from random import Random

import pytest

from ordain.control.system import build_system
from ordain.machine.expression import Node
from ordain.prover.model import Limits, Property, Verdict
from ordain.prover.plain import decide_plainly
from tests import oracle
from tests.prover.by_hand import random_comparisons, random_contents, random_journeys, random_successions
from tests.workshop import contents_of


@pytest.mark.parametrize("seed", [9, 11, 12, 17, 25, 26, 43, 45, 55])
def test_a_few_states_by_chance(seed: int) -> None:
    """Figures, outcomes, breaks; and each sequence is a run of the machine, as long as is said."""
    random = Random(seed)
    contents, properties = random_contents(random)
    for more in (random_comparisons, random_journeys, random_successions):
        properties += more(random, contents)
    found = decide_plainly(build_system(contents), tuple(properties))
    wanted = oracle.decide(contents, properties)
    assert (found.states, found.transitions, found.depth, found.executed) == (
        wanted.states, wanted.transitions, wanted.depth, {store: wanted.executed[store] for store in found.executed})
    assert found.over_assumed.outcome == wanted.over_assumed.outcome
    for mine, theirs in zip(found.verdicts, wanted.verdicts, strict=True):
        assert (mine.outcome, mine.worst, mine.states, mine.transitions) == \
            (theirs.outcome, theirs.worst, theirs.states, theirs.transitions)
        if mine.property.kind in ("bad", "always"):
            assert [each[:3] for each in mine.breaks] == [each[:3] for each in theirs.breaks]
        for each in mine.breaks:
            assert each.trace is not None
            oracle.replay(contents, mine.property, each.trace)
            if mine.property.kind == "bad":
                assert len(each.trace.cycles) == each.cycles
        if mine.property.kind == "reach":
            assert (mine.witness and len(mine.witness.cycles)) == oracle.shortest(contents, mine.property)


# ---------------------------------------------------------------- a round of three words

CONTENTS = contents_of("""machine round
microprogram "round.micro"
store control 8 words of 5 bits
    address upc
field target 3 bits address, idle following
field ring 1 bit
field lamp 1 bit
input go 1 bit
state upc 3 bits, reset 0
    next 6 if go and lamp else target
""", """
routine start at 0
    ring
    lamp
    target start
routine away at 6
    ring
  for_ever: target for_ever
""")
"""`ring`, `lamp`, neither, and again; with `go` from the second one to the sixth, `ring`, and then the seventh, where
control stays."""
TERMS = CONTENTS.machine.terms
RING, LAMP, GO = TERMS.leaf("field", "ring", 1), TERMS.leaf("field", "lamp", 1), TERMS.leaf("input", "go", 1)


def at(*places: int) -> Node:
    return TERMS.among(TERMS.leaf("state", "upc", 3), frozenset(places))


def told(kind: str, node: Node, limits: Limits | None = None, **more: object) -> Verdict:
    asked = Property("asked", "", kind, node, **more)  # type: ignore[arg-type]
    (verdict,) = decide_plainly(build_system(CONTENTS), (asked,), limits).verdicts
    assert verdict.property is asked
    return verdict


def ways(verdict: Verdict) -> list[tuple[int | None, int, int, list[int] | None]]:
    """Of each break the address, the cycles, the states, and which addresses its sequence goes through."""
    return [(each.address, each.cycles, each.states, each.trace and [
        cycle.addresses["control"] for cycle in each.trace.cycles]) for each in verdict.breaks]


def test_where_something_is_broken() -> None:
    assert ways(told("bad", RING, per_word="control")) == [(0, 1, 1, [0]), (6, 3, 1, [0, 1, 6])]
    assert ways(told("bad", RING)) == [(None, 1, 2, [0])]
    assert ways(told("bad", RING, Limits(traces=1), per_word="control")) == [(0, 1, 1, [0]), (6, 3, 1, None)]
    assert ways(told("bad", RING, Limits(traces=0))) == [(None, 1, 2, None)]
    found = told("bad", TERMS.and_((RING, LAMP)))
    assert (found.outcome, found.states, found.transitions, ways(found)) == ("proved", 5, 6, [])


@pytest.mark.parametrize(("kind", "node", "vacuity", "outcome"), [
    ("bad", at(5), at(4), "vacuous"), ("bad", at(5), at(7), "proved"), ("bad", at(7), at(4), "broken"),
    ("bad", at(5), None, "proved"), ("reach", at(7), at(4), "vacuous"), ("reach", at(7), at(6), "proved")])
def test_what_never_comes_to_pass_makes_vacuous(kind: str, node: Node, vacuity: Node | None, outcome: str) -> None:
    found = told(kind, node, vacuity=vacuity)
    assert found.outcome == outcome
    assert (found.witness is not None) == (kind == "reach" and outcome == "proved")


@pytest.mark.parametrize(("node", "shown", "outcome", "way"), [
    (at(7), True, "proved", [0, 1, 6, 7]), (at(0), True, "proved", [0]), (at(2), True, "proved", [0, 1, 2]),
    (at(7), False, "proved", None), (at(3), True, "broken", None), (TERMS.and_((GO, LAMP)), True, "proved", [0, 1])])
def test_what_can_be_reached(node: Node, shown: bool, outcome: str, way: list[int] | None) -> None:
    found = told("reach", node, shown=shown)
    assert (found.outcome, found.breaks) == (outcome, ())
    assert (found.witness and [cycle.addresses["control"] for cycle in found.witness.cycles]) == way


def test_what_cannot_be_reached_any_more() -> None:
    """From the sixth word and the seventh nothing leads back; the way goes round in the seventh."""
    found = told("always", at(0))
    assert (found.outcome, ways(found)) == ("broken", [(None, 2, 2, [0, 1, 6, 7])])
    assert found.breaks[0].trace is not None and found.breaks[0].trace.loop == 3
    assert not found.breaks[0].trace.dead_end
    assert told("always", at(0, 7)).outcome == told("always", TERMS.const(1, 1)).outcome == "proved"
    assert ways(told("always", at(6))) == [(None, 3, 1, [0, 1, 6, 7])]


@pytest.mark.parametrize(("node", "trigger", "unless", "cycles", "outcome", "worst", "way"), [
    (LAMP, at(0), None, 1, "proved", 1, None), (LAMP, at(0), None, 0, "broken", 1, [0]),
    (at(0), LAMP, at(6), 2, "proved", 2, None), (at(0), LAMP, at(6), 1, "broken", 2, [0, 1, 2]),
    (at(0), LAMP, None, 9, "broken", None, [0, 1, 6, 7]), (at(7), at(6), None, 1, "proved", 1, None),
    (at(7), LAMP, at(2), 2, "proved", 2, None), (at(7), LAMP, at(2), 1, "broken", 2, [0, 1, 6]),
    (at(7), at(7), None, 0, "proved", 0, None), (at(7), at(4), None, 0, "proved", None, None),
    (at(2), TERMS.and_((LAMP, TERMS.not_(GO))), None, 1, "proved", 1, None),
    (at(2), at(1, 2), at(7), 1, "broken", 2, [0, 1, 6])])
def test_how_long_an_answer_takes(node: Node, trigger: Node, unless: Node | None, cycles: int, outcome: str,
                                  worst: int | None, way: list[int] | None) -> None:
    found = told("within", node, trigger=trigger, unless=unless, cycles=cycles)
    assert (found.outcome, found.worst) == (outcome, worst)
    assert [each[3] for each in ways(found)] == ([way] if way else [])
    assert all(each.cycles == len(way or ()) for each in found.breaks)
