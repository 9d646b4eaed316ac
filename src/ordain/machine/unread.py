"""Lines that could not be read leave gaps: what they would have declared is nobody's further fault."""

import re
from collections.abc import Iterable, Sequence

from ordain.text.findings import Finding, Severity

ABSENCES = frozenset({
    "address-line-missing", "bit-without-chip", "choose-incomplete", "empty-chip", "field-without-store", "no-address",
    "no-fields", "no-next", "no-store", "pin-count", "too-few", "unused-hole", "word-underfull",
})
"""Findings that say that something is not there."""

NAMINGS = frozenset({"unknown-name", "unknown-code", "undefined-code"})
"""Findings about the name or code that their span shows."""

_WORD = re.compile(r"[A-Za-z_]\w*|[0-9]\w*", re.ASCII)


def own_faults(findings: Iterable[Finding], unread: Sequence[Finding]) -> list[Finding]:
    """The findings without those that a line which could not be read may have caused."""
    gaps = [finding for finding in unread if finding.severity is Severity.ERROR]
    if not gaps:
        return list(findings)
    words: set[str] = set()
    for gap in gaps:
        words |= _words_near(gap)
    anything = any(_is_file(gap) for gap in gaps)
    return [finding for finding in findings if finding.name not in ABSENCES
            and not (finding.name in NAMINGS and (anything or _mentions(finding, words)))]


def _is_file(gap: Finding) -> bool:
    """Whether a whole file is missing, in which anything may be declared."""
    return gap.span is None or gap.span.source.line_text(gap.span.line).startswith("include")


def _mentions(finding: Finding, words: set[str]) -> bool:
    return finding.span is not None and not words.isdisjoint(_WORD.findall(finding.span.text))


def _words_near(gap: Finding) -> set[str]:
    """The words of the statement that could not be read: its line, and those that it goes on from or to."""
    if gap.span is None:
        return set()
    source = gap.span.source
    first, last = gap.span.line, source.line_column(max(gap.span.start, gap.span.end - 1))[0]
    while first > 1 and _goes_on(source.line_text(first - 1)):
        first -= 1
    while last < len(source.line_starts()) and _goes_on(source.line_text(last)):
        last += 1
    return set(_WORD.findall("\n".join(source.line_text(line) for line in range(first, last + 1))))


def _goes_on(line: str) -> bool:
    """A line goes on after a comma or with a bracket open; near enough to tell which words belong together."""
    text = line.split("#")[0].rstrip()
    return text.endswith(",") or sum(map(text.count, "([{")) > sum(map(text.count, ")]}"))
