"""Findings as plain data for JSON."""

from typing import Any

from ordain.rom.contents import Contents
from ordain.show.verdicts import trace_data
from ordain.text.findings import Finding
from ordain.text.source import Span


def finding_data(finding: Finding, contents: Contents | None = None) -> dict[str, Any]:
    """A finding as JSON-ready data; lines and columns from 1, `end_column` is the one after the last. `contents` is
    needed for its trace."""
    data: dict[str, Any] = {
        "name": finding.name,
        "severity": finding.severity.value,
        "message": finding.message,
    }
    if finding.span is not None:
        data["place"] = place_data(finding.span)
    if finding.label:
        data["label"] = finding.label
    if finding.places:
        data["places"] = [{"label": place.label, **place_data(place.span)} for place in finding.places]
    if finding.notes:
        data["notes"] = list(finding.notes)
    if finding.help:
        data["help"] = finding.help
    if finding.trace is not None and contents is not None:
        data["trace"] = trace_data(contents, finding.trace)
    return data


def place_data(span: Span) -> dict[str, Any]:
    """File, line, column, end line and end column of a span."""
    line, column = span.source.line_column(span.start)
    end_line, end_column = span.source.line_column(max(span.start, span.end))
    return {"file": span.source.name, "line": line, "column": column, "end_line": end_line, "end_column": end_column}
