"""Families of instructions: one text for all combinations of its variables, as `"load {d}, n" for d in (acc, b, c)`."""

from itertools import product
from typing import NamedTuple

from ordain.language import tree
from ordain.language.opcodes import Pattern
from ordain.text.findings import Finding, Place, error
from ordain.text.lines import Placed
from ordain.text.source import Span

MOST_MEMBERS = 1 << 16


class VariableValue(NamedTuple):
    """One value of a variable; `code` None: one more than that of the value before, 0 for the first."""

    text: tree.Text
    code: tree.Number | None


class FamilyVariable(NamedTuple):
    """`d in (acc, b, c = 3)`"""

    letter: str
    values: tuple[VariableValue, ...]
    span: Span


class InstructionFamily(NamedTuple):
    """An instruction as written; without variables it is its own only member. `patterns` is empty for `others`.
    `meaning`: its `means` lines."""

    patterns: tuple[Pattern, ...]
    title: tree.Text
    variables: tuple[FamilyVariable, ...]
    constraint: tree.PlaceConstraint
    body: tuple[tree.MicroLine, ...]
    span: Span
    meaning: tuple[Placed, ...] | None = None


class RowDraft(NamedTuple):
    """A row of a map as written."""

    patterns: tuple[Pattern, ...]
    target: tree.Word
    variables: tuple[FamilyVariable, ...]
    span: Span


class MapDraft(NamedTuple):
    store: tree.Word
    rows: tuple[RowDraft, ...]
    span: Span


class Member(NamedTuple):
    """`fill`: variable -> the text that stands for it in this member."""

    patterns: tuple[tree.OpcodePattern, ...]
    fill: dict[str, str]


def members(patterns: tuple[Pattern, ...], variables: tuple[FamilyVariable, ...],
            span: Span) -> tuple[list[Member], list[Finding]]:
    """Every combination of values with its opcodes; none when something is wrong with the variables."""
    findings = _check_variables(patterns, variables) + _check_letters(patterns, variables)
    coded = []
    count = 1
    for variable in variables:
        values, faults = _codes(variable, patterns)
        coded.append(values)
        findings += faults
        count *= len(values)
    if count > MOST_MEMBERS:
        findings.append(error("family", f"a family of {count:,} members; the limit is {MOST_MEMBERS:,}", span,
                              "too many", help="split it, or use `x` for bits that do not matter"))
    if findings:
        return [], findings
    letters = [variable.letter for variable in variables]
    made = []
    for combination in product(*coded):
        codes = {letter: code for letter, (_, code) in zip(letters, combination)}
        fill = {letter: text for letter, (text, _) in zip(letters, combination)}
        made.append(Member(tuple(pattern.member(codes) for pattern in patterns), fill))
    return made, []


def check_title(family: InstructionFamily) -> list[Finding]:
    """The titles of the members of a family must differ."""
    for variable in family.variables:
        if len(variable.values) > 1 and f"{{{variable.letter}}}" not in family.title.text:
            return [error("family", f"the title does not say `{{{variable.letter}}}`", family.title.span,
                          "the same for every member", places=(Place(variable.span, "varies here"),),
                          help=f'write for example "{family.title.text} {{{variable.letter}}}"')]
    return []


def _check_variables(patterns: tuple[Pattern, ...], variables: tuple[FamilyVariable, ...]) -> list[Finding]:
    findings = []
    known: dict[str, FamilyVariable] = {}
    for variable in variables:
        if variable.letter in known:
            findings.append(error("family", f"`{variable.letter}` varies twice", variable.span, "the second time",
                                  places=(Place(known[variable.letter].span, "the first time"),),
                                  help="use another letter"))
        elif variable.letter in "xX":
            findings.append(error("family", "`x` stands for a bit of any value", variable.span, "cannot vary",
                                  help="use another letter"))
        known[variable.letter] = variable
    if not patterns and variables:
        findings.append(error("family", "`others` cannot be a family", variables[0].span, "varies here",
                              help="give the opcodes as a pattern"))
    return findings


def _check_letters(patterns: tuple[Pattern, ...], variables: tuple[FamilyVariable, ...]) -> list[Finding]:
    """Every letter of an opcode is a variable, and every variable stands in every opcode."""
    findings = []
    known = {variable.letter: variable for variable in variables if variable.letter not in "xX"}
    for pattern in patterns:
        for letter in pattern.letters:
            if letter not in known:
                findings.append(error("family", f"`{letter}` in the opcode has no values", pattern.span, "what is it?",
                                      help=f"add `for {letter} in (...)` at the end; a bit of any value is `x`"))
        for letter, variable in known.items():
            if letter not in pattern.letters:
                findings.append(error("family", f"the opcode has no bits `{letter}`", pattern.span,
                                      "the same for every value", places=(Place(variable.span, "varies here"),),
                                      help=f"write `{letter}` where the opcode says which one is meant"))
    return findings


def _codes(variable: FamilyVariable, patterns: tuple[Pattern, ...]) -> tuple[list[tuple[str, int]], list[Finding]]:
    """Text and code of each value, checked against the bits that the opcode has for them."""
    findings = []
    letter = variable.letter
    widths = {len(pattern.letters[letter]) for pattern in patterns if letter in pattern.letters}
    if len(widths) > 1:
        findings.append(error("family", f"`{letter}` has {min(widths)} bits in one opcode and {max(widths)} in another",
                              patterns[-1].span, "another width",
                              help="write it with the same number of bits everywhere"))
    width = min(widths, default=None)
    coded: list[tuple[str, int]] = []
    seen: dict[int, VariableValue] = {}
    code = 0
    for value in variable.values:
        code = value.code.value if value.code else code
        if width is not None and code >> width:
            bits = "1 bit" if width == 1 else f"{width} bits"
            findings.append(error("family",
                                  f"`{value.text.text}` has code {code}, but `{letter}` has {bits} in the opcode",
                                  value.text.span, f"codes go from 0 to {(1 << width) - 1}",
                                  places=(Place(patterns[0].span, "the opcode"),),
                                  help=f"write more bits `{letter}`, or fewer values"))
        if code in seen:
            findings.append(error("family", f"two values with code {code}", value.text.span, "the second one",
                                  places=(Place(seen[code].text.span, "the first one"),),
                                  help="give them different codes"))
        seen[code] = value
        coded.append((value.text.text, code))
        code += 1
    return coded, findings
