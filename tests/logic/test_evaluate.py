"""The makers of terms simplify; the evaluator is plain. Both against values worked out in plain Python."""

import random
from collections.abc import Mapping

import pytest
from hypothesis import find, given, settings
from hypothesis import strategies as st
from hypothesis.errors import NoSuchExample

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, Terms, leaves, postorder, substitute
from tests.logic.plain_terms import LEAVES, Plain, leaf_values, made, plain_terms, value_of, width_of


def by_leaf(terms: Terms, values: Mapping[str, int]) -> dict[Node, int]:
    return {terms.leaf("input", name, width): values[name] for _, name, width in LEAVES}


def constants(terms: Terms, values: dict[Leaf, int]) -> dict[Node, Node]:
    return {leaf: terms.const(value, leaf.width) for leaf, value in values.items()}


@settings(max_examples=600)
@given(plain_terms(), leaf_values())
def test_simplified_terms_are_worth_what_was_written(term: Plain, values: dict[str, int]) -> None:
    terms = Terms()
    node = made(terms, term)
    assert node.width == width_of(term)
    assert evaluate(node, by_leaf(terms, values)) == value_of(term, values)


@settings(max_examples=300)
@given(plain_terms(), leaf_values(), st.sets(st.sampled_from([name for _, name, _ in LEAVES])))
def test_partial_evaluation_leaves_the_rest(term: Plain, values: dict[str, int], known: set[str]) -> None:
    """Some leaves put in first, the others afterwards: the same value; and those put in are gone."""
    terms = Terms()
    node = made(terms, term)
    given_leaves = {leaf: values[leaf.name] for leaf in leaves([node]) if leaf.name in known}
    (rest,) = substitute(terms, (node,), constants(terms, given_leaves))
    assert not {leaf.name for leaf in leaves([rest])} & known
    assert evaluate(rest, by_leaf(terms, values)) == value_of(term, values)


@given(plain_terms())
def test_a_term_is_rebuilt_as_itself(term: Plain) -> None:
    """Made again from its parts, a node is the same object: nodes are distinct exactly when their terms are."""
    terms = Terms()
    for node in postorder([made(terms, term)]):
        assert terms.rebuild(node, node.args) is node


@pytest.mark.parametrize("operator", ["not", "and", "or", "xor", "add", "sub", "slice", "if", "join", "equal", "among",
                                      "less", "parity"])
def test_the_random_terms_hold_every_operator(operator: str) -> None:
    def holds(term: Plain) -> bool:
        return term[0] == operator or (term[0] not in ("const", "leaf") and any(map(holds, term[2])))

    try:
        find(plain_terms(), holds, random=random.Random(1))
    except NoSuchExample:  # pragma: no cover
        pytest.fail(f"no term with {operator}")


def test_every_value_of_small_operators() -> None:
    """All values of two 2-bit leaves, for what the hypothesis tests only sample."""
    terms = Terms()
    a, b = terms.leaf("input", "a", 2), terms.leaf("input", "b", 2)
    for x in range(4):
        for y in range(4):
            values = {a: x, b: y}
            assert evaluate(terms.add(a, b), values) == (x + y) % 4
            assert evaluate(terms.sub(a, b), values) == (x - y) % 4
            assert evaluate(terms.less(a, b), values) == int(x < y)
            assert evaluate(terms.equal(a, b), values) == int(x == y)
            assert evaluate(terms.join([a, b]), values) == 4 * x + y
            assert evaluate(terms.slice(terms.join([a, b]), 2, 1), values) == (x % 2) * 2 + y // 2
            assert evaluate(terms.parity(terms.join([a, b])), values) == (x // 2 + x % 2 + y // 2 + y % 2) % 2


def test_a_leaf_without_a_value_is_an_error() -> None:
    terms = Terms()
    with pytest.raises(KeyError, match="lost"):
        evaluate(terms.not_(terms.leaf("state", "lost", 1)), {})


def test_what_was_before_is_given_for_the_term_itself() -> None:
    terms = Terms()
    x = terms.leaf("state", "x", 4)
    before = terms.prior(x)
    node = terms.equal(x, before)
    assert evaluate(node, {x: 5, before: 5}) == 1
    assert evaluate(node, {x: 5, before: 6}) == 0
    with pytest.raises(KeyError, match="prior"):
        evaluate(node, {x: 5})


def test_a_memo_carries_over_to_the_next_term() -> None:
    terms = Terms()
    x = terms.leaf("state", "x", 4)
    total = terms.add(x, terms.const(1, 4))
    memo: dict[Node, int] = {}
    assert evaluate(total, {x: 15}, memo) == 0
    assert evaluate(terms.not_(total), {}, memo) == 15


def test_depth_is_bounded_by_memory_only() -> None:
    """A chain far deeper than the interpreter's own stack."""
    terms = Terms()
    a, b = terms.leaf("state", "a", 8), terms.leaf("state", "b", 8)
    node: Node = a
    for _ in range(20_000):
        node = terms.xor(terms.add(node, b), a)
    expected = 3
    for _ in range(20_000):
        expected = (expected + 5) % 256 ^ 3
    assert evaluate(node, {a: 3, b: 5}) == expected
    given_leaves = {leaf: 3 if leaf.name == "a" else 5 for leaf in leaves([node])}
    (known,) = substitute(terms, (node,), constants(terms, given_leaves))
    assert known is terms.const(expected, 8)


def test_makers_refuse_what_has_no_meaning() -> None:
    terms = Terms()
    a, b = terms.leaf("state", "a", 2), terms.leaf("state", "b", 3)
    assert isinstance(a, Leaf)
    one = terms.const(1, 1)
    for wrong in (lambda: terms.and_([a, b]), lambda: terms.or_([]), lambda: terms.xor(a, b), lambda: terms.add(a, b),
                  lambda: terms.sub(a, b), lambda: terms.less(a, b), lambda: terms.equal(a, b),
                  lambda: terms.if_(a, b, b), lambda: terms.if_(one, a, b), lambda: terms.slice(a, 2, 0),
                  lambda: terms.slice(a, 0, 1), lambda: terms.const(4, 2), lambda: terms.const(-1, 2),
                  lambda: terms.among(a, frozenset({4})), lambda: terms.join([])):
        with pytest.raises(ValueError):
            wrong()
