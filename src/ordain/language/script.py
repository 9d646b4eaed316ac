"""A script: what hands, guests and devices do while a machine runs. One line, one doing.

    NAME = VALUE, NAME = VALUE                     from the beginning on
    at cycle N: NAME = VALUE [for N cycles]
    every N cycles: NAME = VALUE [for N cycles]
    when CONDITION: NAME = (VALUE, VALUE) [for N cycles | until CONDITION]
    while CONDITION: NAME = VALUE
    device NAME = VALUE when CONDITION
"""

import re
from typing import Literal, TypeAlias

from ordain.language import tree
from ordain.language.expression import parse_expression
from ordain.language.words import CARRY_MACHINE, DOTTED, NUMBER, Misread, found_at, read_number
from ordain.text.findings import Finding, error
from ordain.text.lines import Placed, in_order, logical_lines
from ordain.text.source import Source

Keyword: TypeAlias = Literal["start", "cycle", "every", "when", "while", "device"]
_KEYWORDS: dict[str, Keyword] = {"cycle": "cycle", "every": "every", "when": "when", "while": "while",
                                 "device": "device"}
_USAGE: dict[Keyword, str] = {
    "start": "NAME = VALUE, NAME = VALUE", "cycle": "at cycle N: NAME = VALUE [for N cycles | until CONDITION]",
    "every": "every N cycles: NAME = VALUE [for N cycles]",
    "when": "when CONDITION: NAME = VALUE [for N cycles | until CONDITION]",
    "while": "while CONDITION: NAME = VALUE", "device": "device NAME = VALUE when CONDITION"}

_BEGINS = re.compile(r"(at +cycle|every|when|while|device)\b(?! *=)")
_NAME = re.compile(rf" *({DOTTED})", re.ASCII)
_VALUE = re.compile(rf" *(?:({NUMBER})|({DOTTED}))", re.ASCII)
_MARK = re.compile(r" *([=(),:])")
_FOR = re.compile(r" *for\b")
_UNTIL = re.compile(r" *until\b")
_WHEN = re.compile(r" *when\b")
_UNIT = re.compile(r" *(cycle|phase)s?\b")


def parse_script(source: Source) -> tuple[tree.Script, list[Finding]]:
    """The lines that can be read, and what is wrong with the others."""
    lines, findings = logical_lines(source, CARRY_MACHINE)
    doings: list[tree.Doing] = []
    devices: list[tree.Device] = []
    for line in lines:
        text = Placed(line.text, source, line.start)
        if line.depth:
            findings.append(error("indentation", "a line of a script begins in the first column", text.span(0, 1),
                                  f"column {line.depth + 1}", help="a line that carries on stands behind a comma, an "
                                  "operator or an open bracket"))
            continue
        if line.broken:
            continue
        try:
            read = parse_line(text)
        except Misread as misread:
            findings.append(misread.finding(text, _USAGE[_keyword(text)]))
            continue
        if isinstance(read, tree.Device):
            devices.append(read)
        else:
            doings.append(read)
    return tree.Script(tuple(doings), tuple(devices)), in_order(findings)


def parse_line(text: Placed) -> tree.Doing | tree.Device:
    """One line. Raises `Misread`."""
    begins, word = _BEGINS.match(text), _keyword(text)
    at = 0 if begins is None else begins.end()
    number, condition = 0, None
    match word:
        case "device":
            return device(text, at)
        case "cycle":
            number, at = _count(text, at)
        case "every":
            number, at = _count(text, at)
            _, at = _unit(text, at, ("cycles",))
        case "when" | "while":
            condition, at = parse_expression(text, at)
    if word != "start":
        at = _mark(text, at, ":", "a colon, and then what is set")
    settings, at = _settings(text, at)
    lasts, unit, until = 0, "cycles", None
    if found := _FOR.match(text, at):
        lasts, at = _count(text, found.end())
        unit, at = _unit(text, at, ("cycles", "phases"))
    if found := _UNTIL.match(text, at):
        until, at = parse_expression(text, found.end())
    if word == "while" and (lasts or until is not None):
        raise Misread("syntax", "`while` says already how long", len(text), len(text),
                      help="write `when` where it shall last for so many cycles or until something else")
    _end(text, at)
    return tree.Doing(word, number, condition, settings, lasts, "phases" if unit == "phases" else "cycles", until,
                      text.whole())


def _keyword(text: Placed) -> Keyword:
    begins = _BEGINS.match(text)
    return "start" if begins is None else _KEYWORDS[begins[1].split()[-1]]


def device(text: Placed, at: int) -> tree.Device:
    """`NAME = VALUE when CONDITION`. Raises `Misread`."""
    name, at = _name(text, at)
    at = _mark(text, at, "=", "`=`, and then what it takes")
    value, at = parse_expression(text, at)
    found = _WHEN.match(text, at)
    if found is None:
        raise _expected(text, at, "`when`, and then the condition under which it takes that")
    when, at = parse_expression(text, found.end())
    _end(text, at)
    return tree.Device(name, value, when, text.whole())


def _settings(text: Placed, at: int) -> tuple[tuple[tree.InputSetting, ...], int]:
    settings = []
    while True:
        name, at = _name(text, at)
        at = _mark(text, at, "=", "`=`, and then its value")
        values, at = _values(text, at)
        settings.append(tree.InputSetting(name, values))
        found = _MARK.match(text, at)
        if found is None or found[1] != ",":
            return tuple(settings), at
        at = found.end()


def _values(text: Placed, at: int) -> tuple[tuple[tree.Word | tree.Number, ...], int]:
    """One value, or several in brackets."""
    opened = _MARK.match(text, at)
    if opened is None or opened[1] != "(":
        value, at = _value(text, at)
        return (value,), at
    values, at = [], opened.end()
    while True:
        value, at = _value(text, at)
        values.append(value)
        found = _MARK.match(text, at)
        if found is None or found[1] not in ",)":
            raise _expected(text, at, "a comma or the closing bracket")
        at = found.end()
        if found[1] == ")":
            return tuple(values), at


def _value(text: Placed, at: int) -> tuple[tree.Word | tree.Number, int]:
    found = _VALUE.match(text, at)
    if found is None:
        raise _expected(text, at, "a number or the name of a code")
    if found[2] is not None:
        return tree.Word(found[2], text.span(found.start(2), found.end())), found.end()
    number = read_number(text, found.start(1), found[1])
    return tree.Number(number.value, number.digits_width, text.span(found.start(1), found.end())), found.end()


def _name(text: Placed, at: int) -> tuple[tree.Word, int]:
    found = _NAME.match(text, at)
    if found is None:
        raise _expected(text, at, "a name")
    return tree.Word(found[1], text.span(found.start(1), found.end())), found.end()


def _count(text: Placed, at: int) -> tuple[int, int]:
    found = _VALUE.match(text, at)
    if found is None or found[1] is None:
        raise _expected(text, at, "a number of cycles")
    number = read_number(text, found.start(1), found[1]).value
    if not number:
        raise Misread("syntax", "cycles are counted from 1", found.start(1), found.end(), "0")
    return number, found.end()


def _unit(text: Placed, at: int, units: tuple[str, ...]) -> tuple[str, int]:
    found = _UNIT.match(text, at)
    if found is None or f"{found[1]}s" not in units:
        raise _expected(text, at, " or ".join(f"`{unit}`" for unit in units))
    return f"{found[1]}s", found.end()


def _mark(text: Placed, at: int, mark: str, wanted: str) -> int:
    found = _MARK.match(text, at)
    if found is None or found[1] != mark:
        raise _expected(text, at, wanted)
    return found.end()


def _end(text: Placed, at: int) -> None:
    if text[at:].strip():
        raise _expected(text, at, "the end of the line")


def _expected(text: Placed, at: int, wanted: str) -> Misread:
    shown, start, end = found_at(text, at)
    return Misread("syntax", f"{wanted} should stand here, and there is {shown}", start, end)
