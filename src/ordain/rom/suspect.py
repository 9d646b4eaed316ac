"""Why a whole chip may read other than it was built: swapped, turned, inverted, a line stuck.

Every suspicion is an explanation of the form "if the chip were ..., the readings would agree in this many cells". It is
told only where it leaves at most a tenth of the cells unexplained that disagree otherwise. Only cells in which a word
was placed are counted: in unused ones anything agrees with anything.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from operator import eq, itemgetter
from typing import NamedTuple, TypeAlias

from ordain.machine.model import Chip, Machine
from ordain.rom.contents import Stored
from ordain.rom.readback import device_cells

FEWEST = 3
"""Cells that have to disagree before anything is suspected: less is an ordinary difference."""

_Cells: TypeAlias = Sequence[int]
"""The device words of a chip, by device address."""


class Suspicion(NamedTuple):
    """`text` is what would explain the readings of `chip`; `agree` of `cells` cells would then be right, where `before`
    are as it is."""

    chip: str
    text: str
    agree: int
    before: int
    cells: int


def suspicions(machine: Machine, stored: Mapping[str, Stored], images: Mapping[str, bytes],
               dumps: Mapping[str, bytes]) -> list[Suspicion]:
    """For every chip that was read, the explanations that hold, the best first."""
    found = []
    for name, dump in dumps.items():
        chip = machine.chips[name]
        places = placed_cells(machine, chip, stored)
        built, seen = device_words(images[name], chip), device_words(dump, chip)
        before = _agreement(_at(built, places), _at(seen, places))
        missed = len(places) - before
        if missed < FEWEST:
            continue
        told = []
        for text, wanted, read in _explanations(machine, chip, built, seen, images, places):
            agree = _agreement(wanted, read)
            if 10 * (len(places) - agree) <= missed:
                told.append(Suspicion(name, text, agree, before, len(places)))
        found += sorted(told, key=lambda suspicion: -suspicion.agree)
    return found


def placed_cells(machine: Machine, chip: Chip, stored: Mapping[str, Stored]) -> list[int]:
    """The device addresses at which a word was placed, ascending."""
    cells: set[int] = set()
    for bank in chip.banks:
        offsets, copies = device_cells(machine.stores[bank.store].address_width, bank.address)
        for address in stored[bank.store].words:
            cells.update(offsets[address] + copy for copy in copies)
    return sorted(cells)


def device_words(image: bytes, chip: Chip) -> list[int]:
    """The words of the device, by device address; bits beyond its width are dropped."""
    width = (chip.bits + 7) // 8
    ones = (1 << chip.bits) - 1
    if width == 1:
        return [byte & ones for byte in image] if chip.bits < 8 else list(image)
    return [int.from_bytes(image[at:at + width], "little") & ones for at in range(0, len(image), width)]


def _agreement(wanted: _Cells, read: _Cells) -> int:
    return sum(map(eq, wanted, read))


def _at(cells: _Cells, places: Sequence[int]) -> _Cells:
    return itemgetter(*places)(cells) if len(places) > 1 else [cells[place] for place in places]


# ---------------------------------------------------------------- what could have happened


def _explanations(machine: Machine, chip: Chip, built: _Cells, seen: _Cells, images: Mapping[str, bytes],
                  places: Sequence[int]) -> Iterator[tuple[str, _Cells, _Cells]]:
    """(text, what the build has, what was read) for every explanation, as if it were true; simple ones first."""
    wanted, read = _at(built, places), _at(seen, places)
    ones = (1 << chip.bits) - 1
    for level, said in ((ones, "ones"), (0, "zeros")):
        yield f"reads all {said}: blank, not powered, or not seated", [level] * len(places), read
    for other in machine.chips.values():
        if other.name != chip.name and (other.words, other.bits) == (chip.words, chip.bits):
            yield f"holds what belongs into {other.name}", _at(device_words(images[other.name], other), places), read
    yield "is inverted", wanted, [word ^ ones for word in read]
    for text, turn in _turned_data(chip.bits):
        yield text, wanted, [turn(word) for word in read]
    for line in range(chip.bits):
        bit = 1 << line
        yield f"data line D{line} is stuck at 1", [word | bit for word in wanted], read
        yield f"data line D{line} is stuck at 0", [word & ~bit for word in wanted], read
    lines = chip.words.bit_length() - 1
    for text, move in _turned_address(lines):
        yield text, wanted, [seen[move(place)] for place in places]
    for line in range(lines):
        bit = 1 << line
        yield f"address line A{line} is stuck at 1", [built[place | bit] for place in places], read
        yield f"address line A{line} is stuck at 0", [built[place & ~bit] for place in places], read


def _turned_data(bits: int) -> Iterator[tuple[str, Callable[[int], int]]]:
    if bits == 16:
        yield "has its two bytes exchanged", lambda word: word >> 8 | word << 8 & 0xFF00
    yield "has its data lines in the opposite order", _order(range(bits - 1, -1, -1))
    for count in range(1, bits):
        if (bits, count) != (16, 8):
            yield (f"has its data lines rotated by {count}", _order([(line + count) % bits for line in range(bits)]))
    for one in range(bits):
        for other in range(one + 1, bits):
            yield f"has data lines D{one} and D{other} exchanged", _exchange(one, other)


def _turned_address(lines: int) -> Iterator[tuple[str, Callable[[int], int]]]:
    for line in range(lines - 1, -1, -1):
        what = "its two halves exchanged (the highest address line inverted)" if line == lines - 1 else (
            f"address line A{line} inverted")
        yield f"has {what}", (1 << line).__xor__
    if lines > 1:
        yield "has its address lines in the opposite order", _order(range(lines - 1, -1, -1))
    for count in range(1, lines):
        yield (f"has its address lines rotated by {count}", _order([(line + count) % lines for line in range(lines)]))
    for one in range(lines):
        for other in range(one + 1, lines):
            yield f"has address lines A{one} and A{other} exchanged", _exchange(one, other)


def _order(lines: Sequence[int]) -> Callable[[int], int]:
    """Bit i of the result is bit `lines[i]`."""
    pairs = list(enumerate(lines))

    def turn(word: int) -> int:
        turned = 0
        for to, line in pairs:
            turned |= (word >> line & 1) << to
        return turned

    return turn


def _exchange(one: int, other: int) -> Callable[[int], int]:
    both = 1 << one | 1 << other

    def turn(word: int) -> int:
        return word ^ both if (word >> one ^ word >> other) & 1 else word

    return turn
