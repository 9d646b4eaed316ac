"""What a machine is in one cycle and what follows, as data.

A *cycle* is a state together with values of everything free in that cycle (inputs, conditions, bus reads) that satisfy
every assumption. A state is *reachable* when a sequence of cycles from a start state leads to it; a *transition* is a
pair (reachable state, one of its distinct successor states).
"""

from collections.abc import Mapping
from typing import Literal, NamedTuple

from ordain.machine.expression import Node, Terms
from ordain.rom.contents import Contents


class Variable(NamedTuple):
    """One state variable of the transition system.

    `leaf` stands for its present value (a `state` leaf, or the `register` leaf of a followed register). Its values are
    0 .. `values` - 1, `values` <= 2**leaf.width. `reset` None: any value at the start. `next` is over the cycle.
    `origin` "bus": the level that a bus keeps. "monitor": added for a property. The leaves of both are
    `terms.leaf("state", NAME, width)` with a NAME that no machine can have, because it has a space in it: "data kept",
    "turnaround data".
    """

    name: str
    leaf: Node
    values: int
    reset: int | None
    next: Node
    origin: Literal["state", "register", "bus", "monitor"]


class Free(NamedTuple):
    """A leaf that takes any of the values 0 .. `values` - 1 in every cycle."""

    name: str
    leaf: Node
    values: int


class Versions(NamedTuple):
    """Many machines in one system, which differ in what their stores hold. `leaf`: the number of the machine, a
    variable that no cycle changes. `changes[store][number]`: address -> word, of the words that are others in it."""

    leaf: Node
    changes: dict[str, tuple[Mapping[int, int], ...]]


class System(NamedTuple):
    """The transition system: the whole machine with its agents, over the contents of its chips.

    Every node in it is *lowered*: its leaves are `state` and `register` (the leaves of `variables`), `input`,
    `condition`, `bus`, `free` (the leaves of `free`), `field`, `word` and `address` (given by the contents at the
    address that `addresses` gives). No `at`, `in`, `Prior`; a latch is read through while it is open; a bus that
    nobody drives has the level at which it is held, and its leaf is what the drivers put on it.
    `addresses`: per store, in an order in which each depends only on earlier ones.
    `lowering`: what the machine's other leaves stand for, for properties (`prover.questions`).
    `versions`: None but where many machines are looked at together.
    """

    contents: Contents
    terms: Terms
    variables: tuple[Variable, ...]
    free: tuple[Free, ...]
    assumptions: tuple[Node, ...]
    addresses: dict[str, Node]
    lowering: dict[Node, Node]
    versions: Versions | None = None


class Cycle(NamedTuple):
    """One cycle of a trace; everything is keyed by name.

    `states`: all variables of the system (tracked registers too). `monitors`: the property's own.
    `free`: a value for everything free, such that the whole replays exactly; `matters`: those of them that make a
    difference to where this trace goes, the only ones to be shown to people.
    `addresses`, `words`: per store. `drivers`, `samplers`: per bus, who is enabled. `strobes`: the active ones.
    `events`: which parts of the property hold in this cycle: "node", "trigger", "unless".
    """

    states: dict[str, int]
    monitors: dict[str, int]
    free: dict[str, int]
    matters: frozenset[str]
    addresses: dict[str, int]
    words: dict[str, int]
    drivers: dict[str, tuple[str, ...]]
    samplers: dict[str, tuple[str, ...]]
    strobes: tuple[str, ...]
    events: frozenset[str]


class Trace(NamedTuple):
    """Cycles from a start state on; the last one shows the fault (or what was to be reached).

    `loop`: None, or the index of the cycle that follows the last one: the sequence goes round for ever.
    `dead_end`: the state after the last cycle has no input that satisfies the assumptions; then `after` is that state.
    `after`: the state after the last cycle (variables and monitors by name).
    """

    cycles: tuple[Cycle, ...]
    loop: int | None
    dead_end: bool
    after: dict[str, int]
