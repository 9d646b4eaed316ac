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

from ordain.machine.model import AddressPin, Chip, Machine, Pin
from ordain.rom.contents import Stored


class _Columns(NamedTuple):
    """`columns[k]`: bits 8k .. 8k+7 of the word at every address. `placed`: as a number, a byte of ones for every
    address that holds a word (lowest byte: address 0), None when all do by the unused word."""

    cells: int
    columns: tuple[bytes, ...]
    placed: int | None


class _Tables(NamedTuple):
    """What chips wired alike share: see `_move_table` and `_block_order`."""

    moves: dict[tuple[int, ...], bytes]
    orders: dict[tuple[AddressPin, ...], tuple[int, list[int]]]


def pack(machine: Machine, stored: Mapping[str, Stored]) -> dict[str, bytes]:
    """The image of every chip, in the order of the machine file.

    Relies on what `machine.chips` has checked: sizes, a pin for every address line, no two bits on one pin of one cell.
    """
    images: dict[str, bytes] = {}
    columns: dict[str, _Columns] = {}
    tables = _Tables({}, {})
    for chip in machine.chips.values():
        for bank in chip.banks:
            if bank.store not in columns:
                store = machine.stores[bank.store]
                columns[bank.store] = _store_columns(stored[bank.store], 1 << store.address_width, store.bits)
        lanes = [_lane(chip, lane, columns, tables) for lane in range((chip.bits + 7) // 8)]
        images[chip.name] = lanes[0] if len(lanes) == 1 else _interleaved(lanes)
    return images


def _store_columns(stored: Stored, cells: int, bits: int) -> _Columns:
    width = (bits + 7) // 8
    words = [stored.unused or 0] * cells
    for address, word in stored.words.items():
        words[address] = word
    flat = b"".join([word.to_bytes(width, "little") for word in words])
    placed = None
    if stored.unused is None:
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


def _lane(chip: Chip, lane: int, columns: Mapping[str, _Columns], tables: _Tables) -> bytes:
    """Byte `lane` of every device word."""
    width = min(8, chip.bits - 8 * lane)
    erased = (1 << width) - 1 if chip.erased else 0
    bits: list[tuple[bytes, bytes]] = []            # (which bits of every device byte, their levels), both images
    constants: list[tuple[bytes, bytes]] = []
    for bank in chip.banks:
        pins = bank.pins[::-1][8 * lane:8 * lane + width]
        held = columns[bank.store]
        image = _at_device(_shown_by(pins, held, erased, tables), erased, bank.address, tables)
        if len(chip.banks) == 1:
            return image
        wired = sum(1 << position for position, pin in enumerate(pins) if pin.bit is not None)
        bits.append((_at_device(bytes((wired,)) * held.cells, 0, bank.address, tables), image))
        told = _repeated((1 << width) - 1, held.cells) & (-1 if held.placed is None else held.placed)
        constants.append((_at_device(told.to_bytes(held.cells, "little"), 0, bank.address, tables), image))
    total = _repeated(erased, chip.words)
    for mask, image in constants[::-1] + bits:      # a pin tied in one part may hold a bit of another, cell by cell
        where = int.from_bytes(mask, "little")
        total = total & ~where | int.from_bytes(image, "little") & where
    return total.to_bytes(chip.words, "little")


def _repeated(byte: int, count: int) -> int:
    return int.from_bytes(bytes((byte,)) * count, "little")


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
    cells = columns.cells
    shown = 0
    for column, move in moves:
        shown |= int.from_bytes(columns.columns[column].translate(_move_table(tuple(move), tables)), "little")
    shown = shown ^ _repeated(inverted, cells) | _repeated(constant, cells)
    if columns.placed is not None:
        shown = shown & columns.placed | _repeated(erased, cells) & ~columns.placed
    return shown.to_bytes(cells, "little")


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


def _at_device(content: bytes, elsewhere: int, address: tuple[AddressPin, ...], tables: _Tables) -> bytes:
    """A byte for every store address becomes a byte for every device address; `elsewhere` where none shows."""
    run, order = _block_order(address, tables)
    length = 1 << run
    cells = content + bytes((elsewhere,)) * length  # the order's -1 finds this block at the end
    if length == 1 and len(order) > 1:
        return bytes(itemgetter(*order)(cells))
    return b"".join(map([cells[at:at + length] for at in range(0, len(cells), length)].__getitem__, order))


def _straight_run(address: tuple[AddressPin, ...]) -> int:
    """How many of the lowest pins carry the same-numbered address bit, not inverted, which is on no other pin."""
    bits = [pin.bit for pin in address]
    run = 0
    for pin in reversed(address):
        if pin.bit != run or pin.inverted or bits.count(run) > 1:
            break
        run += 1
    return run


def _block_order(address: tuple[AddressPin, ...], tables: _Tables) -> tuple[int, list[int]]:
    """(run, order): for every block of 2**run device cells, from device address 0 up, which block of the store's cells
    it shows; -1 for none."""
    known = tables.orders.get(address)
    if known is not None:
        return known
    run = _straight_run(address)
    order = [0]
    seen: set[int] = set()
    for pin in address[::-1][run:]:
        nothing = [-1] * len(order)
        if pin.bit is None:
            low, high = (nothing if pin.level == 1 else order), (nothing if pin.level == 0 else order)
        else:
            weight = 1 << pin.bit >> run
            if pin.bit in seen:                     # tied to a line that is already on a lower pin
                clear = [-1 if block & weight else block for block in order]
                set_ = [block if block & weight else -1 for block in order]
            else:
                seen.add(pin.bit)
                clear, set_ = order, [block + weight if block >= 0 else -1 for block in order]
            low, high = (set_, clear) if pin.inverted else (clear, set_)
        order = low + high
    tables.orders[address] = run, order
    return run, order
