"""Words that control must not come to so many cycles after others."""

from collections.abc import Mapping, Sequence

from ordain.machine.expression import Node, Terms


def comes_wrongly(terms: Terms, here: Node, to: Node, cycles: int,
                  wrong: Mapping[frozenset[int], Sequence[int]]) -> Node:
    """The address `to` is one that must not come so many cycles after what the address `here` was then. `wrong`: by
    such addresses those after which they must not come. What is remembered is the number of the first, 0 for none."""
    width = len(wrong).bit_length()
    number = terms.const(0, width)
    for index, cells in enumerate(wrong.values(), 1):
        number = terms.if_(terms.among(here, frozenset(cells)), terms.const(index, width), number)
    for _ in range(cycles):
        number = terms.prior(number)
    return terms.or_(terms.and_((terms.among(number, frozenset((index,))), terms.among(to, others)))
                     for index, others in enumerate(wrong, 1))
