"""A finding is data: what is wrong, where, where else, and the way out. How it looks is decided in `show`."""

from enum import Enum
from typing import Any, NamedTuple

from ordain.text.source import Span


class Severity(Enum):
    """Errors and warnings make the exit status 1; notes do not."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


class Place(NamedTuple):
    """A secondary place of a finding and what is to be seen there."""

    span: Span
    label: str


class Finding(NamedTuple):
    """One cause, one finding.

    `name` is a stable kebab-case name, the one that `allow`, `ordain explain` and the docs use.
    `message` makes sense without the excerpt; `label`, the text under the excerpt, without the message.
    `span` is None only where there is no text to point at (a missing file, an image).
    `trace` is a `prover.trace.Trace` where a sequence of cycles shows the fault (typed loosely: text is the
    lowest layer).
    """

    name: str
    severity: Severity
    message: str
    span: Span | None = None
    label: str = ""
    places: tuple[Place, ...] = ()
    notes: tuple[str, ...] = ()
    help: str = ""
    trace: Any = None


def error(name: str, message: str, span: Span | None, label: str = "", *, places: tuple[Place, ...] = (),
          notes: tuple[str, ...] = (), help: str = "") -> Finding:
    """A finding of severity error."""
    return Finding(name, Severity.ERROR, message, span, label, places, notes, help)


def warning(name: str, message: str, span: Span | None, label: str = "", *, places: tuple[Place, ...] = (),
            notes: tuple[str, ...] = (), help: str = "") -> Finding:
    """A finding of severity warning."""
    return Finding(name, Severity.WARNING, message, span, label, places, notes, help)


def note(name: str, message: str, span: Span | None, label: str = "", *, places: tuple[Place, ...] = (),
         notes: tuple[str, ...] = (), help: str = "") -> Finding:
    """A finding of severity note."""
    return Finding(name, Severity.NOTE, message, span, label, places, notes, help)


def has_errors(findings: "list[Finding] | tuple[Finding, ...]") -> bool:
    """True when at least one finding is an error: then nothing is written."""
    return any(finding.severity is Severity.ERROR for finding in findings)
