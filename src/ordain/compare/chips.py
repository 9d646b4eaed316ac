"""What each chip needs to hold its new image: nothing, cells programmed over, an erasure first, or a fresh part.

An erased cell has every bit at one level, and programming only takes bits away from it; the way back is erasing: the
whole of a part under ultraviolet light, a sector of a flash part, in an EEPROM the single cell, by the act of writing
it, and in a part that is programmed once never. (Common practice, no source.) So an image can go over an older one
exactly where no bit of it is at the erased level that was not so before.

Cells are counted as device words, as in `rom.images`: ceil(bits / 8) bytes each, the low byte first.
"""

from collections.abc import Iterable, Mapping
from typing import Literal, NamedTuple

from ordain.machine.model import Chip

BLOCK = 256
"""Bytes that are compared at once where nothing has changed."""


class Cells(NamedTuple):
    """Cells `first` to `last`, both included."""

    first: int
    last: int

    def __str__(self) -> str:
        return f"0x{self.first:X}" if self.first == self.last else f"0x{self.first:X}-0x{self.last:X}"



Action = Literal["program", "write", "erase", "erase sector", "fresh part"]
"""`program`: bits leave their erased level, none goes back. `write`: the device erases each cell by itself (EEPROM).
`erase`: all cells. `erase sector`: the cells named, one whole sector. `fresh part`: an erased one takes its place."""


class Step(NamedTuple):
    action: Action
    cells: Cells


Kind = Literal["unchanged", "over", "sectors", "erase", "renew", "replace", "new", "gone", "unknown"]
"""`over`: without erasing. `sectors`: some sectors are erased. `erase`: all of it is. `renew`: erased or replaced; the
machine file does not say which is possible. `replace`: a fresh part. `unknown`: what is in the socket is not known."""


class ChipChange(NamedTuple):
    """`cells`: how many change (of a new chip, and where nothing is known: all). `where`: runs of changed cells.
    `returning`: how many of them have bits that go back to the erased level. `steps`: in the order of doing; none for
    `unchanged` and `gone`."""

    chip: str
    kind: Kind
    cells: int
    where: tuple[Cells, ...]
    returning: int
    steps: tuple[Step, ...]
    note: str = ""


def chip_changes(old_chips: Mapping[str, Chip], old: Mapping[str, bytes], new_chips: Mapping[str, Chip],
                 new: Mapping[str, bytes]) -> tuple[ChipChange, ...]:
    """Every chip of the new build in its order, then those that are gone. A chip of `old_chips` without an image in
    `old` is in its socket with a content that nobody knows."""
    found = []
    for name, chip in new_chips.items():
        before = old_chips.get(name)
        if before is None:
            found.append(_afresh(chip, new[name], "new", "a socket more than before"))
        elif (before.words, before.bits, before.erased) != (chip.words, chip.bits, chip.erased):
            found.append(_afresh(chip, new[name], "replace", f"another part: {_part(chip)}, was {_part(before)}"))
        elif name not in old:
            found.append(_unknown(chip, new[name]))
        else:
            found.append(chip_change(chip, old[name], new[name]))
    found += [ChipChange(name, "gone", 0, (), 0, ()) for name in old_chips if name not in new_chips]
    return tuple(found)


def chip_change(chip: Chip, old: bytes, new: bytes) -> ChipChange:
    """What one part needs, whose image was `old` and is to be `new`; both are of its size."""
    changed = _changed_cells(old, new, _bytes_a_cell(chip))
    if not changed:
        return ChipChange(chip.name, "unchanged", 0, (), 0, ())
    returning = [cell for cell in changed if _goes_back(chip, old, new, cell)]
    where = _runs(changed)
    kind, steps = _steps(chip, new, changed, returning)
    return ChipChange(chip.name, kind, len(changed), where, len(returning), steps)


def _steps(chip: Chip, new: bytes, changed: list[int], returning: list[int]) -> tuple[Kind, tuple[Step, ...]]:
    if chip.technology == "eeprom":
        return "over", tuple(Step("write", run) for run in _runs(changed))
    if not returning:
        return "over", tuple(Step("program", run) for run in _runs(changed))
    if chip.technology == "flash" and 0 < chip.sector < chip.words:
        return "sectors", _by_sector(chip, new, changed, returning)
    whole = Cells(0, chip.words - 1)
    filling = tuple(Step("program", run) for run in _runs(_filled(chip, new, whole)))
    if chip.technology == "once":
        return "replace", (Step("fresh part", whole), *filling)
    return "erase" if chip.technology else "renew", (Step("erase", whole), *filling)


def _by_sector(chip: Chip, new: bytes, changed: list[int], returning: list[int]) -> tuple[Step, ...]:
    """Only sectors in which a bit has to go back are erased; they are then filled whole."""
    erased = sorted({cell // chip.sector for cell in returning})
    sectors = [Cells(number * chip.sector, min((number + 1) * chip.sector, chip.words) - 1) for number in erased]
    within = set(erased)
    filled = [cell for cell in changed if cell // chip.sector not in within]
    for sector in sectors:
        filled += _filled(chip, new, sector)
    return (*(Step("erase sector", sector) for sector in sectors),
            *(Step("program", run) for run in _runs(sorted(filled))))


def _afresh(chip: Chip, new: bytes, kind: Kind, note: str) -> ChipChange:
    whole = Cells(0, chip.words - 1)
    filling = tuple(Step("program", run) for run in _runs(_filled(chip, new, whole)))
    return ChipChange(chip.name, kind, chip.words, (whole,), 0, (Step("fresh part", whole), *filling), note)


def _unknown(chip: Chip, new: bytes) -> ChipChange:
    """What stands in the part may be anything, so it is renewed in whichever way it can be."""
    whole = Cells(0, chip.words - 1)
    start: tuple[Step, ...]
    if chip.technology == "eeprom":
        return ChipChange(chip.name, "unknown", chip.words, (whole,), 0, (Step("write", whole),))
    if chip.technology == "flash" and 0 < chip.sector < chip.words:
        start = tuple(Step("erase sector", Cells(at, min(at + chip.sector, chip.words) - 1))
                      for at in range(0, chip.words, chip.sector))
    else:
        start = (Step("fresh part" if chip.technology == "once" else "erase", whole),)
    filling = tuple(Step("program", run) for run in _runs(_filled(chip, new, whole)))
    return ChipChange(chip.name, "unknown", chip.words, (whole,), 0, (*start, *filling))


def _part(chip: Chip) -> str:
    return f"{chip.words} x {chip.bits}, erased {'ones' if chip.erased else 'zeros'}"


# ---------------------------------------------------------------- cells


def _bytes_a_cell(chip: Chip) -> int:
    return (chip.bits + 7) // 8


def _changed_cells(old: bytes, new: bytes, size: int) -> list[int]:
    if old == new:
        return []
    found: list[int] = []
    step = BLOCK // size * size or size
    for start in range(0, len(new), step):
        ours, theirs = old[start:start + step], new[start:start + step]
        if ours != theirs:
            found += [(start + at) // size for at in range(0, len(theirs), size)
                      if ours[at:at + size] != theirs[at:at + size]]
    return found


def _cell(image: bytes, cell: int, size: int) -> int:
    return int.from_bytes(image[cell * size:(cell + 1) * size], "little")


def _goes_back(chip: Chip, old: bytes, new: bytes, cell: int) -> bool:
    """True when a programmed bit would have to be at the erased level again."""
    size = _bytes_a_cell(chip)
    before, after = _cell(old, cell, size), _cell(new, cell, size)
    return bool(~before & after if chip.erased else before & ~after)


def _filled(chip: Chip, new: bytes, within: Cells) -> list[int]:
    """The cells that are not as erasing leaves them."""
    size = _bytes_a_cell(chip)
    erased = ((1 << chip.bits) - 1 if chip.erased else 0).to_bytes(size, "little")
    return [cell for cell in range(within.first, within.last + 1) if new[cell * size:(cell + 1) * size] != erased]


def _runs(cells: Iterable[int]) -> tuple[Cells, ...]:
    """Ascending cells as runs."""
    runs: list[Cells] = []
    for cell in cells:
        if runs and runs[-1].last == cell - 1:
            runs[-1] = Cells(runs[-1].first, cell)
        else:
            runs.append(Cells(cell, cell))
    return tuple(runs)
