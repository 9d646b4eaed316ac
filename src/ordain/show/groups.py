"""Findings that have one cause are shown as one: the same question broken at several microinstructions, and what else
breaks in the same sequence of cycles. Nothing is left out of JSON, SARIF or the exit status."""

import re
from collections.abc import Sequence
from typing import NamedTuple

from ordain.show.page import Page, fold
from ordain.show.paint import printable
from ordain.text.findings import Finding, Severity

FEW = 5
"""So many of a group are named."""
_LONGER = 2
"""A sequence that goes on for so many cycles after that of another finding is the same sequence."""
_PLACE = re.compile(r" at (`[^`]*`|0x[0-9A-F]+, where nothing was placed)( \(0x[0-9A-F]+\))?")


class Group(NamedTuple):
    """`first` is shown in full. `places`: the same at other microinstructions; `others`: other questions that the same
    sequence breaks."""

    first: Finding
    places: tuple[Finding, ...]
    others: tuple[Finding, ...]


def grouped(findings: Sequence[Finding]) -> list[Group]:
    """Groups in the order of their first findings, which are the first that were asked about: checks come before rules.
    None of another severity joins a group."""
    questions: dict[object, list[Finding]] = {}
    for finding in findings:
        places = tuple((place.span.source.name, place.span.start) for place in finding.places)
        key = (finding.name, finding.severity, _PLACE.sub("", finding.message), places)
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
        main, *others = sorted(sequence, key=lambda each: min(order[id(one)] for one in each))
        groups.append(Group(main[0], tuple(main[1:]), tuple(one for each in others for one in each)))
    return sorted(groups, key=lambda group: (_SEVERITIES.index(group.first.severity), order[id(group.first)]))


_SEVERITIES = list(Severity)


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


def group_lines(group: Group, page: Page) -> list[str]:
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
        for finding in group.others[:FEW]:
            cycle = f", cycle {_length(finding)}" if finding.trace is not None else ""
            lines += fold(f"  {page.paint('strong', finding.name)}: {printable(finding.message)}{cycle}", page)
        if len(group.others) > FEW:
            lines.append(f"  and {len(group.others) - FEW} more")
    return lines


def _some(names: list[str]) -> str:
    left = len(names) - FEW
    return ", ".join(names[:FEW]) + (f" and {left} more" if left > 0 else "")
