"""Expressions under known control words: partial evaluation by the bits of the word that an expression asks about.

A root's *units* are the fields, or slices of fields, whose value decides what the rest of it does; the bits under them
are the root's mask. Words that agree under the mask leave the same residue, so there is one residue for each distinct
value under the mask (partial evaluation with memoisation: Jones, Gomard, Sestoft, "Partial Evaluation and Automatic
Program Generation", 1993). Fields that only supply data (a jump target) are no units: they stay in the residue.
"""

from collections.abc import Iterable

from ordain.logic.closures import Spot
from ordain.machine.expression import Add, And, If, Join, Leaf, Node, Not, Or, Slice, Sub, Terms, Xor, substitute


class Residues:
    """One root and what is left of it under every word seen so far."""

    __slots__ = ("_known", "_root", "_terms", "_units", "mask")

    def __init__(self, terms: Terms, root: Node, spots: dict[Node, Spot], data: bool) -> None:
        """`spots`: where the fields stand in the packed words. `data`: the root is a next value, in which a field may
        stay as data; otherwise every field in it is a unit."""
        self._terms, self._root = terms, root
        units = deciding_fields(root, spots) if data else all_fields(root, spots)
        self._units = [(unit, _spot(unit, spots)) for unit in units]
        self.mask = 0
        for _, spot in self._units:
            self.mask |= spot.mask << spot.shift
        self._known: dict[int, Node] = {}

    def under(self, words: int) -> Node:
        key = words & self.mask
        residue = self._known.get(key)
        if residue is None:
            values: dict[Node, Node] = {}
            for unit, spot in self._units:
                values[unit] = self._terms.const((words >> spot.shift & spot.mask) ^ spot.invert, unit.width)
            (residue,) = substitute(self._terms, (self._root,), values)
            self._known[key] = residue
        return residue


def all_fields(root: Node, spots: dict[Node, Spot]) -> list[Node]:
    """Every field of the packed words that the root reads; only the slices of it that are read, where that is all."""
    found: dict[Node, None] = {}
    _gather([root], spots, found, set())
    return list(found)


def deciding_fields(root: Node, spots: dict[Node, Spot]) -> list[Node]:
    """The fields that the root reads in conditions; not those that it only passes on, joins, cuts or adds."""
    found: dict[Node, None] = {}
    gathered: set[Node] = set()
    seen: set[Node] = set()
    stack = [root]
    while stack:
        node = stack.pop()
        if node in seen or type(node) is Leaf or (type(node) is Slice and type(node.args[0]) is Leaf):
            continue
        seen.add(node)
        if type(node) is If:
            _gather([node.args[0]], spots, found, gathered)
            stack += node.args[1:]
        elif passes_data(node):
            stack += node.args
        else:
            _gather([node], spots, found, gathered)
    return list(found)


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


def _gather(roots: list[Node], spots: dict[Node, Spot], found: dict[Node, None], seen: set[Node]) -> None:
    stack = list(roots)
    while stack:
        node = stack.pop()
        if node in seen:
            continue
        seen.add(node)
        leaf = node.args[0] if type(node) is Slice else node
        if type(leaf) is Leaf:
            if leaf in spots and spots[leaf].in_words:
                found[node] = None
        else:
            stack += node.args


def _spot(unit: Node, spots: dict[Node, Spot]) -> Spot:
    if type(unit) is Slice:
        whole = spots[unit.args[0]]
        mask = (1 << unit.width) - 1
        return Spot(True, whole.shift + unit.low, mask, whole.invert >> unit.low & mask)
    return spots[unit]
