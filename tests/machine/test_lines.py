"""Gates read as choices: worth the same for all values, and a choice where the gates are a multiplexer."""

import random
from collections.abc import Sequence

import pytest
from hypothesis import example, given, settings

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import If, Leaf, Node, Terms
from ordain.machine.lines import gates_as_choices
from tests.logic.plain_terms import LEAVES, Plain, leaf_values, made, plain_terms, value_of


@settings(max_examples=600)
@given(plain_terms(depth=5), leaf_values())
@example(("or", 3, [("and", 3, [("leaf", "a3", 3), ("join", 3, [("leaf", "a1", 1)] * 3, None)], None),
                    ("and", 3, [("leaf", "b3", 3), ("join", 3, [("not", 1, [("leaf", "a1", 1)], None)] * 3, None)],
                     None)], None), {name: 5 % (1 << width) for _, name, width in LEAVES})
def test_gates_read_as_choices_are_worth_the_same(term: Plain, values: dict[str, int]) -> None:
    terms = Terms()
    known: dict[Node, int] = {terms.leaf("input", name, width): values[name] for _, name, width in LEAVES}
    assert evaluate(gates_as_choices(terms, made(terms, term)), known) == value_of(term, values)


WIDTH = 4


def multiplexer(terms: Terms, lines: Sequence[Node], ways: Sequence[Node], form: str) -> Node:
    """The way whose line is high, in gates."""
    spread = [terms.join([line] * WIDTH) for line in lines]
    if form == "nand":
        nands = [terms.not_(terms.and_((way, line))) for way, line in zip(ways, spread)]
        return terms.not_(terms.and_(nands))
    if form == "nor":
        nors = [terms.not_(terms.or_((terms.not_(way), terms.not_(line)))) for way, line in zip(ways, spread)]
        return terms.not_(terms.not_(terms.or_(nors)))
    if form == "bits":
        return terms.join([terms.or_([terms.and_((terms.slice(way, bit, bit), line)) for way, line in zip(ways, lines)])
                           for bit in reversed(range(WIDTH))])
    return terms.or_([terms.and_((way, line)) for way, line in zip(ways, spread)])


def chosen(node: Node) -> set[Node]:
    """What a choice comes to, however often it chooses."""
    return chosen(node.args[1]) | chosen(node.args[2]) if isinstance(node, If) else {node}


@pytest.mark.parametrize("form", ["and-or", "nand", "nor", "bits"])
@pytest.mark.parametrize("count", [2, 3, 4, 8])
def test_a_multiplexer_of_gates_is_the_choice_between_its_ways(form: str, count: int) -> None:
    """With a line for each way, made of a field's codes or of one another, one of them is high, or none. One way is a
    sum. With the lines crossed at one bit there is no such choice any more, and it is worth what the gates make."""
    terms = Terms()
    code, go = terms.leaf("field", "way", 3), terms.leaf("input", "go", 1)
    lines = [go, terms.not_(go)] if count == 2 else [terms.among(code, frozenset((number,))) for number in range(count)]
    if count == 3:
        lines[2] = terms.not_(terms.or_(lines[:2]))
    ways: list[Node] = [terms.leaf("state", f"from{number}", WIDTH) for number in range(count - 1)]
    ways.append(terms.add(terms.leaf("state", "upc", WIDTH), terms.const(1, WIDTH)))
    whole = multiplexer(terms, lines, ways, form)
    none = {terms.const(0, WIDTH)} if count == 4 else set()     # no way at a code that has none
    assert chosen(gates_as_choices(terms, whole)) == set(ways) | none
    turned = multiplexer(terms, [lines[1], lines[0], *lines[2:]], ways, "bits")
    crossed = terms.join([terms.slice(whole, WIDTH - 1, 1), terms.slice(turned, 0, 0)])
    read = gates_as_choices(terms, crossed)
    assert not chosen(read) <= set(ways) | none
    numbers = random.Random(5)
    for _ in range(64):
        values: dict[Node, int] = {code: numbers.randrange(8), go: numbers.randrange(2)}
        values |= {leaf: numbers.randrange(1 << WIDTH) for way in ways for leaf in (way, *way.args)
                   if isinstance(leaf, Leaf)}
        assert evaluate(read, values) == evaluate(crossed, values)


def test_what_carries_the_value_is_no_line_to_choose_by() -> None:
    """Bits of a counter of flip-flops are at the gates of all above them. Only `run` is a line that chooses."""
    terms = Terms()
    place, run = terms.leaf("state", "upc", 3), terms.leaf("input", "run", 1)
    low, middle, high = (terms.slice(place, bit, bit) for bit in range(3))
    counted = terms.join([terms.xor(high, terms.and_((middle, low))), terms.xor(middle, low), terms.not_(low)])
    assert gates_as_choices(terms, counted) is counted
    gated = terms.join([terms.xor(high, terms.and_((run, middle, low))), terms.xor(middle, terms.and_((run, low))),
                        terms.xor(low, run)])
    assert gates_as_choices(terms, gated) is terms.if_(run, counted, place)


def test_what_computes_is_left_as_it_is_said() -> None:
    """An arithmetic unit of gates has its four lines at each bit, and is no choice between sixteen values: written out
    so, it would be many times as large."""
    terms = Terms()
    left, right = terms.leaf("register", "left", 8), terms.leaf("register", "right", 8)
    lines = [terms.leaf("field", f"line{number}", 1) for number in range(4)]
    carry: Node = terms.leaf("input", "carry", 1)
    bits = []
    for bit in range(8):
        a, b = terms.slice(left, bit, bit), terms.slice(right, bit, bit)
        either = terms.or_((a, terms.and_((b, lines[0])), terms.and_((terms.not_(b), lines[1]))))
        both = terms.or_((terms.and_((a, terms.not_(b), lines[2])), terms.and_((a, b, lines[3]))))
        bits.append(terms.xor(terms.xor(either, both), carry))
        carry = terms.or_((both, terms.and_((either, carry))))
    unit = terms.join(reversed(bits))
    assert gates_as_choices(terms, unit) is unit
