"""The plain evaluator: what an expression is worth for given leaves. Slow and obvious, the oracle for all the rest."""

from collections.abc import Mapping

from ordain.machine.expression import (
    Add,
    Among,
    And,
    Cell,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Not,
    Or,
    Parity,
    Prior,
    Slice,
    Sub,
    Xor,
)


def evaluate(node: Node, values: Mapping[Node, int], memo: dict[Node, int] | None = None) -> int:
    """The value of `node`, 0 .. 2**width - 1.

    `values` gives every leaf, `Prior` and `Cell` below it (what those are is the caller's to know); a value may also be
    given for any other node, and then what is below it is not looked at. A leaf without a value: KeyError.
    `memo` carries results between calls with the same `values`.
    """
    known: dict[Node, int] = {} if memo is None else memo
    stack = [node]
    while stack:
        here = stack[-1]
        if here in known:
            stack.pop()
        elif here in values:
            known[here] = values[here]
        elif isinstance(here, Leaf | Prior | Cell):
            raise KeyError("prior(...)" if isinstance(here, Prior) else here.name)
        elif type(here) is If and here.args[0] not in known:
            stack.append(here.args[0])
        elif type(here) is If:
            chosen = here.args[1 if known[here.args[0]] else 2]
            if chosen in known:
                known[here] = known[chosen]
            else:
                stack.append(chosen)
        else:
            open_args = [arg for arg in here.args if arg not in known]
            if open_args:
                stack.extend(reversed(open_args))
            else:
                known[here] = _apply(here, [known[arg] for arg in here.args])
    return known[node]


def _apply(node: Node, args: list[int]) -> int:
    """One operator on plain numbers."""
    limit = 1 << node.width
    match node:
        case Const(value=value):
            return value
        case Not():
            return limit - 1 - args[0]
        case And():
            result = limit - 1
            for arg in args:
                result &= arg
            return result
        case Or():
            result = 0
            for arg in args:
                result |= arg
            return result
        case Xor():
            return args[0] ^ args[1]
        case Equal():
            return int(args[0] == args[1])
        case Among(values=values):
            return int(args[0] in values)
        case Less():
            return int(args[0] < args[1])
        case Add():
            return (args[0] + args[1]) % limit
        case Sub():
            return (args[0] - args[1]) % limit
        case Slice(low=low):
            return (args[0] >> low) % limit
        case Join():
            result = 0
            for part, arg in zip(node.args, args):
                result = (result << part.width) + arg
            return result
        case Parity():
            return args[0].bit_count() % 2
        case Leaf() | Prior() | Cell() | If():
            raise TypeError("not an operator on all of its arguments")
