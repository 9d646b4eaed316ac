"""How many searches questions take that remember something: none of their own where that of the machine says enough."""

import pytest

from ordain.control.model import Variable
from ordain.control.system import build_system
from ordain.machine.expression import Node
from ordain.prover.decide import decide
from ordain.prover.model import Property
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


def asked(kind: str, node: Node, *monitors: Variable, **more: object) -> Property:
    return Property("asked", "", kind, node, monitors=monitors, **more)  # type: ignore[arg-type]


QUESTIONS: dict[str, tuple[tuple[Property, ...], tuple[str, ...], int]] = {
    "nothing is remembered": ((asked("bad", both(RING, LAMP)),), ("proved",), 1),
    "a cycle before, which never was": ((asked("bad", both(before(RING), at(2))),), ("proved",), 1),
    "a cycle before, which was": ((asked("bad", both(before(RING), LAMP)),), ("broken",), 2),
    "two cycles before, which never was": ((asked("bad", both(before(RING, 2), LAMP)),), ("proved",), 1),
    "what comes to pass": ((asked("reach", both(before(RING), LAMP)),), ("proved",), 2),
    "what comes to pass, not to be shown": ((asked("reach", both(before(RING), LAMP), shown=False),), ("proved",), 1),
    "what never comes to pass": ((asked("reach", both(before(RING), at(2))),), ("broken",), 1),
    "taken for granted in vain": ((asked("bad", both(before(RING), at(2)), vacuity=before(at(3))),), ("vacuous",), 1),
    "taken for granted": ((asked("bad", both(before(RING), at(2)), vacuity=before(RING)),), ("proved",), 1),
    "a window that is shut by then": ((asked("bad", both(WINDOW_LEAF, at(2)), WINDOW),), ("proved",), 1),
    "a window that is open": ((asked("bad", both(WINDOW_LEAF, LAMP), WINDOW),), ("broken",), 2),
    "a window that opens": ((asked("bad", both(WINDOW_LEAF, at(2)), WINDOW, vacuity=WINDOW_LEAF),), ("proved",), 1),
    "a window, and what is never presented": (
        (asked("bad", both(WINDOW_LEAF, at(2)), WINDOW, vacuity=both(WINDOW_LEAF, at(3))),), ("vacuous",), 1),
    "a window, and what nothing has to do with it": (
        (asked("bad", both(WINDOW_LEAF, at(2)), WINDOW, vacuity=LAMP),), ("proved",), 1),
    "a window is never open there": ((asked("reach", both(WINDOW_LEAF, at(2)), WINDOW),), ("broken",), 1),
    "a window that begins open": ((asked("bad", both(WINDOW_LEAF, at(2)), WINDOW._replace(reset=1),
                                         vacuity=both(WINDOW_LEAF, LAMP)),), ("proved",), 2),
    "what turns over": ((asked("bad", both(TURN_LEAF, at(3)), TURN, vacuity=both(TURN_LEAF, GO)),), ("proved",), 2),
    "two, one with the other": ((asked("bad", both(WINDOW_LEAF, TURN_LEAF, at(2), before(RING)), WINDOW, TURN,
                                       vacuity=both(WINDOW_LEAF, TURN_LEAF)),), ("proved",), 2),
    "three with one window": (
        (asked("bad", both(WINDOW_LEAF, LAMP), WINDOW), asked("bad", both(WINDOW_LEAF, at(2)), WINDOW),
         asked("reach", both(WINDOW_LEAF, at(1), GO), WINDOW)), ("broken", "proved", "proved"), 2),
    "each with its own": (
        (asked("bad", both(WINDOW_LEAF, LAMP), WINDOW), asked("bad", both(TURN_LEAF, LAMP), TURN)),
        ("broken", "broken"), 3),
    "always": ((asked("always", both(WINDOW_LEAF, LAMP), WINDOW),), ("proved",), 2),
    "in time": ((asked("within", both(WINDOW_LEAF, LAMP), WINDOW, trigger=RING, cycles=1),), ("proved",), 2),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_search_of_its_own_is_made_only_where_it_is_needed(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    properties, outcomes, count = QUESTIONS[name]
    made = searches(monkeypatch, lambda number, case: None)
    found = decide(build_system(CONTENTS), properties)
    assert (tuple(verdict.outcome for verdict in found.verdicts), len(made)) == (outcomes, count)
