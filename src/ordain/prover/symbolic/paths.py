"""Sequences of single states: a shortest one to a set, and one that goes round. A state is a set of one."""

from typing import NamedTuple

from oxidd.bdd import BDDFunction

from ordain.prover.symbolic.cases import SearchCase
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import Graph


class Loop(NamedTuple):
    """States one after another; after the last one comes state number `back`, or, when that is None, nothing: the last
    state has no successor."""

    states: list[BDDFunction]
    back: int | None


def one_of(case: SearchCase, states: BDDFunction) -> BDDFunction:
    """The lowest state of a set, by its bits in the order of the diagrams."""
    space, found = case.space, case.space.true
    values = space.lowest(states, members(case.atoms))
    for atom in sorted(values, key=space.number.__getitem__, reverse=True):
        found = (space.now[atom] if values[atom] else ~space.now[atom]) & found
    return found


def shortest(case: SearchCase, level: int, goal: BDDFunction) -> list[BDDFunction]:
    """A sequence from a start state to a state of a set that was new at that level; `level` + 1 states."""
    path = [one_of(case, goal)]
    for earlier in range(level - 1, -1, -1):
        path.append(one_of(case, case.relation.into(case.layers.new[earlier], path[-1])))
    return path[::-1]


def go_round(case: SearchCase, graph: Graph, start: BDDFunction, within: BDDFunction) -> Loop:
    """From a state on, staying in a set: the shortest way from it back to it; where there is none, from the state that
    is farthest from it. Or to a state without a successor."""
    ending = within & ~graph.before(within)
    states = [start]
    while True:
        layers, seen, now = list[BDDFunction](), case.space.false, states[-1]
        while now.satisfiable():
            if (now & ending).satisfiable():
                return Loop(_down(case, graph, layers, now & ending), None)
            if layers and (now & states[-1]).satisfiable():
                way = _down(case, graph, layers, states[-1])
                return _begun_early([*states[:-1], *way[:-1]], len(states) - 1)
            layers.append(now)
            now = graph.after(now) & within & ~seen
            seen = seen | now
        last = layers.pop()
        states[-1:] = _down(case, graph, layers, last)


def _begun_early(states: list[BDDFunction], back: int) -> Loop:
    """A loop from the first of its states on to which the way leads: what comes before it may end in its last ones."""
    while back and states[back - 1] == states[-1]:
        states, back = states[:-1], back - 1
    return Loop(states, back)


def _down(case: SearchCase, graph: Graph, layers: list[BDDFunction], goal: BDDFunction) -> list[BDDFunction]:
    """A way through each of the layers, one cycle after another, to a state of a set."""
    way = [one_of(case, goal)]
    for layer in reversed(layers):
        way.append(one_of(case, graph.before(way[-1]) & layer))
    return way[::-1]
