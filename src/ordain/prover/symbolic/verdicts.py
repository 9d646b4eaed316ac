"""From what was reached to the verdict on a question: sets met with sets, fixpoints, and what is to be shown."""

from collections.abc import Iterator
from typing import Literal, TypeAlias

from oxidd.bdd import BDDFunction

from ordain.control.model import Trace
from ordain.machine.expression import Node
from ordain.prover.model import Break, Limits, Property, Verdict
from ordain.prover.symbolic.cases import SearchCase
from ordain.prover.symbolic.paths import Loop, go_round, one_of, shortest
from ordain.prover.symbolic.relation import Graph
from ordain.prover.symbolic.traces import Stage, TraceScript

Outcome: TypeAlias = Literal["proved", "broken", "vacuous", "undecided"]


class Judge:
    """Gives verdicts on the questions whose monitors are in a case."""

    def __init__(self, case: SearchCase, limits: Limits) -> None:
        self.case, self.limits = case, limits
        self._terms = case.model.system.terms
        self._stage: Stage | None = None
        self._inevitable: list[BDDFunction] = []

    def verdict(self, prop: Property) -> Verdict:
        match prop.kind:
            case "bad":
                return self._bad(prop)
            case "reach":
                return self._reach(prop)
            case "always":
                return self._always(prop)
            case "within":
                return self._within(prop)

    def made(self, prop: Property, outcome: Outcome, breaks: tuple[Break, ...] = (), witness: Trace | None = None,
             worst: int | None = None) -> Verdict:
        return Verdict(prop, outcome, breaks, witness, worst, self.case.states, self.case.transitions)

    def over_assumed(self, prop: Property) -> Verdict:
        """Broken when some reached state has no input that satisfies the assumptions."""
        layers = self.case.layers
        dead = layers.reached & ~self.case.having(self.case.space.true)
        first = layers.first(dead)
        if first is None:
            return self.made(prop, "undecided" if layers.stopped else "proved")
        path = shortest(self.case, *first)
        trace = self._play(prop, TraceScript(path, [()] * len(path), None, True))
        return self.made(prop, "broken", (Break(None, first[0], self.case.count(dead), trace),))

    def _occurs(self, node: Node | None) -> bool:
        return node is None or (self.case.layers.reached & self.case.having_node(node)).satisfiable()

    def _sound(self, prop: Property, worst: int | None = None) -> Verdict:
        """Nothing was found against the question."""
        if self.case.layers.stopped:
            return self.made(prop, "undecided")
        return self.made(prop, "proved" if self._occurs(prop.vacuity) else "vacuous", worst=worst)

    # ------------------------------------------------------------ bad, reach

    def _bad(self, prop: Property) -> Verdict:
        case, layers = self.case, self.case.layers
        holding = case.having_node(prop.node)
        if not (layers.reached & holding).satisfiable():
            return self._sound(prop)
        breaks: list[Break] = []
        for level, address in self._where(prop, holding):
            demands: tuple[Node, ...] = (prop.node,)
            if address is not None:
                leaf = self._terms.leaf("address", prop.per_word, case.model.system.addresses[prop.per_word].width)
                demands += (self._terms.among(leaf, frozenset((address,))),)
            states = case.having_node(self._terms.and_(demands)) & layers.reached
            trace = None
            if len(breaks) < self.limits.traces:
                path = shortest(case, level, layers.new[level] & states)
                trace = self._play(prop, TraceScript(path, [*[()] * level, demands]))
            breaks.append(Break(address, level + 1, case.count(states), trace))
        return self.made(prop, "broken", tuple(breaks))

    def _where(self, prop: Property, holding: BDDFunction) -> Iterator[tuple[int, int | None]]:
        """The level at which a condition first holds, at each address where they are to be told apart."""
        layers, known = self.case.layers, set[int]()
        for level, new in enumerate(layers.new):
            states = new & holding
            if not states.satisfiable():
                continue
            if not prop.per_word:
                yield level, None
                return
            cycles = states & self.case.space.of(prop.node)
            for address in sorted(self.case.presented(prop.per_word, cycles) - known):
                known.add(address)
                yield level, address

    def _reach(self, prop: Property) -> Verdict:
        layers = self.case.layers
        first = layers.first(self.case.having_node(prop.node))
        if first is None:
            return self.made(prop, "undecided" if layers.stopped else "broken")
        if not layers.stopped and not self._occurs(prop.vacuity):
            return self.made(prop, "vacuous")
        if not prop.shown:
            return self.made(prop, "proved")
        path = shortest(self.case, *first)
        return self.made(prop, "proved",
                         witness=self._play(prop, TraceScript(path, [*[()] * first[0], (prop.node,)])))

    # ------------------------------------------------------------ always

    def _always(self, prop: Property) -> Verdict:
        case, layers = self.case, self.case.layers
        if layers.stopped:
            return self.made(prop, "undecided")
        goal = case.having_node(prop.node) & layers.reached

        def from_everywhere(able: BDDFunction) -> bool:
            """From everywhere a state of each set in `_inevitable` can be reached: so what can be reached from all of
            such a set can be reached from everywhere."""
            return any(not (known & ~able).satisfiable() for known in self._inevitable)

        able = case.closed(goal, case.graph().before, layers.reached, from_everywhere)
        lost = layers.reached & ~able
        first = None if from_everywhere(able) else layers.first(lost)
        if first is None:
            self._inevitable.append(goal)
            return self._sound(prop)
        path = shortest(case, *first)
        loop = go_round(case, case.graph(), path[-1], lost)
        trace = self._play(prop, _with_loop(path, loop, [()] * (len(path) - 1), ()))
        return self.made(prop, "broken", (Break(None, first[0], case.count(lost), trace),))

    # ------------------------------------------------------------ within

    def _within(self, prop: Property) -> Verdict:
        case, layers, terms = self.case, self.case.layers, self._terms
        if layers.stopped:
            return self.made(prop, "undecided")
        if prop.trigger is None or not self._occurs(prop.trigger):
            return self._sound(prop)
        open_ = terms.and_([terms.not_(node) for node in (prop.node, prop.unless) if node is not None])
        ignored = terms.and_((prop.trigger, open_))
        ignoring, waiting = case.graph(ignored), case.graph(open_)
        region = case.closed(ignoring.after(layers.reached), waiting.after, layers.reached)
        after = [region]
        while after[-1].satisfiable():
            now = waiting.before(after[-1]) & region
            if now == after[-1]:
                return self._endless(prop, (ignored, open_), ignoring, waiting, now)
            after.append(now)
        worst = len(after) - 1
        if worst <= prop.cycles:
            return self._sound(prop, worst)
        return self._too_late(prop, (ignored, open_), ignoring, waiting, after, worst)

    def _endless(self, prop: Property, nodes: tuple[Node, Node], ignoring: Graph, waiting: Graph,
                 endless: BDDFunction) -> Verdict:
        """A trigger after which the response can fail for ever: the shortest way there, then round."""
        ignored, open_ = nodes
        starts = ignoring.before(endless)
        path = self._first_of(starts)
        later = one_of(self.case, ignoring.after(path[-1]) & endless)
        loop = go_round(self.case, waiting, later, endless)
        demands: list[tuple[Node, ...]] = [*[()] * (len(path) - 1), (ignored,)]
        trace = self._play(prop, _with_loop([*path, later], loop, demands, (open_,)))
        broken = Break(None, len(trace.cycles), self.case.count(starts), trace)
        return self.made(prop, "broken", (broken,))

    def _too_late(self, prop: Property, nodes: tuple[Node, Node], ignoring: Graph, waiting: Graph,
                  after: list[BDDFunction], worst: int) -> Verdict:
        """A trigger after which `cycles` more cycles can go by without response: the shortest way to such a one."""
        ignored, open_ = nodes
        starts = ignoring.before(after[prop.cycles])
        path = self._first_of(starts)
        demands: list[tuple[Node, ...]] = [*[()] * (len(path) - 1), (ignored,), *[(open_,)] * prop.cycles]
        for left in range(prop.cycles, 0, -1):
            graph = ignoring if left == prop.cycles else waiting
            path.append(one_of(self.case, graph.after(path[-1]) & after[left]))
        trace = self._play(prop, TraceScript(path, demands))
        broken = Break(None, len(trace.cycles), self.case.count(starts), trace)
        return self.made(prop, "broken", (broken,), worst=worst)

    def _first_of(self, states: BDDFunction) -> list[BDDFunction]:
        """A shortest path to one of some reached states."""
        first = self.case.layers.first(states)
        assert first is not None, "states that were reached have no first one"
        return shortest(self.case, *first)

    def _play(self, prop: Property, script: TraceScript) -> Trace:
        if self._stage is None:
            self._stage = Stage(self.case)
        events = {"node": prop.node, "trigger": prop.trigger, "unless": prop.unless}
        return self._stage.play(script, {name: node for name, node in events.items() if node is not None},
                                prop.monitors)


def _with_loop(path: list[BDDFunction], loop: Loop, demands: list[tuple[Node, ...]],
               again: tuple[Node, ...]) -> TraceScript:
    """A path whose last state is the first of a loop; `again`: what every cycle of the loop has to satisfy."""
    states = [*path[:-1], *loop.states]
    back = None if loop.back is None else len(path) - 1 + loop.back
    return TraceScript(states, [*demands, *[again] * len(loop.states)], back, loop.back is None)
