"""Canonical functions against plain evaluation of terms; the partition against the slow way to find it."""

from itertools import product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ordain.logic.diagrams
from ordain.compare.refinement import coarsest
from ordain.logic.diagrams import FALSE, TRUE, Functions, TooLarge
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Leaf, Node, Terms, leaves

WIDTHS = {"a": 1, "b": 1, "c": 2, "d": 3}


@st.composite
def terms_of(draw: st.DrawFn, terms: Terms, width: int, depth: int = 3) -> Node:
    """A random term of one width over four leaves."""
    def part(wide: int) -> Node:
        return draw(terms_of(terms, wide, depth - 1))

    if depth == 0:
        fitting = [name for name, wide in WIDTHS.items() if wide == width]
        if fitting and draw(st.booleans()):
            return terms.leaf("condition", draw(st.sampled_from(fitting)), width)
        return terms.const(draw(st.integers(0, (1 << width) - 1)), width)
    kind = draw(st.sampled_from(("not", "and", "or", "xor", "add", "sub", "if", "join", "slice", "leaf", "one")))
    match kind:
        case "not":
            return terms.not_(part(width))
        case "and":
            return terms.and_((part(width), part(width)))
        case "or":
            return terms.or_((part(width), part(width)))
        case "xor":
            return terms.xor(part(width), part(width))
        case "add":
            return terms.add(part(width), part(width))
        case "sub":
            return terms.sub(part(width), part(width))
        case "if":
            return terms.if_(part(1), part(width), part(width))
        case "join" if width > 1:
            return terms.join((part(width - 1), part(1)))
        case "slice":
            return terms.slice(part(width + 1), width, 1)
        case "one" if width == 1:
            other = part(draw(st.sampled_from((2, 3))))
            return draw(st.sampled_from((
                terms.among(other, frozenset((0, 3))), terms.parity(other), terms.less(other, part(other.width)),
                terms.equal(other, part(other.width)))))
        case _:
            return part(width)


def table(node: Node) -> list[int]:
    """The values for every value of the four leaves, by plain evaluation."""
    values = []
    for row in product(*(range(1 << width) for width in WIDTHS.values())):
        by_name = dict(zip(WIDTHS, row))
        values.append(evaluate(node, {leaf: by_name[leaf.name] for leaf in leaves((node,))}))
    return values


@given(st.data())
@settings(max_examples=150)
def test_functions_are_equal_exactly_when_terms_have_equal_values(data: st.DataObject) -> None:
    terms = Terms()
    width = data.draw(st.sampled_from((1, 2, 3)))
    one, other = data.draw(terms_of(terms, width)), data.draw(terms_of(terms, width))
    functions = Functions(leaves((one, other)))
    assert (functions.bits(one) == functions.bits(other)) == (table(one) == table(other))


@given(st.data())
@settings(max_examples=80)
def test_an_example_makes_the_function_true_and_nothing_shorter_does(data: st.DataObject) -> None:
    terms = Terms()
    node = data.draw(terms_of(terms, 1))
    functions = Functions(leaves((node,)))
    function = functions.condition(node)
    if function == FALSE:
        assert set(table(node)) == {0}
        return
    example = functions.example(function)
    assert all(isinstance(leaf, Leaf) for leaf, _ in example)
    bits = [(leaf, bit) for leaf in leaves((node,)) for bit in range(leaf.width)]
    for row in product((0, 1), repeat=len(bits)):
        levels = dict(zip(bits, row))
        if all(levels[key] == level for key, level in example.items()):
            values = {leaf: sum(levels[leaf, bit] << bit for bit in range(leaf.width)) for leaf in leaves((node,))}
            assert evaluate(node, values) == 1
    assert (example == {}) == (function == TRUE)
    assert set(example) <= set(functions.support(function))


def test_what_was_too_large_once_is_too_large_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a machine would not be like itself: half of the work is done when the other side asks."""
    monkeypatch.setattr(ordain.logic.diagrams, "LARGEST", 8)
    terms = Terms()
    a, b = terms.leaf("input", "a", 6), terms.leaf("input", "b", 6)
    functions = Functions((a, b))
    for _ in range(40):
        with pytest.raises(TooLarge):
            functions.bits(terms.less(a, b))
    assert functions.bits(terms.slice(a, 0, 0)) != functions.bits(terms.slice(b, 0, 0))


def test_wide_sums_and_comparisons_stay_small() -> None:
    terms = Terms()
    a, b = (terms.leaf("condition", name, 32) for name in "ab")
    functions = Functions(leaves((a, b)))
    total = terms.add(a, b)
    assert functions.bits(terms.sub(total, b)) == functions.bits(a)
    assert functions.bits(terms.less(a, b)) != functions.bits(terms.less(b, a))


# ---------------------------------------------------------------- the partition


@st.composite
def graphs(draw: st.DrawFn) -> tuple[list[int], list[list[int]]]:
    count = draw(st.integers(1, 14))
    colours = draw(st.lists(st.integers(0, 1), min_size=count, max_size=count))
    nodes = st.integers(0, count - 1)
    return colours, [draw(st.lists(nodes, max_size=2)) for _ in range(count)]


def slowly(colours: list[int], targets: list[list[int]]) -> list[list[bool]]:
    """Which pairs do the same: all, less those that are told apart in one step, over and over."""
    count = len(colours)
    alike = [[colours[a] == colours[b] and len(targets[a]) == len(targets[b]) for b in range(count)]
             for a in range(count)]
    changed = True
    while changed:
        changed = False
        for a, b in product(range(count), repeat=2):
            if alike[a][b] and not all(alike[x][y] for x, y in zip(targets[a], targets[b])):
                alike[a][b] = False
                changed = True
    return alike


@given(graphs())
@settings(max_examples=300)
def test_blocks_are_those_of_the_slow_way(graph: tuple[list[int], list[list[int]]]) -> None:
    colours, targets = graph

    def signature(node: int, block: list[int]) -> Any:
        return colours[node], tuple(block[target] for target in targets[node])

    block = coarsest(len(colours), signature, lambda node: targets[node])
    alike = slowly(colours, targets)
    count = len(colours)
    assert [[block[a] == block[b] for b in range(count)] for a in range(count)] == alike
