"""The control store looked at column by column: one bitarray for each bit, over all addresses at once.

An expression of the machine is evaluated for every address in a handful of operations. What the word does not say
(states, inputs, other stores) is unknown, so each bit has two columns: the addresses at which it *may* be 1 and at
which it *may* be 0. Both are upper bounds; where one is clear, the other is certain.
"""

from bisect import bisect_left
from collections.abc import Iterable
from typing import NamedTuple, TypeAlias

from bitarray import bitarray
from bitarray.util import ones, zeros

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
from ordain.rom.contents import Contents


class Bit(NamedTuple):
    """Where a bit may be 1 and where it may be 0; never neither."""

    one: bitarray
    zero: bitarray


Bits: TypeAlias = tuple[Bit, ...]
"""Highest bit first, as in a `Join`."""


def columns_of(contents: Contents, store: str) -> tuple[bitarray, ...]:
    """The bits of the words of a store, highest first, each by address."""
    stride = -(-contents.machine.stores[store].bits // 8) * 8
    laid = bitarray(endian="big")
    laid.frombytes(b"".join([word.to_bytes(stride // 8, "big") for word in contents.words[store]]))
    return tuple(laid[stride - 1 - bit::stride] for bit in range(contents.machine.stores[store].bits - 1, -1, -1))


class Columns:
    """Values of expressions at every address of one store. Keeps what it has computed."""

    def __init__(self, contents: Contents, store: str) -> None:
        self._contents, self._store = contents, store
        self._size = len(contents.words[store])
        self._word = tuple(self._exact(ones_at) for ones_at in columns_of(contents, store))
        self._known: dict[Node, Bits] = {}
        self._one, self._none = ones(self._size, "big"), zeros(self._size, "big")
        self._address = self._address_bits()
        self._state_bits = self._states_in_address()

    def may(self, node: Node) -> Bits:
        """Where each bit of a node may be 1 and may be 0."""
        known = self._known
        if node not in known:
            for part in postorder((node,)):
                if part not in known:
                    known[part] = self._value(part, tuple(known[arg] for arg in part.args))
        return known[node]

    def certain(self, node: Node) -> bitarray:
        """The addresses at which a condition holds whatever the state and the inputs."""
        return ~self.may(node)[0].zero

    def possible(self, node: Node) -> bitarray:
        """The addresses at which a condition can hold, as far as the word alone says."""
        return self.may(node)[0].one

    def _exact(self, where: bitarray) -> Bit:
        return Bit(where, ~where)

    def _unknown(self, width: int) -> Bits:
        return (Bit(self._one, self._one),) * width

    def _address_bits(self) -> Bits:
        width = self._contents.machine.stores[self._store].address_width
        columns = []
        for bit in range(width - 1, -1, -1):
            run = zeros(1 << bit, "big") + ones(1 << bit, "big")
            columns.append(self._exact((run * -(-self._size // len(run)))[:self._size]))
        return tuple(columns)

    def _states_in_address(self) -> dict[tuple[Node, int], Bit]:
        """The address is formed from states: those bits are known at each address. Keys are (node, bit); leaves
        are asked for."""
        address = self._contents.machine.stores[self._store].address
        found: dict[tuple[Node, int], Bit] = {}
        at = 0
        for part in address.args if isinstance(address, Join) else (address,):
            base, low = (part.args[0], part.low) if isinstance(part, Slice) else (part, 0)
            for bit in range(part.width):
                found[base, low + part.width - 1 - bit] = self._address[at + bit]
            at += part.width
        return found

    def _leaf(self, leaf: Leaf) -> Bits:
        contents, store = self._contents, self._store
        if leaf.kind == "word" and leaf.name == store:
            return self._word
        if leaf.kind == "address" and leaf.name == store:
            return self._address
        if leaf.kind == "field" and contents.machine.fields[leaf.name].store == store:
            field = contents.machine.fields[leaf.name]
            top = len(self._word) - 1
            bits = self._word[top - field.high:top - field.low + 1]
            return tuple(Bit(bit.zero, bit.one) for bit in bits) if field.active_low else bits
        if leaf.kind in ("at", "in"):
            named, addresses = (contents.labels if leaf.kind == "at" else contents.routines)[leaf.name]
            if named == store:
                where = zeros(self._size, "big")
                for address in addresses:
                    where[address] = 1
                return (self._exact(where),)
        return tuple(self._state_bits.get((leaf, bit), Bit(self._one, self._one))
                     for bit in range(leaf.width - 1, -1, -1))

    def _value(self, node: Node, args: tuple[Bits, ...]) -> Bits:
        match node:
            case Const(value=value, width=width):
                return tuple(Bit(self._one, self._none) if value >> bit & 1 else Bit(self._none, self._one)
                             for bit in range(width - 1, -1, -1))
            case Leaf():
                return self._leaf(node)
            case Not():
                return tuple(Bit(bit.zero, bit.one) for bit in args[0])
            case And():
                return tuple(_all(bits) for bits in zip(*args, strict=True))
            case Or():
                return tuple(_any(bits) for bits in zip(*args, strict=True))
            case Xor():
                return tuple(_xor(a, b) for a, b in zip(*args, strict=True))
            case Equal():
                return (_not(_any(_xor(a, b) for a, b in zip(*args, strict=True))),)
            case Among(values=values):
                return (self._among(args[0], values),)
            case Less():
                return (_borrow(args[0], args[1], self._no())[1],)
            case Add():
                return _sum(args[0], args[1], self._no())
            case Sub():
                return _borrow(args[0], args[1], self._no())[0]
            case Slice(high=high, low=low):
                top = len(args[0]) - 1
                return args[0][top - high:top - low + 1]
            case Join():
                return tuple(bit for part in args for bit in part)
            case If():
                return tuple(_choose(args[0][0], a, b) for a, b in zip(args[1], args[2], strict=True))
            case Parity():
                total = self._no()
                for bit in args[0]:
                    total = _xor(total, bit)
                return (total,)
            case Prior(width=width) | Cell(width=width):
                return self._unknown(width)

    def _no(self) -> Bit:
        return Bit(self._none, self._one)

    def _among(self, bits: Bits, values: frozenset[int]) -> Bit:
        """By halves of the numbers that there are, each half of the same members worked out once."""
        known: dict[tuple[int, ...], Bit] = {}

        def member(members: tuple[int, ...], at: int) -> Bit:
            """`members`: numbers of the bits from `at` on, in their order."""
            if not members or len(members) == 1 << len(bits) - at:
                return self._no() if not members else _not(self._no())
            key = (at, *members)
            if key not in known:
                half = 1 << len(bits) - at - 1
                middle = bisect_left(members, half)
                upper, lower = member(tuple([value - half for value in members[middle:]]), at + 1), member(
                    members[:middle], at + 1)
                known[key] = upper if upper is lower else _choose(bits[at], upper, lower)
            return known[key]

        return member(tuple(sorted(values)), 0)


def _not(bit: Bit) -> Bit:
    return Bit(bit.zero, bit.one)


def _all(bits: Iterable[Bit]) -> Bit:
    first, *rest = bits
    one, zero = first
    for bit in rest:
        one, zero = one & bit.one, zero | bit.zero
    return Bit(one, zero)


def _any(bits: Iterable[Bit]) -> Bit:
    return _not(_all([_not(bit) for bit in bits]))


def _xor(a: Bit, b: Bit) -> Bit:
    return Bit((a.one & b.zero) | (a.zero & b.one), (a.one & b.one) | (a.zero & b.zero))


def _choose(condition: Bit, yes: Bit, no: Bit) -> Bit:
    return Bit((condition.one & yes.one) | (condition.zero & no.one),
               (condition.one & yes.zero) | (condition.zero & no.zero))


def _sum(a: Bits, b: Bits, carry: Bit) -> Bits:
    result = []
    for x, y in zip(reversed(a), reversed(b), strict=True):
        half = _xor(x, y)
        result.append(_xor(half, carry))
        carry = _any((_all((x, y)), _all((half, carry))))
    return tuple(reversed(result))


def _borrow(a: Bits, b: Bits, borrow: Bit) -> tuple[Bits, Bit]:
    """a - b and whether a < b."""
    result = []
    for x, y in zip(reversed(a), reversed(b), strict=True):
        half = _xor(x, y)
        result.append(_xor(half, borrow))
        borrow = _any((_all((_not(x), y)), _all((_not(half), borrow))))
    return tuple(reversed(result)), borrow
