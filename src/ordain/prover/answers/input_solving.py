"""Values for the free leaves of one cycle that make conditions true, and which of them make a difference.

Conditions that share no leaf are solved apart. Within a group all valuations are tried at once (`Domain`); where they
are too many, bit by bit. The lowest valuation is taken, so that inputs are at rest where they may be. Then as many
leaves as possible are let go: one makes no difference when, those already let go taking any value, so may it.
"""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.logic.grouping import connected
from ordain.logic.narrowing import bits_read
from ordain.logic.putting import put_in
from ordain.logic.valuations import Domain
from ordain.machine.expression import Const, Leaf, Node, Terms
from ordain.prover.relation.input_values import put_bit

WIDE = 1 << 18
"""Valuations tried at once."""


class Solution(NamedTuple):
    """A value for every free leaf that the conditions read; `matters`: those that make a difference."""

    values: dict[Node, int]
    matters: frozenset[Node]


def solve(terms: Terms, conditions: Iterable[Node], free: dict[Node, int]) -> Solution | None:
    """A solution of conditions over free leaves; None when there is none. `free`: the number of values of each."""
    values: dict[Node, int] = {}
    matters: set[Node] = set()
    for group in connected((condition, bits_read([condition])) for condition in conditions):
        if all(type(condition) is Const for condition in group):
            if not all(type(condition) is Const and condition.value for condition in group):
                return None
            continue
        leaves = tuple(bits_read(group))
        size = 1
        for leaf in leaves:
            size *= free[leaf]
        found = _at_once(group, leaves, free) if size <= WIDE else _bit_by_bit(terms, group, leaves, free)
        if found is None:
            return None
        values.update(found.values)
        matters |= found.matters
    return Solution(values, frozenset(matters))


def _at_once(group: list[Node], leaves: tuple[Node, ...], free: dict[Node, int]) -> Solution | None:
    domain = Domain(leaves, tuple(free[leaf] for leaf in leaves))
    solutions = domain.full
    for condition in group:
        solutions &= domain.true(condition)
    if not solutions:
        return None
    chosen = domain.values_of((solutions & -solutions).bit_length() - 1)
    kept = set(range(len(leaves)))
    for index in range(len(leaves)):
        cube = domain.full
        for other in kept - {index}:
            cube &= domain.having(other, chosen[other])
        if not cube & ~solutions:
            kept.discard(index)
    return Solution(dict(zip(leaves, chosen)), frozenset(leaves[index] for index in kept))


def _bit_by_bit(terms: Terms, group: list[Node], leaves: tuple[Node, ...], free: dict[Node, int]) -> Solution | None:
    """Depth first over the bits, zeros first; a leaf none of whose bits had to be decided makes no difference."""
    limits = [terms.less(leaf, terms.const(free[leaf], leaf.width)) for leaf in leaves if free[leaf] < 1 << leaf.width]
    bits: dict[Node, list[Node]] = {leaf: [terms.leaf("free", f"{leaf.name} bit {bit}", 1) for bit in range(leaf.width)]
                                    for leaf in leaves if type(leaf) is Leaf}
    spread: dict[Node, Node] = {leaf: terms.join(reversed(parts)) for leaf, parts in bits.items()}
    waiting: list[tuple[tuple[Node, ...], dict[Node, int]]] = [(put_in(terms, (*group, *limits), spread), {})]
    seen: set[tuple[Node, ...]] = set()
    while waiting:
        remains, decided = waiting.pop()
        if any(type(node) is Const and not node.value for node in remains) or remains in seen:
            continue
        seen.add(remains)
        undecided = next((leaf for node in remains for leaf in bits_read([node])), None)
        if undecided is None:
            values = {leaf: sum(decided.get(part, 0) << bit for bit, part in enumerate(parts))
                      for leaf, parts in bits.items()}
            return Solution(values, frozenset(leaf for leaf, parts in bits.items()
                                              if any(part in decided for part in parts)))
        for value in (1, 0):
            rest = put_bit(terms, remains, undecided, value)
            waiting.append((rest, {**decided, undecided: value}))
    return None
