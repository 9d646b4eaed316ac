"""Single faults of the board, and what a machine with one of them has in its control store.

A fault of a chip changes what its data pins give for an address; from that follows, through the wiring that the machine
file describes, what the words read as. Tried are: a data pin or an address pin that stays at a level, two neighbouring
pins of one kind that touch (the lower or the higher level wins on both), a chip that is missing or blank, two chips of
one size exchanged; and a bit of a state that stays at a level.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Literal

from ordain.follow.model import Hypothesis
from ordain.machine.model import Bank, Chip, Machine
from ordain.rom.contents import Contents

Levels = Callable[[int], int]
"""From the levels of a chip's pins, as the bits of a number, to what they are with the fault."""
Wanted = Callable[[str, str, frozenset[str]], bool]
"""Of a fault of chips, by its kind, what it is called and the stores in these chips."""
MOST_WORDS = 1 << 16
"""Words of the stores of a chip up to which its faults are worked out."""


def faults(contents: Contents, images: Mapping[str, bytes],
           wanted: Wanted = lambda kind, text, stores: True) -> Iterator[Hypothesis]:
    """Every fault that changes some word, and every bit of a state that may be stuck. `images`: as burned. `wanted`:
    whether a fault of chips is worked out."""
    machine = contents.machine
    for chip in machine.chips.values():
        if too_large(machine, chip):
            continue
        for kind, text, address, data in _of_chip(machine, chip):
            if not wanted(kind, text, _stores(chip)):
                continue
            words = _read(contents, chip, images[chip.name], address, data)
            if words:
                yield Hypothesis(kind, text, words)
    every = list(machine.chips.values())
    for number, one in enumerate(every):
        for other in every[number + 1:]:
            text = f"{one.name} and {other.name} exchanged"
            if (one.words, one.bits) == (other.words, other.bits) and \
                    wanted("exchange", text, _stores(one) | _stores(other)):
                words = {**_read(contents, one, images[other.name], _same, _same)}
                held = contents._replace(words={**contents.words, **words})
                words.update(_read(held, other, images[one.name], _same, _same))
                if words:
                    yield Hypothesis("exchange", text, words)
    for state in machine.states.values():
        for bit in range(state.width):
            name = f"{state.name}[{bit}]" if state.width > 1 else state.name
            for level in (0, 1):
                yield Hypothesis("state", f"{name} stays at {level}", state=state.name, bit=bit, level=level)


def _stores(chip: Chip) -> frozenset[str]:
    return frozenset(bank.store for bank in chip.banks)


def too_large(machine: Machine, chip: Chip) -> bool:
    """Whether a chip's own faults are passed over."""
    return sum(1 << machine.stores[bank.store].address_width for bank in chip.banks) > MOST_WORDS


def reading(contents: Contents, chip: Chip, image: bytes) -> dict[str, tuple[int, ...]]:
    """The words of the chip's stores with another image in it; only stores of which a word has changed."""
    return _read(contents, chip, image, _same, _same)


def _same(pins: int) -> int:
    return pins


def _of_chip(machine: Machine, chip: Chip) -> Iterator[
        tuple[Literal["chip", "pin", "bridge"], str, Levels, Levels]]:
    """(its kind, what it is called, what becomes of the address pins, of the data pins)."""
    ones = (1 << chip.bits) - 1
    lines = chip.words.bit_length() - 1
    yield "chip", f"{chip.name} missing or blank", _same, lambda pins: ones if chip.erased else 0
    for pin in range(chip.bits):
        for level in (0, 1):
            yield "pin", f"{chip.name}.D{pin} stays at {level}", _same, _stuck(pin, level)
    for pin in range(lines):
        for level in (0, 1):
            yield "pin", f"{chip.name}.A{pin} stays at {level}", _stuck(pin, level), _same
    for letter, count in (("D", chip.bits), ("A", lines)):
        for pin in range(count - 1):
            for wins, name in ((0, "the lower level wins"), (1, "the higher level wins")):
                touch = _touch(pin, wins)
                text = f"{chip.name}.{letter}{pin} touches {letter}{pin + 1}, {name}"
                yield ("bridge", text, _same, touch) if letter == "D" else ("bridge", text, touch, _same)


def _stuck(pin: int, level: int) -> Levels:
    return lambda pins: pins | 1 << pin if level else pins & ~(1 << pin)


def _touch(pin: int, wins: int) -> Levels:
    both = 3 << pin

    def touch(pins: int) -> int:
        found = pins & both
        if found in (0, both):
            return pins
        return pins | both if wins else pins & ~both

    return touch


def _read(contents: Contents, chip: Chip, image: bytes, address: Levels, data: Levels) -> dict[str, tuple[int, ...]]:
    """The words of the chip's stores with what it gives then; only stores of which a word has changed."""
    found: dict[str, tuple[int, ...]] = {}
    size = (chip.bits + 7) // 8
    levels: Sequence[int] = image[:chip.words] if size == 1 and len(image) >= chip.words else [
        int.from_bytes(image[cell * size:(cell + 1) * size], "little") for cell in range(chip.words)]
    for bank in chip.banks:
        if bank.repeats:
            continue
        before = found.get(bank.store, contents.words[bank.store])
        kept = ~sum(1 << pin.bit for pin in bank.pins if pin.bit is not None)
        held = {pins: _bits_of(bank, data(pins)) for pins in set(levels)}
        cells = _cells(bank, len(before))
        read = cells if address is _same else [address(cell) for cell in cells]
        after = tuple([word & kept | held[levels[cell]] for word, cell in zip(before, read)])
        if after != before:
            found[bank.store] = after
    return found


@lru_cache(maxsize=8)
def _cells(bank: Bank, words: int) -> list[int]:
    """Where in the chip the word of each address of a store stands."""
    return [bank.cell(at) for at in range(words)]


def _bits_of(bank: Bank, pins: int) -> int:
    """The bits of the word that these levels of the data pins are."""
    return sum(((pins >> place & 1) ^ pin.inverted) << pin.bit for place, pin in enumerate(reversed(bank.pins))
               if pin.bit is not None)
