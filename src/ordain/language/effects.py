"""What an instruction does, in the notation of a processor's manual: `acc <- acc + memory[pc], pc <- pc + 1`.

Old values stand on the right of every arrow, so the order of the effects says nothing, but for two of one place, of
which the later counts.
"""

import re
from collections.abc import Sequence
from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.language.expression import parse_expression
from ordain.language.words import NAME, Misread, found_at, read_number
from ordain.text.lines import Placed

FORMS = ("REGISTER <- VALUE\nREGISTER[7:0] <- VALUE when CONDITION\nMEMORY[ADDRESS] <- VALUE\nREGISTER <- undefined\n"
         "let NAME = VALUE\nNAME(VALUE, VALUE)\nnothing\n"
         "while CONDITION: REGISTER <- VALUE\nstopped: REGISTER <- VALUE")

_LET = re.compile(rf" *let +({NAME}) *=(?!=)", re.ASCII)
_TARGET = re.compile(rf" *({NAME}(?:\.{NAME})*) *", re.ASCII)
_BITS = re.compile(r"\[ *([0-9]\w*) *(?:: *([0-9]\w*) *)?\]", re.ASCII)
_ARROW = re.compile(r" *<- *")
_WHEN = re.compile(r" *when(?!\w)")
_UNDEFINED = re.compile(r"undefined(?!\w)")
_NOTHING = re.compile(r" *nothing *$")
_WHILE = re.compile(r" *while(?!\w)")
_STOPPED = re.compile(r" *stopped(?= *:)")
_COMMA = re.compile(r" *,")
_HEAD = re.compile(rf"effect +({NAME}) *(\()?", re.ASCII)
_PARAMETER = re.compile(rf" *({NAME}) *([,)])", re.ASCII)


class Head(NamedTuple):
    """`effect add(n)`"""

    name: tree.Word
    parameters: tuple[tree.Word, ...]


def read_head(text: Placed) -> Head:
    """The first line of an `effect`. Raises `Misread`."""
    found = _HEAD.match(text)
    if found is None:
        raise _expected(text, len("effect"), "a name for the effects")
    at, parameters = found.end(), []
    if found[2] and text[at:].strip(" ") == ")":
        at = len(text)
    while found[2] and at < len(text):
        one = _PARAMETER.match(text, at)
        if one is None:
            raise _expected(text, at, "the name of a value, and a comma or `)`")
        parameters.append(tree.Word(one[1], text.span(one.start(1), one.end(1))))
        at = one.end()
        if one[2] == ")":
            break
    if text[at:].strip(" "):
        raise _expected(text, at, "the end of the line")
    return Head(tree.Word(found[1], text.span(found.start(1), found.end(1))), tuple(parameters))


class MeansLine(NamedTuple):
    """A `means` line: `kind` "while", with a condition, "stopped" or "effects"."""

    kind: Literal["while", "stopped", "effects"]
    condition: tree.Expr | None
    items: tuple[tree.EffectItem, ...]


def read_means(text: Placed) -> MeansLine:
    """A line that begins with `means`. Raises `Misread`."""
    at = len("means")
    begun = _WHILE.match(text, at)
    if begun is not None:
        condition, at = parse_expression(text, begun.end(), elements=True)
        return MeansLine("while", condition, read_effects(text, _colon(text, at)))
    begun = _STOPPED.match(text, at)
    if begun is not None:
        return MeansLine("stopped", None, read_effects(text, _colon(text, begun.end())))
    return MeansLine("effects", None, read_effects(text, at))


def together(lines: Sequence[tuple[MeansLine, Placed]]) -> tree.Meaning:
    """The lines of one instruction. Raises `Misread` at a line that does not go with the others."""
    rounds: tree.Rounds | None = None
    items: list[tree.EffectItem] = []
    for line, text in lines:
        if line.kind == "effects" and rounds is None:
            items += line.items
        elif line.condition is not None and rounds is None and len(lines[0][0].items) and not items:
            rounds = tree.Rounds(line.condition, line.items, None)
        elif line.kind == "stopped" and rounds is not None and rounds.stopped is None:
            rounds = rounds._replace(stopped=line.items)
        else:
            raise Misread("syntax", "a meaning is either effects or rounds", 0, len(text), "not with the others",
                          "write one line `means while CONDITION: ...`, then, where it may be stopped, one line "
                          "`means stopped: ...`, and nothing else")
    return tree.Meaning(tuple(items), lines[0][1].whole(), rounds)


def _colon(text: Placed, at: int) -> int:
    found = re.compile(r" *:").match(text, at)
    if found is None:
        raise _expected(text, at, "`:`")
    return found.end()


def read_effects(text: Placed, at: int) -> tuple[tree.EffectItem, ...]:
    """The effects from `at` to the end of the line, separated by commas; none of `nothing`. Raises `Misread`."""
    if _NOTHING.match(text, at):
        return ()
    items: list[tree.EffectItem] = []
    while True:
        item, at = _item(text, at)
        items.append(item)
        comma = _COMMA.match(text, at)
        if comma is None:
            if text[at:].strip(" "):
                raise _expected(text, at, "a comma, `when` or the end of the line")
            return tuple(items)
        at = comma.end()


def _item(text: Placed, at: int) -> tuple[tree.EffectItem, int]:
    start = at + len(text[at:]) - len(text[at:].lstrip(" "))
    let = _LET.match(text, at)
    if let is not None:
        named_value, end = parse_expression(text, let.end(), elements=True)
        return tree.Let(tree.Word(let[1], text.span(let.start(1), let.end(1))), named_value,
                        text.span(start, end)), end
    named = _TARGET.match(text, at)
    if named is None:
        raise _expected(text, at, "what is changed")
    name = tree.Word(named[1], text.span(named.start(1), named.end(1)))
    at = named.end()
    if text.startswith("(", at):
        arguments, at = _arguments(text, at + 1)
        when, at = _when(text, at)
        return tree.Invoke(name, arguments, when, text.span(start, at)), at
    index, at = _index(text, at)
    arrow = _ARROW.match(text, at)
    if arrow is None:
        raise _expected(text, at, "`<-`")
    at = arrow.end()
    value: tree.Expr | None = None
    undefined = _UNDEFINED.match(text, at)
    if undefined is not None:
        at = undefined.end()
    else:
        value, at = parse_expression(text, at, elements=True)
    when, at = _when(text, at)
    return tree.Effect(name, index, value, when, text.span(start, at)), at


def _index(text: Placed, at: int) -> tuple[tree.Expr | tree.Bits | None, int]:
    """What stands in square brackets behind a target."""
    if not text.startswith("[", at):
        return None, at
    bits = _BITS.match(text, at)
    if bits is not None:
        high = read_number(text, bits.start(1), bits[1]).value
        low = read_number(text, bits.start(2), bits[2]).value if bits[2] else high
        if high < low:
            raise Misread("syntax", "the high bit comes first", at, bits.end(), "low bit first",
                          f"write [{low}:{high}]")
        return tree.Bits(high, low), bits.end()
    address, end = parse_expression(text, at + 1, elements=True)
    closing = re.compile(r" *\]").match(text, end)
    if closing is None:
        raise _expected(text, end, "`]`")
    return address, closing.end()


def _arguments(text: Placed, at: int) -> tuple[tuple[tree.Expr, ...], int]:
    found: list[tree.Expr] = []
    none = re.compile(r" *\)").match(text, at)
    if none is not None:
        return (), none.end()
    while True:
        value, at = parse_expression(text, at, elements=True)
        found.append(value)
        after = re.compile(r" *([,)])").match(text, at)
        if after is None:
            raise _expected(text, at, "a comma or `)`")
        at = after.end()
        if after[1] == ")":
            return tuple(found), at


def _when(text: Placed, at: int) -> tuple[tree.Expr | None, int]:
    found = _WHEN.match(text, at)
    return (None, at) if found is None else parse_expression(text, found.end(), elements=True)


def _expected(text: Placed, at: int, what: str) -> Misread:
    found, start, end = found_at(text, at)
    return Misread("syntax", f"expected {what}, found {found}", start, end, "not expected here")
