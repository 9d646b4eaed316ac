"""From a search to the verdicts on its properties."""

from typing import Literal, TypeAlias

from ordain.machine.expression import Node
from ordain.prover.answers import Answers, Hit, Ways, size, states_of
from ordain.prover.counting import count_transitions
from ordain.prover.model import Break, Limits, Property, System, Trace, Variable, Verdict
from ordain.prover.paths import Back, Loop, Point, go_round
from ordain.prover.regions import (
    Region,
    can_reach,
    everything_after,
    for_ever,
    one_cycle_before,
    one_cycle_on,
)
from ordain.prover.search import Search
from ordain.prover.trace import Demand, Script, Stage

Outcome: TypeAlias = Literal["proved", "broken", "vacuous", "undecided"]


class Conditions:
    """The distinct conditions that properties ask about, by number. `lowered` as given; `searched`, once the split is
    made, as they are in the search."""

    def __init__(self) -> None:
        self.lowered: list[Node] = []
        self._numbers: dict[Node, int] = {}
        self.searched: tuple[Node, ...] = ()

    def number(self, node: Node) -> int:
        number = self._numbers.get(node)
        if number is None:
            number = self._numbers[node] = len(self.lowered)
            self.lowered.append(node)
        return number

    def demand(self, number: int) -> Demand:
        return Demand(self.lowered[number], self.searched[number])


class Asked:
    """A property with the numbers of its conditions. `waits`: neither response nor `unless`; `ignored`: a trigger in
    such a cycle."""

    def __init__(self, system: System, conditions: Conditions, prop: Property) -> None:
        terms = system.terms
        self.prop = prop
        self.node = conditions.number(prop.node)
        self.vacuity = -1 if prop.vacuity is None else conditions.number(prop.vacuity)
        self.trigger = self.waits = self.ignored = -1
        if prop.kind == "within" and prop.trigger is not None:
            waits = [terms.not_(node) for node in (prop.node, prop.unless) if node is not None]
            self.trigger = conditions.number(prop.trigger)
            self.waits = conditions.number(terms.and_(waits))
            self.ignored = conditions.number(terms.and_((prop.trigger, *waits)))


class Judge:
    """Gives verdicts on the properties of one search."""

    def __init__(self, system: System, search: Search, conditions: Conditions, monitors: tuple[Variable, ...],
                 limits: Limits) -> None:
        self.system, self.search, self.conditions, self.limits = system, search, conditions, limits
        self.answers = Answers(search, len(conditions.lowered))
        self.states, self.transitions = search.count(), count_transitions(search)
        self._monitors = monitors
        self._back: Back | None = None
        self._stage: Stage | None = None

    @property
    def back(self) -> Back:
        if self._back is None:
            self._back = Back(self.search)
        return self._back

    def verdict(self, asked: Asked) -> Verdict:
        match asked.prop.kind:
            case "bad":
                return self._bad(asked)
            case "reach":
                return self._reach(asked)
            case "always":
                return self._always(asked)
            case "within":
                return self._within(asked)

    def over_assumed(self, prop: Property) -> Verdict:
        """Broken when some reached state has no input that satisfies the assumptions."""
        dead = list(self.answers.dead.items())
        first = self.answers.first(dead)
        if first is None:
            return self._made(prop, "undecided" if self.search.stopped else "proved")
        path = self.back.shortest(first[0], first[1:])
        script = Script(path, [() for _ in path], None, True)
        return self._made(prop, "broken", (Break(None, first[0], size(dead), self._play(prop, script)),))

    def _made(self, prop: Property, outcome: Outcome, breaks: tuple[Break, ...] = (), witness: Trace | None = None,
              worst: int | None = None) -> Verdict:
        return Verdict(prop, outcome, breaks, witness, worst, self.states, self.transitions)

    def _sound(self, asked: Asked, worst: int | None = None) -> Verdict:
        """Nothing was found against the property."""
        if self.search.stopped:
            return self._made(asked.prop, "undecided")
        vacuous = asked.vacuity >= 0 and not self.answers.hits[asked.vacuity]
        return self._made(asked.prop, "vacuous" if vacuous else "proved", worst=worst)

    # ------------------------------------------------------------ bad, reach

    def _bad(self, asked: Asked) -> Verdict:
        by_address: dict[int | None, list[Hit]] = {}
        store = asked.prop.per_word
        for hit in self.answers.hits[asked.node]:
            by_address.setdefault(self._address(store, hit) if store else None, []).append(hit)
        if not by_address:
            return self._sound(asked)
        found = []
        for address, hits in by_address.items():
            states = states_of(hits)
            first = self.answers.first(states)
            if first is not None:
                found.append((first[0], -1 if address is None else address, first[1:], size(states)))
        breaks: list[Break] = []
        for level, where, point, count in sorted(found):
            demands = (self.conditions.demand(asked.node), *self._at(store, where))
            trace = self._shortest(asked.prop, level, point, demands) if len(breaks) < self.limits.traces else None
            breaks.append(Break(None if where < 0 else where, level + 1, count, trace))
        return self._made(asked.prop, "broken", tuple(breaks))

    def _address(self, store: str, hit: Hit) -> int:
        places = self.search.places
        return places.shape.closures.of(places.shape.addresses[store])(hit.here, places.at(hit.here).words)

    def _at(self, store: str, address: int) -> tuple[Demand, ...]:
        if address < 0:
            return ()
        terms, node = self.system.terms, self.search.places.shape.addresses[store]
        values = frozenset((address,))
        return (Demand(terms.among(terms.leaf("address", store, node.width), values), terms.among(node, values)),)

    def _reach(self, asked: Asked) -> Verdict:
        first = self.answers.first(states_of(self.answers.hits[asked.node]))
        if first is None:
            return self._made(asked.prop, "undecided" if self.search.stopped else "broken")
        sound = self._sound(asked)
        if sound.outcome == "vacuous":
            return sound
        witness = self._shortest(asked.prop, first[0], first[1:], (self.conditions.demand(asked.node),))
        return self._made(asked.prop, "proved", witness=witness)

    # ------------------------------------------------------------ always

    def _always(self, asked: Asked) -> Verdict:
        if self.search.stopped:
            return self._made(asked.prop, "undecided")
        able = can_reach(self.back, dict(states_of(self.answers.hits[asked.node])))
        sets = self.search.sets.sets
        lost = {number: sets[inside] & ~able.get(number, 0) for number, inside in enumerate(self.search.reached)}
        lost = {number: where for number, where in lost.items() if where}
        first = self.answers.first(list(lost.items()))
        if first is None:
            return self._sound(asked)
        path = self.back.shortest(first[0], first[1:])
        loop = go_round(Ways(self.search, ()), path[-1], lambda number: lost.get(number, 0))
        trace = self._play(asked.prop, _with_loop(path, loop, [()] * (len(path) - 1), ()))
        return self._made(asked.prop, "broken", (Break(None, first[0], size(list(lost.items())), trace),))

    # ------------------------------------------------------------ within

    def _within(self, asked: Asked) -> Verdict:
        prop = asked.prop
        if self.search.stopped:
            return self._made(prop, "undecided")
        if not self.answers.hits[asked.trigger]:
            return self._sound(asked)
        searched = self.conditions.searched
        ignoring, waiting = Ways(self.search, (searched[asked.ignored],)), Ways(self.search, (searched[asked.waits],))
        triggered = dict(states_of(self.answers.hits[asked.ignored]))
        region = everything_after(waiting, one_cycle_on(ignoring, triggered))
        endless = for_ever(waiting, region)
        if endless:
            return self._endless(asked, ignoring, waiting, triggered, endless)
        worst, now = 0, one_cycle_on(ignoring, triggered)
        while now:
            worst += 1
            now = one_cycle_on(waiting, now)
        if worst <= prop.cycles:
            return self._sound(asked, worst)
        return self._too_late(asked, ignoring, waiting, triggered, region, worst)

    def _endless(self, asked: Asked, ignoring: Ways, waiting: Ways, triggered: Region, endless: Region) -> Verdict:
        """A trigger after which the response can fail for ever: the shortest way there, then round."""
        starts = one_cycle_before(ignoring, endless, triggered)
        path, later = self._first_into(starts, ignoring, endless)
        loop = go_round(waiting, later, lambda number: endless.get(number, 0))
        ignored, waits = self.conditions.demand(asked.ignored), self.conditions.demand(asked.waits)
        script = _with_loop([*path, later], loop, [*[()] * (len(path) - 1), (ignored,)], (waits,))
        trace = self._play(asked.prop, script)
        broken = Break(None, len(trace.cycles), size(list(starts.items())), trace)
        return self._made(asked.prop, "broken", (broken,))

    def _too_late(self, asked: Asked, ignoring: Ways, waiting: Ways, triggered: Region, region: Region,
                  worst: int) -> Verdict:
        """A trigger after which `cycles` more cycles can go by without response: the shortest way to such a one."""
        prop = asked.prop
        remaining = [{number: both for number, where in region.items() if (both := where & waiting.allowed(number))}]
        for _ in range(1, prop.cycles):
            remaining.append(one_cycle_before(waiting, remaining[-1], region))
        ignored, waits = self.conditions.demand(asked.ignored), self.conditions.demand(asked.waits)
        if prop.cycles == 0:
            starts = triggered
            first = self.answers.first(list(starts.items()))
            if first is None:
                raise AssertionError("a wait without a trigger")
            path = self.back.shortest(first[0], first[1:])
        else:
            starts = one_cycle_before(ignoring, remaining[-1], triggered)
            path, later = self._first_into(starts, ignoring, remaining[-1])
            path = [*path, later]
            for goal in reversed(remaining[:-1]):
                path.append(_into(waiting, path[-1], goal))
        quiet = len(path) - 1 - prop.cycles
        demands: list[tuple[Demand, ...]] = [*[()] * quiet, (ignored,), *[(waits,)] * prop.cycles]
        trace = self._play(prop, Script(path, demands))
        broken = Break(None, len(trace.cycles), size(list(starts.items())), trace)
        return self._made(prop, "broken", (broken,), worst=worst)

    def _first_into(self, starts: Region, ways: Ways, goal: Region) -> tuple[list[Point], Point]:
        """A shortest path to one of the start points, and where one cycle takes it into the goal."""
        first = self.answers.first(sorted(starts.items()))
        if first is None:
            raise AssertionError("a region that was reached has no first state")
        path = self.back.shortest(first[0], first[1:])
        return path, _into(ways, path[-1], goal)

    # ------------------------------------------------------------ traces

    def _shortest(self, prop: Property, level: int, point: Point, demands: tuple[Demand, ...]) -> Trace:
        path = self.back.shortest(level, point)
        return self._play(prop, Script(path, [*[()] * level, demands]))

    def _play(self, prop: Property, script: Script) -> Trace:
        if self._stage is None:
            self._stage = Stage(self.system, self.search, self._monitors)
        events = {"node": prop.node, "trigger": prop.trigger, "unless": prop.unless}
        return self._stage.play(script, {name: node for name, node in events.items() if node is not None},
                                prop.monitors)


def _into(ways: Ways, point: Point, goal: Region) -> Point:
    """The first successor of a point in a region that has one."""
    number, inside = point
    for step, to in ways.of(number):
        found = step.relation.image(1 << inside & step.guard) & goal.get(to, 0)
        if found:
            return to, (found & -found).bit_length() - 1
    raise AssertionError("a point has no successor where it was said to have one")


def _with_loop(path: list[Point], loop: Loop, demands: list[tuple[Demand, ...]], again: tuple[Demand, ...]) -> Script:
    """A path whose last point is the first of a loop; `again`: what every cycle of the loop has to satisfy."""
    points = [*path[:-1], *loop.points]
    every = [*demands, *[again] * len(loop.points)]
    back = None if loop.back is None else len(path) - 1 + loop.back
    return Script(points, every, back, loop.back is None)
