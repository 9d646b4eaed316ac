"""What is asked of the prover and what it answers, as data.

`checks` turns a machine into properties; `prover.decide` gives each of them a verdict; `show` draws the traces.
"""

from collections.abc import Callable
from typing import Any, Literal, NamedTuple, TypeAlias

from ordain.control.model import Trace, Variable
from ordain.machine.expression import Node


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
    `aside`: it is undecided where more would have to be followed for it than for the properties that are not.
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
    aside: bool = False


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
    """`outcome` "broken": `breaks` has at least one, the shortest first and of equal ones the lowest address ("reach":
    the target is never reached, there is nothing to show, and `breaks` is empty; "always": the trace leads to a state
    from which there is no way, and goes round there).
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


def not_asked(prop: Property) -> Verdict:
    """Undecided, and nothing looked at."""
    return Verdict(prop, "undecided", (), None, None, 0, 0)


class Verdicts(NamedTuple):
    """`verdicts` are in the order of the properties. `over_assumed`: about every reachable state (outcome proved: each
    has an input that satisfies the assumptions). `executed`: the addresses that reachable cycles present, for each
    store that holds a microprogram; where a limit was reached, with some of which it is not known.
    `states`, `transitions`, `depth` (cycles until nothing new was found) of the search that has no monitors.
    `stopped`: "" or the limit that was reached by that search: "states", "memory", "seconds", "interrupted"; then every
    sequence of up to `depth` cycles was examined. `ended`: the same of whatever was done: where it is not "", some
    verdict may be undecided for that reason."""

    verdicts: tuple[Verdict, ...]
    over_assumed: Verdict
    executed: dict[str, frozenset[int]]
    states: int
    transitions: int
    depth: int
    stopped: str
    ended: str


class Limits(NamedTuple):
    """None: no limit. `memory` in bytes of the whole process. `traces`: how many breaks of one property get a trace.
    `reduce`: leave out what no property depends on; verdicts are the same without."""

    states: int | None = None
    memory: int | None = None
    seconds: float | None = None
    traces: int = 16
    reduce: bool = True


class Progress(NamedTuple):
    """Handed out about ten times a second. `states`, `level`: how many states the first search has, and how many cycles
    from the start what was looked at last is. `decided`: of so many questions `asked`."""

    states: int
    level: int
    decided: int
    asked: int


Report: TypeAlias = Callable[[Progress], None]
"""Receives the progress; may raise KeyboardInterrupt."""
