"""What is asked of the prover and what it answers, as data.

`checks` turns a machine into properties; `prover.decide` gives each of them a verdict; `show` draws the traces.

A *cycle* is a state together with values of everything free in that cycle (inputs, conditions, bus reads) that satisfy
every assumption. All conditions of properties are conditions on a cycle. A state is *reachable* when a sequence of
cycles from a start state leads to it; a *transition* is a pair (reachable state, one of its distinct successor states).
"""

from collections.abc import Callable
from typing import Any, Literal, NamedTuple, TypeAlias

from ordain.machine.expression import Node, Terms
from ordain.rom.contents import Contents


class Variable(NamedTuple):
    """One state variable of the transition system.

    `leaf` stands for its present value (a `state` leaf, or the `register` leaf of a tracked register). Its values are
    0 .. `values` - 1, `values` <= 2**leaf.width. `reset` None: any value at the start. `next` is over the cycle.
    `origin` "monitor": added for a property; its leaf is `terms.leaf("state", NAME, width)` with a NAME that no machine
    can have, because it has a space in it: "turnaround data".
    """

    name: str
    leaf: Node
    values: int
    reset: int | None
    next: Node
    origin: Literal["state", "register", "monitor"]


class Free(NamedTuple):
    """A leaf that takes any of the values 0 .. `values` - 1 in every cycle."""

    name: str
    leaf: Node
    values: int


class System(NamedTuple):
    """The transition system: the whole machine with its agents, over the contents of its chips.

    Every node in it is *lowered*: its leaves are `state` and `register` (the leaves of `variables`), `input`,
    `condition`, `bus`, `free` (the leaves of `free`), `field`, `word` and `address` (given by the contents at the
    address that `addresses` gives). No `at`, `in`, `Prior`; a latch is read through while it is open.
    `addresses`: per store, in an order in which each depends only on earlier ones.
    `lowering`: what the machine's other leaves stand for, for `system.lower_properties`.
    """

    contents: Contents
    terms: Terms
    variables: tuple[Variable, ...]
    free: tuple[Free, ...]
    assumptions: tuple[Node, ...]
    addresses: dict[str, Node]
    lowering: dict[Node, Node]


class Property(NamedTuple):
    """One question. Nodes are written over the machine's own leaves, `at`, `in` and `Prior` included, and over the
    leaves of `monitors`; `decide` lowers them.

    `kind`      asks
    "bad"       no reachable cycle has `node`
    "reach"     some reachable cycle has `node`
    "always"    from every reachable state a cycle with `node` can be reached
    "within"    after every cycle with `trigger`, `node` or `unless` holds in that cycle or one of the `cycles` next;
                the exact worst case is computed

    `check`: the check's name; `subject`: the bus, the rule's text or whatever else it is about.
    `monitors`: the variables it needs beside the system's; equal ones (same leaf) may be shared by properties.
    `vacuity`: where it is given and no reachable cycle has it, the verdict is vacuous instead of proved.
    `per_word`: the store by whose address the breaks of a "bad" property are told apart; "" for one break in all.
    `shown`: a "reach" property that is proved gets a witness; without, it is not worked out.
    `data` is for the check that made the property; the prover only hands it on.
    """

    check: str
    subject: str
    kind: Literal["bad", "reach", "always", "within"]
    node: Node
    trigger: Node | None = None
    cycles: int = 0
    unless: Node | None = None
    monitors: tuple[Variable, ...] = ()
    vacuity: Node | None = None
    per_word: str = ""
    data: Any = None
    shown: bool = True


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


class Break(NamedTuple):
    """A property is broken at `address` of the store `per_word` (None when not told apart). Of addresses at which the
    same word stands, and which nothing else tells apart, one is told.

    `cycles`: how many cycles the shortest sequence has (the fault is in the last one). `states`: how many reachable
    states have such a cycle. `trace`: None when more breaks were found than traces were asked for."""

    address: int | None
    cycles: int
    states: int
    trace: Trace | None


class Verdict(NamedTuple):
    """`outcome` "broken": `breaks` has at least one ("reach": the target is never reached, there is nothing to show,
    and `breaks` is empty; "always": the trace leads to a state from which there is no way, and goes round there).
    "reach" proved: `witness` is a shortest sequence to it.
    `worst`: for "within", the greatest number of cycles from a trigger to its response that occurs; None: unbounded, or
    there is no trigger.
    `states`, `transitions`: how many were examined for this verdict.
    """

    property: Property
    outcome: Literal["proved", "broken", "vacuous", "undecided"]
    breaks: tuple[Break, ...]
    witness: Trace | None
    worst: int | None
    states: int
    transitions: int


class Verdicts(NamedTuple):
    """`verdicts` are in the order of the properties. `over_assumed`: about every reachable state (outcome proved: each
    has an input that satisfies the assumptions). `executed`: the addresses that reachable cycles present, for each
    store that holds a microprogram; of another the search need not follow the address.
    `states`, `transitions`, `depth` (cycles until nothing new was found) of the search that has no monitors; `held`:
    how many variable bits were held at 0 where no path reads them, summed over the addresses of control.
    `stopped`: "" or the limit that was reached by that search: "states", "memory", "seconds", "interrupted"; then every
    sequence of up to `depth` cycles was examined. `ended`: the same of whatever was done: where it is not "", some
    verdict may be undecided for that reason."""

    verdicts: tuple[Verdict, ...]
    over_assumed: Verdict
    executed: dict[str, frozenset[int]]
    states: int
    transitions: int
    depth: int
    held: int
    stopped: str
    ended: str


class Limits(NamedTuple):
    """None: no limit. `memory` in bytes of the whole process. `traces`: how many breaks of one property get a trace.
    `reduce`: hold dead bits at 0 and leave out what no property depends on; verdicts are the same without."""

    states: int | None = None
    memory: int | None = None
    seconds: float | None = None
    traces: int = 16
    reduce: bool = True


class Progress(NamedTuple):
    """Handed out about ten times a second. `rate` in states a second."""

    states: int
    level: int
    rate: float


Report: TypeAlias = Callable[[Progress], None]
"""Receives the progress; may raise KeyboardInterrupt."""
