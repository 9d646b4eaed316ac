"""When an expression looks at something: the condition under which its value can depend on given leaves.

Exact for selections (`if`, `choose`) and for one-bit `and` and `or`; elsewhere every operand counts. What selects
between two values does not matter while both are the same, as far as states and words say what they are. So a
condition of 0 is a proof that the leaves do not matter, and for hardware that selects by multiplexers the converse
holds as well.
"""

from collections.abc import Iterable, Mapping

from ordain.machine.expression import And, Const, If, Leaf, Node, Or, Prior, Terms, postorder

_KNOWN = ("state", "field", "word", "address")
"""Leaves that a proof follows in any case; comparing others would bring more into a question than it is worth."""


def looks_at(terms: Terms, roots: Iterable[Node], targets: Mapping[Node, Node]) -> Node:
    """A condition that holds whenever the value of one of the roots can depend on one of the targets: leaves, each with
    the condition under which it is of interest."""
    never = terms.const(0, 1)
    roots = tuple(roots)
    looks: dict[Node, Node] = {}
    plain: set[Node] = set()
    for node in postorder(roots):
        below = tuple(looks[arg] for arg in node.args)
        if isinstance(node, Const) or (isinstance(node, Leaf) and node.kind in _KNOWN) or (
                node.args and all(arg in plain for arg in node.args)):
            plain.add(node)
        if node in targets:
            looks[node] = targets[node]
        elif isinstance(node, Prior) or all(look is never for look in below):  # what was before is settled by now
            looks[node] = never
        elif isinstance(node, If):
            looks[node] = _selection(terms, node, below, plain)
        elif node.width == 1 and isinstance(node, And | Or):
            neutral = node.args if isinstance(node, And) else tuple(terms.not_(arg) for arg in node.args)
            open_ = terms.and_(terms.or_((arg, look)) for arg, look in zip(neutral, below, strict=True))
            looks[node] = terms.and_((terms.or_(below), open_))
        else:
            looks[node] = terms.or_(below)
    return terms.or_((never, *(looks[root] for root in roots)))


def _selection(terms: Terms, node: If, below: tuple[Node, ...], plain: set[Node]) -> Node:
    condition, yes, no = node.args
    chosen = terms.or_((terms.and_((condition, below[1])), terms.and_((terms.not_(condition), below[2]))))
    if yes not in plain or no not in plain:
        return terms.or_((below[0], chosen))
    differ = terms.not_(terms.equal(yes, no))
    return terms.or_((terms.and_((below[0], terms.or_((differ, below[1], below[2])))), chosen))
