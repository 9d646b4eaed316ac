"""Findings as workflow commands, which a GitHub workflow turns into annotations of the changed lines.

Form and escaping as GitHub documents them ("Workflow commands for GitHub Actions") and as its own toolkit does it
(`%` and LF in the message; `:` and `,` as well in a property); CR and its like are shown as `\\r`.
"""

from collections.abc import Sequence

from ordain.show.findings_json import place_data
from ordain.show.paint import printable
from ordain.text.findings import Finding, Severity
from ordain.text.source import Span

_COMMANDS = {Severity.ERROR: "error", Severity.WARNING: "warning", Severity.NOTE: "notice"}


def annotation_lines(findings: Sequence[Finding], directory: str = "") -> list[str]:
    """One line for each finding. `directory`: where the sources lie, relative to the root of the repository, with `/`;
    "" when that is where they lie."""
    return [_line(finding, directory) for finding in findings]


def _line(finding: Finding, directory: str) -> str:
    properties = _place(finding.span, directory) if finding.span is not None else {}
    properties["title"] = f"{finding.severity.value}[{finding.name}]"
    said = ",".join(f"{key}={_property(str(value))}" for key, value in properties.items())
    return f"::{_COMMANDS[finding.severity]} {said}::{_data(_whole_text(finding, directory))}"


def _place(span: Span, directory: str) -> dict[str, object]:
    """Columns only where the place is within one line: annotations have no others. The last column is that of the last
    marked character."""
    place = place_data(span)
    found: dict[str, object] = {"file": _path(span, directory), "line": place["line"]}
    if place["line"] != place["end_line"]:
        return found | {"endLine": place["end_line"]}
    return found | {"endLine": place["end_line"], "col": place["column"],
                    "endColumn": max(place["column"], place["end_column"] - 1)}


def _path(span: Span, directory: str) -> str:
    return f"{directory}/{span.source.name}" if directory else span.source.name


def _whole_text(finding: Finding, directory: str) -> str:
    lines = [finding.message, finding.label]
    lines += [f"{place.label}: {_path(place.span, directory)}:{place.span.line}" for place in finding.places]
    if finding.trace is not None:
        lines.append("`ordain prove` shows how to get there")
    lines += finding.notes
    if finding.help:
        lines.append(f"help: {finding.help}")
    return "\n".join(line for line in lines if line)


def _data(text: str) -> str:
    """Lines of a message; nothing of it reaches the terminal that a log is read on as more than a letter."""
    return "%0A".join(printable(line).replace("%", "%25") for line in text.split("\n"))


def _property(text: str) -> str:
    return _data(text).replace(":", "%3A").replace(",", "%2C")
