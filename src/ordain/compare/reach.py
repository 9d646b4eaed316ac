"""Who can execute a changed word, and through which way.

A word counts as changed where some way comes to it on both sides, has done the same until then, and parts there: the
word does something else, or sends control elsewhere. Words behind it belong to the change that led to them.
"""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.compare.behaviour import Behaviour, ComparedUnit
from ordain.compare.graph import ControlGraph
from ordain.compare.joint import JointGraph
from ordain.compare.places import Addresses
from ordain.compare.roots import Titles

MOST = 64
"""Changed words for which every way is looked for."""


class Via(NamedTuple):
    """One unit that can execute the word. `way`: the bodies that control passes through, from the unit to the word;
    `cycles`: how many cycles after the unit's first one the word acts, on a shortest way."""

    kind: str
    title: str
    way: tuple[str, ...]
    cycles: int


class Touched(NamedTuple):
    """A changed word, by its addresses on both sides (`old` () where the old side had none), and who executes it."""

    title: str
    old: Addresses
    new: Addresses
    executed_by: tuple[Via, ...]


class ReachedWords(NamedTuple):
    """`words`: at most `MOST`; `more`: how many changed words are not among them."""

    words: tuple[Touched, ...]
    more: int


def reach_of_change(found: Behaviour) -> ReachedWords:
    """Every changed word of the new build with the units that can execute it, shortest way first."""
    joint = found.joint
    changed = changed_words(joint, [pair for unit in found.units for pair in unit.pairs])
    graph = joint.graphs[1]
    titles = Titles(joint.common.sides[1])
    at: dict[Addresses, list[int]] = {}
    for node, rows in enumerate(graph.rows):
        for row in rows:
            at.setdefault(row.addresses, []).append(node)
    into = _into(graph)
    words = [Touched(titles.at(*new[0]), old, new, _executing(graph, into, at.get(new, []), found.units, titles))
             for new, old in list(changed.items())[:MOST]]
    return ReachedWords(tuple(words), max(0, len(changed) - MOST))


def changed_words(joint: JointGraph, pairs: Iterable[tuple[int, int]]) -> dict[Addresses, Addresses]:
    """New addresses -> old addresses of every word at which ways part, in the order in which they are met."""
    both = joint.common.functions.both
    graphs = joint.graphs
    changed: dict[Addresses, Addresses] = {}
    seen: set[tuple[int, int]] = set()
    waiting: list[tuple[int, int, tuple[Addresses, Addresses] | None]] = [
        (old, new, None) for old, new in pairs if joint.old_block[old] != joint.new_block[new]]
    for old, new, before in waiting:
        if (old, new) in seen:
            continue
        seen.add((old, new))
        ours, theirs = graphs[0].rows[old], graphs[1].rows[new]
        if before is not None and (not ours or not theirs):     # the word before it has sent control elsewhere
            changed.setdefault(before[1], before[0])
        for row in ours:
            for other in theirs:
                if not both(row.guard, other.guard):
                    continue
                if row.does != other.does:
                    changed.setdefault(other.addresses, row.addresses)
                elif joint.old_block[row.target] != joint.new_block[other.target]:
                    waiting.append((row.target, other.target, (row.addresses, other.addresses)))
    return changed


def _into(graph: ControlGraph) -> list[list[int]]:
    """From where each node is reached in one cycle."""
    into: list[list[int]] = [[] for _ in graph.rows]
    for node, rows in enumerate(graph.rows):
        for target in {row.target for row in rows}:
            into[target].append(node)
    return into


def _executing(graph: ControlGraph, into: list[list[int]], nodes: list[int], units: tuple[ComparedUnit, ...],
               titles: Titles) -> tuple[Via, ...]:
    """The units from which one of the nodes can be reached, nearest first."""
    onward: dict[int, int] = dict.fromkeys(nodes, -1)
    distance: dict[int, int] = dict.fromkeys(nodes, 0)
    waiting = list(onward)
    for node in waiting:
        for before in into[node]:
            if before not in onward:
                onward[before] = node
                distance[before] = distance[node] + 1
                waiting.append(before)
    found = []
    for unit in units:
        starts = [node for node in unit.new_nodes if node in onward]
        if starts:
            start = min(starts, key=lambda node: distance[node])
            found.append(Via(unit.kind, unit.title, _bodies(graph, onward, start, titles), distance[start]))
    return tuple(sorted(found, key=lambda via: via.cycles))


def _bodies(graph: ControlGraph, onward: dict[int, int], start: int, titles: Titles) -> tuple[str, ...]:
    """The bodies on the way, each once per visit."""
    bodies: list[str] = []
    node = start
    while node >= 0:
        owner = titles.owner(node, graph)
        if owner and (not bodies or bodies[-1] != owner):
            bodies.append(owner)
        node = onward[node]
    return tuple(bodies)
