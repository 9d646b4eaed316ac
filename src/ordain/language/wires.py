"""Statements about the board: parts with the pins of their packages, and which pins a net touches."""

import re
from functools import cache
from typing import Any

import pyparsing as pp

from ordain.language import tree
from ordain.language.grammar import expression, kw, leaf, line, listed, name, number, quoted, word
from ordain.language.statements import Form, Parsed, no_block, read_lines
from ordain.language.words import NAME, Misread
from ordain.text.findings import error
from ordain.text.lines import Placed

PIN = r"[A-Za-z0-9_]+"
_PINS = rf"{NAME}\.(?:\{{[^{{}}]*\}}|{PIN}\[ *[0-9]+ *(?:: *[0-9]+ *)?\]|{PIN})"
_RANGE = re.compile(rf"({PIN})\[ *([0-9]+) *(?:: *([0-9]+) *)?\]")
MOST_PINS = 1000


@cache
def _part() -> pp.ParserElement:
    return line(kw("part") - name("a name for the part, as on the board") + pp.Opt(quoted("its type in quotes")))


@cache
def _numbers() -> pp.ParserElement:
    pin = word(rf"{PIN}(?![\w.])", "the name of a pin")
    return line(listed(pp.Group(pin - number("the number of the pin"))))


def _build_part(parsed: Parsed) -> tree.Component:
    rows = read_lines(parsed, _numbers(), "PIN NUMBER, PIN NUMBER", _build_numbers)
    pins = tuple(pair for row in rows for pair in row)
    return tree.Component(parsed.parts[0], parsed.parts[1] if len(parsed.parts) > 1 else None, pins, parsed.span)


def _build_numbers(parsed: Parsed) -> list[tuple[tree.Word, tree.Number]]:
    no_block(parsed)
    return [(pair[0], pair[1]) for pair in parsed.parts]


@cache
def _wire() -> pp.ParserElement:
    return line(kw("wire") - expression() - kw("at")
                - listed(leaf(_PINS, _pins, "a pin such as `U4.Y1`, or several: `U4.{C, B, A}`, `U7.D[7:0]`")))


def _pins(text: Placed, at: int, token: str) -> list[tree.Pins]:
    """Every pin by its name, the one of the highest bit first."""
    part, _, pins = token.partition(".")
    end = at + len(token)
    if pins[0] == "{":
        names = [pin.strip() for pin in pins[1:-1].split(",")]
        wrong = next((pin for pin in names if not re.fullmatch(PIN, pin)), None)
        if wrong is not None:
            raise Misread("syntax", f"`{wrong}` is no name of a pin", at, end, "pins of one part",
                          "write `U4.{C, B, A}`, the pin of the highest bit first")
    else:
        names = numbered(pins, at, end)
    return [tree.Pins(part, tuple(names), text.span(at, end))]


def numbered(name: str, at: int, end: int) -> list[str]:
    """`D[7:0]` as D7, D6 ... D0; any other name as it is. `at`, `end`: where it stands in its line."""
    found = _RANGE.fullmatch(name)
    if found is None:
        return [name]
    high, low = int(found[2]), int(found[3] or found[2])
    if abs(high - low) >= MOST_PINS:
        raise Misread("bad-number", f"{abs(high - low) + 1} pins", at, end, "more than a part has",
                      "correct the numbers")
    step = -1 if high >= low else 1
    return [f"{found[1]}{pin}" for pin in range(high, low + step, step)]


def _build_wire(parsed: Parsed) -> Any:
    no_block(parsed)
    net = parsed.parts[0]
    named = net.operand if isinstance(net, tree.Slice) else net
    if not isinstance(named, tree.Word):
        parsed.fault(error("syntax", "a net is called by the name of something, or of bits of it", net.span,
                           "computed, and not a net", help="give it a name with `signal`, and that to the wire"))
        return None
    return tree.Wire(net, tuple(parsed.parts[1:]), parsed.span)


FORMS = {
    "part": Form('part NAME ["TYPE"]', _part, _build_part),
    "wire": Form("wire NET at PART.PIN, PART.{PIN, PIN}, PART.PIN[HIGH:LOW]", _wire, _build_wire),
}
