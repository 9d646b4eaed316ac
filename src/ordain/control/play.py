"""The machine played from a given place with chosen inputs: what a person sees who steps it by hand.

Nothing is searched and nothing is proved. Inputs that nobody chose are 0; the cycle says of which of them, of those
that were not chosen, another value would have led elsewhere, so that a person sees where there was a choice.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from ordain.control.cycle import Running
from ordain.control.model import Cycle, Free, System, Trace
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, leaves, substitute


class Start(NamedTuple):
    """`states`: values by name of the variables that are not to stand at their reset value (0 for `reset any`)."""

    states: dict[str, int]


class Played(NamedTuple):
    """`trace`, and why it ends: "until" (as was asked), "loop" (state and chosen inputs were there before, and
    will come again), "assumption" (the last cycle's inputs break one), "cycles" (as many as asked for)."""

    trace: Trace
    ending: str


def play(system: System, start: Start, chosen: Callable[[int], dict[str, int]], most: int,
         until: Node | None, last: Node | None = None) -> Played:
    """At most `most` cycles of the clock from `start`. `chosen(cycle)`, cycles from 1: the values of free things by
    name. `until`, `last`: conditions over the machine's leaves. A step with `until`, after one without, is not part of
    the trace any more; one with `last` is the last part of it."""
    running = Running(system)
    never = system.terms.const(0, 1)
    stop, end = substitute(system.terms, (until or never, last or never), system.lowering)
    outside = False
    states = {variable.leaf: start.states.get(variable.name, variable.reset or 0) for variable in system.variables}
    remembered = running.before_reset()
    cycles: list[Cycle] = []
    seen: dict[tuple[int, ...], int] = {}
    clock = None if system.contents.machine.steps == 1 else system.contents.machine.clock
    phase = None if clock is None else next(one.leaf for one in system.variables if one.name == clock.name)
    number = 1
    changing = next((number for number in range(most, 1, -1) if chosen(number) != chosen(number - 1)), 1)
    while number <= most:
        inputs = chosen(number)
        free = {one.leaf: inputs.get(one.name, 0) for one in system.free}
        values = running.values({**states, **free})
        following = running.next(values)
        matters = frozenset(_matters(system, running, states, free, following)) | (inputs.keys() & _names(system))
        cycle = running.shown(values, matters, remembered, [], {})
        here = evaluate(stop, {**values, **remembered})
        if here and outside:
            return Played(Trace(tuple(cycles), None, False, _named(system, states)), "until")
        outside = outside or not here
        key = tuple(states.values())
        if key in seen:
            return Played(Trace(tuple(cycles), seen[key], False, _named(system, states)), "loop")
        seen[key] = len(cycles)
        cycles.append(cycle)
        memo: dict[Node, int] = {}
        if not all(evaluate(node, values, memo) for node in system.assumptions):
            return Played(Trace(tuple(cycles), None, False, _named(system, following)), "assumption")
        if evaluate(end, {**values, **remembered}):
            return Played(Trace(tuple(cycles), None, False, _named(system, following)), "until")
        remembered = running.remembered({**values, **remembered})
        if phase is None or following[phase] < states[phase]:
            number += 1
            if number <= changing:
                seen.clear()        # with other inputs to come it has not gone round yet
        states = following
    return Played(Trace(tuple(cycles), None, False, _named(system, states)), "cycles")


def _named(system: System, states: dict[Node, int]) -> dict[str, int]:
    return {variable.name: states[variable.leaf] for variable in system.variables}


def _names(system: System) -> set[str]:
    return {one.name for one in system.free}


def _matters(system: System, running: Running, states: dict[Node, int], free: dict[Node, int],
             following: dict[Node, int]) -> Iterator[str]:
    """Of one bit and enumerated inputs, conditions and line levels: those of which some other value, alone, leads to
    another state. Wider ones are data; that they matter to a register is no news."""
    nexts = [variable.next for variable in system.variables]
    used = set(leaves((*nexts, *system.addresses.values())))
    for one in system.free:
        if _is_choice(one) and one.leaf in used and any(
                running.next(running.values({**states, **free, one.leaf: value})) != following
                for value in range(one.values) if value != free[one.leaf]):
            yield one.name


def _is_choice(one: Free) -> bool:
    return type(one.leaf) is Leaf and one.leaf.kind in ("input", "condition") and one.values <= 4
