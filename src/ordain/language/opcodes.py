"""Opcode patterns: `0x3A`, `0b01xx_0110`, `0b1_dd_00101`. A letter other than `x` is a variable of a family."""

import re
from typing import NamedTuple

import pyparsing as pp

from ordain.language import tree
from ordain.language.grammar import leaf
from ordain.language.words import NUMBER, Misread, read_number
from ordain.text.lines import Placed
from ordain.text.source import Span

_PATTERN = re.compile(r"0[bB](?:_?[01A-Za-z])+")


LONGEST_PATTERN = 200
"""Characters."""


class Pattern(NamedTuple):
    """`unknown`: the bits that are `x`. `letters`: variable -> its bit positions, the highest first."""

    value: int
    unknown: int
    letters: dict[str, tuple[int, ...]]
    span: Span

    def member(self, codes: dict[str, int]) -> tree.OpcodePattern:
        """The pattern of one member of a family; `codes`: variable -> code, which fits."""
        value = self.value
        for letter, positions in self.letters.items():
            for index, position in enumerate(reversed(positions)):
                value |= (codes[letter] >> index & 1) << position
        return tree.OpcodePattern(value, ~self.unknown, self.span)


def pattern() -> pp.ParserElement:
    return leaf(NUMBER, _read, "an opcode such as `0x3A` or `0b01xx_0110`")


def _read(text: Placed, at: int, digits: str) -> list[Pattern]:
    span = text.span(at, at + len(digits))
    if digits[:2] not in ("0b", "0B"):
        return [Pattern(read_number(text, at, digits).value, 0, {}, span)]
    if not _PATTERN.fullmatch(digits) or len(digits) > LONGEST_PATTERN:
        raise Misread("opcode-pattern", f"`{digits[:40]}` is not an opcode pattern", at, at + len(digits),
                      "not a pattern", "after `0b` come `0`, `1`, `x` for any value, and letters of a family, with `_` "
                      "between them where wanted")
    bits = digits[2:].replace("_", "")
    value = unknown = 0
    letters: dict[str, tuple[int, ...]] = {}
    for index, bit in enumerate(bits):
        position = len(bits) - 1 - index
        if bit in "xX":
            unknown |= 1 << position
        elif bit in "01":
            value |= int(bit) << position
        else:
            letters[bit] = (*letters.get(bit, ()), position)
    return [Pattern(value, unknown, letters, span)]
