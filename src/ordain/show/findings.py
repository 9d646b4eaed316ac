"""Findings as text for people, with an excerpt of the source, folded to the page."""

import posixpath
from collections.abc import Iterable

from ordain.show.page import Page, columns, cut, fold
from ordain.show.paint import printable
from ordain.text.findings import Finding, Severity
from ordain.text.source import Span

_EXCERPT = 110
"""Columns of source shown at most; a longer line is cut around the marked place."""
_SNIPPET = 60


def finding_text(finding: Finding, page: Page, drawn: Iterable[str] = (), directory: str = "") -> str:
    """One finding, without a final newline. `drawn`: its trace or what else stands under its places, printable and
    as wide as the page beside a margin of `margin_of`. `directory`: where the sources lie, with `/`, so that a terminal
    or an editor finds them; "" when that is here."""
    paint = page.paint
    severity = finding.severity.value
    lines = fold(f"{paint(severity, f'{severity}[{finding.name}]')}: {paint('strong', printable(finding.message))}",
                 page)
    margin = " " * margin_of(finding)
    if finding.span is not None:
        lines.append(f"{margin[1:]}--> {place_path(finding.span, directory)}")
        lines.extend(_excerpt(finding.span, finding.label, finding.severity, page))
    elif finding.label:
        lines.extend(fold(f"  {printable(finding.label)}", page))
    for place in finding.places:
        start = f"{margin}{printable(place.label)}: {place_path(place.span, directory)},"
        lines.extend(fold(f"{start} `{_snippet(place.span, page)}`", page))
    lines.extend(f"{margin}{line}".rstrip() for line in drawn)
    for note in finding.notes:
        lines.extend(fold(f"{margin}{paint('faint', 'note')}: {printable(note)}", page))
    if finding.help:
        lines.extend(fold(f"{margin}{paint('good', 'help')}: {printable(finding.help)}", page))
    return "\n".join(lines)


def place_path(span: Span, directory: str) -> str:
    """`directory/file:line:column`, without a way back in it (`broken/../board.machine`)."""
    name, _, rest = str(span).partition(":")
    return f"{posixpath.normpath(f'{directory}/{name}' if directory else name)}:{rest}"


def margin_of(finding: Finding) -> int:
    """Columns to the left of what stands below the excerpt of a finding."""
    return 1 + (len(str(finding.span.line)) if finding.span is not None else 1)


def summary_line(findings: list[Finding]) -> str:
    """`2 errors, 1 warning`, or the empty string when there is nothing."""
    counts = [(sum(finding.severity is severity for finding in findings), severity.value) for severity in Severity]
    return ", ".join(f"{count} {name}{'s' if count != 1 else ''}" for count, name in counts if count)


def _excerpt(span: Span, label: str, severity: Severity, page: Page) -> list[str]:
    line_number, column = span.source.line_column(span.start)
    gutter = " " * len(str(line_number))
    room = max(24, min(_EXCERPT, page.width - len(gutter) - 3 - 6)) if page.folds else _EXCERPT
    text = span.source.line_text(line_number)
    first = column - 1
    last = max(first + 1, min(first + span.end - span.start, len(text)))
    start = 0
    if len(text) > room:
        start = max(0, min(first - room // 3, len(text) - room))
        last = min(last, start + room)
    before, marked = printable(text[start:first]), printable(text[first:last])
    shown = ("..." if start else "") + before + marked + printable(text[last:start + room])
    if start + room < len(text):
        shown += "..."
    indent = columns(before) + (3 if start else 0)
    carets = " " * indent + page.paint("mark" if severity is Severity.ERROR else severity.value,
                                       "^" * max(1, columns(marked)))
    bar = f"{gutter} | "
    return [bar.rstrip(), f"{line_number} | {shown}".rstrip(),
            *(f"{bar}{line}".rstrip() for line in _labelled(carets, indent, printable(label), page, len(bar)))]


def _labelled(carets: str, indent: int, label: str, page: Page, bar: int) -> list[str]:
    """The carets and what is said about them: beside them, or below where there is no room."""
    if not page.folds or bar + columns(carets) + 1 + columns(label) <= page.width:
        return [f"{carets} {label}"]
    inner = page.indented(bar)
    start = min(indent, max(0, inner.width - columns(label), inner.width // 3))
    return [carets, *fold(" " * start + label, inner, 0)]


def _snippet(span: Span, page: Page) -> str:
    """The marked text on one line, as much of it as a line of the page can hold."""
    text = " ".join(span.source.text[span.start:min(span.end, span.start + 400)].split())
    return cut(printable(text), max(_SNIPPET, page.width - 60) if page.folds and page.width > 68 else
               max(20, min(_SNIPPET, page.width - 8)) if page.folds else _SNIPPET)
