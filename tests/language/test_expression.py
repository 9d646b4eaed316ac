"""Expressions: precedence against Python's own parser, trees written and read again, and every misreading's place."""

import ast
import re
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from ordain.language import tree
from ordain.language.expression import DEEPEST_TREE, begins_choose, parse_expression
from ordain.language.words import Misread
from ordain.text.lines import Placed
from ordain.text.source import Source, Span
from tests.language.trees import bare, check_places, expression

NOWHERE = Span(Source("", ""), 0, 0)


@pytest.mark.parametrize(("text", "wanted"), [
    ("a", "a"),
    ("console.mode", "console.mode"),
    ("0x2F", 0x2F),
    ("0b01_10", 0b0110),
    ("1_024", 1024),
    ("a or b and not c is d + 1",
     ("Infix", "or", "a", ("Infix", "and", "b", ("Not", ("Infix", "is", "c", ("Infix", "+", "d", 1)))))),
    ("a xor b or c xor d", ("Infix", "or", ("Infix", "xor", "a", "b"), ("Infix", "xor", "c", "d"))),
    ("a xor b and c", ("Infix", "xor", "a", ("Infix", "and", "b", "c"))),
    ("a - b - c", ("Infix", "-", ("Infix", "-", "a", "b"), "c")),
    ("a is not b", ("Infix", "is-not", "a", "b")),
    ("a is (not b)", ("Infix", "is", "a", ("Not", "b"))),
    ("a <= b", ("Infix", "<=", "a", "b")),
    ("a in (b, 2)", ("Among", "a", ("b", 2), False)),
    ("a + 1 not in (b)", ("Among", ("Infix", "+", "a", 1), ("b",), True)),
    ("x[3]", ("Slice", "x", 3, 3)),
    ("x[7:4][1:0]", ("Slice", ("Slice", "x", 7, 4), 1, 0)),
    ("x [ 0x7 : 4 ]", ("Slice", "x", 7, 4)),
    ("(a or b)[0]", ("Slice", ("Infix", "or", "a", "b"), 0, 0)),
    ("{a, b[1], 0b00}", ("Join", ("a", ("Slice", "b", 1, 1), 0))),
    ("{a, b}[2]", ("Slice", ("Join", ("a", "b")), 2, 2)),
    ("a if c else b", ("If", "c", "a", "b")),
    ("a if c else b if d else e", ("If", "c", "a", ("If", "d", "b", "e"))),
    ("a if (b if c else d) else e", ("If", ("If", "c", "b", "d"), "a", "e")),
    ("hold if request and not busy else {entry.word, 0}",
     ("If", ("Infix", "and", "request", ("Not", "busy")), "hold", ("Join", ("entry.word", 0)))),
    ("f is and and g", ("Infix", "and", ("Infix", "is", "f", "and"), "g")),
    ("f is not xor or not g", ("Infix", "or", ("Infix", "is-not", "f", "xor"), ("Not", "g"))),
    ("f in (or, and) xor g", ("Infix", "xor", ("Among", "f", ("or", "and"), False), "g")),
    ("at fetch", ("At", "fetch")),
    ("not at hold.release and x", ("Infix", "and", ("Not", ("At", "hold.release")), "x")),
    ('at "load a, n" or in "load a, n"', ("Infix", "or", ("At", '"load a, n"'), ("In", '"load a, n"'))),
    ('at "load a, n".wait', ("At", '"load a, n.wait"')),
    ("in hold", ("In", "hold")),
    ("prior(a and b)", ("Prior", ("Infix", "and", "a", "b"))),
    ("parity(x) is 1", ("Infix", "is", ("Parity", "sum", "x"), 1)),
    ("even parity of control[38:0]", ("Parity", "even", ("Slice", "control", 38, 0))),
    ("odd parity of {a, b} xor c", ("Infix", "xor", ("Parity", "odd", ("Join", ("a", "b"))), "c")),
    # words of the language are names wherever they are not expected
    ("parity xor prior", ("Infix", "xor", "parity", "prior")),
    ("at and even", ("Infix", "and", "at", "even")),
    ("when + choose", ("Infix", "+", "when", "choose")),
])
def test_an_expression_and_its_tree(text: str, wanted: Any) -> None:
    node = expression(text)
    assert bare(node) == wanted
    assert node.span.text == text
    check_places(node)


@pytest.mark.parametrize(("text", "width"), [("12", None), ("0x2F", 8), ("0x02_F", 12), ("0b010", 3), ("0", None)])
def test_the_width_that_digits_say(text: str, width: int | None) -> None:
    node = expression(text)
    assert isinstance(node, tree.Number) and node.digits_width == width


def test_the_place_of_an_operand_in_brackets_begins_at_the_bracket() -> None:
    node = expression("(a or b) and c")
    assert isinstance(node, tree.Infix) and node.span.text == "(a or b) and c" and node.left.span.text == "a or b"


@pytest.mark.parametrize(("text", "left"), [
    ("a when b", " when b"), ("a, b", ", b"), ("a : b", " : b"), ("a) b", ") b"), ("a 3", " 3"), ('a "b"', ' "b"'),
    ("a = b", " = b"), ("at then", " then"), ("not a until b", " until b"), ("a else b", " else b"),
])
def test_an_expression_ends_where_nothing_of_it_follows(text: str, left: str) -> None:
    _, end = parse_expression(Placed(text, Source("e", text), 0), 0)
    assert text[end:] == left


def test_the_first_condition_of_between_ends_before_and() -> None:
    text = Placed("(a and b) is c and d", Source("e", ""), 0)
    node, end = parse_expression(text, 0, until_and=True)
    assert bare(node) == ("Infix", "is", ("Infix", "and", "a", "b"), "c") and text[end:] == " and d"


@pytest.mark.parametrize(("text", "begins"), [
    ("choose a", True), ("choose {a, b}", True), ("choose (a)", True), ("choose", False), ("choose is 3", False),
    ("choose + 1", False), ("chooser a", False), ("choose within", False),
])
def test_choose_is_a_name_unless_something_to_choose_by_follows(text: str, begins: bool) -> None:
    assert bool(begins_choose(Placed(text, Source("e", ""), 0), 0)) is begins


@pytest.mark.parametrize(("text", "marked", "message"), [
    ("a +", "", "expected a value after `+`, found the end of the line"),
    ("", "", "expected a value, found the end of the line"),
    ("a and or b", "or", "expected a value after `and`, found `or`"),
    ("a is b is c", "is", "comparisons do not chain"),
    ("a < b in (c)", "in (", "comparisons do not chain"),
    ("a in (b) in (c)", "in (", "comparisons do not chain"),
    ("a in (b) is c", "is", "comparisons do not chain"),
    ("a in (b) + c", "+", "comparisons do not chain"),
    ("a + not b", "not", "`not` after `+` needs brackets"),
    ("(a b)", "b", "expected an operator or `)`, found `b`"),
    ("{a b}", "b", "expected an operator or `}`, found `b`"),
    ("(a, b)", ",", "a comma in round brackets"),
    ("a if b", "if", "`if` without `else`"),
    ("(a if b)", "if", "`if` without `else`"),
    ("a if b if c else d else e", "if", "`if` inside the condition of another `if`"),
    ("a in b", "in", "`in` after a value needs a list in brackets"),
    ("in (a)", "in", "`in` needs the name of a routine or the title of an instruction"),
    ("x[1:3]", "[1:3]", "the high bit comes first"),
    ("x[a]", "[a]", "bits are taken from a name or a bracket, as `x[3]` or `x[7:4]`"),
    ("at a [3]", "[3]", "bits are taken from a name or a bracket, as `x[3]` or `x[7:4]`"),
    ("a or choose b", "choose", "`choose` cannot be a part of an expression"),
    ('a or "b"', '"b"', "a quoted text is no value"),
    ("0x + 1", "0x", "`0x` is not a number"),
    ("12ab", "12ab", "`12ab` is not a number"),
    ("0b012", "0b012", "`0b012` is not a number"),
    ("1__2", "1__2", "`1__2` is not a number"),
    ("0o17", "0o17", "`0o17` is not a number"),
    ("a or ?", "?", "expected a value after `or`, found `?`"),
    ("a or \x07", "\x07", "expected a value after `or`, found `character U+0007`"),
    ("9" * 5000, "9" * 5000, "a number of 5,000 digits"),
])
def test_a_misreading_says_what_and_where(text: str, marked: str, message: str) -> None:
    with pytest.raises(Misread) as caught:
        parse_expression(Placed(text, Source("e", text), 0), 0)
    assert caught.value.message == message and text[caught.value.start:caught.value.end] == marked, caught.value.start
    assert caught.value.help and caught.value.label


@pytest.mark.parametrize("text", [
    "a or " * 9000 + "a", "not " * 9000 + "a", "a if b else " * 9000 + "c", "{" * 9000 + "a" + "}" * 9000,
    "even parity of " * 9000 + "a", "prior(" * 9000 + "a" + ")" * 9000, "a" + "[0]" * 9000,
])
def test_too_many_levels_are_a_message_however_they_are_made(text: str) -> None:
    with pytest.raises(Misread) as caught:
        parse_expression(Placed(text, Source("e", text), 0), 0)
    assert caught.value.name == "nested-too-deep"


def test_levels_up_to_the_limit_and_any_number_of_round_brackets() -> None:
    expression("not " * (DEEPEST_TREE - 1) + "a")
    expression("(" * 9000 + "a" + ")" * 9000)


def test_numbers_may_be_huge() -> None:
    assert bare(expression("1_099_511_627_776")) == 2 ** 40


# ---------------------------------------------------------------- against Python's parser

PYTHON = {ast.Or: "or", ast.And: "and", ast.Add: "+", ast.Sub: "-", ast.Is: "is", ast.IsNot: "is-not", ast.Lt: "<",
          ast.LtE: "<="}
JOINED = st.sampled_from(["and", "or", "+", "-", "is", "is not", "<", "<="])
TEXTS = st.recursive(
    st.sampled_from(["a", "b", "x[3]"]),
    lambda inner: st.one_of(
        inner.map("({})".format), inner.map("not {}".format), inner.map("{} in (a, b)".format),
        inner.map("{} not in (b)".format), st.tuples(inner, JOINED, inner).map(" ".join),
        st.tuples(inner, inner, inner).map(lambda t: "{} if {} else {}".format(*t))), max_leaves=9)
WORDS = st.lists(st.sampled_from(["a", "b", "(", ")", "not", "and", "or", "+", "is", "in (a, b)", "if", "else"]),
                 min_size=1, max_size=9).map(" ".join)


def from_python(node: ast.expr) -> Any:
    """Python's tree in the shape of `bare`; None for what the two languages mean differently."""
    match node:
        case ast.Name(id=name):
            return name
        case ast.Constant(value=value):
            return value
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            return ("Not", from_python(operand))
        case ast.BoolOp(op=op, values=values):
            made = from_python(values[0])
            for value in values[1:]:
                made = ("Infix", PYTHON[type(op)], made, from_python(value))
            return made
        case ast.BinOp(left=left, op=op, right=right):
            return ("Infix", PYTHON[type(op)], from_python(left), from_python(right))
        case ast.Compare(left=left, ops=[ast.In() | ast.NotIn() as op], comparators=[right]):
            choices = right.elts if isinstance(right, ast.Tuple) else [right]
            return ("Among", from_python(left), tuple(map(from_python, choices)), isinstance(op, ast.NotIn))
        case ast.Compare(left=left, ops=[op], comparators=[right]):
            return ("Infix", PYTHON[type(op)], from_python(left), from_python(right))
        case ast.Compare():
            return "chained"
        case ast.IfExp(test=test, body=body, orelse=orelse):
            return ("If", from_python(test), from_python(body), from_python(orelse))
        case ast.Subscript(value=value, slice=ast.Constant(value=bit)):
            return ("Slice", from_python(value), bit, bit)
    raise AssertionError(ast.dump(node))


@settings(max_examples=500)
@given(TEXTS | WORDS)
@example("not a is b if a or b and a else b if a else b")
@example("(a if b else a) is b - a - b")
@example("( )")
@example("a in ( )")
@example("(a, b) is a")
def test_precedence_is_that_of_python(text: str) -> None:
    """Python's grammar (Python Language Reference, 6.17 Operator precedence) has the same operators in the same order,
    except that it chains comparisons and has signs. ast.parse is the judge."""
    try:
        parsed: Any = ast.parse(text, mode="eval").body
    except SyntaxError:
        assert not is_whole(text)
        return
    nodes = list(ast.walk(parsed))
    if any(isinstance(node, ast.Compare) and (len(node.ops) > 1 or (isinstance(node.comparators[0], ast.BinOp)
                                              and isinstance(node.ops[0], ast.In | ast.NotIn))) for node in nodes):
        assert not is_whole(text)    # the list of our `in` is complete at its closing bracket
    elif any(isinstance(node, ast.Tuple) and (not node.elts or node not in lists_of_in(nodes)) for node in nodes):
        assert not is_whole(text)
    elif not any(isinstance(node, ast.UAdd | ast.Call) for node in nodes):
        assert bare(expression(text)) == from_python(parsed)


def lists_of_in(nodes: list[ast.AST]) -> list[ast.expr]:
    """What stands on the right of an `in`: the only place where we have a list."""
    return [node.comparators[0] for node in nodes
            if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.In | ast.NotIn)]


def is_whole(text: str) -> bool:
    """Whether the whole text is one expression of ours."""
    try:
        return parse_expression(Placed(text, Source("e", text), 0), 0)[1] == len(text)
    except Misread:
        return False


# ---------------------------------------------------------------- written and read again

NAMES = st.from_regex(r"[A-Za-z_][A-Za-z0-9_]{0,5}(\.[a-z]{1,3})?", fullmatch=True).filter(
    lambda name: name not in tree.OPERATORS | {"at", "then", "within", "choose", "even", "odd"})
LEVELS = {"or": 2, "xor": 3, "and": 4, "is": 6, "is-not": 6, "<": 6, "<=": 6, ">": 6, ">=": 6, "+": 7, "-": 7}


def _grow(inner: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    some = st.lists(inner, min_size=1, max_size=3).map(tuple)
    bits = st.tuples(st.integers(0, 40), st.integers(0, 40)).map(lambda pair: (max(pair), min(pair)))
    return st.one_of(
        inner.map(lambda a: tree.Not(a, NOWHERE)),
        st.tuples(st.sampled_from(sorted(LEVELS)), inner, inner).map(lambda t: tree.Infix(*t, NOWHERE)),
        st.tuples(inner, some, st.booleans()).map(lambda t: tree.Among(*t, NOWHERE)),
        st.tuples(inner, bits).map(lambda t: tree.Slice(t[0], *t[1], NOWHERE)),
        some.map(lambda parts: tree.Join(parts, NOWHERE)),
        st.tuples(inner, inner, inner).map(lambda t: tree.If(*t, NOWHERE)),
        inner.map(lambda a: tree.Prior(a, NOWHERE)),
        st.tuples(st.sampled_from(["sum", "even", "odd"]), inner).map(lambda t: tree.Parity(*t, NOWHERE)))


TREES: st.SearchStrategy[tree.Expr] = st.recursive(
    st.one_of(NAMES.map(lambda name: tree.Word(name, NOWHERE)),
              st.integers(0, 1 << 48).map(lambda value: tree.Number(value, None, NOWHERE)),
              NAMES.map(lambda name: tree.At(tree.Word(name, NOWHERE), NOWHERE)),
              st.sampled_from(["load a, n", "a #1", "x, y"]).map(lambda t: tree.In(tree.Text(t, NOWHERE), NOWHERE))),
    _grow, max_leaves=12)


def written(node: tree.Expr, place: int = 0) -> str:
    """The text of a tree with as few brackets as the levels allow. `place`: the level that its place asks for."""
    match node:
        case tree.Word(text):
            return text
        case tree.Number(value):
            return str(value)
        case tree.At(label) | tree.In(label):
            word = "at" if isinstance(node, tree.At) else "in"
            text = f"{word} {label.text}" if isinstance(label, tree.Word) else f'{word} "{label.text}"'
            return f"({text})" if place >= 9 else text
        case tree.Join(parts):
            return "{" + ", ".join(map(written, parts)) + "}"
        case tree.Prior(operand):
            return f"prior({written(operand)})"
        case tree.Parity("sum", operand):
            return f"parity({written(operand)})"
        case tree.Slice(operand, high, low):
            return f"{written(operand, 9)}[{high}:{low}]"
    match node:
        case tree.If(condition, yes, no):
            level, text = 1, f"{written(yes, 2)} if {written(condition, 2)} else {written(no, 1)}"
        case tree.Not(operand):
            level, text = 5, f"not {written(operand, 5)}"
        case tree.Among(operand, choices, negated):
            listed = ", ".join(map(written, choices))
            level, text = 6, f"{written(operand, 7)} {'not ' if negated else ''}in ({listed})"
        case tree.Parity(kind, operand):
            level, text = 8, f"{kind} parity of {written(operand, 8)}"
        case tree.Infix(operator, left, right):
            level = LEVELS[operator]
            sides = written(left, level + (level == 6)), written(right, level + 1)
            text = f"{sides[0]} {operator.replace('-not', ' not')} {sides[1]}"
        case _:
            raise AssertionError(node)
    return f"({text})" if level < place else text


@given(TREES)
def test_a_tree_written_and_read_is_the_same_tree(node: tree.Expr) -> None:
    text = written(node)
    again = expression(text)
    assert bare(again) == bare(node)
    check_places(again)


@given(st.text(st.one_of(st.sampled_from(" ab01x()[]{},.<>+-:\"_"), st.characters()), max_size=40))
def test_any_text_is_read_or_misread_inside_itself(text: str) -> None:
    try:
        _, end = parse_expression(Placed(text, Source("e", text), 0), 0)
        assert 0 < end <= len(text)
    except Misread as misread:
        assert 0 <= misread.start <= misread.end <= len(text)
        assert re.match(r"[a-z]+(-[a-z]+)*$", misread.name)
