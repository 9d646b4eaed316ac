"""What hands and guests do while a machine runs: inputs and conditions, step by step, as the lines of a script say.

A line *begins* at its cycles, or after a step in which its condition holds and did not hold before, and lasts for so
many steps, until a condition holds (that step is its last), or else for good. A `while` line lasts as long as its
condition holds, one step later. Of lines that set one input the one that began last counts; of two that begin at once
the one further down. A condition of which it is not known whether it holds counts as one that does not.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Literal, NamedTuple

from ordain.data.partial import Ternary
from ordain.machine.expression import Node

_FOR_GOOD = 1 << 62


class OutsideStep(NamedTuple):
    """A line. `number`: of its cycle, or every so many cycles. `settings`: an input and its values, each time the next
    one. `lasts`: steps, 0 for good. `until`: None where nothing ends it."""

    begins: Literal["start", "cycle", "every", "when", "while"]
    number: int
    condition: Node | None
    settings: tuple[tuple[str, tuple[int, ...]], ...]
    lasts: int
    until: Node | None


class Outside:
    """`over(cycle)`: values that lie over those of the script. `nodes`: the conditions that `heard` wants to know."""

    def __init__(self, doings: Sequence[OutsideStep], over: Callable[[int], Mapping[str, int]]) -> None:
        self._doings, self._over = tuple(doings), over
        self.nodes = tuple(node for doing in doings for node in (doing.condition, doing.until) if node is not None)
        count = len(self._doings)
        self._ends = [0] * count                       # the first step in which the line does not count any more
        self._begun = [0] * count                      # how often
        self._since = [-1] * count
        self._held = [False] * count
        self._due = [doing.begins == "start" for doing in self._doings]
        self._step, self._cycle = 0, 0

    def given(self, cycle: int) -> Mapping[str, int]:
        """What stands on inputs in the next step, which is of this cycle."""
        for number, doing in enumerate(self._doings):
            new = cycle != self._cycle and (cycle == doing.number if doing.begins == "cycle" else
                                            doing.begins == "every" and cycle % doing.number == 0)
            if (new or self._due[number]) and all(self._begun[number] < len(values) or len(values) == 1
                                                  for _, values in doing.settings):
                self._since[number] = self._step
                self._ends[number] = self._step + (doing.lasts or _FOR_GOOD)
                self._begun[number] += 1
            self._due[number] = False
        self._cycle = cycle
        active = sorted((self._since[number], number) for number in range(len(self._doings))
                        if self._step < self._ends[number])
        found: dict[str, int] = {}
        for _, number in active:
            for name, values in self._doings[number].settings:
                found[name] = values[min(self._begun[number], len(values)) - 1]
        self._step += 1
        return {**found, **self._over(cycle)}

    def heard(self, cycle: int, seen: Sequence[Ternary], given: Mapping[str, int]) -> None:
        """What `nodes` were worth in the step that has just been made; a `Listener`."""
        values = iter(seen)
        for number, doing in enumerate(self._doings):
            holds = doing.condition is not None and next(values) == Ternary(1, 1)
            ended = doing.until is not None and next(values) == Ternary(1, 1)
            if ended or (doing.begins == "while" and not holds):
                self._ends[number] = min(self._ends[number], self._step)
            self._due[number] = holds and not self._held[number]
            self._held[number] = holds
