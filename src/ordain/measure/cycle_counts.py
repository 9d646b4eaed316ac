"""How many cycles it takes from one place to another over what can really happen: least, most, and what goes round.

A journey begins in the reached states of a condition and goes on, cycle by cycle, with all of them at once, until
nobody is left under way. So its least and its most are exact: a path counts only if some sequence from reset takes it.
When somebody is under way for ever, the rings are told instead, and `most` is the longest way past them in which each
ring is left as soon as it can be.
"""

from collections.abc import Iterable, Sequence
from time import monotonic
from typing import NamedTuple

from ordain.control.model import Cycle, System
from ordain.control.system import with_free
from ordain.machine.expression import Const, Node, substitute
from ordain.prover.answers.answers import Answers, Region, State
from ordain.prover.answers.fixpoints import Back, Passages, one_cycle_before, one_cycle_on
from ordain.prover.answers.paths import shortest
from ordain.prover.answers.traces import Demand, Script, Stage
from ordain.prover.model import Limits
from ordain.prover.relation.partition import Question, Tables, split
from ordain.prover.relation.word_classes import Places
from ordain.prover.search.breadth_first import Search, run
from ordain.prover.search.conditions import Inquiry
from ordain.prover.search.dead_bits import hold_dead_bits
from ordain.prover.search.transitions import Reopened


class Course(NamedTuple):
    """What ends a journey, as conditions on a cycle. `last`: that cycle is the last one. `arrived`: the one before was
    the last one. `broken_off`: that cycle belongs to no journey any more; such a one does not count. `again`: nor does
    one that comes to this, unless it is in its first cycle."""

    last: Node
    arrived: Node
    broken_off: Node
    again: Node


class Journey(NamedTuple):
    """`start`: a condition on the first cycle. `course`: which course, by number."""

    start: Node
    course: int


class Travelled(NamedTuple):
    """`least`: None when nobody arrives; `most`: None likewise. `rings`: sets of the control addresses that make up a
    ring each, empty when every journey comes to its end. `shortest`, `longest`: the cycles of such a journey,
    when they were asked for; `longest` is empty where there are rings."""

    least: int | None
    most: int | None
    rings: tuple[frozenset[int], ...]
    shortest: tuple[Cycle, ...]
    longest: tuple[Cycle, ...]


class Stopped(Exception):
    """A limit was reached first; the argument says which."""


def travel(system: System, store: str, courses: Sequence[Course], journeys: Sequence[Journey],
           limits: Limits | None = None, *, shown: bool = True) -> list[Travelled]:
    """All journeys, in their order. `store`: by whose addresses places are told. `shown`: give cycles wherever least
    and most differ. Conditions are over the machine's own leaves, without `Prior`. Raises Stopped."""
    return _Travel(system, store, courses, journeys, limits or Limits()).all(shown)


class _Ends(NamedTuple):
    """The cycles of a course: those after which a journey goes on and the last ones, both for the first cycle and for
    later ones, and those that come too late. `demands`: the same as conditions, in this order. `begins_alone`: the
    first cycle is of a kind that later ones may not be."""

    on_first: Passages
    last_first: Passages
    on: Passages
    last: Passages
    late: Passages
    demands: tuple[tuple[Demand, ...], ...]
    begins_alone: bool


CONDITIONS = 5
"""Conditions of a course."""


class _Travel:
    def __init__(self, system: System, store: str, courses: Sequence[Course], journeys: Sequence[Journey],
                 limits: Limits) -> None:
        terms = system.terms
        raw: list[Node] = []
        for course in courses:
            over = terms.or_((course.arrived, course.broken_off))
            first = [terms.not_(terms.or_((course.last, over))), terms.and_((course.last, terms.not_(over)))]
            raw += [*first, *(terms.and_((node, terms.not_(course.again))) for node in first),
                    terms.and_((course.arrived, terms.not_(course.broken_off)))]
        raw += [journey.start for journey in journeys]
        lowered = substitute(terms, tuple(raw), system.lowering)
        self._system = system._replace(free=with_free(system.free, lowered))
        self._journeys, self._store, self._lowered = journeys, store, lowered
        self._first = CONDITIONS * len(courses)
        self._search, inquiry = self._found(lowered, limits)
        self._answers = Answers(self._search, inquiry)
        self._back = Back(self._search)
        self._stage = Stage(self._system, self._search, ())
        self._address = self._search.shape.closures.of(self._search.shape.addresses[store])
        self._ends = [self._ends_of(number, course.again) for number, course in enumerate(courses)]

    def _found(self, conditions: tuple[Node, ...], limits: Limits) -> tuple[Search, Inquiry]:
        """The search, with everything followed that the conditions and the control address depend on."""
        system, explicit = self._system, frozenset[Node]()
        tables: Tables = {}
        width = system.contents.machine.stores[self._store].address_width
        question = Question(conditions, (), (system.terms.leaf("address", self._store, width),))
        while True:
            shape, self._searched = split(system, question, limits.reduce, explicit, tables)
            places = Places(shape)
            inquiry = Inquiry(places, self._searched)
            if limits.reduce:
                hold_dead_bits(places, inquiry)
            try:
                search = run(places, limits, None, monotonic())
            except Reopened as again:
                explicit |= again.leaves
                continue
            if search.stopped:
                raise Stopped(search.stopped)
            return search, inquiry

    def _ends_of(self, course: int, again: Node) -> _Ends:
        numbers = range(CONDITIONS * course, CONDITIONS * (course + 1))
        a, b, c, d, e = (Passages(self._search, self._answers, number) for number in numbers)
        demands = tuple((Demand(self._lowered[number], self._searched[number]),) for number in numbers)
        return _Ends(a, b, c, d, e, demands, not isinstance(again, Const))

    def all(self, shown: bool) -> list[Travelled]:
        return [self._travelled(number, self._ends[journey.course], shown)
                for number, journey in enumerate(self._journeys)]

    # ------------------------------------------------------------ one journey

    def _travelled(self, number: int, ends: _Ends, shown: bool) -> Travelled:
        start = self._answers.states(self._first + number)
        levels, counts, endless = self._levels(start, ends)
        least = min(counts, default=None)
        most = max(counts, default=None)
        if endless:
            under_way = self._under_way(levels)
            graph = self._graph(under_way, ends)
            rings = tuple(sorted({frozenset(map(self._place, ring)) for ring in rings_of(graph)}, key=sorted))
            most = self._past_rings(levels, under_way, graph, ends, 1 in counts)
            return Travelled(least, most, rings, () if least is None or not shown else
                             self._cycles(levels, ends, least), ())
        if least is None or most is None:
            return Travelled(None, None, (), (), ())
        if not shown or least == most:
            return Travelled(least, most, (), (), ())
        return Travelled(least, most, (), self._cycles(levels, ends, least), self._cycles(levels, ends, most))

    def _levels(self, start: Region, ends: _Ends) -> tuple[list[Region], set[int], bool]:
        """The states under way after 0, 1, 2 ... cycles, the numbers of cycles after which somebody is at the end, and
        whether this would go on for ever."""
        levels, counts, seen = [start], set[int](), set[frozenset[tuple[int, int]]]()
        while True:
            here, first = levels[-1], len(levels) == 1
            last = ends.last_first if first else ends.last
            if any(last.some(spot, family) for spot, family in here.items()):
                counts.add(len(levels))
            after = one_cycle_on(ends.on_first if first else ends.on, here)
            if any(ends.late.some(spot, family) for spot, family in after.items()):
                counts.add(len(levels))
            key = frozenset(after.items())
            if not after:
                return levels, counts, False
            if key in seen:
                return levels, counts, True
            seen.add(key)
            levels.append(after)

    def _place(self, spot: int) -> int:
        here = self._search.spots[spot]
        return self._address(here, self._search.places.words_at(here & self._search.shape.place))

    def _under_way(self, levels: list[Region]) -> Region:
        found: Region = {}
        for level in levels:
            for spot, family in level.items():
                found[spot] = self._search.families.join(found.get(spot, 0), family)
        return dict(sorted(found.items()))

    def _graph(self, under_way: Region, ends: _Ends) -> dict[int, list[int]]:
        """From spot to spot, as far as somebody under way goes there."""
        return {spot: sorted({to for way, to in ends.on.of(spot) if way.image(ends.on.some(spot, family))})
                for spot, family in under_way.items()}

    def _past_rings(self, levels: list[Region], under_way: Region, graph: dict[int, list[int]], ends: _Ends,
                    at_once: bool) -> int | None:
        """The most cycles without waiting. Where the first cycle is one that only a first one may be, counting begins
        with the second."""
        weights = self._weights(under_way, ends)
        if not ends.begins_alone:
            return longest_past_rings(graph, levels[0], weights)
        past = longest_past_rings(graph, levels[1], weights)
        return past + 1 if past is not None else 1 if at_once else None

    def _weights(self, under_way: Region, ends: _Ends) -> dict[int, int]:
        """By spot at which a journey can end: 1 where the cycle there is still part of it, 0 where it is not."""
        late = dict.fromkeys(self._alive(ends.late, under_way), 0)
        return late | dict.fromkeys(self._alive(ends.last, under_way), 1)

    # ------------------------------------------------------------ its cycles

    def _cycles(self, levels: list[Region], ends: _Ends, count: int) -> tuple[Cycle, ...]:
        """The cycles of a journey of so many, as the whole machine runs them."""
        finals = self._alive(ends.last_first if count == 1 else ends.last, levels[count - 1])
        inclusive = bool(finals)
        if not inclusive:
            goal = self._alive(ends.late, levels[count])
            finals = one_cycle_before(ends.on_first if count == 1 else ends.on, goal, levels[count - 1])
        path = [self._lowest(finals)]
        for number in range(count - 2, -1, -1):
            spot, carried, inside = path[-1]
            goal = {spot: self._search.families.one(carried, inside)}
            path.append(self._lowest(one_cycle_before(ends.on if number else ends.on_first, goal, levels[number])))
        path.reverse()
        spot, carried, inside = path[0]
        first = self._answers.first({spot: self._search.families.one(carried, inside)})
        if first is None:
            raise AssertionError("a journey begins where nobody comes")
        before = shortest(self._back, *first)[:-1]
        on_first, last_first, on, last, _ = ends.demands
        demands: list[tuple[Demand, ...]] = [() for _ in before]
        for number in range(count):
            going_on = number < count - 1 or not inclusive
            demands.append((on if number else on_first) if going_on else (last if number else last_first))
        trace = self._stage.play(Script([*before, *path], demands), {}, ())
        return trace.cycles[len(before):]

    def _alive(self, passages: Passages, region: Region) -> Region:
        return {spot: alive for spot, family in region.items() if (alive := passages.some(spot, family))}

    def _lowest(self, region: Region) -> State:
        spot = min(region)
        return (spot, *self._search.families.lowest(region[spot]))


# ---------------------------------------------------------------- plain graphs


def rings_of(graph: dict[int, list[int]]) -> list[list[int]]:
    """The strongly connected parts that can be gone round in, in the order in which a way meets them last to first
    (Tarjan, "Depth-first search and linear graph algorithms", 1972, without recursion)."""
    return [part for part in parts_of(graph) if len(part) > 1 or part[0] in graph[part[0]]]


def parts_of(graph: dict[int, list[int]]) -> list[list[int]]:
    """Every strongly connected part, each after those that it leads to. All targets must be keys."""
    index: dict[int, int] = {}
    low: dict[int, int] = {}
    on_stack: set[int] = set()
    stack: list[int] = []
    parts: list[list[int]] = []
    for root in graph:
        if root in index:
            continue
        work = [(root, iter(graph[root]))]
        index[root] = low[root] = len(index)
        stack.append(root)
        on_stack.add(root)
        while work:
            node, targets = work[-1]
            for target in targets:
                if target not in index:
                    index[target] = low[target] = len(index)
                    stack.append(target)
                    on_stack.add(target)
                    work.append((target, iter(graph[target])))
                    break
                if target in on_stack:
                    low[node] = min(low[node], index[target])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == index[node]:
                    cut = stack.index(node)
                    parts.append(sorted(stack[cut:]))
                    on_stack.difference_update(stack[cut:])
                    del stack[cut:]
    return parts


def longest_past_rings(graph: dict[int, list[int]], starts: Iterable[int], ends: dict[int, int]) -> int | None:
    """The most cycles from a start to an end, when inside a ring one goes straight (by a shortest way) from where one
    enters to where one leaves it. A node takes a cycle, an end as many as `ends` says. None: no end is reached."""
    part_of = {node: number for number, part in enumerate(parts_of(graph)) for node in part}
    parts = parts_of(graph)
    best: dict[int, int] = {}                       # most cycles from this node, on entering its part here, to an end
    for part in parts:                              # what it leads to has been settled
        leave: dict[int, int] = {}
        for node in part:
            ways = [1 + best[to] for to in graph[node] if part_of[to] != part_of[node] and to in best]
            ways += [ends[node]] if node in ends else []
            if ways:
                leave[node] = max(ways)
        for node in part:
            found = [distance + leave[other] for other, distance in _distances(graph, node, set(part)).items()
                     if other in leave]
            if found:
                best[node] = max(found)
    reached = [best[node] for node in starts if node in best]
    return max(reached) if reached else None


def _distances(graph: dict[int, list[int]], start: int, within: set[int]) -> dict[int, int]:
    distance = {start: 0}
    level = [start]
    while level:
        following = []
        for node in level:
            for target in graph[node]:
                if target in within and target not in distance:
                    distance[target] = distance[node] + 1
                    following.append(target)
        level = following
    return distance
