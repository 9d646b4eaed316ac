"""Values of which some bits are not known, and what the operators make of them.

A bit of a result is known where every choice of the unknown bits below it would give the same; for sums, differences
and comparisons as far as carries and bounds say so. The rule for sums is that of "tristate numbers" (H. Vishwanathan et
al., CGO 2022; from memory).
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ordain.machine.expression import (
    Add,
    Among,
    And,
    Const,
    Equal,
    Join,
    Less,
    Node,
    Not,
    Or,
    Parity,
    Slice,
    Sub,
    Xor,
)


class Ternary(NamedTuple):
    """`value` has zeros where bits are not known; `known` has ones where they are."""

    value: int
    known: int


def exactly(value: int, width: int) -> Ternary:
    return Ternary(value, (1 << width) - 1)


UNKNOWN = Ternary(0, 0)


def merged(one: Ternary, other: Ternary) -> Ternary:
    """What is known when it is either of the two."""
    known = one.known & other.known & ~(one.value ^ other.value)
    return Ternary(one.value & known, known)


def whole(bits: Ternary, width: int) -> bool:
    return bits.known == (1 << width) - 1


def applied(node: Node, args: Sequence[Ternary]) -> Ternary:
    """One operator that needs all of its arguments."""
    ones = (1 << node.width) - 1
    match node:
        case Const(value=value):
            return Ternary(value, ones)
        case Not():
            return Ternary(~args[0].value & args[0].known, args[0].known)
        case And():
            return conjunction(args, ones)
        case Or():
            return disjunction(args, ones)
        case Xor():
            known = args[0].known & args[1].known
            return Ternary((args[0].value ^ args[1].value) & known, known)
        case Add():
            return _sum(args[0], args[1], 0, ones)
        case Sub():
            return _sum(args[0], Ternary(~args[1].value & args[1].known, args[1].known), 1, ones)
        case Slice(low=low):
            return Ternary(args[0].value >> low & ones, args[0].known >> low & ones)
        case Join():
            value = known = 0
            for part, arg in zip(node.args, args):
                value, known = value << part.width | arg.value, known << part.width | arg.known
            return Ternary(value, known)
        case Parity():
            return Ternary(args[0].value.bit_count() % 2, 1) if whole(args[0], node.args[0].width) else UNKNOWN
        case Equal():
            both = args[0].known & args[1].known
            if (args[0].value ^ args[1].value) & both:
                return Ternary(0, 1)
            return Ternary(1, 1) if whole(Ternary(0, both), node.args[0].width) else UNKNOWN
        case Among(values=values):
            possible = sum(1 for value in values if not (value ^ args[0].value) & args[0].known)
            unknown = ((1 << node.args[0].width) - 1 & ~args[0].known).bit_count()
            return Ternary(0, 1) if not possible else Ternary(1, 1) if possible == 1 << unknown else UNKNOWN
        case Less():
            full = (1 << node.args[0].width) - 1
            least = [arg.value for arg in args]
            most = [arg.value | full & ~arg.known for arg in args]
            return Ternary(1, 1) if most[0] < least[1] else Ternary(0, 1) if least[0] >= most[1] else UNKNOWN
    raise TypeError("not an operator on all of its arguments")


def conjunction(args: Iterable[Ternary], ones: int) -> Ternary:
    """The bitwise and; all ones of none."""
    zeros, value, known = 0, ones, ones
    for arg in args:
        zeros |= arg.known & ~arg.value
        value &= arg.value
        known &= arg.known
    return Ternary(value, known | zeros)


def disjunction(args: Iterable[Ternary], ones: int) -> Ternary:
    """The bitwise or; all zeros of none."""
    value, known = 0, ones
    for arg in args:
        value |= arg.value
        known &= arg.known
    return Ternary(value, known | value)


def _sum(one: Ternary, other: Ternary, carry: int, ones: int) -> Ternary:
    unknown = ones & ~one.known, ones & ~other.known
    least = one.value + other.value + carry
    most = (one.value | unknown[0]) + (other.value | unknown[1]) + carry
    known = ones & ~(least ^ most | unknown[0] | unknown[1])
    return Ternary(least & known, known)
