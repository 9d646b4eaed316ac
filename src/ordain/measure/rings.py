"""Where control can go round as long as it likes: the addresses of the strongly connected parts of some states.

There may be very many such parts: a master that comes to an end of its own while control waits doubles them, and so
does a register with unknown contents that chooses one of two ways round. So rings that touch are told as one, and
they are not gone through one by one. Of addresses that lead to one another, some state at each of them to some state
at the next, it is asked whether one way round comes again and again to all of them (a fair cycle: Emerson, Lei,
"Efficient model checking in fragments of the propositional mu-calculus", 1986): no counter that runs beside it has to
come round for that. If none does, the addresses to which none comes again are left out; else one ring is followed
state by state, and it is asked whether another is left that comes again and again to addresses outside of it, and of
every other one. Each answer joins two of them or has a new address, so there are not many.
"""

from collections.abc import Callable, Iterable, Set
from typing import NamedTuple

from oxidd.bdd import BDDFunction

from ordain.machine.expression import Node
from ordain.prover.symbolic.cases import SearchCase
from ordain.prover.symbolic.paths import one_of
from ordain.prover.symbolic.relation import Graph
from ordain.prover.symbolic.space import by_value


class RingGround:
    """By the addresses of which store places are told. Lines that only choose between words of one place (arms) make no
    other place, nor do those in which something free has a say."""

    def __init__(self, case: SearchCase, store: str, arms: int) -> None:
        """`arms`: the mask of such lines."""
        self._case, self._store, self._space, self._terms = case, store, case.space, case.model.system.terms
        address = case.model.system.addresses[store]
        lines = [self._terms.slice(address, bit, bit) for bit in range(address.width)]
        self._mask = sum(1 << bit for bit, line in enumerate(lines)
                         if not arms >> bit & 1 and not self._space.read_by(line) >> self._space.states)
        self._line = self._terms.leaf("address", store, address.width)
        self._place = self._terms.join([line if self._mask >> bit & 1 else self._terms.const(0, 1)
                                        for bit, line in reversed(list(enumerate(lines)))])

    def addresses(self, states: BDDFunction, cycle: Node) -> frozenset[int]:
        """Those that cycles with a condition present in some states."""
        return frozenset(self._case.presented(self._store, states & self._space.of(cycle)))

    def presenting(self, addresses: Set[int], cycle: Node) -> BDDFunction:
        """The states in which a cycle with a condition can present one of some addresses."""
        return self._case.having_node(self._terms.and_((cycle, self._terms.among(self._line, frozenset(addresses)))))

    def outside(self, addresses: Set[int], cycle: Node) -> BDDFunction:
        """The states in which a cycle with a condition can present another address."""
        elsewhere = self._terms.not_(self._terms.among(self._line, frozenset(addresses)))
        return self._case.having_node(self._terms.and_((cycle, elsewhere)))

    def at(self, addresses: Iterable[int]) -> BDDFunction:
        """The states at the places of some addresses."""
        return self._space.of(self._terms.among(self._place, frozenset(one & self._mask for one in addresses)))

    def places(self, states: BDDFunction) -> set[int]:
        """Those of some states, each as an address."""
        return {place for place, _ in by_value(self._space.bits(self._place), states)}


class RingCycles(NamedTuple):
    """Along which cycles rings are looked for. `condition`: what a cycle at an address of a ring has to be."""

    case: SearchCase
    ground: RingGround
    graph: Graph
    condition: Node


def rings_within(rounds: RingCycles, states: BDDFunction) -> set[frozenset[int]]:
    """The addresses of the rings that stay in some states; rings with a common address are one."""
    ground, graph = rounds.ground, rounds.graph
    found, waiting = set[frozenset[int]](), [states]
    while waiting:
        left = _going_round(graph, waiting.pop())
        if not left.satisfiable():
            continue
        here = min(ground.places(left))
        ahead = _with_places(ground, {here}, graph.after, left)
        part = _with_places(ground, {here}, graph.before, ahead)
        waiting += [left & ~ahead, ahead & ~part]
        for one in _of_one_place(rounds, _going_round(graph, part)):
            found = with_one_more(found, one)
    return found


def _of_one_place(rounds: RingCycles, states: BDDFunction) -> set[frozenset[int]]:
    """The rings in states from each place of which one comes, from some state there, to each other place."""
    if not states.satisfiable():
        return set()
    addresses = rounds.ground.addresses(states, rounds.condition)
    goals = [rounds.ground.presenting({one}, rounds.condition) for one in sorted(addresses)]
    if _again_and_again(rounds, states, goals).satisfiable():
        return {addresses}
    left = states
    for goal in goals:
        if not _again_and_again(rounds, left, [goal]).satisfiable():
            left = left & ~goal
    if left != states:
        return rings_within(rounds, left)
    ring = _last_ring(rounds, states)
    return _and_others(rounds, states & ~ring, rounds.ground.addresses(ring, rounds.condition))


def with_one_more(rings: set[frozenset[int]], ring: frozenset[int]) -> set[frozenset[int]]:
    """Rings over addresses of their own, with another one that may touch some of them."""
    apart = {one for one in rings if not one & ring}
    return apart | {ring.union(*(rings - apart))}


def _and_others(rounds: RingCycles, states: BDDFunction, addresses: frozenset[int]) -> set[frozenset[int]]:
    """One that was found, with these addresses, and the rings in some states."""
    found = {addresses}
    while True:
        goals = [rounds.ground.outside(one, rounds.condition) for one in sorted(found, key=sorted)]
        states = _again_and_again(rounds, states, goals)
        if not states.satisfiable():
            return found
        ring = _last_ring(rounds, states)
        found = with_one_more(found, rounds.ground.addresses(ring, rounds.condition))
        states = states & ~ring


def _again_and_again(rounds: RingCycles, states: BDDFunction, goals: list[BDDFunction]) -> BDDFunction:
    """Where one can go on for ever, staying in a set of states, and come to each of the goals time after time; or where
    one goes from one such place to the next."""
    case, graph = rounds.case, rounds.graph
    while True:
        still = states = _going_round(graph, states)
        for goal in goals:
            still = still & graph.before(case.closed(goal & still, graph.before, still))
        if still == states:
            return states
        states = still


def _going_round(graph: Graph, states: BDDFunction) -> BDDFunction:
    """Those that lie in a ring or between two."""
    for onward in (graph.before, graph.after):
        while (still := onward(states) & states) != states:
            states = still
    return states


def _last_ring(rounds: RingCycles, states: BDDFunction) -> BDDFunction:
    """A ring that nothing leaves without leaving a set, in which each state has one that follows."""
    case, graph = rounds.case, rounds.graph
    layers, rest = [states], states
    while True:
        farthest = next(found for layer in reversed(layers) if (found := layer & rest).satisfiable())
        start = one_of(case, farthest)
        layers = [graph.after(start) & states]
        ahead = layers[0]
        while (new := graph.after(layers[-1]) & states & ~ahead).satisfiable():
            ahead = ahead | new
            layers.append(new)
        rest = ahead & ~case.closed(start, graph.before, ahead | start)
        if not rest.satisfiable():
            return ahead


def _with_places(ground: RingGround, places: Set[int], onward: Callable[[BDDFunction], BDDFunction],
                 among: BDDFunction) -> BDDFunction:
    """All that leads on from some places within a set, from everywhere at each place that it comes to."""
    found = now = ground.at(places) & among
    while now.satisfiable():
        now = onward(now) & among & ~found
        now = ground.at(ground.places(now)) & among
        found = found | now
    return found
