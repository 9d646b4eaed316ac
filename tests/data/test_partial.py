"""Operators on values with unknown bits, against every choice of the unknown bits (an oracle by enumeration)."""

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from ordain.data.partial import Ternary, applied, merged
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, Terms

WIDTH = 4
TERMS = Terms()
A, B = (TERMS.leaf("state", name, WIDTH) for name in "ab")
EXACT = {"not": TERMS.not_(A), "and": TERMS.and_((A, B)), "or": TERMS.or_((A, B)), "xor": TERMS.xor(A, B),
         "slice": TERMS.slice(A, 2, 1), "join": TERMS.join((A, B)), "parity": TERMS.parity(A),
         "equal": TERMS.equal(A, B), "among": TERMS.among(A, frozenset((1, 3, 9))), "less": TERMS.less(A, B)}
"""Those that find every bit that is known."""
SUMS = {"add": TERMS.add(A, B), "sub": TERMS.sub(A, B)}

partial = st.builds(lambda value, known: Ternary(value & known, known), st.integers(0, 15), st.integers(0, 15))


def meant(bits: Ternary) -> list[int]:
    """Every value that it can be."""
    return [value for value in range(1 << WIDTH) if not (value ^ bits.value) & bits.known]


def best(node: Node, one: Ternary, other: Ternary) -> Ternary:
    """The bits that are the same whatever is chosen."""
    found = [evaluate(node, {A: a, B: b}) for a, b in product(meant(one), meant(other))]
    known = sum(1 << bit for bit in range(node.width) if len({value >> bit & 1 for value in found}) == 1)
    return Ternary(found[0] & known, known)


def result(node: Node, one: Ternary, other: Ternary) -> Ternary:
    return applied(node, [{A: one, B: other}[arg] for arg in node.args])


@given(st.sampled_from(sorted(EXACT)), partial, partial)
def test_every_known_bit_is_found(name: str, one: Ternary, other: Ternary) -> None:
    node = EXACT[name]
    assert result(node, one, other) == best(node, one, other)


@given(st.sampled_from(sorted(SUMS)), partial, partial)
def test_sums_claim_no_bit_that_could_be_another(name: str, one: Ternary, other: Ternary) -> None:
    """And know all where nothing is unknown, and the low bits below the lowest unknown one."""
    node = SUMS[name]
    found, right = result(node, one, other), best(node, one, other)
    assert found.known & ~right.known == 0 and found.value == right.value & found.known
    below = (one.known & other.known) ^ (one.known & other.known) + 1
    assert found.known & 15 >= (below >> 1) & 15 & right.known


def test_a_sum_by_hand() -> None:
    """01x0 + 0001 = 01x1: no carry leaves the unknown bit, and the bits above it are known."""
    assert result(SUMS["add"], Ternary(0b0100, 0b1101), Ternary(0b0001, 0b1111)) == Ternary(0b0101, 0b1101)


def test_either_of_two_knows_what_both_say() -> None:
    assert merged(Ternary(0b1010, 0b1110), Ternary(0b1000, 0b1011)) == Ternary(0b1000, 0b1000 | 0b0000)
