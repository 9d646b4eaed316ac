"""Steps as people count them: which cycle of the clock a step of a trace belongs to, and how long so many steps are.

A step is what a `System` does at once. In a machine whose phases differ it is a phase, and `Machine.steps` of them make
up a cycle; in any other machine it is a cycle. A cycle that is stretched, because the clock is held in it, has more.
"""

from typing import NamedTuple

from ordain.control.model import Trace
from ordain.machine.model import Machine


class Instant(NamedTuple):
    """A step of a trace: the number of its cycle, from 1, and of its phase, 0 where steps are cycles."""

    cycle: int
    phase: int


def instants(machine: Machine, trace: Trace) -> list[Instant]:
    """Every step of a trace. A new cycle begins where the clock goes back to an earlier phase."""
    clock = machine.clock
    if clock is None or clock.steps == 1:
        return [Instant(number, 0) for number in range(1, len(trace.cycles) + 1)]
    found: list[Instant] = []
    number, before = 1, 0
    for step in trace.cycles:
        phase = step.states[clock.name]
        number += phase < before
        found.append(Instant(number, phase))
        before = phase
    return found


def cycles_in(machine: Machine, trace: Trace) -> int:
    """How many cycles a trace goes through, the last one counted whole."""
    every = instants(machine, trace)
    return every[-1].cycle if every else 0


def whole_cycles(machine: Machine, steps: int) -> int:
    """So many steps in cycles, a part of one counted whole."""
    return -(-steps // machine.steps)


def length(machine: Machine, steps: int) -> str:
    """`3 cycles`; `5 phases` where that is no whole number of cycles."""
    count, unit = (steps, "phase") if steps % machine.steps else (steps // machine.steps, "cycle")
    return f"{count} {unit}" if count == 1 else f"{count} {unit}s"


def share(machine: Machine, steps: int, of: int) -> str:
    """`2 of 6 cycles`, or both in phases."""
    if steps % machine.steps or of % machine.steps:
        return f"{steps} of {of} phases"
    return f"{steps // machine.steps} of {length(machine, of)}"
