"""Operators become terms: names found, widths settled, codes turned into numbers. `if`, `choose`: see `branches`."""

from collections.abc import Generator, Iterable
from typing import Any

from ordain.language import tree
from ordain.machine.context import (
    ANY_WIDTH,
    Context,
    Lower,
    Making,
    Request,
    Settle,
    Shape,
    ShapeOf,
    short,
)
from ordain.machine.expression import Const, Node
from ordain.machine.names import ANY_CODES, Codes
from ordain.machine.shapes import agree, chain
from ordain.text.findings import error


def lower_word(context: Context, word: tree.Word, want: int | None, codes: Codes | None, agent: str) -> Making:
    """A code where codes are expected, else a declared name."""
    if codes is not None and word.text in codes.values:
        return context.fitting(context.terms.const(codes.values[word.text], codes.width), want, word.span)
    entry = context.scope.find(word.text, agent)
    if entry is None:
        node = context.word_of_store(word.text)
        if node is None:
            context.report_unknown(word, codes, agent)
        return context.fitting(node, want, word.span)
    if not entry.done:
        yield Settle(entry)
    if entry.broken:
        return None
    if entry.kind == "agent":
        context.findings.append(error("wrong-kind", f"`{entry.name}` is an agent, not a value", word.span,
                                      "has no value", help=f"name one of its parts, as in `{entry.name}.PART`"))
        return None
    if entry.kind == "clock" and entry.node is None:
        context.findings.append(error("wrong-kind", f"the clock `{entry.name}` has no phases to tell apart", word.span,
                                      "has no value", help=f"name them: `clock {entry.name} (first, second)`"))
        return None
    if entry.kind == "constant":
        return context.sized(entry.number, entry.own_width, want, word.span)
    return context.fitting(entry.node, want, word.span)


# ---------------------------------------------------------------- vectors


def lower_arithmetic(context: Context, expr: tree.Infix, want: int | None, agent: str) -> Making:
    """`and`, `or`, `xor`, `+`, `-`: all operands are as wide as the widest-known one, or as the place asks for."""
    operands = chain(expr)
    shapes: list[Shape] = []
    for operand in operands:
        shapes.append((yield ShapeOf(operand, None, agent)))
    whole = agree(shapes)
    if whole.fault:
        context.report_clash(zip(operands, shapes), expr.span)
    common = whole.width or want or whole.own
    if common is None:
        common = ANY_WIDTH
        if not whole.broken:
            context.report_no_width(expr.span)
    nodes: list[Node | None] = []
    for operand, shape in zip(operands, shapes):
        nodes.append((yield Lower(operand, (shape.width or ANY_WIDTH) if whole.fault else common, None, agent)))
    sound = equally_wide(nodes)
    if whole.fault or sound is None:
        return None
    return context.fitting(_combine(context, expr.operator, sound), want, expr.span)


def _combine(context: Context, operator: str, nodes: list[Node]) -> Node:
    if operator == "and":
        return context.terms.and_(nodes)
    if operator == "or":
        return context.terms.or_(nodes)
    make = {"xor": context.terms.xor, "+": context.terms.add, "-": context.terms.sub}[operator]
    result = nodes[0]
    for node in nodes[1:]:
        result = make(result, node)
    return result


def equally_wide(nodes: Iterable[Node | None]) -> list[Node] | None:
    """The nodes, if none is broken and all have one width (where they have not, a fault has been reported)."""
    sound: list[Node] = []
    for node in nodes:
        if node is None or (sound and node.width != sound[0].width):
            return None
        sound.append(node)
    return sound


def lower_cell(context: Context, memory: tree.Word, address: tree.Expr, agent: str) -> Making:
    """The word of a memory at an address."""
    sizes = context.cells.get(memory.text)
    if sizes is None:
        entry = context.scope.find(memory.text, agent)
        if entry is None or not entry.broken:
            context.findings.append(error(
                "wrong-kind", f"`{memory.text}` is no memory", memory.span, "has no words", help=(
                    "bits are taken with numbers, as in `x[3]`; a word of a memory has an address, as in "
                    + f"`{next(iter(context.cells), 'memory')}[pc + 1]`")))
        return None
    node: Node | None = yield Lower(address, sizes[1], None, agent)
    return None if node is None else context.terms.cell(memory.text, node, sizes[0])


def lower_slice(context: Context, expr: tree.Slice, agent: str) -> Making:
    if isinstance(expr.operand, tree.Word) and expr.operand.text in context.cells and expr.high == expr.low:
        number = tree.Number(expr.low, None, expr.span)
        return (yield from lower_cell(context, expr.operand, number, agent))
    operand: Node | None = yield Lower(expr.operand, None, None, agent)
    if operand is None:
        return None
    if not 0 <= expr.low <= expr.high < operand.width:
        context.findings.append(error(
            "bad-slice", f"`{short(expr.operand.span)}` has no bits [{expr.high}:{expr.low}]", expr.span,
            f"its bits are {operand.width - 1} down to 0",
            help="write the higher bit first" if expr.low > expr.high else "correct the numbers of the bits"))
        return None
    return context.terms.slice(operand, expr.high, expr.low)


def lower_join(context: Context, expr: tree.Join, agent: str) -> Making:
    nodes: list[Node] = []
    sound = True
    for part in expr.parts:
        node = yield Lower(part, None, None, agent)
        if node is None:
            sound = False
        else:
            nodes.append(node)
    return context.terms.join(nodes) if sound else None


# ---------------------------------------------------------------- comparisons


def lower_comparison(context: Context, expr: tree.Infix, agent: str) -> Making:
    sides: list[Node] | None = yield from _sides(context, (expr.left, expr.right), expr, agent)
    if sides is None:
        return None
    terms, (left, right) = context.terms, sides
    match expr.operator:
        case "is":
            return terms.equal(left, right)
        case "is-not":
            return terms.not_(terms.equal(left, right))
        case "<":
            return terms.less(left, right)
        case ">":
            return terms.less(right, left)
        case "<=":
            return terms.not_(terms.less(right, left))
        case ">=":
            return terms.not_(terms.less(left, right))
    raise ValueError(f"operator {expr.operator}")


def lower_among(context: Context, expr: tree.Among, agent: str) -> Making:
    sides: list[Node] | None = yield from _sides(context, (expr.operand, *expr.choices), expr, agent)
    if sides is None or len(sides) < 2:
        return None
    terms, (subject, *choices) = context.terms, sides
    values = frozenset(choice.value for choice in choices if isinstance(choice, Const))
    others = [terms.equal(subject, choice) for choice in choices if not isinstance(choice, Const)]
    found = terms.or_([terms.among(subject, values), *others])
    return terms.not_(found) if expr.negated else found


def _sides(context: Context, sides: tuple[tree.Expr, ...], expr: tree.Infix | tree.Among,
           agent: str) -> Generator[Request, Any, "list[Node] | None"]:
    """The sides of a comparison, equally wide. Where one side is a field or state with codes, the others may name them.
    None when a side is broken, or the widths clash."""
    shapes: list[Shape] = []
    first = None
    for index, side in enumerate(sides):
        # A signal may be called like the code that it decodes: once codes are known, names are theirs.
        shapes.append((yield ShapeOf(side, None if first is None else shapes[first].codes, agent)))
        if first is None and shapes[index].codes is not None:
            first = index
    names: list[Codes | None] = [None] * len(sides)
    if first is not None:
        names = [None if index == first else shapes[first].codes for index in range(len(sides))]
    else:
        # With one side broken it cannot be told whose codes the others would have been.
        broken = [index for index, side in enumerate(sides) if shapes[index].broken
                  and (index == 0 or _is_broken(context, side, agent))]
        if broken:
            names = [None if index == broken[-1] else ANY_CODES for index in range(len(sides))]
    for index, codes in enumerate(names):
        if codes is not None:
            shapes[index] = yield ShapeOf(sides[index], codes, agent)
    whole = agree(shapes)
    if whole.fault:
        context.report_clash(zip(sides, shapes), expr.span)
    common = whole.width or (ANY_WIDTH if whole.broken else whole.own or whole.least)
    nodes: list[Node | None] = []
    for side, shape, codes in zip(sides, shapes, names):
        nodes.append((yield Lower(side, (shape.width or ANY_WIDTH) if whole.fault else common, codes, agent)))
    return None if whole.fault else equally_wide(nodes)


def _is_broken(context: Context, side: tree.Expr, agent: str) -> bool:
    entry = context.scope.find(side.text, agent) if isinstance(side, tree.Word) else None
    return entry is not None and entry.broken
