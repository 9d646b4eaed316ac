"""How wide is an expression, if it says so by itself, and whose codes are its values? Nothing is reported here."""

from collections.abc import Iterable

from ordain.language import tree
from ordain.machine.context import BIT, BROKEN, Context, Settle, Shape, ShapeOf, Shaping
from ordain.machine.names import Codes


def find_shape(context: Context, expr: tree.Expr, codes: Codes | None, agent: str) -> Shaping:
    match expr:
        case tree.Word():
            return (yield from _word(context, expr, codes, agent))
        case tree.Number(value=value, digits_width=own):
            return Shape(None, max(1, value.bit_length()), own)
        case tree.Not(operand=operand):
            inner: Shape = yield ShapeOf(operand, None, agent)
            return inner._replace(codes=None)
        case tree.Prior(operand=operand):
            inner = yield ShapeOf(operand, codes, agent)
            return inner
        case tree.Infix(operator="and" | "or" | "xor" | "+" | "-"):
            return (yield from _common(chain(expr), None, agent))._replace(codes=None)
        case tree.Slice(operand=tree.Word(text=name), high=high, low=low) if high == low and name in context.cells:
            return Shape(context.cells[name][0])
        case tree.Slice(high=high, low=low):
            return Shape(high - low + 1) if high >= low else BROKEN
        case tree.Element(memory=memory):
            return Shape(context.cells[memory.text][0]) if memory.text in context.cells else BROKEN
        case tree.Join(parts=parts):
            return (yield from _join(parts, agent))
        case tree.If() | tree.Choose():
            return (yield from _common(arms(expr), codes, agent))
        case tree.Infix() | tree.Among() | tree.At() | tree.In() | tree.Parity():
            return BIT


def _word(context: Context, word: tree.Word, codes: Codes | None, agent: str) -> Shaping:
    if codes is not None and word.text in codes.values:
        return Shape(codes.width, codes=codes)
    entry = context.scope.find(word.text, agent)
    if entry is None:
        node = context.word_of_store(word.text)
        return BROKEN if node is None else Shape(node.width)
    if not entry.done:
        yield Settle(entry)
    if entry.broken or entry.kind == "agent" or (entry.kind == "clock" and entry.node is None):
        return BROKEN
    if entry.kind == "constant":
        return Shape(None, max(1, entry.number.bit_length()), entry.own_width)
    return Shape(entry.width, codes=entry.codes)


def _join(parts: tuple[tree.Expr, ...], agent: str) -> Shaping:
    total = 0
    for part in parts:
        shape: Shape = yield ShapeOf(part, None, agent)
        if shape.broken or shape.fault or (shape.width or shape.own) is None:
            return BROKEN
        total += shape.width or shape.own or 0
    return Shape(total)


def _common(parts: list[tree.Expr], codes: Codes | None, agent: str) -> Shaping:
    shapes: list[Shape] = []
    for part in parts:
        shapes.append((yield ShapeOf(part, codes, agent)))
    return agree(shapes) if shapes else BROKEN


def agree(shapes: Iterable[Shape]) -> Shape:
    """The shape of things that must be equally wide."""
    width: int | None = None
    own = 0
    least, broken, fault = 1, False, False
    owners: dict[int, Codes | None] = {}
    for shape in shapes:
        broken |= shape.broken
        fault |= shape.fault or (width is not None and shape.width is not None and width != shape.width)
        width = shape.width if width is None else width
        least = max(least, shape.least)
        own = max(own, shape.own or 0)
        if shape.width is not None:
            owners[id(shape.codes)] = shape.codes
    codes = next(iter(owners.values())) if len(owners) == 1 else None
    return Shape(width, least, own if own >= least else None, codes, broken and width is None, fault)


def chain(expr: tree.Infix) -> list[tree.Expr]:
    """The operands of a chain of one operator that groups to the left, as `a + b + c` does."""
    operands: list[tree.Expr] = []
    here: tree.Expr = expr
    while isinstance(here, tree.Infix) and here.operator == expr.operator:
        operands.append(here.right)
        here = here.left
    operands.append(here)
    operands.reverse()
    return operands


def arms(expr: tree.If | tree.Choose) -> list[tree.Expr]:
    """The values that an `if` or `choose` selects from, in the order of the text."""
    if isinstance(expr, tree.If):
        return [expr.yes, expr.no]
    values = [case.value for case in expr.cases]
    return values if expr.otherwise is None else [*values, expr.otherwise]
