"""Sockets wired by chance, and what a board reads through their pins: from the bytes of the images alone."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

Choose = Callable[[Sequence[Any]], Any]


class Line(NamedTuple):
    """`bit`: of a word or an address of `store`; None: `level` is tied, or "any" or "spare"."""

    store: str
    bit: int | None
    level: str
    turned: bool = False


class Part(NamedTuple):
    """Pins of a chip, the lowest first: `data` one for each data pin, `address` for each address pin."""

    store: str
    data: tuple[Line, ...]
    address: tuple[Line, ...]
    repeats: bool = False


class Chip(NamedTuple):
    name: str
    bits: int
    parts: tuple[Part, ...]
    ones: bool

    @property
    def words(self) -> int:
        return 1 << len(self.parts[0].address)


def wired(choose: Choose, widths: Mapping[str, int], lines: Mapping[str, int]) -> list[Chip]:
    """Chips for stores of words of `widths` bits and addresses of `lines` lines."""
    ones = choose((True, False))
    chips: list[Chip] = []
    for store, width in widths.items():
        left = shuffled(choose, range(width))
        while left:
            size = choose((4, 8, 8, 16))
            room = min(size, choose((size, size, size - 1, size - 2)))
            taken, left = left[:room], left[room:]
            data = [Line(store, bit, "", choose((False, False, False, True))) for bit in taken]
            data += [Line(store, None, choose(("spare", "spare", "0", "1"))) for _ in range(size - len(taken))]
            part = Part(store, tuple(shuffled(choose, data)), _address(choose, store, lines[store]))
            shared = _beside(choose, chips, part) if choose((True, False)) else None
            if shared is not None:
                chips[shared[0]] = shared[1]
                continue
            chips.append(Chip(f"U{len(chips) + 1}", size, (part,), ones))
    first = next(iter(widths))
    if choose((False, False, True)):
        data = [Line(first, choose(range(widths[first])), "") for _ in range(1)]
        data += [Line(first, None, "spare") for _ in range(3)]
        part = Part(first, tuple(data), _address(choose, first, lines[first]), True)
        chips.append(Chip(f"U{len(chips) + 1}", 4, (part,), ones))
    return chips


def _address(choose: Choose, store: str, lines: int) -> tuple[Line, ...]:
    pins = [Line(store, bit, "", choose((False, False, False, True))) for bit in range(lines)]
    pins += [Line(store, None, choose(("0", "1", "any"))) for _ in range(choose((0, 1, 2)))]
    return tuple(shuffled(choose, pins)) if choose((True, False)) else tuple(pins)


def _beside(choose: Choose, chips: list[Chip], part: Part) -> tuple[int, Chip] | None:
    """A chip of one part that takes another in its other half, if there is one as wide: both get a pin more."""
    for number, chip in enumerate(chips):
        if len(chip.parts) > 1 or chip.bits != len(part.data):
            continue
        one, level = chip.parts[0], choose((0, 1))
        longest = max(len(one.address), len(part.address))
        both = []
        for each, tied in ((one, level), (part, 1 - level)):
            more = tuple(Line(each.store, None, choose(("0", "1", "any"))) for _ in range(longest - len(each.address)))
            both.append(each._replace(address=(*each.address, *more, Line(each.store, None, str(tied)))))
        return number, chip._replace(parts=tuple(both))
    return None


def shuffled(choose: Choose, what: Sequence[Any]) -> list[Any]:
    left, found = list(what), []
    while left:
        found.append(left.pop(choose(range(len(left)))))
    return found


# ---------------------------------------------------------------- as text


def statements(chips: list[Chip]) -> list[str]:
    lines = []
    for chip in chips:
        lines.append(f"chip {chip.name} {chip.words} x {chip.bits}")
        for part in chip.parts:
            holds = "repeats" if part.repeats else "holds"
            lines.append(f"    {holds} " + ", ".join(_pin(one, part.store) for one in reversed(part.data)))
            lines.append("    address {" + ", ".join(_pin(one, "address") for one in reversed(part.address)) + "}")
        lines.append(f"    erased {'ones' if chip.ones else 'zeros'}")
    return lines


def _pin(line: Line, of: str) -> str:
    if line.bit is not None:
        return f"{'not ' if line.turned else ''}{of}[{line.bit}]"
    return f"0b{line.level}" if of == "address" and line.level in "01" else line.level


# ---------------------------------------------------------------- as read


class Board:
    """Words as the board reads them. `images`: the bytes of each chip."""

    def __init__(self, chips: list[Chip], images: Mapping[str, bytes]) -> None:
        self.chips, self._images = chips, images

    def word(self, store: str, address: int) -> int:
        """As the parts say that hold it. Raises ValueError where a chip shows two things for one address."""
        return sum(level << bit for bit, level in self._bits(store, address, repeats=False).items())

    def repeated(self, store: str, address: int) -> bool:
        """Whether bits that stand in a second chip are there as they are in the first."""
        held = self._bits(store, address, repeats=False)
        return all(held[bit] == level for bit, level in self._bits(store, address, repeats=True).items())

    def _bits(self, store: str, address: int, repeats: bool) -> dict[int, int]:
        found: dict[int, int] = {}
        for chip in self.chips:
            for part in chip.parts:
                if part.store != store or part.repeats != repeats:
                    continue
                shown = {self._cell(chip, where) for where in places(part, address)}
                if len(shown) != 1:
                    raise ValueError(f"{chip.name} shows {sorted(shown)} for {address}, whatever `any` is")
                cell = shown.pop()
                found |= {line.bit: cell >> pin & 1 ^ line.turned
                          for pin, line in enumerate(part.data) if line.bit is not None}
        return found

    def erased(self, store: str, address: int) -> bool:
        """Whether every cell that shows the word is as it was delivered, pins that hold nothing left aside."""
        return all(self._cell(chip, where) >> pin & 1 == chip.ones
                   for chip in self.chips for part in chip.parts if part.store == store
                   for where in places(part, address) for pin, line in enumerate(part.data) if line.bit is not None)

    def strays(self) -> list[str]:
        """Cells that no store reaches and that are not erased."""
        found = []
        for chip in self.chips:
            reached = {where for part in chip.parts for address in range(1 << _lines(part))
                       for where in places(part, address)}
            blank = (1 << chip.bits) - 1 if chip.ones else 0
            found += [f"{chip.name} at {where}" for where in range(chip.words)
                      if where not in reached and self._cell(chip, where) != blank]
        return found

    def _cell(self, chip: Chip, where: int) -> int:
        size = (chip.bits + 7) // 8
        return int.from_bytes(self._images[chip.name][where * size:(where + 1) * size], "little")


def _lines(part: Part) -> int:
    return sum(one.bit is not None for one in part.address)


def places(part: Part, address: int) -> list[int]:
    """The device addresses for an address of the store: several where a pin may have any level."""
    found = [0]
    for pin, line in enumerate(part.address):
        if line.bit is not None:
            levels = [address >> line.bit & 1 ^ line.turned]
        else:
            levels = [0, 1] if line.level == "any" else [int(line.level)]
        found = [where | level << pin for where in found for level in levels]
    return found
