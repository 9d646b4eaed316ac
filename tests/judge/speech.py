"""Expressions, as docs/language.md explains them, written out as Python text over plain integers.

A second writing: nothing of the compiler's lowering is used. Only what is well formed is understood (the compiler has
accepted it before); anything else raises.
"""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.language import tree
from tests.judge.description import Codes, Description, Thing

_PYTHON = {"is": "==", "is-not": "!="}


class Shape(NamedTuple):
    """`width` None: whatever its place asks for; then `own` is what its digits say, `least` what its value needs."""

    width: int | None
    own: int | None = None
    least: int = 1
    codes: Codes | None = None


class Speech:
    """What leaves are is said by those who speak: `leaf`, `spot`, `before`, `undefined`; `known` goes before all."""

    def __init__(self, description: Description) -> None:
        self.description = description

    def leaf(self, thing: Thing) -> str:
        raise NotImplementedError

    def spot(self, kind: str, label: str) -> str:
        raise NotImplementedError

    def before(self, expr: tree.Expr, width: int, codes: Codes | None, agent: str) -> str:
        raise NotImplementedError

    def undefined(self, choose: tree.Choose, width: int, codes: Codes | None) -> str:
        raise NotImplementedError

    def known(self, expr: tree.Expr, want: int | None, codes: Codes | None, agent: str) -> str | None:
        return None

    # ------------------------------------------------------------ widths

    def width(self, expr: tree.Expr, agent: str = "") -> int:
        shape = self.shape(expr, None, agent)
        found = shape.width or shape.own
        assert found, f"nothing says how wide this is: {expr.span}"
        return found

    def shape(self, expr: tree.Expr, codes: Codes | None, agent: str) -> Shape:
        match expr:
            case tree.Word(text=text):
                if codes is not None and text in codes.values:
                    return Shape(codes.width, codes=codes)
                return self._named(text, agent)
            case tree.Number(value=value, digits_width=own):
                return Shape(None, own, max(1, value.bit_length()))
            case tree.Not(operand=operand):
                return self.shape(operand, None, agent)._replace(codes=None)
            case tree.Prior(operand=operand):
                return self.shape(operand, codes, agent)
            case tree.Infix(operator="and" | "or" | "xor" | "+" | "-", left=left, right=right):
                return self._agreed((left, right), None, agent)._replace(codes=None)
            case tree.Slice(high=high, low=low):
                return Shape(high - low + 1)
            case tree.Join(parts=parts):
                return Shape(sum(self.width(part, agent) for part in parts))
            case tree.If() | tree.Choose():
                return self._agreed(_arms(expr), codes, agent)
            case _:
                return Shape(1)

    def _named(self, text: str, agent: str) -> Shape:
        thing = self.description.find(text, agent)
        if thing is None:
            assert text.endswith(".word"), text
            return Shape(self.description.things[text.removesuffix(".word")].width)
        if thing.kind == "signal":
            assert thing.expr is not None
            return self.shape(thing.expr, None, thing.agent)
        if thing.kind == "constant":
            value, own = self.constant(thing)
            return Shape(None, own, max(1, value.bit_length()))
        return Shape(thing.width, codes=thing.codes)

    def constant(self, thing: Thing) -> tuple[int, int | None]:
        def total(expr: tree.Expr) -> int:
            match expr:
                case tree.Number(value=value):
                    return value
                case tree.Word(text=text):
                    return self.constant(self.description.things[text])[0]
                case tree.Infix(operator=operator, left=left, right=right):
                    return total(left) + total(right) if operator == "+" else total(left) - total(right)
            raise ValueError(expr)
        assert thing.expr is not None
        return total(thing.expr), thing.expr.digits_width if isinstance(thing.expr, tree.Number) else None

    def _agreed(self, parts: Iterable[tree.Expr], codes: Codes | None, agent: str) -> Shape:
        shapes = [self.shape(part, codes, agent) for part in parts]
        wide = [shape for shape in shapes if shape.width is not None]
        assert len({shape.width for shape in wide}) <= 1
        named = {id(shape.codes): shape.codes for shape in wide}
        own = max((shape.own or 0 for shape in shapes), default=0)
        return Shape(wide[0].width if wide else None, own or None, max(shape.least for shape in shapes),
                     next(iter(named.values())) if len(named) == 1 else None)

    # ------------------------------------------------------------ text

    def bit(self, expr: tree.Expr | None, agent: str = "") -> str:
        """A condition; nothing written is always."""
        return "1" if expr is None else self.text(expr, 1, None, agent)

    def text(self, expr: tree.Expr, want: int | None = None, codes: Codes | None = None, agent: str = "") -> str:
        found = self.known(expr, want, codes, agent)
        return found if found is not None else self._text(expr, want, codes, agent)

    def _text(self, expr: tree.Expr, want: int | None, codes: Codes | None, agent: str) -> str:
        match expr:
            case tree.Word(text=text):
                return self._name(text, codes, agent)
            case tree.Number(value=value):
                return str(value)
            case tree.Not(operand=operand):
                width = want or self.width(operand, agent)
                return f"({self.text(operand, width, None, agent)} ^ {(1 << width) - 1})"
            case tree.Prior(operand=operand):
                width = want or self.width(operand, agent)
                return self.before(operand, width, codes, agent)
            case tree.Infix(operator="and" | "or" | "xor" | "+" | "-" as operator, left=left, right=right):
                shape = self._agreed((left, right), None, agent)
                width = shape.width or want or shape.own
                assert width is not None
                a, b = self.text(left, width, None, agent), self.text(right, width, None, agent)
                if operator in ("+", "-"):
                    return f"(({a} {operator} {b}) & {(1 << width) - 1})"
                return f"({a} {'&' if operator == 'and' else '|' if operator == 'or' else '^'} {b})"
            case tree.Infix(operator=operator, left=left, right=right):
                a, b = self._sides((left, right), agent)
                return f"(1 if {a} {_PYTHON.get(operator, operator)} {b} else 0)"
            case tree.Among(operand=operand, choices=choices, negated=negated):
                a, *others = self._sides((operand, *choices), agent)
                return f"(1 if {a} {'not in' if negated else 'in'} ({', '.join(others)},) else 0)"
            case tree.Slice(operand=operand, high=high, low=low):
                return f"({self.text(operand, None, None, agent)} >> {low} & {(1 << high - low + 1) - 1})"
            case tree.Join(parts=parts):
                joined = "0"
                for part in parts:
                    width = self.width(part, agent)
                    joined = f"({joined} << {width} | {self.text(part, width, None, agent)})"
                return joined
            case tree.If(condition=condition, yes=yes, no=no):
                shape = self._agreed((yes, no), codes, agent)
                width = want or shape.width or shape.own
                first, second = (self.text(arm, width, codes, agent) for arm in (yes, no))
                if first == second:  # it does not matter which, and nobody has to know
                    return first
                return f"({first} if {self.text(condition, 1, None, agent)} else {second})"
            case tree.Choose():
                return self._choose(expr, want, codes, agent)
            case tree.At(label=label):
                return self.spot("at", label.text)
            case tree.In(routine=routine):
                return self.spot("in", routine.text)
            case tree.Parity(operand=operand, kind=kind):
                odd = f"({self.text(operand, None, None, agent)}).bit_count() & 1"
                return f"({odd} ^ 1)" if kind == "odd" else f"({odd})"
        raise TypeError(type(expr))

    def _name(self, text: str, codes: Codes | None, agent: str) -> str:
        if codes is not None and text in codes.values:
            return str(codes.values[text])
        thing = self.description.find(text, agent)
        if thing is None:
            return self.leaf(self.description.things[text.removesuffix(".word")])
        if thing.kind == "signal":
            assert thing.expr is not None
            return self.text(thing.expr, None if thing.width == 0 else thing.width, None, thing.agent)
        if thing.kind == "constant":
            return str(self.constant(thing)[0])
        return self.leaf(thing)

    def _sides(self, sides: tuple[tree.Expr, ...], agent: str) -> list[str]:
        named = self.codes_of_sides(sides, agent)
        found = [self.shape(side, own, agent) for side, own in zip(sides, named, strict=True)]
        width = (next((shape.width for shape in found if shape.width is not None), None)
                 or max((shape.own or 0 for shape in found), default=0) or max(shape.least for shape in found))
        return [self.text(side, width, own, agent) for side, own in zip(sides, named, strict=True)]

    def codes_of_sides(self, sides: tuple[tree.Expr, ...], agent: str) -> list[Codes | None]:
        """Whose names of codes each side of a comparison may use: the first that has codes lends them to the others."""
        shapes = [self.shape(side, None, agent) if not self._is_code(side, agent) else None for side in sides]
        owner = next((n for n, shape in enumerate(shapes) if shape is not None and shape.codes is not None), None)
        codes = None if owner is None else shapes[owner].codes  # type: ignore[union-attr]
        return [codes if n != owner else None for n in range(len(sides))]

    def _is_code(self, side: tree.Expr, agent: str) -> bool:
        """A name that nothing in the machine has."""
        return isinstance(side, tree.Word) and self.description.find(side.text, agent) is None \
            and not side.text.endswith(".word")

    def _choose(self, expr: tree.Choose, want: int | None, codes: Codes | None, agent: str) -> str:
        shape = self.shape(expr.subject, None, agent)
        arms = self._agreed(_arms(expr), codes, agent)
        width = want or arms.width or arms.own
        assert width is not None
        subject_width = shape.width or shape.own
        assert subject_width is not None
        chosen = self.text(expr.subject, None, None, agent)
        covered: set[int] = set()
        cases: list[tuple[list[int], str]] = []
        for case in expr.cases:
            values = [self.case_value(code, shape.codes) for code in case.codes]
            covered |= set(values)
            cases.append((values, self.text(case.value, width, codes, agent)))
        if expr.otherwise is not None:
            text = self.text(expr.otherwise, width, codes, agent)
        elif (shape.codes is not None and shape.codes.closed) or len(covered) == 1 << subject_width:
            text = cases.pop()[1]
        else:
            text = self.undefined(expr, width, codes)
        for values, value in reversed(cases):
            text = f"({value} if {chosen} in ({', '.join(map(str, values))},) else {text})"
        return text

    def case_value(self, code: tree.Word | tree.Number, codes: Codes | None) -> int:
        if isinstance(code, tree.Number):
            return code.value
        if codes is not None and code.text in codes.values:
            return codes.values[code.text]
        return self.constant(self.description.things[code.text])[0]


def _arms(expr: tree.If | tree.Choose) -> tuple[tree.Expr, ...]:
    if isinstance(expr, tree.If):
        return expr.yes, expr.no
    values = tuple(case.value for case in expr.cases)
    return values if expr.otherwise is None else (*values, expr.otherwise)


class _Reader(Speech):
    """Spells an expression with names, signals written out, and listens to what it reads."""

    def __init__(self, description: Description) -> None:
        super().__init__(description)
        self.found: set[str] = set()

    def leaf(self, thing: Thing) -> str:
        self.found.add(thing.name)
        return thing.name

    def before(self, expr: tree.Expr, width: int, codes: Codes | None, agent: str) -> str:
        return f"prior({self.text(expr, width, codes, agent)})"

    def spot(self, kind: str, label: str) -> str:
        return f"{kind} {label}"

    def undefined(self, choose: tree.Choose, width: int, codes: Codes | None) -> str:
        return f"undefined at {choose.span.start}"


def spelt(expr: tree.Expr, description: Description, width: int | None, codes: Codes | None = None,
          agent: str = "") -> str:
    """The same text for the same expression, wherever it stands."""
    return _Reader(description).text(expr, width, codes, agent)


def fits(name: tree.Word, width: int, description: Description) -> bool:
    """Whether what a name stands for is as wide as a bus; a number is if it has no more digits."""
    reader = _Reader(description)
    thing = description.things[name.text]
    return not reader.constant(thing)[0] >> width if thing.kind == "constant" else reader.width(name, "") == width


def names_in(expr: tree.Expr | None, description: Description, agent: str = "",
             codes: Codes | None = None) -> set[str]:
    """The states, registers, fields, stores, inputs, conditions, buses and memories that an expression reads."""
    reader = _Reader(description)
    if expr is not None:
        reader.text(expr, None if codes is None else codes.width, codes, agent)
    return reader.found
