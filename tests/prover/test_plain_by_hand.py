"""The plain engine over machines of a few states, beside the plain search of the tests, and over one whose sequences
are written down here."""

from random import Random

import pytest

from ordain.control.model import Variable
from ordain.control.system import build_system
from ordain.machine.expression import Node
from ordain.prover.model import Limits, Property, Verdict
from ordain.prover.plain import TooManyCycles, decide_plainly
from tests import oracle
from tests.prover.by_hand import Bench, random_comparisons, random_contents, random_journeys, random_successions
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

MACHINE = """machine round
microprogram "round.micro"
store control 8 words of 5 bits
    address upc
field target 3 bits address, idle following
field ring 1 bit
field lamp 1 bit
input go 1 bit
state upc 3 bits, reset 0
    next 6 if go and lamp else target
"""
MICRO = """
routine start at 0
    ring
    lamp
    target start
routine away at 6
    ring
  for_ever: target for_ever
"""
"""`ring`, `lamp`, neither, and again; with `go` from the second one to the sixth, `ring`, and then the seventh, where
control stays."""
CONTENTS = contents_of(MACHINE, MICRO)
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
    (at(2), at(1, 2), at(7), 1, "broken", 2, [0, 1, 6]), (at(7), at(0), at(2), 3, "proved", 3, None),
    (at(7), at(0), at(2), 2, "broken", 3, [0, 1, 6]), (at(5), at(0), at(2), 3, "broken", None, [0, 1, 6, 7])])
def test_how_long_an_answer_takes(node: Node, trigger: Node, unless: Node | None, cycles: int, outcome: str,
                                  worst: int | None, way: list[int] | None) -> None:
    found = told("within", node, trigger=trigger, unless=unless, cycles=cycles)
    assert (found.outcome, found.worst) == (outcome, worst)
    assert [each[3] for each in ways(found)] == ([way] if way else [])
    assert all((each.cycles, each.states) == (len(way or ()), 0) for each in found.breaks)


@pytest.mark.parametrize(("remembers", "after"), [(True, {"upc": 6, "rung": 1}), (False, {"upc": 6})])
def test_what_is_left_behind_is_the_machine_and_what_the_question_remembers(remembers: bool,
                                                                            after: dict[str, int]) -> None:
    """Another question remembers it in any case."""
    leaf = TERMS.leaf("state", "rung", 1)
    rung = Variable("rung", leaf, 2, 0, TERMS.or_((leaf, RING)), "monitor")
    asked = [Property("asked", "", "bad", TERMS.and_((at(1), GO, leaf)), monitors=(rung,)),
             Property("asked", "", "bad", TERMS.and_((at(1), GO)))]
    verdicts = decide_plainly(build_system(CONTENTS), tuple(asked if remembers else asked[1:])).verdicts
    assert [ways(verdict) for verdict in verdicts] == [[(None, 2, 1, [0, 1])]] * len(verdicts)
    assert verdicts[0].breaks[0].trace is not None and verdicts[0].breaks[0].trace.after == after
    cycles = verdicts[0].breaks[0].trace.cycles
    assert [cycle.monitors for cycle in cycles] == ([{"rung": 0}, {"rung": 1}] if remembers else [{}, {}])


def test_lines_that_nobody_reads_are_no_choice() -> None:
    wide = contents_of(MACHINE.replace("input go 1 bit", "input go 1 bit, unused 30 bits"), MICRO)
    found = decide_plainly(build_system(wide), (), most=10)
    assert (found.states, found.transitions, found.depth, found.ended, found.stopped) == (5, 6, 3, "", "")
    assert found.executed == {"control": frozenset((0, 1, 2, 6, 7))}
    with pytest.raises(TooManyCycles, match="2 choices of inputs in each of more than 4 states"):
        decide_plainly(build_system(wide), (), most=9)


def test_with_assumptions_that_leave_nothing_it_is_said_where() -> None:
    """At 6 `go` has to be 1 and 0."""
    dead = MACHINE + "assume go or upc is not 6\nassume not go or upc is not 6\n"
    found = decide_plainly(build_system(contents_of(dead, MICRO)), ())
    assert (found.over_assumed.outcome, ways(found.over_assumed)) == ("broken", [(None, 2, 1, [0, 1])])
    trace = found.over_assumed.breaks[0].trace
    assert trace is not None and trace.dead_end and trace.loop is None and trace.after == {"upc": 6}
    assert decide_plainly(build_system(CONTENTS), ()).over_assumed.outcome == "proved"


def test_what_is_too_large_is_refused() -> None:
    contents, properties = random_contents(Random(1))
    system = build_system(contents)
    with pytest.raises(TooManyCycles, match="choices of inputs"):
        decide_plainly(system, tuple(properties), most=8)
    with pytest.raises(TooManyCycles, match="in each of more than"):
        decide_plainly(system, tuple(properties), most=200)


def test_what_may_begin_in_too_many_ways_is_refused_at_once() -> None:
    bench = Bench()
    any_ = bench.state("any", 8, None)
    bench.next("any", any_)
    bench.store("control", bench.input("line", 2), {"lamp": 1}, [0, 0, 0, 0])
    system = build_system(bench.contents())
    with pytest.raises(TooManyCycles, match="4 choices of inputs in each cycle, from 256 states at the start"):
        decide_plainly(system, (), most=4 * 256 - 1)
    assert decide_plainly(system, (), most=4 * 256).states == 256


def test_a_limit_of_time_decides_nothing() -> None:
    contents, _ = random_contents(Random(1))
    asked = Property("none", "", "bad", contents.machine.terms.const(0, 1))
    found = decide_plainly(build_system(contents), (asked,), Limits(seconds=0.0))
    assert [each.outcome for each in (*found.verdicts, found.over_assumed)] == ["undecided", "undecided"]
    assert found.stopped == found.ended == "seconds"
    assert {(each.states, each.transitions) for each in (*found.verdicts, found.over_assumed)} == {(0, 0)}
    assert (found.executed, found.states, found.transitions, found.depth) == ({}, 0, 0, 0)


def test_of_several_stores_the_one_is_told_apart_by_that_is_asked_for() -> None:
    """A store that is no microprogram stands before it: it is not executed."""
    lamps = "store lamps 4 words of 1 bit\n    address upc[2:1]\n    word upc[2]\nstore control"
    contents = contents_of(MACHINE.replace("store control", lamps), MICRO)
    asked = Property("asked", "", "bad", contents.machine.terms.leaf("field", "ring", 1), per_word="control")
    found = decide_plainly(build_system(contents), (asked,))
    assert [each[:3] for each in found.verdicts[0].breaks] == [(0, 1, 1), (6, 3, 1)]
    assert found.executed == {"control": frozenset((0, 1, 2, 6, 7))}
    (other,) = decide_plainly(build_system(contents), (asked._replace(per_word="lamps"),)).verdicts
    assert [each[:3] for each in other.breaks] == [(0, 1, 1), (3, 3, 1)]


def test_which_parts_of_a_question_hold_in_its_cycles() -> None:
    def events(verdict: Verdict) -> list[frozenset[str]]:
        trace = verdict.witness or verdict.breaks[0].trace
        assert trace is not None and not trace.dead_end
        return [cycle.events for cycle in trace.cycles]

    none, node, trigger = frozenset[str](), frozenset(("node",)), frozenset(("trigger",))
    assert events(told("bad", at(6))) == [none, none, node]
    assert events(told("reach", at(7))) == [none, none, none, node]
    assert events(told("within", at(0), trigger=LAMP, unless=at(6), cycles=1)) == [node, trigger, none]
    assert events(told("within", at(5), trigger=at(0), unless=at(3), cycles=9))[:2] == [trigger, none]
    assert events(told("always", at(0))) == [node, none, none, none]
    dead = MACHINE + "assume go or upc is not 6\nassume not go or upc is not 6\n"
    found = decide_plainly(build_system(contents_of(dead, MICRO)), ()).over_assumed
    assert found.breaks[0].trace is not None
    assert [cycle.events for cycle in found.breaks[0].trace.cycles] == [none, none]
