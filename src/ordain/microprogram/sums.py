"""Where a term has "the present address plus a number" in it, and what that number may be."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate
from typing import TypeAlias

from ordain.machine.expression import (
    Add,
    Among,
    Cell,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Not,
    Parity,
    Prior,
    Slice,
    Sub,
    Terms,
    leaves,
    postorder,
    substitute,
)
from ordain.microprogram.tables import address_columns, numbers, work_out

_MOST_NUMBERS = 16
"""What may be more numbers than these is no count to the next words."""

_MOST_FREE_BITS = 12
"""What is added is tried for so many bits of what it reads."""


def carriers(node: Node) -> tuple[Leaf, ...]:
    """The states and registers whose value an address is, whole or as its low part, in some case or other."""
    found: list[Leaf] = []
    todo = [node]
    while todo:
        part = todo.pop()
        match part:
            case Leaf(kind="state" | "register"):
                found.append(part)
            case If():
                todo += part.args[1:]
            case Join():
                todo.append(part.args[-1])
            case Slice(low=0):
                todo.append(part.args[0])
    return tuple(dict.fromkeys(found))


def address_parts(address: Node) -> tuple[tuple[Leaf, int], ...]:
    """The states and registers of which lines stand in an address, each with the lowest bit of a part that does: not
    what is only compared there, nor the condition of a choice."""
    found: list[tuple[Leaf, int]] = []
    todo, seen = [(address, 0)], set[tuple[Node, int]]()
    while todo:
        part, low = todo.pop()
        if (part, low) in seen:
            continue
        seen.add((part, low))
        match part:
            case Leaf(kind="state" | "register"):
                found.append((part, low))
            case If():
                todo += [(each, low) for each in part.args[1:]]
            case Slice(args=(whole,), low=bit):
                todo.append((whole, bit))
            case Among() | Equal() | Less() | Parity():
                pass
            case _:
                todo += [(each, 0 if isinstance(part, Join) else low) for each in part.args]
    return tuple(dict.fromkeys(found))


def counted(terms: Terms, nodes: Iterable[Node], place: Sequence[Node]) -> bool:
    return bool(sums(terms, nodes, place))


def sums(terms: Terms, nodes: Iterable[Node], place: Sequence[Node]) -> tuple[int, ...]:
    """Every k but 0 for which "place + k" becomes a part of the value of the nodes, up to half the way round: the rest
    goes back."""
    return tuple(sorted({ahead for _, found in _counts(terms, nodes, place) for ahead in found}))


def sums_back(terms: Terms, nodes: Iterable[Node], place: Sequence[Node]) -> tuple[int, ...]:
    """Every k for which "place - k" becomes a part of the value of the nodes, below half the way round. A choice that
    asks for the place itself (`upc - 3 if upc is 6 else ...`) goes back in some places only, and is left out."""
    return tuple(sorted({back for _, found in _counts(terms, nodes, place, True) for back in found}))


def sum_widths(terms: Terms, nodes: Iterable[Node], place: Sequence[Node]) -> list[int]:
    return [node.width for node, _ in _counts(terms, nodes, place)]


def offsets(terms: Terms, node: Node, leaf: Leaf) -> frozenset[int]:
    """Every k, 0 as well, for which a term may be "leaf + k"."""
    return _possible(terms, _added(terms, node, {leaf: (terms.const(0, leaf.width), None)}))


def _counts(terms: Terms, nodes: Iterable[Node], place: Sequence[Node],
            back: bool = False) -> Iterator[tuple[Node, frozenset[int]]]:
    """The sums that are no parts of other such sums, each with what it adds, or takes away where it goes `back`."""
    known: _Known = {leaf: (terms.const(0, leaf.width), None) for leaf in place}
    own = frozenset(leaves(place))
    seen: set[Node] = set()
    todo = list(nodes)
    while todo:
        part = todo.pop()
        if part in seen:
            continue
        seen.add(part)
        if (isinstance(part, Add | Sub | Not) or _by_gates(terms, part, known) is not None) and (
                found := _possible(terms, added := _added(terms, part, known))):
            if back and added is not None and not own.isdisjoint(leaves((added,))):
                continue
            whole = 1 << part.width
            if by := frozenset(whole - k if back else k for k in found if k and (k > whole >> 1) is back):
                yield part, by
        elif type(part) is If:
            todo += part.args[1:] if not back or own.isdisjoint(leaves(part.args[:1])) else ()
        elif not isinstance(part, Among | Equal | Less | Parity):      # what a comparison adds goes nowhere
            todo += part.args


_Known: TypeAlias = "dict[Node, tuple[Node | None, Node | None]]"
"""By term: what it adds to the place, whole or its low bits; and what it adds to the place with every bit turned."""


def _added(terms: Terms, node: Node, known: _Known) -> Node | None:
    """What a term adds to the place, however the sum is put together; None of any other term. The branches of a choice
    that are no such sum are left out. `known`: what was found before, and the place."""
    for part in postorder((node,)):
        if part in known:
            continue
        found: tuple[Node | None, Node | None] = None, None
        match part:
            case If(args=(condition, yes, no)):
                one, other = (_either(terms, condition, *ways) for ways in zip(known[yes], known[no]))
                found = one, other
            case Join(args=args):
                one, other = (_widened(terms, low, part.width) for low in known[args[-1]])
                found = one or _by_gates(terms, part, known), other
            case Slice(args=(whole,), low=0):
                one, other = (low and terms.slice(low, part.high, 0) for low in known[whole])
                found = one, other
            case Not(args=(turned,)):
                one, other = (low and terms.sub(terms.const(0, low.width), low) for low in known[turned])
                found = other, one
            case Add(args=(left, right)):
                base, more = (left, right) if known[left] != (None, None) else (right, left)
                one, other = (low and terms.add(low, more) for low in known[base])
                found = one, other
            case Sub(args=(whole, less)):
                one, other = (low and terms.sub(low, less) for low in known[whole])
                found = one, other
        known[part] = found
    return known[node][0]


def _by_gates(terms: Terms, node: Node, known: _Known) -> Node | None:
    """What gates add to the place, as a counter of T flip-flops does whose bits are each turned by those below; None
    where they add more in one place than in another, or hang on too much."""
    if type(node) is not Join or _bits(node) > _MOST_FREE_BITS:
        return None
    for leaf in leaves((node,)):
        if leaf.width == node.width and known.get(leaf, (None, None))[0] is not None:
            added = substitute(terms, (node,), {leaf: terms.const(0, leaf.width)})[0]
            if len(_tried(terms, terms.sub(terms.sub(node, leaf), added))) == 1:
                return added
    return None


def _either(terms: Terms, condition: Node, yes: Node | None, no: Node | None) -> Node | None:
    return terms.if_(condition, yes, no) if yes is not None and no is not None else yes or no


def _widened(terms: Terms, low: Node | None, width: int) -> Node | None:
    return low and terms.join([terms.const(0, width - low.width), low])


def _possible(terms: Terms, node: Node | None) -> frozenset[int]:
    """The values that a term may have, of each way of a choice where they are few."""
    found = set[int]()
    todo = [] if node is None else [node]
    while todo:
        part = todo.pop()
        values = _tried(terms, part)
        found |= values
        if not values and type(part) is If:
            todo += part.args[1:]
    return frozenset(found)


def _tried(terms: Terms, node: Node) -> frozenset[int]:
    """The values of a term for all values of what it reads; where that is too much, of the gates in it."""
    if any(isinstance(part, Prior | Cell) for part in postorder((node,))) or _bits(node) > _MOST_FREE_BITS:
        gates = {gate: terms.leaf("free", str(number), gate.width) for number, gate in enumerate(_gates(node))}
        node, = substitute(terms, (node,), gates)
    read = leaves((node,))
    width = _bits(node)
    if width > _MOST_FREE_BITS:
        return frozenset()
    columns = address_columns(width)
    values = {leaf: columns[at:at + leaf.width]
              for at, leaf in zip(accumulate((leaf.width for leaf in read), initial=0), read)}
    found = frozenset(numbers(work_out(node, values, (1 << (1 << width)) - 1), 1 << width))
    return found if len(found) <= _MOST_NUMBERS else frozenset()


def _bits(node: Node) -> int:
    return sum(leaf.width for leaf in leaves((node,)))


def _gates(node: Node) -> Iterator[Node]:
    """The parts of a term that are one bit wide, or of which nothing is known, and in no other such part."""
    todo, seen = [node], set[Node]()
    while todo:
        part = todo.pop()
        if part in seen or type(part) is Const:
            continue
        seen.add(part)
        if type(part) is Not:
            todo += part.args
        elif part.width == 1 or isinstance(part, Leaf | Prior | Cell):
            yield part
        else:
            todo += part.args
