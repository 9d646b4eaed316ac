"""Expressions as Python functions of two packed integers, for what is evaluated once for every control state.

`c` packs the values of variables, `w` the words of stores; where each leaf stands in them is given by a `Packing`.
A function is put together from smaller ones, never from source text. About 0.1 us for each operator.
"""

from collections.abc import Callable
from typing import NamedTuple, TypeAlias

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
)

Closure: TypeAlias = Callable[[int, int], int]


class Spot(NamedTuple):
    """A leaf's bits stand at `shift` of `c` (or of `w`), inverted where `invert` has ones."""

    in_words: bool
    shift: int
    mask: int
    invert: int


class Packing(NamedTuple):
    """`spots`: leaves with bits in `c` or `w`. `looked_up`: leaves that are part of a store's word at an address which
    has to be evaluated: leaf -> (address, the values of the leaf by address)."""

    spots: dict[Node, Spot]
    looked_up: dict[Node, tuple[Node, tuple[int, ...]]]


class Closures:
    """Makes closures and keeps them, so that equal expressions share one."""

    __slots__ = ("_made", "_packing")

    def __init__(self, packing: Packing) -> None:
        self._packing = packing
        self._made: dict[Node, Closure] = {}

    def of(self, root: Node) -> Closure:
        """The function for an expression. KeyError for a leaf that has no place in the packing."""
        made = self._made
        stack = [root]
        while stack:
            node = stack[-1]
            if node in made:
                stack.pop()
                continue
            looked_up = self._packing.looked_up.get(node)
            args = node.args if looked_up is None else (looked_up[0],)
            missing = [arg for arg in args if arg not in made]
            if missing:
                stack.extend(missing)
                continue
            if looked_up is not None:
                made[node] = _lookup(made[args[0]], looked_up[1])
            elif args:
                made[node] = _operator(node, [made[arg] for arg in args])
            else:
                made[node] = self._leaf(node)
            stack.pop()
        return made[root]

    def _leaf(self, node: Node) -> Closure:
        if type(node) is Const:
            value = node.value
            return lambda c, w: value
        _, shift, mask, invert = spot = self._packing.spots[node]
        if spot.in_words:
            if invert:
                return lambda c, w: (w >> shift & mask) ^ invert
            return lambda c, w: w >> shift & mask
        return lambda c, w: c >> shift & mask


def _lookup(address: Closure, values: tuple[int, ...]) -> Closure:
    return lambda c, w: values[address(c, w)]


def _operator(node: Node, args: list[Closure]) -> Closure:
    ones = (1 << node.width) - 1
    first = args[0]
    second = args[1] if len(args) > 1 else first
    match node:
        case Not():
            return lambda c, w: first(c, w) ^ ones
        case And():
            return _all(args)
        case Or():
            return _any(args)
        case Xor():
            return lambda c, w: first(c, w) ^ second(c, w)
        case Equal():
            return lambda c, w: 1 if first(c, w) == second(c, w) else 0
        case Among(values=values):
            return lambda c, w: 1 if first(c, w) in values else 0
        case Less():
            return lambda c, w: 1 if first(c, w) < second(c, w) else 0
        case Add():
            constant = node.args[1]
            if type(constant) is Const:
                step = constant.value
                return lambda c, w: first(c, w) + step & ones
            return lambda c, w: first(c, w) + second(c, w) & ones
        case Sub():
            return lambda c, w: first(c, w) - second(c, w) & ones
        case Slice(low=low):
            return lambda c, w: first(c, w) >> low & ones
        case Join():
            return _joined([(part.width, arg) for part, arg in zip(node.args, args)])
        case If():
            third = args[2]
            return lambda c, w: second(c, w) if first(c, w) else third(c, w)
        case Parity():
            return lambda c, w: first(c, w).bit_count() & 1
        case Const() | Leaf() | Prior():
            raise TypeError("no operator")


def _all(args: list[Closure]) -> Closure:
    def conjunction(c: int, w: int) -> int:
        result = -1
        for arg in args:
            result &= arg(c, w)
            if not result:
                break
        return result
    return conjunction


def _any(args: list[Closure]) -> Closure:
    def disjunction(c: int, w: int) -> int:
        result = 0
        for arg in args:
            result |= arg(c, w)
        return result
    return disjunction


def _joined(parts: list[tuple[int, Closure]]) -> Closure:
    def joined(c: int, w: int) -> int:
        result = 0
        for width, arg in parts:
            result = result << width | arg(c, w)
        return result
    return joined
