"""When an expression looks at something, as hardware made of selectors and gates does (docs/checks.md, what depends on
what within a cycle).

`if` and `choose` look at what they choose by and at the side that is chosen; `and` and `or` of single bits do not look
at a side when the other alone decides. Where two known values are the same, nothing depends on which of them is chosen.
In everything else every part counts.
"""

from collections.abc import Collection
from typing import NamedTuple

from ordain.language import tree
from tests.judge.description import Codes
from tests.judge.observer import Observer, Seen
from tests.judge.speech import names_in, spelt

PLAIN = ("state", "field", "store")
"""What a value may be made of to count as known."""


class Look(NamedTuple):
    """`kind` "name": it is `name`. "any": some part looks. "gate": some part looks, and each part looks or lets the
    others through, which its value at `numbers` says. "select": by parts[0], whose value is at numbers[0], parts[1] or
    parts[2]; with three numbers, the other two are where the values of these are found."""

    kind: str
    name: str = ""
    parts: "tuple[Look, ...]" = ()
    numbers: tuple[int, ...] = ()


NEVER = Look("any")


def looks(look: Look, seen: Seen, known: Collection[str]) -> bool:
    """Whether it looks at one of the names in the cycle that is seen."""
    match look.kind:
        case "name":
            return look.name in known
        case "any":
            return any(looks(part, seen, known) for part in look.parts)
        case "gate":
            below = [looks(part, seen, known) for part in look.parts]
            return any(below) and all(below[n] or seen[number] for n, number in enumerate(look.numbers))
    by, yes, no = (looks(part, seen, known) for part in look.parts)
    chosen = yes if seen[look.numbers[0]] else no
    if len(look.numbers) == 1:
        return by or chosen
    differ = seen[look.numbers[1]] != seen[look.numbers[2]]
    return chosen or (by and (differ or yes or no))


class Arm(NamedTuple):
    """One side of a choice. `text`: its value. `plain`: states, fields and numbers alone make it."""

    look: Look
    text: str
    plain: bool


class Looker:
    """Makes `Look`s whose values an observer sees."""

    def __init__(self, eye: Observer) -> None:
        self.eye, self.cycle, self.description = eye, eye.cycle, eye.description

    def named(self, name: str) -> Look:
        """A field is a part of its store's word."""
        thing = self.description.things.get(name)
        if thing is None or thing.kind == "constant":
            return NEVER
        return Look("name", self.description.machine.fields[name].store if thing.kind == "field" else name)

    def expr(self, expr: tree.Expr | None, agent: str = "", want: int | None = None,
             codes: Codes | None = None) -> Look:
        match expr:
            case tree.Word(text=text) if codes is None or text not in codes.values:
                thing = self.description.find(text, agent)
                if thing is not None and thing.kind == "signal":
                    return self.expr(thing.expr, thing.agent, want)
                return self.named(thing.name if thing is not None else text.removesuffix(".word"))
            case tree.If(condition=condition, yes=yes, no=no):
                width = want or self.cycle.shape(expr, codes, agent).width
                arms = [self._arm(side, agent, width, codes) for side in (yes, no)]
                return self._choice(self.expr(condition, agent, 1), self.cycle.text(condition, 1, None, agent), *arms,
                                    width).look
            case tree.Choose():
                return self._choose(expr, agent, want or self.cycle.shape(expr, codes, agent).width, codes)
            case tree.Infix(operator="and" | "or" as operator) if (
                    self.cycle.shape(expr, None, agent).width or want) == 1:
                return self._gate(_chain(expr), operator, agent)
            case tree.Infix(operator=operator, left=left, right=right):
                never = operator != "+" and self._same(left, right, agent)
                return NEVER if never else self._sides((left, right), agent)
            case tree.Slice(operand=tree.Join(parts=parts), high=high, low=low):
                return self._cut(parts, high, low, agent)
            case tree.Not(operand=operand) | tree.Slice(operand=operand) | tree.Parity(operand=operand):
                return self.expr(operand, agent, want if isinstance(expr, tree.Not) else None)
            case tree.Among(operand=operand, choices=choices):
                return self._sides((operand, *choices), agent)
            case tree.Join(parts=parts):
                return _any(*(self.expr(part, agent) for part in parts))
        return NEVER

    # ------------------------------------------------------------

    def _same(self, left: tree.Expr, right: tree.Expr, agent: str) -> bool:
        """Then a difference, a comparison or an exclusive or of the two is always the same number. Asked of what is
        written: to ask the cycle for a value would have it follow what that reads."""
        codes = self.cycle.codes_of_sides((left, right), agent)
        one, other = (spelt(side, self.description, None, own, agent)
                      for side, own in zip((left, right), codes, strict=True))
        return one == other

    def _sides(self, sides: tuple[tree.Expr, ...], agent: str) -> Look:
        """Of a comparison or a sum; the name of a code is nothing to look at."""
        codes = self.cycle.codes_of_sides(sides, agent)
        return _any(*(self.expr(side, agent, None, own) for side, own in zip(sides, codes, strict=True)))

    def _arm(self, side: tree.Expr, agent: str, width: int | None, codes: Codes | None) -> Arm:
        names = names_in(side, self.description, agent, codes)
        return Arm(self.expr(side, agent, width, codes), self.cycle.text(side, width, codes, agent),
                   {self.description.things[name].kind for name in names} <= set(PLAIN))

    def _gate(self, sides: list[tree.Expr], operator: str, agent: str) -> Look:
        parts = tuple(self.expr(side, agent, 1) for side in sides)
        texts = [self.cycle.text(side, 1, None, agent) for side in sides]
        passes = [text if operator == "and" else f"({text} ^ 1)" for text in texts]
        return _gated(parts, tuple(self.eye.see_fact(text) for text in passes))

    def _choice(self, by: Look, condition: str, yes: Arm, no: Arm, width: int | None) -> Arm:
        """A choice between a number and one more bit is an `and` or an `or`."""
        text = f"({yes.text} if {condition} else {no.text})"
        plain = yes.plain and no.plain
        if width == 1 and (yes.text.isdigit() or no.text.isdigit()):
            fixed, other = (yes, no) if yes.text.isdigit() else (no, yes)
            numbers = (self.eye.see_fact(f"({condition} ^ {1 if fixed is yes else 0})"),
                       self.eye.see_fact(f"({other.text} ^ {fixed.text})"))
            return Arm(_gated((by, other.look), numbers), text, plain)
        numbers = (self.eye.see_fact(condition),)
        if plain:
            numbers = (*numbers, self.eye.see_fact(yes.text), self.eye.see_fact(no.text))
        parts = (by, yes.look, no.look)
        return Arm(NEVER if all(part == NEVER for part in parts) else Look("select", "", parts, numbers), text, plain)

    def _choose(self, expr: tree.Choose, agent: str, width: int | None, codes: Codes | None) -> Look:
        """Cases one after another: each is a choice between its value and what the rest says."""
        subject, by = self.cycle.text(expr.subject, None, None, agent), self.expr(expr.subject, agent)
        shape = self.cycle.shape(expr.subject, None, agent)
        cases = [([self.cycle.case_value(code, shape.codes) for code in case.codes],
                  self._arm(case.value, agent, width, codes)) for case in expr.cases]
        covered = {value for values, _ in cases for value in values}
        if expr.otherwise is not None:
            rest = self._arm(expr.otherwise, agent, width, codes)
        elif (shape.codes is not None and shape.codes.closed) or len(covered) == 1 << (shape.width or shape.own or 0):
            rest = cases.pop()[1]
        else:
            rest = Arm(NEVER, self.cycle.undefined(expr, width or 1, codes), False)
        told = self._arm(expr.subject, agent, None, None).plain
        for values, arm in reversed(cases):
            rest = self._choice(by, f"(1 if {subject} in ({', '.join(map(str, values))},) else 0)", arm, rest, width)
            rest = rest._replace(plain=rest.plain and told)
        return rest.look

    def _cut(self, parts: tuple[tree.Expr, ...], high: int, low: int, agent: str) -> Look:
        found, top = [], sum(self.cycle.width(part, agent) for part in parts)
        for part in parts:
            base = top - self.cycle.width(part, agent)
            if base <= high and top > low:
                found.append(self.expr(part, agent))
            top = base
        return _any(*found)


def _any(*parts: Look) -> Look:
    found = tuple(part for part in parts if part != NEVER)
    return Look("any", "", found) if len(found) != 1 else found[0]


def _gated(parts: tuple[Look, ...], numbers: tuple[int, ...]) -> Look:
    return NEVER if all(part == NEVER for part in parts) else Look("gate", "", parts, numbers)


def _chain(expr: tree.Infix) -> list[tree.Expr]:
    found: list[tree.Expr] = []
    here: tree.Expr = expr
    while isinstance(here, tree.Infix) and here.operator == expr.operator:
        found.append(here.right)
        here = here.left
    return [here, *reversed(found)]
