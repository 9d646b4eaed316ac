"""The listing of a build, `NAME.lst`: plain text to print and keep beside the schematic.

Chips and their sums, the machine as it was understood, the opcode map, what is free, and every placed word of every
store: its address, the stored bits grouped by field and in hexadecimal, the label, the source's own words and their
place.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from operator import itemgetter
from typing import TypeVar

from ordain.machine.model import Machine, Store
from ordain.show.manifest import BuildData


def listing_text(build: BuildData, machine_tables: str) -> str:
    """The whole listing; `machine_tables` is the machine model printed."""
    machine = build.contents.machine
    title = f"{machine.name}: {machine.title}" if machine.title else machine.name
    lines = [title, "=" * len(title), ""]
    lines += _heading("Sources")
    lines += _table(["file", "SHA-256"], [[source.name, source.sha256] for source in build.sources])
    lines += _chips(build)
    if machine_tables:
        lines += [*_heading("The machine as understood: hold this against the schematic"),
                  machine_tables.rstrip("\n"), ""]
    lines += _opcodes(build)
    for store in machine.stores.values():
        lines += _store(store, build)
    for store in machine.stores.values():
        lines += _by_chip(store, build)
    return "\n".join(lines).rstrip("\n") + "\n"


def _heading(text: str) -> list[str]:
    return [text, "-" * len(text)]


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Columns as wide as their widest cell, and an empty line."""
    cells = [list(head), *map(list, rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(head))]
    return [*("  ".join(cell.ljust(width) for cell, width in zip(row, widths)).rstrip() for row in cells), ""]


# ---------------------------------------------------------------- chips and opcodes


def _chips(build: BuildData) -> list[str]:
    if not build.chips:
        return [*_heading("Chips"), "none: an early design, of which there are no images", ""]
    stores = {name: ", ".join(dict.fromkeys(bank.store for bank in chip.banks))
              for name, chip in build.contents.machine.chips.items()}
    rows = []
    for chip in build.chips:
        sums = chip.sums
        rows.append([chip.name, f"{chip.words} x {chip.bits}", stores[chip.name], f"{sums.sum16:04X}",
                     "" if sums.word_sum is None else f"{sums.word_sum:08X}", f"{sums.crc32:08X}",
                     " ".join(file.name for file in chip.files)])
    head = ["chip", "size", "holds bits of", "sum", "sum of words", "CRC-32", "files"]
    if all(not row[4] for row in rows):
        head, rows = head[:4] + head[5:], [row[:4] + row[5:] for row in rows]
    return [*_heading("Chips"), *_table(head, rows)]


def _opcodes(build: BuildData) -> list[str]:
    """The instructions by opcode, opcodes of one instruction that follow each other as one row."""
    uses = sorted(build.program.opcodes)
    if not uses:
        return []
    digits = (max(use.opcode for use in uses).bit_length() + 3) // 4
    starts = {body.name: (body.end - body.first, sorted(build.contents.labels[body.name][1]))
              for body in build.program.bodies if body.kind == "instruction" and body.first < body.end}
    rows = []
    for first, last, title, others in _runs(uses):
        words, addresses = starts.get(title, (0, ()))
        shown = f"{first:0{digits}X}" if first == last else f"{first:0{digits}X}-{last:0{digits}X}"
        where = " ".join(f"{address:X}" for address in addresses[:4]) + (" ..." if len(addresses) > 4 else "")
        rows.append([shown, title, where, str(words), "no instruction of its own" if others else ""])
    return [*_heading("Opcodes"), *_table(["opcode", "instruction", "at", "words", ""], rows)]


def _runs(uses: Sequence[tuple[int, str, bool]]) -> Iterator[tuple[int, int, str, bool]]:
    """(first opcode, last opcode, title, from `others`) of neighbours with the same instruction."""
    first = 0
    for at, (opcode, title, others) in enumerate(uses):
        after = uses[at + 1] if at + 1 < len(uses) else None
        if after is None or after != (opcode + 1, title, others):
            yield uses[first][0], opcode, title, others
            first = at + 1


# ---------------------------------------------------------------- the words


def _store(store: Store, build: BuildData) -> list[str]:
    words = build.placement.words.get(store.name, {})
    sites = build.contents.sites[store.name]
    bits = f"{store.bits} bit" + ("s" if store.bits != 1 else "")
    lines = _heading(f"Store {store.name}: {store.words} words of {bits}")
    lines.append(f"placed {len(words)}, free {store.words - len(words)}" + _free(store, words))
    unused = build.placement.unused.get(store.name)
    digits, address_digits = (store.bits + 3) // 4, max(2, (store.address_width + 3) // 4)
    groups = _groups(store, build.contents.machine)
    cut = itemgetter(*(slice(start, end) for _, start, end in groups), slice(0, 0))     # at least two slices: a tuple
    if unused is not None:
        grouped = " ".join(cut(f"{unused:0{store.bits}b}")).rstrip()
        lines.append(f"every other word: {grouped}  {unused:0{digits}X}")
    heads = _labels(build, store.name)
    wide = min(32, max((len(text) for text in heads.values()), default=0))
    places = build.places[store.name]
    in_binary = f"0{store.bits}b"
    form = f"{'%s ' * len(groups)}%s %0{digits}X"          # the last %s is the empty slice
    text_width = min(60, max((len(site.text) for site in sites.values()), default=0))
    described = f"{form}  %-{wide}s  %-{text_width}s  %s"
    rows: dict[int, str] = {}
    for address, word in sorted(words.items()):
        site = sites.get(address)
        if site is None:
            rows[address] = form % (*cut(format(word, in_binary)), word)
        else:
            rows[address] = (described % (*cut(format(word, in_binary)), word, heads.get(address, ""), site.text,
                                          places.get(address, ""))).rstrip()
    shown = list(_at_addresses(rows, address_digits, store))
    width = max((len(at) for at, _ in shown), default=address_digits)
    lines += ["", *_field_names(groups, width), *(f"{at:{width}}  {row}" for at, row in shown)]
    copies = [(address, build.placement.addresses[index][0], why) for index, address, why in build.placement.copies
              if build.program.words[index].store == store.name]
    lines += ["", *(f"{address:0{address_digits}X} is a copy of {first:0{address_digits}X} ({why})"
                    for address, first, why in copies)]
    return [*lines, *([""] if copies else [])]


Row = TypeVar("Row")


def _at_addresses(rows: Mapping[int, Row], digits: int, store: Store) -> Iterator[tuple[str, Row]]:
    """Each row with its address as it is printed. Outside the microprogram, where every row has a line of the source,
    addresses that follow each other with equal rows are one: `9C-FF`."""
    first = None
    for address, row in rows.items():
        if store.fill != "microprogram" and rows.get(address + 1) == row:
            first = address if first is None else first
            continue
        yield f"{address:0{digits}X}" if first is None else f"{first:0{digits}X}-{address:0{digits}X}", row
        first = None


def _by_chip(store: Store, build: BuildData) -> list[str]:
    """What the data pins of each chip read, word by word: to be held against a logic probe. Where the address lines of
    a chip have another order than those of the store, its own address stands before."""
    banks = [(chip.name, bank) for chip in build.contents.machine.chips.values() for bank in chip.banks
             if bank.store == store.name]
    words = build.placement.words.get(store.name, {})
    if not banks or not words:
        return []
    digits = max(2, (store.address_width + 3) // 4)
    rows = {}
    for address, word in sorted(words.items()):
        row = []
        for _, bank in banks:
            cell = bank.cell(address)
            row.append((f"{cell:0{digits}X}: " if cell != address else "") + bank.levels(word))
        rows[address] = row
    return [*_heading(f"Store {store.name}, chip by chip: the levels of the data pins, highest first"),
            *_table(["at", *(name for name, _ in banks)],
                    ([at, *row] for at, row in _at_addresses(rows, digits, store)))]


def _labels(build: BuildData, store: str) -> dict[int, str]:
    """What stands in the label column: `owner.label` where there is a label, else the owner at its first word."""
    heads = {}
    first = {body.first for body in build.program.bodies}
    for address, site in build.contents.sites[store].items():
        if site.label and site.label != site.owner:
            heads[address] = f"{site.owner}.{site.label}"
        elif site.word in first:
            heads[address] = site.owner
    return heads


def _groups(store: Store, machine: Machine) -> list[tuple[str, int, int]]:
    """(name, start, end) of every group of digits of the word in binary, left to right; without fields, every four."""
    fields = sorted((machine.fields[name] for name in store.fields), key=lambda field: -field.high)
    if not fields:
        edges = [0, *range(store.bits % 4 or 4, store.bits + 1, 4)]
        return [("", start, end) for start, end in pairwise(edges)]
    groups = []
    at = store.bits
    for field in fields:
        if field.high < at - 1:                     # bits of no field
            groups.append(("", store.bits - at, store.bits - 1 - field.high))
        groups.append((field.name if field.holds != "spare" else "spare", store.bits - 1 - field.high,
                       store.bits - field.low))
        at = field.low
    if at:
        groups.append(("", store.bits - at, store.bits))
    return groups


def _field_names(groups: Sequence[tuple[str, int, int]], indent: int) -> list[str]:
    """The names of the fields, written downwards above the first digit of each."""
    height = max(len(name) for name, _, _ in groups)
    rows = []
    for row in range(height):
        text = " " * (indent + 2)
        for name, start, end in groups:
            at = row - (height - len(name))
            text += (name[at] if at >= 0 else " ") + " " * (end - start)
        rows.append(text.rstrip())
    return rows


def _free(store: Store, words: Mapping[int, int]) -> str:
    """Where there is room, the first dozen of gaps."""
    gaps = []
    start = 0
    for address in [*sorted(words), store.words]:
        if address > start:
            gaps.append(f"{start:X}" if address == start + 1 else f"{start:X}-{address - 1:X}")
        start = address + 1
    if not gaps:
        return ""
    return ": " + ", ".join(gaps[:12]) + (f" and {len(gaps) - 12} more" if len(gaps) > 12 else "")
