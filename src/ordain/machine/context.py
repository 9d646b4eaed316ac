"""What the passes over expressions share: the terms, the names, the findings; and how parts of a tree are asked about.

The passes are generators. They yield a request about a part of their tree (`ShapeOf`, `Lower`, `Settle`) and are sent
the answer; `lowering` keeps the stack. Depth is bounded by memory only, and the passes read as if they were recursive.

A broken part has been reported once. It lowers to None, and nothing that contains it is complained about.
"""

from collections.abc import Generator, Iterable
from typing import Any, NamedTuple, TypeAlias

from ordain.language import tree
from ordain.machine.expression import Node, Terms
from ordain.machine.names import ANY_CODES, Codes, DeclaredName, Scope, unknown
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest

ANY_WIDTH = -1
"""Asked for where the width is unknown because of a fault that is reported elsewhere."""


class Shape(NamedTuple):
    """How wide a part is by itself, and whose codes its values are.

    `width` None: it takes the width that its place asks for; then `own` is the width that its digits say, or None, and
    `least` the fewest bits that hold its value. `broken`: nothing can be said. `fault`: widths inside it disagree."""

    width: int | None
    least: int = 1
    own: int | None = None
    codes: Codes | None = None
    broken: bool = False
    fault: bool = False


BROKEN = Shape(None, broken=True)
BIT = Shape(1)


class ShapeOf(NamedTuple):
    """Asks for the `Shape` of a part read inside `agent`, in a place where names of `codes` may stand."""

    expr: tree.Expr
    codes: Codes | None
    agent: str


class Lower(NamedTuple):
    """Asks for the term of a part, or None. `want`: the width that its place has; None where it has none of its own,
    `ANY_WIDTH` where that is unknown for a reason already reported."""

    expr: tree.Expr
    want: int | None
    codes: Codes | None
    agent: str


class Settle(NamedTuple):
    """Asks that a signal be lowered or a constant evaluated."""

    entry: DeclaredName


Request: TypeAlias = ShapeOf | Lower | Settle
Shaping: TypeAlias = Generator[Request, Any, Shape]
Making: TypeAlias = Generator[Request, Any, "Node | None"]


class Context:
    """One machine's terms, names and findings. `labels` are those that `at` and `in` name. `undefined` counts the free
    values that stand for undefined codes, by what was chosen by, so that each gets a name of its own. `steps`: how many
    make up a cycle; `goes_on`: in which steps the clock does, None: in all. `cells`: memories of which a word may be
    named by its address, with their widths and those of their addresses."""

    def __init__(self, terms: Terms, scope: Scope) -> None:
        self.terms = terms
        self.scope = scope
        self.findings: list[Finding] = []
        self.labels: dict[tuple[str, str, Span], None] = {}
        self.undefined: dict[str, int] = {}
        self.steps = 1
        self.goes_on: Node | None = None
        self.cells: dict[str, tuple[int, int]] = {}

    def fitting(self, node: Node | None, want: int | None, span: Span) -> Node | None:
        """`node` if its width is the one that its place asks for."""
        if node is None or want is None or want == ANY_WIDTH or node.width == want:
            return node
        asked = "a condition is wanted, which has 1 bit" if want == 1 else f"{bits(want)} wanted"
        self.findings.append(error(
            "width-mismatch", f"`{short(span)}` has {bits(node.width)}, and {asked}", span, f"{bits(node.width)} wide",
            help="compare it with something, as in `... is 0`, or take one bit, as in `x[0]`" if want == 1
            else "take a slice, as in `x[3:0]`, or lengthen it with a join, as in `{0b00, x}`"))
        return None

    def sized(self, value: int, own: int | None, want: int | None, span: Span) -> Node | None:
        """A number in the width that its place asks for, else in that of its digits."""
        width = own if want is None or want == ANY_WIDTH else want
        if width is None:
            if want is None:
                self.report_no_width(span)
            return None
        if value >> width:
            self.findings.append(error(
                "too-wide", f"{short(span)} needs {bits(value.bit_length())}, and its place has {bits(width)}", span,
                f"more than {shown((1 << width) - 1)}", help="correct the number, or widen what it is put into"))
            return None
        return self.terms.const(value, width)

    def report_no_width(self, span: Span) -> None:
        self.findings.append(error(
            "no-width", f"nothing says how many bits `{short(span)}` has here", span, "a number of unknown width",
            help="write all its digits, as in `0b0011` (4 bits) or `0x03` (8 bits)"))

    def report_clash(self, parts: Iterable[tuple[tree.Expr, Shape]], span: Span) -> None:
        """Parts that must be equally wide are not: show the first and the first that differs from it."""
        fixed = [(part, shape.width) for part, shape in parts if shape.width is not None and not shape.fault]
        for part, width in fixed[1:]:
            first, first_width = fixed[0]
            if width != first_width:
                self.findings.append(error(
                    "width-mismatch",
                    f"`{short(first.span)}` has {bits(first_width)} and `{short(part.span)}` has {bits(width)}", span,
                    "the two must be equally wide",
                    places=(Place(first.span, bits(first_width)), Place(part.span, bits(width))),
                    help="take a slice, as in `x[3:0]`, or lengthen one with a join, as in `{0b00, x}`"))
                return

    def report_unknown(self, word: tree.Word, codes: Codes | None, agent: str) -> None:
        """A name that nothing has, unless that is the fault of something else."""
        owner = self.scope.entries.get(word.text.rpartition(".")[0])
        if codes is ANY_CODES or (owner is not None and owner.broken):
            return
        if codes is not None and word.text in codes.broken:
            return
        if codes is None or not codes.values:
            self.findings.append(unknown(word.text, self.scope.visible(agent), word.span))
            return
        close = nearest(word.text, [*codes.values, *self.scope.visible(agent)])
        self.findings.append(error(
            "unknown-code", f"{codes.what} has no code `{word.text}`", word.span, "neither a code nor another name",
            help=f"did you mean `{close}`?" if close else "its codes are " + listed(codes.values)))

    def word_of_store(self, text: str) -> Node | None:
        """`entry.word`: what store `entry` holds at its present address."""
        name, _, part = text.rpartition(".")
        entry = self.scope.entries.get(name)
        return entry.node if entry and entry.kind == "store" and not entry.broken and part == "word" else None


# ---------------------------------------------------------------- wording


def bits(width: int | None) -> str:
    return "1 bit" if width == 1 else f"{width} bits"


def short(span: Span) -> str:
    """The text of a place on one line, cut when it is long."""
    text = " ".join(span.source.text[span.start:min(span.end, span.start + 400)].split())
    return text if len(text) <= 60 else text[:57] + "..."


def shown(value: int) -> str:
    """A number for a message; a very long one by its size."""
    return str(value) if value < 1 << 64 else f"2**{value.bit_length() - 1}" if value & (value - 1) == 0 else (
        f"2**{value.bit_length()} - 1" if value & (value + 1) == 0 else f"a number of {value.bit_length()} bits")


def listed(names: Iterable[str]) -> str:
    """Up to eight names for a message."""
    every = list(names)
    return ", ".join(every[:8]) + (f" and {len(every) - 8} more" if len(every) > 8 else "")
