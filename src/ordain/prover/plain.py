"""The plain engine: every state and every choice of inputs by itself, by plain evaluation, with no shortcut at all.

It is there to be held against the search (`decide`), by the tests and by whoever doubts a verdict. It leaves nothing
out, keeps every bit of every state, knows of no set of states; for questions with monitors it begins anew, with these.
So it is slow, and refuses machines that are too large for it rather than guess.
"""

from collections.abc import Iterable, Iterator
from itertools import product
from math import prod
from time import monotonic
from typing import NamedTuple

from ordain.control.cycle import Running
from ordain.control.model import Cycle, System, Trace, Variable
from ordain.control.system import with_free
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, leaves
from ordain.prover.limits import LimitReached, look
from ordain.prover.model import Break, Limits, Property, Verdict, Verdicts, not_asked
from ordain.prover.questions import lower_properties, nodes_of
from ordain.prover.symbolic.cone import within_cone

MOST = 400_000
"""Cycles (a state with a choice of inputs) that one graph may have."""

State = tuple[int, ...]


class TooManyCycles(Exception):
    """The machine has more cycles than are looked at one by one; the argument says what there is too much of."""


class _Step(NamedTuple):
    """What a state can do in a cycle; of inputs with which it does the same, the first are kept."""

    after: State
    addresses: tuple[int, ...]
    holds: tuple[int, ...]


class _Graph:
    """Every reachable state with its level, the state before it on a shortest sequence, and its cycles."""

    def __init__(self, system: System, monitors: tuple[Variable, ...], conditions: tuple[Node, ...],
                 limits: Limits, started: float, most: int) -> None:
        self.running = Running(system, monitors)
        self.system, self.conditions, self.variables = system, conditions, self.running.variables
        read = set(leaves((*(variable.next for variable in self.variables), *system.addresses.values(),
                           *system.assumptions, *conditions)))
        self.free = [entry for entry in system.free if entry.leaf in read]
        choices = prod(entry.values for entry in self.free)
        starts = prod(variable.values for variable in self.variables if variable.reset is None)
        if choices * starts > most:
            raise TooManyCycles(f"{choices:,} choices of inputs in each cycle, from {starts:,} states at the start")
        self.level: dict[State, int] = dict.fromkeys(self._starts(), 0)
        self.before: dict[State, State] = {}
        self.cycles: dict[State, dict[_Step, State]] = {}
        waiting = list(self.level)
        for state in waiting:  # the list grows behind its reader: breadth first
            if (len(self.cycles) + 1) * choices > most:
                raise TooManyCycles(f"{choices:,} choices of inputs in each of more than {len(self.cycles):,} states")
            look(limits, started, len(self.level))
            self.depth = self.level[state]
            self.cycles[state] = {}
            for free in product(*(range(entry.values) for entry in self.free)):
                values = self._values(state, free)
                if not all(evaluate(node, values) for node in system.assumptions):
                    continue
                after = tuple(self.running.next(values).values())
                memo: dict[Node, int] = {}
                step = _Step(after, tuple(values[leaf] for leaf in self._address_leaves()),
                             tuple(evaluate(node, values, memo) for node in conditions))
                self.cycles[state].setdefault(step, free)
                if after not in self.level:
                    self.level[after] = self.level[state] + 1
                    self.before[after] = state
                    waiting.append(after)

    def _starts(self) -> Iterator[State]:
        return product(*(range(variable.values) if variable.reset is None else (variable.reset,)
                         for variable in self.variables))

    def _address_leaves(self) -> list[Node]:
        return [self.system.terms.leaf("address", store, node.width) for store, node in self.system.addresses.items()]

    def _values(self, state: State, free: State) -> dict[Node, int]:
        values = {entry.leaf: 0 for entry in self.system.free}
        values.update((entry.leaf, value) for entry, value in zip(self.free, free))
        values.update((variable.leaf, value) for variable, value in zip(self.variables, state))
        return self.running.values(values)

    def having(self, condition: int) -> dict[State, list[_Step]]:
        """The states that have cycles with a condition, first ones first, with these cycles."""
        found = {state: [step for step in steps if step.holds[condition]] for state, steps in self.cycles.items()}
        return {state: steps for state, steps in found.items() if steps}

    def transitions(self) -> int:
        return sum(len({step.after for step in steps}) for steps in self.cycles.values())

    def path(self, state: State) -> list[tuple[State, State]]:
        """A shortest sequence to a state, as (state, the one after it)."""
        path: list[tuple[State, State]] = []
        while state in self.before:
            path.append((self.before[state], state))
            state = self.before[state]
        return path[::-1]

    def trace(self, steps: list[tuple[State, _Step | State]], loop: int | None, dead_end: bool, asked: Property,
              last: State) -> Trace:
        """States, each with what happens in its cycle or only the state after it."""
        names = [monitor.name for monitor in asked.monitors]
        events = {name: node for name, node in (("node", asked.node), ("trigger", asked.trigger),
                                                ("unless", asked.unless)) if node is not None}
        remembered = self.running.before_reset()
        matters = frozenset(entry.name for entry in self.free)
        cycles: list[Cycle] = []
        for state, wanted in steps:
            step = wanted if isinstance(wanted, _Step) else next(one for one in self.cycles[state]
                                                                 if one.after == wanted)
            values = self._values(state, self.cycles[state][step])
            cycles.append(self.running.shown(values, matters, remembered, names, events))
            remembered = self.running.remembered({**values, **remembered})
        after = {variable.name: value for variable, value in zip(self.variables, last)}
        return Trace(tuple(cycles), loop, dead_end, after)


def decide_plainly(system: System, properties: tuple[Property, ...], limits: Limits | None = None,
                   most: int = MOST) -> Verdicts:
    """What `decide` answers, without its shortcuts. Raises TooLarge."""
    limits, started = limits or Limits(), monotonic()
    every = lower_properties(system, properties)
    fits = within_cone(system, every)
    lowered = tuple(prop for prop, asked in zip(every, fits) if asked)
    system = system._replace(free=with_free(system.free, tuple(node for prop in lowered for node in nodes_of(prop))))
    ended, verdicts = "", list[Verdict]()
    graphs: dict[frozenset[Node], _Graph | None] = {}
    together: dict[frozenset[Node], dict[Node, None]] = {frozenset(): {}}
    for asked in lowered:
        together.setdefault(_remembered(asked), {}).update(dict.fromkeys(_conditions(system, asked)))
    monitors = {_remembered(asked): asked.monitors for asked in lowered} | {frozenset(): ()}
    for key, conditions in together.items():
        try:
            graphs[key] = _Graph(system, monitors[key], tuple(conditions), limits, started, most)
        except LimitReached as limit:
            graphs[key], ended = None, str(limit)
    for asked, prop, fit in zip(every, properties, fits):
        graph = graphs[_remembered(asked)] if fit else None
        found = not_asked(asked) if graph is None else _Judge(system, asked, limits, graph).verdict()
        verdicts.append(found._replace(property=prop))
    base = graphs[frozenset()]
    if base is None:
        return Verdicts(tuple(verdicts), not_asked(_nobody(system)), {}, 0, 0, 0, ended, ended)
    executed = {store: frozenset(step.addresses[number] for steps in base.cycles.values() for step in steps)
                for number, store in enumerate(system.addresses)
                if system.contents.machine.stores[store].fill == "microprogram"}
    return Verdicts(tuple(verdicts), _over_assumed(system, base), executed, len(base.level), base.transitions(),
                    base.depth, "", ended)


def _remembered(asked: Property) -> frozenset[Node]:
    return frozenset(monitor.leaf for monitor in asked.monitors)


def _conditions(system: System, asked: Property) -> tuple[Node, ...]:
    """What is asked of a cycle: the node, the vacuity, the trigger; neither node nor `unless`; a trigger in such a
    cycle."""
    terms, zero = system.terms, system.terms.const(0, 1)
    trigger = asked.trigger or zero
    waits = terms.and_(terms.not_(node) for node in (asked.node, asked.unless) if node is not None)
    return asked.node, asked.vacuity or zero, trigger, waits, terms.and_((trigger, waits))


def _nobody(system: System) -> Property:
    return Property("over-assumed", "", "bad", system.terms.const(0, 1))


def _over_assumed(system: System, base: _Graph) -> Verdict:
    prop, dead = _nobody(system), [state for state, steps in base.cycles.items() if not steps]
    figures = len(base.level), base.transitions()
    if not dead:
        return Verdict(prop, "proved", (), None, None, *figures)
    trace = base.trace([*base.path(dead[0])], None, True, prop, dead[0])
    return Verdict(prop, "broken", (Break(None, base.level[dead[0]], len(dead), trace),), None, None, *figures)


class _Judge:
    """One property on the graph with its monitors."""

    def __init__(self, system: System, asked: Property, limits: Limits, graph: _Graph) -> None:
        self.system, self.asked, self.limits, self.graph = system, asked, limits, graph
        self.node, self.vacuity, self.trigger, self.waits, self.ignored = (
            graph.conditions.index(condition) for condition in _conditions(system, asked))

    def verdict(self) -> Verdict:
        match self.asked.kind:
            case "bad":
                return self._bad()
            case "reach":
                return self._reach()
            case "always":
                return self._always()
            case "within":
                return self._within()

    def _made(self, breaks: Iterable[Break], witness: Trace | None = None, worst: int | None = None) -> Verdict:
        vacuous = self.asked.vacuity is not None and not self.graph.having(self.vacuity)
        outcome = tuple(breaks)
        return Verdict(self.asked, "broken" if outcome else "vacuous" if vacuous else "proved", outcome,
                       None if vacuous else witness, worst, len(self.graph.level), self.graph.transitions())

    def _bad(self) -> Verdict:
        graph, store = self.graph, self.asked.per_word
        number = list(self.system.addresses).index(store) if store else 0
        found: dict[int, list[tuple[State, _Step]]] = {}
        for state, steps in graph.having(self.node).items():
            for address, step in {step.addresses[number] if store else -1: step for step in reversed(steps)}.items():
                found.setdefault(address, []).append((state, step))
        ordered = sorted((graph.level[each[0][0]], address) for address, each in found.items())
        return self._made(
            Break(address if store else None, level + 1, len(found[address]),
                  self._to(*found[address][0]) if entrance < self.limits.traces else None)
            for entrance, (level, address) in enumerate(ordered))

    def _to(self, state: State, *steps: _Step) -> Trace:
        """A shortest sequence to a state, and then these cycles."""
        states = [state, *(step.after for step in steps)]
        return self.graph.trace([*self.graph.path(state), *zip(states, steps)], None, False, self.asked, states[-1])

    def _reach(self) -> Verdict:
        for state, steps in self.graph.having(self.node).items():
            return self._made((), self._to(state, steps[0]) if self.asked.shown else None)
        return self._made(())._replace(outcome="broken")

    def _always(self) -> Verdict:
        graph, able = self.graph, set(self.graph.having(self.node))
        grown = True
        while grown:
            more = {state for state, steps in graph.cycles.items()
                    if state not in able and any(step.after in able for step in steps)}
            grown, able = bool(more), able | more
        lost = [state for state in graph.cycles if state not in able]
        if not lost:
            return self._made(())
        trace = self._round([], lost[0], {state: list(graph.cycles[state]) for state in lost})
        return self._made([Break(None, graph.level[lost[0]], len(lost), trace)])

    def _round(self, first: list[_Step], start: State, edges: dict[State, list[_Step]]) -> Trace:
        """A shortest sequence to a state, the first cycles given, then on until a state comes again or has none."""
        graph = self.graph
        steps: list[tuple[State, _Step | State]] = [*graph.path(start)]
        state = start
        for step in first:
            steps.append((state, step))
            state = step.after
        seen: dict[State, int] = {}
        while state not in seen and edges[state]:
            seen[state] = len(steps)
            steps.append((state, edges[state][0]))
            state = edges[state][0].after
        return graph.trace(steps, seen.get(state), state not in seen, self.asked, state)

    def _within(self) -> Verdict:
        graph, cycles = self.graph, self.asked.cycles
        if not graph.having(self.trigger):
            return self._made(())
        ignored, waiting = graph.having(self.ignored), graph.having(self.waits)
        left = [set(graph.cycles)]  # left[n]: the states from which n waiting cycles can follow one another
        while left[-1] and (len(left) < 2 or left[-1] != left[-2]):
            left.append({state for state, steps in waiting.items() if any(step.after in left[-1] for step in steps)})
        after = {step.after for steps in ignored.values() for step in steps}
        if left[-1] & after:
            state, first = next((state, step) for state, steps in ignored.items() for step in steps
                                if step.after in left[-1])
            edges = {state: [step for step in waiting[state] if step.after in left[-1]] for state in left[-1]}
            trace = self._round([first], state, edges)
            return self._made([Break(None, len(trace.cycles), 0, trace)])
        worst = max((number + 1 for number, states in enumerate(left) if states & after), default=0)
        if worst <= cycles:
            return self._made((), worst=worst)
        state, step = next((state, step) for state, steps in ignored.items() for step in steps
                           if step.after in left[cycles])
        steps = [step]
        for number in range(cycles - 1, -1, -1):
            steps.append(next(one for one in waiting[steps[-1].after] if one.after in left[number]))
        trace = self._to(state, *steps)
        return self._made([Break(None, len(trace.cycles), 0, trace)], worst=worst)
