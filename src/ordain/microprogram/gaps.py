"""Faults reported before leave gaps: what they would have said is nobody's further fault."""

import re
from collections.abc import Iterable, Sequence

from ordain.text.findings import Finding, Severity

FROM_THE_MACHINE = frozenset({
    "ambiguous-transfer", "counter-not-low", "field-not-set", "never-chosen", "never-driven", "never-sampled",
    "no-opcodes", "no-steps", "no-store", "no-transfer", "nothing-to-set", "opcode-gap", "runs-off",
    "unused-others", "wrong-store",
})
"""Findings that hold only of a machine that was understood as a whole."""

FROM_ALL_WORDS = frozenset({"opcode-gap", "unused-others"})
"""Findings that hold only of a microprogram of which every line was read."""

NAMINGS = frozenset({"no-value", "undefined-code", "unknown-code", "unknown-label", "unknown-name", "unknown-order"})
"""Findings about a name: the line that would have made it known may be the one that could not be read."""

_WORD = re.compile(r"[A-Za-z_]\w*|[0-9]\w*", re.ASCII)


def own_faults(findings: Iterable[Finding], earlier: Sequence[Finding], micro: frozenset[str],
               broken: frozenset[str]) -> list[Finding]:
    """The findings without those that an earlier error may have caused. `micro`: the names of the microprogram's
    files; errors anywhere else are about the machine. `broken`: what the machine declares and has reported."""
    gaps = [finding for finding in earlier if finding.severity is Severity.ERROR]
    if not gaps:
        return list(findings)
    about_machine = any(gap.span is None or gap.span.source.name not in micro for gap in gaps)
    dropped = FROM_THE_MACHINE if about_machine else FROM_ALL_WORDS
    anything = any(_is_file(gap) for gap in gaps)
    words = {*broken, *(word for gap in gaps for word in _words_of(gap))}
    return [finding for finding in findings if finding.name not in dropped and not (
        finding.name in NAMINGS and (anything or _mentions(finding, words)))]


def _is_file(gap: Finding) -> bool:
    """Whether a whole file is missing, in which anything may be said."""
    return gap.span is None or gap.span.source.line_text(gap.span.line).startswith(("include", "microprogram"))


def _mentions(finding: Finding, words: set[str]) -> bool:
    return finding.span is not None and not words.isdisjoint(_WORD.findall(finding.span.text))


def _words_of(gap: Finding) -> list[str]:
    """The words of the lines on which a fault stands."""
    if gap.span is None:
        return []
    source = gap.span.source
    last = source.line_column(max(gap.span.start, gap.span.end - 1))[0]
    return _WORD.findall("\n".join(source.line_text(line) for line in range(gap.span.line, last + 1)))
