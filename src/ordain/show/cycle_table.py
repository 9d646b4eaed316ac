"""Cycles of instructions as the table of a manual: opcodes, title, cycles, with the fetch, what decides.

The first line is the answer; no line is wider than it may be, as long as there is room for a table at all.
"""

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

from ordain.measure.cycles import Cycles, Decision, Ring, Taken

NARROWEST = 16
"""Columns for a text that is folded; a narrower terminal wraps lines by itself."""
SHORTEST_COUNT = 3
"""A counter that goes on in so many cycles is told once."""
FEW = 5
"""So many words in which control can wait are named."""


class Listed(NamedTuple):
    """What the text says of an instruction. `family`: equal for all members of one; `digits` of an opcode in hex."""

    opcodes: tuple[int, ...]
    family: object
    digits: int


class _Row(NamedTuple):
    opcodes: str
    title: str
    cycles: str
    with_fetch: str
    decided: str


def cycle_lines(machine: str, cycles: Cycles, listed: Mapping[str, Listed], columns: int,
                everything: bool = False) -> list[str]:
    """`listed`: by title; what is missing there has no opcode. With `everything` every member of a family has a row."""
    if cycles.round is not None:
        return [*folded(_round_answer(machine, cycles.boundary, cycles.round), columns), *_unheld(cycles, columns)]
    if not cycles.taken and cycles.fetch is None:
        return folded(f"{machine} has no instructions and no boundary: there is nothing to count from", columns)
    rows = [] if cycles.fetch is None else [
        _Row("", f"fetch, from {cycles.boundary} on", _span(cycles.fetch), "", _decided(cycles.fetch))]
    rows += [_row(group, listed, cycles.fetch) for group in _groups(cycles.taken, listed, everything)]
    return [*folded(_answer(machine, cycles), columns), *_unheld(cycles, columns), "", *_table(rows, columns)]


# ---------------------------------------------------------------- the answer


def _answer(machine: str, cycles: Cycles) -> str:
    ended = [one for one in cycles.taken if one.least is not None and one.most is not None]
    parts = []
    if cycles.fetch is not None:
        parts.append(f"the fetch takes {_in_words(cycles.fetch)}")
    if ended:
        least = min(one.least or 0 for one in ended)
        most = max(one.most or 0 for one in ended)
        span = f"{least}" if least == most else f"{least} to {most}"
        parts.append(f"an instruction {span} more" if cycles.fetch is not None else
                     f"an instruction takes {span} cycle{'' if most == 1 else 's'}")
    waiting = sum(1 for one in ended if one.rings)
    if waiting:
        parts.append(f"{waiting} of {len(cycles.taken)} can wait")
    idle = sum(1 for one in cycles.taken if not one.begins)
    endless = len(cycles.taken) - len(ended) - idle
    parts += [f"{count} never {what}{'s' if count == 1 else ''}" for count, what in ((endless, "end"), (idle, "begin"))
              if count]
    return f"{machine}: {', '.join(parts)}"


def _unheld(cycles: Cycles, columns: int) -> list[str]:
    if not cycles.unheld:
        return []
    names = ", ".join(f"`{name}`" for name in cycles.unheld)
    return folded(f"counted as if nothing ever held the clock: what comes of {names} while it is held (a time-out) is "
                  "in no figure", columns)


def _round_answer(machine: str, boundary: str, one: Taken) -> str:
    waits = "; ".join(_waits(one.rings, one.title))
    if one.least is None:
        return f"{machine} has no instructions; from {boundary} control never comes back to it" + (
            f": {waits}" if waits else "")
    return (f"{machine} has no instructions; from {boundary} control comes back to it after {_in_words(one)}"
            + (f": {decided}" if (decided := _decided(one)) else ""))


def _in_words(one: Taken) -> str:
    if one.least is None:
        return "for ever"
    more = " or longer" if one.rings else ""
    if one.least != one.most:
        return f"{one.least} to {one.most} cycles{more}"
    return f"{one.least} cycle{'' if one.least == 1 else 's'}{more}"


# ---------------------------------------------------------------- rows


def _groups(taken: Sequence[Taken], listed: Mapping[str, Listed], everything: bool) -> list[list[Taken]]:
    """In the order of the opcodes; members of a family that take the same whatever happens are one group."""
    groups: dict[object, list[Taken]] = {}
    for one in taken:
        said = listed.get(one.title)
        alike = said is not None and not everything and one.least == one.most and not one.rings
        groups.setdefault((said.family, one.least) if said is not None and alike else one.title, []).append(one)
    return sorted(groups.values(), key=lambda group: min(
        (opcode for one in group if (said := listed.get(one.title)) for opcode in said.opcodes), default=1 << 32))


def _row(group: list[Taken], listed: Mapping[str, Listed], fetch: Taken | None) -> _Row:
    one, said = group[0], listed.get(group[0].title)
    opcodes = ""
    if said is not None:
        every = sorted(opcode for member in group for opcode in listed[member.title].opcodes)
        opcodes = _opcode_runs(every, said.digits)
    title = one.title + (f" and {len(group) - 1} more" if len(group) > 1 else "")
    return _Row(opcodes, title, _span(one), "" if fetch is None else _span(one, fetch), _decided(one))


def _span(one: Taken, fetch: Taken | None = None) -> str:
    """`3`, `3-7`, `2+` where it can wait; with the fetch, if that is given."""
    figures = None if one.least is None or one.most is None else (one.least, one.most, bool(one.rings))
    figures = figures if fetch is None else one.with_fetch(fetch)
    if figures is None:
        return "no end" if one.begins else "never"
    least, most, rings = figures
    return (f"{least}" if least == most else f"{least}-{most}") + ("+" if rings else "")


def _decided(one: Taken) -> str:
    """What is alike on both ways from the beginning decides nothing."""
    alike = 0
    while alike < min(len(one.if_least), len(one.if_most)) and one.if_least[alike] == one.if_most[alike]:
        alike += 1
    parts = [f"{cycles} if {_way(decisions[alike:], one.title)}"
             for cycles, decisions in ((one.least, () if one.rings else one.if_least), (one.most, one.if_most))
             if decisions[alike:]]
    return "; ".join([*parts, *_waits(one.rings, one.title)])


def _way(decisions: Sequence[Decision], title: str) -> str:
    steps = []
    asked = ((condition, one) for words in _counted(decisions, title) for condition, one in words)
    for condition, same in groupby(asked, itemgetter(0)):
        words = [one for _, one in same]
        for place, again in groupby(_row_of(words, title) or [_where(one, title) for one in words]):
            times = sum(1 for _ in again)
            steps.append(f"{condition} at {place}" + (f", {times} times" if times > 1 else ""))
    return ", then ".join(steps)


def _counted(decisions: Sequence[Decision], title: str) -> Iterable[list[tuple[str, Decision]]]:
    """Decisions with what is asked in them; of words in which nothing but counters goes on, from where to where these
    count."""
    start = 0
    while start < len(decisions):
        first, end = decisions[start], start + 1
        counting = _counting(first, decisions[end], title) if end < len(decisions) else None
        while counting and end < len(decisions) and _counting(decisions[end - 1], decisions[end], title) == counting:
            end += 1
        if counting is None or end - start < SHORTEST_COUNT:
            counting, end = {}, start + 1
        last = dict(decisions[end - 1].values)
        condition = " and ".join(_value(name, value, first) + (f" to {_number(last[name])}" if name in counting else "")
                                 for name, value in first.values)
        yield [(condition, one) for one in decisions[start:end]]
        start = end


def _counting(one: Decision, other: Decision, title: str) -> dict[str, int] | None:
    """The counters that go on by one, each with its direction, and how many words further that is, as "": the same
    word, or the next one of the instruction. None where anything else that is asked is not the same."""
    before, after = dict(one.values), dict(other.values)
    moved = other.address - one.address
    if before.keys() != after.keys() or moved not in ((0, 1) if _inside(other, title) else (0,)):
        return None
    steps = {name: after[name] - value for name, value in before.items() if after[name] != value}
    counts = steps and all(abs(step) == 1 and name not in one.lines for name, step in steps.items())
    return {**steps, "": moved} if counts else None


def _row_of(words: Sequence[Decision], title: str) -> list[str]:
    """`46A5-46A8` where the same is asked of one word after the other; nothing where it is not so."""
    first, last = words[0].address, words[-1].address
    if len(words) == 1 or [one.address for one in words] != list(range(first, last + 1)) \
            or not all(_inside(one, title) for one in words[1:]):
        return []
    return [f"{first:X}-{last:X}" if _inside(words[0], title) else f"{words[0].where} ({first:X}-{last:X})"]


def _value(name: str, value: int, asked: Decision) -> str:
    if name in asked.lines:
        return name if value else f"not {name}"
    return f"{name}={_number(value)}"


def _number(value: int) -> str:
    return f"0x{value:X}" if value > 9 else str(value)


def _where(one: Decision, title: str) -> str:
    return f"{one.address:X}" if _inside(one, title) else f"{one.where} ({one.address:X})"


def _inside(one: Decision, title: str) -> bool:
    return one.where in ("", title) or one.where.startswith(f"{title}+")


def _waits(rings: Iterable[Ring], title: str) -> list[str]:
    """In words where control can go round, and for what. By name where one word stands at several addresses: those of
    the instruction itself are `+2`."""
    asked: dict[tuple[str, ...], list[Ring]] = {}
    for ring in rings:
        asked.setdefault(ring.names, []).append(ring)
    places = {names: _places(its, title) for names, its in asked.items()}
    return [f"waits for {', '.join(names[:-1])}{' or ' if len(names) > 1 else ''}{names[-1]} at {' and '.join(where)}"
            if names else f"goes round at {' and '.join(where)} for ever" for names, where in places.items()]


def _places(rings: Sequence[Ring], title: str) -> list[str]:
    words = list(dict.fromkeys(word for ring in rings for word in ring.words))
    if not words or len(words) == len({address for ring in rings for address in ring.addresses}):
        return [_runs(ring.addresses, 1) for ring in rings]
    words = [word.removeprefix(title) if word.startswith(f"{title}+") else word for word in words]
    return words if len(words) <= FEW else [*words[:FEW], f"{len(words) - FEW} words more"]


def _opcode_runs(opcodes: Sequence[int], digits: int) -> str:
    text = _runs(opcodes, digits)
    return text if text.count(" ") < 3 else f"{opcodes[0]:0{digits}X} .. {opcodes[-1]:0{digits}X}"


def _runs(numbers: Iterable[int], digits: int) -> str:
    """`20F-210 215`: neighbours together, in hex."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1][1:] = [number]
        else:
            runs.append([number])
    return " ".join("-".join(f"{number:0{digits}X}" for number in run) for run in runs)


# ---------------------------------------------------------------- a table


def _table(rows: Sequence[_Row], columns: int) -> list[str]:
    """Columns that hold nothing are left out; titles and what decides are folded where there is no room for them."""
    head = _Row("opcode", "instruction", "cycles", "with fetch", "decided by")
    used = [number for number in range(len(head)) if any(row[number] for row in rows)]
    width = {number: max(len(row[number]) for row in (head, *rows)) for number in used}
    last = len(head) - 1
    room = columns - sum(width[number] + 2 for number in used if number != last)
    if last in used and room < (wanted := min(width[last], max(NARROWEST, columns // 3))):
        width[1] = max(NARROWEST, width[1] - (wanted - room))
        room = columns - sum(width[number] + 2 for number in used if number != last)
    elif last not in used and room < 0:
        width[1] = max(NARROWEST, width[1] + room)
    if last in used:
        width[last] = max(NARROWEST, room)
    lines = []
    for row in (head, *rows):
        cells = [textwrap.wrap(row[number], width[number]) or [""] for number in used]
        for height in range(max(map(len, cells))):
            texts = [cell[height] if height < len(cell) else "" for cell in cells]
            lines.append("  ".join(text.rjust(width[number]) if head[number] in ("cycles", "with fetch")
                                   else text.ljust(width[number]) for number, text in zip(used, texts)).rstrip())
    return lines


def folded(text: str, columns: int) -> list[str]:
    return textwrap.wrap(text, max(NARROWEST, columns), subsequent_indent="  ", break_on_hyphens=False)
