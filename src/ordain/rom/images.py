"""Words become chip images: what each device of the machine has to hold, cell by cell, through its pins.

An image is `bytes`: the device's words from address 0 up, ceil(bits / 8) bytes each, the low byte first; bits beyond
the device's width are 0. A 4-bit PROM so has one byte a cell with the high half zero, a 65536 x 16 device two bytes a
cell. `readback` goes the way back without a line of this module.

Work is done on whole columns. The words of a store are laid out as columns of bytes; a device byte takes its bits
from some of these columns, each sent through a table of 256 bytes that moves its bits to their pins, and the results
are joined as big integers. Address lines are a permutation of blocks: as far as the lowest pins carry the
lowest address bits straight, cells move in runs.
"""

from collections.abc import Mapping
from operator import itemgetter
from typing import NamedTuple

from ordain.machine.model import AddressPin, Bank, Chip, Machine, Pin
from ordain.rom.contents import Stored
from ordain.text.findings import Finding, Place, error

LARGEST = 1 << 28
"""Bytes of the largest image that is made; a machine file that asks for more is taken to have a slip in it."""


class _Columns(NamedTuple):
    """`columns[k]`: bits 8k .. 8k+7 of the word at every address. `placed`: as a number, a byte of ones for every
    address that holds a word (lowest byte: address 0), None when all do."""

    cells: int
    columns: tuple[bytes, ...]
    placed: int | None


class _Tables(NamedTuple):
    """What chips wired alike share: see `_move_table` and `_block_order`."""

    moves: dict[tuple[int, ...], bytes]
    orders: dict[tuple[int, tuple[AddressPin, ...]], list[int]]


def pack(machine: Machine, stored: Mapping[str, Stored]) -> tuple[dict[str, bytes], list[Finding]]:
    """The image of every chip, in the order of the machine file. A chip that cannot be filled has a finding instead."""
    images: dict[str, bytes] = {}
    findings: list[Finding] = []
    columns: dict[str, _Columns] = {}
    tables = _Tables({}, {})
    for chip in machine.chips.values():
        trouble = _too_large(chip) or _words_collide(chip, machine, stored)
        if trouble is not None:
            findings.append(trouble)
            continue
        for bank in chip.banks:
            if bank.store not in columns:
                store = machine.stores[bank.store]
                columns[bank.store] = _store_columns(stored[bank.store], 1 << store.address_width, store.bits)
        run = min((_straight_run(bank.address) for bank in chip.banks), default=0)
        orders = [_block_order(bank.address, run, tables) for bank in chip.banks]
        order, trouble = _joined_order(chip, run, orders, columns)
        if trouble is not None:
            findings.append(trouble)
            continue
        lanes = [_lane(chip, lane, run, order, columns, tables) for lane in range((chip.bits + 7) // 8)]
        images[chip.name] = lanes[0] if len(lanes) == 1 else _interleaved(lanes)
    return images, findings


def _store_columns(stored: Stored, cells: int, bits: int) -> _Columns:
    width = (bits + 7) // 8
    words = [stored.unused or 0] * cells
    for address, word in stored.words.items():
        words[address] = word
    flat = b"".join([word.to_bytes(width, "little") for word in words])
    placed = None
    if stored.unused is None and len(stored.words) < cells:
        marks = bytearray(cells)
        for address in stored.words:
            marks[address] = 0xFF
        placed = int.from_bytes(marks, "little")
    return _Columns(cells, tuple(flat[k::width] for k in range(width)), placed)


def _interleaved(lanes: list[bytes]) -> bytes:
    image = bytearray(len(lanes) * len(lanes[0]))
    for lane, content in enumerate(lanes):
        image[lane::len(lanes)] = content
    return bytes(image)


# ---------------------------------------------------------------- data pins


def _lane(chip: Chip, lane: int, run: int, order: list[int], columns: Mapping[str, _Columns],
          tables: _Tables) -> bytes:
    """Byte `lane` of every device word."""
    width = min(8, chip.bits - 8 * lane)
    erased = (1 << width) - 1 if chip.erased else 0
    length = 1 << run
    shown = [_shown_by(bank.pins[::-1][8 * lane:8 * lane + width], columns[bank.store], erased, tables)
             for bank in chip.banks]
    cells = b"".join((*shown, bytes((erased,)) * length))       # the order's -1 finds the erased block at the end
    if length == 1 and len(order) > 1:
        return bytes(itemgetter(*order)(cells))
    return b"".join(map([cells[at:at + length] for at in range(0, len(cells), length)].__getitem__, order))


def _shown_by(pins: tuple[Pin, ...], columns: _Columns, erased: int, tables: _Tables) -> bytes:
    """What up to 8 pins, lowest first, show at every address of their store."""
    inverted = constant = 0
    moves: list[tuple[int, list[int]]] = []         # (column, the pin of each of its bits, -1 for none)
    for position, pin in enumerate(pins):
        if pin.bit is None:
            constant |= pin.level << position
            continue
        inverted |= pin.inverted << position
        column, bit = divmod(pin.bit, 8)
        for known, move in moves:
            if known == column and move[bit] < 0:
                break
        else:                                       # also when one bit is on two pins
            move = [-1] * 8
            moves.append((column, move))
        move[bit] = position
    every = int.from_bytes(b"\1" * columns.cells, "little")
    shown = 0
    for column, move in moves:
        shown |= int.from_bytes(columns.columns[column].translate(_move_table(tuple(move), tables)), "little")
    shown = shown ^ inverted * every | constant * every
    if columns.placed is not None:
        shown = shown & columns.placed | erased * every & ~columns.placed
    return shown.to_bytes(columns.cells, "little")


def _move_table(move: tuple[int, ...], tables: _Tables) -> bytes:
    """For every byte, that byte with bit i sent to bit `move[i]`, or dropped."""
    table = tables.moves.get(move)
    if table is None:
        values = [0]
        for position in move:
            moved = 1 << position if position >= 0 else 0
            values += [value | moved for value in values]
        table = tables.moves[move] = bytes(values)
    return table


# ---------------------------------------------------------------- address pins


def _straight_run(address: tuple[AddressPin, ...]) -> int:
    """How many of the lowest pins carry the same-numbered address bit, not inverted, which is on no other pin."""
    bits = [pin.bit for pin in address]
    run = 0
    for pin in reversed(address):
        if pin.bit != run or pin.inverted or bits.count(run) > 1:
            break
        run += 1
    return run


def _block_order(address: tuple[AddressPin, ...], run: int, tables: _Tables) -> list[int]:
    """For every block of 2**run device cells, from device address 0 up, which block of the store's cells it shows; -1
    for none."""
    key = (run, address)
    order = tables.orders.get(key)
    if order is not None:
        return order
    order = [0]
    seen: dict[int, int] = {}                       # address bit -> its weight in the order
    for pin in address[::-1][run:]:
        nothing = [-1] * len(order)
        if pin.bit is None:
            low, high = (nothing if pin.level == 1 else order), (nothing if pin.level == 0 else order)
        else:
            weight = 1 << pin.bit >> run
            if pin.bit in seen:                     # tied to a line that is already on a lower pin
                clear = [-1 if block & weight else block for block in order]
                set_ = [block if block >= 0 and block & weight else -1 for block in order]
            else:
                seen[pin.bit] = weight
                clear, set_ = order, [block + weight if block >= 0 else -1 for block in order]
            low, high = (set_, clear) if pin.inverted else (clear, set_)
        order = low + high
    tables.orders[key] = order
    return order


def _joined_order(chip: Chip, run: int, orders: list[list[int]],
                  columns: Mapping[str, _Columns]) -> tuple[list[int], Finding | None]:
    """The orders of all banks as one, into their blocks one after the other; -1 is the erased block behind them."""
    if len(orders) == 1:
        return orders[0], None
    joined = [-1] * (chip.words >> run)
    owner: list[Bank | None] = [None] * len(joined)
    base = 0
    for bank, order in zip(chip.banks, orders, strict=True):
        for at, block in enumerate(order):
            if block < 0:
                continue
            other = owner[at]
            if other is not None:
                return joined, error(
                    "cells-used-twice",
                    f"two parts of chip `{chip.name}` lie on the same cells, {at << run:#x} among them",
                    bank.span, "this part", places=(Place(other.span, "and this one"),),
                    help="tie an upper address pin to 0 in one of them and to 1 in the other")
            owner[at], joined[at] = bank, base + block
        base += columns[bank.store].cells >> run
    return joined, None


# ---------------------------------------------------------------- what cannot be packed


def _too_large(chip: Chip) -> Finding | None:
    size = chip.words * ((chip.bits + 7) // 8)
    if size <= LARGEST:
        return None
    return error("chip-too-large", f"an image of chip `{chip.name}` would have {size} bytes", chip.span,
                 f"{chip.words} x {chip.bits}", help=f"images of up to {LARGEST} bytes are made; is the size right?")


def _words_collide(chip: Chip, machine: Machine, stored: Mapping[str, Stored]) -> Finding | None:
    """An address line of the store that is on no pin makes two words share a cell; they had better be equal there."""
    for bank in chip.banks:
        store = machine.stores[bank.store]
        on_pins = {pin.bit for pin in bank.address}
        absent = [bit for bit in range(store.address_width) if bit not in on_pins]
        if not absent:
            continue
        shown = sum(1 << pin.bit for pin in bank.pins if pin.bit is not None)
        dropped = sum(1 << bit for bit in absent)
        content = stored[bank.store]
        first: dict[int, tuple[int, int | None]] = {}
        for address in range(1 << store.address_width):
            word = content.words.get(address, content.unused)
            value = None if word is None else word & shown
            at, other = first.setdefault(address & ~dropped, (address, value))
            if other != value:
                return error(
                    "words-share-cell",
                    f"the words {at:#x} and {address:#x} of `{store.name}` share a cell of chip `{chip.name}` "
                    "and differ",
                    bank.span, f"address line {absent[0]} of `{store.name}` is on no pin",
                    help="give the address line a pin, or a chip for each of its levels")
    return None
