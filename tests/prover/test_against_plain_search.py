"""The prover against a search over single states and single inputs (`tests/oracle.py`), on random machines.

All kinds of sequencer, agents, synchronisers, latches, free buses, assumptions that lead nowhere; every kind of
property. Verdicts, counts of states and transitions, depth, lengths of traces and exact worst cases have to agree, with
and without reductions; every trace has to replay.
"""

from random import Random

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from ordain.control.model import Variable
from ordain.control.system import build_system, with_free
from ordain.machine.expression import Prior, postorder
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property, Verdict
from ordain.prover.questions import lower_properties, nodes_of
from ordain.prover.symbolic.cases import SearchCase, SearchWatch, model_of
from ordain.prover.symbolic.space import by_value
from ordain.rom.contents import Contents
from tests import oracle
from tests.prover.by_hand import SEQUENCERS, random_comparisons, random_contents, random_journeys, random_successions
from tests.workshop import contents_of

MACHINE = """machine weir
microprogram "weir.micro"
store control 8 words of 4 bits
    address upc
field branch 2 bits
    step     0 idle
    wipe     1
    dispatch 2
    home     3
field open 1 bit
spare 1 bit
state upc 3 bits, reset 0
    next choose branch
        dispatch : {0b1, opcode}
        home     : 0
        otherwise : upc + 1
input clear 1 bit
input new 2 bits
state opcode 2 bits, reset 3
    next choose branch
        wipe      : 0 if clear else opcode
        home      : new
        otherwise : opcode
home start
"""
MICRO = """routine start at 0
    open
    branch wipe
    branch dispatch
routine ends at 4
    open
    branch step
    open
    branch home
"""


@pytest.mark.parametrize("kinds", [SEQUENCERS, ("lines",)])
@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 1 << 32), reduce=st.booleans())
def test_verdicts_agree(kinds: tuple[str, ...], seed: int, reduce: bool) -> None:
    random = Random(seed)
    contents, properties = random_contents(random, kinds)
    agree(contents, [*properties, *random_journeys(random, contents)[:2]], Limits(reduce=reduce, traces=3), LARGEST)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 1 << 32))
def test_what_is_compared_with_earlier_cycles(seed: int) -> None:
    """What only such a question looks at is not kept by the search of the machine alone; some are decided, and shown,
    without a search of their own."""
    random = Random(seed)
    contents, _ = random_contents(random)
    agree(contents, [*random_comparisons(random, contents), *random_successions(random, contents)], Limits(traces=3),
          LARGEST)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 1 << 32))
def test_what_can_still_be_reached(seed: int) -> None:
    """What one answer says must not spoil the next."""
    random = Random(seed)
    contents, _ = random_contents(random)
    agree(contents, random_journeys(random, contents), Limits(reduce=False), LARGEST)


@pytest.mark.parametrize("reset", [0, 1])
@pytest.mark.parametrize("kind", ["bad", "reach"])
def test_what_is_remembered_at_the_start(kind: str, reset: int) -> None:
    """Nothing has been, but for monitors that begin with 1: here only the first cycle has no cycle before it."""
    contents, _ = random_contents(Random(1))
    terms = contents.machine.terms
    leaf = terms.leaf("state", "remembered", 1)
    monitor = Variable("remembered", leaf, 2, reset, terms.const(1 - reset, 1), "monitor")
    node = leaf if reset else terms.not_(leaf)
    asked = Property("first", "", kind, node, monitors=(monitor,))  # type: ignore[arg-type]
    (found,) = decide(build_system(contents), (asked,)).verdicts
    trace = found.witness or found.breaks[0].trace
    assert found.outcome == ("broken" if kind == "bad" else "proved")
    assert trace is not None and len(trace.cycles) == 1
    agree(contents, [asked], Limits())


def test_what_must_not_occur_is_broken_whether_it_is_to_be_shown_or_not() -> None:
    contents, _ = random_contents(Random(1))
    terms = contents.machine.terms
    leaf = terms.leaf("state", "remembered", 1)
    monitor = Variable("remembered", leaf, 2, 0, terms.const(1, 1), "monitor")
    asked = tuple(Property("first", "", "bad", leaf, monitors=(monitor,), shown=shown) for shown in (True, False))
    assert [found.outcome for found in decide(build_system(contents), asked).verdicts] == ["broken", "broken"]


@pytest.mark.parametrize("reset", range(4))
@pytest.mark.parametrize("reduce", [True, False])
def test_ways_that_meet_at_some_spots_of_a_place_only(reset: int, reduce: bool) -> None:
    """Clearing an opcode and keeping it are one edge where it is 0 already, two where it is not."""
    contents = contents_of(MACHINE.replace("reset 3", f"reset {reset}"), MICRO)
    terms = contents.machine.terms
    asked = [Property("there", "", "reach", terms.among(terms.leaf("state", "upc", 3), frozenset((6,))))]
    agree(contents, asked, Limits(reduce=reduce))


LARGEST = 50_000
"""Cycles that the plain search follows of a machine by chance; the few that have more would take most of the time."""


def agree(contents: Contents, properties: list[Property], limits: Limits, most: int | None = None) -> None:
    """The search and the plain one say the same. `most`: rejects examples of which the plain search has more cycles."""
    try:
        wanted = oracle.decide(contents, properties, most)
    except oracle.TooLarge:
        reject()
    found = decide(build_system(contents), tuple(properties), limits)
    if not limits.reduce:
        assert (found.states, found.transitions, found.depth) == (wanted.states, wanted.transitions, wanted.depth)
    assert found.executed == {store: wanted.executed[store] for store in found.executed}
    assert found.over_assumed.outcome == wanted.over_assumed.outcome
    assert [each.cycles for each in found.over_assumed.breaks] == [each.cycles for each in wanted.over_assumed.breaks]
    for mine, theirs in zip(found.verdicts, wanted.verdicts, strict=True):
        _same(contents, mine, theirs, counts=not limits.reduce and not _remembers(mine.property))
        _replays(contents, mine)


def _same(contents: Contents, mine: Verdict, theirs: Verdict, counts: bool) -> None:
    assert (mine.outcome, mine.worst) == (theirs.outcome, theirs.worst)
    kind = mine.property.kind
    if kind in ("bad", "always"):
        told = 3 if counts else 2  # how many states break it, too
        assert [each[:told] for each in mine.breaks] == [each[:told] for each in theirs.breaks]
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
            assert each.address is None or each.trace.cycles[-1].addresses["control"] == each.address
            assert "node" in each.trace.cycles[-1].events


def _remembers(asked: Property) -> bool:
    """Whether it has variables of its own, so that its states are counted in another search."""
    return bool(asked.monitors) or any(type(node) is Prior for node in postorder(nodes_of(asked)))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 1 << 32), st.booleans())
def test_the_reduced_states_are_the_projections_of_the_real_ones(seed: int, everything: bool) -> None:
    """Each state, with its level: the search finds what is left of the real states when bits that nothing asked depends
    on are cleared."""
    contents, properties = random_contents(Random(seed))
    system = build_system(contents)
    asked = tuple(prop for prop in lower_properties(system, tuple(properties)) if not prop.monitors)
    system = system._replace(free=with_free(system.free, tuple(node for prop in asked for node in nodes_of(prop))))
    model = model_of(system, asked, Limits(reduce=not everything))
    case = SearchCase(model, (), SearchWatch(Limits(), None, 0.0))
    kept = case.model.space.variables
    state = system.terms.join(variable.leaf for variable in kept)
    found = {value: level for level, new in enumerate(case.layers.new)
             for value, _ in by_value(case.space.bits(state), new)}
    assert found == _projected(contents, {variable.name: model.needed[variable.leaf] for variable in kept})


def _projected(contents: Contents, kept: dict[str, int]) -> dict[int, int]:
    """The level of each state. `kept`: of each variable, first ones highest in the number, the mask of its bits."""
    model = oracle.Model(contents, ())
    slots = {slot.name: (index, max(1, (slot.values - 1).bit_length())) for index, slot in enumerate(model.slots)}
    found: dict[int, int] = {}
    for state, level in oracle.explore(model).level.items():
        value = 0
        for name, mask in kept.items():
            index, width = slots[name]
            value = value << width | state[index] & mask
        found[value] = min(level, found.get(value, level))
    return found


@pytest.mark.parametrize("seed", range(12))
def test_a_limit_leaves_what_is_known(seed: int) -> None:
    """With a limit of states, what was found still holds, and nothing is called proved."""
    contents, properties = random_contents(Random(seed))
    system = build_system(contents)
    full = decide(system, tuple(properties))
    part = decide(system, tuple(properties), Limits(states=max(1, full.states // 3)))
    assert part.stopped in ("", "states") and (part.stopped or part.states == full.states)
    for some, whole in zip(part.verdicts, full.verdicts, strict=True):
        assert some.outcome in (whole.outcome, "undecided")
        if some.property.kind == "bad" and some.outcome == "broken":
            assert some.breaks[0].cycles == whole.breaks[0].cycles


@pytest.mark.parametrize("kinds", [SEQUENCERS, ("lines",)])
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 1 << 32))
def test_a_question_alone_is_answered_as_in_company(kinds: tuple[str, ...], seed: int) -> None:
    """What else is asked decides what a search keeps, but never what is said."""
    random = Random(seed)
    contents, properties = random_contents(random, kinds)
    properties = [*properties[:2], *random_comparisons(random, contents), *random_successions(random, contents)[:2]]
    system, limits = build_system(contents), Limits(traces=0)
    together = decide(system, tuple(properties), limits).verdicts
    for asked, among in zip(properties, together, strict=True):
        (alone,) = decide(system, (asked,), limits).verdicts
        assert answer(contents, alone) == answer(contents, among)


def answer(contents: Contents, verdict: Verdict) -> object:
    """What a verdict says, without the figures of the search that gave it. Of addresses that hold the same word and
    that nothing tells apart, any one may be told; and any loop in which one waits for ever."""
    words = contents.words["control"]
    if verdict.property.kind == "within":
        return verdict.outcome, verdict.worst
    breaks = {(each.address if each.address is None else words[each.address], each.cycles) for each in verdict.breaks}
    witness = verdict.witness and len(verdict.witness.cycles)
    return verdict.outcome, verdict.worst, breaks, witness


@pytest.mark.parametrize("seed", [29, 50])
def test_what_is_not_kept_is_not_compared(seed: int) -> None:
    """Machines in which a question about the cycle before, asked alone, reads what the search of the machine holds
    at 0: once in what is remembered, once in a cycle of which inputs decide what is remembered."""
    random = Random(seed)
    contents, _ = random_contents(random, ("lines", "slots", "counter", "returning"))
    system = build_system(contents)
    for asked in (*random_comparisons(random, contents), *random_successions(random, contents)):
        kept, whole = (decide(system, (asked,), Limits(traces=0, reduce=reduce)).verdicts[0]
                       for reduce in (True, False))
        assert answer(contents, kept) == answer(contents, whole)


FORGETFUL = """machine sluice
microprogram "sluice.micro"
store control 4 words of 4 bits
    address upc
field branch 2 bits
    step  0 idle
    asked 1
    home  2
    take  3
spare 2 bits
state upc 2 bits, reset 0
    next choose branch
        asked     : 2 if flag else 3
        home      : 0
        otherwise : upc + 1
input go 1 bit
state flag 1 bit, reset 0
    next go if branch is take else flag
home start
"""


@pytest.mark.parametrize("kind", ["bad", "reach"])
def test_what_only_the_comparison_still_looks_at(kind: str) -> None:
    """At 2 the flag is 1 and was 1; but once it has been asked nothing of the machine looks at it any more, so the
    search of the machine alone holds it at 0 there."""
    contents = contents_of(FORGETFUL, "routine start at 0\n    branch take\n    branch asked\n"
                                      "    branch home\n    branch home\n")
    terms = contents.machine.terms
    flag, upc = terms.leaf("state", "flag", 1), terms.leaf("state", "upc", 2)
    node = terms.and_((terms.among(upc, frozenset((2,))), terms.equal(terms.prior(flag), flag)))
    asked = Property("same", "", kind, node)  # type: ignore[arg-type]
    (found,) = decide(build_system(contents), (asked,)).verdicts
    assert found.outcome == oracle.verdict(contents, asked).outcome == ("broken" if kind == "bad" else "proved")
