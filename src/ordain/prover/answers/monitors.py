"""Properties with monitors, decided on the search that has none.

Monitors only look on: what the machine does is the same without them. So two frequent kinds need no search of their
own, as long as the answer is all that is wanted (a trace is not).

A *window* is one bit that opens, and then stays or closes. Where whatever opens it also keeps it open, the states with
the window open are a region of the plain search: what follows an opening cycle, and then cycles that keep it open.

A *memory* is a chain of monitors in which each remembers something of the cycle before, none of itself. Its states are
those one cycle (or as many as the chain is long) after any reachable states; only the points from which the condition
could be reached, if the memory held anything at all, have to be looked at.
"""

from typing import Literal, NamedTuple

from ordain.control.model import System, Variable
from ordain.logic.bounds import can_hold
from ordain.logic.narrowing import bits_read
from ordain.logic.putting import put_in
from ordain.machine.expression import And, Leaf, Node, Terms
from ordain.prover.answers.answers import Answers, Region, occurs
from ordain.prover.answers.fixpoints import Back, Passages, everything_after, one_cycle_on
from ordain.prover.answers.prior_cycle import PriorCycle
from ordain.prover.model import Property
from ordain.prover.relation.partition import follows, searched
from ordain.prover.relation.word_classes import WordClasses
from ordain.prover.search.edges import Edges, Reopened
from ordain.prover.search.state_sets import Pairs


class Watch(NamedTuple):
    """A property with monitors as it is put to the plain search. Numbers of conditions: of a window, when it `opens`,
    `stays` open once it is, opens without staying (`crooked`); of what is asked, with the window open or the memory
    holding anything (`some`), with the window closed (`closed`; -1 of a memory). The same two of the vacuity, -1
    without one. `before`: what must have held in the cycle before, of a memory of one cycle. `in_order`: of a memory
    that asks no more than that one condition after another holds in cycles one after another, these conditions."""

    kind: Literal["window", "memory"]
    prop: Property
    depth: int
    opens: int
    stays: int
    crooked: int
    some: int
    closed: int
    vacuity: int
    vacuity_closed: int
    before: tuple[int, ...]
    in_order: tuple[int, ...]


def kind_of(prop: Property) -> Literal["window", "memory", "other"]:
    if prop.kind not in ("bad", "reach") or not prop.monitors:
        return "other"
    if depth_of(prop.monitors) is not None:
        return "memory"
    (first, *others) = prop.monitors
    return "window" if not others and first.values == 2 and first.leaf.width == 1 and first.reset == 0 else "other"


def depth_of(monitors: tuple[Variable, ...]) -> int | None:
    """How many cycles back the monitors reach; None when one of them looks at itself."""
    leaves = {monitor.leaf for monitor in monitors}
    reads = {monitor.leaf: leaves & bits_read([monitor.next]).keys() for monitor in monitors}
    depth: dict[Node, int] = {}
    while len(depth) < len(reads):
        ready = [leaf for leaf in reads if leaf not in depth and all(read in depth for read in reads[leaf])]
        if not ready:
            return None
        for leaf in ready:
            depth[leaf] = 1 + max((depth[read] for read in reads[leaf]), default=0)
    return max(depth.values(), default=0)


def needed_before(system: System, prop: Property) -> list[Node]:
    """What must have been so in the cycle before if the property's condition is to hold: of a memory of one cycle, what
    is remembered by the bits that are parts of the condition. Only what can be asked anywhere."""
    if depth_of(prop.monitors) != 1:
        return []
    parts = _parts(prop.node)
    return [monitor.next for monitor in prop.monitors
            if monitor.leaf in parts and monitor.reset == 0 and _costs_nothing(system, monitor.next)]


def in_order(system: System, prop: Property) -> list[Node]:
    """The conditions, first one first, that must hold in cycles one after another for the property's condition to hold
    in the last of them, where it says nothing else: `a and prior(b and prior(c))` is c, then b, then a. Empty where it
    says something else, or asks what cannot be asked anywhere."""
    terms = system.terms
    monitors = {monitor.leaf: monitor for monitor in prop.monitors}
    every: list[Node] = []
    waiting = _parts(prop.node)
    while waiting:
        remembered = [monitors[part] for part in waiting if part in monitors]
        now = [part for part in waiting if part not in monitors]
        if any(leaf in monitors for leaf in bits_read(now)) or any(monitor.reset != 0 or monitor.leaf.width != 1
                                                                   for monitor in remembered):
            return []
        every.append(terms.and_(now) if now else terms.const(1, 1))
        waiting = tuple(part for monitor in remembered for part in _parts(monitor.next))
    return every[::-1] if all(_costs_nothing(system, node) for node in every[1:]) else []


def _parts(condition: Node) -> tuple[Node, ...]:
    return condition.args if type(condition) is And else (condition,)


def _costs_nothing(system: System, condition: Node) -> bool:
    """Whether only words, agents and inputs decide: to ask about the machine's own states would keep them alive
    everywhere."""
    states = system.contents.machine.states
    return all(type(leaf) is Leaf and leaf.kind != "address" and leaf.kind != "register"
               and (leaf.kind != "state" or (leaf.name in states and states[leaf.name].agent))
               for leaf in bits_read([condition]))


def with_value(terms: Terms, node: Node, monitor: Variable, value: int) -> Node:
    return put_in(terms, (node,), {monitor.leaf: terms.const(value, monitor.leaf.width)})[0]


def with_anything(terms: Terms, node: Node, monitors: tuple[Variable, ...]) -> Node:
    """What must hold beside the monitors if the node is to hold with any values of them."""
    return can_hold(terms, node, frozenset(monitor.leaf for monitor in monitors))


class Watchers:
    """Looks for conditions with monitors in the reached states of a complete plain search."""

    def __init__(self, system: System, answers: Answers, back: Back) -> None:
        self._system, self._answers, self._search = system, answers, answers.search
        self._back = back

    def found(self, watch: Watch) -> tuple[bool, bool] | None:
        """(what is asked occurs, the vacuity condition occurs or there is none); None when it cannot be told here."""
        return self._in_window(watch) if watch.kind == "window" else self._in_memory(watch)

    # ------------------------------------------------------------ windows

    def _in_window(self, watch: Watch) -> tuple[bool, bool] | None:
        states = self._answers.states
        closed = [condition for condition in (watch.closed, watch.vacuity_closed) if condition >= 0]
        if states(watch.crooked) or any(map(states, closed)):
            return None
        every = {number: state_set for number, state_set in enumerate(self._search.reached) if state_set}
        first = one_cycle_on(Passages(self._search, self._answers, watch.opens), every)
        opened = everything_after(Passages(self._search, self._answers, watch.stays), first)
        return self._within(opened, watch.some), watch.vacuity < 0 or self._within(opened, watch.vacuity)

    def _within(self, region: Region, condition: int) -> bool:
        meet = self._search.state_sets.meet
        return any(meet(region[number], state_set) for number, state_set in self._answers.states(condition).items()
                   if number in region)

    # ------------------------------------------------------------ memories

    def _in_memory(self, watch: Watch) -> tuple[bool, bool] | None:
        asked = self._remembered(watch, watch.prop.node, watch.some)
        vacuity = watch.prop.vacuity
        given = True if vacuity is None else self._remembered(watch, vacuity, watch.vacuity)
        return None if asked is None or given is None else (asked, given)

    def _remembered(self, watch: Watch, node: Node, condition: int) -> bool | None:
        """Whether a condition over the memory occurs."""
        goal = set(self._answers.states(condition))
        if not goal:
            return False
        if not any(monitor.leaf in bits_read([node]) for monitor in watch.prop.monitors):
            return True
        layers = [goal]
        for _ in range(watch.depth):
            layers.append({before for number in layers[-1] for before, _ in self._back.before[number]})
        now: Region = {number: self._search.reached[number] for number in layers.pop()}
        for needed in watch.before if node is watch.prop.node else ():
            holds, meet = self._answers.states(needed), self._search.state_sets.meet
            now = {number: both for number, state_set in now.items() if (both := meet(state_set, holds.get(number, 0)))}
        (wanted,) = searched(self._system, self._search.shape, (node,))
        if not follows(self._search.shape, wanted):
            return None
        passed_over = False
        if watch.depth == 1:
            prior_cycle = PriorCycle(self._answers, watch.prop.monitors)
            if prior_cycle.occurs(wanted, now, goal):
                return True
            now, passed_over = prior_cycle.undecided, prior_cycle.passed_over
            if not now:
                return None if passed_over else False
        memory = _Memory(self._search.classes, self._answers, watch.prop.monitors)
        try:
            while layers:
                now = memory.one_cycle_on(now, layers.pop())
        except Reopened:
            return None
        found = memory.occurs(now, wanted)
        return None if not found and (passed_over or memory.passed_over) else found


class _Memory:
    """The plain search's points with some monitors running along. `passed_over`: some points were left out, because the
    memory looks at something there that the plain search does not keep."""

    def __init__(self, plain: WordClasses, answers: Answers, monitors: tuple[Variable, ...]) -> None:
        self._search, self._shape = answers.search, answers.search.shape
        self._classes_of = WordClasses(self._shape, (), plain, frozenset(monitor.leaf for monitor in monitors))
        self._edges = Edges(self._classes_of, self._search.state_sets)
        leaves = {monitor.leaf for monitor in monitors}
        self._residues = [self._shape.table.of(variable.next, True) for variable in self._shape.control
                          if variable.leaf in leaves]
        self.passed_over = False
        self._starts: dict[int, Pairs] = {}
        for state, inside in self._classes_of.starts():
            pairs = self._starts.setdefault(self._search.index[state & self._shape.explicit], {})
            pairs[state & self._shape.carried] = self._search.state_sets.sets.number(inside)

    def one_cycle_on(self, now: Region, goal: set[int]) -> Region:
        """The states at the points of `goal` one cycle after those of a region, and those at the start."""
        state_sets, index = self._search.state_sets, self._search.index
        found: Region = {number: state_sets.number(pairs) for number, pairs in self._starts.items() if number in goal}
        for number, state_set in now.items():
            point = self._search.points[number]
            if not self._kept(point):
                self.passed_over = True
                continue
            for edge, target in self._edges.of(point):
                to = index.get(target, -1)
                if to in goal:
                    found[to] = state_sets.join(found.get(to, 0), edge.images.get(state_set) or edge.image(state_set))
        return found

    def _kept(self, point: int) -> bool:
        mask = self._classes_of.kept(point)
        for here in self._classes_of.selections(point):
            words = self._classes_of.at(here).words
            for residues in self._residues:
                if self._classes_of.reads(residues.under(words)) & ~mask:
                    return False
        return True

    def occurs(self, region: Region, condition: Node) -> bool | None:
        return occurs(self._search, self._classes_of, region, condition)
