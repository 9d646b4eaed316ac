"""Partial evaluation: what is left of expressions when some leaves are known."""

from collections.abc import Mapping

from ordain.machine.expression import Leaf, Node, Terms, substitute


def specialise(terms: Terms, roots: tuple[Node, ...], known: Mapping[Leaf, int]) -> tuple[Node, ...]:
    """The roots with the known leaves put in and everything folded that then can be."""
    return substitute(terms, roots, {leaf: terms.const(value, leaf.width) for leaf, value in known.items()})
