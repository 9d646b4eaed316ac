"""The search: every reachable state, one clock after another.

Level order (breadth-first) over spots, each with the family of states that go with it. A level holds what is new after
so many cycles: spot -> the family that was not there before. So the first level in which something shows is the
length of a shortest sequence to it, and the levels are all the history that traces need (Clarke, Grumberg, Peled,
"Model Checking", 1999, chapters 2 and 6, with one explicit and one symbolic half).

Images and unions are remembered by numbers of families, so what a visit of a spot costs does not depend on how many
states stand behind it.
"""

from collections import Counter
from time import monotonic

from ordain.prover.limits import LimitReached, look
from ordain.prover.model import Limits, Progress, Report
from ordain.prover.relation.word_classes import Places
from ordain.prover.search.state_sets import Families, Pairs
from ordain.prover.search.transition import Way
from ordain.prover.search.transitions import Ways

CHECK_EVERY = 2048
"""Visits of spots between two looks at the limits."""


class Search:
    """What was found. `spots[i]`: spot number i; `reached[i]`: the number of the family that goes with it; `ways[i]`:
    (way, number of the next spot), None while it has not been visited; `levels[n]`: what is new after n cycles.
    `stopped`: "" when nothing is left to visit."""

    __slots__ = ("_finder", "families", "index", "levels", "places", "reached", "shape", "spots", "stopped", "ways")

    def __init__(self, places: Places) -> None:
        self.places, self.shape = places, places.shape
        self.families = Families()
        self._finder = Ways(places, self.families)
        self.spots: list[int] = []
        self.index: dict[int, int] = {}
        self.reached: list[int] = []
        self.ways: list[list[tuple[Way, int]] | None] = []
        self.levels: list[dict[int, int]] = []
        self.stopped = ""

    def number_of(self, spot: int) -> int:
        number = self.index.get(spot)
        if number is None:
            number = self.index[spot] = len(self.spots)
            self.spots.append(spot)
            self.reached.append(0)
            self.ways.append(None)
        return number

    def from_here(self, number: int) -> list[tuple[Way, int]]:
        """The ways of a spot, found at the first visit."""
        known = self.ways[number]
        if known is None:
            index, known = self.index, []
            for way, spot in self._finder.of(self.spots[number]):
                to = index.get(spot)
                known.append((way, self.number_of(spot) if to is None else to))
            self.ways[number] = known
        return known

    def count(self) -> int:
        """How many states were reached."""
        return sum(self.families.size(family) * spots for family, spots in Counter(self.reached).items())

    def starts(self) -> dict[int, int]:
        """The families at the start, by number of the spot."""
        found: dict[int, Pairs] = {}
        for state, inside in self.places.starts():
            number = self.number_of(state & self.shape.explicit)
            found.setdefault(number, {})[state & self.shape.carried] = self.families.sets.number(inside)
        return {number: self.families.number(pairs) for number, pairs in found.items()}


def run(places: Places, limits: Limits, report: Report | None, started: float, most: int | None = None) -> Search:
    """Searches until nothing is new, a limit is reached, or the user interrupts. `most`: give up (stopped: "split")
    when more visits than that have not been enough. Raises Reopened."""
    search = Search(places)
    frontier = search.starts()
    for number, family in frontier.items():
        search.reached[number] = family
    watch = _Watch(search, limits, report, started)
    visits = 0
    try:
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
    except KeyboardInterrupt:
        search.stopped = "interrupted"
    return search


def _next_level(search: Search, frontier: dict[int, int], watch: "_Watch") -> dict[int, int]:
    """One clock on. What a limit interrupts is not counted as a level."""
    reached, known_ways, families = search.reached, search.ways, search.families
    grow = families.grow
    after: dict[int, int] = {}
    left = watch.due
    for number, family in frontier.items():
        ways = known_ways[number]
        if ways is None:
            ways = search.from_here(number)
        for way, to in ways:
            image = way.images.get(family)
            if image is None:
                image = way.image(family)
            old = reached[to]
            if image == old or not image:
                continue
            new, both = grow(old, image)
            if new:
                reached[to] = both
                known = after.get(to)
                after[to] = new if known is None else families.join(known, new)
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
            self._states += sum(map(self.search.families.size, new.values()))
            self.look()

    def look(self) -> int:
        """Raises LimitReached; otherwise returns the number of visits until the next look."""
        look(self.limits, self.started, self._states)
        now = monotonic()
        if self.report is not None and now - self._told > 0.1:
            self._told = now
            self.report(Progress(self._states, len(self.search.levels) - 1, self._states / (now - self.started)))
        return CHECK_EVERY
