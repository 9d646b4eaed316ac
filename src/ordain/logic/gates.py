"""Expressions bit by bit, as whatever a `Circuit` makes of bits; here as and-inverter graphs.

A *literal* is 2 * variable + inverted, as in AIGER; 0 is false and 1 is true. A vector is a list of bits, highest bit
first. Equal gates are made once.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol, TypeVar

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

WIDEST_SET = 20
"""Bits of a number above which a set of them is no table, but written out member by member."""


Bit = TypeVar("Bit")


class Circuit(Protocol[Bit]):
    """Makes bits of bits."""

    def constant(self, value: int) -> Bit: ...
    def inverse(self, a: Bit) -> Bit: ...
    def both(self, a: Bit, b: Bit) -> Bit: ...
    def either(self, a: Bit, b: Bit) -> Bit: ...
    def differ(self, a: Bit, b: Bit) -> Bit: ...
    def choose(self, condition: Bit, yes: Bit, no: Bit) -> Bit: ...

    def table(self, column: int, address: Sequence[Bit]) -> Bit:
        """Bit number `address` of `column`."""


class Gates:
    """The gates made so far; variables up to `first` - 1 are inputs and latches."""

    def __init__(self, first: int) -> None:
        self.first = first
        self.gates: list[tuple[int, int]] = []
        self._known: dict[tuple[int, int], int] = {}
        self._tables: dict[tuple[int, tuple[int, ...]], int] = {}

    def constant(self, value: int) -> int:
        return value

    def inverse(self, a: int) -> int:
        return a ^ 1

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

    def table(self, column: int, address: Sequence[int]) -> int:
        return table(self, self._tables, column, address)


def table(circuit: Circuit[Bit], known: dict[tuple[int, tuple[Bit, ...]], Bit], column: int,
          address: Sequence[Bit]) -> Bit:
    """Bit number `address` of `column`. Halves that look the same are made once (`known`), whatever table they are
    from."""
    size = 1 << len(address)
    if column in (0, (1 << size) - 1):
        return circuit.constant(int(column != 0))
    key = (column, tuple(address))
    bit = known.get(key)
    if bit is None:
        half = size // 2
        low = table(circuit, known, column & (1 << half) - 1, address[1:])
        high = table(circuit, known, column >> half, address[1:])
        bit = known[key] = circuit.choose(address[0], high, low)
    return bit


def every(circuit: Circuit[Bit], bits: Iterable[Bit]) -> Bit:
    """All of the bits."""
    result: Bit | None = None
    for bit in bits:
        result = bit if result is None else circuit.both(result, bit)
    return circuit.constant(1) if result is None else result


def some(circuit: Circuit[Bit], bits: Iterable[Bit]) -> Bit:
    """Any of the bits."""
    result: Bit | None = None
    for bit in bits:
        result = bit if result is None else circuit.either(result, bit)
    return circuit.constant(0) if result is None else result


def total(circuit: Circuit[Bit], a: Sequence[Bit], b: Sequence[Bit], carry: Bit) -> tuple[list[Bit], Bit]:
    """a + b + carry, and the carry out."""
    result = []
    for x, y in zip(reversed(a), reversed(b), strict=True):
        half = circuit.differ(x, y)
        result.append(circuit.differ(half, carry))
        carry = circuit.either(circuit.both(x, y), circuit.both(half, carry))
    return result[::-1], carry


def evaluate(circuit: Circuit[Bit], roots: Iterable[Node], leaf: Callable[[Leaf], list[Bit]],
             known: dict[Node, list[Bit]]) -> None:
    """Makes the bits of every node below the roots and notes them in `known`."""
    for node in postorder(roots):
        if node not in known:
            known[node] = _vector(circuit, node, [known[arg] for arg in node.args], leaf)


def _vector(circuit: Circuit[Bit], node: Node, args: list[list[Bit]], leaf: Callable[[Leaf], list[Bit]]) -> list[Bit]:
    match node:
        case Const(value=value, width=width):
            return [circuit.constant(value >> bit & 1) for bit in range(width - 1, -1, -1)]
        case Leaf():
            return leaf(node)
        case Not():
            return [circuit.inverse(bit) for bit in args[0]]
        case And():
            return [every(circuit, bits) for bits in zip(*args, strict=True)]
        case Or():
            return [some(circuit, bits) for bits in zip(*args, strict=True)]
        case Xor():
            return [circuit.differ(a, b) for a, b in zip(*args, strict=True)]
        case Equal():
            return [every(circuit, (circuit.inverse(circuit.differ(a, b)) for a, b in zip(*args, strict=True)))]
        case Among(values=values):
            return [among(circuit, args[0], values)]
        case Less():
            inverted = [circuit.inverse(bit) for bit in args[1]]
            return [circuit.inverse(total(circuit, args[0], inverted, circuit.constant(1))[1])]
        case Add():
            return total(circuit, args[0], args[1], circuit.constant(0))[0]
        case Sub():
            return total(circuit, args[0], [circuit.inverse(bit) for bit in args[1]], circuit.constant(1))[0]
        case Slice(high=high, low=low):
            top = len(args[0]) - 1
            return args[0][top - high:top - low + 1]
        case Join():
            return [bit for part in args for bit in part]
        case If():
            return [circuit.choose(args[0][0], a, b) for a, b in zip(args[1], args[2], strict=True)]
        case Parity():
            odd = args[0][0]
            for bit in args[0][1:]:
                odd = circuit.differ(odd, bit)
            return [odd]
        case Prior() | Cell():
            raise ValueError("`Prior` is lowered to a variable before gates are made, and `Cell` is in meanings only")


def among(circuit: Circuit[Bit], bits: Sequence[Bit], values: frozenset[int]) -> Bit:
    """The vector is one of the values."""
    if len(values) > 4 and len(bits) <= WIDEST_SET:
        return circuit.table(sum(1 << value for value in values), bits)
    places = range(len(bits) - 1, -1, -1)
    return some(circuit, (every(circuit, (bit if value >> place & 1 else circuit.inverse(bit)
                                          for place, bit in zip(places, bits))) for value in sorted(values)))
