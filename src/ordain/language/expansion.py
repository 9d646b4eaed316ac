"""Sequences and families written out, so that later stages see flat bodies.

A sequence stands in the text where it is called; a family is one instruction for each combination of its variables.
Both are substitution of text: `<hole>` by what the call holds, `{d}` by a value. Spans stay those of the written text.
"""

import re
from typing import NamedTuple

from ordain.language import tree
from ordain.language.clauses import ClauseTable, clause_finding
from ordain.language.effects import FORMS, MeansLine, read_means, together
from ordain.language.expression import parse_expression
from ordain.language.families import InstructionFamily, MapDraft, check_title, members
from ordain.language.words import Misread
from ordain.text.findings import Finding, Place, error
from ordain.text.lines import Placed, flatten
from ordain.text.source import Span

MOST_WORDS = 1 << 20
"""Words and calls written out; more than any control store has."""

DEEPEST_CALL = 30

_HOLE = re.compile(r"\{([A-Za-z_]\w*)\}|<([A-Za-z_]\w*)>", re.ASCII)


class Sequence(NamedTuple):
    """`sequence push <reg>` and its words."""

    phrase: tuple[tree.Word | tree.Hole, ...]
    body: tuple[tree.MicroLine, ...]
    span: Span

    @property
    def name(self) -> str:
        return " ".join(part.text if isinstance(part, tree.Word) else f"<{part.name}>" for part in self.phrase)


class _Call(NamedTuple):
    sequence: Sequence
    fill: dict[str, str]


def expand(statements: list[tree.MicroStatement | InstructionFamily | MapDraft], sequences: list[Sequence],
           table: ClauseTable) -> tuple[list[tree.MicroStatement], list[Finding]]:
    """All statements with their sequences and families written out."""
    writing = _Writing(sequences, table)
    done: list[tree.MicroStatement] = []
    for statement in statements:
        match statement:
            case InstructionFamily():
                done += _family(statement, writing)
            case MapDraft():
                done.append(_map(statement, writing))
            case tree.Routine() | tree.Prologue():
                writing.check_holes(statement.body)
                done.append(statement._replace(body=writing.write(statement.body)))
            case _:
                done.append(statement)
    return done, writing.findings


def _family(family: InstructionFamily, writing: "_Writing") -> list[tree.MicroStatement]:
    """One instruction for each combination of values."""
    writing.check_holes(family.body, braced=frozenset(variable.letter for variable in family.variables))
    made, faults = members(family.patterns, family.variables, family.span)
    faults = faults or check_title(family)
    writing.findings += faults
    done: list[tree.MicroStatement] = []
    for member in made if not faults else ():
        title = family.title._replace(text=_fill(family.title.text, member.fill))
        done.append(tree.Instruction(member.patterns, title, family.title.text if family.variables else None,
                                     family.constraint, writing.write(family.body, member.fill), family.span,
                                     None if family.meaning is None else writing.meaning(family.meaning, member.fill)))
    return done


def _map(draft: MapDraft, writing: "_Writing") -> tree.Map:
    rows = []
    for row in draft.rows:
        made, faults = members(row.patterns, row.variables, row.span)
        writing.findings += faults
        for member in made:
            target = row.target._replace(text=_fill(row.target.text, member.fill))
            rows.append(tree.MapRow(member.patterns, target, row.span))
    return tree.Map(draft.store, tuple(rows), draft.span)


class _Writing:
    """`calls` remembers, by clause text, which sequence a clause calls. `reported`: what has a finding already, so that
    a fault in a text that is written out many times is one finding. `written` counts words and calls."""

    def __init__(self, sequences: list[Sequence], table: ClauseTable) -> None:
        self.table = table
        self.findings: list[Finding] = []
        self.calls: dict[str, _Call | None] = {}
        self.by_word: dict[str, list[Sequence]] = {}
        self.written = 0
        self.effects: dict[tuple[str, int, str], MeansLine | None] = {}
        self.reported: set[tuple[str, int]] = set()
        for sequence in sequences:
            self._define(sequence)

    def _define(self, sequence: Sequence) -> None:
        same = self.by_word.setdefault(sequence.name.split(" ", 1)[0], [])
        for other in same:
            if _shape(other) == _shape(sequence):
                self.findings.append(error("defined-twice", f"the sequence `{sequence.name}` is defined twice",
                                           sequence.span, "the second time",
                                           places=(Place(other.span, "the first time"),),
                                           help="give one of them another name"))
                return
        holes = frozenset(part.name for part in sequence.phrase if isinstance(part, tree.Hole))
        self.check_holes(sequence.body, angled=holes)
        same.append(sequence)

    def _once(self, finding: Finding) -> None:
        """A finding, unless it has been made for another member or call; too many words are reported once in all."""
        at = finding.span.start if finding.span and finding.name != "too-many-words" else -1
        key = (finding.name + finding.message, at)
        if key not in self.reported:
            self.reported.add(key)
            self.findings.append(finding)

    # ------------------------------------------------------------ bodies

    def write(self, body: tuple[tree.MicroLine, ...], fill: dict[str, str] | None = None,
              called_from: Span | None = None, chain: tuple[Sequence, ...] = ()) -> tuple[tree.MicroLine, ...]:
        """A body with its holes filled and its calls written out. `chain`: the sequences that it is written for, the
        outermost first. Recursion ends with the limits on arms and calls."""
        if not fill and not self.by_word:
            return body
        done: list[tree.MicroLine] = []
        for item in body:
            if isinstance(item, tree.When):
                arms = tuple(arm._replace(condition=self._condition(arm.condition, fill or {}),
                                          body=self.write(arm.body, fill, called_from, chain),
                                          text=_fill(arm.text, fill or {})) for arm in item.arms)
                done.append(item._replace(arms=arms))
                continue
            micro = self._filled(item, fill) if fill else item
            if called_from is not None:
                micro = micro._replace(called_from=called_from)
            done += self._called(micro, chain)
            self.written += 1
        return tuple(done)

    def _filled(self, micro: tree.Micro, fill: dict[str, str]) -> tree.Micro:
        clauses = []
        for clause in micro.clauses:
            text = _fill(clause.text, fill)
            if text == clause.text:
                clauses.append(clause)
                continue
            meaning = self.table.meaning(text)
            if isinstance(meaning, tree.ClauseError) and not isinstance(clause.meaning, tree.ClauseError):
                self._once(clause_finding(text, meaning, clause.source_span))
            clauses.append(tree.Clause(text, meaning, clause.source_span))
        label = micro.label._replace(text=_fill(micro.label.text, fill)) if micro.label else None
        return micro._replace(label=label, clauses=tuple(clauses))

    def _condition(self, condition: tree.Expr | None, fill: dict[str, str]) -> tree.Expr | None:
        """The condition of an arm, read again where it has holes; places in it are then the whole condition."""
        if condition is None or not fill or isinstance(condition, tree.Number):
            return condition
        written = flatten(condition.span.text)
        text = _fill(written, fill)
        if text == written:
            return condition
        placed = _Replaced(text, condition.span.source, condition.span.start)
        placed.place = condition.span
        try:
            return parse_expression(placed, 0)[0]
        except Misread as misread:
            self._once(misread.finding(placed, "when CONDITION"))
            return condition

    def meaning(self, lines: tuple[Placed, ...], fill: dict[str, str]) -> tree.Meaning | None:
        """The `means` lines with their holes filled; None where one of them cannot be read, which is told once."""
        found: list[tuple[MeansLine, Placed]] = []
        for line in lines:
            text = _fill(line, fill)
            placed = line
            if text != line:
                placed = _Replaced(text, line.source, line.start)
                placed.place = line.whole()
            key = (text, line.start, line.source.name)
            if key not in self.effects:
                try:
                    self.effects[key] = read_means(placed)
                except Misread as misread:
                    self.effects[key] = None
                    self._once(misread.finding(placed, FORMS))
            read = self.effects[key]
            if read is None:
                return None
            found.append((read, placed))
        try:
            return together(found)
        except Misread as misread:
            self._once(misread.finding(found[-1][1], FORMS))
            return None

    def check_holes(self, body: tuple[tree.MicroLine, ...], angled: frozenset[str] = frozenset(),
                    braced: frozenset[str] = frozenset()) -> None:
        """Every hole in a body is one that will be filled. Recursion ends with the limit on arms."""
        if not self.table.holed:
            return
        for item in body:
            if isinstance(item, tree.When):
                for arm in item.arms:
                    self.check_holes(arm.body, angled, braced)
                continue
            texts = [(clause.text, clause.source_span) for clause in item.clauses if clause.text in self.table.holed]
            if item.label:
                texts.append((item.label.text, item.label.span))
            for text, span in texts:
                for found in _HOLE.finditer(text):
                    if (found[1] and found[1] not in braced) or (found[2] and found[2] not in angled):
                        at = Span(span.source, span.start + found.start(), span.start + found.end())
                        self._once(error("unknown-hole", f"nothing fills `{found[0]}`", at,
                                         "no such variable or hole here",
                                         help="`{d}` is a variable of a family, `<reg>` a hole of a sequence"))

    # ------------------------------------------------------------ calls

    def _called(self, micro: tree.Micro, chain: tuple[Sequence, ...]) -> tuple[tree.MicroLine, ...]:
        """The words of the sequence that this word calls, or the word itself."""
        calls = [call for clause in micro.clauses if (call := self._call(clause)) is not None]
        if not calls:
            return (micro,)
        call = calls[0]
        if len(micro.clauses) > 1:
            self._once(error("sequence-call", f"`{call.sequence.name}` stands beside other clauses", micro.span,
                             "a call must be alone on its line",
                             places=(Place(call.sequence.span, "a sequence of words"),),
                             help="give it a line of its own"))
            return (micro,)
        if call.sequence in chain or len(chain) >= DEEPEST_CALL or self.written > MOST_WORDS:
            self._once(_endless(micro, call.sequence, chain))
            return ()
        self.written += 1
        words = self.write(call.sequence.body, call.fill, micro.called_from or micro.span, (*chain, call.sequence))
        return self._labelled(micro, words, call.sequence)

    def _labelled(self, micro: tree.Micro, words: tuple[tree.MicroLine, ...],
                  sequence: Sequence) -> tuple[tree.MicroLine, ...]:
        """The label of the call goes to the first word."""
        if micro.label is None or not words:
            return words
        first = words[0]
        if isinstance(first, tree.Micro) and first.label is None:
            return (first._replace(label=micro.label), *words[1:])
        place = Place(sequence.span, "which begins with `when`")
        if isinstance(first, tree.Micro) and first.label:
            place = Place(first.label.span, "which has a label")
        self._once(error("sequence-call", f"the label `{micro.label.text}` finds no free word", micro.label.span,
                         "should label the first word of the sequence", places=(place,),
                         help="remove one of the labels, or put a word between"))
        return words

    def _call(self, clause: tree.Clause) -> _Call | None:
        if clause.text in self.calls:
            return self.calls[clause.text]
        found = None
        if isinstance(clause.meaning, tree.Phrase):
            for sequence in self.by_word.get(clause.meaning.parts[0].text, ()):
                fill = _match(sequence, clause.meaning, clause.text)
                found = _Call(sequence, fill) if fill is not None else found
        self.calls[clause.text] = found
        return found


class _Replaced(Placed):
    """Text made by substitution: every place in it is the place of what was written."""

    __slots__ = ("place",)
    place: Span

    def span(self, start: int, end: int) -> Span:
        return self.place


def _endless(micro: tree.Micro, sequence: Sequence, chain: tuple[Sequence, ...]) -> Finding:
    if sequence in chain:
        loop = " calls ".join(f"`{each.name}`" for each in (*chain[chain.index(sequence):], sequence))
        return error("sequence-cycle", f"a sequence calls itself: {loop}", micro.span, "leads back",
                     places=(Place(sequence.span, "this sequence"),),
                     help="words are written out where they are called; make a loop with a label and a jump")
    if len(chain) >= DEEPEST_CALL:
        return error("nested-too-deep", f"sequences that call sequences more than {DEEPEST_CALL} deep", micro.span,
                     "this call goes too far", help="call fewer within each other")
    return error("too-many-words", f"more than {MOST_WORDS:,} words when all sequences are written out", micro.span,
                 "at this call", help="check the sequences that are called by sequences")


def _shape(sequence: Sequence) -> list[str]:
    return [part.text if isinstance(part, tree.Word) else "<>" for part in sequence.phrase]


def _fill(text: str, fill: dict[str, str]) -> str:
    return _HOLE.sub(lambda found: fill.get(found[1] or found[2], found[0]), text) if fill else text


def _match(sequence: Sequence, phrase: tree.Phrase, text: str) -> dict[str, str] | None:
    """What a phrase puts into the holes of a sequence, None when it is not a call of it."""
    if len(phrase.parts) != len(sequence.phrase):
        return None
    fill: dict[str, str] = {}
    for wanted, part in zip(sequence.phrase, phrase.parts):
        if isinstance(wanted, tree.Hole):
            fill[wanted.name] = text[part.start:part.end]
        elif part.text != wanted.text or part.number is not None or part.call is not None:
            return None
    return fill
