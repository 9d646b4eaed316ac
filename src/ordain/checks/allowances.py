"""`allow CHECK on NAME at LABEL "reason"`: what is excused, and whether the excuse is still needed.

An allowance takes cycles out of a question, it never hides an answer: a fight allowed at one label is still found at
the next. Each allowance is asked about by itself, so that one that allows nothing any more is told.
"""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.checks.check import Applied, Check, Explanation, Known
from ordain.checks.wording import about
from ordain.machine.expression import Node
from ordain.machine.model import Allowance
from ordain.prover.model import Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, warning

EXPLANATION = Explanation(
    name="stale-allowance",
    fault="an `allow` that allows nothing",
    about="""\
An allowance is a standing exception from a check. One that is no longer needed would silently excuse the next
fault of its kind in that place, so it has to go when its reason is gone. It is only called stale when what it
is about was decided in full.""",
    example="""\
allow contention on data at hold.release "series resistors, measured 4 mA"
                                              # ... and nothing fights there any more""",
    repair="""\
Remove the line. When it was meant for another place, correct the label or the name after `on`.""",
)

COMPILE_TIME = (
    "field-conflict", "opcode-gap", "opcode-clash",
    "shared-tail", "opcode-in-family", "unpolled", "unused-order", "unused-code", "unused-label", "room-left",
)
"""Checks of the compiler, and advice: whether their allowances are needed is not known here."""


class Plan(NamedTuple):
    """A question with the allowances that bear on it. `judged`: the question without what is allowed; None when all
    of it is. `probes`: for each allowance (its number) the question that is broken when it is needed: that it is
    broken in the place of the allowance; of an "always" the question with that allowance alone, of which less is broken
    then than of `bare`, the same with none."""

    check: Check
    asked: Property
    judged: Property | None
    probes: tuple[tuple[int, Property], ...]
    bare: Property | None


def plan(contents: Contents, check: Check, asked: Property) -> list[Plan]:
    """One plan; or several when an allowance is about a part of the question only, which then is asked part by
    part."""
    on = {allowance.on for allowance in contents.machine.allowances if allowance.check == asked.check}
    finer = on - {"", *about(asked).names}
    if check.narrow is not None and finer:
        parts = check.narrow(contents, asked, Known(frozenset(), {}))
        if any(not finer.isdisjoint(about(part).names) for part in parts):
            whole = check._replace(narrow=None)     # a part is no bus: it has no parts of its own
            return [_planned(contents, whole, part) for part in parts]
    return [_planned(contents, check, asked)]


def excused(contents: Contents, asked: Property) -> Property | None:
    """The question without the cycles that allowances take out; None when nothing is left of it. Something that is to
    occur somewhere cannot be allowed to be missing at one place only, so a place plays no part there."""
    allowed: list[Node] = []
    for _, allowance in _matching(contents, asked):
        where = place(contents, allowance)
        if where is None or asked.kind == "reach":
            return None
        allowed.append(where)
    terms = contents.machine.terms
    if asked.kind == "always":
        return asked._replace(node=terms.or_((asked.node, *allowed)))
    return asked._replace(node=terms.and_((asked.node, *(terms.not_(where) for where in allowed))))


def place(contents: Contents, allowance: Allowance) -> Node | None:
    """The condition that control is where the allowance says; None: it says no place."""
    if not allowance.at:
        return None
    machine = contents.machine
    store, addresses = addresses_of(contents, allowance.at)
    return machine.terms.among(machine.terms.leaf("address", store, machine.stores[store].address_width), addresses)


def excused_words(contents: Contents, check: str, store: str, name: str = "") -> frozenset[int]:
    """The addresses of a store at which allowances of a check hold, for checks that look at words. `name`: the part of
    the words that is looked at, which an allowance may be about alone."""
    found: set[int] = set()
    for allowance in contents.machine.allowances:
        if allowance.check == check and allowance.on in ("", name):
            named, addresses = (addresses_of(contents, allowance.at) if allowance.at
                                else (store, frozenset(range(len(contents.words[store])))))
            found |= addresses if named == store else frozenset()
    return frozenset(found)


def addresses_of(contents: Contents, name: str) -> tuple[str, frozenset[int]]:
    """A label is its own word; a routine or instruction all of its words."""
    return contents.routines[name] if name in contents.routines else contents.labels[name]


def _matching(contents: Contents, asked: Property) -> list[tuple[int, Allowance]]:
    names = ("", *about(asked).names)
    return [(number, allowance) for number, allowance in enumerate(contents.machine.allowances)
            if allowance.check == asked.check and allowance.on in names]


def _planned(contents: Contents, check: Check, asked: Property) -> Plan:
    matching = _matching(contents, asked)
    probes = tuple((number, _probe(contents, asked, allowance)) for number, allowance in matching)
    return Plan(check, asked, excused(contents, asked), probes,
                asked if asked.kind == "always" and matching else None)


def _probe(contents: Contents, asked: Property, allowance: Allowance) -> Property:
    terms, where = contents.machine.terms, place(contents, allowance)
    if asked.kind == "bad" and where is not None:
        return asked._replace(node=terms.and_((asked.node, where)))
    if asked.kind == "always":
        return asked._replace(node=terms.const(1, 1) if where is None else terms.or_((asked.node, where)))
    return asked


def needed(answers: Iterable[tuple[Plan, Verdict | None, tuple[Verdict, ...], Verdict | None]],
           count: int) -> list[bool | None]:
    """For each allowance whether some question needs it: False also where no question is about what it names, None
    where the answer was not reached. The verdicts are that of the judged question, those of the probes and that of the
    bare question.

    An allowance counts by itself, whatever others allow: of two that allow the same both are needed, so nobody is told
    that they could go."""
    found = [False] * count
    undecided: set[int] = set()
    for made, judged, verdicts, bare in answers:
        for (number, _), verdict in zip(made.probes, verdicts, strict=True):
            if any(one is not None and one.outcome == "undecided" for one in (judged, verdict, bare)):
                undecided.add(number)
            found[number] = found[number] or (verdict.outcome == "broken" if bare is None else
                                              verdict.outcome != "undecided" and _lost(verdict) < _lost(bare))
    return [None if number in undecided and not need else need for number, need in enumerate(found)]


def _lost(verdict: Verdict) -> int:
    """How many states have no way to what has always to be reachable."""
    return sum(found.states for found in verdict.breaks)


def stale(applied: tuple[Applied, ...]) -> list[Finding]:
    """A finding for every allowance that is certainly not needed."""
    found = []
    for allowance, need in applied:
        if need is False:
            where = f" at `{allowance.at}`" if allowance.at else ""
            found.append(warning(
                EXPLANATION.name,
                f"this allowance of `{allowance.check}` allows nothing: nothing of the kind happens{where}",
                allowance.span, "not needed", help="remove the line, or correct its place"))
    return found
