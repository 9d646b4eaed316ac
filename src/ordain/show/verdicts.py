"""What a proof says, as a table for people and as data."""

from collections.abc import Iterable, Sequence
from typing import Any

from ordain.checks.check import Report, Row
from ordain.control.model import Trace
from ordain.control.phases import cycles_in, length, share, whole_cycles
from ordain.control.registers import sums_taken
from ordain.machine.model import Machine
from ordain.rom.contents import Contents
from ordain.show.folding import folded
from ordain.show.groups import FindingGroup
from ordain.show.page import PLAIN, Page, fold, table
from ordain.show.paint import printable
from ordain.show.trace_table import trace_rows
from ordain.show.traces import cycle_lines
from ordain.text.findings import Severity

_ROLES = {"broken": "bad", "vacuous": "doubt", "undecided": "doubt", "allowed": "doubt"}
MEANING = "meaning"
"""The check whose rows are about what instructions do: proved there says that it is so."""
FEW_OPEN = 6
"""So many questions without an answer are listed one by one."""


def answer_lines(contents: Contents, report: Report, groups: Sequence[FindingGroup], page: Page = PLAIN) -> list[str]:
    """The answer in one line: what is proved or broken, and over how much. `groups`: the findings, shown with it."""
    count = len(report.rows)
    broken = sum(row.outcome in ("broken", "vacuous") for row in report.rows)
    left = sum(row.outcome == "undecided" for row in report.rows)
    deep = length(contents.machine, report.depth)
    size = f"over {report.states:,} states, {report.transitions:,} transitions, {deep} deep"
    if report.stopped:
        size = f"every sequence of up to {deep} was examined"
    parts = [f"{_questions(left)} undecided, {_reason(report)}" if report.ended else f"{_questions(left)} undecided"
             ] if left or report.stopped or report.ended else []
    parts += [_found(groups)] if groups else []
    if broken:
        parts.append(f"{broken} of {_questions(count)} broken")
    elif not left:
        parts.append(f"all {_questions(count)} proved{_shares(contents, report)}")
    elif not report.stopped:
        parts.append(f"{count - left} of {count} proved")
    role = "bad" if broken or _faults(groups) else "doubt" if len(parts) > 1 or left else "good"
    kept = " (kept from an earlier run; --no-cache proves anew)" if report.kept else ""
    head, *more = parts
    said = "; ".join((page.paint(role, head), *more)) + (f"; {size}" if report.stopped else f" {size}")
    return fold(f"{contents.machine.name}: {said}{kept}", page)


def _faults(groups: Sequence[FindingGroup]) -> int:
    return sum(group.first.severity is Severity.ERROR for group in groups)


def _found(groups: Sequence[FindingGroup]) -> str:
    """`1 fault, 2 warnings`."""
    names = {Severity.ERROR: "fault", Severity.WARNING: "warning", Severity.NOTE: "note"}
    counts = [(sum(group.first.severity is severity for group in groups), name) for severity, name in names.items()]
    return ", ".join(f"{count} {name}{'s' if count != 1 else ''}" for count, name in counts if count)


def _questions(count: int) -> str:
    return f"{count} question{'s' if count != 1 else ''}"


def _shares(contents: Contents, report: Report) -> str:
    asked = {rule.text for rule in contents.machine.rules}
    meanings = sum(row.check == MEANING for row in report.rows)
    rules = sum(row.subject in asked and row.check != MEANING for row in report.rows)
    checks = len(report.rows) - rules - meanings
    parts = [f"{number} {name}{'s' if number != 1 else ''}"
             for number, name in ((checks, "check"), (rules, "rule"), (meanings, "meaning")) if number]
    return f" ({', '.join(parts)})" if len(parts) > 1 else ""


def report_lines(contents: Contents, report: Report, everything: bool, page: Page = PLAIN) -> list[str]:
    """What stands below the findings: with `everything` every verdict and every witness, else how many questions are
    broken and which stay open, the longest wait and what is allowed, with the reasons."""
    asked = {rule.text for rule in contents.machine.rules} | {
        row.subject for row in report.rows if row.check == MEANING}
    lines = []
    if everything:
        lines += _table(contents.machine, report.rows, asked, page)
        for row in report.rows:
            if row.witness is not None:
                lines += ["", *fold(f"{row.subject}: {_reached(contents.machine, row.witness)}", page),
                          *cycle_lines(contents, row.witness, page)]
        lines += [""] if lines else []
    else:
        left = [row for row in report.rows if row.outcome == "undecided"]
        listed = [row for row in report.rows if row.outcome not in ("proved", "undecided", "allowed")]
        lines += _broken(listed, page)
        told = left[:FEW_OPEN] if len(left) <= FEW_OPEN or not (report.stopped or report.ended) else []
        lines += _table(contents.machine, told, asked, page)
        if told and len(left) > len(told):
            lines.append(f"{_questions(len(left) - len(told))} more undecided; --all lists them")
        if listed:
            lines += _never_happens([row for row in report.rows if row.subject not in asked], page)
        lines += [line for row in report.rows if row.witness is not None and sums_taken(row.witness)
                  for line in fold(printable(f"{row.subject}: {_reached(contents.machine, row.witness)}"), page)]
        lines += [line for text in _longest_wait(contents.machine, report) for line in fold(text, page)]
    for applied in report.allowances:
        one = applied.allowance
        place = (f" on {one.on}" if one.on else "") + (f" at {one.at}" if one.at else "")
        lines += fold(printable(f"allowed: {one.check}{place}: {one.reason}"), page)
    return lines


def _broken(rows: list[Row], page: Page) -> list[str]:
    """`broken: contention 2, missing-hold 6 (only where another finding is the cause)`."""
    if not rows:
        return []
    counts: dict[tuple[str, str], int] = {}
    for row in rows:
        counts[row.check, row.note] = counts.get((row.check, row.note), 0) + 1
    said = [f"{check} {count}{f' ({note})' if note else ''}" for (check, note), count in counts.items()]
    return fold(f"{page.paint('bad', 'broken')}: {printable(', '.join(said))}", page)


def _never_happens(checks: list[Row], page: Page) -> list[str]:
    """The checks that are proved, where others are not: a name that is proved in part says so."""
    proved = [row.check for row in checks if row.outcome == "proved"]
    elsewhere = {row.check for row in checks if row.outcome != "proved"}
    named = [f"{check} elsewhere" if check in elsewhere else check for check in sorted(set(proved))]
    return fold(f"never happens: {', '.join(named)} ({_questions(len(proved))})", page) if proved else []


def _longest_wait(machine: Machine, report: Report) -> list[str]:
    """The wait that comes nearest to its limit."""
    waits = [row for row in report.rows if row.outcome == "proved" and row.worst is not None and row.cycles]
    if not waits:
        return []
    tightest = max(waits, key=lambda row: (row.worst or 0) / row.cycles * 1000 + (row.worst or 0))
    more = f"; {len(waits)} waits in all, see --all" if len(waits) > 1 else ""
    waited = share(machine, tightest.worst or 0, tightest.cycles)
    return [printable(f"longest wait: {waited} ({tightest.subject}){more}")]


def _reason(report: Report) -> str:
    """Why not everything was decided."""
    if report.ended == "interrupted":
        return f"interrupted after {report.states:,} states"
    return f"stopped at the limit of {report.ended} after {report.states:,} states"


def row_note(machine: Machine, row: Row) -> str:
    """The figure that goes with a verdict: the length of the witness, then the check's own remark (a worst case)."""
    parts = [] if row.witness is None else [_reached(machine, row.witness)]
    return ", ".join((*parts, row.note) if row.note else parts)


def _table(machine: Machine, rows: Iterable[Row], asked: set[str], page: Page) -> list[str]:
    """`asked`: the texts of rules, and instructions with a meaning. What a check is proved to be
    never happens: "proved" would say the opposite."""
    cells = []
    for row in rows:
        said = row.outcome if row.outcome != "proved" or row.subject in asked else "never happens"
        cells.append((page.paint(_ROLES.get(row.outcome, "good"), said), row.check, printable(row.subject),
                      row_note(machine, row)))
    return table(cells, page)


def _reached(machine: Machine, witness: Trace) -> str:
    count = cycles_in(machine, witness)
    sums = " and ".join(f"`{name}`" for name in sums_taken(witness))
    return f"reached in {count} cycle{'s' if count != 1 else ''}" + (
        f" if {sums} can come to the value that is shown" if sums else "")


def report_data(contents: Contents, report: Report) -> dict[str, Any]:
    """The same as JSON-ready data, witnesses included."""
    return {
        "machine": contents.machine.name,
        "states": report.states, "transitions": report.transitions,
        "depth": whole_cycles(contents.machine, report.depth),
        "stopped": report.stopped or None, "ended": report.ended or None, "kept": report.kept,
        "verdicts": [{
            "check": row.check, "subject": row.subject, "outcome": row.outcome, "states": row.states,
            "transitions": row.transitions,
            "worst": None if row.worst is None else whole_cycles(contents.machine, row.worst),
            "within": whole_cycles(contents.machine, row.cycles) or None,
            "file": row.span.source.name, "line": row.span.line, "note": row.note,
            **({"witness": trace_data(contents, row.witness)} if row.witness is not None else {}),
        } for row in report.rows],
        "allowances": [{
            "check": applied.allowance.check, "on": applied.allowance.on, "at": applied.allowance.at,
            "reason": applied.allowance.reason, "needed": applied.needed,
        } for applied in report.allowances],
    }


def trace_data(contents: Contents, trace: Trace) -> dict[str, Any]:
    """Every cycle of a trace in full: what people are shown and what it takes to replay it. The phases of a cycle stand
    apart where they differ."""
    cycles = []
    whole = folded(contents.machine, trace)
    for at, (row, cycle) in enumerate(zip(trace_rows(contents, whole), whole.trace.cycles, strict=True)):
        cycles.append({
            "cycle": whole.numbers[at], **({"phase": whole.phases[at]} if whole.phases[at] else {}),
            "address": row.address, "label": row.label, "text": row.text,
            "states": cycle.states, "inputs": cycle.free, "matters": sorted(cycle.matters),
            "addresses": cycle.addresses, "words": {store: f"0x{word:X}" for store, word in cycle.words.items()},
            "drivers": {bus: list(names) for bus, names in cycle.drivers.items()},
            "samplers": {bus: list(names) for bus, names in cycle.samplers.items()},
            "strobes": list(cycle.strobes),
        })
    loop = whole.trace.loop
    return {"cycles": cycles, "loop": None if loop is None else whole.numbers[loop], "dead_end": trace.dead_end}
