"""Everybody who is under way along one course, at once: who arrives after how many cycles, and who may never arrive.

What is asked of a state does not depend on who comes there, so it is worked out once for all journeys, backwards from
where they end.
"""

from collections.abc import Iterator
from functools import cached_property, reduce
from operator import or_
from typing import NamedTuple

from oxidd.bdd import BDDFunction

from ordain.machine.expression import Node
from ordain.prover.symbolic.cases import SearchCase
from ordain.prover.symbolic.paths import one_of


class UnderWay(NamedTuple):
    """States under way. `home`: those whose journey has been at home in every cycle, thus may still be; `away`: the
    others."""

    home: BDDFunction
    away: BDDFunction

    def __bool__(self) -> bool:
        return self.home.satisfiable() or self.away.satisfiable()

    def __or__(self, other: "UnderWay") -> "UnderWay":
        return UnderWay(self.home | other.home, self.away | other.away)

    def __and__(self, other: "UnderWay") -> "UnderWay":
        return UnderWay(self.home & other.home, self.away & other.away)

    def less(self, other: "UnderWay") -> "UnderWay":
        return UnderWay(self.home & ~other.home, self.away & ~other.away)

    def within(self, states: BDDFunction) -> "UnderWay":
        return UnderWay(self.home & states, self.away & states)


class Kinds(NamedTuple):
    """The cycles of a course, by what they mean for a journey. `stay`, `go`: it goes on, at home or not. `last_home`,
    `last`: it ends with them. `beyond`: it has ended before. `home`: they are at home. `following`: the next journey
    begins with them; `back`: they are at home, and none does."""

    stay: Node
    go: Node
    last_home: Node
    last: Node
    beyond: Node
    home: Node
    following: Node
    back: Node


class JourneyStep(NamedTuple):
    """A state of a journey, a set of one, and the condition of the cycle that follows."""

    state: BDDFunction
    cycle: Node


class Along:
    """One course over what is reached. `ends_at_home`: a journey that comes home later has ended with the cycle
    before."""

    def __init__(self, case: SearchCase, kinds: Kinds, ends_at_home: bool) -> None:
        self.case, self.kinds = case, kinds
        self.stay, self.go = case.graph(kinds.stay), case.graph(kinds.go)
        self.nobody = UnderWay(case.space.false, case.space.false)
        self._at_home = case.having_node(kinds.home)
        self._following, self._back = case.having_node(kinds.following), case.having_node(kinds.back)
        last, beyond = case.having_node(kinds.last), case.having_node(kinds.beyond)
        self._last = UnderWay(case.having_node(kinds.last_home) | last, last)
        self._late = UnderWay(beyond, beyond | self._at_home if ends_at_home else beyond)

    def begun(self, states: BDDFunction) -> UnderWay:
        return UnderWay(states & self._at_home, states & ~self._at_home)

    def on(self, states: UnderWay) -> UnderWay:
        return UnderWay(self.stay.after(states.home), self.go.after(states.home | states.away))

    def before(self, goal: UnderWay) -> UnderWay:
        away = self.go.before(goal.away)
        return UnderWay(self.stay.before(goal.home) | away, away)

    def ending(self, states: UnderWay) -> UnderWay:
        """Those of which a cycle is the last one."""
        return states & self._last

    def late(self, states: UnderWay) -> UnderWay:
        """Those of which a cycle is one too many."""
        return states & self._late

    def onward(self, states: UnderWay) -> tuple[bool, bool]:
        """Whether the next journey begins right after some of their last cycles; whether they come home after some."""
        graph, kinds = self.case.graph, self.kinds
        after = graph(kinds.last_home).after(states.home) | graph(kinds.last).after(states.home | states.away)
        return ((after & self._following).satisfiable(),
                (after & self._back | self.late(states).away & self._back).satisfiable())

    def closure(self, start: UnderWay) -> UnderWay:
        """Everybody who is under way from somewhere."""
        seen = new = start
        while new:
            new = self.on(new).less(seen)
            seen = seen | new
        return seen

    def endless(self, region: UnderWay) -> UnderWay:
        """Those who can go on for ever without leaving a region."""
        while (still := self.before(region) & region) != region:
            region = still
        return region


class Counts:
    """How many cycles it takes from each state of all who are under way, `every` one of them."""

    def __init__(self, along: Along, start: UnderWay) -> None:
        self._along, self.every = along, along.closure(start)

    @cached_property
    def endless(self) -> UnderWay:
        """The states from which it may be any number."""
        return self._along.endless(self.every)

    @cached_property
    def arriving(self) -> UnderWay:
        """The states from which some journey comes to its end."""
        return reduce(or_, self._soonest)

    @cached_property
    def _soonest(self) -> list[UnderWay]:
        return list(self._layers(self.every, True))

    @cached_property
    def _any_number(self) -> list[UnderWay]:
        return list(self._layers(self.every.less(self.endless), False))

    def _layers(self, every: UnderWay, soonest: bool) -> Iterator[UnderWay]:
        """The states from which it can take 0, 1, 2 .. cycles until the end; or, but for 0, from which it takes so many
        at least. With 0 the journey has ended before: for one that begins there that is no number."""
        along = self._along
        now = along.late(every)
        yield now
        now = seen = along.ending(every) | along.before(now) & every
        while now:
            yield now
            now = along.before(now) & every
            if soonest:
                now = now.less(seen)
                seen = seen | now

    def least(self, start: UnderWay) -> int | None:
        """None: nobody arrives."""
        return next((count for count, states in enumerate(self._soonest) if count and start & states), None)

    def most(self, start: UnderWay) -> int:
        """Of who begins where nothing is endless, and some arrive."""
        return max(count for count, states in enumerate(self._any_number) if count and start & states)

    def shortest(self, start: UnderWay, count: int) -> list[JourneyStep]:
        return _walk(self._along, self._soonest, start, count)

    def longest(self, start: UnderWay, count: int) -> list[JourneyStep]:
        return _walk(self._along, self._any_number, start, count)


def _walk(along: Along, layers: list[UnderWay], start: UnderWay, count: int) -> list[JourneyStep]:
    """A journey of so many cycles through the layers, from the lowest state on to the lowest next ones."""
    kinds, steps = along.kinds, list[JourneyStep]()
    here = start & layers[count]
    for left in range(count, 0, -1):
        at_home = here.home.satisfiable()
        state = one_of(along.case, here.home if at_home else here.away)
        alone = UnderWay(state, along.nobody.away) if at_home else UnderWay(along.nobody.home, state)
        if left == 1 and along.ending(alone):
            homely = at_home and (state & along.case.having_node(kinds.last_home)).satisfiable()
            return [*steps, JourneyStep(state, kinds.last_home if homely else kinds.last)]
        here = along.on(alone) & layers[left - 1]
        steps.append(JourneyStep(state, kinds.stay if here.home.satisfiable() else kinds.go))
    return steps
