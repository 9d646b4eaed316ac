"""The small faults that can be put into a module: one change of its syntax tree each."""

import ast
import copy
from collections.abc import Iterator
from typing import NamedTuple


class Fault(NamedTuple):
    """`lines`: first and last of the statement, the head alone of one that has a body; (0, 0) at the level of the
    module. `function`: the outermost one, with its class, around the place; "" at the level of the module. `before`,
    `after`: the changed part as text, `within`: what it is a part of. `number`: which change of the module."""

    line: int
    lines: tuple[int, int]
    function: str
    before: str
    after: str
    within: str
    number: int


ORDER = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
         ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
SUMS = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr, ast.LShift: ast.RShift,
        ast.RShift: ast.LShift, ast.Mult: ast.Add, ast.FloorDiv: ast.Mult, ast.BitXor: ast.BitOr}
CALLS = {"min": "max", "max": "min", "any": "all", "all": "any"}


def faults(source: str) -> list[Fault]:
    """Every fault of a module, in the order of the text."""
    return [Fault(node.lineno, lines, function, _text(node), _text(other), _text(parent), number)
            for number, (node, lines, function, other, parent) in enumerate(_changes(ast.parse(source)))]


def with_fault(source: str, number: int) -> ast.Module:
    """The module with one of them in it."""
    tree = ast.parse(source)
    for at, (node, _, _, other, _) in enumerate(_changes(tree)):
        if at == number:
            changed = _Exchange(node, other).visit(tree)
            return ast.fix_missing_locations(changed)
    raise IndexError(number)


class _Exchange(ast.NodeTransformer):
    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self._old, self._new = old, ast.copy_location(new, old)

    def visit(self, node: ast.AST) -> ast.AST:
        return self._new if node is self._old else self.generic_visit(node)


def _text(node: ast.AST) -> str:
    return " ".join(ast.unparse(node).split("\n", 1)[0].split())


Change = tuple[ast.expr | ast.stmt, tuple[int, int], str, ast.AST, ast.AST]


def _changes(tree: ast.Module) -> Iterator[Change]:
    """(node, lines, the function that it is in, what may stand in its place, the expression or statement around it)."""
    yield from _below(tree, (0, 0), "", [])


def _below(node: ast.AST, lines: tuple[int, int], function: str, path: list[str]) -> Iterator[Change]:
    for child in ast.iter_child_nodes(node):
        if _means_nothing(node, child):
            continue
        inner, way, there = function, path, lines
        if isinstance(child, ast.FunctionDef | ast.ClassDef):
            way = [*path, child.name]
            if isinstance(child, ast.FunctionDef):
                inner, there = function or ".".join(way), (child.lineno, child.end_lineno or child.lineno)
        elif function and isinstance(child, ast.stmt | ast.match_case):
            there = _head(child)
        if isinstance(child, ast.expr | ast.stmt):
            for other in _others(child):
                yield child, there, function, other, child if isinstance(child, ast.stmt) else node
        yield from _below(child, there, inner, way)


def _head(node: ast.stmt | ast.match_case) -> tuple[int, int]:
    match node:
        case ast.match_case():
            return node.pattern.lineno, max(node.pattern.lineno, node.body[0].lineno - 1)
        case ast.Match():
            return node.lineno, max(node.lineno, node.cases[0].pattern.lineno - 1)
        case ast.If() | ast.For() | ast.While() | ast.With() | ast.Try():
            return node.lineno, max(node.lineno, node.body[0].lineno - 1)
    return node.lineno, node.end_lineno or node.lineno


def _means_nothing(parent: ast.AST, child: ast.AST) -> bool:
    """Texts for people, types, and what only tells what a fault of ours was."""
    match child:
        case ast.Expr(value=ast.Constant()) | ast.Import() | ast.ImportFrom() | ast.JoinedStr() | ast.Assert():
            return True
        case ast.If(test=ast.Name(id="TYPE_CHECKING")) | ast.Raise():
            return True
    match parent:
        case ast.keyword(arg="strict"):     # of `zip`
            return True
        case ast.AnnAssign():
            return child is parent.annotation
        case ast.arg() | ast.FunctionDef():
            return child in (getattr(parent, "annotation", None), getattr(parent, "returns", None))
    return False


def _others(node: ast.expr | ast.stmt) -> Iterator[ast.AST]:
    match node:
        case ast.Compare(ops=[op]) if type(op) in ORDER:
            yield _with(node, ops=[ORDER[type(op)]()])
        case ast.BoolOp(op=op, values=values):
            yield _with(node, op=ast.Or() if isinstance(op, ast.And) else ast.And())
            for index in range(len(values)):
                rest = values[:index] + values[index + 1:]
                yield _with(node, values=rest) if len(rest) > 1 else copy.deepcopy(rest[0])
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            yield copy.deepcopy(operand)
        case ast.BinOp(op=op, left=left) if type(op) in SUMS and not isinstance(left, ast.JoinedStr):
            yield _with(node, op=SUMS[type(op)]())
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() as value):
            yield ast.Constant(value + 1)
            if value:
                yield ast.Constant(value - 1)
        case ast.Call(func=ast.Name(id=name)) if name in CALLS:
            yield _with(node, func=ast.Name(CALLS[name], ast.Load()))
        case ast.IfExp(body=body, orelse=orelse):
            yield copy.deepcopy(body)
            yield copy.deepcopy(orelse)
        case ast.ListComp() | ast.SetComp() | ast.GeneratorExp() | ast.DictComp():
            for index, loop in enumerate(node.generators):
                for gone in range(len(loop.ifs)):
                    changed = copy.deepcopy(node)
                    del changed.generators[index].ifs[gone]
                    yield changed
        case ast.If():
            yield _with(node, test=ast.Constant(True))
            yield _with(node, test=ast.Constant(False))
        case ast.Return(value=ast.expr() as value) if not (isinstance(value, ast.Constant) and value.value is None):
            if not isinstance(value, ast.Constant):
                yield ast.Return(ast.Constant(None))
        case ast.Expr(value=ast.Call()) | ast.AugAssign() | ast.Continue() | ast.Break():
            yield ast.Pass()
        case ast.Assign(targets=[ast.Subscript() | ast.Attribute()]):
            yield ast.Pass()


def _with(node: ast.AST, **parts: object) -> ast.AST:
    changed = copy.deepcopy(node)
    for name, part in parts.items():
        setattr(changed, name, part)
    return changed
