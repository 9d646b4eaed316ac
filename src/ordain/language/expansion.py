"""Sequences and families written out, so that later stages see flat bodies.

A sequence stands in the text where it is called; a family is one instruction for each combination of its variables.
Both are substitution of text: `<hole>` by what the call holds, `{d}` by a value. Spans stay those of the written text.
"""

import re
from itertools import product
from typing import NamedTuple

from ordain.language import tree
from ordain.language.clauses import ClauseTable, clause_finding
from ordain.language.expression import parse_expression
from ordain.language.opcodes import Pattern
from ordain.language.words import Misread
from ordain.text.findings import Finding, Place, error
from ordain.text.lines import Placed, flatten
from ordain.text.source import Span

MOST_WORDS = 1 << 20
"""Words and calls written out; more than any control store has."""

MOST_MEMBERS = 1 << 16
DEEPEST_CALL = 30

_HOLE = re.compile(r"\{([A-Za-z_]\w*)\}|<([A-Za-z_]\w*)>", re.ASCII)


class Value(NamedTuple):
    """One value of a variable; `code` None: one more than that of the value before, 0 for the first."""

    text: tree.Text
    code: tree.Number | None


class Variable(NamedTuple):
    """`d in (acc, b, c = 3)`"""

    letter: str
    values: tuple[Value, ...]
    span: Span


class Family(NamedTuple):
    """An instruction as written; without variables it is its own only member. `patterns` is empty for `others`."""

    patterns: tuple[Pattern, ...]
    title: tree.Text
    variables: tuple[Variable, ...]
    constraint: tree.PlaceConstraint
    body: tuple[tree.MicroLine, ...]
    span: Span


class RowDraft(NamedTuple):
    """A row of a map as written."""

    patterns: tuple[Pattern, ...]
    target: tree.Word
    variables: tuple[Variable, ...]
    span: Span


class MapDraft(NamedTuple):
    store: tree.Word
    rows: tuple[RowDraft, ...]
    span: Span


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


def expand(statements: "list[tree.MicroStatement | Family | MapDraft]", sequences: list[Sequence],
           table: ClauseTable) -> tuple[list[tree.MicroStatement], list[Finding]]:
    """All statements with their sequences and families written out."""
    writing = _Writing(sequences, table)
    done: list[tree.MicroStatement] = []
    for statement in statements:
        match statement:
            case Family():
                done += writing.family(statement)
            case MapDraft():
                done.append(writing.map(statement))
            case tree.Routine() | tree.Prologue():
                done.append(statement._replace(body=writing.body(statement.body)))
            case _:
                done.append(statement)
    return done, writing.findings


class _Writing:
    """`calls` remembers, by clause text, which sequence a clause calls. `reported`: places that have a finding."""

    def __init__(self, sequences: list[Sequence], table: ClauseTable) -> None:
        self.table = table
        self.findings: list[Finding] = []
        self.calls: dict[str, _Call | None] = {}
        self.by_word: dict[str, list[Sequence]] = {}
        self.written = 0
        self.reported: set[tuple[str, int]] = set()
        self.holed = any("{" in text or _HOLE.search(text) for text in table.meanings)
        for sequence in sequences:
            self._define(sequence)

    def _define(self, sequence: Sequence) -> None:
        same = self.by_word.setdefault(sequence.phrase[0].text, [])  # type: ignore[union-attr]
        for other in same:
            if _shape(other) == _shape(sequence):
                self.findings.append(error("defined-twice", f"the sequence `{sequence.name}` is defined twice", sequence.span,
                                           "the second time", places=(Place(other.span, "the first time"),),
                                           help="give one of them another name"))
                return
        holes = {part.name for part in sequence.phrase if isinstance(part, tree.Hole)}
        self._check_holes(sequence.body, holes, frozenset(), "the sequence")
        same.append(sequence)

    def _once(self, finding: Finding) -> None:
        """A finding, unless the same one at the same place was made for another member or call."""
        key = (finding.name + finding.message, finding.span.start if finding.span else -1)
        if key not in self.reported:
            self.reported.add(key)
            self.findings.append(finding)

    # ------------------------------------------------------------ bodies

    def body(self, body: tuple[tree.MicroLine, ...]) -> tuple[tree.MicroLine, ...]:
        """A body that stands in the text for itself."""
        if self.holed:
            self._check_holes(body, frozenset(), frozenset(), "a family or sequence")
        return self._write(body, {}, None, ()) if self.by_word else body

    def _write(self, body: tuple[tree.MicroLine, ...], fill: dict[str, str], called_from: Span | None,
               chain: tuple[Sequence, ...]) -> tuple[tree.MicroLine, ...]:
        """A body with holes filled and calls written out. Recursion ends with the limits on arms and calls."""
        done: list[tree.MicroLine] = []
        for item in body:
            if isinstance(item, tree.When):
                arms = tuple(arm._replace(condition=self._condition(arm.condition, fill),
                                          body=self._write(arm.body, fill, called_from, chain)) for arm in item.arms)
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
                self._once(clause_finding(meaning, clause.source_span))
            clauses.append(tree.Clause(text, meaning, clause.source_span))
        label = micro.label._replace(text=_fill(micro.label.text, fill)) if micro.label else None
        return micro._replace(label=label, clauses=tuple(clauses))

    def _condition(self, condition: tree.Expr | None, fill: dict[str, str]) -> tree.Expr | None:
        """The condition of an arm, read again where it has holes; places in it are then those of the whole condition."""
        if condition is None or not fill:
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

    # ------------------------------------------------------------ calls

    def _called(self, micro: tree.Micro, chain: tuple[Sequence, ...]) -> tuple[tree.MicroLine, ...]:
        """The words of the sequence that this word calls, or the word itself."""
        calls = [call for clause in micro.clauses if (call := self._call(clause)) is not None]
        if not calls:
            return (micro,)
        call = calls[0]
        if len(micro.clauses) > 1:
            self._once(error("sequence-call", f"`{call.sequence.name}` stands beside other clauses", micro.span,
                             "a call must be alone on its line", places=(Place(call.sequence.span, "a sequence of words"),),
                             help="give it a line of its own"))
            return (micro,)
        if call.sequence in chain or len(chain) >= DEEPEST_CALL or self.written > MOST_WORDS:
            self._once(self._endless(micro, call.sequence, chain))
            return ()
        self.written += 1
        words = self._write(call.sequence.body, call.fill, micro.called_from or micro.span, (*chain, call.sequence))
        return self._labelled(micro, words, call.sequence)

    def _labelled(self, micro: tree.Micro, words: tuple[tree.MicroLine, ...],
                  sequence: Sequence) -> tuple[tree.MicroLine, ...]:
        """The label of the call goes to the first word."""
        if micro.label is None or not words:
            return words
        first = words[0]
        if isinstance(first, tree.Micro) and first.label is None:
            return (first._replace(label=micro.label), *words[1:])
        place = first.label.span if isinstance(first, tree.Micro) and first.label else sequence.span
        self._once(error("sequence-call", f"the label `{micro.label.text}` finds no free word", micro.label.span,
                         "should label the first word of the sequence",
                         places=(Place(place, "which has a label" if isinstance(first, tree.Micro) else
                                       "which begins with `when`"),),
                         help="remove one of the labels, or put a word between"))
        return words

    def _endless(self, micro: tree.Micro, sequence: Sequence, chain: tuple[Sequence, ...]) -> Finding:
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

    def _call(self, clause: tree.Clause) -> _Call | None:
        known = self.calls.get(clause.text, False)
        if known is not False:
            return known  # type: ignore[return-value]
        found = None
        if isinstance(clause.meaning, tree.Phrase):
            for sequence in self.by_word.get(clause.meaning.parts[0].text, ()):
                fill = _match(sequence, clause.meaning, clause.text)
                if fill is not None:
                    found = _Call(sequence, fill)
        self.calls[clause.text] = found
        return found

    # ------------------------------------------------------------ families

    def family(self, family: Family) -> list[tree.MicroStatement]:
        """One instruction for each combination of values."""
        letters = frozenset(variable.letter for variable in family.variables)
        if self.holed:
            self._check_holes(family.body, frozenset(), letters, "the family")
        members = self._members(family.patterns, family.variables, family.span)
        for variable in family.variables if len(members) > 1 else ():
            if f"{{{variable.letter}}}" not in family.title.text:
                self._once(error("family", f"the title does not say `{{{variable.letter}}}`", family.title.span,
                                 "the same for every member", places=(Place(variable.span, "varies here"),),
                                 help=f'write for example "{family.title.text} {{{variable.letter}}}"'))
                return []
        done: list[tree.MicroStatement] = []
        for patterns, fill in members:
            title = family.title._replace(text=_fill(family.title.text, fill))
            body = self._write(family.body, fill, None, ()) if fill or self.by_word else family.body
            done.append(tree.Instruction(patterns, title, family.title.text if family.variables else None,
                                         family.constraint, body, family.span))
        return done

    def map(self, draft: MapDraft) -> tree.Map:
        rows = []
        for row in draft.rows:
            for patterns, fill in self._members(row.patterns, row.variables, row.span):
                rows.append(tree.MapRow(patterns, row.target._replace(text=_fill(row.target.text, fill)), row.span))
        return tree.Map(draft.store, tuple(rows), draft.span)

    def _members(self, patterns: tuple[Pattern, ...], variables: tuple[Variable, ...],
                 span: Span) -> list[tuple[tuple[tree.OpcodePattern, ...], dict[str, str]]]:
        """Opcode patterns and fillings of every member; none when something is wrong with the variables."""
        before = len(self.findings)
        self._check_letters(patterns, variables, span)
        coded = [self._codes(variable, patterns) for variable in variables]
        count = 1
        for values in coded:
            count *= len(values)
        if count > MOST_MEMBERS:
            self._once(error("family", f"a family of {count:,} members; the limit is {MOST_MEMBERS:,}", span, "too many",
                             help="split it, or use `x` for bits that do not matter"))
        if len(self.findings) > before:
            return []
        members = []
        for combination in product(*coded):
            codes = {variable.letter: code for variable, (_, code) in zip(variables, combination)}
            fill = {variable.letter: text for variable, (text, _) in zip(variables, combination)}
            members.append((tuple(pattern.member(codes) for pattern in patterns), fill))
        return members

    def _check_letters(self, patterns: tuple[Pattern, ...], variables: tuple[Variable, ...], span: Span) -> None:
        known: dict[str, Variable] = {}
        for variable in variables:
            if variable.letter in known:
                self._once(error("family", f"`{variable.letter}` varies twice", variable.span, "the second time",
                                 places=(Place(known[variable.letter].span, "the first time"),), help="use another letter"))
            if variable.letter in "xX":
                self._once(error("family", "`x` stands for a bit of any value", variable.span, "cannot vary",
                                 help="use another letter"))
            known[variable.letter] = variable
        for pattern in patterns:
            for letter in pattern.letters:
                if letter not in known:
                    self._once(error("family", f"`{letter}` in the opcode has no values", pattern.span, "what is it?",
                                     help=f"add `for {letter} in (...)` after the title; a bit of any value is `x`"))
            for letter, variable in known.items():
                if letter not in pattern.letters and letter not in "xX":
                    self._once(error("family", f"the opcode has no bits `{letter}`", pattern.span, "the same for every value",
                                     places=(Place(variable.span, "varies here"),),
                                     help=f"write `{letter}` where the opcode says which one is meant"))
        if not patterns and variables:
            self._once(error("family", "`others` cannot be a family", variables[0].span, "varies here",
                             help="give the opcodes as a pattern"))

    def _codes(self, variable: Variable, patterns: tuple[Pattern, ...]) -> list[tuple[str, int]]:
        """Text and code of each value, checked against the bits that the opcode has for them."""
        widths = {len(pattern.letters[variable.letter]) for pattern in patterns if variable.letter in pattern.letters}
        if len(widths) > 1:
            self._once(error("family", f"`{variable.letter}` has {min(widths)} bits in one opcode and {max(widths)} in another",
                             patterns[-1].span, "another width", help="write it with the same number of bits everywhere"))
        width = min(widths, default=0)
        coded: list[tuple[str, int]] = []
        seen: dict[int, Value] = {}
        code = 0
        for value in variable.values:
            code = value.code.value if value.code else code
            if widths and code >> width:
                self._once(error("family", f"`{value.text.text}` would be code {code}, but `{variable.letter}` has {width} "
                                 f"bit{'s' if width != 1 else ''} in the opcode", value.text.span, f"0 to {(1 << width) - 1}",
                                 places=(Place(patterns[0].span, "the opcode"),),
                                 help=f"write more bits `{variable.letter}`, or fewer values"))
            if code in seen:
                self._once(error("family", f"two values with code {code}", value.text.span, "the second one",
                                 places=(Place(seen[code].text.span, "the first one"),), help="give them different codes"))
            seen[code] = value
            coded.append((value.text.text, code))
            code += 1
        return coded

    def _check_holes(self, body: tuple[tree.MicroLine, ...], angled: "set[str] | frozenset[str]", braced: frozenset[str],
                     where: str) -> None:
        """Every hole in a body is one that will be filled. Recursion ends with the limit on arms."""
        for item in body:
            if isinstance(item, tree.When):
                for arm in item.arms:
                    self._check_holes(arm.body, angled, braced, where)
                continue
            texts = [(clause.text, clause.source_span) for clause in item.clauses]
            if item.label:
                texts.append((item.label.text, item.label.span))
            for text, span in texts:
                for found in _HOLE.finditer(text):
                    if (found[1] and found[1] not in braced) or (found[2] and found[2] not in angled):
                        at = Span(span.source, span.start + found.start(), span.start + found.end())
                        self._once(error("unknown-hole", f"nothing fills `{found[0]}`", at, f"not said by {where}",
                                         help="`{d}` is a variable of a family, `<reg>` a hole of a sequence"))


class _Replaced(Placed):
    """Text made by substitution: every place in it is the place of what was written."""

    __slots__ = ("place",)
    place: Span

    def span(self, start: int, end: int) -> Span:
        return self.place


def _shape(sequence: Sequence) -> list[str]:
    return [part.text if isinstance(part, tree.Word) else "<>" for part in sequence.phrase]


def _fill(text: str, fill: dict[str, str]) -> str:
    return _HOLE.sub(lambda found: fill.get(found[1] or found[2], found[0]), text)


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
