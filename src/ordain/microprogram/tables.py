"""Expressions over the lines of an address, worked out for all addresses at once.

A column is the value of one bit at every address of a store: a whole number whose bit `a` is that value at address `a`.
A store of 65,536 words is worked out in as many steps as its expression has operators, not times 65,536.
"""

import re
from collections.abc import Iterator, Mapping

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
    postorder,
)

_ONES = re.compile("1+")

Columns = tuple[int, ...]
"""One column for each bit, the lowest first."""


def address_columns(width: int) -> Columns:
    """The columns of the address itself: bit `b` of the number `a`, for every `a` below 2**width."""
    found = []
    for bit in range(width):
        half = 1 << bit
        column, have = ((1 << half) - 1) << half, 2 * half
        while have < 1 << width:
            column |= column << have
            have *= 2
        found.append(column)
    return tuple(found)


def table(address: Node, node: Node) -> Columns:
    """The columns of a term over an address, a leaf, alone."""
    assert isinstance(address, Leaf)
    return work_out(node, {address: address_columns(address.width)}, (1 << (1 << address.width)) - 1)


def work_out(root: Node, values: Mapping[Leaf, Columns], full: int) -> Columns:
    """The columns of a term from those of its leaves. `full` is the column of ones."""
    known: dict[Node, Columns] = {}
    for node in postorder((root,)):
        known[node] = _columns(node, [known[arg] for arg in node.args], values, full)
    return known[root]


def _columns(node: Node, args: list[Columns], values: Mapping[Leaf, Columns], full: int) -> Columns:
    match node:
        case Const(value=value):
            return _number(value, node.width, full)
        case Leaf():
            return values[node]
        case Not():
            return tuple([bit ^ full for bit in args[0]])
        case And():
            return tuple([_all(bits, full) for bits in zip(*args)])
        case Or():
            return tuple([_any(bits) for bits in zip(*args)])
        case Xor():
            return tuple([a ^ b for a, b in zip(*args)])
        case Equal():
            return (_all([a ^ b ^ full for a, b in zip(*args)], full),)
        case Among(values=among):
            return (_any([_is(args[0], value, full) for value in sorted(among)]),)
        case Less():
            return (_borrow(args[0], args[1], full),)
        case Add():
            return _sum(args[0], args[1], 0)
        case Sub():
            return _sum(args[0], tuple([bit ^ full for bit in args[1]]), full)
        case Slice(high=high, low=low):
            return args[0][low:high + 1]
        case Join():
            return tuple([bit for part in reversed(args) for bit in part])
        case If():
            return tuple([args[0][0] & yes | (args[0][0] ^ full) & no for yes, no in zip(args[1], args[2])])
        case Parity():
            found = 0
            for bit in args[0]:
                found ^= bit
            return (found,)
        case Prior() | Cell():
            raise ValueError("a chip knows neither what was one cycle before nor what stands in memory")


def _number(value: int, width: int, full: int) -> Columns:
    return tuple([full if value >> bit & 1 else 0 for bit in range(width)])


def _all(bits: "list[int] | tuple[int, ...]", full: int) -> int:
    for bit in bits:
        full &= bit
    return full


def _any(bits: "list[int] | tuple[int, ...]") -> int:
    found = 0
    for bit in bits:
        found |= bit
    return found


def _is(columns: Columns, value: int, full: int) -> int:
    return _all([bit if value >> place & 1 else bit ^ full for place, bit in enumerate(columns)], full)


def _sum(a: Columns, b: Columns, carry: int) -> Columns:
    found = []
    for left, right in zip(a, b):
        found.append(left ^ right ^ carry)
        carry = left & right | carry & (left | right)
    return tuple(found)


def _borrow(a: Columns, b: Columns, full: int) -> int:
    """Where a is less than b."""
    borrow = 0
    for left, right in zip(a, b):
        borrow = (left ^ full) & right | borrow & ((left ^ full) | right)
    return borrow


def members(column: int) -> Iterator[int]:
    """The addresses at which a column is 1, ascending."""
    for match in _ONES.finditer(bin(column)[:1:-1]):
        yield from range(*match.span())


def numbers(columns: Columns, count: int) -> list[int]:
    """The value of the columns at each of the addresses 0 .. count - 1."""
    found = [0] * count
    inside = (1 << count) - 1
    for bit, column in enumerate(columns):
        for address in members(column & inside):
            found[address] |= 1 << bit
    return found
