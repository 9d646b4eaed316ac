"""The order of the variables of the diagrams.

What forms addresses comes first: under it everything that words decide is decided. The rest is put so that what one
next value reads lies close together, by moving each atom to the middle of what it is read with until that gains nothing
(Aloul, Markov, Sakallah, *FORCE: a fast and easy-to-implement variable-ordering heuristic*, GLSVLSI 2003).
"""

from collections.abc import Sequence

from ordain.prover.symbolic.reads import members

ROUNDS = 40
"""Times that every atom is moved, at most."""


def ordered(count: int, groups: Sequence[int], addresses: Sequence[int]) -> list[int]:
    """The atoms 0 .. `count` - 1 in their order. `groups`: sets of atoms that one thing reads or sets; `addresses`: the
    atoms that form addresses, first ones first."""
    top = list(dict.fromkeys(addresses))
    above = sum(1 << atom for atom in top)
    rest = [atom for atom in range(count) if not above >> atom & 1]
    edges = list(dict.fromkeys(tuple(members(group & ~above)) for group in groups))
    return [*top, *_close_together(rest, [edge for edge in edges if len(edge) > 1])]


def _close_together(atoms: list[int], edges: list[tuple[int, ...]]) -> list[int]:
    place = {atom: float(number) for number, atom in enumerate(atoms)}
    best, shortest = atoms, _length(place, edges)
    touching: dict[int, list[int]] = {atom: [] for atom in atoms}
    for number, edge in enumerate(edges):
        for atom in edge:
            touching[atom].append(number)
    for _ in range(ROUNDS):
        middles = [sum(place[atom] for atom in edge) / len(edge) for edge in edges]
        wanted = {atom: sum(middles[number] for number in near) / len(near) if near else place[atom]
                  for atom, near in touching.items()}
        now = sorted(atoms, key=lambda atom: (wanted[atom], place[atom]))
        if now == sorted(atoms, key=place.__getitem__):
            break
        place = {atom: float(number) for number, atom in enumerate(now)}
        length = _length(place, edges)
        if length < shortest:
            best, shortest = now, length
    return best


def _length(place: dict[int, float], edges: list[tuple[int, ...]]) -> float:
    return sum(max(map(place.__getitem__, edge)) - min(map(place.__getitem__, edge)) for edge in edges)
