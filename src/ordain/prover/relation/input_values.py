"""What free leaves can do: the joint values that a few terms over them can take.

Instead of all values of all inputs of a cycle only the distinct outcomes are followed: a 16-bit bus that is compared
with two constants has three.
"""

from itertools import product

from ordain.logic.grouping import connected
from ordain.logic.narrowing import bits_read
from ordain.logic.putting import put_in
from ordain.logic.valuations import Domain
from ordain.machine.expression import Among, Const, Join, Node, Terms, postorder

WIDE = 1 << 16
"""Valuations of free leaves that are listed at once; more are split bit by bit, as far as it makes a difference."""

Outcome = tuple[int, ...]


class Choices:
    """`free`: the number of values of each free leaf."""

    __slots__ = ("_free", "_known", "_terms")

    def __init__(self, terms: Terms, free: dict[Node, int]) -> None:
        self._terms, self._free = terms, free
        self._known: dict[tuple[Node, ...], list[Outcome]] = {}

    def of(self, atoms: tuple[Node, ...]) -> list[Outcome]:
        """The distinct joint values of the atoms, all of them over free leaves, in ascending order."""
        found = self._known.get(atoms)
        if found is None:
            found = self._known[atoms] = self._outcomes(atoms)
        return found

    def _outcomes(self, atoms: tuple[Node, ...]) -> list[Outcome]:
        if not atoms:
            return [()]
        groups = connected((index, bits_read([atom])) for index, atom in enumerate(atoms))
        parts = [self._joint(tuple(atoms[index] for index in group)) for group in groups]
        order = [index for group in groups for index in group]
        found = []
        for combination in product(*parts):
            values = [value for part in combination for value in part]
            found.append(tuple(value for _, value in sorted(zip(order, values))))
        return sorted(found)

    def _joint(self, atoms: tuple[Node, ...]) -> list[Outcome]:
        """The joint values of atoms that share leaves."""
        leaves = tuple(bits_read(atoms))
        if len(atoms) == 1 and atoms[0] is leaves[0]:
            return [(value,) for value in range(self._free[atoms[0]])]
        size = 1
        for leaf in leaves:
            size *= self._free[leaf]
        if size > WIDE:
            return self._bit_by_bit(atoms, leaves)
        domain = Domain(leaves, tuple(self._free[leaf] for leaf in leaves))
        parts: list[tuple[Outcome, int]] = [((), domain.full)]
        for atom in atoms:
            parts = [((*values, value), there) for values, where in parts
                     for value, there in domain.by_value(atom, where)]
        return [values for values, _ in parts]

    def _bit_by_bit(self, atoms: tuple[Node, ...], leaves: tuple[Node, ...]) -> list[Outcome]:
        """Splits on one bit at a time; equal remains are followed once."""
        terms = self._terms
        bits = {leaf: [terms.leaf("free", f"{getattr(leaf, 'name', '')} bit {bit}", 1) for bit in range(leaf.width)]
                for leaf in leaves}
        spread = {leaf: terms.join(reversed(parts)) for leaf, parts in bits.items()}
        limits = tuple(terms.less(leaf, terms.const(self._free[leaf], leaf.width)) for leaf in leaves
                       if self._free[leaf] < 1 << leaf.width)
        waiting = [put_in(terms, (*atoms, *limits), spread)]
        seen, found = set(waiting), set()
        while waiting:
            remains = waiting.pop()
            undecided = next((leaf for node in remains for leaf in bits_read([node])), None)
            if undecided is None:
                values = tuple(node.value for node in remains if type(node) is Const)
                if all(values[len(atoms):]):
                    found.add(values[:len(atoms)])
                continue
            for value in (0, 1):
                rest = put_bit(terms, remains, undecided, value)
                if rest not in seen:
                    seen.add(rest)
                    waiting.append(rest)
        return sorted(found)


def put_bit(terms: Terms, roots: tuple[Node, ...], leaf: Node, value: int) -> tuple[Node, ...]:
    """The roots with a leaf of one bit decided. Comparisons of joins lose the bits that are settled, so that roots
    which now ask the same become the same."""
    made: dict[Node, Node] = {leaf: terms.const(value, 1)}
    for node in postorder(roots):
        if node not in made:
            args = tuple(made[arg] for arg in node.args)
            after = node if args == node.args else terms.rebuild(node, args)
            made[node] = _open_bits_only(terms, after)
    return tuple(made[root] for root in roots)


def _open_bits_only(terms: Terms, node: Node) -> Node:
    if type(node) is not Among or type(node.args[0]) is not Join:
        return node
    join = node.args[0]
    kept, values = [], [(value, 0) for value in node.values]
    top = join.width
    for part in join.args:
        top -= part.width
        ones = (1 << part.width) - 1
        if type(part) is Const:
            values = [(value, rest) for value, rest in values if value >> top & ones == part.value]
        else:
            kept.append(part)
            values = [(value, rest << part.width | value >> top & ones) for value, rest in values]
    if len(kept) == len(join.args):
        return node
    return terms.among(terms.join(kept), frozenset(rest for _, rest in values))
