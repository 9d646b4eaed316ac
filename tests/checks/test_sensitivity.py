"""Where `looks_at` says that a leaf does not matter, it must not; where a selection passes it on, it does."""

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.checks.sensitivity import looks_at
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node, Terms
from tests.logic.plain_terms import LEAVES, Plain, leaf_values, made, plain_terms


@settings(max_examples=500)
@given(plain_terms(), leaf_values(), st.sampled_from([name for _, name, _ in LEAVES]), st.integers(0, 15))
def test_a_leaf_that_is_not_looked_at_can_be_anything(term: Plain, values: dict[str, int], name: str,
                                                      other: int) -> None:
    terms = Terms()
    node = made(terms, term)
    leaf_of: dict[str, Node] = {each: terms.leaf("input", each, width) for _, each, width in LEAVES}
    target = leaf_of[name]
    condition = looks_at(terms, (node,), {target: terms.const(1, 1)})
    before: dict[Node, int] = {leaf_of[each]: value for each, value in values.items()}
    after = {**before, target: other % (1 << target.width)}
    if not evaluate(condition, before):
        assert evaluate(node, before) == evaluate(node, after)


def test_a_selection_looks_only_at_what_it_passes_on() -> None:
    terms = Terms()
    chosen, a, b, gate = (terms.leaf("input", name, width) for name, width in (("c", 1), ("a", 4), ("b", 4), ("g", 1)))
    always = terms.const(1, 1)
    node = terms.if_(chosen, a, b)
    assert looks_at(terms, (node,), {a: always}) is chosen
    assert looks_at(terms, (node,), {b: always}) is terms.not_(chosen)
    bit = terms.slice(a, 0, 0)
    assert looks_at(terms, (terms.and_((gate, bit)),), {a: always}) is gate
    assert looks_at(terms, (terms.or_((gate, bit)),), {a: always}) is terms.not_(gate)
    assert looks_at(terms, (b,), {a: always}) is terms.const(0, 1)
    assert looks_at(terms, (terms.prior(a),), {a: always}) is terms.const(0, 1)
    assert looks_at(terms, (), {a: always}) is terms.const(0, 1)


def test_a_leaf_is_looked_at_only_where_it_is_of_interest() -> None:
    terms = Terms()
    chosen, a, b, now = (terms.leaf("input", name, width) for name, width in (("c", 1), ("a", 4), ("b", 4), ("n", 1)))
    assert looks_at(terms, (a,), {a: now}) is now
    assert looks_at(terms, (terms.if_(chosen, a, b),), {a: now}) is terms.and_((chosen, now))


def test_what_selects_between_equal_values_does_not_matter() -> None:
    """As far as both are states, fields and numbers; of others nothing is known."""
    terms = Terms()
    chosen = terms.leaf("input", "c", 1)
    always = terms.const(1, 1)
    s, t = (terms.leaf("state", name, 4) for name in "st")
    assert looks_at(terms, (terms.if_(chosen, s, t),), {chosen: always}) is terms.not_(terms.equal(s, t))
    assert looks_at(terms, (terms.if_(chosen, s, terms.const(3, 4)),), {chosen: always}) is terms.not_(
        terms.among(s, frozenset((3,))))
    assert looks_at(terms, (terms.if_(chosen, s, terms.leaf("bus", "data", 4)),), {chosen: always}) is always
    data, more = terms.leaf("bus", "data", 4), terms.add(s, terms.const(1, 4))
    for other in (data, terms.add(s, data)):
        assert looks_at(terms, (terms.if_(chosen, other, s),), {chosen: always}) is always
    assert looks_at(terms, (terms.if_(chosen, more, t),), {chosen: always}) is terms.not_(terms.equal(more, t))
    gate = terms.if_(chosen, terms.if_(chosen, s, t), terms.leaf("state", "u", 4))
    assert looks_at(terms, (gate,), {chosen: always}) is not terms.const(0, 1)


def test_what_is_equal_now_may_hang_on_what_selects() -> None:
    """s and t are both 1; where s becomes 3, the selection changes, and so does what it selects."""
    terms = Terms()
    s, t = (terms.leaf("state", name, 2) for name in "st")
    three = terms.among(s, frozenset((3,)))
    for node in (terms.if_(three, s, t), terms.if_(terms.less(s, terms.const(3, 2)), t, s)):
        condition = looks_at(terms, (node,), {s: terms.const(1, 1)})
        assert evaluate(condition, {s: 1, t: 1}) and evaluate(node, {s: 1, t: 1}) != evaluate(node, {s: 3, t: 1})
