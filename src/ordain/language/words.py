"""What both languages share below the level of a statement: names, numbers, and how a misreading is reported."""

import re
from typing import NamedTuple

from ordain.text.findings import Finding, error
from ordain.text.lines import Carry, Placed

NAME = r"[A-Za-z_][A-Za-z0-9_]*"
DOTTED = rf"{NAME}(?:\.{NAME})*"
NUMBER = r"[0-9][A-Za-z0-9_]*"

_CONNECTING = "and|or|xor|not|is|in|if|else"
_FOLLOWED = f"{_CONNECTING}|when|unless|while|until|then|within|never|follows|at"
CONTINUING = re.compile(rf"(?:{_FOLLOWED})(?!\w)(?! *[0-9]\w*(?: +idle)? *(?:#|$))(?! *[,:])|[-+<>=,:]")
CARRY_MACHINE = Carry(
    re.compile(rf"^(?!.*\b(?:is|is +not|wired) +(?:and|or|xor)$)(?:.*(?<![\w.])(?:{_FOLLOWED})|.*[-+<>=]"
               r"|next|word|address|holds|repeats|keep|assume|exclusive|microprogram)$"),
    CONTINUING)
"""A statement of a machine file goes on where an operator or a word such as `when` wants something after it or before
it. A line of a block may begin with such a word only where it names a code: `then 3`, `then : upc`. In a microprogram
what is indented under a line is never a part of it."""
LONGEST_NUMBER = 1000
"""Characters. Python refuses longer decimals, and no control word is as wide."""

_GOOD_NUMBER = re.compile(r"(0[xX](?:_?[0-9A-Fa-f])+)|(0[bB](?:_?[01])+)|([0-9](?:_?[0-9])*)")
_TOKEN = re.compile(r' *(?:([A-Za-z0-9_]+(?:\.[A-Za-z_]\w*)*|"[^"]*")|(<-|[^ ]))', re.ASCII)


class Misread(Exception):
    """A place in a line that cannot be read. Offsets are those of the line."""

    def __init__(self, name: str, message: str, start: int, end: int, label: str = "", help: str = "") -> None:
        super().__init__(message)
        self.name, self.message, self.start, self.end, self.label, self.help = name, message, start, end, label, help

    def finding(self, text: Placed, form: str) -> Finding:
        """`form`: how the statement is written, one way a line, the help where there is none of its own."""
        ways = form.split("\n")
        written = "it is written " + " or ".join(f"`{way}`" for way in ways)
        help = self.help or written
        if self.name == "bad-number" and len(ways) == 1:        # `chip U1 27C64`: what was meant is no number
            help = f"{self.help}; {written}"
        return error(self.name, self.message, text.span(self.start, self.end), self.label, help=help)


class Value(NamedTuple):
    """A number and the width that its digits say, None for a decimal."""

    value: int
    digits_width: int | None


def read_number(text: str, start: int, digits: str) -> Value:
    """`12`, `0x2F`, `0b0110`, with `_` between digits. `start`: where `digits` stand in `text`. Raises `Misread`."""
    if len(digits) > LONGEST_NUMBER:
        raise Misread("bad-number", f"a number of {len(digits):,} digits", start, start + len(digits), "too long",
                      "check that this is meant to be a number")
    good = _GOOD_NUMBER.fullmatch(digits)
    if good is None:
        raise Misread("bad-number", f"`{digits}` is not a number", start, start + len(digits), _why_bad(digits),
                      "numbers are written `12`, `0x2F` or `0b0110`, with `_` between digits where wanted")
    plain = digits.replace("_", "")
    if good[1]:
        return Value(int(plain, 16), 4 * (len(plain) - 2))
    if good[2]:
        return Value(int(plain, 2), len(plain) - 2)
    return Value(int(plain), None)


def _why_bad(digits: str) -> str:
    prefix = digits[:2].lower()
    allowed, kind = {"0x": ("0123456789abcdef_", "a hexadecimal number"), "0b": ("01_", "a binary number")}.get(
        prefix, ("0123456789_", "a decimal number"))
    body = digits[2:] if prefix in ("0x", "0b") else digits
    for character in body:
        if character.lower() not in allowed:
            return f"`{character}` is no digit of {kind}"
    return "digits missing" if not body.strip("_") else "`_` must stand between digits"


def found_at(text: str, at: int, end_of: str = "line") -> tuple[str, int, int]:
    """What stands at an offset, in words, and where that is. `end_of`: what ends where `text` does."""
    token = _TOKEN.match(text, at)
    if token is None:
        end = len(text.rstrip(" "))
        return f"the end of the {end_of}", end, end
    group = 1 if token[1] else 2
    shown = token[group] if token[group].isprintable() else f"character U+{ord(token[group][0]):04X}"
    if len(shown) > 40:
        shown = shown[:37] + "..."
    return f"`{shown}`", token.start(group), token.end()
