"""The conditions of the question as they stand at an entrance.

With the words known, and what else the entrance settles, most conditions are 0 or 1; the rest is over the environment,
free leaves and what control leaves open. Entrances at which the same is left share one `Cofactors`.
"""

from typing import NamedTuple

from ordain.logic.putting import put_in
from ordain.machine.expression import Const, Node
from ordain.prover.relation.residues import Residues
from ordain.prover.relation.term_kinds import FREE
from ordain.prover.relation.word_classes import Atom, Entrance, WordClasses


class Cofactor(NamedTuple):
    """A condition, by number: what is left of it, and the terms over control still open in it. `reads`: the bits of
    control that these read; `of_words`: whether they read words, too."""

    number: int
    node: Node
    atoms: tuple[Atom, ...]
    reads: int
    of_words: bool


class Cofactors(NamedTuple):
    """The conditions that are not settled to 0. `reads`: the bits of control that their open terms read. `on_inputs`:
    the numbers of those that depend on something free."""

    entries: tuple[Cofactor, ...]
    reads: int
    of_words: bool
    on_inputs: frozenset[int]


class _Left(NamedTuple):
    """A condition, by number, under some words, and the terms in it that an entrance settles."""

    number: int
    node: Node
    settled: tuple[Atom, ...]


class _Under(NamedTuple):
    """What is left of all conditions under some words, and all terms that an entrance settles; `cofactors`: by the
    values of these."""

    conditions: tuple[_Left, ...]
    atoms: tuple[Atom, ...]
    cofactors: dict[tuple[int, ...], Cofactors]


class _Alike(NamedTuple):
    """Conditions, by number, that ask about the same bits of the words (`mask`). `left`: by these bits."""

    mask: int
    residues: list[tuple[int, Residues]]
    left: dict[int, tuple[_Left, ...]]


class Queries:
    """`conditions` by number, over the leaves of the split. `covered`: they were there when it was found out which bits
    are dead (`dead_bits`), so that the search keeps all that they read; others may only be asked where it does."""

    __slots__ = (
        "_alike",
        "_classes_of",
        "_cofactors",
        "_distinct",
        "_mask",
        "_settled",
        "_terms",
        "_under",
        "conditions",
        "covered",
    )

    def __init__(self, classes: WordClasses, conditions: tuple[Node, ...]) -> None:
        self._classes_of, self._terms, self.conditions = classes, classes.shape.terms, conditions
        self.covered = False
        by_mask: dict[int, _Alike] = {}
        self._mask = 0
        for number, node in enumerate(conditions):
            residues = classes.shape.table.of(node, False)
            by_mask.setdefault(residues.mask, _Alike(residues.mask, [], {})).residues.append((number, residues))
            self._mask |= residues.mask
        self._alike = list(by_mask.values())
        self._cofactors: dict[Entrance, Cofactors] = {}
        self._under: dict[int, _Under] = {}
        self._settled: dict[tuple[Node, tuple[int, ...]], Node] = {}
        self._distinct: dict[tuple[tuple[int, Node], ...], Cofactors] = {}

    def at(self, here: int, entrance: Entrance) -> Cofactors:
        if not self.covered and not self.kept(here):
            raise AssertionError("asked for what the search does not keep")
        cofactors = self._cofactors.get(entrance)
        if cofactors is None:
            under = self._under_words(entrance.words)
            values = tuple([atom.closure(here, entrance.words) for atom in under.atoms])
            cofactors = under.cofactors.get(values)
            if cofactors is None:
                cofactors = under.cofactors[values] = self._settle(under, values)
            self._cofactors[entrance] = cofactors
        return cofactors

    def kept(self, here: int) -> bool:
        """Whether the search keeps at an entrance all that the conditions may look at there."""
        classes, kept = self._classes_of, self._classes_of.kept(here)
        under = self._under_words(classes.at(here).words)
        return not any(classes.reads(one.node) & ~kept for one in under.conditions)

    def _under_words(self, words: int) -> _Under:
        under = self._under.get(words & self._mask)
        if under is None:
            under = self._under[words & self._mask] = self._conditions(words)
        return under

    def _conditions(self, words: int) -> _Under:
        left: list[_Left] = []
        settled: dict[Atom, None] = {}
        for alike in self._alike:
            bits = words & alike.mask
            parts = alike.left.get(bits)
            if parts is None:
                parts = alike.left[bits] = self._left(alike, words)
            for one in parts:
                left.append(one)
                if one.settled:
                    settled.update(dict.fromkeys(one.settled))
        return _Under(tuple(left), tuple(settled), {})

    def _left(self, alike: _Alike, words: int) -> tuple[_Left, ...]:
        nodes = [(number, residues.under(words)) for number, residues in alike.residues]
        return tuple([_Left(number, node, self._classes_of.settled_in(node)) for number, node in nodes
                      if type(node) is not Const or node.value])

    def _settle(self, under: _Under, values: tuple[int, ...]) -> Cofactors:
        classes, known = self._classes_of, dict(zip(under.atoms, values))
        rest = [(number, self._with(node, settled, tuple([known[atom] for atom in settled])) if settled else node)
                for number, node, settled in under.conditions]
        left = tuple([(number, node) for number, node in rest if type(node) is not Const or node.value])
        cofactors = self._distinct.get(left)
        if cofactors is None:
            entries = tuple([_cofactor(number, node, classes.known_in(node)) for number, node in left])
            reads = 0
            for entry in entries:
                reads |= entry.reads
            on_inputs = frozenset(number for number, node in left if classes.support.kinds(node) & FREE)
            cofactors = self._distinct[left] = Cofactors(entries, reads, any(entry.of_words for entry in entries),
                                                       on_inputs)
        return cofactors

    def _with(self, node: Node, atoms: tuple[Atom, ...], values: tuple[int, ...]) -> Node:
        """The node with values put in for atoms."""
        rest = self._settled.get((node, values))
        if rest is None:
            put = {atom.node: self._terms.const(value, atom.node.width) for atom, value in zip(atoms, values)}
            rest = self._settled[node, values] = put_in(self._terms, (node,), put)[0]
        return rest


def _cofactor(number: int, node: Node, atoms: tuple[Atom, ...]) -> Cofactor:
    reads = 0
    for atom in atoms:
        reads |= atom.reads
    return Cofactor(number, node, atoms, reads, any(atom.of_words for atom in atoms))
