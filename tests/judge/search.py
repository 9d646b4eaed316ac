"""Every reachable state of a machine, one by one, with every value of everything free."""

from collections import deque
from itertools import product
from typing import NamedTuple

from tests.judge.cycle import Cycle, Facts, State

MOST_VALUES = 128
"""Combinations of everything that is free in a cycle."""


class TooLarge(Exception):
    """More than a plain search is meant for."""


class Edge(NamedTuple):
    """A cycle from one state to another: numbers of that state, of the addresses presented and of the facts in it."""

    after: int
    where: int
    facts: int


class Graph(NamedTuple):
    """`edges[n]`: the distinct cycles of state number `n`; `level[n]`: cycles before it; `starts`: numbers. `where`:
    the addresses of the stores, `facts`: all facts, of one cycle each."""

    states: list[State]
    where: list[tuple[int, ...]]
    facts: list[Facts]
    level: list[int]
    edges: list[list[Edge]]
    starts: list[int]


def explore(cycle: Cycle, limit: int) -> Graph:
    """Breadth first. Raises `TooLarge` after so many evaluations of a cycle."""
    evaluate = cycle.compiled()
    values = list(product(*cycle.domains())) if _size(cycle) <= min(limit, MOST_VALUES) else []
    starts = list(dict.fromkeys(cycle.starts())) if _starts(cycle) <= limit else []
    if not values or not starts:
        raise TooLarge
    number = {state: n for n, state in enumerate(starts)}
    wheres: dict[tuple[int, ...], int] = {}
    every: dict[Facts, int] = {}
    states, level, edges = list(starts), [0] * len(starts), []
    waiting = deque(range(len(starts)))
    spent = 0
    while waiting:
        here = waiting.popleft()
        state = states[here]
        spent += len(values)
        if spent > limit:
            raise TooLarge
        found = set()
        for frees in values:
            holds, after, addresses, facts = evaluate(state, frees)
            if holds:
                found.add((after, addresses, facts))
        own = []
        for after, addresses, facts in found:
            there = number.get(after)
            if there is None:
                there = number[after] = len(states)
                states.append(after)
                level.append(level[here] + 1)
                waiting.append(there)
            own.append(Edge(there, wheres.setdefault(addresses, len(wheres)), every.setdefault(facts, len(every))))
        edges.append(own)
    return Graph(states, list(wheres), list(every), level, edges, list(range(len(starts))))


def _size(cycle: Cycle) -> int:
    total = 1
    for domain in cycle.domains():
        total *= len(domain)
    return total


def _starts(cycle: Cycle) -> int:
    total = 1
    for slot in cycle.slots:
        total *= slot.values if slot.reset is None else 1
    return total
