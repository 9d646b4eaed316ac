"""Normal forms of small terms: worth what the term is for all values, and one for what is written in two ways."""

from collections.abc import Callable
from itertools import pairwise, product
from random import Random

import pytest

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, Terms
from ordain.meaning import normal as normal_forms
from ordain.meaning.normal import Normal

T = Terms()
X, Y, Z = (T.leaf("input", name, 3) for name in "xyz")
A, B = (T.leaf("input", name, 1) for name in "ab")
ALL = [dict(zip((X, Y, A, B), values)) for values in product(range(8), range(8), (0, 1), (0, 1))]


def three(value: int) -> Node:
    return T.const(value, 3)


def bit_by_chance(random: Random, depth: int) -> Node:
    if not depth:
        return random.choice((A, B))

    def wide() -> Node:
        return by_chance(random, depth - 1)

    def narrow() -> Node:
        return bit_by_chance(random, depth - 1)

    some = frozenset(random.sample(range(8), random.randint(1, 4)))
    ways: list[Callable[[], Node]] = [
        lambda: T.not_(narrow()), lambda: T.and_((narrow(), narrow())), lambda: T.or_((narrow(), narrow())),
        lambda: T.xor(narrow(), narrow()), lambda: T.equal(wide(), wide()), lambda: T.less(wide(), wide()),
        lambda: T.less(wide(), three(random.randrange(8))), lambda: T.less(three(random.randrange(8)), wide()),
        lambda: T.among(wide(), some), lambda: T.among(T.add(wide(), three(random.randrange(8))), some),
        lambda: T.among(T.sub(three(random.randrange(8)), wide()), some), lambda: T.parity(wide())]
    if random.random() < 0.2:
        at = random.randrange(3)
        return T.slice(wide(), at, at)
    return random.choice(ways)()


def by_chance(random: Random, depth: int) -> Node:
    """A term of three bits."""
    if not depth:
        return random.choice((X, Y, X, Y, three(random.randrange(8))))

    def wide() -> Node:
        return by_chance(random, depth - 1)

    def narrow() -> Node:
        return bit_by_chance(random, depth - 1)

    def halves() -> Node:
        whole, at = wide(), random.randint(1, 2)
        low = whole if random.random() < 0.7 else wide()
        return T.join((T.slice(whole, 2, at), T.slice(low, at - 1, 0)))

    ways: list[Callable[[], Node]] = [
        lambda: T.add(wide(), wide()), lambda: T.sub(wide(), wide()), lambda: T.not_(wide()),
        lambda: T.add(wide(), wide()), lambda: T.sub(wide(), wide()), lambda: T.xor(wide(), wide()),
        lambda: T.and_((wide(), wide())), lambda: T.or_((wide(), wide())), lambda: T.if_(narrow(), wide(), wide()),
        halves, lambda: T.join((T.slice(wide(), 1, 0), narrow())), lambda: T.join((narrow(), narrow(), narrow()))]
    return random.choice(ways)()


@pytest.mark.parametrize("seed", range(8))
def test_a_normal_form_is_worth_what_the_term_is(seed: int) -> None:
    random = Random(seed)
    for _ in range(60):
        one, other = by_chance(random, random.randint(1, 4)), by_chance(random, random.randint(1, 3))
        normal = Normal(T)
        same, apart = normal.same(one, other), normal.difference(one, other)
        nodes = one, normal.of(one), other, normal.of(other), same
        assert normal.of(normal.of(one)).width == 3
        for known in random.sample(ALL, 40):
            memo: dict[Node, int] = {}
            was, now, its, theirs, alike = (evaluate(node, dict(known), memo) for node in nodes)
            assert (was, its) == (now, theirs)
            assert alike == (was == its) and apart in (None, was - its & 7)


def joined(whole: Node, *cuts: int) -> Node:
    """A term taken apart above these bits, and put together again."""
    edges = [whole.width, *cuts, 0]
    return T.join(T.slice(whole, high - 1, low) for high, low in pairwise(edges))


WIDE = T.leaf("register", "wide", 8)
SUM = T.add(WIDE, T.leaf("register", "more", 8))
MADE = T.if_(A, SUM, WIDE)
LOW = T.add(T.slice(WIDE, 3, 0), T.slice(T.leaf("register", "more", 8), 3, 0))


@pytest.mark.parametrize("one, other", [
    (T.add(X, T.add(Y, Z)), T.add(T.add(Z, X), Y)),
    (T.sub(X, T.sub(Y, Z)), T.add(T.sub(X, Y), Z)),
    (T.sub(T.add(X, Y), T.add(Y, X)), three(0)),
    (T.add(T.not_(X), three(1)), T.sub(three(0), X)),
    (T.not_(T.sub(X, three(1))), T.sub(three(0), X)),
    (T.sub(three(7), X), T.not_(X)),
    (T.add(T.add(X, three(3)), three(5)), X),
    (T.add(T.add(X, X), T.add(X, X)), T.add(X, T.add(X, T.add(X, X)))),
    (T.sub(T.sub(three(0), X), X), T.sub(three(0), T.add(X, X))),
    (T.and_((X, T.add(Y, Z))), T.and_((T.add(Z, Y), X))),
    (T.or_((T.add(X, Y), Z)), T.or_((Z, T.add(Y, X)))),
    (T.xor(T.xor(X, Y), Z), T.xor(Z, T.xor(Y, X))),
    (T.xor(T.xor(X, Y), X), Y),
    (T.xor(T.not_(X), Y), T.xor(X, T.not_(Y))),
    (T.xor(T.not_(X), T.not_(Y)), T.xor(Y, X)),
    (T.xor(T.xor(X, three(5)), T.xor(Y, three(5))), T.xor(X, Y)),
    (T.equal(T.add(X, Y), T.add(Y, X)), T.const(1, 1)),
    (T.equal(T.add(X, three(1)), T.add(three(2), X)), T.const(0, 1)),
    (T.equal(T.sub(X, Y), Z), T.equal(Z, T.add(X, T.not_(T.sub(Y, three(1)))))),
    (T.among(T.add(X, three(2)), frozenset((1, 4))), T.among(X, frozenset((7, 2)))),
    (T.among(T.sub(X, Y), frozenset((1, 4))), T.among(T.sub(X, Y), frozenset((4, 1)))),
    (T.less(X, three(4)), T.less(T.slice(X, 2, 2), T.const(1, 1))),
    (T.less(X, three(6)), T.less(T.slice(X, 2, 1), T.const(3, 2))),
    (T.less(three(3), X), T.less(T.const(0, 1), T.slice(X, 2, 2))),
    (T.less(three(5), X), T.less(T.const(2, 2), T.slice(X, 2, 1))),
    (T.less(three(7), X), T.const(0, 1)),
    (T.slice(T.and_((X, Y)), 2, 1), T.and_((T.slice(Y, 2, 1), T.slice(X, 2, 1)))),
    (T.slice(T.add(X, Y), 1, 0), T.add(T.slice(Y, 1, 0), T.slice(X, 1, 0))),
    (T.slice(T.if_(A, X, Y), 2, 1), T.if_(A, T.slice(X, 2, 1), T.slice(Y, 2, 1))),
    *((joined(SUM, *cuts), SUM) for cuts in ((1,), (4,), (7,), (5, 3), (6, 5, 1))),
    (joined(T.sub(WIDE, SUM), 4), T.sub(WIDE, SUM)),
    (T.join((X, joined(SUM, 4), Y)), T.join((X, SUM, Y))),
    (T.join((T.slice(SUM, 6, 4), T.slice(SUM, 3, 0))), T.slice(SUM, 6, 0)),
    (joined(MADE, 4), MADE),
    (T.join((T.slice(SUM, 7, 4), LOW)), SUM), (T.join((T.slice(SUM, 6, 4), LOW)), T.slice(SUM, 6, 0)),
    (T.join((X, T.slice(SUM, 7, 4), LOW, Y)), T.join((X, SUM, Y))),
    (T.not_(A), T.xor(A, T.const(1, 1))),
])
def test_one_form_for_what_is_written_in_two_ways(one: Node, other: Node) -> None:
    for normal in (Normal(T), Normal(T)):
        assert normal.of(one) is normal.of(other)
        one, other = other, one


@pytest.mark.parametrize("one, other", [
    (T.join((T.slice(SUM, 7, 4), T.slice(SUM, 4, 1))), SUM), (T.join((T.slice(SUM, 7, 3), T.slice(SUM, 3, 1))), SUM),
    (T.join((T.slice(SUM, 3, 0), T.slice(SUM, 7, 4))), SUM), (T.less(X, three(5)), T.less(X, three(4))),
    (T.less(three(5), X), T.less(three(4), X)), (T.sub(X, Y), T.sub(Y, X)), (T.xor(X, Y), T.xor(X, T.not_(Y))),
    (T.add(X, X), X), (T.and_((X, Y)), T.or_((X, Y)))])
def test_no_one_form_for_what_differs(one: Node, other: Node) -> None:
    normal = Normal(T)
    assert normal.of(one) is not normal.of(other)


def test_what_stands_too_often_in_a_sum_stays_as_it_is_written() -> None:
    whole: Node = WIDE
    for _ in range(normal_forms.MOST_REPEATED - 1):
        whole = T.add(whole, WIDE)
    assert Normal(T).of(T.sub(T.add(whole, SUM), SUM)) is Normal(T).of(whole)
    more = T.add(T.add(whole, WIDE), T.const(3, 8))
    assert Normal(T).of(more) is more


def test_by_how_much_two_terms_differ() -> None:
    normal = Normal(T)
    assert normal.of(T.not_(A)) is T.not_(A)
    assert normal.difference(X, X) == 0 and normal.difference(X, Y) is None
    assert normal.difference(T.add(X, three(2)), X) == 2 and normal.difference(X, T.add(three(2), X)) == 6
    assert isinstance(X, Leaf) and normal.same(T.add(X, three(2)), X) is T.const(0, 1)
    assert normal.same(X, Y) is T.equal(X, Y)


@pytest.mark.parametrize("width", [2, 3, 4, 8])
def test_a_value_that_is_taken_away_stays_one_part_however_narrow_it_is(width: int) -> None:
    """-x - 1 is `not x`; of three bits, seven times x and seven are the same number."""
    terms = Terms()
    x, y = terms.leaf("input", "x", width), terms.leaf("input", "y", width)
    ones = terms.const((1 << width) - 1, width)
    assert Normal(terms).of(terms.sub(ones, x)) is terms.not_(x)
    assert Normal(terms).of(terms.add(y, terms.not_(x))) is terms.add(terms.sub(y, x), ones)
    assert Normal(terms).of(terms.add(x, x)) is terms.add(x, x)
