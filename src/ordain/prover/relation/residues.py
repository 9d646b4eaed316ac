"""Expressions under known control words: partial evaluation by what an expression asks about the word.

A root's *units* are its largest terms over the word alone that decide something (`source is acc`); their values, and
nothing else about the word, decide what is left of the root. So there is one residue for each distinct choice of
values, and the bits under the units tell quickly which (partial evaluation with memoisation: Jones, Gomard, Sestoft,
"Partial Evaluation and Automatic Program Generation", 1993). Fields that only supply data (a jump target) are no
units: they stay in the residue.
"""

from collections.abc import Iterable

from ordain.logic.closures import Closures, Packing, Spot
from ordain.logic.narrowing import bits_read
from ordain.logic.putting import put_in
from ordain.machine.expression import Add, And, Const, If, Join, Leaf, Node, Not, Or, Slice, Sub, Terms, Xor


class WordTable:
    """The residues of all roots over words packed in one way: `spots` says where the fields stand in them."""

    __slots__ = ("_closures", "_made", "_of_words", "spots", "terms")

    def __init__(self, terms: Terms, spots: dict[Node, Spot]) -> None:
        self.terms, self.spots = terms, spots
        self._closures = Closures(Packing(spots, {}))
        self._made: dict[tuple[Node, bool], Residues] = {}
        self._of_words: dict[Node, int] = {}

    def of(self, root: Node, data: bool) -> "Residues":
        """`data`: the root is a next value, in which a field may stay as data; otherwise every field is in a unit."""
        residues = self._made.get((root, data))
        if residues is None:
            units = self._deciding(root) if data else self._largest([root])
            residues = self._made[root, data] = Residues(self, root, units)
        return residues

    def of_words(self, root: Node) -> bool:
        """Whether an expression is over words alone."""
        return self._kind(root) == 1

    def value(self, unit: Node, words: int) -> int:
        return self._closures.of(unit)(0, words)

    def mask(self, units: Iterable[Node]) -> int:
        """The bits of the words that the units read."""
        mask = 0
        for leaf, bits in bits_read(units).items():
            mask |= bits << self.spots[leaf].shift
        return mask

    def _kind(self, root: Node) -> int:
        """0: of nothing, 1: of words alone, 2: of words and other things, 4: of other things alone."""
        known = self._of_words
        stack = [root]
        while stack:
            node = stack[-1]
            if node in known:
                stack.pop()
                continue
            missing = [arg for arg in node.args if arg not in known]
            if missing:
                stack += missing
                continue
            stack.pop()
            if type(node) is Leaf:
                known[node] = 1 if node in self.spots else 4
            else:
                kinds = {known[arg] for arg in node.args} - {0}
                known[node] = kinds.pop() if len(kinds) == 1 else 2 if kinds else 0
        return known[root]

    def _largest(self, roots: list[Node]) -> list[Node]:
        found: dict[Node, None] = {}
        seen: set[Node] = set()
        stack = list(roots)
        while stack:
            node = stack.pop()
            if node in seen or type(node) is Const:
                continue
            seen.add(node)
            kind = self._kind(node)
            if kind == 1:
                found[node] = None
            elif kind == 2:
                stack += node.args
        return list(found)

    def _deciding(self, root: Node) -> list[Node]:
        """The largest terms over words in the root's conditions; not what it only passes on, joins, cuts or adds."""
        conditions: list[Node] = []
        seen: set[Node] = set()
        stack = [root]
        while stack:
            node = stack.pop()
            if node in seen or type(node) is Leaf or (type(node) is Slice and type(node.args[0]) is Leaf):
                continue
            seen.add(node)
            if type(node) is If:
                conditions.append(node.args[0])
                stack += node.args[1:]
            elif passes_data(node):
                stack += node.args
            else:
                conditions.append(node)
        return self._largest(conditions)


class Residues:
    """One root and what is left of it under every word seen so far."""

    __slots__ = ("_by_bits", "_by_values", "_root", "_table", "_units", "mask")

    def __init__(self, table: WordTable, root: Node, units: list[Node]) -> None:
        self._table, self._root, self._units = table, root, units
        self.mask = table.mask(units)
        self._by_bits: dict[int, Node] = {}
        self._by_values: dict[tuple[int, ...], Node] = {}

    def under(self, words: int) -> Node:
        bits = words & self.mask
        residue = self._by_bits.get(bits)
        if residue is None:
            residue = self._by_bits[bits] = self._under(words)
        return residue

    def _under(self, words: int) -> Node:
        table = self._table
        values = tuple([table.value(unit, words) for unit in self._units])
        residue = self._by_values.get(values)
        if residue is None:
            known = {unit: table.terms.const(value, unit.width) for unit, value in zip(self._units, values)}
            residue = self._by_values[values] = put_in(table.terms, (self._root,), known)[0]
        return residue


def data_leaves(roots: Iterable[Node]) -> frozenset[Node]:
    """The leaves whose value the roots may pass on, as opposed to those that only decide."""
    found: set[Node] = set()
    seen: set[Node] = set()
    stack = list(roots)
    while stack:
        node = stack.pop()
        if node in seen:
            continue
        seen.add(node)
        if type(node) is Leaf:
            found.add(node)
        elif type(node) is If:
            stack += node.args[1:]
        elif passes_data(node):
            stack += node.args
    return frozenset(found)


def passes_data(node: Node) -> bool:
    """Whether the operator hands its arguments' bits on as data, rather than deciding something with them."""
    kind = type(node)
    return kind in (Join, Slice, Add, Sub) or (node.width > 1 and kind in (And, Or, Xor, Not))
