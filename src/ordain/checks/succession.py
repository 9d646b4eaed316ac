"""Words that control must not come to so many cycles after others."""

from collections.abc import Mapping

from ordain.machine.expression import Node, Terms


def comes_wrongly(terms: Terms, here: Node, to: Node, cycles: int,
                  wrong: Mapping[int, frozenset[int]]) -> Node:
    """The address `to` is one that must not come so many cycles after what the address `here` was then. `wrong`: by
    that address all that must not come. What is remembered is the number of that set, 0 for none."""
    groups: dict[frozenset[int], list[int]] = {}
    for cell, others in wrong.items():
        groups.setdefault(others, []).append(cell)
    width = len(groups).bit_length()
    number = terms.const(0, width)
    for index, cells in enumerate(groups.values(), 1):
        number = terms.if_(terms.among(here, frozenset(cells)), terms.const(index, width), number)
    for _ in range(cycles):
        number = terms.prior(number)
    return terms.or_(terms.and_((terms.among(number, frozenset((index,))), terms.among(to, others)))
                     for index, others in enumerate(groups, 1))
