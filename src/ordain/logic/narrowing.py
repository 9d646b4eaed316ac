"""Which bits of its leaves an expression reads, and expressions cut down to some of their bits."""

from collections.abc import Iterable

from ordain.machine.expression import Add, And, If, Join, Leaf, Node, Not, Or, Slice, Sub, Terms, Xor


def bits_read(roots: Iterable[Node]) -> dict[Node, int]:
    """Every leaf below the roots with the mask of its bits that they may depend on: a slice of a leaf reads only its
    own bits, everything else reads whole leaves."""
    read: dict[Node, int] = {}
    seen: set[Node] = set()
    stack = list(roots)
    while stack:
        node = stack.pop()
        if node in seen:
            continue
        seen.add(node)
        if type(node) is Leaf:
            read[node] = (1 << node.width) - 1
        elif type(node) is Slice and type(node.args[0]) is Leaf:
            leaf = node.args[0]
            read[leaf] = read.get(leaf, 0) | ((1 << node.width) - 1) << node.low
        else:
            stack.extend(node.args)
    return read


def runs(mask: int) -> list[tuple[int, int]]:
    """(high, low) of each run of ones, from the lowest."""
    found = []
    low = 0
    while mask >> low:
        if mask >> low & 1:
            high = low
            while mask >> high + 1 & 1:
                high += 1
            found.append((high, low))
            low = high
        low += 1
    return found


def keep_bits(terms: Terms, node: Node, mask: int) -> Node:
    """The expression with the bits outside `mask` at 0, cut down inside so that what only those bits read is gone."""
    if mask == (1 << node.width) - 1:
        return node
    parts: list[Node] = []
    top = node.width
    for high, low in reversed(runs(mask)):
        if high + 1 < top:
            parts.append(terms.const(0, top - high - 1))
        parts.append(cut(terms, node, high, low))
        top = low
    if top:
        parts.append(terms.const(0, top))
    return terms.join(parts)


def cut(terms: Terms, root: Node, high: int, low: int) -> Node:
    """Bits `high` .. `low` of an expression, the slice moved inwards as far as it goes."""
    made: dict[tuple[Node, int, int], Node] = {}
    goal = (root, high, low)
    stack = [goal]
    while stack:
        task = stack[-1]
        if task in made:
            stack.pop()
            continue
        parts = _parts(*task)
        missing = [part for part in parts if part not in made]
        if missing:
            stack.extend(missing)
        else:
            made[task] = _assemble(terms, task, [made[part] for part in parts])
            stack.pop()
    return made[goal]


def _parts(node: Node, high: int, low: int) -> list[tuple[Node, int, int]]:
    """What has to be cut first. Sums only lose bits at the top: the low ones carry into the rest."""
    match node:
        case If():
            return [(node.args[1], high, low), (node.args[2], high, low)]
        case And() | Or() | Xor() | Not():
            return [(arg, high, low) for arg in node.args]
        case Add() | Sub() if low == 0:
            return [(arg, high, low) for arg in node.args]
        case Slice(low=base):
            return [(node.args[0], high + base, low + base)]
        case Join():
            parts = []
            top = node.width
            for part in node.args:
                base = top - part.width
                if base <= high and top > low:
                    parts.append((part, min(high, top - 1) - base, max(low, base) - base))
                top = base
            return parts
        case _:
            return []


def _assemble(terms: Terms, task: tuple[Node, int, int], parts: list[Node]) -> Node:
    node, high, low = task
    match node:
        case If():
            return terms.if_(node.args[0], parts[0], parts[1])
        case And() | Or() | Xor() | Not():
            return terms.rebuild(node, tuple(parts))
        case Add() | Sub() if low == 0:
            return terms.rebuild(node, tuple(parts))
        case Slice():
            return parts[0]
        case Join():
            return terms.join(parts)
        case _:
            return terms.slice(node, high, low)
