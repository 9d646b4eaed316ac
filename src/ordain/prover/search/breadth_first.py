"""The search: every reachable state, one clock after another.

Level order (breadth-first) over points, each with the set of states that go with it. A level holds what is new after so
many cycles: point -> the state set that was not there before. So the first level in which something shows is the length
of a shortest sequence to it, and the levels are all the history that traces need (Clarke, Grumberg, Peled, "Model
Checking", 1999, chapters 2 and 6, with one explicit and one symbolic half).

Images and unions are remembered by numbers of state sets, so what a visit of a point costs does not depend on how many
states stand behind it.
"""

from collections import Counter
from time import monotonic

from ordain.prover.limits import LimitReached, look
from ordain.prover.model import Limits, Progress, Report
from ordain.prover.relation.word_classes import WordClasses
from ordain.prover.search.edge import Edge
from ordain.prover.search.edges import Edges
from ordain.prover.search.state_sets import Pairs, StateSets

CHECK_EVERY = 256
"""Visits of points between two looks at the limits."""


class Search:
    """What was found. `points[i]`: point number i; `reached[i]`: the number of the state set that goes with it;
    `edges[i]`: (edge, number of the next point), None while it has not been visited; `levels[n]`: what is new after n
    cycles. `stopped`: "" when nothing is left to visit."""

    __slots__ = ("_finder", "classes", "edges", "index", "levels", "points", "reached", "shape", "state_sets",
                 "stopped")

    def __init__(self, classes: WordClasses) -> None:
        self.classes, self.shape = classes, classes.shape
        self.state_sets = StateSets()
        self._finder = Edges(classes, self.state_sets)
        self.points: list[int] = []
        self.index: dict[int, int] = {}
        self.reached: list[int] = []
        self.edges: list[list[tuple[Edge, int]] | None] = []
        self.levels: list[dict[int, int]] = []
        self.stopped = ""

    def number_of(self, point: int) -> int:
        number = self.index.get(point)
        if number is None:
            number = self.index[point] = len(self.points)
            self.points.append(point)
            self.reached.append(0)
            self.edges.append(None)
        return number

    def from_here(self, number: int) -> list[tuple[Edge, int]]:
        """The edges of a point, found at the first visit."""
        known = self.edges[number]
        if known is None:
            index, known = self.index, []
            for edge, point in self._finder.of(self.points[number]):
                to = index.get(point)
                known.append((edge, self.number_of(point) if to is None else to))
            self.edges[number] = known
        return known

    def count(self) -> int:
        """How many states were reached."""
        return sum(self.state_sets.size(state_set) * points for state_set, points in Counter(self.reached).items())

    def starts(self, watch: "_Watch") -> dict[int, int]:
        """The state sets at the start, by number of the point."""
        found: dict[int, Pairs] = {}
        for count, (state, inside) in enumerate(self.classes.starts(), 1):
            if not count % CHECK_EVERY:
                watch.look()
            number = self.number_of(state & self.shape.explicit)
            found.setdefault(number, {})[state & self.shape.carried] = self.state_sets.sets.number(inside)
        return {number: self.state_sets.number(pairs) for number, pairs in found.items()}


def run(classes: WordClasses, limits: Limits, report: Report | None, started: float, most: int | None = None) -> Search:
    """Searches until nothing is new, a limit is reached, or the user interrupts. `most`: give up (stopped: "split")
    when more visits than that have not been enough. Raises Reopened."""
    search = Search(classes)
    watch = _Watch(search, limits, report, started)
    visits = 0
    try:
        frontier = search.starts(watch)
        for number, state_set in frontier.items():
            search.reached[number] = state_set
        while frontier:
            search.levels.append(frontier)
            visits += len(frontier)
            if most is not None and visits > most:
                search.stopped = "split"
                break
            watch.level_done(frontier)
            frontier = _next_level(search, frontier, watch)
    except LimitReached as limit:
        search.stopped = str(limit)
        search.levels = search.levels or [{}]
    except KeyboardInterrupt:
        search.stopped = "interrupted"
    return search


def _next_level(search: Search, frontier: dict[int, int], watch: "_Watch") -> dict[int, int]:
    """One clock on. What a limit interrupts is not counted as a level."""
    reached, known_edges, state_sets = search.reached, search.edges, search.state_sets
    grow = state_sets.grow
    after: dict[int, int] = {}
    left = watch.due
    for number, state_set in frontier.items():
        edges = known_edges[number]
        if edges is None:
            edges = search.from_here(number)
        for edge, to in edges:
            image = edge.images.get(state_set)
            if image is None:
                image = edge.image(state_set)
            old = reached[to]
            if image == old or not image:
                continue
            new, both = grow(old, image)
            if new:
                reached[to] = both
                known = after.get(to)
                after[to] = new if known is None else state_sets.join(known, new)
        left -= 1
        if not left:
            left = watch.look()
    watch.due = left
    return after


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
            self._states += sum(map(self.search.state_sets.size, new.values()))
            self.look()

    def look(self) -> int:
        """Raises LimitReached; otherwise returns the number of visits until the next look."""
        look(self.limits, self.started, self._states)
        now = monotonic()
        if self.report is not None and now - self._told > 0.1:
            self._told = now
            self.report(Progress(self._states, len(self.search.levels) - 1, self._states / (now - self.started)))
        return CHECK_EVERY
