"""Everything that can be reached, one cycle after another."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from oxidd.bdd import BDDFunction
from oxidd.util import DDMemoryError

from ordain.prover.limits import LimitReached


class Layers:
    """`new[n]`: the states that are reached after n cycles and not before; `reached`: all of them. `stopped`: "" when
    nothing is left."""

    def __init__(self, start: BDDFunction) -> None:
        self.new = [start]
        self.reached = start
        self.stopped = ""

    def first(self, goal: BDDFunction) -> tuple[int, BDDFunction] | None:
        """The number of cycles after which a state of a set of states is first reached, and those reached then."""
        if not (self.reached & goal).satisfiable():
            return None
        for number, new in enumerate(self.new):
            found = new & goal
            if found.satisfiable():
                return number, found
        raise AssertionError("a reached state is in no layer")

    @contextmanager
    def until_a_limit(self) -> Iterator[None]:
        """What is done within ends when a limit is reached or the user interrupts."""
        try:
            yield
        except LimitReached as limit:
            self.stopped = str(limit)
        except DDMemoryError:
            self.stopped = "memory"
        except KeyboardInterrupt:
            self.stopped = "interrupted"

    def search(self, after: Callable[[BDDFunction], BDDFunction],
               level_done: Callable[[int, BDDFunction], None]) -> None:
        """Cycle after cycle until nothing is new. `after`: what follows a set. `level_done`: told the number of each
        level and what is new in it; may raise what ends the search, after which that level counts."""
        now = self.reached
        while now.satisfiable():
            level_done(len(self.new) - 1, now)
            now = after(now) & ~self.reached
            self.reached = self.reached | now
            self.new.append(now)
        self.new.pop()
