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
    condition = looks_at(terms, (node,), frozenset((target,)))
    before: dict[Node, int] = {leaf_of[each]: value for each, value in values.items()}
    after = {**before, target: other % (1 << target.width)}
    if not evaluate(condition, before):
        assert evaluate(node, before) == evaluate(node, after)


def test_a_selection_looks_only_at_what_it_passes_on() -> None:
    terms = Terms()
    chosen, a, b, gate = (terms.leaf("input", name, width) for name, width in (("c", 1), ("a", 4), ("b", 4), ("g", 1)))
    node = terms.if_(chosen, a, b)
    assert looks_at(terms, (node,), frozenset((a,))) is chosen
    assert looks_at(terms, (node,), frozenset((b,))) is terms.not_(chosen)
    bit = terms.slice(a, 0, 0)
    assert looks_at(terms, (terms.and_((gate, bit)),), frozenset((a,))) is gate
    assert looks_at(terms, (terms.or_((gate, bit)),), frozenset((a,))) is terms.not_(gate)
    assert looks_at(terms, (b,), frozenset((a,))) is terms.const(0, 1)
    assert looks_at(terms, (), frozenset((a,))) is terms.const(0, 1)
