"""The files of a microprogram, read into one `tree.MicroFile` with its sequences and families expanded."""

import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

import pyparsing as pp

from ordain.language import tree
from ordain.language.clauses import ClauseTable
from ordain.language.effects import FORMS, Head, read_effects, read_head
from ordain.language.expansion import Sequence, expand
from ordain.language.families import FamilyVariable, InstructionFamily, MapDraft, RowDraft, VariableValue
from ordain.language.grammar import (
    dotted,
    either,
    hole,
    kw,
    leaf,
    line,
    listed,
    mark,
    name,
    number,
    option,
    quoted,
    read_line,
    word,
)
from ordain.language.machine_file import Fetch, from_memory, shown_name
from ordain.language.micro_body import read_body
from ordain.language.opcodes import Pattern, pattern
from ordain.language.words import DOTTED, NAME, NUMBER, Misread, read_number
from ordain.text.findings import Finding, Place, error
from ordain.text.lines import Line, Placed, in_order, logical_lines
from ordain.text.reading import read_beside
from ordain.text.source import Source, Span
from ordain.text.spelling import nearest

# ---------------------------------------------------------------- headers


_OPCODES = "opcodes such as `0x3A` or `0b01xx_0110`, or `others`"


def _constraints() -> pp.ParserElement:
    """`at 0x3F0`, `align 4`, `same page 256`, in any order."""
    place = either("an address or a constant", number(), dotted())
    one = (option("at", kw("at") - place) | option("align", kw("align") - number("a number of words"))
           | option("same page", kw("same page") - number("the number of words of a page")))
    return pp.ZeroOrMore(pp.Opt(mark(",")) + one)


@cache
def _routine() -> pp.ParserElement:
    store = option("in", kw("in") - name("the name of a store"))
    return line(kw("routine") - name("a name for the routine") + pp.Opt(store) + _constraints())


@cache
def _instruction() -> pp.ParserElement:
    return line(kw("instruction") - either(_OPCODES, kw("others"), listed(pattern()))
                - quoted("the instruction's title in quotes") + _family() + _constraints())


def _family() -> pp.ParserElement:
    """`for d in (acc, b = 2, c), s in (acc, b)`"""
    member = option("value", leaf(rf'{DOTTED}|{NUMBER}|"[^"]*"', _raw, "a name, a number or a text in quotes")
                    + pp.Opt(mark("=") - number("the code")))
    variable = option("variable", leaf(r"[A-Za-z](?!\w)", _raw, "a letter of the opcode") + kw("in") - mark("(")
                      - listed(member) - mark(")"))
    return pp.Opt(kw("for") - variable + pp.ZeroOrMore(pp.Opt(mark(",")) + pp.Opt(kw("for")) + variable))


def _raw(text: Placed, at: int, token: str) -> list[tree.Text]:
    if token[0].isdecimal():
        read_number(text, at, token)
    return [tree.Text(token.strip('"'), text.span(at, at + len(token)))]


@cache
def _sequence() -> pp.ParserElement:
    return line(kw("sequence") - name("the first word of the call")
                + pp.ZeroOrMore(name("a word of the call") | hole("a hole such as `<reg>`")))


@cache
def _prologue() -> pp.ParserElement:
    return line(kw("prologue"))


@cache
def _map() -> pp.ParserElement:
    return line(kw("map") - name("the name of a mapping store"))


@cache
def _row() -> pp.ParserElement:
    target = word(r"(?:[A-Za-z_]|\{[A-Za-z]\})(?:[A-Za-z0-9_.]|\{[A-Za-z]\})*", "a label")
    return line(either(_OPCODES, kw("others"), listed(pattern())) - mark(":")
                - either("a label", target, quoted().add_parse_action(_as_word)) + _family())


def _as_word(found: pp.ParseResults) -> list[tree.Word]:
    return [tree.Word(found[0].text, found[0].span)]


_HEADERS: dict[str, tuple[Any, str]] = {
    "routine": (_routine, "routine NAME [in STORE] [at ADDRESS] [align N] [same page N]"),
    "instruction": (_instruction, 'instruction OPCODE, OPCODE "TITLE" [for LETTER in (NAME, NAME)]\n'
                                  'instruction others "TITLE"'),
    "sequence": (_sequence, "sequence WORDS <HOLE>"),
    "prologue": (_prologue, "prologue"),
    "map": (_map, "map STORE"),
    "effect": (_prologue, "effect NAME(VALUE, VALUE)"),
}
_MEANS = re.compile(r"means(?![A-Za-z0-9_.]| *:)")
_ROW_USAGE = "OPCODE, OPCODE : LABEL\nothers : LABEL"

# ---------------------------------------------------------------- reading


def read_microprogram(directory: Path, files: tuple[tree.Text, ...]) -> tuple[tree.MicroFile | None, list[Finding]]:
    """The named files, looked for in `directory`, that of the machine file. None when none of them can be read."""
    findings: list[Finding] = []
    wanted: dict[str, Span | None] = {}
    for file in files:
        shown, faults = shown_name(file)
        findings += faults
        first = wanted.get(shown)
        if first is not None:
            findings.append(error("included-twice", f"`{shown}` is named twice", file.span, "the second time",
                                  places=(Place(first, "the first time"),), help="name it once"))
        elif shown:
            wanted[shown] = file.span
    micro, faults = _read_all(wanted, lambda shown, asked_by: read_beside(directory, shown, asked_by))
    return micro, findings + faults


def parse_microprogram(sources: Mapping[str, str], order: Iterable[str]) -> tuple[tree.MicroFile | None, list[Finding]]:
    """The same from memory: texts by file name, and the order in which to read them."""
    return _read_all(dict.fromkeys(order), from_memory(sources))


def _read_all(wanted: Mapping[str, Span | None], fetch: Fetch) -> tuple[tree.MicroFile | None, list[Finding]]:
    reading = Reading()
    for shown, asked_by in wanted.items():
        source, digest, findings = fetch(shown, asked_by)
        reading.findings += findings
        if source is not None:
            reading.sources.append(tree.SourceFile(shown, digest))
            reading.file(source)
    if not reading.sources:
        return None, reading.findings
    statements, findings = expand(reading.statements, reading.sequences, reading.table)
    made = tree.MicroFile(tuple(statements), tuple(reading.sources), frozenset(reading.unread))
    return made, reading.findings + findings


class Reading:
    """What has been read so far; sequences and families are still as written. `table.runs` counts grammar runs."""

    def __init__(self) -> None:
        self.table = ClauseTable()
        self.statements: list[tree.MicroStatement | InstructionFamily | MapDraft] = []
        self.sequences: list[Sequence] = []
        self.sources: list[tree.SourceFile] = []
        self.findings: list[Finding] = []
        self.unread: set[str] = set()

    def file(self, source: Source) -> None:
        before, self.findings = self.findings, []
        lines, findings = logical_lines(source)
        self.findings += findings
        heads = [index for index, line in enumerate(lines) if not line.depth]
        if lines and (not heads or heads[0]):
            first = Span(source, lines[0].start, lines[0].start + len(lines[0].text))
            self.findings.append(error("indentation", "a word that belongs to no routine", first,
                                       "indented under nothing",
                                       help="begin a `routine`, `instruction` or `sequence` above it, in column 1"))
        for head, end in zip(heads, [*heads[1:], len(lines)]):
            self._statement(source, lines[head], lines[head + 1:end])
        self.findings = before + in_order(self.findings)

    def _statement(self, source: Source, head: Line, lines: list[Line]) -> None:
        text = Placed(head.text, source, head.start)
        word = head.text.split(" ", 1)[0].split(":", 1)[0].split(",", 1)[0]
        faults = [] if head.broken else self.findings
        if word not in _HEADERS:
            near = nearest(word[:40], _HEADERS)
            faults.append(error(
                "unknown-statement", f"a microprogram has no statement `{word[:40]}`", text.span(0, max(1, len(word))),
                "unknown here", help=f"did you mean `{near}`?" if near else "it may hold " + ", ".join(
                    f"`{known}`" for known in _HEADERS) + "; words are indented under them"))
            faults = []
            if near:
                text = Placed(near + text[len(word):], source, head.start + len(word) - len(near))
            word = near or ""
        if word == "effect":
            self._effects(text, lines, faults)
            return
        grammar, usage = _HEADERS.get(word, (_prologue, ""))
        parts, problems = read_line(grammar(), text, usage)
        faults += problems
        if parts is None or not word:
            self.unread.update(re.findall(NAME, text))
        self._body(word, text, parts, lines)

    def _body(self, word: str, text: Placed, parts: Any, lines: list[Line]) -> None:
        """The lines under a header. They are read, for their own findings, even where the header cannot be."""
        if word == "map":
            self._read_map(text, parts, lines)
            return
        lines, meaning = self._means(word, text, lines)
        holes = _holes(word, parts) if parts is not None else None
        body = read_body(lines, text.source, self.table, self.findings, holes)
        if not word or parts is None:
            return
        span = text.whole()
        if not lines:
            self.findings.append(error("empty-body", f"this `{word}` has no words", span,
                                       "nothing is indented under it",
                                       help="indent its microinstructions under it, one a line"))
        match word:
            case "routine":
                said = {part.tag: part.parts[0] for part in parts[1:]}
                place = self._constraint(parts, span)
                self.statements.append(tree.Routine(parts[0], said.get("in"), place, body, span))
            case "instruction":
                self._instruction(parts, body, span, meaning)
            case "sequence":
                self.sequences.append(Sequence(tuple(parts), body, span))
            case _:
                self.statements.append(tree.Prologue(body, span))

    def _constraint(self, parts: Any, span: Span) -> tree.PlaceConstraint:
        said: dict[str, Any] = {}
        for part in parts:
            tag = getattr(part, "tag", "")
            if tag in said:
                self.findings.append(error("said-twice", f"`{tag}` is said twice", part.span, "the second time",
                                           help="keep one of them"))
            elif tag in ("at", "align", "same page"):
                said[tag] = part.parts[0]
        align, page = said.get("align"), said.get("same page")
        for size in (align, page):
            if size is not None and size.value < 1:
                self.findings.append(error("bad-number", "a number of words below 1", size.span, "at least 1",
                                           help="write how many words, usually a power of two"))
        return tree.PlaceConstraint(said.get("at"), align.value if align else None, page.value if page else None)

    def _means(self, word: str, text: Placed, lines: list[Line]) -> tuple[list[Line], tuple[Placed, ...] | None]:
        """The lines that are words, and those that say what the instruction does."""
        said = [line for line in lines if _MEANS.match(line.text)]
        if not said:
            return lines, None
        if word and word != "instruction":
            first = Span(text.source, said[0].start, said[0].start + len("means"))
            self.findings.append(error(
                "meaning-of-nothing", f"a meaning in a `{word}`: only an instruction has one", first,
                "belongs to an instruction", help="put it under the instruction that these words carry out"))
        meaning = tuple(Placed(line.text, text.source, line.start) for line in said if not line.broken)
        return [line for line in lines if not _MEANS.match(line.text)], meaning or None

    def _effects(self, text: Placed, lines: list[Line], faults: list[Finding]) -> None:
        """`effect add(n)` and the effects under it."""
        items: list[tree.EffectItem] = []
        usage = _HEADERS["effect"][1]
        try:
            head: Head | None = read_head(text)
        except Misread as misread:
            faults.append(misread.finding(text, usage))
            head = None
        sound = head is not None
        for each in lines:
            placed = Placed(each.text, text.source, each.start)
            try:
                items += read_effects(placed, 0)
            except Misread as misread:
                sound = False
                if not each.broken:
                    self.findings.append(misread.finding(placed, FORMS))
        if not lines:
            self.findings.append(error("empty-body", "this `effect` says nothing", text.whole(),
                                       "nothing is indented under it", help="indent its effects under it"))
        if head is not None and sound:
            self.statements.append(tree.Effects(head.name, head.parameters, tuple(items), text.whole()))
        else:
            self.unread.update(re.findall(NAME, text))

    def _instruction(self, parts: Any, body: tuple[tree.MicroLine, ...], span: Span,
                     meaning: tuple[Placed, ...] | None) -> None:
        patterns = tuple(part for part in parts if isinstance(part, Pattern))
        title = next(part for part in parts if isinstance(part, tree.Text))
        self.statements.append(InstructionFamily(patterns, title, _variables(parts), self._constraint(parts, span),
                                                 body, span,
                                                 meaning))

    def _read_map(self, text: Placed, parts: Any, lines: list[Line]) -> None:
        rows = []
        for row in lines:
            placed = Placed(row.text, text.source, row.start)
            found, problems = read_line(_row(), placed, _ROW_USAGE)
            if not row.broken:
                self.findings += problems
            if found is None:
                self.unread.update(re.findall(NAME, placed))
            else:
                patterns = tuple(part for part in found if isinstance(part, Pattern))
                target = next(part for part in found if isinstance(part, tree.Word))
                rows.append(RowDraft(patterns, target, _variables(found), placed.whole()))
        if parts is not None:
            self.statements.append(MapDraft(parts[0], tuple(rows), text.whole()))


def _holes(word: str, parts: Any) -> frozenset[str]:
    """What is filled in under this header, as it is written: `{d}`, `<reg>`."""
    if word == "instruction":
        return frozenset(f"{{{variable.letter}}}" for variable in _variables(parts))
    if word == "sequence":
        return frozenset(f"<{part.name}>" for part in parts if isinstance(part, tree.Hole))
    return frozenset()


def _variables(parts: Any) -> tuple[FamilyVariable, ...]:
    variables = []
    for part in parts:
        if getattr(part, "tag", "") == "variable":
            letter, *members = part.parts
            values = tuple(VariableValue(member.parts[0], member.parts[1] if len(member.parts) > 1 else None)
                           for member in members)
            variables.append(FamilyVariable(letter.text, values, letter.span))
    return tuple(variables)

