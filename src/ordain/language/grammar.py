"""The pieces of which statement grammars are made, in pyparsing, and how a line is read with one.

A grammar reads one logical line. Its leaves are tree nodes already: the text given to pyparsing is a `Placed`, which
knows where it stands. Parse actions return lists because pyparsing takes tuples, and so named tuples, apart.
"""

import re
from collections.abc import Callable
from functools import cached_property
from string import ascii_letters, digits
from typing import Any, NamedTuple

import pyparsing as pp

from ordain.language import tree
from ordain.language.expression import begins_choose, parse_expression
from ordain.language.words import DOTTED, NAME, NUMBER, Misread, found_at, read_number
from ordain.text.findings import Finding
from ordain.text.lines import Placed
from ordain.text.source import Span

# ---------------------------------------------------------------- tokens

_OF_WORDS = frozenset(ascii_letters + digits + "_")
"""The characters of which words are made: none of them may follow one."""


class _Token(pp.Token):
    """A token by its regular expression. `make` gets the line, the offset and the text of the token, and gives a list
    of what stands for it in the result: a regular expression, an action and a suppression in one."""

    def __init__(self, pattern: str, make: Callable[[Any, int, str], list[Any]], what: str) -> None:
        super().__init__()
        self._pattern, self._make = pattern, make
        self.set_name(what)

    def _generateDefaultName(self) -> str:
        return "a word"

    @cached_property
    def _match(self) -> Callable[[str, int], re.Match[str] | None]:
        return re.compile(self._pattern).match      # for many a word nobody ever asks

    def parseImpl(self, instring: Any, loc: int, do_actions: bool = True) -> Any:
        found = self._match(instring, loc)
        if found is None:
            raise pp.ParseException(instring, loc, self.errmsg, self)
        return found.end(), self._make(instring, loc, found[0])


class _Keyword(pp.Token):
    """One fixed word, which leaves nothing in the result. Without a regular expression: there are as many of these as
    the language has words, and compiling them would take longer than reading a machine with them."""

    def __init__(self, word: str) -> None:
        super().__init__()
        self._word = word
        self.set_name(f"`{word}`")

    def _generateDefaultName(self) -> str:
        return "a word"

    def parseImpl(self, instring: Any, loc: int, do_actions: bool = True) -> Any:
        end = loc + len(self._word)
        if not instring.startswith(self._word, loc) or instring[end:end + 1] in _OF_WORDS:
            raise pp.ParseException(instring, loc, self.errmsg, self)
        return end, []


def _nothing(text: Any, at: int, token: str) -> list[Any]:
    return []


def _word(text: Placed, at: int, token: str) -> list[tree.Word]:
    return [tree.Word(token, text.span(at, at + len(token)))]


def _number(text: Placed, at: int, token: str) -> list[tree.Number]:
    value = read_number(text, at, token)
    return [tree.Number(value.value, value.digits_width, text.span(at, at + len(token)))]


def _quoted(text: Placed, at: int, token: str) -> list[tree.Text]:
    return [tree.Text(token[1:-1], text.span(at, at + len(token)))]


def _hole(text: Placed, at: int, token: str) -> list[tree.Hole]:
    return [tree.Hole(token[1:-1].strip(" "), text.span(at, at + len(token)))]


def leaf(pattern: str, make: Callable[[Any, int, str], list[Any]], what: str) -> pp.ParserElement:
    """A token by its regular expression; `make` (line, offset, text of the token) gives a list of what stands for it,
    `what` is how a message calls it."""
    return _Token(pattern, make, what)


def word(pattern: str, what: str) -> pp.ParserElement:
    """A name by its regular expression."""
    return _Token(pattern, _word, what)


def name(what: str = "a name") -> pp.ParserElement:
    """A plain name."""
    return word(rf"{NAME}(?![\w.])", what)


def dotted(what: str = "a name") -> pp.ParserElement:
    """A name that may be qualified: `console.mode`."""
    return word(DOTTED, what)


def number(what: str = "a number", pattern: str = NUMBER) -> pp.ParserElement:
    return leaf(pattern, _number, what)


def quoted(what: str = "a text in quotes") -> pp.ParserElement:
    return leaf(r'"[^"]*"', _quoted, what)


def hole(what: str = "a hole such as `<there>`") -> pp.ParserElement:
    return leaf(rf"< *{NAME} *>", _hole, what)


def fixed(pattern: str, what: str) -> pp.ParserElement:
    """Something that must be there and leaves nothing in the result."""
    return _Token(pattern, _nothing, what)


def kw(words: str) -> pp.ParserElement:
    """Fixed words, any number of blanks between them; they leave nothing in the result."""
    if " " not in words:
        return _Keyword(words)
    return fixed(" +".join(words.split(" ")) + r"(?![A-Za-z0-9_])", f"`{words}`")


def counted(unit: str) -> pp.ParserElement:
    """`bit` or `bits`, `cycle` or `cycles`."""
    return fixed(rf"{unit}s?(?!\w)", f"`{unit}s`")


def one_of(meaning: dict[str, Any], what: str) -> pp.ParserElement:
    """Fixed words that stand for something: words -> meaning."""
    pattern = "|".join(" +".join(words.split(" ")) for words in sorted(meaning, key=len, reverse=True))
    return leaf(rf"(?:{pattern})(?![A-Za-z0-9_])", lambda _, __, token: [meaning[" ".join(token.split())]], what)


def mark(sign: str) -> pp.ParserElement:
    return fixed(re.escape(sign), f"`{sign}`")


def refused(pattern: str, message: str, label: str, help: str) -> pp.ParserElement:
    """What people write here and what is not the language: a message of its own."""
    def refuse(text: Any, at: int, token: str) -> list[Any]:
        raise Misread("syntax", message, at, at + len(token), label, help)

    return pp.Opt(_Token(pattern, refuse, message))


def either(what: str, *choices: pp.ParserElement) -> pp.ParserElement:
    """The first of the choices that fits; `what`: what they may be, for the message."""
    return pp.MatchFirst(choices).set_name(what)


def listed(element: pp.ParserElement) -> pp.ParserElement:
    """One or more, with commas between."""
    return element + pp.ZeroOrMore(mark(",") - element)


class Option(NamedTuple):
    """A part of a statement with a name of ours; `parts` are the nodes in it."""

    tag: str
    parts: tuple[Any, ...]
    span: Span


def option(tag: str, element: pp.ParserElement) -> pp.ParserElement:
    """`element`, handed on as an `Option`."""

    def tagged(text: Any, at: int, found: pp.ParseResults) -> list[Option]:
        return [Option(tag, tuple(found), text.span(at, len(text)))]

    return pp.And([element]).set_parse_action(tagged)


def options(what: str, *choices: pp.ParserElement) -> pp.ParserElement:
    """`, option, option` at the end of a statement, in any order; `what`: what they may be, for the message."""
    return pp.ZeroOrMore(mark(",") - either(what, *choices))


class _Expression(pp.Token):
    """An expression, read by `language.expression`. `choose`: `choose X` may stand here, its cases being the block."""

    def __init__(self, choose: bool, until_and: bool) -> None:
        super().__init__()
        self._choose, self._until_and = choose, until_and
        self.set_name("a value")

    def _generateDefaultName(self) -> str:
        return "a value"

    def parseImpl(self, instring: Any, loc: int, do_actions: bool = True) -> Any:
        after = begins_choose(instring, loc) if self._choose else 0
        if after:
            subject, end = parse_expression(instring, after)
            return end, [tree.Choose(subject, (), None, instring.span(loc, end))]
        node, end = parse_expression(instring, loc, self._until_and)
        return end, [node]


def expression(until_and: bool = False) -> pp.ParserElement:
    return _Expression(False, until_and)


def value() -> pp.ParserElement:
    """An expression, or `choose X` whose cases are the lines below."""
    return _Expression(True, False)


def width() -> pp.ParserElement:
    """`8 bits`"""
    return number("a width such as `8 bits`") - counted("bit")


def bit_range() -> pp.ParserElement:
    """`[9:2]` or `[3]`, as a (high, low) pair in a list."""

    def pair(text: Any, at: int, found: pp.ParseResults) -> list[tuple[int, int]]:
        high, low = found[0].value, found[-1].value
        if high < low:
            raise Misread("syntax", "the high bit comes first", at, text.index("]", at) + 1, "low bit first",
                          f"write [{low}:{high}]")
        return [(high, low)]

    bit = number("the number of a bit")
    return (mark("[") + bit + pp.Opt(mark(":") - bit) + mark("]")).set_parse_action(pair)


# ---------------------------------------------------------------- a line


def line(*parts: pp.ParserElement) -> pp.ParserElement:
    """A grammar for a whole line."""
    whole: pp.ParserElement = pp.And([*parts, pp.StringEnd().set_name("the end of the line")])
    return whole.parse_with_tabs()


def read_line(grammar: pp.ParserElement, text: Placed, form: str) -> tuple[pp.ParseResults | None, list[Finding]]:
    """The parts of a line, or a finding. `form`: how such a statement is written."""
    try:
        return grammar.parse_string(text), []
    except Misread as misread:
        return None, [misread.finding(text, form)]
    except pp.ParseBaseException as problem:
        what, start, end = found_at(text, problem.loc)
        message = f"{problem.msg[0].lower()}{problem.msg[1:]}, found {what}"
        label = "not expected here" if start < end else "something is missing here"
        return None, [Misread("syntax", message, start, end, label).finding(text, form)]
