"""When an expression looks at something: the condition under which its value can depend on given leaves.

Exact for selections (`if`, `choose`) and for one-bit `and` and `or`; elsewhere every operand counts. So a condition
of 0 is a proof that the leaves do not matter, and for hardware that selects by multiplexers the converse holds as
well.
"""

from collections.abc import Iterable

from ordain.machine.expression import And, If, Node, Or, Terms, postorder


def looks_at(terms: Terms, roots: Iterable[Node], targets: frozenset[Node]) -> Node:
    """A condition that holds whenever the value of one of the roots can depend on one of the targets."""
    never, always = terms.const(0, 1), terms.const(1, 1)
    roots = tuple(roots)
    looks: dict[Node, Node] = {}
    for node in postorder(roots):
        below = tuple(looks[arg] for arg in node.args)
        if node in targets:
            looks[node] = always
        elif all(look is never for look in below):
            looks[node] = never
        elif isinstance(node, If):
            condition = node.args[0]
            chosen = terms.or_((terms.and_((condition, below[1])), terms.and_((terms.not_(condition), below[2]))))
            looks[node] = terms.or_((below[0], chosen))
        elif node.width == 1 and isinstance(node, And | Or):
            neutral = node.args if isinstance(node, And) else tuple(terms.not_(arg) for arg in node.args)
            open_ = terms.and_(terms.or_((arg, look)) for arg, look in zip(neutral, below, strict=True))
            looks[node] = terms.and_((terms.or_(below), open_))
        else:
            looks[node] = terms.or_(below)
    return terms.or_((never, *(looks[root] for root in roots)))
