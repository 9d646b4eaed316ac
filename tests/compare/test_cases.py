"""Terms taken apart into cases, against plain evaluation: for all values of the leaves just one case is taken, and it
has the value of the term."""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.compare import cases
from ordain.compare.cases import Cases
from ordain.logic.diagrams import Functions, TooLarge
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Const, Leaf, Node, Terms, leaves
from tests.logic.test_diagrams import WIDTHS, terms_of


def holds(functions: Functions, terms: Terms, guard: int, values: dict[Leaf, int]) -> bool:
    here = terms.and_([terms.equal(leaf, terms.const(value, leaf.width)) for leaf, value in values.items()])
    return bool(functions.both(guard, functions.condition(here)))


@pytest.mark.parametrize(("few", "widest", "most"), [(8, 4, 4096), (8, 4, 3), (2, 1, 4096), (3, 2, 2)])
@given(data=st.data())
@settings(max_examples=25)
def test_cases_are_the_term(few: int, widest: int, most: int, data: st.DataObject) -> None:
    """Whatever the limits, and whatever must not be taken apart."""
    terms = Terms()
    several = tuple(data.draw(terms_of(terms, width)) for width in data.draw(st.lists(
        st.sampled_from((1, 2, 3)), min_size=1, max_size=2)))
    named = [leaf for name, width in WIDTHS.items() if type(leaf := terms.leaf("condition", name, width)) is Leaf]
    left_open, whole = (data.draw(st.sets(st.sampled_from(named))) for _ in range(2))
    functions = Functions(named)
    with pytest.MonkeyPatch.context() as patch:
        for name, limit in (("FEW", few), ("WIDEST", widest), ("MOST", most)):
            patch.setattr(cases, name, limit)
        split = Cases(terms, functions, left_open.__contains__, whole.__contains__, lambda node: node)
        found = split.of(several)
        assert split.of(several) == found
    for guard, _ in found:
        assert left_open.isdisjoint(leaf for leaf, _ in functions.support(guard))
    for numbers in product(*(range(1 << leaf.width) for leaf in named)):
        values = dict(zip(named, numbers))
        taken = [case for guard, case in found if holds(functions, terms, guard, values)]
        assert len(taken) == 1
        given_values: dict[Node, int] = dict(values)
        assert [evaluate(part, given_values) for part in taken[0]] == [evaluate(part, given_values) for part in several]


def test_what_is_taken_apart_and_what_is_not() -> None:
    terms = Terms()
    pc, op, go, bit = (terms.leaf("state", name, width) for name, width in
                       (("pc", 6), ("op", 3), ("go", 2), ("bit", 1)))
    functions = Functions([leaf for leaf in (pc, op, go, bit) if type(leaf) is Leaf])
    split = Cases(terms, functions, (pc,).__contains__, (op,).__contains__, lambda node: node)
    one = terms.const(1, 6)
    following = terms.add(pc, one)

    def shapes(term: Node) -> set[Node]:
        return {value for _, (value,) in split.of((term,))}

    assert shapes(following) == {following}                                         # a place stays as it is
    assert shapes(terms.if_(bit, following, one)) == {following, one}
    assert shapes(terms.if_(terms.equal(op, terms.const(3, 3)), pc, one)) == {pc, one}      # asked about, an opcode is
    assert shapes(op) == {op}                                                       # not, as a value
    assert shapes(terms.add(op, terms.const(1, 3))) == {terms.add(op, terms.const(1, 3))}
    assert shapes(terms.xor(go, terms.const(1, 2))) == {terms.const(value, 2) for value in range(4)}
    assert shapes(go) == {terms.const(value, 2) for value in range(4)}
    chosen = terms.if_(terms.equal(pc, one), one, pc)                               # nobody knows about what it asks
    assert shapes(chosen) == {chosen}
    joined = terms.join((terms.const(5, 3), op))
    assert shapes(joined) == {joined}
    either = terms.if_(bit, one, terms.const(2, 6))
    assert shapes(terms.add(pc, either)) == {following, terms.add(pc, terms.const(2, 6))}       # by one word or by two
    assert shapes(terms.join((terms.if_(bit, op, terms.const(0, 3)), terms.const(0, 3)))) == {
        terms.join((op, terms.const(0, 3))), terms.const(0, 6)}
    beside = [values for _, values in split.of((one, terms.if_(bit, following, one)))]    # one is known already
    assert len(beside) == 2 and {*beside} == {(one, following), (one, one)}
    wide = terms.leaf("input", "wide", 5)
    assert shapes(wide) == {wide} and all(type(value) is not Const for value in shapes(terms.not_(wide)))


def test_a_choice_of_one_value_twice_is_one_case() -> None:
    terms = Terms()
    a, b, pc = (terms.leaf("input", name, width) for name, width in (("a", 1), ("b", 1), ("pc", 6)))
    functions = Functions(leaves((a, b, pc)))
    split = Cases(terms, functions, (pc,).__contains__, ().__contains__, lambda node: node)
    zero = terms.const(0, 6)
    found = dict(split.of_one(terms.if_(a, pc, terms.if_(b, zero, pc))))
    assert found == {pc: functions.condition(terms.or_((a, terms.not_(b)))),
                     zero: functions.condition(terms.and_((terms.not_(a), b)))}
    assert dict(split.of_one(terms.if_(a, pc, terms.if_(a, zero, zero)))).keys() == {pc, zero}
    assert dict(split.of_one(terms.if_(a, pc, terms.if_(a, zero, one := terms.const(1, 6))))).keys() == {pc, one}


def test_a_line_that_is_too_large_for_a_diagram_is_0_or_1_all_the_same() -> None:
    terms = Terms()
    wind, rain = terms.leaf("input", "wind", 12), terms.leaf("input", "rain", 12)
    functions, line = Functions((), 20), terms.less(wind, rain)
    with pytest.raises(TooLarge):
        functions.bits(line)
    found = Cases(terms, functions, ().__contains__, ().__contains__, lambda node: node).of_one(line)
    off, on = (found[terms.const(value, 1)] for value in (0, 1))
    assert len(found) == 2 and off == functions.negation(on) and on == functions.condition(line)
