"""Where control can go round as long as it likes: the strongly connected parts of the states in a region.

Bits that no cycle within the region changes are the same all the way round. So the rings for all their values are
found at once, and a register that is only kept makes no more work however wide it is.
"""

from collections.abc import Iterator
from typing import NamedTuple

from oxidd.bdd import BDDFunction

from ordain.prover.symbolic.cases import Case
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import Graph


class Rings(NamedTuple):
    """`states`: of one ring for each value of the bits that are `kept`, where they have one at all; `others`: the
    other atoms, as what is to be quantified is given."""

    states: BDDFunction
    others: BDDFunction


def rings_within(case: Case, graph: Graph, region: BDDFunction) -> Iterator[Rings]:
    """Every ring of a region, staying in it."""
    left = _going_round(graph, region)
    while left.satisfiable():
        moving = _moving(case, graph, left)
        others = case.space.cube(moving)
        seed = _one_each(case, left, moving)
        while True:
            ahead, farthest = _ahead(graph, seed, left, others)
            outside = (seed & ~ahead).exists(others)  # no ring goes through these; farther on there is one
            if not outside.satisfiable():
                break
            seed = seed & ahead | _one_each(case, farthest & outside, moving)
        states = case.closed(seed, graph.before, ahead)
        yield Rings(states, others)
        left = _going_round(graph, left & ~states)


def _going_round(graph: Graph, region: BDDFunction) -> BDDFunction:
    """The states of a region that lie in a ring or between two."""
    for onward in (graph.before, graph.after):
        while (still := onward(region) & region) != region:
            region = still
    return region


def _moving(case: Case, graph: Graph, region: BDDFunction) -> list[int]:
    """The atoms that some cycle within a region changes."""
    space = case.space
    within = graph.within(region)
    return [atom for atom in members(case.atoms) if (within & (space.now[atom] ^ space.next(atom))).satisfiable()]


def _one_each(case: Case, states: BDDFunction, moving: list[int]) -> BDDFunction:
    """For each value of the atoms that do not move one state of a set, the lowest one."""
    space, others = case.space, case.space.cube(moving)
    for atom in sorted(moving, key=space.number.__getitem__):
        low = states & ~space.now[atom]
        states = low | states & ~low.exists(others)
    return states


def _ahead(graph: Graph, seed: BDDFunction, region: BDDFunction,
           others: BDDFunction) -> tuple[BDDFunction, BDDFunction]:
    """(what follows within a region, at least a cycle later; for each value of what does not move those of it that take
    longest to come to)."""
    found = farthest = new = graph.after(seed) & region
    while (new := graph.after(new) & region & ~found).satisfiable():
        found = found | new
        farthest = new | farthest & ~new.exists(others)
    return found, farthest
