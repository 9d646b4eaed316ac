"""The order of the variables of the diagrams.

What one next value reads, or one comparison compares, is to lie close together. Starting from single atoms, those
pieces are put side by side that are tied together most, relative to their lengths, each the way round in which that
leaves ties short. What forms addresses is tied to everything that words decide; so such ties are left out, and pieces
with atoms that form addresses come first: under them everything that words decide is decided. Only what moves by
itself from one value at reset, as counters do that nothing holds, stands above: what is new in a cycle is then all in
one place.
"""

from collections.abc import Sequence
from heapq import heapify, heappop, heappush

from ordain.prover.symbolic.reads import members

PLAIN = 2
"""Atoms that form addresses in a group up to which it is a group of its own, and not one that words decide."""


def ordered(count: int, reads: Sequence[int], known: int, compared: Sequence[int], addresses: Sequence[int],
            holding: Sequence[Sequence[int]]) -> list[int]:
    """The atoms 0 .. `count` - 1 in their order. `reads`: for each atom of a state, which come first, the set of those
    that its next value reads; the other atoms are free. `known`: those with one value at reset. `compared`: sets that
    are compared with something; `addresses`: the atoms that form addresses, first ones first; `holding`: groups that
    are to stand together right under these."""
    states = len(reads)
    by_itself = _moving_by_itself(reads, known)
    top = [atom for atom in dict.fromkeys(addresses) if not by_itself >> atom & 1]
    forming = sum(1 << atom for atom in top)
    kept = forming | ((1 << states) - 1) & ~by_itself
    start = [*top, *(atom for atom in range(states) if (kept & ~forming) >> atom & 1)]
    groups = [*(others | 1 << atom for atom, others in enumerate(reads)), *compared]
    edges: dict[tuple[int, ...], None] = {}
    for group in groups:
        group &= kept if (group & forming).bit_count() <= PLAIN else kept & ~forming
        if group & group - 1:
            edges[tuple(members(group))] = None
    pieces = [atom for piece in holding for atom in piece if atom not in top and not by_itself >> atom & 1]
    found = _under(top, pieces, _side_by_side(start, list(edges)))
    place = {atom: float(number) for number, atom in enumerate(found)}
    place.update((atom, -1.0) for atom in members(by_itself))
    for atom in range(states, count):
        if atom not in place:
            beside = [members(group & kept & ~forming) for group in groups if group >> atom & 1]
            place[atom] = _middle([[place[other] for other in others] for others in beside if others], len(found))
    return sorted(range(count), key=lambda atom: (place[atom], atom))


def _under(top: list[int], pieces: list[int], found: list[int]) -> list[int]:
    """Some atoms, in their order, right under those that form addresses."""
    moved = set(pieces)
    rest = [atom for atom in found if atom not in moved]
    last = max((number for number, atom in enumerate(rest) if atom in top), default=-1)
    return [*rest[:last + 1], *pieces, *rest[last + 1:]]


def _moving_by_itself(reads: Sequence[int], known: int) -> int:
    """Those of some atoms that depend on nothing but one another: as their values at reset are `known`, they have one
    value after each number of cycles."""
    found = known
    while True:
        less = sum(1 << atom for atom in members(found) if not reads[atom] & ~found)
        if less == found:
            return found
        found = less


def _middle(groups: list[list[float]], otherwise: float) -> float:
    """A place close to some others, those in small groups first."""
    weights = [1 / len(group) ** 2 for group in groups]
    return sum(weight * max(group) for weight, group in zip(weights, groups)) / sum(weights) if groups else otherwise


def _side_by_side(atoms: list[int], edges: list[tuple[int, ...]]) -> list[int]:
    rank = {atom: number for number, atom in enumerate(atoms)}
    ties: dict[int, dict[int, float]] = {atom: {} for atom in atoms}
    touching: dict[int, set[int]] = {atom: set() for atom in atoms}
    for number, edge in enumerate(edges):
        weight = 1 / (len(edge) - 1) ** 2
        for index, atom in enumerate(edge):
            touching[atom].add(number)
            for other in edge[index + 1:]:
                ties[atom][other] = ties[other][atom] = ties[atom].get(other, 0) + weight
    pieces = {atom: [atom] for atom in atoms}

    def entry(a: int, b: int) -> tuple[float, int, int, int, int]:
        a, b = (a, b) if rank[a] < rank[b] else (b, a)
        return -ties[a][b] / (len(pieces[a]) * len(pieces[b])), rank[a], rank[b], len(pieces[a]), len(pieces[b])

    waiting = [entry(a, b) for a in atoms for b in ties[a] if rank[a] < rank[b]]
    heapify(waiting)
    while waiting:
        _, first, second, long, short = heappop(waiting)
        a, b = atoms[first], atoms[second]
        if a not in pieces or b not in pieces or (len(pieces[a]), len(pieces[b])) != (long, short):
            continue
        pieces[a] = _joined(pieces[a], pieces.pop(b), [edges[number] for number in sorted(touching[a] & touching[b])])
        touching[a] |= touching.pop(b)
        for other, weight in ties.pop(b).items():
            del ties[other][b]
            if other != a:
                ties[a][other] = ties[other][a] = ties[a].get(other, 0) + weight
        for other in ties[a]:
            heappush(waiting, entry(a, other))
    return [atom for piece in pieces.values() for atom in piece]


def _joined(a: list[int], b: list[int], edges: list[tuple[int, ...]]) -> list[int]:
    """Two pieces one after the other, turned so that the edges between them are short."""
    best: tuple[float, list[int]] | None = None
    for first in (a, a[::-1]):
        for second in (b, b[::-1]):
            both = first + second
            place = {atom: number for number, atom in enumerate(both)}
            length = 0.0
            for edge in edges:
                inside = [place[atom] for atom in edge if atom in place]
                length += (max(inside) - min(inside)) / (len(edge) - 1)
            if best is None or length < best[0] - 1e-9:
                best = length, both
    return [] if best is None else best[1]
