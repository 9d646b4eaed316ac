"""Signals and constants: names whose value is written elsewhere. Circles among them are found here."""

from collections.abc import Generator, Iterator
from typing import Any

from ordain.language import tree
from ordain.machine.context import Context, Lower, Request, Settle, Shape, ShapeOf
from ordain.machine.names import DeclaredName, unknown
from ordain.text.findings import Place, error

Settling = Generator[Request, Any, None]


def settle(context: Context, entry: DeclaredName, active: list[DeclaredName]) -> Settling:
    """Lower a signal or evaluate a constant at its first use. `active`: those being settled, outermost first; to meet
    one of them again is a circle."""
    if entry.done:
        return
    if entry in active:
        if not entry.broken:
            _report_circle(context, active[active.index(entry):])
        return
    active.append(entry)
    if entry.kind == "constant":
        yield from _settle_constant(context, entry)
    else:
        yield from _settle_signal(entry)
    entry.done = True
    active.pop()


def _settle_signal(entry: DeclaredName) -> Settling:
    assert entry.value is not None
    shape: Shape = yield ShapeOf(entry.value, None, entry.agent)
    # `signal never = 0` is a condition; any other number has to say how wide it is.
    bit = shape.width is None and not shape.broken and shape.own is None and shape.least == 1
    node = yield Lower(entry.value, 1 if bit else None, None, entry.agent)
    if node is None or entry.broken:
        entry.broken = True
    else:
        entry.node, entry.width, entry.codes = node, node.width, shape.codes


def _settle_constant(context: Context, entry: DeclaredName) -> Settling:
    """A constant is a plain number: numbers and constants, added and subtracted."""
    assert entry.value is not None
    for word in _words(entry.value):
        other = context.scope.find(word.text)
        if other is not None and other.kind == "constant":
            yield Settle(other)
    found = _number(context, entry.value)
    if found is None or entry.broken:
        entry.broken = True
    else:
        entry.number, entry.own_width = found


def _words(expr: tree.Expr) -> Iterator[tree.Word]:
    stack = [expr]
    while stack:
        part = stack.pop()
        if isinstance(part, tree.Word):
            yield part
        elif isinstance(part, tree.Infix):
            stack += [part.right, part.left]


def _number(context: Context, expr: tree.Expr) -> tuple[int, int | None] | None:
    """The value, and the width that its digits say; None when it is no plain number, which is reported."""
    total, width, stack = 0, 0, [(expr, 1)]
    while stack:
        part, sign = stack.pop()
        if isinstance(part, tree.Infix) and part.operator in ("+", "-"):
            stack += [(part.right, sign if part.operator == "+" else -sign), (part.left, sign)]
            continue
        if isinstance(part, tree.Number):
            value, own = part.value, part.digits_width
        else:
            entry = context.scope.find(part.text) if isinstance(part, tree.Word) else None
            if entry is None or entry.kind != "constant" or entry.broken:
                _report_not_constant(context, part, entry)
                return None
            value, own = entry.number, entry.own_width
        total, width = total + sign * value, max(width, own or 0)
    if total < 0:
        context.findings.append(error("not-constant", f"this constant would be {total}, and numbers have no sign",
                                      expr.span, "less than 0", help="swap the two, or write the number itself"))
        return None
    return total, width if width and not total >> width else None


def _report_not_constant(context: Context, part: tree.Expr, entry: DeclaredName | None) -> None:
    if entry is not None and entry.broken:
        return
    if entry is None and isinstance(part, tree.Word):
        constants = [name for name, known in context.scope.entries.items() if known.kind == "constant"]
        context.findings.append(unknown(part.text, constants, part.span, "constant"))
    else:
        context.findings.append(error(
            "not-constant", "a constant is a number known beforehand", part.span,
            "depends on the machine, or needs more than `+` and `-`", help="write `signal` instead of `constant`"))


def _report_circle(context: Context, circle: list[DeclaredName]) -> None:
    for entry in circle:
        entry.broken = True
    names = " -> ".join(f"`{entry.name}`" for entry in [*circle, circle[0]])
    constant = circle[0].kind == "constant"
    context.findings.append(error(
        "combinational-loop", f"{'constants' if constant else 'signals'} that depend on themselves: {names}",
        circle[0].span, "the circle begins and ends here",
        places=tuple(Place(entry.span, "on the circle") for entry in circle[1:]),
        help="write one of them as a number" if constant
        else "break the circle; where the hardware has a flip-flop in it, write that as a `state`"))
