"""Expressions as and-inverter graphs: two-input and gates, and wires that may be inverted.

A *literal* is 2 * variable + inverted, as in AIGER; 0 is false and 1 is true. A vector is a list of literals, highest
bit first. Equal gates are made once.
"""

from collections.abc import Callable, Iterable, Sequence

from ordain.machine.expression import (
    Add,
    Among,
    And,
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

WIDEST_TABLE = 20
"""Bits of an address above which a table is not written out as gates."""


class Gates:
    """The gates made so far; variables up to `first` - 1 are inputs and latches."""

    def __init__(self, first: int) -> None:
        self.first = first
        self.gates: list[tuple[int, int]] = []
        self._known: dict[tuple[int, int], int] = {}
        self._tables: dict[tuple[int, tuple[int, ...]], int] = {}

    def both(self, a: int, b: int) -> int:
        """a and b"""
        if a < b:
            a, b = b, a
        if b == 0 or a == b ^ 1:
            return 0
        if b == 1 or a == b:
            return a
        literal = self._known.get((a, b))
        if literal is None:
            literal = self._known[a, b] = 2 * (self.first + len(self.gates))
            self.gates.append((a, b))
        return literal

    def either(self, a: int, b: int) -> int:
        return self.both(a ^ 1, b ^ 1) ^ 1

    def differ(self, a: int, b: int) -> int:
        if a >> 1 == 0:
            return b ^ a
        if b >> 1 == 0:
            return a ^ b
        return self.either(self.both(a, b ^ 1), self.both(a ^ 1, b))

    def choose(self, condition: int, yes: int, no: int) -> int:
        if condition >> 1 == 0:
            return yes if condition else no
        if yes == no:
            return yes
        return self.either(self.both(condition, yes), self.both(condition ^ 1, no))

    def all(self, literals: Iterable[int]) -> int:
        result = 1
        for literal in literals:
            result = self.both(result, literal)
        return result

    def table(self, column: int, address: Sequence[int]) -> int:
        """Bit number `address` of `column`. Halves that look the same are made once, whatever table they are from."""
        if len(address) > WIDEST_TABLE:
            raise ValueError(f"a table of {len(address)} address bits is too large to write out")
        size = 1 << len(address)
        if column in (0, (1 << size) - 1):
            return int(column != 0)
        key = (column, tuple(address))
        literal = self._tables.get(key)
        if literal is None:
            half = size // 2
            low = self.table(column & (1 << half) - 1, address[1:])
            high = self.table(column >> half, address[1:])
            literal = self._tables[key] = self.choose(address[0], high, low)
        return literal

    def sum(self, a: Sequence[int], b: Sequence[int], carry: int) -> tuple[list[int], int]:
        """a + b + carry, and the carry out."""
        result = []
        for x, y in zip(reversed(a), reversed(b), strict=True):
            half = self.differ(x, y)
            result.append(self.differ(half, carry))
            carry = self.either(self.both(x, y), self.both(half, carry))
        return result[::-1], carry


def evaluate(gates: Gates, roots: Iterable[Node], leaf: Callable[[Leaf], list[int]],
             known: dict[Node, list[int]]) -> None:
    """Makes the gates of every node below the roots and notes their literals in `known`."""
    for node in postorder(roots):
        if node not in known:
            known[node] = _vector(gates, node, [known[arg] for arg in node.args], leaf)


def _vector(gates: Gates, node: Node, args: list[list[int]], leaf: Callable[[Leaf], list[int]]) -> list[int]:
    match node:
        case Const(value=value, width=width):
            return [value >> bit & 1 for bit in range(width - 1, -1, -1)]
        case Leaf():
            return leaf(node)
        case Not():
            return [bit ^ 1 for bit in args[0]]
        case And():
            return [gates.all(bits) for bits in zip(*args, strict=True)]
        case Or():
            return [gates.all(bit ^ 1 for bit in bits) ^ 1 for bits in zip(*args, strict=True)]
        case Xor():
            return [gates.differ(a, b) for a, b in zip(*args, strict=True)]
        case Equal():
            return [gates.all(gates.differ(a, b) ^ 1 for a, b in zip(*args, strict=True))]
        case Among(values=values):
            return [among(gates, args[0], values)]
        case Less():
            return [gates.sum(args[0], [bit ^ 1 for bit in args[1]], 1)[1] ^ 1]
        case Add():
            return gates.sum(args[0], args[1], 0)[0]
        case Sub():
            return gates.sum(args[0], [bit ^ 1 for bit in args[1]], 1)[0]
        case Slice(high=high, low=low):
            top = len(args[0]) - 1
            return args[0][top - high:top - low + 1]
        case Join():
            return [bit for part in args for bit in part]
        case If():
            return [gates.choose(args[0][0], a, b) for a, b in zip(args[1], args[2], strict=True)]
        case Parity():
            total = 0
            for bit in args[0]:
                total = gates.differ(total, bit)
            return [total]
        case Prior():
            raise ValueError("`Prior` is lowered to a variable before gates are made")


def among(gates: Gates, bits: Sequence[int], values: frozenset[int]) -> int:
    """The vector is one of the values."""
    if len(values) > 4 and len(bits) <= WIDEST_TABLE:
        return gates.table(sum(1 << value for value in values), bits)
    result = 0
    for value in sorted(values):
        match = gates.all(bit ^ 1 ^ (value >> place & 1) for place, bit in zip(range(len(bits) - 1, -1, -1), bits))
        result = gates.either(result, match)
    return result
