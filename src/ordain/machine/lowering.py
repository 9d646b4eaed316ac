"""Trees of expressions become terms. This module keeps the stack and says which pass does what."""

from collections.abc import Generator
from typing import Any

from ordain.language import tree
from ordain.machine.branches import lower_branches
from ordain.machine.context import Context, Lower, Making, Request, Settle, Shape, ShapeOf
from ordain.machine.expression import Node
from ordain.machine.names import Codes, DeclaredName
from ordain.machine.operators import (
    lower_among,
    lower_arithmetic,
    lower_cell,
    lower_comparison,
    lower_join,
    lower_slice,
    lower_word,
)
from ordain.machine.settling import settle
from ordain.machine.shapes import find_shape


class Lowering(Context):
    """A `Context` that can answer requests. Shapes are remembered: a part is asked about by every level above it.
    `lost`: some expression was broken, so there is an error among the findings."""

    lost = False

    def node(self, expr: tree.Expr, want: int | None = None, codes: Codes | None = None,
             agent: str = "") -> Node | None:
        """The term of `expr`, `want` bits wide if that is given; None if it is broken, which has been reported."""
        made: Node | None = self._answer(Lower(expr, want, codes, agent))
        self.lost |= made is None
        return made

    def condition(self, expr: tree.Expr | None, agent: str = "") -> Node | None:
        """A term of one bit; constant 1 where nothing is written."""
        return self.terms.const(1, 1) if expr is None else self.node(expr, 1, None, agent)

    def settle(self, entry: DeclaredName) -> None:
        """Lower a signal, evaluate a constant."""
        self._answer(Settle(entry))

    def _answer(self, request: Request) -> Any:
        shapes: dict[tuple[int, int, str], Shape] = {}
        active: list[DeclaredName] = []
        stack: list[tuple[Generator[Request, Any, Any], tuple[int, int, str] | None]] = []
        asked: Request | None = request
        value: Any = None
        while True:
            if asked is not None:
                key = (id(asked.expr), id(asked.codes), asked.agent) if isinstance(asked, ShapeOf) else None
                if key in shapes:
                    asked, value = None, shapes[key]
                    continue
                stack.append((self._begin(asked, active), key))
                value = None
            try:
                asked = stack[-1][0].send(value)
            except StopIteration as end:
                _, key = stack.pop()
                asked, value = None, end.value
                if key is not None:
                    shapes[key] = value
                if not stack:
                    return value

    def _begin(self, request: Request, active: list[DeclaredName]) -> Generator[Request, Any, Any]:
        match request:
            case ShapeOf(expr=expr, codes=codes, agent=agent):
                return find_shape(self, expr, codes, agent)
            case Settle(entry=entry):
                return settle(self, entry, active)
            case Lower(expr=expr, want=want, codes=codes, agent=agent):
                return self._lower(expr, want, codes, agent)

    def _lower(self, expr: tree.Expr, want: int | None, codes: Codes | None, agent: str) -> Making:
        match expr:
            case tree.Word():
                return (yield from lower_word(self, expr, want, codes, agent))
            case tree.Number(value=value, digits_width=own):
                return self.sized(value, own, want, expr.span)
            case tree.Not(operand=operand):
                node: Node | None = yield Lower(operand, want, None, agent)
                return None if node is None else self.terms.not_(node)
            case tree.Prior(operand=operand):
                node = yield Lower(operand, want, codes, agent)
                for _ in range(self.steps if node is not None else 0):
                    node = self.terms.prior(node, self.goes_on)
                return node
            case tree.Infix(operator="and" | "or" | "xor" | "+" | "-"):
                return (yield from lower_arithmetic(self, expr, want, agent))
            case tree.If() | tree.Choose():
                return (yield from lower_branches(self, expr, want, codes, agent))
            case tree.Infix():
                node = yield from lower_comparison(self, expr, agent)
            case tree.Among():
                node = yield from lower_among(self, expr, agent)
            case tree.Slice():
                node = yield from lower_slice(self, expr, agent)
            case tree.Element(memory=memory, address=address):
                node = yield from lower_cell(self, memory, address, agent)
            case tree.Join():
                node = yield from lower_join(self, expr, agent)
            case tree.Parity(operand=operand, kind=kind):
                inner: Node | None = yield Lower(operand, None, None, agent)
                node = None if inner is None else self.terms.parity(inner)
                node = self.terms.not_(node) if node is not None and kind == "odd" else node
            case tree.At(label=label):
                self.labels["at", label.text, label.span] = None
                node = self.terms.leaf("at", label.text, 1)
            case tree.In(routine=routine):
                self.labels["in", routine.text, routine.span] = None
                node = self.terms.leaf("in", routine.text, 1)
        return self.fitting(node, want, expr.span)
