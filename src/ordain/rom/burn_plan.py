"""Which chips hold something else, and the least that has to be done to each.

An erased bit can be programmed at any time; a programmed one becomes erased only together with others: with the whole
chip (UV EPROM), never (one-time), with its sector (flash); in an EEPROM every word can be written anew. Those are
common practice, no source; the data sheet of the part has the last word on programming over what is programmed.
"""

from collections.abc import Iterable, Mapping
from typing import Literal, NamedTuple

from ordain.machine.model import Chip

Range = tuple[int, int]
"""First and last word."""

Action = Literal["nothing", "program-over", "rewrite", "erase-sectors", "erase", "replace", "program", "remove",
                 "find-out"]


class BurnStep(NamedTuple):
    """One thing to do with a device. "replace": by an erased one; "erase": all of it; "erase-sector": sector `first`;
    "program": words `first` .. `last` get the new image's bits, from erased to programmed only; "write": words of an
    EEPROM, whatever they held; "remove": out of its socket."""

    kind: Literal["replace", "erase", "erase-sector", "program", "write", "remove"]
    first: int
    last: int


class ChipChange(NamedTuple):
    """`words`: how many words of the device differ, in `ranges`; none where there is nothing to compare with, as in a
    socket that is new or whose content nobody knows. `turned_back`: how many of them have a bit that must
    become erased again. `sectors`: those that must be erased. `steps`: from the old content to the new.

    `action` "find-out": nobody knows what the chip holds. `why`: what else is to be said, or ""."""

    chip: str
    technology: str
    action: Action
    words: int
    ranges: tuple[Range, ...]
    turned_back: int
    sectors: tuple[int, ...]
    steps: tuple[BurnStep, ...]
    why: str


def chip_changes(chips: Mapping[str, Chip], old_chips: Mapping[str, Chip], old: Mapping[str, bytes],
                 new: Mapping[str, bytes]) -> tuple[ChipChange, ...]:
    """Every chip of the new machine, in its order, then those that are no more.

    `old`, `new`: images by chip; a chip of the old machine without an image holds nobody knows what.
    """
    found = [_change(chip, old_chips.get(name), old.get(name), new[name])
             for name, chip in chips.items() if name in new]
    found += [ChipChange(name, chip.technology, "remove", 0, (), 0, (), (BurnStep("remove", 0, 0),),
                         "no socket any more")
              for name, chip in old_chips.items() if name not in chips]
    return tuple(found)


def burns_and_erasures(changes: Iterable[ChipChange]) -> tuple[int, int]:
    """How many chips have to go into the programmer, and how many of these have to be erased or replaced first."""
    worked = [change for change in changes if change.action not in ("nothing", "remove")]
    return len(worked), sum(change.action in ("erase", "replace", "erase-sectors", "find-out") for change in worked)


def _change(chip: Chip, old_chip: Chip | None, old: bytes | None, new: bytes) -> ChipChange:
    whole = (0, chip.words - 1)
    if old_chip is not None and _device(old_chip) != _device(chip):
        return ChipChange(chip.name, chip.technology, "replace", 0, (), 0, (),
                          (BurnStep("replace", 0, 0), BurnStep("program", *whole)),
                          f"was {old_chip.words} x {old_chip.bits}")
    if old_chip is None:
        return ChipChange(chip.name, chip.technology, "program", 0, (), 0, (),
                          (BurnStep("replace", 0, 0), BurnStep("program", *whole)), "a chip that was not there before")
    if old is None:
        steps: tuple[BurnStep, ...] = (BurnStep("write", *whole),)
        if chip.technology != "eeprom":
            steps = (BurnStep("replace" if chip.technology == "once" else "erase", 0, 0), BurnStep("program", *whole))
        return ChipChange(chip.name, chip.technology, "find-out", 0, (), 0, (), steps,
                          "not recorded: read it, or treat it as full")
    return _compared(chip, old, new)


def _device(chip: Chip) -> tuple[int, int, int]:
    return chip.words, chip.bits, chip.erased


def _compared(chip: Chip, old: bytes, new: bytes) -> ChipChange:
    size = (chip.bits + 7) // 8
    differing = _differing(old, new, size)
    if not differing:
        return ChipChange(chip.name, chip.technology, "nothing", 0, (), 0, (), (), "")
    back = [word for word in differing if _turns_back(chip, old, new, word, size)]
    ranges = _ranges(differing)
    sectors = tuple(sorted({word // chip.sector for word in back})) if chip.sector else ()
    action, steps = _least(chip, differing, back, sectors)
    return ChipChange(chip.name, chip.technology, action, len(differing), ranges, len(back), sectors, steps, "")


def _least(chip: Chip, differing: list[int], back: list[int],
           sectors: tuple[int, ...]) -> tuple[Action, tuple[BurnStep, ...]]:
    """The least that makes the new content of the old one."""
    if chip.technology == "eeprom":
        return "rewrite", tuple(BurnStep("write", *part) for part in _ranges(differing))
    if not back:
        return "program-over", tuple(BurnStep("program", *part) for part in _ranges(differing))
    whole = BurnStep("program", 0, chip.words - 1)
    if chip.technology == "once":
        return "replace", (BurnStep("replace", 0, 0), whole)
    if chip.technology != "flash" or not chip.sector:
        return "erase", (BurnStep("erase", 0, 0), whole)
    erased = set(sectors)
    filled = [BurnStep("program", sector * chip.sector, min(chip.words, (sector + 1) * chip.sector) - 1)
              for sector in sectors]
    over = _ranges([word for word in differing if word // chip.sector not in erased])
    return "erase-sectors", (*(BurnStep("erase-sector", sector, sector) for sector in sectors), *filled,
                             *(BurnStep("program", *part) for part in over))


def _differing(old: bytes, new: bytes, size: int) -> list[int]:
    """The words that differ. Images are mostly alike, so they are looked at in blocks first."""
    block = 256 * size
    found: list[int] = []
    for at in range(0, len(new), block):
        before, after = old[at:at + block], new[at:at + block]
        if before != after:
            found += [(at + byte) // size for byte in range(0, len(after), size)
                      if before[byte:byte + size] != after[byte:byte + size]]
    return found


def _turns_back(chip: Chip, old: bytes, new: bytes, word: int, size: int) -> bool:
    """True when a bit of the word that is programmed has to be erased."""
    before = int.from_bytes(old[word * size:(word + 1) * size], "little")
    after = int.from_bytes(new[word * size:(word + 1) * size], "little")
    return bool(after & ~before if chip.erased else before & ~after)


def _ranges(words: list[int]) -> tuple[Range, ...]:
    """Ascending words as ranges."""
    ranges: list[Range] = []
    for word in words:
        if ranges and ranges[-1][1] == word - 1:
            ranges[-1] = (ranges[-1][0], word)
        else:
            ranges.append((word, word))
    return tuple(ranges)
