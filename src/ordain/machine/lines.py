"""The lines of an address as one reads them: what gates, or a clock, make of states and inputs for one of them is a
line of its own, which may be anything."""

from collections import Counter
from collections.abc import Container, Iterator, Mapping, Sequence
from itertools import product

from ordain.machine.expression import (
    And,
    Const,
    If,
    Join,
    Leaf,
    Node,
    Not,
    Or,
    Slice,
    Terms,
    Xor,
    leaves,
    postorder,
    substitute,
)

MOST_BITS = 10
"""Of what stands behind the gates, where all of it is tried."""

_MOST_LINES = 4
"""Of which nothing is known: each has either level, whatever the others have."""

_MOST_GROWTH = 2
"""Of a term that is read as a choice: gates that compute, as those of an arithmetic unit do, choose nothing, and would
be written out for every level of their lines."""

_MOST_WAYS = 256
"""Levels that lines have together: more is no choice between values."""


def as_lines(terms: Terms, *nodes: Node) -> tuple[Node, ...]:
    """The terms with an input on the clock as one line: what comes from outside in one phase and is kept in the others
    is, for an address, one and the same."""
    lines: dict[Node, Node] = {}
    for part in postorder(nodes):
        branches = part.args[1:] if isinstance(part, If) else ()
        for line, kept in (branches, branches[::-1]) if branches else ():
            if isinstance(line, Leaf) and isinstance(kept, Leaf) and kept.name == f"{line.name} kept":
                lines[part] = line
    return substitute(terms, nodes, lines)


def gates_as_choices(terms: Terms, node: Node) -> Node:
    """The term with what gates choose by some lines as a choice by them: `(x and {go, go}) or (y and not {go, go})`,
    NAND on NAND, bit by bit or as a whole, is `x if go else y`; and what a line forces of states and registers, `place
    or {trap, trap, 0b00}`, is `place or 0b1100 if trap else place`. So it is seen which values there are."""
    made: dict[Node, Node] = {}
    for part in postorder((node,)):
        new = terms.rebuild(part, tuple([made[arg] for arg in part.args]))
        if new.width > 1 and isinstance(new, And | Or | Xor | Not | Join):
            line = _forcing(new)
            if line is not None:
                new = _chosen(terms, new, [line])
            elif lines := _choosing(terms, bits := _bits(terms, new)):
                new = _chosen(terms, terms.join(reversed(bits)), lines)
        made[part] = new
    chosen = made[node]
    return chosen if _terms_in(chosen) <= _MOST_GROWTH * _terms_in(node) else node


def _terms_in(node: Node) -> int:
    return sum(1 for _ in postorder((node,)))


def _chosen(terms: Terms, node: Node, lines: Sequence[Node]) -> Node:
    """The same as a choice by one line after the other; levels that they never have together are like any."""
    behind, one = leaves(lines), terms.const(1, 1)
    if len(lines) > 1 and sum(leaf.width for leaf in behind) <= MOST_BITS:
        every = product(*([terms.const(number, leaf.width) for number in range(1 << leaf.width)] for leaf in behind))
        levels = (substitute(terms, tuple(lines), dict(zip(behind, values))) for values in every)
        shown = {tuple([level is one for level in together]) for together in levels}
    elif len(lines) <= _MOST_LINES:
        shown = set(product((True, False), repeat=len(lines)))
    else:
        return node
    return node if len(shown) > _MOST_WAYS else _tree(terms, lines, {together: substitute(terms, (node,), {
        line: terms.const(level, 1) for line, level in zip(lines, together)})[0] for together in shown})


def _bits(terms: Terms, node: Node) -> list[Node]:
    """The gates of each bit, the lowest first."""
    made: dict[Node, list[Node]] = {}
    for part in postorder((node,)):
        if part.width == 1:
            made[part] = [part]
            continue
        match part:
            case Join(args=args):
                made[part] = [bit for arg in reversed(args) for bit in made[arg]]
            case And(args=args) | Or(args=args) | Xor(args=args) | Not(args=args):
                made[part] = [terms.rebuild(part, bits) for bits in zip(*(made[arg] for arg in args))]
            case If(args=(line, yes, no)):
                made[part] = [terms.if_(line, *ways) for ways in zip(made[yes], made[no])]
            case _:
                made[part] = [terms.slice(part, bit, bit) for bit in range(part.width)]
    return made[node]


def _choosing(terms: Terms, bits: Sequence[Node]) -> list[Node]:
    """The lines of which each bit has one or more at its gates, and which read nothing of what goes through them: that
    is what one bit alone has."""
    at = Counter(part for bit in bits for part in _at_gates(bit))
    values = {leaf for part, count in at.items() if count == 1 and isinstance(part, Slice)
              for leaf in leaves((part,)) if leaf.width > 1}
    lines = {part for part, count in at.items() if count > 1 and values.isdisjoint(leaves((part,)))}
    found: dict[Node, None] = {}
    for bit in bits:
        mine = [part for part in _at_gates(bit, lines) if part in lines]
        if not isinstance(bit, Const) and (not mine or bit in lines):
            return []
        found |= dict.fromkeys(mine)
    return list(found) if values else []


def _at_gates(bit: Node, whole: Container[Node] = ()) -> Iterator[Node]:
    """The gates of a bit and what is at them, each once; nothing behind those that are taken `whole`."""
    todo, seen = [bit], set[Node]()
    while todo:
        part = todo.pop()
        if part in seen or isinstance(part, Const):
            continue
        seen.add(part)
        if not isinstance(part, Not):
            yield part
        if isinstance(part, And | Or | Xor | Not | If) and part not in whole:
            todo += part.args[::-1]


def _forcing(node: Node) -> Node | None:
    """The one line that is at gates with what is held: at each of some bits, or at several bits of the whole."""
    lines: set[Node] = set()
    for gate in node.args if isinstance(node, Join) else (node,):
        if isinstance(gate, And | Or):
            others = [arg for arg in gate.args if not _is_held(arg)]
            lines |= {each.args[0] if isinstance(each, Not) else each for other in others
                      for each in (other.args if isinstance(other, Join) else (other,)) if not isinstance(each, Const)}
            if len(others) == len(gate.args):
                return None
        elif not isinstance(gate, Const) and not _is_held(gate):
            return None
    line = lines.pop() if len(lines) == 1 else None
    return line if line is not None and line.width == 1 else None


def _is_held(node: Node) -> bool:
    """Whether it is a state or register of several bits, or some of its bits: no flip-flop that is a line itself."""
    inner = node.args[0] if isinstance(node, Not) else node
    inner = inner.args[0] if isinstance(inner, Slice) else inner
    return isinstance(inner, Leaf) and inner.kind in ("state", "register") and inner.width > 1


def gates_as_lines(terms: Terms, address: Node, node: Node) -> tuple[Node, Node]:
    """The same with what gates make of states and registers for a part of the address as a line of its own, also where
    only some of what they make reaches it (an operand, nibble for nibble in two chips). Where the gates themselves do
    not stand in the term any more (`read or write` in `read or write or refresh`), it is worked out, if what is behind
    them decides nothing more than they show."""
    lines: dict[Node, Node] = {}
    for part in address.args if isinstance(address, Join) else (address,):
        inner = part.args[0] if isinstance(part, Not) else part
        inner = inner.args[0] if isinstance(inner, Slice) else inner
        if not isinstance(inner, Leaf | Const):
            lines[inner] = terms.leaf("free", f"line {len(lines)}", inner.width)
    shown, told = substitute(terms, (address, node), lines)
    behind = leaves(tuple(lines))
    if not any(leaf in behind for leaf in leaves((told,))) or sum(leaf.width for leaf in behind) > MOST_BITS:
        return shown, told
    bits = [bit for bit in range(address.width) if any(
        leaf in behind for leaf in leaves((terms.slice(address, bit, bit),)))]
    found = _by_lines(terms, node, [terms.slice(address, bit, bit) for bit in bits], behind)
    if found is None:
        return shown, told
    return shown, _tree(terms, [terms.slice(shown, bit, bit) for bit in bits], found)


def _by_lines(terms: Terms, node: Node, lines: Sequence[Node],
              behind: Sequence[Leaf]) -> dict[tuple[bool, ...], Node] | None:
    """The term at each pattern of the lines; None where it is not decided by them."""
    found: dict[tuple[bool, ...], Node] = {}
    for numbers in product(*(range(1 << leaf.width) for leaf in behind)):
        values: dict[Node, Node] = {leaf: terms.const(number, leaf.width) for leaf, number in zip(behind, numbers)}
        told, *levels = substitute(terms, (node, *lines), values)
        shown = tuple([level is terms.const(1, 1) for level in levels])
        if found.setdefault(shown, told) is not told:
            return None
    return found


def _tree(terms: Terms, lines: Sequence[Node], found: Mapping[tuple[bool, ...], Node]) -> Node:
    """The same as a choice by one line after the other. A pattern that never comes is like any that does."""
    if not lines:
        return found[()]
    halves: list[Node] = []
    for level in (True, False):
        half = {shown[1:]: told for shown, told in found.items() if shown[0] is level}
        halves += [_tree(terms, lines[1:], half)] if half else []
    return terms.if_(lines[0], halves[0], halves[-1])


def used_bits(node: Node, leaf: Node) -> int:
    """A mask of the bits of `leaf` that `node` reads."""
    everything = (1 << leaf.width) - 1
    mask = everything if node is leaf else 0
    for part in postorder([node]):
        if leaf in part.args:
            if isinstance(part, Slice):
                mask |= ((1 << part.width) - 1) << part.low
            else:
                mask = everything
    return mask


def address_lines(terms: Terms, address: Node) -> dict[Node, int]:
    """Each line of an address as a term of one bit -> its number; of two equal lines the lower one."""
    return {terms.slice(address, bit, bit): bit for bit in reversed(range(address.width))}


def over_address(terms: Terms, store: str, address: Node, node: Node) -> tuple[Node | None, list[Leaf]]:
    """`node` rewritten over the `address` leaf of the store, and the leaves that the address does not carry."""
    return over(terms, terms.leaf("address", store, address.width), address, node)


def over(terms: Terms, whole: Node, value: Node, node: Node) -> tuple[Node | None, list[Leaf]]:
    """`node` rewritten over the leaf `whole`, which stands for `value`, and the leaves whose bits `value` does not
    carry."""
    lines = address_lines(terms, value)
    instead: dict[Node, Node] = {}
    missing: list[Leaf] = []
    for leaf in leaves([node]):
        parts: list[Node] = []
        used = used_bits(node, leaf)
        for bit in reversed(range(leaf.width)):
            line = terms.slice(leaf, bit, bit)
            if not used >> bit & 1:
                parts.append(terms.const(0, 1))
            elif line in lines:
                parts.append(terms.slice(whole, lines[line], lines[line]))
            elif terms.not_(line) in lines:
                inverted = lines[terms.not_(line)]
                parts.append(terms.not_(terms.slice(whole, inverted, inverted)))
        if len(parts) == leaf.width:
            instead[leaf] = terms.join(parts)
        else:
            missing.append(leaf)
    return (None if missing else substitute(terms, (node,), instead)[0]), missing


def computed_by_lines(terms: Terms, store: str, address: Node, node: Node) -> tuple[Node | None, list[Leaf]]:
    """The word of a computed store over its `address` leaf, and what of it the address does not carry."""
    shown, told = as_lines(terms, address, node)
    plain = over_address(terms, store, shown, told)
    if not plain[1]:
        return plain
    by_gates = over_address(terms, store, *gates_as_lines(terms, shown, told))
    return by_gates if not by_gates[1] else (None, plain[1])
