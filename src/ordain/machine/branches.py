"""`A if C else B` and `choose`: branches made equally wide, cases checked to be all of them, once each."""

from collections.abc import Collection

from ordain.language import tree
from ordain.machine.context import ANY_WIDTH, Context, Lower, Making, Settle, Shape, ShapeOf, listed, short
from ordain.machine.expression import Node
from ordain.machine.names import Codes
from ordain.machine.operators import equally_wide
from ordain.machine.shapes import agree, arms
from ordain.text.findings import Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest


def lower_branches(context: Context, expr: tree.If | tree.Choose, want: int | None, codes: Codes | None,
                   agent: str) -> Making:
    """Settle the common width of the branches, then make the selection."""
    values, width = arms(expr), want
    if width is None:
        shapes: list[Shape] = []
        for value in values:
            shapes.append((yield ShapeOf(value, codes, agent)))
        whole = agree(shapes)
        if whole.fault:
            context.report_clash(zip(values, shapes), expr.span)
        width = ANY_WIDTH if whole.fault else whole.width or whole.own
        if width is None:
            width = ANY_WIDTH
            if not whole.broken:
                context.report_no_width(expr.span)
    if isinstance(expr, tree.Choose):
        return (yield from _lower_choose(context, expr, width, codes, agent))
    condition: Node | None = yield Lower(expr.condition, 1, None, agent)
    nodes: list[Node | None] = []
    for value in values:
        nodes.append((yield Lower(value, width, codes, agent)))
    sound = equally_wide(nodes)
    return None if condition is None or sound is None else context.terms.if_(condition, *sound)


def _lower_choose(context: Context, expr: tree.Choose, width: int, codes: Codes | None, agent: str) -> Making:
    shape: Shape = yield ShapeOf(expr.subject, None, agent)
    subject: Node | None = yield Lower(expr.subject, None, None, agent)
    for case in expr.cases:
        for code in case.codes:
            entry = context.scope.find(code.text) if isinstance(code, tree.Word) else None
            if entry is not None and entry.kind == "constant":
                yield Settle(entry)
    sets = None if subject is None else _case_sets(context, expr, subject, shape.codes)
    nodes: list[Node | None] = []
    for value in arms(expr):
        nodes.append((yield Lower(value, width, codes, agent)))
    values = equally_wide(nodes)
    if subject is None or sets is None or values is None:
        return None
    if expr.otherwise is not None:
        result = values[-1]
    elif (shape.codes is not None and shape.codes.closed) or sum(map(len, sets)) == 1 << subject.width:
        result = values[len(sets) - 1]  # no other value ever occurs
    else:
        result = _undefined(context, expr.subject, values[0].width, codes)
    for cases, chosen in reversed(list(zip(sets, values))):
        result = context.terms.if_(context.terms.among(subject, cases), chosen, result)
    return result


def _undefined(context: Context, subject: tree.Expr, width: int, codes: Codes | None) -> Node:
    """What the value is when the subject has a code that nobody defined: anything, so that no proof leans on it.

    Where the value itself has closed codes, anything among those."""
    terms, about = context.terms, short(subject.span)
    count = context.undefined[about] = context.undefined.get(about, 0) + 1
    leaf = terms.leaf("free", f"undefined {about}" + (f" {count}" if count > 1 else ""), width)
    if codes is None or not codes.closed or len(codes.values) == 1 << codes.width:
        return leaf
    return terms.if_(terms.among(leaf, frozenset(codes.values.values())), leaf, terms.const(0, width))


# ---------------------------------------------------------------- cases


def _case_sets(context: Context, expr: tree.Choose, subject: Node, codes: Codes | None) -> list[frozenset[int]] | None:
    """The values of each case; None when one is broken. Reports what is named twice and what is missing."""
    seen: dict[int, Span] = {}
    sets: list[frozenset[int]] = []
    sound = True
    for case in expr.cases:
        found: set[int] = set()
        for code in case.codes:
            value = _case_value(context, code, subject, codes)
            if value is None:
                sound = False
            elif value in seen:
                sound = False
                context.findings.append(error(
                    "case-twice", f"`{short(code.span)}` has two cases in one `choose`", code.span, "the second",
                    places=(Place(seen[value], "the first"),), help="leave one of them out"))
            else:
                seen[value] = code.span
                found.add(value)
        sets.append(frozenset(found))
    if sound and expr.otherwise is None:
        sound = _covers(context, expr, seen.keys(), subject.width, codes)
    return sets if sound else None


def _case_value(context: Context, code: tree.Word | tree.Number, subject: Node, codes: Codes | None) -> int | None:
    if isinstance(code, tree.Number):
        node = context.sized(code.value, code.digits_width, subject.width, code.span)
        return None if node is None else code.value
    if codes is not None and code.text in codes.values:
        return codes.values[code.text]
    entry = context.scope.entries.get(code.text)
    if entry is not None and entry.kind == "constant":
        if entry.broken or context.sized(entry.number, None, subject.width, code.span) is None:
            return None
        return entry.number
    if codes is None:
        context.findings.append(error(
            "unknown-code", f"`{code.text}` is no code: what is chosen by has none", code.span,
            "a number or a constant is wanted", help="write the number, or give the field or state named codes"))
        return None
    if code.text in codes.broken:
        return None
    close = nearest(code.text, codes.values)
    context.findings.append(error(
        "unknown-code", f"{codes.what} has no code `{code.text}`", code.span, "not one of its codes",
        help=f"did you mean `{close}`?" if close else "its codes are " + listed(codes.values)))
    return None


def _covers(context: Context, expr: tree.Choose, seen: Collection[int], width: int,
            codes: Codes | None) -> bool:
    """Whether every named code has a case; where there are no names, every value."""
    if codes is not None:
        missing = [f"`{name}`" for name, value in codes.values.items() if value not in seen]
        count = len(missing)
    else:
        count = (1 << width) - len(seen)
        missing = [str(value) for value in range(min(1 << width, len(seen) + 8)) if value not in seen]
    if not count:
        return True
    names = ", ".join(missing[:8]) + (" and others" if count > 8 else "")
    context.findings.append(error(
        "choose-incomplete", f"this `choose` does not say what happens for {names}", expr.subject.span,
        "not every code has a case", help="add a case for each, or `otherwise`"))
    return False
