"""Chip images become words again: what the machine's stores show when chips with these images are in their sockets.

Written without `images`, and the other way round: there, every device cell asks which word it shows; here, every word
asks which device cells it is read from. A fault in one of the two is so found by the other.
"""

from collections.abc import Mapping
from itertools import repeat
from operator import and_, itemgetter, or_
from typing import NamedTuple

from ordain.machine.model import AddressPin, Bank, Chip, Machine, Store
from ordain.rom.contents import Stored


class Conflict(NamedTuple):
    """Two cells that hold the same bits of one word (mirrored, or in a chip that repeats another) and differ in the
    bits `mask`. Each of `one` and `other` is a chip name and a device address."""

    store: str
    address: int
    mask: int
    one: tuple[str, int]
    other: tuple[str, int]


class Unpacked(NamedTuple):
    """`words[store][address]`, for every address; bits that no given image holds are 0 and not in `known[store]`."""

    words: dict[str, tuple[int, ...]]
    known: dict[str, int]
    conflicts: tuple[Conflict, ...]


class ReadbackFault(RuntimeError):
    """The images do not give back the words that were packed: a fault of ours, nothing may be published."""


def unpack(machine: Machine, images: Mapping[str, bytes]) -> Unpacked:
    """The words of every store, put together from the chips that have an image."""
    words: dict[str, tuple[int, ...]] = {}
    known: dict[str, int] = {}
    conflicts: list[Conflict] = []
    cells: dict[tuple[int, tuple[AddressPin, ...]], _Cells] = {}
    for store in machine.stores.values():
        total = [0] * (1 << store.address_width)
        mask = 0
        holders: list[tuple[int, Chip, _Cells]] = []
        for chip, bank in banks_of(machine, store.name):
            image = images.get(chip.name)
            if image is None:
                continue
            key = (store.address_width, bank.address)
            if key not in cells:
                cells[key] = _cells(*key)
            parts = [_words_shown(chip, bank, image, cells[key], base) for base in cells[key].copies]
            shown = sum(1 << bit for bit in {pin.bit for pin in bank.pins if pin.bit is not None})
            conflicts += _between_copies(store, chip, cells[key], parts)
            for fresh, holder, held in holders:
                conflicts += _between_chips(store, total, fresh & shown, (holder, held), parts[0], (chip, cells[key]))
            holders.append((shown & ~mask, chip, cells[key]))
            total = list(map(or_, total, map(and_, parts[0], repeat(~mask)) if mask & shown else parts[0]))
            mask |= shown
        words[store.name], known[store.name] = tuple(total), mask
    return Unpacked(words, known, tuple(conflicts))


def banks_of(machine: Machine, store: str) -> list[tuple[Chip, Bank]]:
    """The chips and their parts that hold bits of the store, those that only repeat others last."""
    found = [(chip, bank) for chip in machine.chips.values() for bank in chip.banks if bank.store == store]
    return [part for part in found if not part[1].repeats] + [part for part in found if part[1].repeats]


# ---------------------------------------------------------------- which cells


class _Cells(NamedTuple):
    """`offsets[address]`: the device address of a word, all `any` pins low; `copies`: what the levels of the `any` pins
    add to it (0 first). `runs`: the offsets are base, base + 1, ... ."""

    offsets: list[int]
    copies: list[int]
    runs: bool


def _cells(width: int, address: tuple[AddressPin, ...]) -> _Cells:
    base = 0
    toggles = [0] * width
    copies = [0]
    for position, pin in enumerate(reversed(address)):
        if pin.bit is not None:
            toggles[pin.bit] |= 1 << position
            base |= pin.inverted << position
        elif pin.level is None:
            copies += [copy | 1 << position for copy in copies]
        else:
            base |= pin.level << position
    offsets = [base]
    for toggle in toggles:
        offsets += [offset ^ toggle for offset in offsets]
    return _Cells(offsets, copies, offsets == list(range(base, base + len(offsets))))      # so also for one word


def device_cells(width: int, address: tuple[AddressPin, ...]) -> tuple[list[int], list[int]]:
    """For every store address the device address that shows its word when all `any` pins are low, and what the levels
    of these pins add to it."""
    cells = _cells(width, address)
    return cells.offsets, cells.copies


# ---------------------------------------------------------------- which bits


def _words_shown(chip: Chip, bank: Bank, image: bytes, cells: _Cells, copy: int) -> list[int]:
    """What this part of the chip adds to each word, address by address."""
    lanes = (chip.bits + 7) // 8
    words: list[int] = []
    for lane in range(lanes):
        column = image[lane::lanes]
        table = _bits_of_byte(bank, lane)
        if cells.runs:
            start = cells.offsets[0] + copy
            seen = column[start:start + len(cells.offsets)]
        else:
            seen = bytes(itemgetter(*cells.offsets)(column[copy:]))
        part = map(table.__getitem__, seen)
        words = list(map(or_, words, part)) if words else list(part)
    return words


def _bits_of_byte(bank: Bank, lane: int) -> list[int]:
    """For every value of the device's byte, the bits of the store's word that it stands for."""
    table = [0]
    pins = bank.pins[::-1][8 * lane:8 * lane + 8]
    for pin in pins:
        low, high = (0, 0) if pin.bit is None else (1 << pin.bit, 0) if pin.inverted else (0, 1 << pin.bit)
        table = [value | low for value in table] + [value | high for value in table]
    return table


# ---------------------------------------------------------------- agreement


def _between_copies(store: Store, chip: Chip, cells: _Cells, parts: list[list[int]]) -> list[Conflict]:
    return [
        Conflict(store.name, address, here ^ there, (chip.name, offset), (chip.name, offset + copy))
        for copy, part in zip(cells.copies[1:], parts[1:]) if part != parts[0]
        for address, (here, there, offset) in enumerate(zip(parts[0], part, cells.offsets)) if here != there
    ]


def _between_chips(store: Store, words: list[int], common: int, first: tuple[Chip, _Cells], part: list[int],
                   second: tuple[Chip, _Cells]) -> list[Conflict]:
    if not common:
        return []
    return [
        Conflict(store.name, address, (here ^ there) & common, (first[0].name, first[1].offsets[address]),
                 (second[0].name, second[1].offsets[address]))
        for address, (here, there) in enumerate(zip(words, part)) if (here ^ there) & common
    ]


# ---------------------------------------------------------------- the check after packing


def words_expected(machine: Machine, store: Store, stored: Stored) -> tuple[int, ...]:
    """The word of every address: as compiled, else the unused word, else what erased cells show through the pins; bits
    without a chip are 0 there."""
    blank = stored.unused
    if blank is None:
        blank = 0
        for chip, bank in reversed(banks_of(machine, store.name)):
            for pin in bank.pins:
                if pin.bit is not None:
                    level = chip.erased ^ pin.inverted
                    blank = blank & ~(1 << pin.bit) | level << pin.bit
    words = [blank] * (1 << store.address_width)
    for address, word in stored.words.items():
        words[address] = word
    return tuple(words)


def read_as_compiled(machine: Machine, stored: Mapping[str, Stored], images: Mapping[str, bytes]) -> Unpacked:
    """The words in these images; ReadbackFault unless they are exactly the compiled ones, bit by bit, copy by copy."""
    found = unpack(machine, images)
    missing = [chip for chip in machine.chips if chip not in images]
    if missing:
        raise ReadbackFault(f"no image of chip {missing[0]}")
    for conflict in found.conflicts:
        (one, at), (other, there) = conflict.one, conflict.other
        blank = conflict.address not in stored[conflict.store].words and stored[conflict.store].unused is None
        if not blank:                               # erased cells of unlike devices may well differ
            raise ReadbackFault(f"{one} at 0x{at:X} and {other} at 0x{there:X} disagree on word "
                                f"0x{conflict.address:X} of {conflict.store}")
    for store in machine.stores.values():
        known = found.known[store.name]
        expected = words_expected(machine, store, stored[store.name])
        read = found.words[store.name]
        if read == expected:
            continue
        for address, (word, wanted) in enumerate(zip(read, expected)):
            if (word ^ wanted) & known:
                raise ReadbackFault(f"word 0x{address:X} of {store.name} reads back as 0x{word:X}, compiled "
                                    f"0x{wanted:X}, differing in 0x{(word ^ wanted) & known:X}")
    return found
