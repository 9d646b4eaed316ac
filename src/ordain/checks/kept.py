"""A report as JSON data and back, so that it can be kept: whole, with places and traces.

Places are kept as offsets into the machine's sources, so data only fits the very sources that it was made from; `cache`
sees to that. What cannot be read back, or has a value of a kind that stands nowhere in a report, raises KeyError,
IndexError, TypeError, AttributeError or ValueError.
"""

from functools import cache
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from ordain.checks.check import Applied, Report, Row
from ordain.control.model import Cycle, Trace
from ordain.machine.model import Machine
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place, Severity
from ordain.text.source import Source, Span


def report_data(contents: Contents, report: Report) -> dict[str, Any]:
    """Everything in a report; allowances by their number in the machine."""
    numbers = {allowance.span: number for number, allowance in enumerate(contents.machine.allowances)}
    return {
        "findings": [_finding_data(finding) for finding in report.findings],
        "rows": [[row[:7], _trace_data(row.witness), row.note, _span_data(row.span)] for row in report.rows],
        "allowances": [[numbers[applied.allowance.span], applied.needed] for applied in report.allowances],
        "executed": {store: sorted(addresses) for store, addresses in report.executed.items()},
        "states": report.states, "transitions": report.transitions, "depth": report.depth,
        "stopped": report.stopped,
    }


def report_from(contents: Contents, data: dict[str, Any]) -> Report:
    """The report that `report_data` made data of, for the same contents."""
    sources = sources_of(contents)
    rows = tuple(Row._make((*figures, _trace_from(witness), note, _span_from(sources, span)))
                 for figures, witness, note, span in data["rows"])
    report = Report(
        tuple(_finding_from(sources, finding) for finding in data["findings"]), rows,
        tuple(Applied(contents.machine.allowances[number], needed) for number, needed in data["allowances"]),
        {store: frozenset(addresses) for store, addresses in data["executed"].items()},
        data["states"], data["transitions"], data["depth"], data["stopped"], "")
    traces = [*(finding.trace for finding in report.findings), *(row.witness for row in rows)]
    if not _fits(report, Report) or not all(_is_of(contents, trace) for trace in traces if trace is not None):
        raise TypeError("a value is not of its kind, or of this machine")
    return report


def _is_of(contents: Contents, trace: Trace) -> bool:
    """Whether a trace can be shown: everything has the names of the machine, and values that these can have."""
    if not trace.cycles:
        return False
    machine, first = contents.machine, trace.cycles[0]
    codes = {name: named.codes for table in (machine.states, machine.inputs) for name, named in table.items()}
    for number, cycle in enumerate(trace.cycles):
        if number != trace.loop and (cycle.states.keys(), cycle.monitors.keys()) != (first.states.keys(),
                                                                                      first.monitors.keys()):
            return False
        if not (cycle.free.keys() == first.free.keys() >= cycle.matters and cycle.words.keys() == contents.words.keys()
                and cycle.drivers.keys() == cycle.samplers.keys() == machine.buses.keys()
                and all(value >= 0 for value in cycle.addresses.values())
                and cycle.words == {store: contents.words[store][at] for store, at in cycle.addresses.items()}):
            return False
        if any(not 0 <= value < (len(codes.get(name, ())) or value + 1)
               for name, value in (*cycle.states.items(), *cycle.free.items())):
            return False
    return trace.loop is None or 0 <= trace.loop < len(trace.cycles)


def _fits(value: Any, kind: Any) -> bool:
    """Whether a value is of the kind that a named tuple declares, down to the last part. `Any` stands for a trace."""
    origin, parts = _shape(kind)
    if kind is Any:
        return value is None or _fits(value, Trace)
    if origin in (Union, UnionType):
        return any(_fits(value, part) for part in parts)
    if origin is Literal:
        return value in parts
    if origin in (tuple, frozenset):
        return type(value) is origin and all(_fits(each, parts[0]) for each in value)
    if origin is dict:
        return type(value) is dict and all(
            _fits(key, parts[0]) and _fits(each, parts[1]) for key, each in value.items())
    if kind in _declared_kinds():
        return type(value) is kind and all(map(_fits, value, _declared_kinds()[kind]))
    return type(value) is kind


@cache
def _shape(kind: Any) -> tuple[Any, tuple[Any, ...]]:
    return get_origin(kind), get_args(kind)


@cache
def _declared_kinds() -> dict[Any, tuple[Any, ...]]:
    return {kind: tuple(get_type_hints(kind).values()) for kind in (Report, Finding, Place, Row, Applied, Trace, Cycle)}


# ---------------------------------------------------------------- places


def sources_of(contents: Contents) -> dict[str, Source]:
    """Every source that a place in a finding can be in, by name."""
    spans = [site.span for sites in contents.sites.values() for site in sites.values() if site.span is not None]
    spans += _declared(contents.machine)
    return {span.source.name: span.source for span in spans}


def _declared(machine: Machine) -> list[Span]:
    tables = (machine.stores, machine.fields, machine.chips, machine.states, machine.registers, machine.inputs,
              machine.conditions, machine.signals, machine.buses, machine.agents)
    lists = (machine.assumptions, machine.strobes, machine.keeps, machine.exclusives, machine.rules,
             machine.allowances, machine.orders)
    return [machine.span, *(declared.span for table in tables for declared in table.values()),
            *(declared.span for listed in lists for declared in listed), *(span for _, _, span in machine.labels)]


def _span_data(span: Span | None) -> list[Any] | None:
    return None if span is None else [span.source.name, span.start, span.end]


def _span_from(sources: dict[str, Source], data: list[Any]) -> Span:
    name, start, end = data
    if type(start) is not int or type(end) is not int or not 0 <= start <= end <= len(sources[name].text):
        raise ValueError("a place is outside of its source")
    return Span(sources[name], start, end)


# ---------------------------------------------------------------- findings and traces


def _finding_data(finding: Finding) -> list[Any]:
    places = [[_span_data(place.span), place.label] for place in finding.places]
    return [finding.name, finding.severity.value, finding.message, _span_data(finding.span), finding.label, places,
            list(finding.notes), finding.help, _trace_data(finding.trace)]


def _finding_from(sources: dict[str, Source], data: list[Any]) -> Finding:
    name, severity, message, span, label, places, notes, help, trace = data
    return Finding(name, Severity(severity), message, None if span is None else _span_from(sources, span), label,
                   tuple(Place(_span_from(sources, place), said) for place, said in places), tuple(notes), help,
                   _trace_from(trace))


def _trace_data(trace: Trace | None) -> list[Any] | None:
    if trace is None:
        return None
    cycles = [[*cycle[:3], sorted(cycle.matters), *cycle[4:9], sorted(cycle.events)] for cycle in trace.cycles]
    return [cycles, trace.loop, trace.dead_end, trace.after]


def _trace_from(data: list[Any] | None) -> Trace | None:
    if data is None:
        return None
    cycles, loop, dead_end, after = data
    return Trace(tuple(_cycle_from(cycle) for cycle in cycles), loop, dead_end, after)


def _cycle_from(data: list[Any]) -> Cycle:
    states, monitors, free, matters, addresses, words, drivers, samplers, strobes, events = data
    return Cycle(states, monitors, free, frozenset(matters), addresses, words,
                 {bus: tuple(names) for bus, names in drivers.items()},
                 {bus: tuple(names) for bus, names in samplers.items()}, tuple(strobes), frozenset(events))
