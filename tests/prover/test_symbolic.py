"""The engine of diagrams against a search over single states and single inputs (`tests/oracle.py`), on random machines:
verdicts, numbers of states, depth, lengths of traces, exact worst cases, addresses; every trace has to replay."""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.control.model import Variable
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property, Verdict, Verdicts
from ordain.rom.contents import Contents
from tests import oracle
from tests.prover.by_hand import SEQUENCERS, random_comparisons, random_contents, random_journeys, random_successions


def _decided(contents: Contents, properties: list[Property], limits: Limits) -> Verdicts:
    return decide(build_system(contents), tuple(properties), limits)


@pytest.mark.parametrize("kinds", [SEQUENCERS, ("lines",)])
@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 1 << 32), reduce=st.booleans())
def test_verdicts_agree(kinds: tuple[str, ...], seed: int, reduce: bool) -> None:
    random = Random(seed)
    contents, properties = random_contents(random, kinds)
    agree(contents, [*properties, *random_journeys(random, contents)[:2]], Limits(reduce=reduce, traces=3))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 1 << 32))
def test_what_is_compared_with_earlier_cycles(seed: int) -> None:
    random = Random(seed)
    contents, _ = random_contents(random)
    agree(contents, [*random_comparisons(random, contents), *random_successions(random, contents)], Limits(traces=3))


@pytest.mark.parametrize("reset", [0, 1])
@pytest.mark.parametrize("kind", ["bad", "reach"])
def test_what_is_remembered_at_the_start(kind: str, reset: int) -> None:
    """Nothing has been, but for monitors that begin with 1: here only the first cycle has no cycle before it."""
    contents, _ = random_contents(Random(1))
    terms = contents.machine.terms
    leaf = terms.leaf("state", "remembered", 1)
    monitor = Variable("remembered", leaf, 2, reset, terms.const(1 - reset, 1), "monitor")
    node = leaf if reset else terms.not_(leaf)
    agree(contents, [Property("first", "", kind, node, monitors=(monitor,))], Limits())  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(12))
def test_a_limit_leaves_what_is_known(seed: int) -> None:
    contents, properties = random_contents(Random(seed))
    full = _decided(contents, properties, Limits())
    part = _decided(contents, properties, Limits(states=max(1, full.states // 3)))
    assert part.stopped in ("", "states") and (part.stopped or part.states == full.states)
    for some, whole in zip(part.verdicts, full.verdicts, strict=True):
        assert some.outcome in (whole.outcome, "undecided")


def agree(contents: Contents, properties: list[Property], limits: Limits) -> None:
    wanted = oracle.decide(contents, properties)
    found = _decided(contents, properties, limits)
    if not limits.reduce:
        assert (found.states, found.transitions, found.depth) == (wanted.states, wanted.transitions, wanted.depth)
    assert found.executed == {store: wanted.executed[store] for store in found.executed}
    assert found.over_assumed.outcome == wanted.over_assumed.outcome
    assert [each.cycles for each in found.over_assumed.breaks] == [each.cycles for each in wanted.over_assumed.breaks]
    for mine, theirs in zip(found.verdicts, wanted.verdicts, strict=True):
        _same(contents, mine, theirs, counts=not limits.reduce and not mine.property.monitors)
        _replays(contents, mine)


def _same(contents: Contents, mine: Verdict, theirs: Verdict, counts: bool) -> None:
    assert (mine.outcome, mine.worst) == (theirs.outcome, theirs.worst)
    kind = mine.property.kind
    if kind in ("bad", "always"):
        assert [each[:2] for each in mine.breaks] == [each[:2] for each in theirs.breaks]
        if counts:
            assert [each.states for each in mine.breaks] == [each.states for each in theirs.breaks]
    if mine.witness is not None:
        assert len(mine.witness.cycles) == oracle.shortest(contents, mine.property)
    assert (mine.witness is not None) == (kind == "reach" and mine.outcome == "proved")


def _replays(contents: Contents, verdict: Verdict) -> None:
    for trace in (verdict.witness, *(each.trace for each in verdict.breaks)):
        if trace is not None:
            oracle.replay(contents, verdict.property, trace)
    if verdict.property.kind == "bad":
        for each in verdict.breaks[:3]:
            assert each.trace is not None and len(each.trace.cycles) == each.cycles
            assert each.address is None or each.trace.cycles[-1].addresses[verdict.property.per_word] == each.address
            assert "node" in each.trace.cycles[-1].events
