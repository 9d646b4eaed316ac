"""When an expression looks at something, as a multiplexer does: at its condition, and at the side that is chosen.

`and` and `or` of single bits do not look at a side when the other side alone decides. Everything else looks at all of
its parts. Said as Python text over a cycle.
"""

from ordain.language import tree
from tests.judge.cycle import Cycle


def looks_at(cycle: Cycle, expr: tree.Expr | None, names: set[str], agent: str = "") -> str | None:
    """Text of the condition under which the expression looks at one of the names; None where it never does."""
    if expr is None:
        return None
    match expr:
        case tree.Word(text=text):
            thing = cycle.description.find(text, agent)
            if thing is not None and thing.kind == "signal":
                return looks_at(cycle, thing.expr, names, thing.agent)
            return "1" if (thing.name if thing is not None else text.removesuffix(".word")) in names else None
        case tree.If(condition=condition, yes=yes, no=no):
            chosen = cycle.bit(condition, agent)
            return _any([looks_at(cycle, condition, names, agent), _both(chosen, looks_at(cycle, yes, names, agent)),
                         _both(f"(not {chosen})", looks_at(cycle, no, names, agent))])
        case tree.Choose():
            return _choose(cycle, expr, names, agent)
        case tree.Infix(operator="and" | "or" as operator, left=left, right=right):
            looked = [looks_at(cycle, side, names, agent) for side in (left, right)]
            if cycle.shape(expr, None, agent).width != 1:
                return _any(looked)
            if looked == [None, None]:
                return None
            open_ = [_open(cycle, side, operator, text, agent)
                     for side, text in zip((left, right), looked, strict=True)]
            return f"({_any(looked)} and {open_[0]} and {open_[1]})"
        case tree.Infix(left=left, right=right):
            return _any([looks_at(cycle, left, names, agent), looks_at(cycle, right, names, agent)])
        case tree.Not(operand=operand) | tree.Slice(operand=operand) | tree.Parity(operand=operand):
            return looks_at(cycle, operand, names, agent)
        case tree.Among(operand=operand, choices=choices):
            return _any([looks_at(cycle, part, names, agent) for part in (operand, *choices)])
        case tree.Join(parts=parts):
            return _any([looks_at(cycle, part, names, agent) for part in parts])
    return None


def _open(cycle: Cycle, side: tree.Expr, operator: str, looked: str | None, agent: str) -> str:
    """The side does not decide by itself, or it looks as well."""
    passes = cycle.text(side, 1, None, agent)
    passes = passes if operator == "and" else f"(not {passes})"
    return passes if looked is None else f"({passes} or {looked})"


def _choose(cycle: Cycle, expr: tree.Choose, names: set[str], agent: str) -> str | None:
    texts = [looks_at(cycle, expr.subject, names, agent)]
    subject = cycle.text(expr.subject, None, None, agent)
    codes = cycle.shape(expr.subject, None, agent).codes
    covered: set[int] = set()
    for case in expr.cases:
        values = [cycle.case_value(code, codes) for code in case.codes]
        covered |= set(values)
        texts.append(_both(f"({subject} in ({', '.join(map(str, values))},))",
                           looks_at(cycle, case.value, names, agent)))
    texts.append(_both(f"({subject} not in {tuple(covered) or '()'})", looks_at(cycle, expr.otherwise, names, agent)))
    return _any(texts)


def _both(condition: str, looked: str | None) -> str | None:
    return None if looked is None else f"({condition} and {looked})"


def _any(texts: list[str | None]) -> str | None:
    some = [text for text in texts if text is not None]
    return f"({' or '.join(some)})" if some else None
