"""How many cycles it takes from one place to another over what can really happen: least, most, and what goes round.

A journey begins in reached states and goes on, cycle by cycle, with all of them at once. So its least and its most are
exact: a path counts only if some sequence from reset takes it. A *ring* is a set of states in which control can go
round as long as it likes. Where there are rings, the most is that of journeys that do not wait: who comes to one of
their addresses leaves them all by the soonest way; and of those who come there after as many cycles, only they count
who are out soonest.
"""

from collections.abc import Sequence
from functools import reduce
from itertools import islice
from operator import or_
from time import monotonic
from typing import NamedTuple

from oxidd.bdd import BDDFunction
from oxidd.util import DDMemoryError

from ordain.control.model import Cycle, System
from ordain.control.system import with_free
from ordain.machine.expression import Node, substitute
from ordain.measure.rings import RingGround
from ordain.measure.under_way import Along, Counts, JourneyStep, Kinds, UnderWay
from ordain.measure.waiting import Waiting
from ordain.prover.model import Limits, Property
from ordain.prover.symbolic.cases import SearchCase, SearchWatch, model_of
from ordain.prover.symbolic.traces import Stage, TraceScript


class Origin(NamedTuple):
    """States in which journeys may begin: those after reset, where `reset`; those after a cycle with `after`; those
    with a cycle with `entered`, after one without it; and those to which cycles with `through` lead from all these."""

    reset: bool
    after: Node
    entered: Node
    through: Node


class JourneyEnds(NamedTuple):
    """What ends a journey, as conditions on a cycle. `last`: that cycle is the last one. `beyond`: the one before was
    the last one. `broken_off`: that cycle belongs to no journey any more; such a one does not count. `home`: a journey
    may begin with cycles like this; when it comes to one later, the cycle before was the last one, if `ends_at_home`;
    else it does not count. `following`: the next journey begins with a cycle like this; never, where nobody asks."""

    last: Node
    beyond: Node
    broken_off: Node
    home: Node
    ends_at_home: bool
    following: Node


class Journey(NamedTuple):
    """`start`: a condition that the first state has in some cycle. `origin`: None, or which one, by number: of the
    states with `start` only those count. `course`: which one, by number."""

    start: Node
    origin: int | None
    course: int


class Onward(NamedTuple):
    """What comes right after the last cycles: `following`: the first one of the next journey; `home`: one at home that
    is none."""

    following: bool
    home: bool


class Travelled(NamedTuple):
    """`least`: None when nobody arrives; `most`: None likewise. `rings`: sets of the control addresses that make up a
    ring each, empty when every journey comes to its end. `shortest`, `longest`: the cycles of such a journey,
    when they were asked for and differ; `longest` is empty where there are rings. `onward`: where some of them end.
    `begun`: whether there is a journey at all."""

    least: int | None
    most: int | None
    rings: tuple[frozenset[int], ...]
    shortest: tuple[Cycle, ...]
    longest: tuple[Cycle, ...]
    onward: Onward
    begun: bool = True


class Stopped(Exception):
    """A limit was reached first; the argument says which."""


class Control(NamedTuple):
    """`store`: by the addresses of which places are told; `arms`: the mask of its lines that only choose between words
    of one place. `shown`: what else is read of the cycles that are shown, as terms."""

    store: str
    arms: int
    shown: tuple[Node, ...]


def travel(system: System, control: Control, origins: Sequence[Origin], courses: Sequence[JourneyEnds],
           journeys: Sequence[Journey]) -> list[Travelled]:
    """All journeys, in their order. Conditions are over the machine's own leaves, without `Prior`. Raises Stopped."""
    try:
        going = _Going(system, control, origins, courses, journeys)
        return [going.travelled(journey) for journey in journeys]
    except DDMemoryError as full:
        raise Stopped("memory") from full


def soonest(system: System, control: Control, courses: Sequence[JourneyEnds],
            journeys: Sequence[Journey], origins: Sequence[Origin] = ()) -> list[int | None]:
    """The least of each journey. Raises Stopped."""
    try:
        going = _Going(system, control, origins, courses, journeys)
        return [going.counts[journey.course].least(going.starts[journey]) for journey in journeys]
    except DDMemoryError as full:
        raise Stopped("memory") from full


def _conditions(system: System, origins: Sequence[Origin], courses: Sequence[JourneyEnds],
                journeys: Sequence[Journey]) -> tuple[Node, ...]:
    """Everything that is asked, in this order, over the system's leaves: for each course its `Kinds`, each origin, for
    each journey where it starts."""
    terms = system.terms
    raw: list[Node] = []
    for one in courses:
        away, whole = terms.not_(one.home), terms.not_(one.broken_off)
        within = terms.and_((away, whole, terms.not_(one.beyond)))
        raw += Kinds(stay=terms.and_((one.home, whole, terms.not_(one.last))),
                     go=terms.and_((within, terms.not_(one.last))), last_home=terms.and_((one.home, whole, one.last)),
                     last=terms.and_((within, one.last)), beyond=terms.and_((away, one.beyond)), home=one.home,
                     following=one.following, back=terms.and_((one.home, terms.not_(one.following))))
    for origin in origins:
        raw += [origin.after, origin.entered, terms.not_(origin.entered), origin.through]
    raw += [journey.start for journey in journeys]
    return substitute(terms, tuple(raw), system.lowering)


class _Going:
    """`starts`: of each journey the states at its beginning. `counts`: of each course."""

    def __init__(self, system: System, control: Control, origins: Sequence[Origin], courses: Sequence[JourneyEnds],
                 journeys: Sequence[Journey]) -> None:
        lowered = _conditions(system, origins, courses, journeys)
        system = system._replace(free=with_free(system.free, lowered))
        asked = tuple(Property("cycles", "", "reach", node) for node in (*lowered, *control.shown))
        model, watch = model_of(system, asked, Limits()), SearchWatch(Limits(), None, monotonic())
        watch.tidy = model.space.tidy
        self._case = SearchCase(model, (), watch)
        if self._case.layers.stopped:
            raise Stopped(self._case.layers.stopped)
        self._ground = RingGround(self._case, control.store, control.arms)
        self._stage = Stage(self._case)
        rest = iter(lowered)
        self._alongs = [Along(self._case, Kinds(*islice(rest, len(Kinds._fields))), course.ends_at_home)
                        for course in courses]
        began = [self._origin(origin.reset, *islice(rest, 4)) for origin in origins]
        self.starts: dict[Journey, UnderWay] = {}
        for journey, node in zip(journeys, rest, strict=True):
            among = self._case.layers.reached if journey.origin is None else began[journey.origin]
            self.starts[journey] = self._alongs[journey.course].begun(self._case.having_node(node) & among)
        self.counts = []
        for number, along in enumerate(self._alongs):
            starts = [start for journey, start in self.starts.items() if journey.course == number]
            self.counts.append(Counts(along, reduce(or_, starts, along.nobody)))
        self._leading_on: dict[int, bool] = {}

    def _origin(self, reset: bool, after: Node, entered: Node, outside: Node, through: Node) -> BDDFunction:
        case = self._case
        found = case.graph(after).after(case.layers.reached)
        found = found | case.graph(outside).after(case.layers.reached) & case.having_node(entered)
        found = found | case.start if reset else found
        return case.closed(found, case.graph(through).after, case.layers.reached)

    def travelled(self, journey: Journey) -> Travelled:
        start, counts = self.starts[journey], self.counts[journey.course]
        if not start:
            return Travelled(None, None, (), (), (), Onward(False, True), False)
        along = self._alongs[journey.course]
        waiting = Waiting(along, counts, self._ground, start) if start & counts.endless else None
        rings = () if waiting is None else tuple(sorted(waiting.rings, key=sorted))
        least = counts.least(start)
        onward = self._onward(journey)
        if least is None:
            return Travelled(None, None, rings, (), (), onward)
        most = counts.most(start) if waiting is None else waiting.most()
        if most < least:
            raise AssertionError("the longest journey is shorter than the shortest")
        if least == most and not rings:
            return Travelled(least, most, rings, (), (), onward)
        longest = () if rings else self._cycles(counts.longest(start, most))
        return Travelled(least, most, rings, self._cycles(counts.shortest(start, least)), longest, onward)

    def _onward(self, journey: Journey) -> Onward:
        """Looked at one by one only where somebody of the course goes on into the next journey."""
        along, course = self._alongs[journey.course], journey.course
        if course not in self._leading_on:
            self._leading_on[course] = along.onward(self.counts[course].every)[0]
        return Onward(*along.onward(along.closure(self.starts[journey]))) if self._leading_on[course] else \
            Onward(False, True)

    def _cycles(self, steps: list[JourneyStep]) -> tuple[Cycle, ...]:
        """The cycles of a journey, as the whole machine runs them."""
        script = TraceScript([step.state for step in steps], [(step.cycle,) for step in steps], from_reset=False)
        return self._stage.play(script, {}, ()).cycles
