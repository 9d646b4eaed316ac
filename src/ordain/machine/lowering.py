"""Trees of expressions become terms: names found, widths settled, codes turned into numbers.

Two questions are asked of a tree. `_shape`: how wide is it, if it says so by itself (numbers do not), and whose codes
are its values? `_lower`: make the term, in a place that may ask for a width and may expect names of codes. Both are
generators that yield to ask the same of a part; `_run` keeps the stack, so depth is bounded by memory only.

A broken part has been reported once. It lowers to None, and nothing that contains it is complained about.
"""

from collections.abc import Generator, Iterable
from typing import Any, NamedTuple

from ordain.language import tree
from ordain.machine.expression import Node, Terms
from ordain.machine.names import ANY_CODES, Codes, Entry, Scope, nearest, unknown
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span

ANY_WIDTH = -1
"""Asked for where the width is unknown because of a fault that is reported elsewhere."""


class Shape(NamedTuple):
    """`width` None: takes the width that its place asks for; then `own` is the width that its digits say, or None, and
    `least` the fewest bits that hold its value. `broken`: nothing can be said. `fault`: widths inside disagree."""

    width: int | None
    least: int = 1
    own: int | None = None
    codes: Codes | None = None
    broken: bool = False
    fault: bool = False


BROKEN = Shape(None, broken=True)
BIT = Shape(1)
Shaping = Generator[Any, Any, Any]
"""Ends with a `Shape`. What a generator is sent is of no type that could be checked."""
Making = Generator[Any, Any, Any]
"""Ends with a `Node`, or None."""


class Lowering:
    """One machine's expressions. Collects findings, and the labels that `at` and `in` name."""

    def __init__(self, terms: Terms, scope: Scope) -> None:
        self.terms = terms
        self.scope = scope
        self.findings: list[Finding] = []
        self.labels: dict[tuple[str, str, Span], None] = {}
        self._shapes: dict[tuple[int, int], Shape] = {}
        self._active: list[Entry] = []
        self._undefined: dict[str, int] = {}

    # ------------------------------------------------------------ what others ask for

    def node(self, expr: tree.Expr, want: int | None = None, codes: Codes | None = None,
             agent: str = "") -> Node | None:
        """The term of `expr`, `want` bits wide if that is given; None if it is broken, which has been reported."""
        made: Node | None = _run(self._lower(expr, want, codes, agent))
        return made

    def condition(self, expr: tree.Expr | None, agent: str = "") -> Node | None:
        """A term of one bit; constant 1 where nothing is written."""
        return self.terms.const(1, 1) if expr is None else self.node(expr, 1, None, agent)

    def signal(self, entry: Entry) -> Node | None:
        """The term of a signal."""
        _run(self._settle(entry))
        return entry.node

    def constant(self, entry: Entry) -> int | None:
        """The number of a constant; None if it is broken."""
        _run(self._settle(entry))
        return None if entry.broken else entry.number

    def codes_of(self, expr: tree.Expr, agent: str = "") -> Codes | None:
        """Whose codes the values of `expr` are."""
        shape: Shape = _run(self._shape(expr, None, agent))
        return shape.codes

    # ------------------------------------------------------------ names with a value of their own

    def _settle(self, entry: Entry) -> Generator[Any, Any, None]:
        """Lower a signal or evaluate a constant at its first use; meeting it again on the way is a loop."""
        if entry.done:
            return
        if entry in self._active:
            self._report_loop(self._active[self._active.index(entry):])
            return
        assert entry.value is not None
        self._active.append(entry)
        if entry.kind == "constant":
            found = yield self._number(entry.value)
            if found is not None and not entry.broken:
                entry.number, entry.own_width = found
            entry.broken |= found is None
        else:
            shape = yield self._shape(entry.value, None, entry.agent)
            small = shape.width is None and not shape.broken and shape.own is None and shape.least == 1
            node = yield self._lower(entry.value, 1 if small else None, None, entry.agent)
            entry.broken |= node is None
            if node is not None and not entry.broken:
                entry.node, entry.width, entry.codes = node, node.width, shape.codes
        entry.done = True
        self._active.pop()

    def _report_loop(self, loop: list[Entry]) -> None:
        for entry in loop:
            entry.broken = True
        names = " -> ".join(f"`{entry.name}`" for entry in [*loop, loop[0]])
        what = "constants" if loop[0].kind == "constant" else "signals"
        self.findings.append(error(
            "combinational-loop", f"{what} depend on themselves in a circle: {names}", loop[0].span,
            "the circle begins and ends here",
            places=tuple(Place(entry.span, "on the circle") for entry in loop[1:]),
            help="break the circle; where the hardware has a flip-flop in it, write that as a `state`"))

    def _number(self, expr: tree.Expr) -> Generator[Any, Any, "tuple[int, int | None] | None"]:
        """A plain number and the width of its digits, for constants: numbers, constants, `+` and `-`."""
        if isinstance(expr, tree.Number):
            return expr.value, expr.digits_width
        if isinstance(expr, tree.Word):
            entry = self.scope.find(expr.text)
            if entry is None:
                self.findings.append(unknown(expr.text, self._names("constant"), expr.span, "constant"))
                return None
            if entry.kind == "constant":
                yield self._settle(entry)
                return None if entry.broken else (entry.number, entry.own_width)
            if entry.broken:
                return None
        if isinstance(expr, tree.Infix) and expr.operator in ("+", "-"):
            left = yield self._number(expr.left)
            right = yield self._number(expr.right)
            if left is None or right is None:
                return None
            value = left[0] + right[0] if expr.operator == "+" else left[0] - right[0]
            if value < 0:
                self.findings.append(error("not-constant", f"this constant would be {value}; numbers have no sign",
                                           expr.span, "less than 0", help="swap the two, or write the number itself"))
                return None
            widths = [width for width in (left[1], right[1]) if width is not None]
            return value, max(widths) if widths and not value >> max(widths) else None
        self.findings.append(error("not-constant", "a constant is a number known beforehand", expr.span,
                                   "its value depends on the machine, or needs more than + and -",
                                   help="write `signal` instead of `constant`, or a number"))
        return None

    def _names(self, *kinds: str) -> list[str]:
        return [name for name, entry in self.scope.entries.items() if entry.kind in kinds]

    # ------------------------------------------------------------ shapes

    def _shape(self, expr: tree.Expr, codes: Codes | None, agent: str) -> Shaping:
        key = (id(expr), id(codes))
        known = self._shapes.get(key)
        if known is None:
            known = self._shapes[key] = yield self._find_shape(expr, codes, agent)
        return known

    def _find_shape(self, expr: tree.Expr, codes: Codes | None, agent: str) -> Shaping:
        match expr:
            case tree.Word():
                shape = yield self._word_shape(expr, codes, agent)
                return shape
            case tree.Number(value=value, digits_width=own):
                return Shape(None, max(1, value.bit_length()), own)
            case tree.Not(operand=operand) | tree.Prior(operand=operand):
                inner: Shape = yield self._shape(operand, codes if isinstance(expr, tree.Prior) else None, agent)
                return inner if isinstance(expr, tree.Prior) else inner._replace(codes=None)
            case tree.Infix(operator="and" | "or" | "xor" | "+" | "-"):
                parts = []
                for part in chain(expr):
                    parts.append((yield self._shape(part, None, agent)))
                return agree(parts)._replace(codes=None)
            case tree.Slice(high=high, low=low):
                return Shape(high - low + 1) if high >= low else BROKEN
            case tree.Join():
                total = 0
                for part in expr.parts:
                    inner = yield self._shape(part, None, agent)
                    if inner.broken or inner.fault or (inner.width or inner.own) is None:
                        return BROKEN
                    total += inner.width or inner.own or 0
                return Shape(total)
            case tree.If():
                yes = yield self._shape(expr.yes, codes, agent)
                no = yield self._shape(expr.no, codes, agent)
                return agree([yes, no])
            case tree.Choose():
                parts = []
                for arm in arms(expr):
                    parts.append((yield self._shape(arm, codes, agent)))
                return agree(parts) if parts else BROKEN
            case tree.Infix() | tree.Among() | tree.At() | tree.In() | tree.Parity():
                return BIT

    def _word_shape(self, word: tree.Word, codes: Codes | None, agent: str) -> Shaping:
        if codes is not None and word.text in codes.values:
            return Shape(codes.width, codes=codes)
        entry = self.scope.find(word.text, agent)
        if entry is None or entry.broken or entry.kind == "agent":
            node = self._part_of_store(word.text)
            return BROKEN if node is None else Shape(node.width)
        if not entry.done:
            yield self._settle(entry)
            if entry.broken:
                return BROKEN
        if entry.kind == "constant":
            return Shape(None, max(1, entry.number.bit_length()), entry.own_width)
        return Shape(entry.width, codes=entry.codes)

    def _part_of_store(self, text: str) -> Node | None:
        """`entry.word`: what store `entry` holds at its present address."""
        name, _, part = text.rpartition(".")
        entry = self.scope.entries.get(name)
        if entry is None or entry.kind != "store" or entry.broken or part != "word":
            return None
        return entry.node

    # ------------------------------------------------------------ terms

    def _lower(self, expr: tree.Expr, want: int | None, codes: Codes | None, agent: str) -> Making:
        match expr:
            case tree.Word():
                node = yield self._lower_word(expr, want, codes, agent)
                return node
            case tree.Number(value=value, digits_width=own):
                return self._sized(value, own, want, expr.span)
            case tree.Not(operand=operand):
                node = yield self._lower(operand, want, None, agent)
                return None if node is None else self.terms.not_(node)
            case tree.Infix(operator="and" | "or" | "xor" | "+" | "-"):
                node = yield self._lower_arithmetic(expr, want, agent)
                return node
            case tree.Infix():
                node = yield self._lower_comparison(expr, agent)
            case tree.Among():
                node = yield self._lower_among(expr, agent)
            case tree.Slice():
                node = yield self._lower_slice(expr, agent)
            case tree.Join():
                node = yield self._lower_join(expr, agent)
            case tree.If() | tree.Choose():
                node = yield self._lower_branches(expr, want, codes, agent)
                return node
            case tree.At(label=label) | tree.In(routine=label):
                kind = "at" if isinstance(expr, tree.At) else "in"
                self.labels[kind, label.text, label.span] = None
                node = self.terms.leaf("at" if kind == "at" else "in", label.text, 1)
            case tree.Prior(operand=operand):
                node = yield self._lower(operand, want, codes, agent)
                return None if node is None else self.terms.prior(node)
            case tree.Parity(operand=operand, kind=sort):
                inner = yield self._lower(operand, None, None, agent)
                node = None if inner is None else self.terms.parity(inner)
                if node is not None and sort == "odd":
                    node = self.terms.not_(node)
        return self._fitting(node, want, expr.span)

    def _lower_word(self, word: tree.Word, want: int | None, codes: Codes | None, agent: str) -> Making:
        if codes is not None and word.text in codes.values:
            return self._fitting(self.terms.const(codes.values[word.text], codes.width), want, word.span)
        entry = self.scope.find(word.text, agent)
        if entry is None:
            part = self._part_of_store(word.text)
            if part is not None:
                return self._fitting(part, want, word.span)
            self._report_unknown(word, codes, agent)
            return None
        if not entry.done:
            yield self._settle(entry)
        if entry.broken:
            return None
        if entry.kind == "agent":
            self.findings.append(error("wrong-kind", f"`{entry.name}` is an agent, not a value", word.span,
                                       "has no value", help=f"name one of its parts, as in `{entry.name}.PART`"))
            return None
        if entry.kind == "constant":
            return self._sized(entry.number, entry.own_width, want, word.span)
        return self._fitting(entry.node, want, word.span)

    def _report_unknown(self, word: tree.Word, codes: Codes | None, agent: str) -> None:
        if codes is ANY_CODES or self._owner_is_broken(word.text):
            return
        if codes is None or not codes.values:
            self.findings.append(unknown(word.text, self.scope.visible(agent), word.span))
            return
        close = nearest(word.text, [*codes.values, *self.scope.visible(agent)])
        self.findings.append(error(
            "unknown-code", f"{codes.what} has no code `{word.text}`", word.span, "neither a code nor another name",
            help=f"did you mean `{close}`?" if close else "its codes are " + listed(codes.values)))

    def _owner_is_broken(self, text: str) -> bool:
        owner = self.scope.entries.get(text.rpartition(".")[0])
        return owner is not None and owner.broken

    def _fitting(self, node: Node | None, want: int | None, span: Span) -> Node | None:
        """`node` if its width is the one that its place asks for."""
        if node is None or want is None or want == ANY_WIDTH or node.width == want:
            return node
        asked = "a condition is wanted, which has 1 bit" if want == 1 else f"{bits(want)} wanted"
        self.findings.append(error(
            "width-mismatch", f"`{short(span)}` has {bits(node.width)}, and {asked}", span, f"{bits(node.width)} wide",
            help="compare it with something, as in `... is 0`" if want == 1
            else "take a slice, as in `x[3:0]`, or lengthen it with a join, as in `{0b00, x}`"))
        return None

    def _sized(self, value: int, own: int | None, want: int | None, span: Span) -> Node | None:
        """A number in the width that its place asks for."""
        width = own if want is None or want == ANY_WIDTH else want
        if width is None:
            if want is None:
                self._report_no_width(span)
            return None
        if value >> width:
            self.findings.append(error(
                "too-wide", f"{short(span)} needs {bits(value.bit_length())}, and its place has {bits(width)}", span,
                f"more than {(1 << width) - 1}", help="correct the number, or widen what it is put into"))
            return None
        return self.terms.const(value, width)

    def _report_no_width(self, span: Span) -> None:
        self.findings.append(error(
            "no-width", f"nothing says how many bits `{short(span)}` has here", span, "a number of unknown width",
            help="write all its digits, as in `0b0011` (4 bits) or `0x03` (8 bits)"))

    def _clash(self, parts: "Iterable[tuple[tree.Expr, Shape]]", span: Span) -> None:
        """Report that parts which must be equally wide are not: the first and the first that differs from it."""
        fixed = [(part, shape.width) for part, shape in parts if shape.width is not None and not shape.fault]
        for part, width in fixed[1:]:
            if width != fixed[0][1]:
                first = fixed[0]
                self.findings.append(error(
                    "width-mismatch",
                    f"`{short(first[0].span)}` has {bits(first[1])} and `{short(part.span)}` has {bits(width)}", span,
                    "the two sides must be equally wide",
                    places=(Place(first[0].span, bits(first[1])), Place(part.span, bits(width))),
                    help="take a slice, as in `x[3:0]`, or lengthen one with a join, as in `{0b00, x}`"))
                return

    def _lower_arithmetic(self, expr: tree.Infix, want: int | None, agent: str) -> Making:
        operands = chain(expr)
        shapes = []
        for operand in operands:
            shapes.append((yield self._shape(operand, None, agent)))
        whole = agree(shapes)
        if whole.fault:
            self._clash(zip(operands, shapes), expr.span)
        common = whole.width or want or whole.own
        if common is None:
            common = ANY_WIDTH
            if not whole.broken:
                self._report_no_width(expr.span)
        nodes = []
        for operand, shape in zip(operands, shapes):
            width = (shape.width or ANY_WIDTH) if whole.fault else common
            nodes.append((yield self._lower(operand, width, None, agent)))
        if whole.fault or None in nodes or not _equally_wide(nodes):
            return None
        return self._fitting(self._combine(expr.operator, nodes), want, expr.span)

    def _combine(self, operator: str, nodes: list[Node]) -> Node:
        if operator == "and":
            return self.terms.and_(nodes)
        if operator == "or":
            return self.terms.or_(nodes)
        make = {"xor": self.terms.xor, "+": self.terms.add, "-": self.terms.sub}[operator]
        result = nodes[0]
        for node in nodes[1:]:
            result = make(result, node)
        return result

    def _sides(self, first: tree.Expr, others: tuple[tree.Expr, ...], span: Span, agent: str) -> Generator[
            Any, Any, "list[Node | None]"]:
        """The two or more sides of a comparison: names of codes on one side where the other has them, widths made
        equal. None for what is broken; all None when the widths clash."""
        one: Shape = yield self._shape(first, None, agent)
        codes = ANY_CODES if one.broken else one.codes
        shapes: list[Shape] = []
        for other in others:
            shapes.append((yield self._shape(other, codes, agent)))
        mine = None
        if codes is None or codes is ANY_CODES:
            owners = [shape.codes for shape in shapes if shape.codes is not None]
            if owners:
                mine = owners[0]
                one = yield self._shape(first, mine, agent)
                codes = None if codes is ANY_CODES else codes
            elif one.broken and any(self._is_broken_name(other, agent) for other in others):
                mine = ANY_CODES
        whole = agree([one, *shapes])
        if whole.fault:
            self._clash(zip([first, *others], [one, *shapes]), span)
        nodes: list[Node | None] = []
        for side, shape, names in zip([first, *others], [one, *shapes], [mine, *[codes] * len(others)]):
            width = shape.width if whole.fault else whole.width
            if width is None:
                width = ANY_WIDTH if whole.fault or whole.broken else (whole.own or whole.least)
            nodes.append((yield self._lower(side, width, names, agent)))
        return [None] * len(nodes) if whole.fault or not _equally_wide(nodes) else nodes

    def _is_broken_name(self, expr: tree.Expr, agent: str) -> bool:
        entry = self.scope.find(expr.text, agent) if isinstance(expr, tree.Word) else None
        return entry is not None and entry.broken

    def _lower_comparison(self, expr: tree.Infix, agent: str) -> Making:
        left, right = yield self._sides(expr.left, (expr.right,), expr.span, agent)
        if left is None or right is None:
            return None
        terms = self.terms
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

    def _lower_among(self, expr: tree.Among, agent: str) -> Making:
        nodes: list[Node | None] = yield self._sides(expr.operand, expr.choices, expr.span, agent)
        subject, *choices = nodes
        if subject is None or not choices or None in choices:
            return None
        equal = self.terms.or_([self.terms.equal(subject, choice) for choice in choices if choice is not None])
        return self.terms.not_(equal) if expr.negated else equal

    def _lower_slice(self, expr: tree.Slice, agent: str) -> Making:
        operand: Node | None = yield self._lower(expr.operand, None, None, agent)
        if operand is None:
            return None
        if not 0 <= expr.low <= expr.high < operand.width:
            self.findings.append(error(
                "bad-slice", f"`{short(expr.operand.span)}` has no bits [{expr.high}:{expr.low}]", expr.span,
                f"its bits are {operand.width - 1} down to 0",
                help="write the higher bit first" if expr.low > expr.high else "correct the numbers of the bits"))
            return None
        return self.terms.slice(operand, expr.high, expr.low)

    def _lower_join(self, expr: tree.Join, agent: str) -> Making:
        nodes = []
        for part in expr.parts:
            nodes.append((yield self._lower(part, None, None, agent)))
        return None if None in nodes or not nodes else self.terms.join(nodes)

    # ------------------------------------------------------------ if and choose

    def _lower_branches(self, expr: tree.If | tree.Choose, want: int | None, codes: Codes | None, agent: str) -> Making:
        """Settle the common width of the branches, then make the selection."""
        values = arms(expr)
        width = want
        if want is None:
            shapes = []
            for value in values:
                shapes.append((yield self._shape(value, codes, agent)))
            whole = agree(shapes)
            if whole.fault:
                self._clash(zip(values, shapes), expr.span)
            width = ANY_WIDTH if whole.fault else whole.width or whole.own
            if width is None:
                width = ANY_WIDTH
                if not whole.broken:
                    self._report_no_width(expr.span)
        if isinstance(expr, tree.If):
            condition = yield self._lower(expr.condition, 1, None, agent)
            yes = yield self._lower(expr.yes, width, codes, agent)
            no = yield self._lower(expr.no, width, codes, agent)
            if condition is None or yes is None or no is None or yes.width != no.width:
                return None
            return self.terms.if_(condition, yes, no)
        node = yield self._lower_choose(expr, width, codes, agent)
        return node

    def _lower_choose(self, expr: tree.Choose, width: int | None, codes: Codes | None, agent: str) -> Making:
        shape: Shape = yield self._shape(expr.subject, None, agent)
        subject: Node | None = yield self._lower(expr.subject, None, None, agent)
        sets = None if subject is None else self._case_values(expr, subject, shape.codes)
        values = []
        for value in arms(expr):
            values.append((yield self._lower(value, width, codes, agent)))
        if subject is None or sets is None or None in values or len({value.width for value in values}) != 1:
            return None
        if expr.otherwise is not None:
            result: Node = values[-1]
        elif self._never_else(sets, subject, shape.codes):
            result = values[len(sets) - 1]
        else:
            result = self._undefined_value(expr.subject, values[0].width, codes)
        for cases, value in reversed(list(zip(sets, values))):
            result = self.terms.if_(self.terms.among(subject, cases), value, result)
        return result

    def _never_else(self, sets: list[frozenset[int]], subject: Node, codes: Codes | None) -> bool:
        """True when no other value of the subject can occur."""
        return (codes is not None and codes.closed) or len(frozenset().union(*sets)) == 1 << subject.width

    def _undefined_value(self, subject: tree.Expr, width: int, codes: Codes | None) -> Node:
        """What stands for the value when the subject has a code that nobody defined: anything, to be safe.

        Where the value has closed codes itself, anything among those."""
        about = short(subject.span)
        count = self._undefined[about] = self._undefined.get(about, 0) + 1
        leaf = self.terms.leaf("free", f"undefined {about}" + (f" {count}" if count > 1 else ""), width)
        if codes is None or not codes.closed or len(codes.values) == 1 << codes.width:
            return leaf
        defined = self.terms.among(leaf, frozenset(codes.values.values()))
        return self.terms.if_(defined, leaf, self.terms.const(0, width))

    def _case_values(self, expr: tree.Choose, subject: Node, codes: Codes | None) -> list[frozenset[int]] | None:
        """The values of each case; None when one is broken. Reports what is named twice and what is missing."""
        seen: dict[int, Span] = {}
        sets: list[frozenset[int]] = []
        sound = True
        for case in expr.cases:
            found = set()
            for code in case.codes:
                value = self._case_value(code, subject, codes)
                if value is None:
                    sound = False
                elif value in seen:
                    sound = False
                    self.findings.append(error(
                        "case-twice", f"`{short(code.span)}` has two cases in one `choose`", code.span, "the second",
                        places=(Place(seen[value], "the first"),), help="leave one of them out"))
                else:
                    seen[value] = code.span
                    found.add(value)
            sets.append(frozenset(found))
        if sound and expr.otherwise is None:
            sound = self._covers(expr, set(seen), subject, codes)
        return sets if sound else None

    def _case_value(self, code: tree.Word | tree.Number, subject: Node, codes: Codes | None) -> int | None:
        if isinstance(code, tree.Number):
            node = self._sized(code.value, code.digits_width, subject.width, code.span)
            return None if node is None else code.value
        if codes is not None and code.text in codes.values:
            return codes.values[code.text]
        entry = self.scope.entries.get(code.text)
        if entry is not None and entry.kind == "constant":
            value = self.constant(entry)
            return None if value is None or self._sized(value, None, subject.width, code.span) is None else value
        if codes is None:
            self.findings.append(error(
                "unknown-code", f"`{code.text}` is no code: the value that is chosen by has none", code.span,
                "a number or a constant is wanted", help="write the number, or give the field or state named codes"))
        else:
            close = nearest(code.text, codes.values)
            self.findings.append(error(
                "unknown-code", f"{codes.what} has no code `{code.text}`", code.span, "not one of its codes",
                help=f"did you mean `{close}`?" if close else "its codes are " + listed(codes.values)))
        return None

    def _covers(self, expr: tree.Choose, seen: set[int], subject: Node, codes: Codes | None) -> bool:
        if codes is not None:
            missing = [f"`{name}`" for name, value in codes.values.items() if value not in seen]
            many = len(missing)
            missing = missing[:8]
        else:
            many = (1 << subject.width) - len(seen)
            missing = [str(value) for value in range(min(1 << subject.width, len(seen) + 8)) if value not in seen][:8]
        if not many:
            return True
        names = ", ".join(missing) + (f" and {many - len(missing)} more" if many > len(missing) else "")
        self.findings.append(error(
            "choose-incomplete", f"this `choose` does not say what happens for {names}", expr.subject.span,
            "not every code has a case", help="add a case for each, or `otherwise`"))
        return False


def _run(task: Generator[Any, Any, Any]) -> Any:
    """Run generators that yield generators, with a stack of our own."""
    stack = [task]
    value: Any = None
    while stack:
        try:
            asked = stack[-1].send(value)
        except StopIteration as end:
            stack.pop()
            value = end.value
        else:
            stack.append(asked)
            value = None
    return value


def agree(shapes: Iterable[Shape]) -> Shape:
    """The shape of things that must be equally wide."""
    width: int | None = None
    own: int | None = None
    least, broken, fault = 1, False, False
    owners: dict[int, Codes | None] = {}
    for shape in shapes:
        broken |= shape.broken
        fault |= shape.fault or (width is not None and shape.width is not None and width != shape.width)
        if width is None:
            width = shape.width
        least = max(least, shape.least)
        own = max(own or 0, shape.own or 0) or None
        if shape.width is not None:
            owners[id(shape.codes)] = shape.codes
    codes = next(iter(owners.values())) if len(owners) == 1 else None
    if own is not None and own < least:
        own = None
    return Shape(width, least, own, codes, broken and width is None, fault)


def chain(expr: tree.Infix) -> list[tree.Expr]:
    """The operands of a chain of one operator that groups to the left: `a + b + c`. `-` chains likewise."""
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


def bits(width: int | None) -> str:
    return "1 bit" if width == 1 else f"{width} bits"


def short(span: Span) -> str:
    """The text of a place on one line, cut when it is long."""
    text = " ".join(span.text.split())
    return text if len(text) <= 60 else text[:57] + "..."


def listed(names: Iterable[str]) -> str:
    """Up to eight names for a message."""
    names = list(names)
    return ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")


def _equally_wide(nodes: "Iterable[Node | None]") -> bool:
    return len({node.width for node in nodes if node is not None}) <= 1
