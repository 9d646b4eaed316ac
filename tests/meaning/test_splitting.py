"""Splitting a term into cases: no case is dropped that some values make, held against values given first."""

from hypothesis import given
from hypothesis import strategies as st

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, Terms
from ordain.meaning.splitting import can_be, deciding, implied, narrow, together, values_of

TERMS = Terms()
BITS = [TERMS.leaf("input", name, 1) for name in "abc"]
WIDE = [TERMS.leaf("register", name, 2) for name in "xy"]


def bits() -> st.SearchStrategy[Node]:
    wide = st.sampled_from([*WIDE, TERMS.and_(WIDE), TERMS.or_(WIDE), TERMS.add(*WIDE)])
    leaf = st.one_of(st.sampled_from(BITS), st.builds(
        lambda one, value: TERMS.equal(one, TERMS.const(value, 2)), wide, st.integers(0, 3)))
    return st.recursive(leaf, lambda below: st.one_of(
        below.map(TERMS.not_), st.lists(below, min_size=2, max_size=3).map(TERMS.and_),
        st.lists(below, min_size=2, max_size=3).map(TERMS.or_)), max_leaves=6)


@given(st.lists(bits(), min_size=1, max_size=4), st.lists(st.integers(0, 3), min_size=5, max_size=5))
def test_what_some_values_make_can_be(nodes: list[Node], values: list[int]) -> None:
    known: dict[Node, int] = {leaf: value & 1 if leaf.width == 1 else value
                              for leaf, value in zip([*BITS, *WIDE], values) if isinstance(leaf, Leaf)}
    under = {}
    for node in nodes:
        value = evaluate(node, known, {})
        found = dict(implied(TERMS, node, value))
        assert [evaluate(one, known, {}) for one in found] == [evaluate(one, {}, {}) for one in found.values()]
        under.update(found)
    assert can_be(under)


def test_an_or_that_is_1_has_no_part_left() -> None:
    a, b, c = BITS
    zero, one = TERMS.const(0, 1), TERMS.const(1, 1)
    either = TERMS.or_((a, TERMS.not_(b)))
    assert not can_be({either: one, a: zero, b: one})
    assert can_be({either: one, a: zero, b: zero})
    assert can_be({either: one, a: zero})
    assert not can_be({TERMS.and_((a, b, c)): zero, a: one, b: one, c: one})
    assert can_be({TERMS.and_((a, b, c)): zero, a: one, b: one})


def test_parts_of_parts_are_looked_at() -> None:
    a, b, c = BITS
    zero, one = TERMS.const(0, 1), TERMS.const(1, 1)
    nested = TERMS.and_((TERMS.or_((TERMS.and_((a, b)), c)), a))
    assert not can_be({nested: zero, a: one, b: one})
    assert can_be({nested: zero, a: one, b: zero})
    assert can_be({nested: zero, a: one, c: zero})
    turned = TERMS.or_((TERMS.and_((TERMS.not_(a), b)), c))
    assert not can_be({turned: one, a: one, b: one, c: zero})
    assert can_be({turned: one, a: zero, b: one, c: zero})
    either = TERMS.and_((TERMS.or_((a, b)), c))
    assert can_be({either: zero, a: zero, b: zero, c: one})
    assert not can_be({either: zero, a: zero, b: one, c: one})


def test_a_turned_bit_says_what_it_is_made_of() -> None:
    a, b, _ = BITS
    assert dict(implied(TERMS, TERMS.not_(TERMS.and_((a, b))), 0))[a] is TERMS.const(1, 1)
    assert dict(implied(TERMS, TERMS.not_(a), 1))[a] is TERMS.const(0, 1)


def test_what_is_said_agrees_with_all_that_is_known() -> None:
    x, y = WIDE
    zero, one, three = TERMS.const(0, 1), TERMS.const(1, 1), TERMS.const(3, 2)
    less, is_three = TERMS.among(x, frozenset((1, 2))), TERMS.equal(x, three)
    for known, fits in (({is_three: zero}, False), ({is_three: one}, True), ({less: one}, False), ({less: zero}, True),
                        ({TERMS.slice(x, 1, 1): zero}, False), ({TERMS.slice(x, 1, 1): one}, True),
                        ({TERMS.and_((BITS[0], less)): one}, False), ({TERMS.or_((BITS[0], less)): one}, True),
                        ({TERMS.sub(x, TERMS.const(1, 2)): y, less: BITS[0]}, True), ({TERMS.less(y, x): zero}, True)):
        found = together(TERMS, known, {x: three, is_three: one})
        assert found == ({**known, x: three, is_three: one} if fits else None), known


def test_the_bit_that_decides_is_looked_for_from_left_to_right() -> None:
    x, y = WIDE
    a, b, _ = BITS
    assert deciding(TERMS.if_(a, TERMS.if_(b, x, y), y)) is a
    assert deciding(TERMS.join((x, a, y, b))) is a
    assert deciding(TERMS.add(x, TERMS.join((a, b)))) is a
    assert deciding(TERMS.add(x, y)) is None


HELD = TERMS.leaf("register", "held", 5)


@given(st.integers(0, 31), st.integers(0, 4), st.integers(0, 4),
       st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4))))
def test_one_value_of_a_few_bits_is_that_of_the_whole(value: int, one: int, other: int,
                                                      seen: list[tuple[int, int]]) -> None:
    """Whatever other bits were decided before, one case is what the whole says, and no two are the same."""
    part = TERMS.slice(HELD, max(one, other), min(one, other))
    before = [TERMS.slice(HELD, max(pair), min(pair)) for pair in seen]
    under: dict[Node, Node] = {each: TERMS.const(evaluate(each, {HELD: value}, {}), each.width) for each in before}
    cases = list(values_of(TERMS, part, under))
    so = [case for case in cases
          if all(evaluate(node, {HELD: value}, {}) == evaluate(said, {}, {}) for node, said in case.items())]
    assert len(so) == 1 and so[0][part] is TERMS.const(evaluate(part, {HELD: value}, {}), part.width)
    known = {bit for pair in seen for bit in range(min(pair), max(pair) + 1)}
    assert len(cases) == 1 << sum(bit not in known for bit in range(min(one, other), max(one, other) + 1))


def test_what_is_too_wide_is_not_tried_value_by_value() -> None:
    wide = TERMS.leaf("register", "wide", 12)
    assert narrow([TERMS.add(wide, wide)]) is None
    assert narrow([TERMS.join([TERMS.slice(wide, 11, 5), TERMS.slice(wide, 3, 2)])]) is TERMS.slice(wide, 3, 2)
    assert narrow([TERMS.join([TERMS.slice(wide, 6, 1), BITS[0]])]) is TERMS.slice(wide, 6, 1)
    assert narrow([TERMS.slice(wide, 6, 0)]) is None
    x, y = WIDE
    assert narrow([x]) is narrow([TERMS.not_(x)]) is narrow([TERMS.add(wide, TERMS.join((TERMS.const(0, 10), x)))]) is x
    assert narrow([TERMS.slice(TERMS.add(wide, wide), 1, 0)]) is None
    assert narrow([TERMS.slice(TERMS.add(x, y), 1, 1)]) in (x, y)


def test_bits_of_which_something_else_is_known_may_be_anything() -> None:
    x, y = WIDE
    assert len(list(values_of(TERMS, x, {x: y}))) == 4
    assert can_be({BITS[0]: BITS[1], TERMS.and_(BITS[:2]): TERMS.const(0, 1)})
