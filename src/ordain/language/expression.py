"""Expressions: one left-to-right pass over the text with two stacks, so that no depth of nesting overflows anything.

From loosest to tightest: `A if C else B`, `or`, `xor`, `and`, `not`, comparisons, `+ -`, slices.
Comparisons do not chain.
"""

import re
from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.language.words import Misread, found_at, read_number
from ordain.text.lines import Placed

DEEPEST_TREE = 150
"""Levels of a tree. Whoever walks a tree may recurse: this many levels fit into any stack."""

_TOKEN = re.compile(r' *(?:([A-Za-z_]\w*(?:\.[A-Za-z_]\w*)*)|([0-9]\w*)|("[^"]*")|(<=|>=|[][(){}<>+\-,]))',
                    re.ASCII)
_NAME, _NUMBER, _TEXT, _MARK = 1, 2, 3, 4
_SLICE = re.compile(r" *\[ *([0-9]\w*) *(?:: *([0-9]\w*) *)?\]", re.ASCII)
_QUALIFIED = re.compile(r' *("[^"]*")(\.[A-Za-z_]\w*)?| *([A-Za-z_]\w*(?:\.[A-Za-z_]\w*)*)', re.ASCII)
_PARITY_OF = re.compile(r" *(even|odd) +parity +of\b")
_CHOOSE = re.compile(r" *choose +(?=[A-Za-z_0-9({])"
                     r"(?!(?:if|else|or|xor|and|is|in|when|while|then|within|until|after)\b)")

_TERNARY, _OR, _XOR, _AND, _NOT, _COMPARE, _SUM, _TIGHT = range(1, 9)
_LEVEL = {"or": _OR, "xor": _XOR, "and": _AND, "is": _COMPARE, "is-not": _COMPARE, "<": _COMPARE, "<=": _COMPARE,
          ">": _COMPARE, ">=": _COMPARE, "+": _SUM, "-": _SUM}

_Kind = Literal["infix", "not", "parity-of", "if", "else", "(", "{", "[", "prior", "parity", "among"]


class _Pending(NamedTuple):
    """Something begun. `level` 0 is a bracket, which only its closing bracket ends. `base`: how many operands were
    there when it began. `word`: the operator, or what a bracket needs to know."""

    kind: _Kind
    level: int
    word: str
    start: int
    base: int


class _Operand(NamedTuple):
    """A finished part. `start`, `end` include brackets round it; `depth` is the height of its tree. `listed`: it is an
    `x in (...)` without brackets round it, a comparison that is complete."""

    node: tree.Expr
    start: int
    end: int
    depth: int
    listed: bool = False


def begins_choose(text: Placed, at: int) -> int:
    """The offset after `choose` when a `choose` begins at `at`, else 0."""
    found = _CHOOSE.match(text, at)
    return found.end() if found else 0


def parse_expression(text: Placed, at: int, until_and: bool = False, elements: bool = False) -> tuple[tree.Expr, int]:
    """The longest expression that begins at `at`, and the offset after it. Raises `Misread`.

    `until_and`: end before an `and`, `or`, `xor` or `if` that stands outside brackets (`between P and Q`).
    `elements`: words of memories may be named by an address, `memory[pc + 1]`.
    """
    parse = _Parse(text, at, until_and, elements)
    while parse.step():
        pass
    operand = parse.operands[0]
    return operand.node, operand.end


class _Parse:
    """`wants` is true where an operand must come, false after one."""

    def __init__(self, text: Placed, at: int, until_and: bool, elements: bool) -> None:
        self.text, self.at, self.until_and, self.elements = text, at, until_and, elements
        self.pending: list[_Pending] = []
        self.operands: list[_Operand] = []
        self.brackets = 0
        self.wants = True
        self.sliceable = False

    # ------------------------------------------------------------ one step

    def step(self) -> bool:
        """Takes one token; False when the expression is complete."""
        token = _TOKEN.match(self.text, self.at)
        if self.wants:
            self._operand(token)
            return True
        return self._after_operand(token)

    def _operand(self, token: re.Match[str] | None) -> None:
        if token is None:
            raise self._missing_value()
        kind, word, start = token.lastindex, token[token.lastindex or 0], token.start(token.lastindex or 0)
        if kind == _NUMBER:
            number = read_number(self.text, start, word)
            self._finish(tree.Number(number.value, number.digits_width, self.text.span(start, token.end())),
                         start, token.end(), 1)
        elif kind == _NAME:
            self._named(word, start, token.end())
        elif word in ("(", "{"):
            self._open("(" if word == "(" else "{", word, start, token.end())
        elif kind == _TEXT:
            raise Misread("syntax", "a quoted text is no value", start, token.end(), "no value",
                          'write `at "..."` or `in "..."` to ask for an instruction')
        else:
            raise self._missing_value()

    def _named(self, word: str, start: int, end: int) -> None:
        text = self.text
        if word == "not":
            self._not(start, end)
        elif word in ("at", "in") and self._place(word, start, end):
            pass
        elif word in tree.OPERATORS and not (word in tree.FUNCTIONS and self._compares()):
            raise self._missing_value()
        elif word in ("prior", "parity") and text[end:].lstrip(" ").startswith("("):
            self._open("prior" if word == "prior" else "parity", word, start, text.index("(", end) + 1)
        elif word in ("even", "odd") and (phrase := _PARITY_OF.match(text, start)):
            self.pending.append(_Pending("parity-of", _TIGHT, word, start, len(self.operands)))
            self.at = phrase.end()
        elif word == "choose" and begins_choose(text, start):
            raise Misread("syntax", "`choose` cannot be a part of an expression", start, end,
                          "must be the whole value",
                          "put it alone after `next`, `=` or a case's `:`, or name it with `signal`")
        else:
            self._finish(tree.Word(word, text.span(start, end)), start, end, 1)

    def _compares(self) -> bool:
        """Whether a code may stand here: after `is`, or in the list after `in`. No operator can."""
        return bool(self.pending) and (self.pending[-1].kind == "among" or self.pending[-1].word in ("is", "is-not"))

    def _not(self, start: int, end: int) -> None:
        if self.pending and self.pending[-1].level > _NOT:
            before = self.pending[-1].word
            raise Misread("syntax", f"`not` after `{before}` needs brackets", start, end,
                          "looser than what is before it", f"write `{before} (not ...)`")
        self.pending.append(_Pending("not", _NOT, "not", start, len(self.operands)))
        self.at = end

    def _place(self, word: str, start: int, end: int) -> bool:
        """`at LABEL`, `in ROUTINE`; False when `at` is just a name."""
        found = _QUALIFIED.match(self.text, end)
        if found is None or found[3] in tree.OPERATORS or found[3] in ("then", "within"):
            if word == "at":
                return False
            raise Misread("syntax", "`in` needs the name of a routine or the title of an instruction", start, end,
                          "name missing", "write `in fetch` or `in \"load a, n\"`")
        name = found[3]
        place: tree.Word | tree.Text
        if name:
            place = tree.Word(name, self.text.span(found.start(3), found.end()))
        else:
            place = tree.Text(found[1][1:-1] + (found[2] or ""), self.text.span(found.start(1), found.end()))
        span = self.text.span(start, found.end())
        self._finish(tree.At(place, span) if word == "at" else tree.In(place, span), start, found.end(), 1)
        self.sliceable = False
        return True

    def _after_operand(self, token: re.Match[str] | None) -> bool:
        if token is None or token.lastindex in (_NUMBER, _TEXT):
            return self._end(token)
        word, start, end = token[token.lastindex or 0], token.start(token.lastindex or 0), token.end()
        if word == "[":
            self._slice(start)
        elif word in ("<", "<=", ">", ">=", "+", "-", "or", "xor", "and", "is"):
            return self._infix(word, start, end)
        elif word in ("in", "not"):
            return self._among(word, start, end)
        elif word == "if":
            if self.until_and and not self.brackets:
                return self._end(token)
            self._if(start, end)
        elif word == "else":
            return self._else(start, end)
        elif word in (")", "}", "]", ","):
            return self._close(word, start, end)
        else:
            return self._end(token)
        return True

    def _infix(self, word: str, start: int, end: int) -> bool:
        if self.until_and and not self.brackets and word in ("and", "or", "xor"):
            return self._end(None)
        if word == "is":
            negation = re.compile(r" *not\b").match(self.text, end)
            if negation:
                word, end = "is-not", negation.end()
        level = _LEVEL[word]
        self._reduce(level + (1 if level == _COMPARE else 0))
        if level >= _COMPARE:
            self._refuse_chain(level, start, end)
        self.pending.append(_Pending("infix", level, word, start, len(self.operands)))
        self._expect(end)
        return True

    def _among(self, word: str, start: int, end: int) -> bool:
        found = re.compile(r" *not +in\b *(\()?| *in\b *(\()?").match(self.text, start)
        if found is None:
            return self._end(None)
        if not (found[1] or found[2]):
            raise Misread("syntax", "`in` after a value needs a list in brackets", start, end, "list missing",
                          "write `x in (a, b)`")
        self._reduce(_COMPARE + 1)
        self._refuse_chain(_COMPARE, start, found.end())
        self._open("among", word, start, found.end())
        return True

    def _refuse_chain(self, level: int, start: int, end: int) -> None:
        if self.operands[-1].listed or (level == _COMPARE and self.pending and self.pending[-1].level == _COMPARE):
            raise Misread("syntax", "comparisons do not chain", start, end, "after a comparison",
                          "join two comparisons with `and`, or use brackets")

    def _if(self, start: int, end: int) -> None:
        self._reduce(_TERNARY + 1)
        if self.pending and self.pending[-1].kind == "if":
            raise Misread("syntax", "`if` inside the condition of another `if`", start, end, "needs brackets",
                          "put the inner `A if C else B` into brackets")
        self.pending.append(_Pending("if", _TERNARY, "if", start, len(self.operands)))
        self._expect(end)

    def _else(self, start: int, end: int) -> bool:
        self._reduce(_TERNARY + 1)
        if not self.pending or self.pending[-1].kind != "if":
            return self._end(None)
        begun = self.pending.pop()
        self.pending.append(begun._replace(kind="else"))
        self._expect(end)
        return True

    # ------------------------------------------------------------ brackets

    def _open(self, kind: _Kind, word: str, start: int, end: int) -> None:
        self.pending.append(_Pending(kind, 0, word, start, len(self.operands)))
        self.brackets += 1
        self._expect(end)

    def _close(self, word: str, start: int, end: int) -> bool:
        if not self.brackets:
            return self._end(None)
        self._reduce(_TERNARY)
        begun = self.pending[-1]
        if begun.kind == "if":
            raise self._without_else(begun)
        if (word == "]") != (begun.kind == "[") and word != ",":
            return self._end(None)
        if word == ",":
            if begun.kind not in ("{", "among"):
                raise Misread("syntax", "a comma in round brackets", start, end, "not expected here",
                              "join bits with `{a, b}`, or compare with a list: `x in (a, b)`")
            self._expect(end)
            return True
        self.pending.pop()
        self.brackets -= 1
        self.at = end
        self._bracketed(begun, end)
        return True

    def _bracketed(self, begun: _Pending, end: int) -> None:
        parts = self.operands[begun.base:]
        span = self.text.span(begun.start, end)
        depth = max(part.depth for part in parts) + 1
        if begun.kind == "[":
            address, named = self.operands.pop(), self.operands.pop()
            if not isinstance(named.node, tree.Word):
                raise TypeError("only a name has words")
            self._finish(tree.Element(named.node, address.node, self.text.span(named.start, end)), named.start, end,
                         address.depth + 1)
            return
        if begun.kind == "(":
            inner = self.operands.pop()
            self.operands.append(_Operand(inner.node, begun.start, end, inner.depth))
            self.sliceable = True
            return
        del self.operands[begun.base:]
        nodes = tuple(part.node for part in parts)
        match begun.kind:
            case "{":
                self._finish(tree.Join(nodes, span), begun.start, end, depth)
            case "prior":
                self._finish(tree.Prior(nodes[0], span), begun.start, end, depth)
            case "parity":
                self._finish(tree.Parity("sum", nodes[0], span), begun.start, end, depth)
            case _:
                left = self.operands.pop()
                node = tree.Among(left.node, nodes, begun.word == "not", self.text.span(left.start, end))
                self._finish(node, left.start, end, max(depth, left.depth + 1))
                self.operands[-1] = self.operands[-1]._replace(listed=True)
                self.sliceable = False

    def _slice(self, start: int) -> None:
        found = _SLICE.match(self.text, start)
        if found is None and self.elements and isinstance(self.operands[-1].node, tree.Word) and self.sliceable:
            self._open("[", "[", start, start + 1)
            return
        if not self.sliceable or found is None:
            end = self.text.find("]", start) + 1 or start + 1
            raise Misread("syntax", "bits are taken from a name or a bracket, as `x[3]` or `x[7:4]`", start, end,
                          "not a slice", "write the numbers of the bits, the high one first")
        high = read_number(self.text, found.start(1), found[1]).value
        low = read_number(self.text, found.start(2), found[2]).value if found[2] else high
        if high < low:
            raise Misread("syntax", "the high bit comes first", start, found.end(), "low bit first",
                          f"write [{low}:{high}]")
        operand = self.operands.pop()
        node = tree.Slice(operand.node, high, low, self.text.span(operand.start, found.end()))
        self._finish(node, operand.start, found.end(), operand.depth + 1)

    # ------------------------------------------------------------ putting together

    def _expect(self, at: int) -> None:
        self.at, self.wants = at, True

    def _finish(self, node: tree.Expr, start: int, end: int, depth: int) -> None:
        """A complete operand."""
        if depth > DEEPEST_TREE:
            raise Misread("nested-too-deep", f"an expression of more than {DEEPEST_TREE} levels", start, end,
                          "too many levels", "give parts of it a name of their own with `signal`")
        self.operands.append(_Operand(node, start, end, depth))
        self.at, self.wants, self.sliceable = end, False, True

    def _reduce(self, level: int) -> None:
        """Finishes everything pending that binds at least as tightly as `level`."""
        while self.pending and self.pending[-1].level >= level and self.pending[-1].kind != "if":
            self._reduce_one()

    def _reduce_one(self) -> None:
        begun = self.pending.pop()
        right = self.operands.pop()
        span, depth, at = self.text.span(begun.start, right.end), right.depth + 1, self.at
        start, node = begun.start, right.node
        match begun.kind:
            case "not":
                made: tree.Expr = tree.Not(node, span)
            case "parity-of":
                made = tree.Parity("even" if begun.word == "even" else "odd", node, span)
            case "infix":
                left = self.operands.pop()
                start, depth = left.start, max(depth, left.depth + 1)
                made = tree.Infix(begun.word, left.node, node, self.text.span(start, right.end))
            case _:
                condition, yes = self.operands.pop(), self.operands.pop()
                start, depth = yes.start, max(depth, condition.depth + 1, yes.depth + 1)
                made = tree.If(condition.node, yes.node, node, self.text.span(start, right.end))
        self._finish(made, start, right.end, depth)
        self.at = at

    def _end(self, token: re.Match[str] | None) -> bool:
        """The expression ends here, unless something is still open."""
        self._reduce(_TERNARY)
        if self.pending:
            begun = self.pending[-1]
            if begun.kind == "if":
                raise self._without_else(begun)
            what, start, end = found_at(self.text, self.at)
            closer = {"{": "}", "[": "]"}.get(begun.kind, ")")
            raise Misread("syntax", f"expected an operator or `{closer}`, found {what}", start, end,
                          "not expected here", "two values need an operator or a comma between them")
        return False

    def _without_else(self, begun: _Pending) -> Misread:
        return Misread("syntax", "`if` without `else`", begun.start, begun.start + 2, "what otherwise?",
                       "write `A if CONDITION else B`")

    def _missing_value(self) -> Misread:
        what, start, end = found_at(self.text, self.at)
        before = self.text[:self.at].rstrip(" ")
        after = re.compile(r"(\w+|\W)$").search(before)
        where = f" after `{after[1]}`" if after and self.at else ""
        return Misread("syntax", f"expected a value{where}, found {what}", start, end, "value missing",
                       "a value is a name, a number, `not ...`, or something in brackets")
