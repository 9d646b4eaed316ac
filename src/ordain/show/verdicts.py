"""What a proof says, as a table for people and as data."""

from typing import Any

from ordain.checks.check import Report, Row
from ordain.control.model import Trace
from ordain.rom.contents import Contents
from ordain.show.trace_table import table_lines, trace_rows

_ORDER = ("broken", "vacuous", "undecided", "allowed", "proved")


def report_lines(contents: Contents, report: Report, everything: bool) -> list[str]:
    """The verdicts in a table, rules one by one and checks that are proved gathered unless `everything`; allowances
    with their reasons; then what was examined."""
    rules = {rule.text for rule in contents.machine.rules}
    lines = []
    checks = [row for row in report.rows if row.subject not in rules]
    if everything or any(row.outcome != "proved" for row in checks):
        lines += _table([row for row in checks if everything or row.outcome != "proved"], everything)
    proved = [row.check for row in checks if row.outcome == "proved"]
    if proved and not everything:
        elsewhere = {row.check for row in checks if row.outcome != "proved"}
        named = (f"{check} elsewhere" if check in elsewhere else check for check in sorted(set(proved)))
        lines.append(f"proved: {', '.join(named)} ({len(proved)} verdict{'s' if len(proved) != 1 else ''})")
    lines += _table([row for row in report.rows if row.subject in rules], everything)
    if everything:
        for row in report.rows:
            if row.witness is not None:
                lines += ["", f"{row.subject}: reached in {_cycles(len(row.witness.cycles))}",
                          *table_lines(trace_rows(contents, row.witness), row.witness.loop, everything)]
    for applied in report.allowances:
        one = applied.allowance
        place = (f" on {one.on}" if one.on else "") + (f" at {one.at}" if one.at else "")
        lines.append(f"allowed: {one.check}{place}: {one.reason}")
    lines.append(counts_line(report))
    return lines


def counts_line(report: Report) -> str:
    """How much was examined, and whether that was everything."""
    size = f"{report.states:,} states, {report.transitions:,} transitions, {_cycles(report.depth)} deep"
    if report.stopped:
        return (f"undecided: {_reason(report.stopped)} after {size}; "
                f"every sequence of up to {_cycles(report.depth)} was examined")
    left = sum(row.outcome == "undecided" for row in report.rows)
    if left:    # the search of the machine alone came to its end, what followed it did not
        why = f" ({_reason(report.ended)})" if report.ended else ""
        return (f"undecided: {left} question{'s' if left != 1 else ''}{why}; the others over every reachable cycle: "
                f"{size}")
    return f"every reachable cycle examined: {size}"


def _reason(ended: str) -> str:
    return ended if ended == "interrupted" else f"the limit of {ended} was reached"


def row_note(row: Row) -> str:
    """The figure that goes with a verdict: the length of the witness, then the check's own remark (a worst case)."""
    parts = [] if row.witness is None else [f"reached in {_cycles(len(row.witness.cycles))}"]
    return ", ".join((*parts, row.note) if row.note else parts)


def _table(rows: list[Row], everything: bool) -> list[str]:
    rows = sorted(rows, key=lambda row: _ORDER.index(row.outcome)) if not everything else rows
    cells = [(row.outcome, row.check, row.subject, row_note(row)) for row in rows]
    if not cells:
        return []
    widths = [max(len(cell[column]) for cell in cells) for column in range(3)]
    return ["  ".join((*(text.ljust(width) for text, width in zip(cell, widths)), cell[3])).rstrip() for cell in cells]


def _cycles(count: int) -> str:
    return f"{count} cycle{'s' if count != 1 else ''}"


def report_data(contents: Contents, report: Report) -> dict[str, Any]:
    """The same as JSON-ready data, witnesses included."""
    return {
        "machine": contents.machine.name,
        "states": report.states, "transitions": report.transitions, "depth": report.depth,
        "stopped": report.stopped or None, "ended": report.ended or None,
        "verdicts": [{
            "check": row.check, "subject": row.subject, "outcome": row.outcome, "states": row.states,
            "transitions": row.transitions, "worst": row.worst, "within": row.cycles or None,
            "file": row.span.source.name, "line": row.span.line, "note": row.note,
            **({"witness": trace_data(contents, row.witness)} if row.witness is not None else {}),
        } for row in report.rows],
        "allowances": [{
            "check": applied.allowance.check, "on": applied.allowance.on, "at": applied.allowance.at,
            "reason": applied.allowance.reason, "needed": applied.needed,
        } for applied in report.allowances],
    }


def trace_data(contents: Contents, trace: Trace) -> dict[str, Any]:
    """Every cycle of a trace in full: what people are shown and what it takes to replay it."""
    cycles = []
    for row, cycle in zip(trace_rows(contents, trace), trace.cycles, strict=True):
        cycles.append({
            "cycle": row.number, "address": row.address, "label": row.label, "text": row.text,
            "states": cycle.states, "inputs": cycle.free, "matters": sorted(cycle.matters),
            "addresses": cycle.addresses, "words": {store: f"{word:#x}" for store, word in cycle.words.items()},
            "drivers": {bus: list(names) for bus, names in cycle.drivers.items()},
            "samplers": {bus: list(names) for bus, names in cycle.samplers.items()},
            "strobes": list(cycle.strobes),
        })
    return {"cycles": cycles, "loop": None if trace.loop is None else trace.loop + 1, "dead_end": trace.dead_end}
