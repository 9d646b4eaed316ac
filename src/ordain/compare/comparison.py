"""Everything that is said about two versions, and what of it was not expected."""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.compare.behaviour import Behaviour, ComparedUnit
from ordain.compare.places import Addresses
from ordain.compare.reach import ReachedWords
from ordain.compare.verdicts import LESS_ASKED, Moved, VerdictChanges, names_of, worse
from ordain.measure.cycles import Cycles, Taken
from ordain.rom.burn_plan import ChipChange
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, error
from ordain.text.source import Span


class CycleChange(NamedTuple):
    """An instruction that takes other numbers of cycles: least and most; None instead of both: it is not on that side,
    or never begins there, instead of one: it never ends there. `rings`: in how many waits it can go round, before and
    now."""

    title: str
    old: tuple[int | None, int | None] | None
    new: tuple[int | None, int | None] | None
    rings: tuple[int, int]


class Comparison(NamedTuple):
    """`old`, `new`: what the versions are called. A part that was not asked for, or cannot be told, is None.
    `expected`: titles that were meant to change, and questions that were meant to be asked less."""

    old: str
    new: str
    behaviour: Behaviour | None
    reach: ReachedWords | None
    verdicts: VerdictChanges | None
    cycles: tuple[CycleChange, ...] | None
    chips: tuple[ChipChange, ...] | None
    expected: frozenset[str]
    remarks: tuple[str, ...]


def cycle_changes(old: Cycles | None, new: Cycles | None) -> tuple[CycleChange, ...]:
    """What takes other least or most cycles, or is on one side only: instructions, rows, the fetch; and the round of a
    machine without instructions."""
    before, now = _taken(old), _taken(new)
    found: list[CycleChange] = []
    for title in {**now, **before}:
        ours, theirs = before.get(title), now.get(title)
        change = CycleChange(title, _span(ours), _span(theirs), (_rings(ours), _rings(theirs)))
        if change.old != change.new or change.rings[0] != change.rings[1]:
            found.append(change)
    return tuple(found)


def _taken(cycles: Cycles | None) -> dict[str, Taken]:
    if cycles is None:
        return {}
    ways = {"(fetch)": cycles.fetch, "(round)": cycles.round}
    return {**{title: taken for title, taken in ways.items() if taken is not None},
            **{taken.title: taken for taken in cycles.taken if taken.begins}}


def _span(taken: Taken | None) -> tuple[int | None, int | None] | None:
    return None if taken is None else (taken.least, taken.most)


def _rings(taken: Taken | None) -> int:
    """Words that stand at many addresses, once for each opcode, are one wait."""
    return 0 if taken is None else len({(ring.names, ring.words or ring.addresses) for ring in taken.rings})


# ---------------------------------------------------------------- what was not expected


MACHINE = "machine"
"""What to expect when the machine itself is meant to do something else."""


def is_expected(unit: ComparedUnit, expected: Iterable[str]) -> bool:
    """A unit is expected to change by its title, or by the one that it had."""
    return unit.title in expected or (bool(unit.was) and unit.was in expected)


def unexpected(comparison: Comparison) -> tuple[ComparedUnit, ...]:
    """The units that behave differently, are new or gone, and were not named."""
    units = () if comparison.behaviour is None else comparison.behaviour.units
    return tuple(unit for unit in units if unit.status != "same" and not is_expected(unit, comparison.expected))


def unchanged_though_expected(comparison: Comparison) -> tuple[str, ...]:
    """Titles that were expected to change and did not."""
    if comparison.behaviour is None:
        return ()
    moved = {title for unit in comparison.behaviour.units if unit.status != "same" for title in (unit.title, unit.was)}
    if comparison.behaviour.machine:
        moved.add(MACHINE)
    if comparison.verdicts is not None:
        moved |= {name for one in comparison.verdicts.moved if one.kind in LESS_ASKED for name in names_of(one)}
    return tuple(sorted(comparison.expected - moved))


def findings_of(comparison: Comparison) -> list[Finding]:
    """What a repository guard must not let through, one finding each."""
    found = [_about(unit, comparison) for unit in unexpected(comparison)]
    if comparison.behaviour is not None and MACHINE not in comparison.expected:
        found += [error("machine-changed", f"against {comparison.old}: {text}", None,
                        help="if it is meant, say so with `--expect machine`")
                  for text in comparison.behaviour.machine]
    if comparison.verdicts is not None:
        found += [_worse(moved, comparison.old) for moved in worse(comparison.verdicts, comparison.expected)]
    return found


_LESS_ASKED = {"dropped": "is not asked any more", "weaker": "asks less than before",
               "changed": "asks something else than before",
               "promised": "is taken for granted", "allows": "is allowed"}


def _worse(moved: Moved, old: str) -> Finding:
    if moved.kind in _LESS_ASKED:
        return error("verdict-worse", f"against {old}: {moved.check}: {moved.subject} {_LESS_ASKED[moved.kind]}", None,
                     help=f"if it is meant, name it: `--expect \"{moved.subject}\"`")
    more = " in more places" if moved.old == moved.new else ""
    return error("verdict-worse", f"against {old}: {moved.check}: {moved.subject} was {moved.old or 'not asked'}, "
                 f"is {moved.new}{more}", None, help="`ordain prove` shows the sequence that breaks it")


def _about(unit: ComparedUnit, comparison: Comparison) -> Finding:
    assert comparison.behaviour is not None
    joint = comparison.behaviour.joint
    said = {"changed": "behaves differently", "new": "is new", "gone": "is gone"}[unit.status]
    span, label = None, ""
    if unit.difference is not None and unit.difference.new:
        span = _span_of(joint.common.sides[1].contents, unit.difference.new)
        label = f"cycle {unit.difference.cycle} is the first that differs"
    elif unit.new_nodes and joint.graphs[1].rows[unit.new_nodes[0]]:
        span = _span_of(joint.common.sides[1].contents, joint.graphs[1].rows[unit.new_nodes[0]][0].addresses)
        label = "begins here"
    return error("behaviour-changed", f"`{unit.title}` {said} against {comparison.old}", span, label if span else "",
                 help=f"if it is meant, name it: `--expect \"{unit.title}\"`")


def _span_of(contents: Contents, addresses: Addresses) -> Span | None:
    for store, address in addresses:
        site = contents.sites.get(store, {}).get(address)
        if site is not None and site.span is not None:
            return site.span
    return None
