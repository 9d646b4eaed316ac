"""A trace of the tool, cycle by cycle, through the judge's own cycle: is it a run, and does it show what it says?"""

from collections.abc import Iterator
from itertools import product
from typing import Any

from ordain.control.model import Cycle as Shown
from ordain.control.model import Trace
from tests.judge.cycle import Cycle, Facts, Frees, State
from tests.judge.observer import Observer, Priors
from tests.judge.questions import Marks, Question

Run = tuple[State, Any, tuple[Marks, ...], Priors]
"""Where one is, what the question remembers, the marks of the cycles so far, and what the display remembers."""


class Display:
    """What a trace shows of a cycle beside states and inputs: who is enabled on each bus, which strobes are active."""

    def __init__(self, cycle: Cycle) -> None:
        eye = Observer(cycle)
        buses = cycle.description.buses
        self._drivers = {name: [(each.name.text, eye.see(each.when)) for each in bus.drivers]
                         for name, bus in buses.items()}
        self._samplers = {name: [(each.name.text, eye.see(each.when)) for each in bus.samplers]
                          for name, bus in buses.items()}
        self._strobes = [(strobe.name.text, eye.see(cycle.description.active(strobe)))
                         for strobe in cycle.description.strobes]
        self._eye = eye

    def start(self) -> Priors:
        return self._eye.start()

    def fits(self, facts: Facts, priors: Priors, shown: Shown) -> Priors | None:
        """What is to be remembered of the cycle if it is as it is shown, else None."""
        pick, look = self._eye.compiled()
        seen, following = look(pick(facts), priors)
        for names, told in ((self._drivers, shown.drivers), (self._samplers, shown.samplers)):
            for bus, entries in names.items():
                if set(told.get(bus, ())) != {name for name, number in entries if seen[number]}:
                    return None
        return following if set(shown.strobes) == {name for name, number in self._strobes if seen[number]} else None


def replayed(cycle: Cycle, display: Display, question: Question | None, trace: Trace) -> list[str]:
    """What is wrong with the trace. `question` None: only that it is a run."""
    evaluate = cycle.compiled()
    if question is not None:
        pick, look = question.eye.compiled()
    begin = None if question is None else (question.eye.start(), question.start)
    runs: list[Run] = [(state, begin, (), display.start()) for state in cycle.starts()]
    for number, shown in enumerate(trace.cycles):
        runs = [run for run in runs if _same(cycle, run[0], shown.states)]
        if not runs:
            return [f"cycle {number} of a trace shows a state that cannot be"]
        following: dict[Run, None] = {}
        for state, memory, marks, told in runs:
            for frees in _frees(cycle, shown):
                holds, after, addresses, facts = evaluate(state, frees)
                telling = display.fits(facts, told, shown) if holds and _presents(cycle, addresses, shown) else None
                if telling is None:
                    continue
                if question is None:
                    following[after, None, (), telling] = None
                    continue
                seen, priors = look(pick(facts), memory[0])
                found, later = question.step(seen, memory[1])
                following[after, (priors, later), (*marks, found), telling] = None
        if not following:
            return [f"cycle {number} of a trace is no cycle of the machine"]
        runs = list(following)
    if trace.loop is not None:
        runs = [run for run in runs if _same(cycle, run[0], trace.cycles[trace.loop].states)]
        if not runs:
            return ["the loop of a trace does not close"]
    if question is not None and not any(_shows(question, marks, trace) for _, _, marks, _ in runs):
        return ["the last cycle of a trace does not show what it was made for"]
    return []


def _shows(question: Question, marks: tuple[Marks, ...], trace: Trace) -> bool:
    if question.kind == "within":
        for start, mark in enumerate(marks):
            quiet = not any(each.response for each in marks[start:])
            gone = sum(not each.still for each in marks[start:])
            if mark.trigger and quiet and (trace.loop is not None or trace.dead_end or gone > question.cycles):
                return True
        return False
    if question.kind == "always":
        return not marks or not marks[-1].parts or trace.loop is None
    return bool(marks and marks[-1].parts)


def _same(cycle: Cycle, state: State, shown: dict[str, int]) -> bool:
    return all(shown.get(slot.shown, value) == value for slot, value in zip(cycle.slots, state, strict=True))


def _frees(cycle: Cycle, shown: Shown) -> Iterator[Frees]:
    """Every value of what is free, as far as the trace does not say it."""
    return product(*((shown.free[name],) if name in shown.free else range(values)
                     for name, (_, values) in cycle.frees.items()))


def _presents(cycle: Cycle, addresses: tuple[int, ...], shown: Shown) -> bool:
    return all(shown.addresses.get(store, address) == address
               for store, address in zip(cycle.description.stores, addresses, strict=True))
