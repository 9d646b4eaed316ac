"""A trace as people read it: a line for each cycle, its phases apart only where they differ in what is shown."""

from typing import NamedTuple

from ordain.control.model import Cycle, Trace
from ordain.control.phases import Instant, instants
from ordain.machine.model import Machine


class Folded(NamedTuple):
    """`trace`: what is alike in steps of one cycle stands in it once. For each entry of it: the `numbers` of the cycle,
    from 1; the name of the phase, `phases`, "" where the cycle is told as a whole; `held`: how many steps the clock
    stood still in it."""

    trace: Trace
    numbers: tuple[int, ...]
    phases: tuple[str, ...]
    held: tuple[int, ...]

    @property
    def cycles(self) -> int:
        """How many cycles it goes through; none where not even the first one can be."""
        return self.numbers[-1] if self.numbers else 0

    def stamp(self, at: int) -> str:
        """`3`, `3 second`"""
        return f"{self.numbers[at]} {self.phases[at]}".rstrip()


def folded(machine: Machine, trace: Trace) -> Folded:
    count, clock = len(trace.cycles), machine.clock
    if clock is None or clock.steps == 1:
        return Folded(trace, tuple(range(1, count + 1)), ("",) * count, (0,) * count)
    every = instants(machine, trace)
    groups = _groups(machine, trace, every)
    first_of = {index: number for number, group in enumerate(groups) for index in group}
    parts = [[group for group in groups if every[group[0]].cycle == every[index].cycle] for index in map(min, groups)]
    names = []
    for group, of_cycle in zip(groups, parts):
        phases = [clock.phases[phase] for phase in dict.fromkeys(every[index].phase for index in group)]
        alone = len(of_cycle) == 1 and every[group[0]].phase == 0 and every[group[-1]].phase == clock.steps - 1
        names.append("" if alone else "-".join(dict.fromkeys((phases[0], phases[-1]))))
    after = [*every[1:], *(every[-1:] if trace.loop is not None and every[trace.loop] == every[-1] else [None])]
    held = [sum(after[index] == every[index] for index in group) for group in groups]
    loop = None if trace.loop is None else first_of[trace.loop]
    cycles = tuple(_as_one([trace.cycles[index] for index in group]) for group in groups)
    return Folded(trace._replace(cycles=cycles, loop=loop), tuple(every[group[0]].cycle for group in groups),
                  tuple(names), tuple(held))


def _groups(machine: Machine, trace: Trace, every: list[Instant]) -> list[list[int]]:
    groups: list[list[int]] = []
    for index, step in enumerate(trace.cycles):
        if groups and index != trace.loop and every[index].cycle == every[index - 1].cycle and all(
                _alike(machine, trace.cycles[earlier], step) for earlier in groups[-1]):
            groups[-1].append(index)
        else:
            groups.append([index])
    return groups


def _alike(machine: Machine, one: Cycle, other: Cycle) -> bool:
    """Whether two steps differ in nothing that is shown."""
    if (one.addresses, one.drivers, one.strobes) != (other.addresses, other.drivers, other.strobes):
        return False
    if any(one.free[name] != other.free[name] for name in one.matters & other.matters):
        return False
    return all(value == other.states[name] or is_beside(machine, name) for name, value in one.states.items())


def is_beside(machine: Machine, name: str) -> bool:
    """Whether a state is one that nobody has declared: the phase, or what is remembered of an input on the clock."""
    return " " in name or (machine.clock is not None and name == machine.clock.name)


def _as_one(steps: list[Cycle]) -> Cycle:
    first = steps[0]
    free = {name: next((step.free[name] for step in steps if name in step.matters), value)
            for name, value in first.free.items()}
    samplers = {bus: tuple(dict.fromkeys(name for step in steps for name in step.samplers[bus]))
                for bus in first.samplers}
    return first._replace(free=free, samplers=samplers, matters=frozenset().union(*(step.matters for step in steps)),
                          events=frozenset().union(*(step.events for step in steps)))
