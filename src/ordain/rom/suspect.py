"""Why a whole chip may read other than it was built: swapped, turned, inverted, a line stuck, programmed in part, as a
smaller part, or at a wrong address.

Every suspicion is an explanation of the form "if the chip were ..., the readings would agree in this many cells". It is
told only where it leaves at most a tenth of the cells unexplained that disagree otherwise. Only cells in which a word
was placed are counted: in unused ones anything agrees with anything. That cells were never programmed is looked for in
those that were to get the word of unused places, too.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from operator import eq
from typing import NamedTuple, TypeAlias

from ordain.machine.model import Chip, Machine
from ordain.rom.contents import Stored
from ordain.rom.readback import device_cells

FEWEST = 3
"""Cells that have to disagree before anything is suspected: less is an ordinary difference."""
ROW = 5
"""Neighbouring cells by which a place is known again."""
MOST_ROWS, MOST_COPIES, MOST_STARTS = 256, 8, 6
"""When a wrong start address is looked for: how many rows are looked up, at how many places such a row may stand, how
many addresses are tried."""
MOST_CELLS = 1 << 20
"""In larger chips a wrong start address is not looked for."""

_Cells: TypeAlias = Sequence[int]
"""The device words of a chip, by device address."""


class Suspicion(NamedTuple):
    """`text` is what would explain the readings of `chip`; `agree` of `cells` cells would then be right, where `before`
    are as it is. `image_of`: the chip whose image it would be, or ""."""

    chip: str
    text: str
    agree: int
    before: int
    cells: int
    image_of: str = ""


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
        told = list(_in_part(chip, places if missed >= FEWEST else _filled_cells(machine, chip, places), built,
                             seen))
        if missed >= FEWEST:
            for text, image_of, wanted, read in _explanations(machine, chip, built, seen, images, places):
                agree = _agreement(wanted, read)
                if 10 * (len(places) - agree) <= missed:
                    told.append(Suspicion(name, text, agree, before, len(places), image_of))
        found += sorted(told, key=lambda suspicion: suspicion.cells - suspicion.agree)
    return found


def _filled_cells(machine: Machine, chip: Chip, places: Sequence[int]) -> list[int]:
    """The placed cells, and those that were to get the word of unused places, or to stay erased."""
    cells = set(places)
    for bank in chip.banks:
        offsets, copies = device_cells(machine.stores[bank.store].address_width, bank.address)
        cells.update(offset + copy for offset in offsets for copy in copies)
    return sorted(cells)


def _in_part(chip: Chip, places: Sequence[int], built: _Cells, seen: _Cells) -> Iterator[Suspicion]:
    """Whether one stretch of the chip was never programmed, and the rest was."""
    blank = (1 << chip.bits) - 1 if chip.erased else 0
    wrong = [place for place in places if built[place] != seen[place]]
    low, high = _blank_stretch(places, built, seen, blank)
    agree = sum(seen[place] == (blank if low <= place < high else built[place]) for place in places)
    missing = sum(low <= place < high for place in wrong)
    if missing < FEWEST or 10 * (len(places) - agree) > len(wrong):
        return
    first, end = low, high
    while first and seen[first - 1] == blank:
        first -= 1
    while end < chip.words and seen[end] == blank:
        end += 1
    if not first and end == chip.words:
        return                                          # blank as a whole
    begin, stop = _roundest(first, low), _roundest(high, end)
    text = (f"was programmed only up to 0x{begin - 1:X}: it reads erased from 0x{begin:X} on" if end == chip.words else
            f"was programmed only from 0x{stop:X} on: it reads erased below" if not first else
            f"reads erased from 0x{begin:X} to 0x{stop - 1:X}: that part was not programmed")
    yield Suspicion(chip.name, text, agree, len(places) - len(wrong), len(places))


def _blank_stretch(places: Sequence[int], built: _Cells, seen: _Cells, blank: int) -> tuple[int, int]:
    """The stretch of cells (its end not included) with the most that are erased and should not be, less those that are
    not erased."""
    best = count = begin = 0
    ends = (0, 0)
    for place in places:
        if count <= 0:
            count, begin = 0, place
        count += (seen[place] == blank != built[place]) - (seen[place] != blank)
        if count > best:
            best, ends = count, (begin, place + 1)
    return ends


def _roundest(low: int, high: int) -> int:
    """The number from `low` up to `high` with the most zero bits at its end."""
    bit = 0
    while high >> bit + 1 << bit + 1 >= max(low, 1):
        bit += 1
    return high >> bit << bit


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
        return [byte & ones for byte in image]
    return [int.from_bytes(image[at:at + width], "little") & ones for at in range(0, len(image), width)]


def _agreement(wanted: _Cells, read: _Cells) -> int:
    return sum(map(eq, wanted, read))


def _at(cells: _Cells, places: Sequence[int]) -> _Cells:
    return [cells[place] for place in places]


# ---------------------------------------------------------------- what could have happened


def _explanations(machine: Machine, chip: Chip, built: _Cells, seen: _Cells, images: Mapping[str, bytes],
                  places: Sequence[int]) -> Iterator[tuple[str, str, _Cells, _Cells]]:
    """(text, chip whose image it is or "", what the build has, what was read) for every explanation, as if it were
    true; simple ones first."""
    read = _at(seen, places)
    for level, said in (((1 << chip.bits) - 1, "ones"), (0, "zeros")):
        yield f"reads all {said}: blank, not powered, or not seated", "", [level] * len(places), read
    for other in machine.chips.values():
        if (other.words, other.bits) == (chip.words, chip.bits):    # its own image explains nothing
            yield (f"holds what belongs in {other.name}", other.name,
                   _at(device_words(images[other.name], other), places), read)
    for text, wanted, read in _faults(chip, built, seen, places):
        yield text, "", wanted, read


def _faults(chip: Chip, built: _Cells, seen: _Cells, places: Sequence[int]) -> Iterator[tuple[str, _Cells, _Cells]]:
    """What may have happened to a chip by itself."""
    wanted, read = _at(built, places), _at(seen, places)
    ones = (1 << chip.bits) - 1
    yield "is inverted", wanted, [word ^ ones for word in read]
    for text, turn in _turned_data(chip.bits):
        yield text, wanted, [turn(word) for word in read]
    for line in range(chip.bits):
        bit = 1 << line
        yield f"data line D{line} is stuck at 1", [word | bit for word in wanted], read
        yield f"data line D{line} is stuck at 0", [word & ~bit for word in wanted], read
    lines = chip.words.bit_length() - 1
    yield from _other_size(chip, built, read, places)
    for text, move in _turned_address(lines):
        yield text, wanted, [seen[move(place)] for place in places]
    for line in range(lines):
        bit = 1 << line
        yield f"address line A{line} is stuck at 1", [built[place | bit] for place in places], read
        yield f"address line A{line} is stuck at 0", [built[place & ~bit] for place in places], read
    yield from _other_start(chip, built, read, seen, places, ones if chip.erased else 0)


def _other_size(chip: Chip, built: _Cells, read: _Cells,
                places: Sequence[int]) -> Iterator[tuple[str, _Cells, _Cells]]:
    """Programmed as a smaller part, or with its address lines one off."""
    size = chip.words >> 1
    while size > 1:
        yield (f"holds its first 0x{size:X} words over and over: programmed as a smaller part, or its upper address "
               "lines are not connected", [built[place & size - 1] for place in places], read)
        size >>= 1
    top = chip.words - 1
    yield ("holds every word twice: its address lines are one too high, A0 not used",
           [built[place >> 1] for place in places], read)
    yield ("holds only every second word: its address lines are one too low",
           [built[place << 1 & top] for place in places], read)


def _other_start(chip: Chip, built: _Cells, read: _Cells, seen: _Cells, places: Sequence[int],
                 blank: int) -> Iterator[tuple[str, _Cells, _Cells]]:
    """Programmed from a wrong address on."""
    top = chip.words - 1
    for ahead in _start_addresses(chip, built, seen, places):
        way = f"0x{ahead:X} too high" if ahead > 0 else f"0x{-ahead:X} too low"
        yield (f"was programmed from a wrong address on: every word stands {way}",
               [built[place - ahead] if 0 <= place - ahead <= top else blank for place in places], read)
        yield (f"was programmed from a wrong address on: every word stands {way}, going round at the end",
               [built[place - ahead & top] for place in places], read)


def _start_addresses(chip: Chip, built: _Cells, seen: _Cells, places: Sequence[int]) -> list[int]:
    """By how much the content may stand too high: where rows of cells that the build has but seldom are read."""
    if chip.words > MOST_CELLS:
        return []
    rows: dict[tuple[int, ...], list[int]] = {}
    for place in places:
        rows.setdefault(tuple(built[place:place + ROW]), []).append(place)
    seldom = [row for row, found in rows.items() if len(found) <= MOST_COPIES and len(set(row)) > 1]
    chosen = {row: rows[row] for row in seldom[::max(1, len(seldom) // MOST_ROWS)]}
    votes = Counter(place - at for place in range(chip.words) for at in chosen.get(tuple(seen[place:place + ROW]), ()))
    del votes[0]        # at their own places rows say nothing; neither do shorter ones, at the end
    return sorted(votes, key=lambda ahead: (-votes[ahead], abs(ahead), ahead))[:MOST_STARTS]


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
