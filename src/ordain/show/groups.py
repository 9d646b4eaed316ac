"""Findings that have one cause are shown as one: the same question broken at several microinstructions, and what else
breaks in the same sequence of cycles. What goes wrong first comes first; what only happens after it, or for want of
what it keeps from happening, is named below. Nothing is left out of JSON, SARIF, `--all` or the exit status."""

import re
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from ordain.checks.catalogue import RULES
from ordain.control.phases import cycles_in
from ordain.machine.model import Machine
from ordain.show.page import Page, columns, cut, fold
from ordain.show.paint import printable
from ordain.text.findings import Finding, Place, Severity

FEW = 5
"""So many of a group are named."""
_LONGER = 2
"""A sequence that goes on for so many cycles after that of another finding is the same sequence."""
MOST = 3
"""So many groups are shown each by itself."""
_LISTED = 3
_PLACE = re.compile(r" at (`[^`]*`|0x[0-9A-F]+, where nothing was placed)( \(0x[0-9A-F]+\))?")
_COUNTED = re.compile(r"^(the word|[0-9]+ words, one of them),?(?= )|\b(it|them)$")
_FOR_WANT = ("reach", "vacuous", "unreachable", "inactive", "stale-allowance")
"""Findings that something does not occur: whatever goes wrong earlier may be the reason."""


class FindingGroup(NamedTuple):
    """`first` is shown in full. `places`: the same at other microinstructions; `others`: other questions that the same
    sequence breaks."""

    first: Finding
    places: tuple[Finding, ...]
    others: tuple[Finding, ...]


def grouped(findings: Sequence[Finding]) -> list[FindingGroup]:
    """The groups, what goes wrong first at the beginning: sequences that end in a fault, the shortest first, then those
    that go on for ever, then what does not occur. None of another severity joins a group."""
    questions: dict[object, list[Finding]] = {}
    for finding in findings:
        places = tuple(map(_where, finding.places))
        key = (finding.name, finding.severity, _COUNTED.sub("", _PLACE.sub("", finding.message)), places)
        questions.setdefault(key, []).append(finding)
    every = [sorted(each, key=_length) for each in questions.values()]
    order = {id(finding): index for index, finding in enumerate(findings)}
    sequences: list[list[list[Finding]]] = []
    for each in sorted(every, key=lambda each: _length(each[0])):
        shortest = (group for group in sequences if _goes_on(group[0][0], each[0]))
        found = next(shortest, None)
        if found is None:
            sequences.append([each])
        else:
            found.append(each)
    groups = []
    for sequence in sequences:
        main, *others = sorted(sequence, key=lambda each: (each[0].name in _RULES, _length(each[0]),
                                                           min(order[id(one)] for one in each)))
        groups.append(FindingGroup(main[0], tuple(main[1:]), tuple(one for each in others for one in each)))
    return sorted(groups, key=lambda group: (_SEVERITIES.index(group.first.severity), *_when(group.first),
                                             order[id(group.first)]))


_SEVERITIES = list(Severity)
_RULES = frozenset(form.name for form in RULES)
"""A built-in check says more of a cause than a rule that is broken with it."""


def first_causes(groups: Sequence[FindingGroup]) -> tuple[list[FindingGroup], list[Finding]]:
    """The groups to be shown each by itself, at most `MOST`, and the other findings: what speaks of the same drivers or
    loads as a group that is shown, comes about only after its fault, or for want of what that keeps from happening."""
    shown: list[FindingGroup] = []
    rest: list[Finding] = []
    for group in groups:
        if not shown or (len(shown) < MOST and not any(_follows(each.first, group.first) for each in shown)):
            shown.append(group)
        else:
            rest += [group.first, *group.others]
    return shown, rest


def _when(finding: Finding) -> tuple[int, int]:
    """What goes wrong first is the smallest."""
    if finding.name in _FOR_WANT and finding.trace is None:
        return 3, 0
    if finding.trace is None:
        return 1, 0
    return (2, 0) if finding.trace.loop is not None else (0, _length(finding))


def _follows(first: Finding, other: Finding) -> bool:
    """Whether the other one may be there only because of the first."""
    if _when(first)[0] < _when(other)[0] and _when(other)[0] > 1:
        return True
    if {_where(place) for place in first.places} & {_where(place) for place in other.places}:
        return True
    if first.trace is None or other.trace is None:
        return False
    fault = first.trace.cycles[-1]
    fights = {bus: set(drivers) for bus, drivers in fault.drivers.items() if len(drivers) > 1}
    return any((cycle.addresses == fault.addresses and cycle.states == fault.states)
               or any(drivers <= set(cycle.drivers.get(bus, ())) for bus, drivers in fights.items())
               for cycle in other.trace.cycles)


def _length(finding: Finding) -> int:
    return len(finding.trace.cycles) if finding.trace is not None else 0


def _goes_on(shorter: Finding, longer: Finding) -> bool:
    """Whether the sequence of one is that of the other, or that and a few cycles more: the same states and words cycle
    by cycle."""
    one, other = shorter.trace, longer.trace
    if one is None or other is None or shorter.severity is not longer.severity:
        return False
    if not 0 <= len(other.cycles) - len(one.cycles) <= _LONGER:
        return False
    return all(a.addresses == b.addresses and a.states == b.states for a, b in zip(one.cycles, other.cycles))


def _where(place: Place) -> tuple[str, int]:
    return place.span.source.name, place.span.start


def group_lines(machine: Machine | None, group: FindingGroup, page: Page) -> list[str]:
    """What is said of a group below its first finding."""
    lines = []
    if group.places:
        names = [found[0].strip().removeprefix("at ") for finding in group.places
                 if (found := _PLACE.search(finding.message)) is not None]
        count = len(group.places)
        shown = f": {_some(names)}" if names else ""
        lines += fold(printable(f"the same at {count} more microinstruction{'s' if count > 1 else ''}{shown}"), page)
    if group.others:
        lines += fold("the same sequence also breaks (--all shows each in full)", page)
        questions = Counter(_PLACE.sub("", finding.message) for finding in group.others)
        firsts = {_PLACE.sub("", finding.message): finding for finding in reversed(group.others)}
        for question, count in list(questions.items())[:FEW]:
            finding = firsts[question]
            cycle = ""
            if machine is not None and finding.trace is not None:
                cycle = f", cycle {cycles_in(machine, finding.trace)}"
            more = f", and at {count - 1} more" if count > 1 else ""
            lines += fold(f"  {page.paint('strong', finding.name)}: {printable(finding.message)}{cycle}{more}", page)
        if len(questions) > FEW:
            lines.append(f"  and {len(questions) - FEW} more")
    return lines


def rest_lines(rest: Sequence[Finding], page: Page) -> list[str]:
    """The findings that are not shown by themselves, a line each."""
    if not rest:
        return []
    among = ", among them" if len(rest) > _LISTED else ""
    lines = fold(f"{len(rest)} more, perhaps for the same reason (--all shows each in full){among}:", page)
    for finding in rest[:_LISTED]:
        said = printable(finding.message)
        if page.folds:
            said = cut(said, page.width - columns(finding.name) - 4)
        lines.append(f"  {page.paint('strong', finding.name)}: {said}")
    return [*lines, ""]


def _some(names: list[str]) -> str:
    left = len(names) - FEW
    return ", ".join(names[:FEW]) + (f" and {left} more" if left > 0 else "")
