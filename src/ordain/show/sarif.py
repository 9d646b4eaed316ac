"""Findings as SARIF 2.1.0 (OASIS Standard, errata 01), for programs that gather what checkers say.

A sequence of cycles becomes a code flow: a step a cycle, at the microinstruction that acts in it. A question without an
answer becomes a result of kind `open`, so that what was not decided never looks like what is sound.
"""

import json
from collections import Counter
from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Any
from urllib.parse import quote

from ordain import __version__
from ordain.checks.catalogue import explain
from ordain.control.model import Cycle, Trace
from ordain.rom.contents import Contents
from ordain.show.findings_json import place_data
from ordain.show.folding import folded
from ordain.show.trace_table import TraceRow, trace_rows
from ordain.text.findings import Finding
from ordain.text.source import Span

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"

FINGERPRINT = "ordain/v1"
"""The name under which a result's fingerprint stands; it changes when the way to make one does."""


def sarif_data(findings: Sequence[Finding], contents: Contents | None = None, directory: str = "",
               undecided: Sequence[Finding] = ()) -> dict[str, Any]:
    """A SARIF log with one run. `contents` is needed for traces. `directory`: where the sources lie, relative to where
    paths begin (the working directory), with `/`; "" when that is where they lie."""
    every = [*findings, *undecided]
    names = list(dict.fromkeys(finding.name for finding in every))
    results = []
    for number, (finding, fingerprint) in enumerate(zip(every, fingerprints(every), strict=True)):
        result: dict[str, Any] = {"ruleId": finding.name, "ruleIndex": names.index(finding.name)}
        result |= {"level": finding.severity.value} if number < len(findings) else {"kind": "open", "level": "none"}
        result["message"] = _message(_whole_text(finding))
        if finding.span is not None:
            result["locations"] = [_location(finding.span, directory, finding.label)]
        if finding.places:
            result["relatedLocations"] = [{"id": place_number, **_location(place.span, directory, place.label)}
                                          for place_number, place in enumerate(finding.places)]
        if finding.trace is not None and contents is not None:
            result["codeFlows"] = [_code_flow(contents, finding.trace, directory)]
        result["partialFingerprints"] = {FINGERPRINT: fingerprint}
        results.append(result)
    driver = {"name": "ordain", "version": __version__, "semanticVersion": __version__,
              "rules": [_rule(name) for name in names]}
    return {"$schema": SCHEMA, "version": "2.1.0",
            "runs": [{"tool": {"driver": driver}, "columnKind": "unicodeCodePoints", "results": results}]}


# ---------------------------------------------------------------- what stays the same from run to run


def fingerprints(findings: Iterable[Finding]) -> list[str]:
    """A SHA-256 for each finding, the same as long as the fault is: made of its name and of the marked texts, each with
    the header of the block that it stands in, not of lines and addresses, which move when something else is changed. Of
    findings that are alike in all that, the second gets another one, and so on."""
    seen: Counter[str] = Counter()
    result = []
    for finding in findings:
        spans = [span for span in (finding.span, *(place.span for place in finding.places)) if span is not None]
        said = [(span.source.name, _header(span), _squeezed(span.text)) for span in spans]
        alike = json.dumps([finding.name, *said] if spans else [finding.name, finding.message])
        result.append(sha256(f"{alike}{seen[alike]}".encode()).hexdigest())
        seen[alike] += 1
    return result


def _header(span: Span) -> str:
    """The line in the first column that the place belongs to: `bus data 8 bits`, `routine hold at 0x3F0`."""
    for line in range(span.line, 0, -1):
        text = span.source.line_text(line)
        if text[:1].strip() and not text.startswith("#"):
            return _squeezed(text.partition("#")[0])
    return ""


def _squeezed(text: str) -> str:
    return " ".join(text.split())


# ---------------------------------------------------------------- texts and places


def _message(text: str) -> dict[str, str]:
    """A message string: braces are doubled, since single ones stand for arguments, and nothing looks like a link
    (SARIF 2.1.0, section 3.11)."""
    return {"text": text.replace("{", "{{").replace("}", "}}").replace("](", "] (")}


def _whole_text(finding: Finding) -> str:
    """What can be said in words: the message, the notes and the way out."""
    return "\n".join((finding.message, *(f"note: {text}" for text in finding.notes),
                      *((f"help: {finding.help}",) if finding.help else ())))


def _location(span: Span, directory: str, label: str = "") -> dict[str, Any]:
    place = place_data(span)
    region: dict[str, Any] = {"startLine": place["line"], "startColumn": place["column"],
                              "endLine": place["end_line"], "endColumn": place["end_column"]}
    if span.text:
        region["snippet"] = {"text": span.text}
    location: dict[str, Any] = {"physicalLocation": {
        "artifactLocation": {"uri": uri(span.source.name, directory)}, "region": region}}
    if label:
        location["message"] = _message(label)
    return location


def uri(name: str, directory: str = "") -> str:
    """A relative reference (RFC 3986) to a source file."""
    return quote(f"{directory}/{name}" if directory else name, safe="/")


def _rule(name: str) -> dict[str, Any]:
    """What `ordain explain` says, as the description of a rule."""
    text = explain(name)
    if text is None:
        return {"id": name}
    example = text.example.strip("\n")
    parts = [text.about, f"For example:\n\n{example}" if example else "", f"Usual repair: {text.repair}"]
    marked = [text.about, f"For example:\n\n```\n{example}\n```" if example else "", f"Usual repair: {text.repair}"]
    return {
        "id": name, "shortDescription": {"text": text.fault}, "fullDescription": {"text": text.about},
        "help": {"text": "\n\n".join(part for part in parts if part),
                 "markdown": "\n\n".join(part for part in marked if part)},
    }


# ---------------------------------------------------------------- a trace as a code flow


def _code_flow(contents: Contents, trace: Trace, directory: str) -> dict[str, Any]:
    whole = folded(contents.machine, trace)
    count, loop = whole.cycles, whole.trace.loop
    said = f"how to get there: {count} cycle{'s' if count != 1 else ''} from reset"
    if loop is not None:
        said += f", then again from cycle {whole.stamp(loop)}, for ever"
    if trace.dead_end:
        said += "; then no input satisfies the assumptions"
    entries = zip(trace_rows(contents, whole), whole.trace.cycles, strict=True)
    steps = [_step(contents, row, cycle, directory, number, number == len(whole.numbers))
             for number, (row, cycle) in enumerate(entries, 1)]
    return {"message": _message(said), "threadFlows": [{"locations": steps}]}


def _step(contents: Contents, row: TraceRow, cycle: Cycle, directory: str, number: int,
          last: bool) -> dict[str, Any]:
    words = [f"cycle {row.stamp}", " ".join(filter(None, (row.address, row.label))), row.text, ", ".join(row.inputs),
             ", ".join(row.states), "; ".join(row.buses)]
    location: dict[str, Any] = {}
    span = _acting(contents, cycle)
    if span is not None:
        location = _location(span, directory)
    location["message"] = _message(": ".join(word for word in words if word))
    if row.label:
        location["logicalLocations"] = [{"fullyQualifiedName": row.label}]
    return {"location": location, "executionOrder": number, "importance": "essential" if last else "important",
            "state": {name: _message(str(value)) for name, value in cycle.states.items()}}


def _acting(contents: Contents, cycle: Cycle) -> Span | None:
    """The place of the microinstruction that acts in a cycle: the first, where several stores have one."""
    for store, address in cycle.addresses.items():
        site = contents.sites.get(store, {}).get(address)
        if site is not None and site.span is not None:
            return site.span
    return None
