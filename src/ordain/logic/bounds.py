"""When a condition can hold at all, if nothing is known of some of its leaves."""

from ordain.logic.narrowing import bits_read
from ordain.machine.expression import And, If, Node, Not, Or, Terms


def can_hold(terms: Terms, root: Node, unknown: frozenset[Node]) -> Node:
    """A condition over the other leaves that is 1 wherever some values of the unknown leaves make `root` 1.

    It may be 1 elsewhere too: each comparison with an unknown leaf in it is taken to be able to go either way, whatever
    the others do (interval abstraction of a Boolean term: a lower and an upper bound of every part).
    """
    bounds: dict[Node, tuple[Node, Node]] = {}
    stack = [root]
    while stack:
        node = stack[-1]
        if node in bounds:
            stack.pop()
            continue
        if not unknown & bits_read([node]).keys():
            bounds[node] = node, node
        elif node.width > 1 or type(node) not in (And, Or, Not, If):
            bounds[node] = terms.const(0, 1), terms.const(1, 1)
        else:
            missing = [arg for arg in node.args if arg not in bounds]
            if missing:
                stack += missing
                continue
            bounds[node] = _bounds(terms, node, [bounds[arg] for arg in node.args])
        stack.pop()
    return bounds[root][1]


def _bounds(terms: Terms, node: Node, args: list[tuple[Node, Node]]) -> tuple[Node, Node]:
    lower, upper = [low for low, _ in args], [high for _, high in args]
    match node:
        case And():
            return terms.and_(lower), terms.and_(upper)
        case Or():
            return terms.or_(lower), terms.or_(upper)
        case Not():
            return terms.not_(upper[0]), terms.not_(lower[0])
        case _:  # If
            return (terms.or_((terms.and_((lower[0], lower[1])), terms.and_((terms.not_(upper[0]), lower[2])))),
                    terms.or_((terms.and_((upper[0], upper[1])), terms.and_((terms.not_(lower[0]), upper[2])))))
