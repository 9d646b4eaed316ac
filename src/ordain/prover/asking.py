"""The conditions of the question as they stand at a place.

With the words known, and what else the place settles, most conditions are 0 or 1; the rest is over the surroundings,
free leaves and what control leaves open. Places at which the same is left share one `Standing`.
"""

from typing import NamedTuple

from ordain.logic.putting import put_in
from ordain.machine.expression import Const, Node
from ordain.prover.places import Atom, Place, Places
from ordain.prover.support import FREE


class Entry(NamedTuple):
    """A condition, by number: what is left of it, and the terms over control still open in it. `reads`: the bits of
    control that these read; `of_words`: whether they read words, too."""

    number: int
    node: Node
    atoms: tuple[Atom, ...]
    reads: int
    of_words: bool


class Standing(NamedTuple):
    """The conditions that are not settled to 0. `reads`: the bits of control that their open terms read. `on_inputs`:
    the numbers of those that depend on something free."""

    entries: tuple[Entry, ...]
    reads: int
    of_words: bool
    on_inputs: frozenset[int]


class _Under(NamedTuple):
    """The conditions under some words, with the terms that a place settles; `standings`: by the values of these."""

    conditions: tuple[tuple[int, Node], ...]
    atoms: tuple[Atom, ...]
    standings: dict[tuple[int, ...], Standing]


class Inquiry:
    """`conditions` by number, over the leaves of the split."""

    __slots__ = ("_distinct", "_mask", "_places", "_residues", "_standing", "_terms", "_under", "conditions")

    def __init__(self, places: Places, conditions: tuple[Node, ...]) -> None:
        self._places, self._terms, self.conditions = places, places.shape.terms, conditions
        self._residues = [places.shape.table.of(node, False) for node in conditions]
        self._mask = 0
        for residues in self._residues:
            self._mask |= residues.mask
        self._standing: dict[Place, Standing] = {}
        self._under: dict[int, _Under] = {}
        self._distinct: dict[tuple[tuple[int, Node], ...], Standing] = {}

    def at(self, here: int, place: Place) -> Standing:
        standing = self._standing.get(place)
        if standing is None:
            words = place.words
            under = self._under.get(words & self._mask)
            if under is None:
                under = self._under[words & self._mask] = self._conditions(words)
            values = tuple([atom.closure(here, words) for atom in under.atoms])
            standing = under.standings.get(values)
            if standing is None:
                standing = under.standings[values] = self._settle(under, values)
            self._standing[place] = standing
        return standing

    def _conditions(self, words: int) -> _Under:
        places = self._places
        left = []
        for number, residues in enumerate(self._residues):
            node = residues.under(words)
            if type(node) is not Const or node.value:
                left.append((number, node))
        atoms = places.support.largest([node for _, node in left], places.is_settled)
        return _Under(tuple(left), tuple(places.atom(node) for node in atoms), {})

    def _settle(self, under: _Under, values: tuple[int, ...]) -> Standing:
        terms, places = self._terms, self._places
        rest = tuple(node for _, node in under.conditions)
        if under.atoms:
            rest = put_in(terms, rest, {atom.node: terms.const(value, atom.node.width)
                                            for atom, value in zip(under.atoms, values)})
        left = tuple((number, node) for (number, _), node in zip(under.conditions, rest)
                     if type(node) is not Const or node.value)
        standing = self._distinct.get(left)
        if standing is None:
            entries = tuple([_entry(number, node, places.known_in(node)) for number, node in left])
            reads = 0
            for entry in entries:
                reads |= entry.reads
            on_inputs = frozenset(number for number, node in left if places.support.kinds(node) & FREE)
            standing = self._distinct[left] = Standing(entries, reads, any(entry.of_words for entry in entries),
                                                       on_inputs)
        return standing


def _entry(number: int, node: Node, atoms: tuple[Atom, ...]) -> Entry:
    reads = 0
    for atom in atoms:
        reads |= atom.reads
    return Entry(number, node, atoms, reads, any(atom.of_words for atom in atoms))
