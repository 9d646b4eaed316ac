"""Putting values in for parts of expressions."""

from ordain.machine.expression import And, Const, If, Node, Or, Terms


def put_in(terms: Terms, roots: tuple[Node, ...], values: dict[Node, Node]) -> tuple[Node, ...]:
    """The roots with each node that is a key of `values` replaced, simplified on the way.

    As `machine.expression.substitute`, but what cannot make a difference is not looked at: what is below a replaced
    node, the branch that a choice does not take, the rest of an `and` of which one part is 0.
    """
    made = dict(values)
    stack = [root for root in roots if root not in made]
    while stack:
        node = stack[-1]
        if node in made:
            stack.pop()
            continue
        kind, args = type(node), node.args
        if kind is If:
            condition = args[0]
            chosen = made.get(condition)
            if chosen is None:
                stack.append(condition)
                continue
            if type(chosen) is Const:
                branch = args[1] if chosen.value else args[2]
                after = made.get(branch)
                if after is None:
                    stack.append(branch)
                else:
                    stack.pop()
                    made[node] = after
                continue
        elif kind is And or kind is Or:
            decided = _decided(terms, node, made)
            if decided is not None:
                stack.pop()
                made[node] = decided
                continue
        missing = [arg for arg in args if arg not in made]
        if missing:
            stack += missing
            continue
        stack.pop()
        after_args = tuple([made[arg] for arg in args])
        made[node] = node if after_args == args else terms.rebuild(node, after_args)
    return tuple([made[root] for root in roots])


def _decided(terms: Terms, node: Node, made: dict[Node, Node]) -> Node | None:
    """An `and` of which some part is 0, an `or` of which some part is all ones."""
    deciding = 0 if type(node) is And else (1 << node.width) - 1
    for arg in node.args:
        part = made.get(arg)
        if type(part) is Const and part.value == deciding:
            return part
    return None
