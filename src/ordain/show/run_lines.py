"""A run as text: a line for each instruction or each cycle, the registers at the end, memory in hexadecimal."""

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from typing import Any

from ordain.data.model import Record, RunLine, Update
from ordain.data.partial import Ternary
from ordain.machine.model import Memory
from ordain.rom.contents import Contents, word_name
from ordain.show.page import Page, fold, table
from ordain.show.paint import printable

_ENDINGS = {"until": "stopped as was asked", "cycles": "stopped after as many cycles as it was given",
            "lost": "stopped where control is not known any more", "instructions": "stopped after as many as was asked",
            "fault": "stopped at a fault", "held": "stopped because its clock stands still",
            "interrupted": "interrupted"}
LONGEST_TOLD = 3
"""So many equal lines are written out."""


def digits(bits: Ternary, width: int) -> str:
    """Hexadecimal, `x` for a digit of which no bit is known; in binary where a digit is known in part."""
    count = (width + 3) // 4
    nibbles = [(bits.value >> 4 * at & 15, bits.known >> 4 * at & 15, (1 << min(4, width - 4 * at)) - 1)
               for at in reversed(range(count))]
    if all(known in (0, full) for _, known, full in nibbles):
        return "".join(f"{value:X}" if known else "x" for value, known, _ in nibbles)
    return "0b" + "".join(str(bits.value >> at & 1) if bits.known >> at & 1 else "x" for at in reversed(range(width)))


def change_words(change: Update) -> str:
    if change.address is None:
        return f"{change.name}={digits(change.value, change.width)}"
    if change.address < 0:
        return f"{change.name} written at an address that is not known: nothing is known of it any more"
    return f"{change.name}[{change.address:04X}]={digits(change.value, change.width)}"


def run_lines(contents: Contents, record: Record, page: Page, every_cycle: bool) -> list[str]:
    """A line for each instruction, or for each cycle."""
    if every_cycle:
        cycles = []
        width = -(-contents.machine.stores[record.store].address_width // 4)
        for line, again in _told_once(record.lines):
            if again:
                cycles.append(("  ...", "", "", f"the same for {again} phases more: the clock is held", ""))
                continue
            word, text = _word(contents, record.store, line.address), _text(contents, record.store, line.address)
            cycles.append((f"  {line.cycle} {line.phase}".rstrip(), f"{line.address:0{width}X}", printable(word),
                           printable(text), _changes(line.changes)))
        return table(cycles, page, heads=("  cycle", "at", "word", "orders", "changed"))
    rows = []
    for lines in by_instruction(record.lines):
        changes: dict[tuple[str, int | None], Update] = {}
        for line in lines:
            changes.update({(change.name, change.address): change for change in line.changes})
        title = next((line.title for line in lines if line.title), "")
        rows.append((f"  {lines[0].cycle}", printable(title or f"({_word(contents, record.store, lines[0].address)})"),
                     _changes(changes.values())))
    return table(rows, page, heads=("  cycle", "instruction", "changed"))


def _told_once(lines: Iterable[RunLine]) -> Iterator[tuple[RunLine, int]]:
    """Each line with 0; of many equal ones, as a clock that stands still has
    them, the first, then how many more there are."""
    for line, same in groupby(lines):
        count = sum(1 for _ in same)
        yield from ((line, 0),) * (count if count <= LONGEST_TOLD else 1)
        if count > LONGEST_TOLD:
            yield line, count - 1


def by_instruction(lines: Iterable[RunLine]) -> Iterable[list[RunLine]]:
    """The cycles of each instruction, those with which it is fetched first: a group begins at the boundary, or with a
    first word in a group that has one already."""
    group: list[RunLine] = []
    for line in lines:
        if group and (line.boundary or (line.title and any(one.title for one in group))):
            yield group
            group = []
        group.append(line)
    if group:
        yield group


def _word(contents: Contents, store: str, address: int) -> str:
    return word_name(contents, store, address) or "nothing placed"


def _text(contents: Contents, store: str, address: int) -> str:
    site = contents.sites[store].get(address)
    return site.text if site is not None else ""


def _changes(changes: Iterable[Update]) -> str:
    return ", ".join(map(change_words, changes))


def end_lines(contents: Contents, record: Record, page: Page) -> list[str]:
    """How far it went and why it ended, and what a programmer sees then."""
    begun = record.begun
    cycles = f"{record.cycles} cycle{'' if record.cycles == 1 else 's'}"
    told = f", {begun} instruction{'' if begun == 1 else 's'}" if begun else ""
    seen = ", ".join(f"{name}={digits(bits, width)}" for name, (bits, width) in record.held.items())
    still = "`@` and `at cycle` count cycles, which do not go on meanwhile: what lets the clock go is, in a script, " \
        "`when CONDITION: NAME = VALUE for N phases`"
    return [*fold(f"{contents.machine.name}: {cycles}{told}; {_ENDINGS[record.ending]}", page),
            *(fold(still, page) if record.ending == "held" else []), *(fold(seen, page) if seen else [])]


def sent_lines(record: Record, page: Page) -> list[str]:
    """A line for each thing that a device has taken."""
    return table([(f"  {one.cycle}", printable(one.device), digits(one.value, one.width)) for one in record.sent], page,
                 heads=("  cycle", "device", "takes"))


def dump_lines(memory: Memory, cells: Mapping[int, Ternary], first: int, last: int) -> list[str]:
    """Words `first` to `last`, sixteen in a line; `x` where nothing is known."""
    wide = (max(memory.words - 1, 1).bit_length() + 3) // 4
    return [f"{memory.name} {at:0{wide}X}  " + " ".join(
        digits(cells.get(address, Ternary(0, 0)), memory.bits) for address in range(at, min(at + 16, last + 1)))
        for at in range(first, last + 1, 16)]


def record_data(contents: Contents, record: Record) -> dict[str, Any]:
    """A run as JSON: values as texts, see `digits`."""
    return {
        "machine": contents.machine.name, "ending": record.ending, "cycles": record.cycles,
        "lines": [{"cycle": line.cycle, **({"phase": line.phase} if line.phase else {}), "address": line.address,
                   "word": word_name(contents, record.store, line.address), "instruction": line.title or None,
                   "changes": [{"name": change.name, "address": change.address,
                                "value": digits(change.value, change.width)} for change in line.changes]}
                  for line in record.lines],
        "sent": [{"cycle": one.cycle, "device": one.device, "value": digits(one.value, one.width)}
                 for one in record.sent],
        "held": {name: digits(bits, width) for name, (bits, width) in record.held.items()},
    }
