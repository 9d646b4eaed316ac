"""A comparison as text: one screen first, everything on request."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ordain.compare.behaviour import Behaviour, ComparedUnit
from ordain.compare.comparison import Comparison, CycleChange, is_expected
from ordain.compare.difference import Difference
from ordain.compare.places import Addresses
from ordain.compare.reach import ReachedWords, Via
from ordain.compare.roots import Titles
from ordain.compare.verdicts import WORSE, Moved, VerdictChanges, worse
from ordain.rom.burn_plan import ChipChange, burns_and_erasures
from ordain.rom.contents import Contents
from ordain.show.page import Page, fold
from ordain.show.paint import printable

FEW = 6
"""Names or lines of one kind on the first screen."""


class PaintedLine(NamedTuple):
    """A line and the role in which it is painted, "" for none."""

    text: str
    role: str = ""


def comparison_lines(found: Comparison, everything: bool, page: Page) -> list[str]:
    """The whole report, the answer first. With `everything` nothing is left out."""
    lines = [PaintedLine(f"{found.old} -> {found.new}: {_answer(found)}", "strong")]
    if found.behaviour is not None:
        lines += [PaintedLine(""), *_behaviour(found, found.behaviour, everything)]
    if found.reach is not None:
        lines += map(PaintedLine, _reach(found.reach, everything))
    if found.verdicts is not None:
        lines += [PaintedLine(""), *_verdicts(found.verdicts, everything)]
    if found.cycles is not None:
        lines += map(PaintedLine, ["", *_cycles(found.cycles, everything)])
    if found.chips is not None:
        lines += map(PaintedLine, ["", *_chips(found.chips, everything)])
    return _drawn([*lines, *(PaintedLine(f"note: {remark}") for remark in found.remarks)], page)


def _drawn(lines: Iterable[PaintedLine], page: Page) -> list[str]:
    return [line for said in lines for line in fold(page.paint(said.role, printable(said.text)) if said.role
                                                    else printable(said.text), page)]


def _answer(found: Comparison) -> str:
    """What a change touched, in one line: behaviour, verdicts, cycles, chips."""
    parts = []
    if found.behaviour is not None:
        units = found.behaviour.units
        moved = sum(unit.status != "same" for unit in units)
        parts.append(f"{moved} of {len(units)} behave{'s' * (moved == 1)} differently" if moved else
                     "nothing behaves differently" if not found.behaviour.machine else "the machine differs")
    if found.verdicts is not None:
        count = len(worse(found.verdicts, found.expected))
        parts.append(f"{_plural(count, 'verdict')} worse" if count else "no verdict worse")
    if found.cycles:
        parts.append(f"other cycles in {len(found.cycles)}")
    if found.chips:
        burn = [change for change in found.chips if change.action not in ("nothing", "remove", "find-out")]
        erase = [change.chip for change in burn if change.action in ("erase", "erase-sectors", "replace")]
        unknown = [change.chip for change in found.chips if change.action == "find-out"]
        parts += [f"burn {', '.join(change.chip for change in burn)}"
                  + (f" ({', '.join(erase)} erased first)" if erase else "")] if burn else []
        parts += [f"not recorded: {', '.join(unknown)}"] if unknown else []
        parts += ["no chip to burn"] if not burn and not unknown else []
    return ", ".join(parts) or "nothing was asked"


def some(names: Iterable[str], everything: bool, most: int = FEW) -> str:
    """Names in a row, the rest counted."""
    names = list(names)
    left = 0 if everything else len(names) - most
    return ", ".join(names if left <= 0 else names[:most]) + (f" and {left} more" if left > 0 else "")


def _plural(count: int, name: str) -> str:
    return f"{count} {name}" + ("" if count == 1 else "s")


# ---------------------------------------------------------------- behaviour


def _behaviour(found: Comparison, behaviour: Behaviour, everything: bool) -> list[PaintedLine]:
    units = behaviour.units
    counts = [(status, sum(unit.status == status for unit in units)) for status in ("changed", "new", "gone", "same")]
    told = ", ".join(f"{count} {status}" for status, count in counts if count)
    lines = [PaintedLine(f"behaviour: {told or 'nothing is entered from outside'}")]
    for group in _groups(behaviour, everything):
        lines += _group(found, behaviour, group, everything)
    renamed = [f"`{unit.title}` (was `{unit.was}`)" for unit in units if unit.status == "same" and unit.was]
    if renamed:
        lines.append(PaintedLine(f"  renamed: {some(renamed, everything)}"))
    for unit in units:
        if unit.note and (unit.status != "same" or everything):
            lines.append(PaintedLine(f"  `{unit.title}`: {unit.note}"))
    lines += [PaintedLine(f"  machine: {text}", "doubt") for text in _cut(behaviour.machine, everything)]
    lines += [PaintedLine(f"  taken as the same: {text}") for text in _cut(behaviour.said, everything)]
    return lines


def _cut(texts: Sequence[str], everything: bool) -> list[str]:
    if everything or len(texts) <= FEW:
        return list(texts)
    return [*texts[:FEW], f"and {len(texts) - FEW} more"]


def _groups(behaviour: Behaviour, everything: bool) -> list[list[ComparedUnit]]:
    """Units that changed, in their order, those together that part at the same line of the source; with
    `everything`, that come there by the same lines."""
    contents = [side.contents for side in behaviour.joint.common.sides]
    groups: dict[object, list[ComparedUnit]] = {}
    for unit in behaviour.units:
        if unit.status != "same":
            one = unit.difference
            key: object = (unit.status, unit.was)
            if one is not None:
                way = [(_line(contents[1], passage.new), passage.when) for passage in one.way] if everything else []
                key = (unit.status, _line(contents[0], one.old), _line(contents[1], one.new), one.old_end, one.new_end,
                       one.changes, one.when, tuple(way))
            groups.setdefault(key, []).append(unit)
    return list(groups.values())


def _line(contents: Contents, addresses: Addresses) -> object:
    """Where words come from: members of a family share a line."""
    found = []
    for store, address in addresses:
        site = contents.sites.get(store, {}).get(address)
        span = None if site is None else site.span
        found.append((store, address) if span is None else (span.source.name, span.start))
    return tuple(found)


def _group(found: Comparison, behaviour: Behaviour, units: list[ComparedUnit], everything: bool) -> list[PaintedLine]:
    first = units[0]
    names = [_named(unit) + (" (expected)" if is_expected(unit, found.expected) else "") for unit in units]
    what = f"  {first.status}: {some(names, everything)}"
    if first.status == "new" and first.was:
        what += f", in place of `{first.was}`"
    if first.status == "gone" and first.note:
        what += f"; {first.note}"
    lines = [PaintedLine(what, "doubt")]
    if first.difference is not None:
        cycles = {unit.title: unit.difference.cycle for unit in units if unit.difference is not None}
        later = [f"{cycle} of `{title}`" for title, cycle in cycles.items() if cycle != first.difference.cycle]
        also = f"; {some(later, everything)}" if later else ""
        lines += _difference(behaviour, first.difference, everything, also)
    return lines


def _named(unit: ComparedUnit) -> str:
    if unit.kind == "instruction" and len(unit.opcodes) == 1:
        return f"`{unit.title}` ({unit.opcodes[0]:#04x})"
    return f"`{unit.title}`"


def _difference(behaviour: Behaviour, one: Difference, everything: bool, also: str) -> list[PaintedLine]:
    """`also`: in which cycles others part that come to the same place."""
    contents = [side.contents for side in behaviour.joint.common.sides]
    titles = [Titles(side) for side in behaviour.joint.common.sides]
    lines: list[PaintedLine] = []
    if everything:
        for number, passage in enumerate(one.way, 1):
            condition = f"  when {', '.join(map(str, passage.when))}" if passage.when else ""
            place = place_text(contents[1], titles[1], passage.new)
            lines.append(PaintedLine(f"    cycle {number}: {place}{condition}"))
    condition = f", when {', '.join(map(str, one.when))}" if one.when else ""
    was = place_text(contents[0], titles[0], one.old) if one.old else one.old_end
    now = place_text(contents[1], titles[1], one.new) if one.new else one.new_end
    lines += [PaintedLine(f"    cycle {one.cycle} is the first that differs{also}{condition}"),
              PaintedLine(f"      was {was}", "bad"),
              PaintedLine(f"      now {now}", "good")]
    if one.changes:
        lines.append(PaintedLine(f"      {some(map(str, one.changes), everything)}"))
    return lines


def place_text(contents: Contents, titles: Titles, addresses: Addresses) -> str:
    """A word in the source's own words: `3F0 hold.wait: grant, loop`."""
    parts = []
    for store, address in addresses:
        site = contents.sites.get(store, {}).get(address)
        width = (contents.machine.stores[store].address_width + 3) // 4
        told = f"{address:0{width}X}"
        parts.append(f"{told} (nothing placed)" if site is None else f"{told} {titles.at(store, address)}: {site.text}")
    return " / ".join(parts)


# ---------------------------------------------------------------- reach


def _reach(reach: ReachedWords, everything: bool) -> list[str]:
    lines: list[str] = []
    for word in reach.words:
        whose = [via for via in word.executed_by if via.kind == "instruction"]
        others = [via for via in word.executed_by if via.kind != "instruction"]
        told = _executed(whose, everything)
        if others:
            told += (", and by " if whose else "") + some((f"`{via.title}`" for via in others), everything)
        line = f"  word {word.title}: executed by {told or 'nobody'}"
        if everything:
            lines += [line, *(f"    {via.title}: {' > '.join(via.way)}, {_plural(via.cycles, 'cycle')} in"
                              for via in word.executed_by)]
        elif line not in lines:                         # a word that stands at several addresses is one
            lines.append(line)
    left = reach.more + (0 if everything else max(0, len(lines) - FEW))
    lines = lines if everything else lines[:FEW]
    if left:
        lines.append(f"  and {_plural(left, 'changed word')} more")
    return lines


def _executed(vias: list[Via], everything: bool) -> str:
    if not vias:
        return ""
    told = f"{_plural(len(vias), 'instruction')} ({some((f'`{via.title}`' for via in vias), everything, 3)})"
    longer = next((via for via in vias if len(via.way) > 1), None)
    return told + (f" by way of {' > '.join(longer.way)}" if longer is not None else "")


# ---------------------------------------------------------------- verdicts, cycles


_SAID = {"newly-broken": "newly broken", "newly-vacuous": "newly vacuous", "newly-undecided": "not decided any more",
         "repaired": "repaired", "decided": "now proved", "allowed": "now allowed", "grew": "worst case grew",
         "shrank": "worst case shrank", "broken-elsewhere": "broken in more places", "added": "new, proved",
         "dropped": "not asked any more", "weaker": "asks less", "stronger": "asks more",
         "changed": "asks something else", "promised": "taken for granted now", "allows": "allowed now"}


BETTER = ("repaired", "decided", "shrank", "stronger")


def verdict_lines(changes: VerdictChanges, page: Page) -> list[str]:
    """How many verdicts moved, and which."""
    return _drawn(_verdicts(changes, False), page)


def _verdicts(changes: VerdictChanges, everything: bool) -> list[PaintedLine]:
    counts: dict[str, int] = {}
    for moved in changes.moved:
        counts[moved.kind] = counts.get(moved.kind, 0) + 1
    told = ", ".join(f"{count} {_SAID[kind]}" for kind, count in counts.items())
    lines = [PaintedLine(f"verdicts: {told + ', ' if told else ''}{changes.same} as before")]
    if not changes.comparable:
        lines.append(PaintedLine("  a limit was reached: what was not decided is not proved"))
    told_of = changes.moved if everything else changes.moved[:FEW]
    lines += [PaintedLine(f"  {_moved(moved)}",
                          "bad" if moved.kind in WORSE else "good" if moved.kind in BETTER else "doubt")
              for moved in told_of]
    if len(told_of) < len(changes.moved):
        lines.append(PaintedLine(f"  and {len(changes.moved) - len(told_of)} more"))
    lines += [PaintedLine(f"  allowance needed no longer: {text}") for text in changes.stale]
    lines += [PaintedLine(f"  allowance needed again: {text}") for text in changes.needed]
    return lines


def _moved(moved: Moved) -> str:
    told = f"{_SAID[moved.kind]}: {moved.check}: {moved.subject}"
    if moved.kind in ("grew", "shrank"):
        return f"{told}: {_worst(moved.old_worst)} -> {_worst(moved.new_worst)} cycles"
    return told + (f" (was {moved.old})" if moved.old and moved.old != moved.new else "")


def _worst(worst: int | None) -> str:
    return "unbounded" if worst is None else str(worst)


def _cycles(changes: Sequence[CycleChange], everything: bool) -> list[str]:
    if not changes:
        return ["cycles: every instruction takes as many as before"]
    rows = [(f"`{change.title}`", _span(change.old, change.rings[0], change), "->",
             _span(change.new, change.rings[1], change)) for change in changes]
    of = "the round has" if [change.title for change in changes] == ["(round)"] else \
        f"{_plural(len(changes), 'instruction')} with"
    return [f"cycles: {of} other figures", *_cut(_columns(rows), everything)]


def _span(span: tuple[int | None, int | None] | None, rings: int, change: CycleChange) -> str:
    """How many waits there are is said where that is what differs."""
    if span is None:
        return "-"
    least, most = span
    told = "no end" if least is None else f"{least}" if least == most else f"{least} to {_worst(most)}"
    if not rings:
        return told
    return told + (" and waits" if change.old != change.new or 0 in change.rings else f" and {_plural(rings, 'wait')}")


def _columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    if not rows:
        return []
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return ["  " + "  ".join(text.ljust(width) for text, width in zip(row, widths)).rstrip() for row in rows]


# ---------------------------------------------------------------- chips


_DOING = {"nothing": "as it is", "program-over": "program over it, no erasing", "rewrite": "write the changed words",
          "erase-sectors": "erase sectors, then program", "erase": "erase, then program",
          "replace": "replace by an erased one, then program", "program": "program an erased one",
          "remove": "take out of its socket", "find-out": "not recorded: read it, or erase and program"}


def _chips(changes: Sequence[ChipChange], everything: bool) -> list[str]:
    if not changes:
        return ["chips: the machine file names none"]
    burns, erasures = burns_and_erasures(changes)
    sockets = sum(change.action != "remove" for change in changes)
    if not any(change.action != "nothing" for change in changes):
        return [f"chips: all {sockets} as they are"]
    first = f", {erasures} of them to be erased or replaced first" if erasures else ""
    lines = [f"chips: burn {burns} of {sockets}{first}"]
    rows = []
    for change in changes:
        if change.action == "nothing" and not everything:
            continue
        words = f"{_plural(change.words, 'word')} differ{'s' if change.words == 1 else ''}" if change.words else ""
        where = some((_range(part) for part in change.ranges), everything, 4) if change.words else ""
        doing = _DOING[change.action]
        if change.sectors:
            doing = f"erase {'sector' if len(change.sectors) == 1 else 'sectors'} " + some(
                map(str, change.sectors), everything) + ", then program"
        rows.append((change.chip, doing, words, where + (f"; {change.why}" if change.why else "")))
    return [*lines, *_columns(rows)]


def _range(part: tuple[int, int]) -> str:
    first, last = part
    return f"{first:X}" if first == last else f"{first:X}-{last:X}"
