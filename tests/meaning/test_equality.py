"""Whether terms are equal, held against all values of what they are made of; with the solver and without."""

from collections.abc import Iterator, Mapping
from itertools import product
from random import Random

import pytest

from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Cell, Leaf, Node, Terms, leaves, postorder
from ordain.meaning import equality
from ordain.meaning.equality import equal, value_of
from ordain.meaning.model import Equality, Question, Values
from ordain.meaning.normal import Normal
from ordain.meaning.solver import solved

T = Terms()
X, Y = (T.leaf("register", name, 3) for name in "xy")
A, B, C = (T.leaf("input", name, 1) for name in "abc")
ONE, ZERO, ONES = T.const(1, 1), T.const(0, 1), T.const(7, 3)



def three(value: int) -> Node:
    return T.const(value, 3)


def asked(one: Node, other: Node, where: Node | None = None, under: Mapping[Node, Node] | None = None) -> Question:
    return Question(one, other, where or T.const((1 << one.width) - 1, one.width), under or {})


def worth(question: Question, values: Values) -> tuple[bool, bool]:
    """Whether values are as is asked for, and whether the terms differ then; what is not among them is 0."""
    nodes = (question.one, question.other, question.where, *question.under, *question.under.values())
    one, other, where, *rest = value_of(nodes, lambda leaf: values.leaves.get(leaf, 0),
                                        lambda name, address, bits: values.words.get((name, address), 0))
    half = len(rest) // 2
    return rest[:half] == rest[half:], bool((one ^ other) & where)


def every(question: Question) -> Iterator[Values]:
    found = leaves((question.one, question.other, question.where, *question.under, *question.under.values()))
    for values in product(*(range(1 << leaf.width) for leaf in found)):
        yield Values(dict(zip(found, values)), {})


def is_right(question: Question, answer: Equality) -> bool:
    apart = any(worth(question, values) == (True, True) for values in every(question))
    if answer.way is not None:
        return not apart and answer.apart is None
    return apart and answer.apart is not None and worth(question, answer.apart) == (True, True)


@pytest.fixture
def alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(equality, "solved", lambda question: Equality(None, None, "no solver"))


A3 = T.join((A, ZERO, A))
EITHER = T.and_((A, T.or_((B, C))))
BOTH = T.or_((T.and_((A, B)), T.and_((A, C))))

REWRITTEN = [
    asked(T.add(X, Y), T.add(Y, X)),
    asked(X, three(5), under={X: three(5)}),
    asked(X, Y, under={X: Y}),
    asked(T.sub(X, three(7)), three(3), under={T.add(three(1), X): three(3)}),
    asked(T.add(Y, X), three(2), under={T.add(X, Y): three(2)}),
    asked(T.and_((A, X_IS := T.equal(X, three(3)))), X_IS, under={T.and_((A, B)): ONE}),
    asked(A, ONE, under={T.and_((B, A, C)): ONE}),
    asked(T.or_((A, B)), ZERO, under={T.or_((B, A, C)): ZERO}),
    asked(T.if_(T.equal(T.add(X, Y), three(1)), X, Y), X, under={T.equal(T.add(Y, X), three(1)): ONE}),
    asked(T.add(X, T.join((A, A, A))), T.add(T.join((B, B, B)), X), under={A: B}),
    asked(X, T.and_((X, three(3))), three(3)),
    asked(T.if_(T.not_(A), X, Y), T.if_(A, Y, X)),
]
CASES = [
    asked(EITHER, BOTH),
    asked(EITHER, BOTH, under={A: T.slice(X, 0, 0)}),
    asked(T.add(X, T.join((ZERO, ZERO, A))), T.if_(A, T.add(X, three(1)), X)),
    asked(T.if_(A, T.add(X, three(1)), X), T.add(X, T.join((ZERO, ZERO, A)))),
    asked(T.join((A, A, A)), T.if_(A, ONES, three(0))),
    asked(T.and_((T.join((A, A, A)), X)), T.if_(A, X, three(0))),
    asked(T.if_(T.and_((A, B)), X, Y), T.if_(A, T.if_(B, X, Y), Y)),
    asked(T.if_(T.equal(X, Y), T.if_(A, X, Y), X), T.if_(A, X, T.if_(T.equal(X, Y), Y, X))),
    asked(T.if_(T.among(X, frozenset((3,))), X, Y), T.if_(T.among(X, frozenset((3,))), three(3), Y)),
    asked(T.equal(X, three(3)), T.and_((T.equal(X, three(3)), T.less(X, three(4))))),
    asked(T.not_(T.and_((A, B))), T.or_((T.not_(A), T.not_(B)))),
    asked(T.xor(T.and_((A, B)), A), T.and_((A, T.not_(B)))),
]
APART = [
    asked(T.add(X, Y), T.sub(X, Y)),
    asked(X, T.add(X, A3), under={X: T.add(Y, three(1)), A: ONE}),
    asked(X, T.xor(X, three(1)), three(1)),
    asked(X, three(0), under={X: three(5)}),
    asked(T.add(X, Y), X, under={X: three(6), T.equal(Y, three(2)): ONE}),
    asked(A, ZERO, under={T.and_((B, A)): ONE}),
    asked(X, three(3), T.join((A, B, C)), {A: ZERO, B: ZERO}),
    asked(EITHER, T.or_((T.and_((A, B)), C))),
    asked(T.less(X, Y), T.less(Y, X)),
    asked(T.among(X, frozenset((1, 2, 4))), T.parity(X)),
    asked(T.add(X, three(1)), T.or_((X, three(1)))),
    asked(X, ONES, under={T.less(three(5), X): ONE}),
]


@pytest.mark.usefixtures("alone")
@pytest.mark.parametrize("questions, way", [(REWRITTEN, "rewriting"), (CASES, "cases"), (APART, None)])
def test_without_a_solver(questions: list[Question], way: str | None) -> None:
    for question in questions:
        answer = equal(Normal(T), question)
        assert answer.way == way and is_right(question, answer), question


def test_the_solver_says_the_same() -> None:
    pytest.importorskip("z3")
    for question in REWRITTEN + CASES + APART:
        answer = solved(question)
        assert answer.way in ("solver", None) and is_right(question, answer), question


@pytest.mark.parametrize("seed", range(4))
def test_no_wrong_answer_by_chance(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Terms of three bits and bits, with something that has to hold, and often one that is put together anew."""
    from tests.meaning.test_normal import T as terms
    from tests.meaning.test_normal import bit_by_chance, by_chance

    monkeypatch.setattr(equality, "solved", lambda question: Equality(None, None, "no solver"))
    random, ways = Random(seed), set[str | None]()
    for _ in range(60):
        make = random.choice((by_chance, bit_by_chance))
        one = make(random, random.randint(1, 3))
        bit = bit_by_chance(random, 1)
        other = random.choice((make(random, 2), terms.if_(bit, one, one if random.random() < 0.6 else make(random, 2)),
                               terms.if_(bit, terms.and_((one, one)), Normal(terms).of(one))))
        ones = terms.const((1 << one.width) - 1, one.width)
        said = bit_by_chance(random, 2)
        under = {said: terms.const(random.randrange(2), 1)} if random.random() < 0.5 else {}
        question = Question(one, other, random.choice((ones, ones, make(random, 0))), under)
        answer = equal(Normal(terms), question)
        ways.add(answer.way)
        assert is_right(question, answer) or (answer.way is None and answer.apart is None), question
    assert ways >= {"rewriting", None}


@pytest.mark.usefixtures("alone")
def test_values_are_tried_that_have_to_be() -> None:
    """Nobody would come to this number by chance."""
    wide, number = T.leaf("register", "wide", 24), T.const(0xBEEF01, 24)
    assert isinstance(wide, Leaf)
    answer = equal(Normal(T), asked(T.add(wide, T.const(1, 24)), wide, under={wide: number, A: ONE}))
    assert answer.apart is not None and set(answer.apart.leaves.values()) == {0xBEEF01, 1}
    for value in (0, 1, (1 << 24) - 1):     # and to these it would hardly
        question = asked(T.equal(wide, T.const(value, 24)), ZERO)
        assert equal(Normal(T), question).apart == Values({wide: value}, {})


def test_what_is_left_is_asked_of_the_solver(monkeypatch: pytest.MonkeyPatch) -> None:
    question = asked(T.add(T.or_((X, Y)), T.and_((X, Y))), T.add(X, Y))
    for answer in (Equality("solver"), Equality(None, None, "no time")):
        monkeypatch.setattr(equality, "solved", lambda question, answer=answer: answer)
        assert equal(Normal(T), question) is answer
        assert equal(Normal(T), APART[0]).apart is not None


@pytest.mark.usefixtures("alone")
def test_how_many_cases_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each pair that is not alike asks for one bit: `b`, and where that is 1, `a`; or all three of three."""
    question = asked(EITHER, BOTH)
    for most, way in ((2, "cases"), (1, None)):
        monkeypatch.setattr(equality, "MOST_CASES", most)
        assert equal(Normal(T), question).way == way
    question = asked(T.join((A, B, C)), T.if_(A, T.if_(B, T.if_(C, ONES, three(6)), T.if_(C, three(5), three(4))),
                                              T.if_(B, T.if_(C, three(3), three(2)), T.if_(C, three(1), three(0)))))
    for most, way in ((7, "cases"), (6, None)):         # 1 + 2 + 4
        monkeypatch.setattr(equality, "MOST_CASES", most)
        assert equal(Normal(T), question).way == way


@pytest.mark.usefixtures("alone")
def test_words_of_memories_are_those_at_their_addresses() -> None:
    here, there = T.cell("m", X, 3), T.cell("m", Y, 3)
    answer = equal(Normal(T), asked(here, there))
    assert answer.apart is not None
    known = {leaf.name: value for leaf, value in answer.apart.leaves.items()}
    assert known["x"] != known["y"]
    assert answer.apart.words["m", known["x"]] != answer.apart.words["m", known["y"]]
    assert equal(Normal(T), asked(here, there, under={X: Y})).way == "rewriting"
    assert equal(Normal(T), asked(here, T.cell("n", X, 3))).apart is not None


def test_words_of_memories_for_the_solver() -> None:
    pytest.importorskip("z3")
    here, there = T.cell("m", X, 3), T.cell("m", Y, 3)
    assert solved(asked(here, there, under={X: Y})).way == "solver"
    assert solved(asked(T.cell("m", here, 3), T.cell("m", T.cell("m", Y, 3), 3), under={T.xor(X, Y): three(0)})).way
    for other in (there, T.cell("n", X, 3)):
        question = asked(here, other)
        apart = solved(question).apart
        assert apart is not None and worth(question, apart) == (True, True)
        assert {name for name, _ in apart.words} == {part.name for part in postorder((here, other))
                                                     if isinstance(part, Cell)}


@pytest.mark.parametrize("term", [
    T.not_(X), T.and_((X, Y, three(5))), T.or_((X, Y, three(1))), T.xor(X, Y), T.add(X, Y), T.sub(X, Y),
    T.equal(X, Y), T.less(X, Y), T.among(X, frozenset((1, 4, 6))), T.slice(X, 2, 1), T.slice(X, 1, 1),
    T.join((X, T.slice(Y, 0, 0), Y)), T.if_(T.less(X, Y), X, Y), T.parity(X), T.parity(T.join((X, Y))),
    T.const(5, 3), X])
def test_the_solver_reads_every_term_as_it_is_evaluated(term: Node) -> None:
    """Value by value; and a number more is never the same."""
    pytest.importorskip("z3")
    for x, y in ((0, 0), (1, 6), (7, 7), (3, 4), (6, 1), (5, 2), (4, 7)):
        if isinstance(X, Leaf) and isinstance(Y, Leaf):
            value = evaluate(term, {X: x, Y: y}, {})
            under = {X: three(x), Y: three(y)}
            ones = (1 << term.width) - 1
            assert solved(asked(term, T.const(value, term.width), under=under)).way == "solver"
            answer = solved(asked(term, T.const(value + 1 & ones, term.width), under=under))
            assert answer.way is None and answer.apart is not None
