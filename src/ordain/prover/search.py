"""The search: every reachable state, one clock after another.

Level order (breadth-first) over control states, each with the set of surroundings that go with it. A level holds what
is new after so many cycles: control state -> the set that was not there before. So the first level in which something
shows is the length of a shortest sequence to it, and the levels are all the history that traces need (Clarke, Grumberg,
Peled, "Model Checking", 1999, chapters 2 and 6, with one explicit and one symbolic half).

Sets are numbered (there are few distinct ones): images and unions are remembered by number, so what a visit of a
control state costs does not depend on how many states stand behind it. Number 0 is the empty set.
"""

from time import monotonic

from ordain.prover.model import Limits, Progress, Report
from ordain.prover.places import Places
from ordain.prover.relation import Step

try:
    import resource
except ImportError:  # not on every system; there the limit of memory has no effect
    resource = None  # type: ignore[assignment]

CHECK_EVERY = 2048
"""Visits of control states between two looks at the limits."""


class Sets:
    """The distinct sets, by number."""

    __slots__ = ("_joined", "_numbers", "sets")

    def __init__(self) -> None:
        self.sets: list[int] = [0]
        self._numbers: dict[int, int] = {0: 0}
        self._joined: dict[int, tuple[int, int]] = {}

    def number(self, found: int) -> int:
        number = self._numbers.get(found)
        if number is None:
            number = self._numbers[found] = len(self.sets)
            self.sets.append(found)
        return number

    def join(self, old: int, more: int) -> tuple[int, int]:
        """(number of what `more` adds to `old`, number of both together)."""
        key = old << 32 | more
        result = self._joined.get(key)
        if result is None:
            before, after = self.sets[old], self.sets[more]
            result = self._joined[key] = self.number(after & ~before), self.number(before | after)
        return result

    def image(self, step: Step, before: int) -> int:
        number = self.number(step.relation.image(self.sets[before] & step.guard))
        step.images[before] = number
        return number


class Search:
    """What was found. `states[i]`: control state number i; `reached[i]`: the number of the set that goes with it;
    `edges[i]`: (step, number of the next control state), None while it has not been visited; `levels[n]`: what is new
    after n cycles. `stopped`: "" when nothing is left to visit."""

    __slots__ = ("edges", "index", "levels", "places", "reached", "sets", "states", "stopped")

    def __init__(self, places: Places) -> None:
        self.places = places
        self.sets = Sets()
        self.states: list[int] = []
        self.index: dict[int, int] = {}
        self.reached: list[int] = []
        self.edges: list[list[tuple[Step, int]] | None] = []
        self.levels: list[dict[int, int]] = []
        self.stopped = ""

    def number_of(self, state: int) -> int:
        number = self.index.get(state)
        if number is None:
            number = self.index[state] = len(self.states)
            self.states.append(state)
            self.reached.append(0)
            self.edges.append(None)
        return number

    def successors(self, number: int) -> list[tuple[Step, int]]:
        """The edges of a control state, found at the first visit."""
        known = self.edges[number]
        if known is None:
            places, state = self.places, self.states[number]
            found: dict[tuple[Step, int], None] = {}
            for here in places.selections(state):
                place = places.at(here)
                for edge in places.edges(here, place):
                    if edge.computed:
                        after = places.follow(here, place, edge)
                    else:
                        after = here & edge.held | edge.fixed
                    found[edge.step, self.number_of(after)] = None
            known = self.edges[number] = list(found)
        return known

    def count(self) -> int:
        """How many states were reached."""
        sizes: dict[int, int] = {}
        total = 0
        for number in self.reached:
            size = sizes.get(number)
            if size is None:
                size = sizes[number] = self.sets.sets[number].bit_count()
            total += size
        return total


def run(places: Places, limits: Limits, report: Report | None, started: float, most: int | None = None) -> Search:
    """Searches until nothing is new, a limit is reached, or the user interrupts. `most`: give up (stopped: "split")
    when there are more control states than that."""
    search = Search(places)
    frontier: dict[int, int] = {}
    for state, inside in places.starts():
        number = search.number_of(state)
        search.reached[number] = frontier[number] = search.sets.number(inside)
    watch = _Watch(search, limits, report, started)
    try:
        while frontier:
            search.levels.append(frontier)
            if most is not None and len(search.states) > most:
                search.stopped = "split"
                break
            watch.level_done(frontier)
            frontier = _next_level(search, frontier, watch)
    except _Stopped as stop:
        search.stopped = stop.reason
    except KeyboardInterrupt:
        search.stopped = "interrupted"
    return search


def _next_level(search: Search, frontier: dict[int, int], watch: "_Watch") -> dict[int, int]:
    """One clock on. What a limit interrupts is not counted as a level."""
    reached, edges, join = search.reached, search.edges, search.sets.join
    after: dict[int, int] = {}
    left = watch.due
    for number, inside in frontier.items():
        ways = edges[number]
        if ways is None:
            ways = search.successors(number)
        for step, to in ways:
            image = step.images.get(inside)
            if image is None:
                image = search.sets.image(step, inside)
            old = reached[to]
            if image == old or not image:
                continue
            new, both = join(old, image)
            if new:
                reached[to] = both
                known = after.get(to)
                after[to] = new if known is None else join(known, new)[1]
        left -= 1
        if not left:
            left = watch.look()
    watch.due = left
    return after


class _Stopped(Exception):
    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class _Watch:
    """Looks at the limits now and then and tells how far the search is."""

    def __init__(self, search: Search, limits: Limits, report: Report | None, started: float) -> None:
        self.search, self.limits, self.report, self.started = search, limits, report, started
        self.due = CHECK_EVERY
        self._told = started
        self._states = 0
        self._counting = limits.states is not None or report is not None

    def level_done(self, new: dict[int, int]) -> None:
        """Counts the states of a level."""
        if self._counting:
            sets = self.search.sets.sets
            self._states += sum(sets[number].bit_count() for number in new.values())
            self.look()

    def look(self) -> int:
        """Raises _Stopped; otherwise returns the number of visits until the next look."""
        now = monotonic()
        limits = self.limits
        if limits.seconds is not None and now - self.started > limits.seconds:
            raise _Stopped("seconds")
        if limits.memory is not None and _memory() > limits.memory:
            raise _Stopped("memory")
        if limits.states is not None and self._states > limits.states:
            raise _Stopped("states")
        if self.report is not None and now - self._told > 0.1:
            self._told = now
            self.report(Progress(self._states, len(self.search.levels) - 1, self._states / (now - self.started)))
        return CHECK_EVERY


def _memory() -> int:
    """The greatest memory that the process has had, in bytes."""
    return 0 if resource is None else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
