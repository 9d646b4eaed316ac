"""Putting values in for parts of expressions."""

from ordain.machine.expression import Node, Terms


def put_in(terms: Terms, roots: tuple[Node, ...], values: dict[Node, Node]) -> tuple[Node, ...]:
    """The roots with each node that is a key of `values` replaced, simplified on the way.

    As `machine.expression.substitute`, but what is below a replaced node is not looked at, which is most of it when
    whole conditions are replaced.
    """
    made = dict(values)
    stack = [root for root in roots if root not in made]
    while stack:
        node = stack[-1]
        if node in made:
            stack.pop()
            continue
        args = node.args
        missing = [arg for arg in args if arg not in made]
        if missing:
            stack += missing
            continue
        stack.pop()
        after = tuple([made[arg] for arg in args])
        made[node] = node if after == args else terms.rebuild(node, after)
    return tuple([made[root] for root in roots])
