"""Why a placement does not exist: which constraint is over-full, and by how many words."""

from collections.abc import Iterator
from typing import NamedTuple

from ordain.placement.clusters import Unit, Units
from ordain.placement.demands import Task, is_short
from ordain.placement.pages import Pages
from ordain.placement.quick import Arrangement, Stuck, free_runs, lay
from ordain.placement.space import AddressSpace, gather, room, segments
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span

_MORE_WORDS = 64
"""How many additional words of store are tried at most to measure by how many a store is too small."""


class NoRoom(NamedTuple):
    """The piece for which no room was left: where it is in the text, and what to call it."""

    span: Span | None
    said: str


def contradictions(task: Task, units: Units, pages: Pages) -> list[Finding]:
    """Constraints that no store of any content could meet."""
    findings = []
    for group in pages.groups:
        if group.split is not None:
            (one, first), (two, second) = group.split
            findings.append(error(
                "page-conflict", f"words that must share a page of {1 << group.page} words are fixed at 0x{one:X} and "
                f"0x{two:X}", _span(task, second), f"fixed at 0x{two:X}",
                places=(Place(_span(task, first), f"fixed at 0x{one:X}"),), help="move one into the other's page"))
    for unit in units.units:
        if not unit.domain:
            demand = units.demands[unit.parts[0][0]]
            findings.append(error(
                "over-full", f"{len(unit.words)} words must stand in fixed places to each other {demand.why}, and no "
                f"address of the {task.size} words of `{task.store}` suits", demand.span, "asked for here",
                help="shorten the row, or loosen what is asked of it"))
    return findings


def crowded(task: Task) -> Finding | None:
    """More words than addresses: no way of joining what is demanded helps."""
    need, have = task.words - len(set(task.fixed.values())), task.size - len(task.fixed)
    if need <= have:
        return None
    return error("over-full", f"store `{task.store}` is over-full by {_many(need - have)}: {need} to place, {have} "
                 "free", None, notes=(f"{len(task.fixed)} of the {task.size} words are fixed",) if task.fixed else (),
                 help="shorten the microprogram, or share its common ends")


def shortage(task: Task, space: AddressSpace, units: Units, pages: Pages) -> Finding | None:
    """A constraint of these units that counting alone shows to be over-full."""
    free = space.full & ~gather(units.fixed, space.size)
    for found in (_pages(task, space, units, pages, free), _reaches(task, units, space, free),
                  _blocks(task, space, units, free), _rows(task, units, free)):
        for finding in found:
            return finding
    return None


def _pages(task: Task, space: AddressSpace, units: Units, pages: Pages, free: int) -> Iterator[Finding]:
    """Groups that are larger than their page, or than what is free of the page that a fixed word settles."""
    fixed = set(units.fixed.values())
    wanted: dict[tuple[int, int], list[int]] = {}
    for group in pages.groups:
        open_words = [word for word in group.words if word not in fixed]
        if group.forced is not None:
            wanted.setdefault((group.page, group.forced), []).extend(open_words)
        else:
            most = max((free & space.page(group.page, page)).bit_count() for page in space.pages(group.page))
            if len(open_words) > most:
                yield error("over-full", f"{_many(len(open_words))} must share a page of {1 << group.page}, no page "
                            f"has more than {most} free: over-full by {_many(len(open_words) - most)}",
                            _span(task, open_words[0]), "the first of them",
                            help="split the routine, or reach the other part by a jump with a full address")
    for (size, page), words in wanted.items():
        have = (free & space.page(size, page)).bit_count()
        if len(words) > have:
            start, end = page << size, min(space.size, (page + 1) << size)
            yield error("over-full", f"page 0x{start:X}-0x{end - 1:X} is over-full by {_many(len(words) - have)}",
                        _span(task, words[have]), "one of the words that must stand in this page",
                        help="split the routine, or reach the other part by a jump with a full address")


def _reaches(task: Task, units: Units, space: AddressSpace, free: int) -> Iterator[Finding]:
    """Words that a short field must reach against the room below its limit."""
    wanted: dict[int, dict[int, int]] = {}
    for unit in units.units:
        for offset, zeros in unit.rules:
            end = space.reach(zeros)
            if end < 1 << space.width:
                word = unit.words[unit.offsets.index(offset)]
                wanted.setdefault(end, {})[word] = unit.parts[0][0]
    for end in sorted(wanted):
        below = {word for lower, words in wanted.items() if lower <= end for word in words}
        have = (free & space.below(end)).bit_count()
        if len(below) > have:
            word, demand = list(wanted[end].items())[-1]
            yield error("over-full", f"addresses below 0x{end:X} are over-full by {_many(len(below) - have)}: "
                        f"{len(below)} words must stand there, {have} are free", _span(task, word),
                        "one of the words that a short field must reach",
                        notes=(f"it must stand there {units.demands[demand].why}",),
                        help="name fewer labels in short fields")


def _blocks(task: Task, space: AddressSpace, units: Units, free: int) -> Iterator[Finding]:
    """Aligned blocks against the aligned windows that are free; a larger block takes several windows of a smaller."""
    needed: dict[int, int] = {}
    for unit in units.units:
        sizes = [size for offset, zeros in unit.rules if _whole(unit, offset, size := ~zeros & (zeros + 1))]
        if sizes:
            needed[max(sizes)] = needed.get(max(sizes), 0) + 1
    for size in sorted(needed):
        need = sum(count * (other // size) for other, count in needed.items())
        have = (space.zeros(size - 1) & room(free, size)).bit_count()
        if need > have:
            spare = [demand for demand in units.demands if demand.zeros & (size - 1) == size - 1]
            yield error("over-full", f"{need} aligned blocks of {_many(size)} are needed, {have} are free: over-full "
                        f"by {_many((need - have) * size)}", spare[-1].span, "the last of them",
                        help="let branches share their blocks, or free addresses that cut aligned blocks in two")


def _whole(unit: Unit, offset: int, size: int) -> bool:
    """Whether every cell of the aligned block of `size` at an offset belongs to the unit."""
    return size > 1 and all(place in unit.offsets for place in range(offset, offset + size))


def _rows(task: Task, units: Units, free: int) -> Iterator[Finding]:
    """The longest row against the longest free stretch in one lap of the counter, the longest block against any."""
    fixed = set(units.fixed.values())
    rows = [(length, first) for first, length in task.runs if fixed.isdisjoint(range(first, first + length))]
    blocks = [(len(unit.words), unit.words[0]) for unit in units.units]
    for pieces, stretches in (rows, free_runs(free, task.counting)), (blocks, segments(free)):
        longest = max((end - start for start, end in stretches), default=0)
        too_long = [piece for piece in pieces if piece[0] > longest]
        if not too_long:
            continue
        length, first = max(too_long, key=lambda piece: piece[0])
        yield error("over-full", f"a row of {_many(length)} must stand together, the largest free run has {longest}: "
                    f"over-full by {_many(length - longest)}", _span(task, first), "the row begins here",
                    help="break the row with a jump, or move the fixed words that cut the store")


def nothing_fits(task: Task, units: Units, pages: Pages, left: NoRoom) -> Finding:
    """Every arrangement was tried. Says how much larger the store would have to be, where that can be measured."""
    counting = task.counting if task.counting < task.width else task.width + _MORE_WORDS    # more than any address has
    larger = (AddressSpace(task.size + more, task.width) for more in range(1, _MORE_WORDS + 1))
    more = next((space.size - task.size for space in larger if isinstance(
        lay(space, units._replace(units=tuple([_freer(unit, space) for unit in units.units])), pages, counting, None),
        Arrangement)), None)
    by = f" by {_many(more)}" if more else ""
    return error("over-full", f"store `{task.store}` is over-full{by}: no arrangement of its rows and blocks fits",
                 left.span, f"no room for {left.said}", notes=("every arrangement was ruled out",),
                 help=f"break a row with a jump, or move the fixed words that cut the store{_other_bits(units)}")


def _freer(unit: Unit, larger: AddressSpace) -> Unit:
    """A unit that may also stand in the words by which a store is thought larger."""
    return unit if unit.rules or unit.high else unit._replace(domain=larger.full)


def undecided(units: Units, store: str, left: NoRoom, states: int) -> Finding:
    """The search was ended before it knew."""
    return error("placement-undecided", f"no placement in `{store}` was found in {states} attempts; whether one exists "
                 f"is not known", left.span, f"no room was found for {left.said}",
                 help="loosen a constraint: fewer fixed addresses, shorter rows, fewer shared pages"
                 + _other_bits(units))


def _other_bits(units: Units) -> str:
    """What may be meant where a field with a part of an address asks for a place."""
    if not any(is_short(demand) for demand in units.demands):
        return ""
    return ("; a field with some bits of an address wants the others to be zeros: `part(...)` where a register has "
            "them, `page(...)` where they are those of the word itself")


def no_room(task: Task, units: Units, stuck: Stuck) -> NoRoom:
    """`units`: those that were laid when a piece was stuck."""
    if stuck.run is not None:
        first, length = units.runs[stuck.run]
        return NoRoom(_span(task, first), f"this row of {_many(length)}")
    if stuck.unit is None:
        return NoRoom(None, "every piece")
    unit = units.units[stuck.unit]
    return NoRoom(units.demands[unit.parts[0][0]].span, f"{_many(len(unit.words))} that stand together")


def _span(task: Task, word: int) -> Span:
    return task.program.words[word].span


def _many(count: int) -> str:
    return f"{count} word" if count == 1 else f"{count} words"

