"""Findings as text for people, with an excerpt of the source."""

import unicodedata
from collections.abc import Iterable

from ordain.show.paint import Paint, printable
from ordain.text.findings import Finding, Severity
from ordain.text.source import Span

_EXCERPT = 110  # columns of source shown; a longer line is cut around the marked place


def finding_text(finding: Finding, paint: Paint, trace_lines: Iterable[str] = (), directory: str = "") -> str:
    """One finding, without a final newline. `trace_lines` is its trace, already drawn. `directory`: where the sources
    lie, with `/`, so that a terminal or an editor finds them; "" when that is here."""
    before = f"{directory}/" if directory else ""
    severity = finding.severity.value
    lines = [f"{paint(severity, f'{severity}[{finding.name}]')}: {paint('strong', printable(finding.message))}"]
    margin = " "
    if finding.span is not None:
        margin = " " * len(str(finding.span.line))
        lines.append(f"{margin}--> {before}{finding.span}")
        lines.extend(_excerpt(finding.span, finding.label, finding.severity, paint))
    elif finding.label:
        lines.append(f"  {printable(finding.label)}")
    for place in finding.places:
        lines.append(f"{margin} {printable(place.label)}: {before}{place.span}, `{_snippet(place.span)}`")
    lines.extend(f"{margin} {printable(line)}".rstrip() for line in trace_lines)
    lines.extend(f"{margin} {paint('faint', 'note')}: {printable(text)}" for text in finding.notes)
    if finding.help:
        lines.append(f"{margin} {paint('good', 'help')}: {printable(finding.help)}")
    return "\n".join(lines)


def summary_line(findings: list[Finding]) -> str:
    """`2 errors, 1 warning`, or the empty string when there is nothing."""
    counts = [(sum(finding.severity is severity for finding in findings), severity.value) for severity in Severity]
    return ", ".join(f"{count} {name}{'s' if count != 1 else ''}" for count, name in counts if count)


def _excerpt(span: Span, label: str, severity: Severity, paint: Paint) -> list[str]:
    line_number, column = span.source.line_column(span.start)
    text = span.source.line_text(line_number)
    first = column - 1
    last = max(first + 1, min(first + span.end - span.start, len(text)))
    start = 0
    if len(text) > _EXCERPT:
        start = max(0, min(first - _EXCERPT // 3, len(text) - _EXCERPT))
        last = min(last, start + _EXCERPT)
    before, marked = printable(text[start:first]), printable(text[first:last])
    shown = ("..." if start else "") + before + marked + printable(text[last:start + _EXCERPT])
    if start + _EXCERPT < len(text):
        shown += "..."
    indent = _columns(before) + (3 if start else 0)
    gutter = " " * len(str(line_number))
    carets = paint("mark" if severity is Severity.ERROR else severity.value, "^" * max(1, _columns(marked)))
    return [
        f"{gutter} |",
        f"{line_number} | {shown}".rstrip(),
        f"{gutter} | {' ' * indent}{carets} {printable(label)}".rstrip(),
    ]


def _columns(text: str) -> int:
    """Terminal columns of a text: wide East Asian characters take two, combining ones none."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(ch) else 2 if unicodedata.east_asian_width(ch) in "WF" else 1 for ch in text)


def _snippet(span: Span) -> str:
    text = " ".join(span.source.text[span.start:min(span.end, span.start + 200)].split())
    return printable(text if len(text) <= 60 else text[:57] + "...")
