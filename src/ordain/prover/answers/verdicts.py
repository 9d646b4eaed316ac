"""From a search to the verdicts on its properties."""

from typing import Literal, TypeAlias

from ordain.control.model import System, Trace, Variable
from ordain.machine.expression import Node
from ordain.prover.answers.answers import Answers, Hit, Region, State
from ordain.prover.answers.fixpoints import (
    Back,
    Passages,
    can_reach,
    everything_after,
    one_cycle_before,
    one_cycle_on,
    waits,
)
from ordain.prover.answers.monitors import (
    Watch,
    Watchers,
    depth_of,
    in_order,
    kind_of,
    needed_before,
    with_anything,
    with_value,
)
from ordain.prover.answers.paths import Loop, go_round, into, shortest
from ordain.prover.answers.presented import alike_addresses, bits_of
from ordain.prover.answers.traces import Demand, Script, Stage
from ordain.prover.model import Break, Limits, Property, Verdict
from ordain.prover.search.breadth_first import Search
from ordain.prover.search.conditions import Queries
from ordain.prover.search.counting import count_transitions

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


def watch(system: System, conditions: Conditions, prop: Property) -> Watch | None:
    """The property as it is put to the plain search; None when its monitors need a search of their own."""
    terms, kind = system.terms, kind_of(prop)
    if kind == "window":
        (monitor,) = prop.monitors

        def number(node: Node, value: int) -> int:
            return conditions.number(with_value(terms, node, monitor, value))

        opens, stays = (with_value(terms, monitor.next, monitor, value) for value in (0, 1))
        return Watch("window", prop, 0, conditions.number(opens), conditions.number(stays),
                     conditions.number(terms.and_((opens, terms.not_(stays)))), number(prop.node, 1),
                     number(prop.node, 0), -1 if prop.vacuity is None else number(prop.vacuity, 1),
                     -1 if prop.vacuity is None else number(prop.vacuity, 0), (), ())
    if kind == "memory":
        some = conditions.number(with_anything(terms, prop.node, prop.monitors))
        vacuity = -1 if prop.vacuity is None else conditions.number(
            with_anything(terms, prop.vacuity, prop.monitors))
        before = tuple(conditions.number(node) for node in needed_before(system, prop))
        ordered = tuple(conditions.number(node) for node in in_order(system, prop)) if prop.shown else ()
        return Watch("memory", prop, depth_of(prop.monitors) or 0, -1, -1, -1, some, -1, vacuity, -1, before, ordered)
    return None


class Judge:
    """Gives verdicts on the properties of one search."""

    def __init__(self, system: System, search: Search, queries: Queries, conditions: Conditions,
                 monitors: tuple[Variable, ...], limits: Limits, beside: tuple[Variable, ...] = ()) -> None:
        """`monitors`: those in the search; `beside`: others that run along in what is shown."""
        self.system, self.search, self.conditions, self.limits = system, search, conditions, limits
        self.answers = Answers(search, queries)
        self.states, self.transitions = search.count(), count_transitions(search)
        self._monitors, self._beside = monitors, beside
        self._back: Back | None = None
        self._always_reached: Region = {}
        self._stages: dict[bool, Stage] = {}
        self._watchers: Watchers | None = None

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

    def watched(self, asked: Watch) -> Verdict | None:
        """The verdict on a property with monitors, where the plain search is enough for it."""
        if self.search.stopped:
            return None
        if self._watchers is None:
            self._watchers = Watchers(self.system, self.answers, self.back)
        found = self._watchers.found(asked)
        if found is None:
            return None
        occurs, given = found
        if asked.prop.kind == "bad":
            return None if occurs else self._made(asked.prop, "proved" if given else "vacuous")
        if not occurs:
            return self._made(asked.prop, "broken")
        if not given:
            return self._made(asked.prop, "vacuous")
        if not asked.prop.shown:
            return self._made(asked.prop, "proved")
        return self._made(asked.prop, "proved", witness=self._in_order(asked)) if asked.in_order else None

    def undecided(self, prop: Property) -> Verdict:
        return self._made(prop, "undecided")

    def over_assumed(self, prop: Property) -> Verdict:
        """Broken when some reached state has no input that satisfies the assumptions."""
        dead = self.answers.dead
        first = self.answers.first(dead)
        if first is None:
            return self._made(prop, "undecided" if self.search.stopped else "proved")
        path = shortest(self.back, *first)
        trace = self._play(prop, Script(path, [() for _ in path], None, True))
        return self._made(prop, "broken", (Break(None, first[0], self.answers.size(dead), trace),))

    def _made(self, prop: Property, outcome: Outcome, breaks: tuple[Break, ...] = (), witness: Trace | None = None,
              worst: int | None = None) -> Verdict:
        return Verdict(prop, outcome, breaks, witness, worst, self.states, self.transitions)

    def _sound(self, asked: Asked, worst: int | None = None) -> Verdict:
        """Nothing was found against the property."""
        if self.search.stopped:
            return self._made(asked.prop, "undecided")
        vacuous = asked.vacuity >= 0 and not self.answers.states(asked.vacuity)
        return self._made(asked.prop, "vacuous" if vacuous else "proved", worst=worst)

    # ------------------------------------------------------------ bad, reach

    def _bad(self, asked: Asked) -> Verdict:
        store = asked.prop.per_word
        told_by_entrance = not store or store in {known for known, _, _ in self.search.shape.stores}
        by_address: dict[int | None, list[Hit]] = {} if told_by_entrance else self._told_apart(asked, store)
        for hit in self.answers.hits(asked.node) if told_by_entrance else ():
            by_address.setdefault(self._address(store, hit) if store else None, []).append(hit)
        if not by_address:
            return self._sound(asked)
        found = []
        for address, hits in by_address.items():
            states = self.answers.states_of(hits)
            first = self.answers.first(states)
            if first is not None:
                found.append((first[0], -1 if address is None else address, first[1], self.answers.size(states),
                              hits[0].here))
        breaks: list[Break] = []
        for level, where, state, count, here in sorted(found):
            trace = None
            if len(breaks) < self.limits.traces:
                values = alike_addresses(self.search, store, here) if store and told_by_entrance else {where}
                demands = (self.conditions.demand(asked.node), *self._at(store, frozenset(values)))
                trace = self._shortest(asked.prop, level, state, demands)
                where = trace.cycles[-1].addresses[store] if store else where
            breaks.append(Break(where if store else None, level + 1, count, trace))
        return self._made(asked.prop, "broken", tuple(breaks))

    def _address(self, store: str, hit: Hit) -> int:
        classes = self.search.classes
        return classes.shape.closures.of(classes.shape.addresses[store])(hit.here, classes.at(hit.here).words)

    def _told_apart(self, asked: Asked, store: str) -> dict[int | None, list[Hit]]:
        """By address of a store that is formed from more than the entrance, bit by bit; the search keeps them."""
        terms = self.search.shape.terms
        apart = {0: self.conditions.searched[asked.node]}
        for number, bit in enumerate(bits_of(terms, self.search.shape.addresses[store])):
            halves = {at | level << number: terms.and_((node, bit if level else terms.not_(bit)))
                      for at, node in apart.items() for level in (0, 1)}
            answers = Answers(self.search, Queries(self.search.classes, tuple(halves.values())))
            apart = {at: node for index, (at, node) in enumerate(halves.items()) if answers.states(index)}
        answers = Answers(self.search, Queries(self.search.classes, tuple(apart.values())))
        return {at: answers.hits(index) for index, at in enumerate(apart)}

    def _at(self, store: str, values: frozenset[int]) -> tuple[Demand, ...]:
        """That the address is one of these."""
        if not store:
            return ()
        terms, node = self.system.terms, self.search.shape.addresses[store]
        return (Demand(terms.among(terms.leaf("address", store, node.width), values), terms.among(node, values)),)

    def _reach(self, asked: Asked) -> Verdict:
        first = self.answers.first(self.answers.states(asked.node))
        if first is None:
            return self._made(asked.prop, "undecided" if self.search.stopped else "broken")
        vacuous = asked.vacuity >= 0 and not self.answers.states(asked.vacuity)
        if vacuous and not self.search.stopped:
            return self._made(asked.prop, "vacuous")
        if not asked.prop.shown:
            return self._made(asked.prop, "proved")
        witness = self._shortest(asked.prop, *first, (self.conditions.demand(asked.node),))
        return self._made(asked.prop, "proved", witness=witness)

    # ------------------------------------------------------------ always

    def _always(self, asked: Asked) -> Verdict:
        if self.search.stopped:
            return self._made(asked.prop, "undecided")
        goal = self.answers.states(asked.node)
        able = can_reach(self.back, goal, self._always_reached)
        without = self.search.state_sets.without
        lost = {number: rest for number, state_set in enumerate(self.search.reached)
                if state_set != able.get(number) and (rest := without(state_set, able.get(number, 0)))}
        first = self.answers.first(lost)
        if first is None:
            self._always_reached = self._always_reached or goal
            return self._sound(asked)
        path = shortest(self.back, *first)
        loop = go_round(Passages(self.search), path[-1], lost)
        trace = self._play(asked.prop, _with_loop(path, loop, [()] * (len(path) - 1), ()))
        return self._made(asked.prop, "broken", (Break(None, first[0], self.answers.size(lost), trace),))

    # ------------------------------------------------------------ within

    def _within(self, asked: Asked) -> Verdict:
        prop = asked.prop
        if self.search.stopped:
            return self._made(prop, "undecided")
        if not self.answers.states(asked.trigger):
            return self._sound(asked)
        ignoring = Passages(self.search, self.answers, asked.ignored)
        waiting = Passages(self.search, self.answers, asked.waits)
        triggered = self.answers.states(asked.ignored)
        region = everything_after(waiting, one_cycle_on(ignoring, triggered))
        after, longest, endless = waits(waiting, region, prop.cycles)
        if longest is None:
            return self._endless(asked, ignoring, waiting, triggered, endless)
        if longest + 1 <= prop.cycles:
            return self._sound(asked, longest + 1)
        return self._too_late(asked, ignoring, waiting, triggered, after, longest + 1)

    def _endless(self, asked: Asked, ignoring: Passages, waiting: Passages, triggered: Region,
                 endless: Region) -> Verdict:
        """A trigger after which the response can fail for ever: the shortest way there, then round."""
        starts = one_cycle_before(ignoring, endless, triggered)
        path = self._first_of(starts)
        later = into(ignoring, path[-1], endless)
        loop = go_round(waiting, later, endless)
        ignored, open_ = self.conditions.demand(asked.ignored), self.conditions.demand(asked.waits)
        script = _with_loop([*path, later], loop, [*[()] * (len(path) - 1), (ignored,)], (open_,))
        trace = self._play(asked.prop, script)
        broken = Break(None, len(trace.cycles), self.answers.size(starts), trace)
        return self._made(asked.prop, "broken", (broken,))

    def _too_late(self, asked: Asked, ignoring: Passages, waiting: Passages, triggered: Region, after: list[Region],
                  worst: int) -> Verdict:
        """A trigger after which `cycles` more cycles can go by without response: the shortest way to such a one."""
        prop = asked.prop
        ignored, open_ = self.conditions.demand(asked.ignored), self.conditions.demand(asked.waits)
        starts = one_cycle_before(ignoring, after[prop.cycles], triggered) if prop.cycles else triggered
        path = self._first_of(starts)
        demands: list[tuple[Demand, ...]] = [*[()] * (len(path) - 1), (ignored,), *[(open_,)] * prop.cycles]
        for left in range(prop.cycles, 0, -1):
            path.append(into(ignoring if left == prop.cycles else waiting, path[-1], after[left]))
        trace = self._play(prop, Script(path, demands))
        broken = Break(None, len(trace.cycles), self.answers.size(starts), trace)
        return self._made(prop, "broken", (broken,), worst=worst)

    def _first_of(self, states: Region) -> list[State]:
        """A shortest path to one of some reached states."""
        first = self.answers.first(dict(sorted(states.items())))
        if first is None:
            raise AssertionError("states that were reached have no first one")
        return shortest(self.back, *first)

    # ------------------------------------------------------------ traces

    def _shortest(self, prop: Property, level: int, state: State, demands: tuple[Demand, ...]) -> Trace:
        path = shortest(self.back, level, state)
        return self._play(prop, Script(path, [*[()] * level, demands]))

    def _in_order(self, asked: Watch) -> Trace:
        """The shortest sequence that ends in cycles, one after another, with one condition each."""
        *early, last = asked.in_order
        each = [Passages(self.search, self.answers, condition) for condition in early]
        every = {number: state_set for number, state_set in enumerate(self.search.reached) if state_set}
        goals = [self.answers.states(last)]
        for passages in reversed(each):
            goals.append(one_cycle_before(passages, goals[-1], every))
        path = self._first_of(goals.pop())
        demands: list[tuple[Demand, ...]] = [()] * (len(path) - 1)
        demands += [(self.conditions.demand(condition),) for condition in asked.in_order]
        for passages in each:
            path.append(into(passages, path[-1], goals.pop()))
        return self._play(asked.prop, Script(path, demands))

    def _play(self, prop: Property, script: Script) -> Trace:
        """What runs beside the search could hold up the closing of a loop, so it is left out there."""
        straight = script.back is None
        stage = self._stages.get(straight)
        if stage is None:
            monitors = (*self._monitors, *self._beside) if straight else self._monitors
            stage = self._stages[straight] = Stage(self.system, self.search, monitors)
        events = {"node": prop.node, "trigger": prop.trigger, "unless": prop.unless}
        return stage.play(script, {name: node for name, node in events.items() if node is not None},
                                prop.monitors)


def _with_loop(path: list[State], loop: Loop, demands: list[tuple[Demand, ...]], again: tuple[Demand, ...]) -> Script:
    """A path whose last state is the first of a loop; `again`: what every cycle of the loop has to satisfy."""
    states = [*path[:-1], *loop.states]
    every = [*demands, *[again] * len(loop.states)]
    back = None if loop.back is None else len(path) - 1 + loop.back
    return Script(states, every, back, loop.back is None)
