"""How many cycles it takes from one place to another over what can really happen: least, most, and what goes round.

A journey begins in reached states and goes on, cycle by cycle, with all of them at once. So its least and its most are
exact: a path counts only if some sequence from reset takes it. A *ring* is a set of states in which control can go
round as long as it likes. Where there are rings, the most is that of journeys that do not wait: who comes to one of
their addresses leaves them all by the soonest way; and of those who come there after as many cycles, only they count
who are out soonest.
"""

from collections.abc import Sequence
from typing import NamedTuple

from ordain.control.model import Cycle, System
from ordain.control.system import with_free
from ordain.machine.expression import Node, leaves, substitute
from ordain.measure.under_way import (
    AT_HOME,
    EACH,
    MOVES,
    Kinds,
    OneJourney,
    UnderWay,
    common,
    joined,
    less,
)
from ordain.prover.answers.answers import Answers, Region, State
from ordain.prover.answers.fixpoints import Back, Passages, one_cycle_on
from ordain.prover.answers.paths import shortest
from ordain.prover.answers.traces import Demand, Script, Stage
from ordain.prover.model import Limits
from ordain.prover.relation.partition import Question
from ordain.prover.search.edges import Reopened
from ordain.prover.search.explore import explore


class Origin(NamedTuple):
    """States in which journeys may begin: those after reset, where `reset`; those after a cycle with `after`; those
    with a cycle with `entered`, after one without it; and those to which cycles with `through` lead from all these."""

    reset: bool
    after: Node
    entered: Node
    through: Node


class Course(NamedTuple):
    """What ends a journey, as conditions on a cycle. `last`: that cycle is the last one. `beyond`: the one before was
    the last one. `broken_off`: that cycle belongs to no journey any more; such a one does not count. `home`: a journey
    may begin with cycles like this; when it comes to one later, the cycle before was the last one, if `ends_at_home`;
    else it does not count."""

    last: Node
    beyond: Node
    broken_off: Node
    home: Node
    ends_at_home: bool


class Journey(NamedTuple):
    """`start`: a condition that the first state has in some cycle. `origin`: None, or which one, by number: of the
    states with `start` only those count. `course`: which one, by number."""

    start: Node
    origin: int | None
    course: int


class Travelled(NamedTuple):
    """`least`: None when nobody arrives; `most`: None likewise. `rings`: sets of the control addresses that make up a
    ring each, empty when every journey comes to its end. `shortest`, `longest`: the cycles of such a journey,
    when they were asked for and differ; `longest` is empty where there are rings."""

    least: int | None
    most: int | None
    rings: tuple[frozenset[int], ...]
    shortest: tuple[Cycle, ...]
    longest: tuple[Cycle, ...]


class Stopped(Exception):
    """A limit was reached first; the argument says which."""


class Ground(NamedTuple):
    """By the addresses of which store places are told, and the mask of the lines that only choose between words of one
    place (arms)."""

    store: str
    arms: int


def travel(system: System, ground: Ground, origins: Sequence[Origin], courses: Sequence[Course],
           journeys: Sequence[Journey], limits: Limits | None = None, *, shown: bool = True) -> list[Travelled]:
    """All journeys, in their order. `shown`: give cycles. Conditions are over the machine's own leaves, without
    `Prior`. Raises Stopped."""
    explicit = frozenset[Node]()
    while True:
        try:
            return _Travel(system, ground, origins, courses, journeys, limits or Limits(), explicit).all(shown)
        except Reopened as again:
            explicit = again.beside(explicit)


def _conditions(system: System, origins: Sequence[Origin], courses: Sequence[Course],
                journeys: Sequence[Journey], ground: Ground) -> tuple[Node, ...]:
    """Everything that is asked, in this order, over the system's leaves: for each course its `Kinds`, for each
    origin, for each journey; and the lines of the control address."""
    terms = system.terms
    raw: list[Node] = []
    for one in courses:
        away, whole = terms.not_(one.home), terms.not_(one.broken_off)
        within = terms.and_((away, whole, terms.not_(one.beyond)))
        raw += [terms.and_((one.home, whole, terms.not_(one.last))), terms.and_((within, terms.not_(one.last))),
                terms.and_((one.home, whole, one.last)), terms.and_((within, one.last)),
                terms.and_((away, one.beyond)), one.home]
    for origin in origins:
        raw += [origin.after, origin.entered, terms.not_(origin.entered), origin.through]
    raw += [journey.start for journey in journeys]
    raw += _lines(system, ground)
    return substitute(terms, tuple(raw), system.lowering)


def _lines(system: System, ground: Ground) -> list[Node]:
    """The bits of the control address, where something free or a condition is among them: asked for, so that no line is
    taken as 0 because nothing else tells its words apart."""
    free = {one.leaf for one in system.free}
    if not ground.arms and not any(leaf in free for leaf in leaves((system.addresses[ground.store],))):
        return []
    width = system.contents.machine.stores[ground.store].address_width
    line = system.terms.leaf("address", ground.store, width)
    return [system.terms.slice(line, bit, bit) for bit in range(width)]


class _Travel:
    def __init__(self, system: System, ground: Ground, origins: Sequence[Origin], courses: Sequence[Course],
                 journeys: Sequence[Journey], limits: Limits, explicit: frozenset[Node]) -> None:
        self._lowered = _conditions(system, origins, courses, journeys, ground)
        self._system = system._replace(free=with_free(system.free, self._lowered))
        self._journeys, self._courses = journeys, courses
        width = system.contents.machine.stores[ground.store].address_width
        question = Question(self._lowered, (), (system.terms.leaf("address", ground.store, width),))
        self._search, inquiry, _, _ = explore(self._system, question, limits, explicit=explicit)
        if self._search.stopped:
            raise Stopped(self._search.stopped)
        shape, self._searched = self._search.shape, inquiry.conditions
        self._families = self._search.state_sets
        self._answers = Answers(self._search, inquiry)
        self._back = Back(self._search)
        self._stage = Stage(self._system, self._search, ())
        self._address = shape.closures.of(shape.addresses[ground.store])
        self._arms = ground.arms
        self._known_hits: dict[int, dict[tuple[int, int], int]] = {}
        self._passages = [Passages(self._search, self._answers, number) for number in range(len(self._lowered))]
        self._ways = [Kinds(*self._passages[EACH * number:EACH * (number + 1)]) for number in range(len(courses))]
        first = EACH * len(courses)
        self._origins = [self._origin(origin.reset, first + 4 * number) for number, origin in enumerate(origins)]
        self._first = first + 4 * len(origins)

    def all(self, shown: bool) -> list[Travelled]:
        return [self._travelled(number, journey, shown) for number, journey in enumerate(self._journeys)]

    def _origin(self, reset: bool, first: int) -> Region:
        after, _, outside, through = self._passages[first:first + 4]
        reached: Region = {number: family for number, family in enumerate(self._search.reached) if family}
        found: Region = dict(self._search.levels[0]) if reset else {}
        found = joined(self._families, found, one_cycle_on(after, reached))
        at = self._answers.states(first + 1)
        if at:
            found = joined(self._families, found, common(self._families, one_cycle_on(outside, reached), at))
        new = found
        while new:
            more = one_cycle_on(through, new)
            new = less(self._families, more, found)
            found = joined(self._families, found, new)
        return found

    # ------------------------------------------------------------ one journey

    def _travelled(self, number: int, journey: Journey, shown: bool) -> Travelled:
        start = self._answers.states(self._first + number)
        if journey.origin is not None:
            start = common(self._families, start, self._origins[journey.origin])
        ways, course = self._ways[journey.course], self._courses[journey.course]
        at_home = common(self._families, start, self._answers.states(EACH * journey.course + AT_HOME))
        first = UnderWay(at_home, less(self._families, start, at_home))
        one = OneJourney(self._families, ways, course.ends_at_home, first, self._address_of)
        rings = tuple(sorted({self._going_on_at(ring, journey.course) for ring in one.rings}, key=sorted))
        least = one.least()
        if least is None:
            return Travelled(None, None, rings, (), ())
        most = one.most()
        if most < least:
            raise AssertionError("the longest journey is shorter than the shortest")
        if not shown or (least == most and not rings):
            return Travelled(least, most, rings, (), ())
        longest = () if rings else self._cycles(one, journey.course, most)
        return Travelled(least, most, rings, self._cycles(one, journey.course, least), longest)

    def _address_of(self, spot: int) -> int:
        """The control address at a spot, lines that only choose an arm as 0."""
        return self._at(self._search.points[spot]) & ~self._arms

    def _at(self, here: int) -> int:
        return self._address(here, self._search.classes.words_at(here & self._search.shape.entrance))

    def _going_on_at(self, ring: UnderWay, course: int) -> frozenset[int]:
        """The control addresses of a ring's states, those at which a journey ends for certain left out."""
        found = set()
        for half, along, _ in MOVES:
            for spot, family in ring[half].items():
                selections = self._search.classes.selections(self._search.points[spot])
                if len(selections) == 1:
                    found.add(self._at(selections[0]))
                else:
                    going_on = self._hits(EACH * course + along)
                    found.update(self._at(here) for here in selections
                                 if self._families.meet(family, going_on.get((spot, here), 0)))
        return frozenset(found)

    def _hits(self, condition: int) -> dict[tuple[int, int], int]:
        """By spot and selectors the states in which some input makes a condition true."""
        found = self._known_hits.get(condition)
        if found is None:
            hits = self._answers.hits(condition)
            found = self._known_hits[condition] = {(hit.number, hit.here): hit.state_set for hit in hits}
        return found

    def _cycles(self, one: "OneJourney", course: int, count: int) -> tuple[Cycle, ...]:
        """The cycles of a journey of so many, as the whole machine runs them."""
        path, kinds = one.path(count, self._lowest)
        spot, carried, inside = path[0]
        first = self._answers.first({spot: self._families.one(carried, inside)})
        if first is None:
            raise AssertionError("a journey begins where nobody comes")
        before = shortest(self._back, *first)[:-1]
        demands: list[tuple[Demand, ...]] = [() for _ in before]
        for kind in kinds:
            number = EACH * course + kind
            demands.append((Demand(self._lowered[number], self._searched[number]),))
        trace = self._stage.play(Script([*before, *path], demands), {}, ())
        return trace.cycles[len(before):]

    def _lowest(self, region: Region) -> State:
        spot = min(region)
        return (spot, *self._families.lowest(region[spot]))
