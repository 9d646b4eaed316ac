"""The condition of a `when` arm as a term over the lines of an address.

Only what such a condition is made of: names of the machine, numbers, codes, comparisons, and/or/not, slices and joins.
"""

from typing import NamedTuple

from ordain.language import tree
from ordain.machine.expression import Node, Terms
from ordain.machine.model import Machine
from ordain.text.findings import Finding, error
from ordain.text.source import Span
from ordain.text.spelling import nearest

_DEEPEST = 100
"""How deep a condition may be nested; more than anyone can read."""


class Fault(Exception):
    """A condition that means nothing; carries the finding."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


class _Known(NamedTuple):
    """A name of the machine: its term and, where it has them, the names of its values."""

    node: Node
    codes: tuple[str, ...]


def condition_node(machine: Machine, condition: tree.Expr) -> Node:
    """A condition as a term of one bit. Raises `Fault`."""
    _check_depth(condition)
    node = _lower(machine, condition, 1)
    if node.width != 1:
        raise Fault(error("width-mismatch", f"a condition has 1 bit, this has {node.width}", condition.span,
                          f"{node.width} bits", help="compare it with a number, or take one of its bits"))
    return node


def _check_depth(expr: tree.Expr) -> None:
    level: list[object] = [expr]
    for _ in range(_DEEPEST):
        level = [part for outer in level if isinstance(outer, tuple) and not isinstance(outer, Span)
                 for part in outer if isinstance(part, tuple)]
        if not level:
            return
    raise Fault(error("nested-too-deep", f"a condition of more than {_DEEPEST} levels", expr.span, "too deep",
                      help="give a part of it a name with `signal`"))


def _lower(machine: Machine, expr: tree.Expr, want: int | None) -> Node:
    terms = machine.terms
    match expr:
        case tree.Word():
            return _known(machine, expr).node
        case tree.Number():
            return _number(terms, expr, want)
        case tree.Not(operand=operand):
            return terms.not_(_lower(machine, operand, want))
        case tree.Infix(operator="and" | "or" | "xor" | "+" | "-" as operator, left=left, right=right):
            a, b = _pair(machine, left, right, want)
            match operator:
                case "and":
                    return terms.and_((a, b))
                case "or":
                    return terms.or_((a, b))
                case "xor":
                    return terms.xor(a, b)
                case "+":
                    return terms.add(a, b)
                case _:
                    return terms.sub(a, b)
        case tree.Infix(operator=operator, left=left, right=right):
            a, b = _pair(machine, left, right, None)
            match operator:
                case "is":
                    return terms.equal(a, b)
                case "is-not":
                    return terms.not_(terms.equal(a, b))
                case "<":
                    return terms.less(a, b)
                case ">":
                    return terms.less(b, a)
                case "<=":
                    return terms.not_(terms.less(b, a))
                case _:
                    return terms.not_(terms.less(a, b))
        case tree.Among(operand=operand, choices=choices, negated=negated):
            found = terms.or_([terms.equal(*_pair(machine, operand, choice, None)) for choice in choices])
            return terms.not_(found) if negated else found
        case tree.Slice(operand=operand, high=high, low=low):
            inner = _lower(machine, operand, None)
            if not 0 <= low <= high < inner.width:
                raise Fault(error("bad-slice", f"there are no bits [{high}:{low}] in {inner.width} bits", expr.span,
                                  "outside", help=f"the bits are {inner.width - 1} down to 0"))
            return terms.slice(inner, high, low)
        case tree.Join(parts=parts):
            return terms.join([_lower(machine, part, None) for part in parts])
        case _:
            raise Fault(error("wrong-kind", "this cannot stand in the condition of an arm", expr.span,
                              "not a comparison of address lines", help="compare address lines with numbers"))


def _pair(machine: Machine, left: tree.Expr, right: tree.Expr, want: int | None) -> tuple[Node, Node]:
    """Two terms of equal width: a number takes the width of the other, a code is one of the other's."""
    if isinstance(left, tree.Number) and isinstance(right, tree.Number):
        return _number(machine.terms, left, want), _number(machine.terms, right, want)
    if isinstance(left, tree.Number) or (isinstance(left, tree.Word) and _is_code(machine, left, right)):
        second, first = _pair(machine, right, left, want)
        return first, second
    a = _lower(machine, left, want)
    if isinstance(right, tree.Number):
        return a, _number(machine.terms, right, a.width)
    if isinstance(right, tree.Word) and _is_code(machine, right, left):
        codes = _known(machine, left).codes if isinstance(left, tree.Word) else ()
        return a, machine.terms.const(codes.index(right.text), a.width)
    b = _lower(machine, right, a.width)
    if a.width != b.width:
        raise Fault(error("width-mismatch", f"{a.width} bits beside {b.width} bits", right.span,
                          f"{b.width} bits", help="compare parts of equal width"))
    return a, b


def _is_code(machine: Machine, word: tree.Word, other: tree.Expr) -> bool:
    """Whether a word is the name of one of the other side's values."""
    return isinstance(other, tree.Word) and word.text in _codes(machine, other.text)


def _codes(machine: Machine, name: str) -> tuple[str, ...]:
    if name in machine.states:
        return machine.states[name].codes
    return machine.inputs[name].codes if name in machine.inputs else ()


def _known(machine: Machine, word: tree.Word) -> _Known:
    name, terms = word.text, machine.terms
    if name in machine.signals:
        return _Known(machine.signals[name].value, ())
    if name in machine.states:
        return _Known(terms.leaf("state", name, machine.states[name].width), machine.states[name].codes)
    if name in machine.registers:
        return _Known(terms.leaf("register", name, machine.registers[name].width), ())
    if name in machine.inputs:
        return _Known(terms.leaf("input", name, machine.inputs[name].width), machine.inputs[name].codes)
    if name in machine.conditions:
        return _Known(terms.leaf("condition", name, machine.conditions[name].width), ())
    if name in machine.constants:
        value = machine.constants[name]
        return _Known(terms.const(value, max(1, value.bit_length())), ())
    close = nearest(name, [*machine.signals, *machine.states, *machine.registers, *machine.inputs, *machine.conditions])
    raise Fault(error("unknown-name", f"nothing is called `{name}`", word.span, "unknown",
                      help=f"did you mean `{close}`?" if close else "name a line of the store's address"))


def _number(terms: Terms, number: tree.Number, want: int | None) -> Node:
    width = want or number.digits_width
    if width is None:
        raise Fault(error("no-width", f"nothing says how many bits {number.value} has here", number.span,
                          "a number of unknown width", help="write all its digits, as in `0b0011`"))
    if number.value >> width:
        raise Fault(error("too-wide", f"{number.value} does not fit in {width} bits", number.span,
                          f"more than {(1 << width) - 1}", help="correct the number"))
    return terms.const(number.value, width)
