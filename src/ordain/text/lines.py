"""Physical lines become logical ones, and lines become indented blocks.

A logical line keeps the length of what it was made from: comments are blanked and line ends are spaces, so that an
offset in it is an offset in the file. Nothing here recurses, and nothing hides the lines after a broken one.
"""

import re
from typing import NamedTuple

from ordain.text.findings import Finding, Place, error
from ordain.text.source import Source, Span

DEEPEST_BRACKET = 100
DEEPEST_BLOCK = 30
LONGEST_LOGICAL_LINE = 100_000
_WORDS_THAT_CARRY = 4
"""`Carry.ends` looks at no more words than these at the end of a line: `is not and`, and that one stands before it."""

_SPECIAL = re.compile(r'[\t"#()\[\]{}]')
_SIMPLE = re.compile(r'((?:[^\t"#()\[\]{}]++|"[^"\t]*+"|\([^\t"#()\[\]{}]*+\)|\{[^\t"#()\[\]{}]*+\})*+)(?:#.*)?')
"""A row in which every quote and bracket is closed and none stands in another, and its comment: nearly all rows."""

_PIECE = re.compile(r'"[^"\n]*"?|#[^\n]*|[()\[\]{}]|\t')
_CLOSES = {"(": ")", "[": "]", "{": "}"}


class Line(NamedTuple):
    """A logical line without comments and outer blanks. `start`: offset of its first character; `depth`: its column,
    from 0. `broken`: a finding has been made already (quote, bracket); more findings in it would only be echoes."""

    text: str
    start: int
    depth: int
    broken: bool


class Carry(NamedTuple):
    """Where a line goes on in the next row, if that is indented further, besides after a comma and inside brackets:
    after a row that `ends` so, and before one that `begins` so."""

    ends: re.Pattern[str]
    begins: re.Pattern[str]


class Placed(str):
    """The text of a logical line that knows where it stands, so that grammars can make spans."""

    __slots__ = ("source", "start")
    source: Source
    start: int

    def __new__(cls, text: str, source: Source, start: int) -> "Placed":
        self = super().__new__(cls, text)
        self.source, self.start = source, start
        return self

    def span(self, start: int, end: int) -> Span:
        """The place of the characters `start` up to `end` of this text."""
        return Span(self.source, max(0, self.start + start), self.start + end)

    def whole(self) -> Span:
        return self.span(0, len(self))


class Block(NamedTuple):
    """A line and the lines indented under it."""

    text: Placed
    depth: int
    broken: bool
    children: "list[Block]"


def flatten(text: str) -> str:
    """The same text on one line: comments blanked, line ends and tabs made spaces, the length kept."""
    return _PIECE.sub(lambda m: m[0] if m[0][0] not in "#\t" else " " * len(m[0]), text).replace("\n", " ")


def logical_lines(source: Source, carry: Carry | None = None) -> tuple[list[Line], list[Finding]]:
    """All logical lines of a file that hold more than a comment."""
    rows = source.text.split("\n")
    lines: list[Line] = []
    findings: list[Finding] = []
    tabs: list[int] = []
    search = _SPECIAL.search
    index = offset = 0
    while index < len(rows):
        row = rows[index]
        simple = True
        if search(row):
            match = _SIMPLE.fullmatch(row)
            simple = match is not None
            row = match[1] if match else row
        body = row.strip(" ")
        if body and (not simple or body[-1] == "," or (
                carry is not None and _carries(carry, body, _next(rows, index + 1)[1]))):
            gathered = _Gathering(source, rows, index, offset, tabs, carry)
            if gathered.line:
                lines.append(gathered.line)
            findings += gathered.findings
            index, offset = gathered.index, gathered.offset
            continue
        if body:
            depth = row.index(body[0])
            lines.append(Line(body, offset + depth, depth, False))
        offset += len(rows[index]) + 1
        index += 1
    if tabs:
        more = f"; {len(tabs) - 1} more in this file" if len(tabs) > 1 else ""
        findings.append(error("tab", f"a tab{more}", Span(source, tabs[0], tabs[0] + 1), "here",
                              help="indent and align with spaces: a tab looks different in every editor"))
    return lines, findings


def _next(rows: list[str], index: int) -> tuple[int, str, int]:
    """The next row from `index` on that holds more than a comment: which, without its indentation, and how deep it is;
    "" at the end of the file."""
    while index < len(rows):
        body = rows[index].lstrip(" \t")
        if body and body[0] != "#":
            return index, body, len(rows[index][:len(rows[index]) - len(body)].expandtabs(8))
        index += 1
    return index, "", 0


def _carries(carry: Carry, line: str, following: str) -> bool:
    """Whether the line, as far as it is gathered, or the row after it, says that it goes on."""
    return carry.ends.search(line) is not None or carry.begins.match(following) is not None


class _Gathering:
    """One logical line being put together from the rows that it covers."""

    def __init__(self, source: Source, rows: list[str], index: int, offset: int, tabs: list[int],
                 carry: Carry | None) -> None:
        self._carry = carry
        self.source, self.rows, self.index, self.offset = source, rows, index, offset
        self.findings: list[Finding] = []
        self.open: list[tuple[str, int]] = []
        self.line: Line | None = None
        self._tabs = tabs
        self._broken = False
        self._deep = False
        self._unclosed = False
        self._ending: list[str] = []
        self._following = -1, "", 0
        row = rows[index]
        lead = row[:len(row) - len(row.lstrip(" \t"))]
        text = self._take()
        if not text.strip(" "):
            return
        depth, start = len(lead.expandtabs(8)), offset + len(lead)
        parts = [text[len(lead):]]
        while self._goes_on(parts[-1], depth):
            parts.append(self._take())
        whole = " ".join(parts).rstrip(" ")
        if len(whole) > LONGEST_LOGICAL_LINE:
            self._fault("line-too-long", f"a statement of {len(whole):,} characters; the limit is "
                        f"{LONGEST_LOGICAL_LINE:,}", start, start + 40, "this statement", "split it")
            whole = ""
        whole = self._finish(whole, start)
        if whole:
            self.line = Line(whole, start, depth, self._broken)

    def _take(self) -> str:
        """The next row, blanked; brackets counted."""
        row, base = self.rows[self.index], self.offset
        if not row.strip():
            row = " " * len(row)
        elif _SPECIAL.search(row):
            row = _PIECE.sub(lambda m: self._piece(m[0], base + m.start()), row)
        self.offset += len(self.rows[self.index]) + 1
        self.index += 1
        return row

    def _piece(self, piece: str, at: int) -> str:
        if piece[0] == "#":
            return " " * len(piece)
        if piece == "\t":
            self._tabs.append(at)
            return " "
        if piece[0] == '"':
            if len(piece) == 1 or piece[-1] != '"':
                self._unclosed = True
                self._fault("unclosed-quote", "a quoted text is not closed", at, at + len(piece.rstrip(" ")),
                            "opened here", 'put the closing " on the same line')
            self._tabs += [at + i for i, c in enumerate(piece) if c == "\t"]
            return piece.replace("\t", " ")
        return self._bracket(piece, at)

    def _bracket(self, bracket: str, at: int) -> str:
        """What stands in the line for this bracket: itself, or what repairs the line as far as that can be guessed."""
        if bracket in _CLOSES:
            self.open.append((bracket, at))
            if len(self.open) > DEEPEST_BRACKET and not self._deep:
                self._deep = True
                self._fault("nested-too-deep", f"brackets nested more than {DEEPEST_BRACKET} deep", at, at + 1,
                            "this one goes too far", "give inner parts a name of their own with `signal`")
            return bracket
        if not self.open:
            self._fault("unmatched-bracket", f"`{bracket}` closes nothing", at, at + 1, "no bracket is open here",
                        "remove it, or open the bracket that it should close")
            return " "
        opener, opened_at = self.open.pop()
        if _CLOSES[opener] != bracket:
            self._fault("unmatched-bracket", f"`{bracket}` does not close `{opener}`", at, at + 1,
                        f"`{_CLOSES[opener]}` expected", f"close `{opener}` with `{_CLOSES[opener]}`",
                        (Place(Span(self.source, opened_at, opened_at + 1), "opened here"),))
        return _CLOSES[opener]

    def _goes_on(self, last: str, depth: int) -> bool:
        """Whether the next row belongs to this line, which so far ends in the row `last`. Only rows indented further
        do, or a closing bracket: so a bracket that was forgotten swallows no statement after its own."""
        if self._unclosed:
            return False
        self._ending = [*self._ending, *last.split()][-_WORDS_THAT_CARRY:]
        text = " ".join(self._ending)
        _, body, column = self._next_row()
        if not self.open and text[-1:] != "," and not (
                self._carry is not None and _carries(self._carry, text, body)):
            return False
        return bool(body) and (column > depth or (bool(self.open) and body[0] in ")]}"))

    def _next_row(self) -> tuple[int, str, int]:
        """As `_next`; comments are passed once, however many rows of this line they are."""
        if self._following[0] < self.index:
            self._following = _next(self.rows, self.index)
        return self._following

    def _finish(self, whole: str, start: int) -> str:
        """The line with what is missing at its end supplied, and findings for that."""
        if self._unclosed:
            whole += '"'
        elif self.open:
            bracket, at = self.open[-1]
            self._fault("unclosed-bracket", f"`{bracket}` is not closed", at, at + 1, "opened here",
                        f"close it with `{_CLOSES[bracket]}`; lines that carry on are indented further than the first")
        elif whole.endswith(","):
            end = start + len(whole)
            self._fault("unfinished-line", "the line ends in a comma, but nothing follows", end - 1, end,
                        "after this comma",
                        "remove the comma, or indent the line that carries on further than the first")
            whole = whole.rstrip(", ")
        return whole + "".join(_CLOSES[bracket] for bracket, _ in reversed(self.open))

    def _fault(self, name: str, message: str, start: int, end: int, label: str, help: str,
               places: tuple[Place, ...] = ()) -> None:
        self.findings.append(error(name, message, Span(self.source, start, end), label, help=help, places=places))
        self._broken = True


def in_order(findings: list[Finding]) -> list[Finding]:
    """The findings of one file in the order of its text. Where it has tabs, columns mean little, and a finding about
    indentation would only repeat that."""
    tabs = any(finding.name == "tab" for finding in findings)
    return sorted((finding for finding in findings if not (tabs and finding.name == "indentation")),
                  key=lambda finding: finding.span.start if finding.span else -1)


def blocks(source: Source, lines: list[Line]) -> tuple[list[Block], list[Finding]]:
    """Lines as a forest: a line indented further than the one before begins the block of that one. Blocks beyond the
    limit are left out."""
    roots: list[Block] = []
    findings: list[Finding] = []
    stack: list[tuple[int, list[Block]]] = [(0, roots)]    # (column of the lines of this block, the block)
    too_deep = False
    for line in lines:
        at = Span(source, line.start, line.start + 1)
        if line.depth > stack[-1][0]:
            if not roots:
                stack[0] = (line.depth, roots)
                findings.append(error("indentation", "the first statement is indented", at, "begins too far right",
                                      help="begin it in the first column"))
            elif len(stack) <= DEEPEST_BLOCK:
                stack.append((line.depth, stack[-1][1][-1].children))
            else:
                stack[-1][1][-1] = stack[-1][1][-1]._replace(broken=True)
                if not too_deep:
                    findings.append(error("nested-too-deep", f"blocks nested more than {DEEPEST_BLOCK} deep", at,
                                          "this block", help="give inner parts a name of their own with `signal`"))
                too_deep = True
                continue
        elif line.depth < stack[-1][0]:
            while len(stack) > 1 and line.depth < stack[-1][0]:
                last = stack.pop()
            if line.depth < stack[0][0]:
                stack[0] = (line.depth, roots)
            elif line.depth > stack[-1][0]:
                findings.append(error("indentation", "this line stands between two levels of indentation", at,
                                      f"column {line.depth + 1}; the block above has column {last[0] + 1}",
                                      help="align it with the lines of the block that it belongs to"))
                stack.append(last)
        stack[-1][1].append(Block(Placed(line.text, source, line.start), line.depth, line.broken, []))
    return roots, findings
