"""How many searches questions take that remember something: none of their own where that of the machine says enough."""

from collections.abc import Callable
from itertools import product
from random import Random
from typing import Any

import pytest
from oxidd.util import DDMemoryError

import ordain.prover.decide
import ordain.prover.symbolic.cases
from ordain.control.model import Variable
from ordain.control.system import build_system
from ordain.machine.expression import Node
from ordain.prover.decide import decide, reached
from ordain.prover.limits import Deadline, LimitReached
from ordain.prover.model import Limits, Property
from ordain.prover.symbolic.relation import Graph, Relation
from ordain.prover.symbolic.space import Space
from ordain.prover.symbolic.verdicts import Judge
from tests.prover.test_endings import searches
from tests.workshop import contents_of

MACHINE = """machine small
microprogram "small.micro"
store control 4 words of 4 bits
    address upc
field target 2 bits address, idle following
field ring 1 bit
field lamp 1 bit
input go 1 bit
state upc 2 bits, reset 0
    next target
"""
MICRO = """
routine start at 0
    ring
    lamp
    target start
"""
"""`ring`, `lamp`, neither, and again; the word at 3 is never executed."""
CONTENTS = contents_of(MACHINE, MICRO)
TERMS = CONTENTS.machine.terms
RING, LAMP, GO = TERMS.leaf("field", "ring", 1), TERMS.leaf("field", "lamp", 1), TERMS.leaf("input", "go", 1)
NO, YES = TERMS.const(0, 1), TERMS.const(1, 1)


def at(*places: int) -> Node:
    return TERMS.among(TERMS.leaf("state", "upc", 2), frozenset(places))


def monitor(name: str, following: Node, reset: int | None = 0) -> Variable:
    leaf = TERMS.leaf("state", name, following.width)
    return Variable(name, leaf, 1 << leaf.width, reset, following, "monitor")


def both(*nodes: Node) -> Node:
    return TERMS.and_(nodes)


def before(node: Node, cycles: int = 1) -> Node:
    for _ in range(cycles):
        node = TERMS.prior(node)
    return node


WINDOW_LEAF = TERMS.leaf("state", "window", 1)
WINDOW = monitor("window", TERMS.or_((RING, both(WINDOW_LEAF, TERMS.not_(LAMP)))))
"""Open from the cycle after `ring` to the next `lamp`."""
TURN_LEAF = TERMS.leaf("state", "turn", 1)
TURN = monitor("turn", TERMS.xor(TURN_LEAF, RING))
"""Turned over by every `ring`."""


AFTER_LEAF = TERMS.leaf("state", "after", 1)
AFTER = monitor("after", TERMS.or_((LAMP, both(AFTER_LEAF, TERMS.not_(RING)))))
"""Open from the cycle after `lamp` to the next `ring`."""
SEEN_LEAF = TERMS.leaf("state", "seen", 1)
SEEN = monitor("seen", TERMS.or_((RING, SEEN_LEAF)))
"""From the first `ring` on."""
PASSED = (monitor("passed", LAMP), monitor("passed long", TERMS.leaf("state", "passed", 1)))
DEEP = monitor("deep", both(*(one.leaf for one in PASSED)))
"""`lamp` two cycles before, and three."""


def window(start: Node, end: Node, after: Node) -> Variable:
    """0: closed, 2: open, 1: open, and `after` has been; closed by `end`."""
    leaf = TERMS.leaf("state", "parts", 2)
    goes_on = TERMS.not_(end)
    judged = both(TERMS.among(leaf, frozenset((1,))), goes_on)
    opened = TERMS.or_((start, both(TERMS.among(leaf, frozenset((1, 2))), goes_on)))
    following = TERMS.if_(TERMS.or_((judged, both(opened, after))), TERMS.const(1, 2),
                          TERMS.if_(opened, TERMS.const(2, 2), TERMS.const(0, 2)))
    return monitor("parts", following)._replace(values=3)


def holds(value: int) -> Node:
    return TERMS.among(TERMS.leaf("state", "parts", 2), frozenset((value,)))


IN_PARTS, AT_ONCE = window(RING, at(0), LAMP), window(at(0, 1), at(3), RING)
FIRST_OF = monitor("parts", TERMS.if_(holds(0), TERMS.if_(LAMP, TERMS.const(1, 2), TERMS.const(2, 2)),
                                      TERMS.leaf("state", "parts", 2)))._replace(values=3)
"""Which was first, `lamp` or anything else."""


def asked(kind: str, node: Node, *monitors: Variable, **more: object) -> Property:
    return Property("asked", "", kind, node, monitors=monitors, **more)  # type: ignore[arg-type]


Made = tuple[int, int, int]
"""How many searches are made, how many times what a few cycles leave is looked at, and how many outlines are drawn."""
QUESTIONS: dict[str, tuple[tuple[Property, ...], tuple[str, ...], Made]] = {
    "nothing is remembered": ((asked("bad", both(RING, LAMP)),), ("proved",), (1, 0, 0)),
    "a cycle before, which never was": ((asked("bad", both(before(RING), at(2))),), ("proved",), (1, 1, 0)),
    "a cycle before, which was": ((asked("bad", both(before(RING), LAMP)),), ("broken",), (2, 1, 1)),
    "two cycles before, which never was": ((asked("bad", both(before(RING, 2), LAMP)),), ("proved",), (1, 1, 0)),
    "what comes to pass": ((asked("reach", both(before(RING), LAMP)),), ("proved",), (2, 1, 1)),
    "what comes to pass, not to be shown": (
        (asked("reach", both(before(RING), LAMP), shown=False),), ("proved",), (1, 1, 0)),
    "what never comes to pass": ((asked("reach", both(before(RING), at(2))),), ("broken",), (1, 1, 0)),
    "taken for granted in vain": (
        (asked("bad", both(before(RING), at(2)), vacuity=before(at(3))),), ("vacuous",), (1, 1, 0)),
    "taken for granted": ((asked("bad", both(before(RING), at(2)), vacuity=before(RING)),), ("proved",), (1, 1, 0)),
    "a window that is shut by then": ((asked("bad", both(WINDOW_LEAF, at(2)), WINDOW),), ("proved",), (1, 0, 1)),
    "a window that is open": ((asked("bad", both(WINDOW_LEAF, LAMP), WINDOW),), ("broken",), (2, 0, 1)),
    "a window that opens": (
        (asked("bad", both(WINDOW_LEAF, at(2)), WINDOW, vacuity=WINDOW_LEAF),), ("proved",), (1, 0, 1)),
    "a window, and what is never presented": (
        (asked("bad", both(WINDOW_LEAF, at(2)), WINDOW, vacuity=both(WINDOW_LEAF, at(3))),), ("vacuous",), (1, 0, 1)),
    "a window, and what nothing has to do with it": (
        (asked("bad", both(WINDOW_LEAF, at(2)), WINDOW, vacuity=LAMP),), ("proved",), (1, 0, 1)),
    "a window is never open there": ((asked("reach", both(WINDOW_LEAF, at(2)), WINDOW),), ("broken",), (1, 0, 1)),
    "a window of two parts": (
        (asked("bad", both(holds(1), at(1)), IN_PARTS, vacuity=holds(1)),), ("proved",), (1, 0, 1)),
    "a window of two parts, in which something is": (
        (asked("bad", both(holds(1), at(2)), IN_PARTS, vacuity=holds(1)),), ("broken",), (2, 0, 1)),
    "the first part of a window": (
        (asked("bad", both(holds(1), at(1)), IN_PARTS, vacuity=both(holds(2), at(1))),), ("proved",), (1, 0, 1)),
    "the first part of a window, of which nothing is seen": (
        (asked("bad", both(holds(0), at(2)), AT_ONCE, vacuity=both(holds(2), at(2))),), ("vacuous",), (2, 0, 1)),
    "what was first was not that": (
        (asked("bad", both(holds(1), at(3)), FIRST_OF, vacuity=holds(1)),), ("vacuous",), (2, 0, 1)),
    "a window that begins open": ((asked("bad", both(WINDOW_LEAF, at(2)), WINDOW._replace(reset=1),
                                         vacuity=both(WINDOW_LEAF, LAMP)),), ("proved",), (2, 0, 1)),
    "a window, and what never is": (
        (asked("bad", both(WINDOW_LEAF, at(2)), WINDOW, vacuity=at(3)),), ("vacuous",), (1, 0, 1)),
    "a window that begins open, and is shut before": (
        (asked("bad", both(WINDOW_LEAF, at(3)), WINDOW._replace(reset=1), vacuity=both(WINDOW_LEAF, at(2))),),
        ("vacuous",), (2, 0, 1)),
    "a window that opens after what is kept for ever": (
        (asked("bad", both(AFTER_LEAF, at(3)), AFTER, SEEN, vacuity=both(AFTER_LEAF, TERMS.not_(SEEN_LEAF))),),
        ("vacuous",), (2, 0, 1)),
    "what is made of what was one and two cycles before": (
        (asked("reach", DEEP.leaf, *PASSED, DEEP, shown=False),), ("broken",), (1, 1, 0)),
    "what turns over": (
        (asked("bad", both(TURN_LEAF, at(3)), TURN, vacuity=both(TURN_LEAF, GO)),), ("proved",), (2, 0, 1)),
    "two, one with the other": ((asked("bad", both(WINDOW_LEAF, TURN_LEAF, at(2), before(RING)), WINDOW, TURN,
                                       vacuity=both(WINDOW_LEAF, TURN_LEAF)),), ("proved",), (2, 0, 1)),
    "three with one window": (
        (asked("bad", both(WINDOW_LEAF, LAMP), WINDOW), asked("bad", both(WINDOW_LEAF, at(2)), WINDOW),
         asked("reach", both(WINDOW_LEAF, at(1), GO), WINDOW)), ("broken", "proved", "proved"), (2, 0, 1)),
    "three with one cycle before": (
        (asked("bad", both(before(RING), at(2))), asked("bad", both(before(RING), at(0))),
         asked("reach", both(before(RING), at(3)))), ("proved", "proved", "broken"), (1, 1, 0)),
    "each with its own": (
        (asked("bad", both(WINDOW_LEAF, LAMP), WINDOW), asked("bad", both(TURN_LEAF, LAMP), TURN)),
        ("broken", "broken"), (3, 0, 2)),
    "always": ((asked("always", both(WINDOW_LEAF, LAMP), WINDOW),), ("proved",), (2, 0, 1)),
    "always, of a cycle before": ((asked("always", both(before(RING), at(2))),), ("broken",), (2, 0, 1)),
    "in time": ((asked("within", both(WINDOW_LEAF, LAMP), WINDOW, trigger=RING, cycles=1),), ("proved",), (2, 0, 1)),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_search_of_its_own_is_made_only_where_it_is_needed(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    properties, outcomes, wanted = QUESTIONS[name]
    made = [searches(monkeypatch, lambda number, case: None), *(counted(monkeypatch, each) for each in
                                                                ("Remembered", "Outline"))]
    found = decide(build_system(CONTENTS), properties)
    assert tuple(verdict.outcome for verdict in found.verdicts) == outcomes
    assert tuple(map(len, made)) == wanted


def test_what_follows_is_counted_of_what_is_reached_alone() -> None:
    """With the window three states go round, closed, open and closed; not the three that would have it otherwise."""
    found = decide(build_system(CONTENTS), (asked("bad", both(WINDOW_LEAF, LAMP), WINDOW),)).verdicts[0]
    assert (found.states, found.transitions) == (3, 3)


def counted(monkeypatch: pytest.MonkeyPatch, name: str) -> list[object]:
    """Each that is made."""
    found: list[object] = []
    maker: Callable[..., object] = getattr(ordain.prover.decide, name)

    def make(*given: Any) -> object:
        found.append(maker(*given))
        return found[-1]

    monkeypatch.setattr(ordain.prover.decide, name, make)
    return found


UNHEARD = (asked("bad", both(before(RING), at(3))), asked("reach", both(before(RING), at(3)), shown=False),
           asked("bad", both(WINDOW_LEAF, at(3)), WINDOW), asked("reach", both(WINDOW_LEAF, at(3)), WINDOW))
"""The last word is never executed; whoever has not looked at everything cannot know that."""


def test_what_was_stopped_answers_nothing_that_takes_all_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a limit of states each question gets a search of its own, which sees as little; nothing is looked at beside
    the one that was stopped."""
    made = [searches(monkeypatch, lambda number, case: None), *(counted(monkeypatch, each) for each in
                                                                ("Remembered", "Outline"))]
    found = decide(build_system(CONTENTS), UNHEARD, Limits(states=1))
    assert [verdict.outcome for verdict in found.verdicts] == ["undecided"] * 4
    assert (found.stopped, tuple(map(len, made))) == ("states", (3, 0, 0))
    assert found.over_assumed.outcome == "undecided"
    assert (found.states, found.transitions) == (2, 0), "what follows the last states is not known"


def test_what_takes_all_of_the_machine_is_left_open_by_a_limit_of_states() -> None:
    """Of the three words the first two are seen: no way back to the first, and no answer from the third. What was seen
    to come to pass is not called vacuous for what was not seen."""
    properties = (asked("always", at(0)), asked("within", at(2), trigger=RING, cycles=0), asked("reach", RING),
                  asked("reach", RING, vacuity=at(2)), asked("reach", RING, vacuity=at(3)), asked("reach", at(2)))
    for limits, outcomes, nobody in (
            (Limits(), ["proved", "broken", "proved", "proved", "vacuous", "proved"], "proved"),
            (Limits(states=1), ["undecided", "undecided", "proved", "proved", "proved", "undecided"], "undecided")):
        found = decide(build_system(CONTENTS), properties, limits)
        assert [one.outcome for one in found.verdicts] == outcomes and found.over_assumed.outcome == nobody


@pytest.mark.parametrize("where", ["Remembered", "Outline"])
@pytest.mark.parametrize(("ending", "said"), [
    (LimitReached("seconds"), "seconds"), (DDMemoryError(), "memory"), (KeyboardInterrupt(), "interrupted")])
def test_an_end_beside_the_search_leaves_open_what_is_asked_there(
        monkeypatch: pytest.MonkeyPatch, where: str, ending: BaseException, said: str) -> None:
    """What was answered before it stays, and nothing is begun after it."""
    def end(*given: object) -> object:
        raise ending

    monkeypatch.setattr(ordain.prover.decide, where, end)
    made = searches(monkeypatch, lambda number, case: None)
    found = decide(build_system(CONTENTS), (asked("bad", both(RING, LAMP)), *UNHEARD))
    open_ = ["undecided"] * 4 if where == "Remembered" else ["proved", "broken", "undecided", "undecided"]
    assert [verdict.outcome for verdict in found.verdicts] == ["proved", *open_]
    assert (found.stopped, found.ended, len(made)) == ("", said, 1)


def test_no_time_no_fixpoint(monkeypatch: pytest.MonkeyPatch) -> None:
    """What takes going to and fro is not begun when the time is over; what is only looked up is."""
    looked: list[str] = []
    verdict = Judge.verdict
    monkeypatch.setattr(Judge, "verdict", lambda judge, prop: (looked.append(prop.kind), verdict(judge, prop))[1])
    monkeypatch.setattr(Deadline, "out", lambda clock: True)
    found = decide(build_system(CONTENTS), (asked("always", at(0)), asked("bad", at(1)), asked("reach", at(1)),
                                            asked("within", at(1), trigger=at(0), cycles=1), *UNHEARD))
    assert [one.outcome for one in found.verdicts] == ["undecided", "broken", "proved", *["undecided"] * 5]
    assert looked == ["bad", "reach"]


def test_a_search_that_becomes_large_is_begun_again_and_looks_at_its_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each has diagrams of its own, which are tidied while it goes on."""
    tidied: list[Space] = []
    monkeypatch.setattr(Space, "tidy", lambda space: tidied.append(space))
    for wide, spaces in ((8192, 1), (0, 2)):
        tidied.clear()
        monkeypatch.setattr(ordain.prover.symbolic.cases, "WIDE", wide)
        decide(build_system(CONTENTS), (asked("bad", both(RING, LAMP)),))
        assert len(set(map(id, tidied))) == spaces
        assert len([one for one in tidied if one is tidied[-1]]) >= 4


@pytest.mark.parametrize(("ending", "said"), [(LimitReached("memory"), "memory"), (DDMemoryError(), "memory"),
                                              (KeyboardInterrupt(), "interrupted")])
def test_an_end_while_a_large_search_is_prepared(monkeypatch: pytest.MonkeyPatch, ending: BaseException,
                                                 said: str) -> None:
    """Nothing is known then but the start."""
    def end(*given: object) -> object:
        raise ending

    monkeypatch.setattr(ordain.prover.symbolic.cases, "WIDE", 0)
    monkeypatch.setattr(ordain.prover.decide, "wide_model_of", end)
    found = decide(build_system(CONTENTS), (asked("bad", RING), asked("bad", LAMP)))
    assert [one.outcome for one in found.verdicts] == ["broken", "undecided"]
    assert (found.stopped, found.ended, found.depth) == (said, said, 0)


def test_what_is_reached_is_what_questions_are_answered_from() -> None:
    asked_of = (asked("bad", both(RING, LAMP)),)
    case, found = reached(build_system(CONTENTS), asked_of), decide(build_system(CONTENTS), asked_of)
    assert (case.states, case.transitions, len(case.layers.new) - 1) == (found.states, found.transitions, found.depth)
    assert (found.states, found.transitions, found.depth) == (3, 3, 2)


SIGNS = {RING: (1, 0, 0), LAMP: (0, 1, 0), at(1): (0, 1, 0), at(0, 2): (1, 0, 1), at(1, 2): (0, 1, 1), at(3): (0, 0, 0)}
"""In the first three cycles, and in every three that follow."""


@pytest.mark.parametrize("reset", [0, 1, None])
def test_what_a_few_cycles_leave_behind(monkeypatch: pytest.MonkeyPatch, reset: int | None) -> None:
    """Conditions in cycles up to four back, against the one sequence that there is, cycle by cycle: `ring`, `lamp`,
    neither, and again. What is remembered before the first cycle is 0 or 1, or either, for each by itself."""
    random = Random(5)
    properties, wanted = [], []
    for number in range(60):
        parts = [(random.choice([*SIGNS]), random.randrange(5), random.random() < 0.3)
                 for _ in range(random.choice((1, 2, 3)))]
        nodes, monitors = [], []
        for which, (sign, back, turned) in enumerate(parts):
            node = TERMS.not_(sign) if turned else sign
            for step in range(back):
                monitors.append(monitor(f"{number} {which} {step}", node, reset))
                node = monitors[-1].leaf
            nodes.append(node)
        wanted.append(any(all((SIGNS[sign][(cycle - back) % 3] != turned if cycle >= back else reset != 0)
                              for sign, back, turned in parts) for cycle in range(12)))
        properties.append(asked("reach", both(*nodes), *monitors, shown=False))
    made = searches(monkeypatch, lambda number, case: None)
    found = decide(build_system(CONTENTS), tuple(properties))
    assert [verdict.outcome == "proved" for verdict in found.verdicts] == wanted
    assert len(made) == 1 and {*wanted} == {True, False}
    turned_round = tuple(one._replace(kind="bad", vacuity=one.node) for one in properties)
    assert [verdict.outcome for verdict in decide(build_system(CONTENTS), turned_round).verdicts] == [
        "broken" if occurs else "vacuous" for occurs in wanted]


FOLLOWING: dict[str, Callable[[int, int, int], int]] = {
    "opened, and kept open until it is shut": lambda held, one, other: one or (held and not other),
    "opened, unless it is open": lambda held, one, other: (one and not held) or (held and not other),
    "turned over": lambda held, one, other: held ^ one,
    "kept while one stays away": lambda held, one, other: not one and (held or other),
    "counted": lambda held, one, other: min(held + one, 3) if not other else 0,
    "what was": lambda held, one, other: one,
}


def has(held: Node, value: int) -> Node:
    return TERMS.among(held, frozenset((value,))) if held.width > 1 else held if value else TERMS.not_(held)


@pytest.mark.parametrize("reset", [0, 1, None])
def test_what_remembers_itself(reset: int | None) -> None:
    """Against the one sequence that there is, from each value that can be there before it."""
    random = Random(6)
    properties, outcomes = [], []
    for number in range(50):
        rule, one, other = random.choice([*FOLLOWING]), random.choice([*SIGNS]), random.choice([*SIGNS])
        width = 2 if rule == "counted" else 1
        held = TERMS.leaf("state", f"held {number}", width)
        following = TERMS.const(0, width)
        for value in range(1 << width):     # a table: nothing is said twice the same way
            for signs in product((0, 1), repeat=2):
                here = both(has(held, value), *(sign if is_on else TERMS.not_(sign) for sign, is_on in
                                                zip((one, other), signs)))
                following = TERMS.if_(here, TERMS.const(int(FOLLOWING[rule](value, *signs)), width), following)
        value, place, taken = random.randrange(1 << width), random.choice([*SIGNS]), random.choice([*SIGNS])
        shown = has(held, value)
        seen = set()
        for now in range(1 << width) if reset is None else (reset,):
            for cycle in range(24):
                seen |= {(now, cycle % 3)}
                now = int(FOLLOWING[rule](now, SIGNS[one][cycle % 3], SIGNS[other][cycle % 3]))
        occurs = any((value, cycle) in seen and SIGNS[place][cycle] for cycle in range(3))
        granted = any((value, cycle) in seen and SIGNS[taken][cycle] for cycle in range(3))
        kept = monitor(f"held {number}", following, reset)
        properties += [asked("reach", both(shown, place), kept), asked("bad", both(shown, place), kept),
                       asked("bad", both(shown, place), kept, vacuity=both(shown, taken))]
        outcomes += ["proved" if occurs else "broken", "broken" if occurs else "proved",
                     "broken" if occurs else "proved" if granted else "vacuous"]
    assert [verdict.outcome for verdict in decide(build_system(CONTENTS), tuple(properties)).verdicts] == outcomes
    assert {*outcomes} == {"proved", "broken", "vacuous"}


def test_what_can_be_reached_from_everywhere_shortens_what_is_asked_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """Backwards from 1 all is found in two steps, and the third finds nothing more. From 0 the second step comes to 1,
    which is enough; then nothing has to be done for what holds wherever control is at 0."""
    back: list[int] = []
    before_ = Graph.before
    monkeypatch.setattr(Graph, "before", lambda graph, states: (back.append(0), before_(graph, states))[1])
    steps = []
    for count in (1, 2, 3):
        back.clear()
        found = decide(build_system(CONTENTS), (asked("always", at(1)), asked("always", at(0)),
                                                asked("always", RING))[:count])
        assert {one.outcome for one in found.verdicts} == {"proved"}
        steps.append(len(back))
    assert steps == [3, 3 + 2, 3 + 2 + 0]


@pytest.mark.parametrize(("trigger", "count"), [(at(0), 1), (both(at(0), GO), 2)])
def test_the_cycles_are_put_together_once(monkeypatch: pytest.MonkeyPatch, trigger: Node, count: int) -> None:
    """And once more where something is asked of what an input is in them, which is gone from the first."""
    made: list[Graph] = []
    graph = Relation.graph
    monkeypatch.setattr(Relation, "graph", lambda *given: (made.append(graph(*given)), made[-1])[1])
    asked_of = [asked("always", at(1)), asked("always", at(2)),
                *(asked("within", at(1), trigger=trigger, cycles=cycles) for cycles in (1, 2))]
    assert {one.outcome for one in decide(build_system(CONTENTS), tuple(asked_of)).verdicts} == {"proved"}
    assert len(made) == count
