"""A run as data: what was executed, what it changed, and how it ended."""

from collections.abc import Callable, Mapping
from typing import Any, Literal, NamedTuple

from ordain.control.model import Variable
from ordain.data.partial import Ternary
from ordain.machine.expression import Node
from ordain.text.findings import Finding

Memories = dict[str, dict[int, Ternary]]
"""What is known of each memory, by address; of other addresses nothing is known."""

Ending = Literal["until", "cycles", "instructions", "lost", "fault", "held", "interrupted"]


class Update(NamedTuple):
    """What a cycle changed of what a programmer sees. `address`: of a word of a memory; -1 where nothing is known of
    the whole memory any more; None for what is no memory."""

    name: str
    address: int | None
    value: Ternary
    width: int


class RunLine(NamedTuple):
    """One cycle, or one phase of it where phases differ: then `phase` is its name, else "". `title`: the instruction
    whose first word it is, "" for none. `boundary`: control has come to `home` with it."""

    cycle: int
    address: int
    title: str
    boundary: bool
    changes: tuple[Update, ...]
    phase: str = ""


class Watch(NamedTuple):
    """What must not hold in any cycle. `monitors`: what it remembers from one to the next, beside `prior`."""

    node: Node
    monitors: tuple[Variable, ...] = ()


class Taker(NamedTuple):
    """Somebody who takes `value` from the machine in each cycle in which `when` holds."""

    name: str
    value: Node
    when: Node


class Sent(NamedTuple):
    """What a device has taken in a cycle."""

    cycle: int
    device: str
    value: Ternary
    width: int


class Listener(NamedTuple):
    """Who wants to know of every step what `nodes` were worth in it. `hear(cycle, values, given)`: the cycle of the
    clock and the inputs that were set beside."""

    nodes: tuple[Node, ...]
    hear: Callable[[int, tuple[Ternary, ...], Mapping[str, int]], None]


class Record(NamedTuple):
    """`store`: the one whose addresses the lines have. `lines`: of every cycle, of those that say something, or none,
    as was asked. `begun`: how many instructions. `broken`: what was watched and held in the last cycle. `held`: what
    each visible register and state has at the end. `last`: the cycles up to the end, each with its `Moment`."""

    lines: tuple[RunLine, ...]
    store: str
    ending: Ending
    findings: tuple[Finding, ...]
    held: Mapping[str, tuple[Ternary, int]]
    memories: Memories
    cycles: int = 0
    begun: int = 0
    sent: tuple[Sent, ...] = ()
    broken: tuple[str, ...] = ()
    last: tuple[tuple[int, Any], ...] = ()
