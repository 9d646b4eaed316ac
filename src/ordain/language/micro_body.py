"""The indented lines of a routine, instruction or sequence: words, and the arms that choose between words.

This is where the time goes when a large microprogram is read: per line only splitting and look-ups, no grammar.
"""

import re
from typing import TypeAlias, Union

from ordain.language import tree
from ordain.language.clauses import ATOM, ClauseTable, parse_clauses
from ordain.language.expression import parse_expression
from ordain.language.words import Misread, found_at
from ordain.text.findings import Finding, Place, error
from ordain.text.lines import DEEPEST_BLOCK, Line, Placed, flatten
from ordain.text.source import Source, Span

_LABEL = re.compile(rf"({ATOM}) *: *")
_ARM = re.compile(r"(when|otherwise)(?![A-Za-z0-9_]) *")
_HOLE = re.compile(r"[<{]([A-Za-z_]\w*)[>}]", re.ASCII)


class _Arm:
    """An arm being read."""

    def __init__(self, condition: tree.Expr | None, span: Span, depth: int) -> None:
        self.condition, self.span, self.depth = condition, span, depth
        self.body: list[_Item] = []
        self.cut = False    # arms in it were too deep and left out


_Item: TypeAlias = Union[tree.Micro, list[_Arm]]


def read_body(lines: list[Line], source: Source, table: ClauseTable, findings: list[Finding],
              holes: frozenset[str] | None) -> tuple[tree.MicroLine, ...]:
    """The words of one body. A line that cannot be read costs its own word only. `holes`: what is filled in later, as
    it is written (`{d}`, `<reg>`); None where the header cannot be read and could fill anything."""
    root: list[_Item] = []
    body = root
    arms: list[_Arm] = []
    label: tree.Word | None = None
    meaning_of, new = table.meanings.get, tuple.__new__    # a named tuple's own constructor takes twice as long
    for text, start, depth, broken in lines:
        faults: list[Finding] = [] if broken else findings
        if arms and depth <= arms[-1].depth:
            while arms and depth <= arms[-1].depth:
                arms.pop()
            body = arms[-1].body if arms else root
        if arms and arms[-1].cut:
            continue
        rest, at = text, start
        if text.startswith(("when", "otherwise")) and _ARM.match(text):
            arm = _read_arm(Placed(text, source, start), depth, body, faults, holes)
            if label is not None:
                findings.append(_label_of_nothing(label))
                label = None
            arms.append(arm)
            body = arm.body
            if len(arms) > DEEPEST_BLOCK:
                findings.append(error("nested-too-deep", f"arms nested more than {DEEPEST_BLOCK} deep", arm.span,
                                      "this one goes too far", help="ask for fewer conditions at once"))
                arm.cut = True
            continue
        if ":" in text:
            found = _LABEL.match(text)
            if found:
                if label is not None:
                    findings.append(_label_of_nothing(label))
                label = tree.Word(found[1], Span(source, start, start + found.end(1)))
                rest, at = text[found.end():], start + found.end()
                if not rest:
                    continue
        if "(" in rest or '"' in rest or broken:
            clauses = list(_careful(Placed(rest, source, at), table, faults))
        else:
            clauses = []
            for piece in rest.split(","):
                clean = piece.strip(" ")
                meaning = meaning_of(clean)
                if meaning is None or meaning.__class__ is tree.ClauseError:
                    clauses += _careful(Placed(piece, source, at), table, faults)
                else:
                    begin = at if piece is clean else at + piece.index(clean[0])
                    span = new(Span, (source, begin, begin + len(clean)))
                    clauses.append(new(tree.Clause, (clean, meaning, span)))
                at += len(piece) + 1
        body.append(new(tree.Micro, (label, tuple(clauses), Span(source, start, start + len(text)), None)))
        label = None
    if label is not None:
        findings.append(_label_of_nothing(label))
    return _freeze(root, findings)


def _careful(text: Placed, table: ClauseTable, findings: list[Finding]) -> tuple[tree.Clause, ...]:
    """Clauses that are new, wrong, or have brackets or quotes in them."""
    clauses, faults = parse_clauses(text, table)
    findings += faults
    return clauses


def _label_of_nothing(label: tree.Word) -> Finding:
    return error("label-of-nothing", f"the label `{label.text}` stands before no word", label.span, "labels nothing",
                 help="put it before a microinstruction, on its line or on the line above; a word has one label")


def _read_arm(text: Placed, depth: int, body: list[_Item], findings: list[Finding],
              holes: frozenset[str] | None) -> _Arm:
    """A `when` or `otherwise` line; the arm is put into the group that it belongs to."""
    opening = _ARM.match(text)
    keyword, at = (opening[1], opening.end()) if opening else ("", 0)
    condition: tree.Expr | None = None
    if keyword == "when":
        condition, fault = _condition(text, at, holes)
        if fault:
            findings.append(fault)
    elif at < len(text):
        findings.append(_surplus(text, at))
    arm = _Arm(condition, text.whole(), depth)
    group = body[-1] if body and isinstance(body[-1], list) else None
    follows = group is not None and group[0].depth == depth and not group[-1].span.text.startswith("otherwise")
    if group is not None and follows:
        group.append(arm)
        return arm
    if keyword == "otherwise":
        findings.append(error("syntax", "`otherwise` without `when`", arm.span, "no `when` before it",
                              help="write `when CONDITION` and its words first, in the same column"))
    body.append([arm])
    return arm


def _condition(text: Placed, at: int, holes: frozenset[str] | None) -> tuple[tree.Expr, Finding | None]:
    """The condition of a `when` from `at` to the end of the line. Holes count as names, for the time being. One that
    cannot be read is the number 0."""
    masked = Placed(_HOLE.sub(lambda hole: f"_{hole[1]}_" if holes is None or hole[0] in holes else hole[0], text),
                    text.source, text.start)
    try:
        condition, end = parse_expression(masked, at)
        if masked[end:].strip(" "):
            return condition, _surplus(masked, end)
        return condition, None
    except Misread as misread:
        return tree.Number(0, 1, text.span(at, len(text))), misread.finding(text, "when CONDITION")


def _surplus(text: Placed, at: int) -> Finding:
    what, start, end = found_at(text, at)
    return error("syntax", f"expected the end of the line, found {what}", text.span(start, end), "not expected here",
                 help="words stand on lines of their own, indented under the arm")


def _freeze(body: list[_Item], findings: list[Finding]) -> tuple[tree.MicroLine, ...]:
    """Recursion ends with the levels of arms, which are limited."""
    done: list[tree.MicroLine] = []
    for item in body:
        if isinstance(item, tree.Micro):
            done.append(item)
            continue
        arms = []
        for arm in item:
            if not arm.body and not arm.cut:
                findings.append(error("empty-body", "an arm without words", arm.span, "nothing is indented under it",
                                      places=(Place(item[0].span, "the first arm"),) if arm is not item[0] else (),
                                      help="indent its words further than the arm itself"))
            arms.append(tree.Arm(arm.condition, _freeze(arm.body, findings), arm.span,
                                 " ".join(flatten(arm.span.text).split())))
        done.append(tree.When(tuple(arms), arms[0].span))
    return tuple(done)
