"""The comma-separated items of a microinstruction. The grammar runs once for each distinct text of a clause.

A microprogram repeats a few hundred clauses thousands of times; what a clause says depends on its text alone, so its
meaning holds offsets relative to the clause and is shared by all of its occurrences.
"""

import re
from functools import cache

import pyparsing as pp

from ordain.language import tree
from ordain.language.grammar import either, kw, leaf, listed, mark
from ordain.language.words import Misread, found_at, read_number
from ordain.text.findings import Finding, error
from ordain.text.lines import Placed
from ordain.text.source import Span

_HOLES = r"\{[A-Za-z_]\w*\}|<[A-Za-z_]\w*>"
ATOM = rf"(?:[A-Za-z_]|{_HOLES})(?:[A-Za-z0-9_]|\.(?=[A-Za-z_{{<])|{_HOLES})*"
_HOLE = re.compile(_HOLES)
_MARK = re.compile(r'"[^"]*"?|[(),]')
_TITLE = r'"[^"]*"'
_NUMBER = r"[0-9]\w*"

_FORM = "an order, a transfer `a <- b`, or a field and its code"


class ClauseTable:
    """Meanings by clause text. `runs` counts how often the grammar ran: once for each distinct text. `holed` are the
    texts with holes, which say something only when these are filled."""

    def __init__(self) -> None:
        self.meanings: dict[str, tree.ClauseMeaning] = {}
        self.holed: set[str] = set()
        self.runs = 0

    def meaning(self, text: str) -> tree.ClauseMeaning:
        """What a clause says; a `ClauseError` when it does not parse."""
        known = self.meanings.get(text)
        if known is None:
            self.runs += 1
            known = self.meanings[text] = _read(text)
            if _HOLE.search(text):
                self.holed.add(text)
        return known


def _read(text: str) -> tree.ClauseMeaning:
    try:
        if "<-" in text:
            return _transfer(text)
        grammar = _calls() if "(" in text else _words()
        return tree.Phrase(tuple(grammar.parse_string(text, parse_all=True)))
    except Misread as misread:
        return tree.ClauseError(misread.message, misread.start)
    except pp.ParseBaseException as problem:
        what, start, _ = found_at(text, problem.loc, "clause")
        return tree.ClauseError(f"{problem.msg[0].lower()}{problem.msg[1:]}, found {what}", start)


def _transfer(text: str) -> tree.Transfer:
    target, source, *via = _transfers().parse_string(text, parse_all=True)
    return tree.Transfer(target, source, via[0] if via else None)


def _atom(what: str) -> pp.ParserElement:
    return leaf(ATOM, lambda _, __, token: [token], what)


def _end(what: str) -> pp.ParserElement:
    return pp.StringEnd().set_name(f"{what} or the end of the clause")


@cache
def _transfers() -> pp.ParserElement:
    via = pp.Opt(kw("via") - _atom("the name of a bus"))
    return (_atom("the name of what is loaded") - mark("<-") - _atom("the name of the source") + via
            + _end("`via BUS`"))


@cache
def _words() -> pp.ParserElement:
    return pp.OneOrMore(_part()) + _end("a word, a number")


@cache
def _calls() -> pp.ParserElement:
    argument = leaf(rf"{ATOM} *\([^()]*\)|{ATOM}|{_NUMBER}|{_TITLE}", lambda _, __, token: [token], "a label")
    opening = leaf(rf"{ATOM} *\(", lambda _, __, token: [token], "a call")
    called = (opening - listed(argument) + mark(")")).set_parse_action(_call)
    return pp.OneOrMore(either(_FORM, called, _part())) + _end("a word, a number")


def _part() -> pp.ParserElement:
    return leaf(rf"{ATOM}|{_NUMBER}|{_TITLE}", _plain, _FORM)


def _plain(text: str, at: int, token: str) -> list[tree.PhrasePart]:
    end = at + len(token)
    if token[0].isdecimal():
        return [tree.PhrasePart(token, read_number(text, at, token).value, None, at, end)]
    return [tree.PhrasePart(token[1:-1] if token[0] == '"' else token, None, None, at, end)]


def _call(text: str, at: int, found: pp.ParseResults) -> list[tree.PhrasePart]:
    opening, *arguments = found
    inside = 0
    for end in range(at, len(text)):
        inside += (text[end] == "(") - (text[end] == ")")
        if text[end] == ")" and not inside:
            break
    names = tuple(argument.strip('"') for argument in arguments)
    return [tree.PhrasePart(opening[:-1].rstrip(" "), None, names, at, end + 1)]


# ---------------------------------------------------------------- a line of them


def split_clauses(text: str, start: int) -> list[tuple[str, int]]:
    """The pieces between top-level commas without their outer blanks, and the offset of each.

    `start`: the offset of `text` itself.
    """
    depth = begin = 0
    found = []
    for sign in (*_MARK.finditer(text), None):
        kind, at = (sign[0], sign.start()) if sign else (",", len(text))
        if kind == "(":
            depth += 1
        elif kind == ")":
            depth = max(0, depth - 1)
        elif kind == "," and (not depth or sign is None):
            piece = text[begin:at]
            found.append((piece.strip(" "), start + begin + len(piece) - len(piece.lstrip(" "))))
            begin = at + 1
    return found


def clause_finding(text: str, meaning: tree.ClauseError, span: Span) -> Finding:
    """The finding for a clause that does not parse. `text` is not that of `span` where holes have been filled."""
    place = span
    if len(text) == span.end - span.start:
        _, start, end = found_at(text, meaning.offset)
        place = Span(span.source, span.start + start, span.start + end)
    return error("syntax", meaning.message, place, "cannot be read",
                 help=f"a clause is {_FORM}; clauses are separated by commas")


def empty_clause(span: Span) -> Finding:
    return error("syntax", "nothing stands between two commas", span, "empty", help="remove a comma")


def parse_clauses(text: Placed, table: ClauseTable | None = None) -> tuple[tuple[tree.Clause, ...], list[Finding]]:
    """The clauses of a line that is a microinstruction without label."""
    table = table or ClauseTable()
    clauses: list[tree.Clause] = []
    findings: list[Finding] = []
    for piece, offset in split_clauses(text, 0):
        span = text.span(offset, offset + len(piece))
        if not piece:
            findings.append(empty_clause(span))
            continue
        meaning = table.meaning(piece)
        if isinstance(meaning, tree.ClauseError):
            findings.append(clause_finding(piece, meaning, span))
        clauses.append(tree.Clause(piece, meaning, span))
    return tuple(clauses), findings
