"""Chips: which bit of which store stands at which pin, and what each address pin is tied to."""

from collections.abc import Collection, Sized
from typing import NamedTuple

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import bits
from ordain.machine.declare import MOST_BITS, MOST_CELLS, MOST_WORDS, size
from ordain.machine.pins import SPARE, Wiring, address_pins, data_pins, ranges
from ordain.text.findings import Place, error


def chip_model(chip: tree.Chip, wiring: Wiring) -> model.Chip | None:
    """The chip with its banks; None when its size is not one. Banks that are broken are left out."""
    lowering = wiring.lowering
    words = size(chip.words, MOST_WORDS, "words", lowering)
    width = size(chip.bits, MOST_BITS, "bits", lowering)
    if words is None or width is None:
        return None
    if words & (words - 1) or words * width > MOST_CELLS:
        why = (f"a chip of {words} words: the address lines of a chip select a power of two" if words & (words - 1)
               else f"{words} x {width} is more than {MOST_CELLS} bits in all")
        lowering.findings.append(error("bad-size", why, chip.words.span, "not the size of a chip",
                                       help=f"did you mean {1 << (words - 1).bit_length()}?"))
        return None
    technology, sector = _technology(chip.technology)
    banks = _without_idle_quarrels([bank for text in chip.banks if (bank := _bank(text, chip, wiring)) is not None])
    if not chip.banks:
        lowering.findings.append(error(
            "empty-chip", f"`{chip.name.text}` holds nothing", chip.span, "no `holds` line",
            help="say which bits stand at its pins: `holds control[7:0]`, and `address ...`"))
    return model.Chip(chip.name.text, words, width, int(chip.erased_ones), technology, sector,
                      tuple(bank.bank for bank in banks), chip.span)


def _technology(word: tree.Word | None) -> tuple[str, int]:
    """The kind of chip, and the words of a sector, 0 where it has none."""
    if word is None:
        return "", 0
    name, *rest = word.text.split()
    digits = rest[-1].replace("_", "") if rest else "0"
    return name, int(digits) if digits.isdecimal() else int(digits, 0)


# ---------------------------------------------------------------- a bank


class _Bank(NamedTuple):
    """A bank, and the places of its pins that nothing uses."""

    bank: model.Bank
    spare: frozenset[int]


def _without_idle_quarrels(banks: list[_Bank]) -> list[_Bank]:
    """A pin that is spare in one bank takes the level that another one ties it to, where the two share cells."""
    told = []
    for part in banks:
        tied = {place: pin.level for other in reversed(banks) if not _apart(other.bank, part.bank)
                for place, pin in enumerate(other.bank.pins) if pin.bit is None and place not in other.spare}
        told.append(part._replace(bank=part.bank._replace(pins=tuple(
            pin._replace(level=tied.get(place, pin.level)) if place in part.spare else pin
            for place, pin in enumerate(part.bank.pins)))))
    return told


def _bank(bank: tree.Bank, chip: tree.Chip, wiring: Wiring) -> _Bank | None:
    found = [data_pins(pin, chip, wiring) for pin in bank.pins]
    if any(pins is None for pins in found):
        return None
    pins = [pin for part in found if part is not None for pin in part]
    lowering = wiring.lowering
    stores = dict.fromkeys(store for store, pin in pins if pin.bit is not None)
    if len(stores) != 1:
        lowering.findings.append(error(
            "two-stores" if stores else "empty-chip",
            f"one `holds` line of `{chip.name.text}` holds " + (
                "bits of " + " and ".join(f"`{store}`" for store in stores) if stores else "no bit of any store"),
            bank.span, "one store is wanted",
            help="give each store its own `holds` and `address` lines" if stores
            else "name bits of a store, or leave the line out"))
        return None
    store = next(iter(stores))
    if len(pins) != chip.bits.value:
        lowering.findings.append(error(
            "pin-count", f"`{chip.name.text}` has {chip.bits.value} data pins, and {len(pins)} are named", bank.span,
            "highest pin first", places=(Place(chip.span, f"{chip.bits.value} bits wide"),),
            help="name every pin; `spare` is a pin that nothing uses"))
        return None
    address = address_pins(bank, chip, store, wiring)
    if address is None:
        return None
    spare = frozenset(place for place, (what, _) in enumerate(pins) if what == SPARE)
    return _Bank(model.Bank(store, tuple(pin for _, pin in pins), address, bank.repeats, bank.span), spare)


# ---------------------------------------------------------------- all chips together


def check_chips(chips: dict[str, model.Chip], whole: Collection[str], wiring: Wiring) -> None:
    """Every bit of a store that has chips stands in exactly one of them; banks of one chip do not share cells.

    `whole`: the stores of which it can be told what stands nowhere, no chip, bank or field of theirs being broken."""
    for chip in chips.values():
        for index, bank in enumerate(chip.banks):
            for earlier in chip.banks[:index]:
                if _share_cells(earlier, bank):
                    wiring.lowering.findings.append(error(
                        "bank-overlap", f"two banks of `{chip.name}` use the same cells at the same pins", bank.span,
                        "the second", places=(Place(earlier.span, "the first"),),
                        help="tie an address pin to 0 in one and to 1 in the other, or use other data pins"))
    for store in wiring.stores.values():
        if store.name in whole:
            _check_coverage(store, chips, wiring)


def _apart(one: model.Bank, other: model.Bank) -> bool:
    """Whether an address pin is tied to 0 in the one and to 1 in the other."""
    return any(a.bit is None and b.bit is None and a.level is not None and b.level is not None and a.level != b.level
               for a, b in zip(one.address, other.address))


def _share_cells(one: model.Bank, other: model.Bank) -> bool:
    return not _apart(one, other) and any((a.bit is not None and b.bit is not None)
                             or (a.bit is None and b.bit is None and a.level != b.level)
                             for a, b in zip(one.pins, other.pins))


def _check_coverage(store: model.Store, chips: dict[str, model.Chip], wiring: Wiring) -> None:
    """Spare bits need no pin. A store with no chips at all is an early design, which the build says."""
    banks = [bank for chip in chips.values() for bank in chip.banks if bank.store == store.name]
    if not banks:
        return
    first: dict[int, model.Bank] = {}
    for bank in banks:
        twice: dict[int, model.Bank] = {}
        for pin in bank.pins:
            if pin.bit is not None and not bank.repeats and first.setdefault(pin.bit, bank) is not bank:
                twice[pin.bit] = first[pin.bit]
            elif pin.bit is not None and sum(other.bit == pin.bit for other in bank.pins) > 1:
                twice[pin.bit] = bank
        if twice and not bank.repeats:
            owners = ", ".join(list(dict.fromkeys(owner(store, bit, wiring.fields) for bit in twice))[:6])
            wiring.lowering.findings.append(error(
                "bit-twice", f"{ranges(list(twice))} of `{store.name}` ({owners}) {_stand(twice)} at two pins",
                bank.span, "the second", places=tuple(Place(span, "the first")
                                           for span in dict.fromkeys(other.span for other in twice.values())),
                help="leave one out, or write `repeats` instead of `holds` where it is meant"))
    spare = {bit for name in store.fields if wiring.fields[name].holds == "spare"
             for bit in range(wiring.fields[name].low, wiring.fields[name].high + 1)}
    missing = [bit for bit in range(store.bits) if bit not in first and bit not in spare]
    if missing:
        owners = ", ".join(list(dict.fromkeys(owner(store, bit, wiring.fields) for bit in missing))[:6])
        wiring.lowering.findings.append(error(
            "bit-without-chip", f"{ranges(missing)} of `{store.name}` "
            f"({owners}) {_stand(missing)} in no chip", store.span,
            f"{bits(len(missing))} without a pin", help="name them in the `holds` line of a chip"))


def _stand(bits_of: Sized) -> str:
    return "stand" if len(bits_of) > 1 else "stands"


def owner(store: model.Store, bit: int, fields: dict[str, model.Field]) -> str:
    """Whose bit it is: `source[2]`."""
    for name in store.fields:
        field = fields[name]
        if field.low <= bit <= field.high:
            if field.holds == "spare":
                return "spare"
            return field.name if field.width == 1 else f"{field.name}[{bit - field.low}]"
    return "no field"
