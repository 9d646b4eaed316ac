"""The wire list: every pin of the control section that is known, with the net on it."""

import re
from collections.abc import Sequence
from typing import NamedTuple

from ordain.machine import model
from ordain.machine.chips import owner
from ordain.machine.wording import CodeNames, words


class WiredPin(NamedTuple):
    """One pin. `number` of the package, None where it is not known. `net`: the net by its name, `` for none; `what` it
    is."""

    part: str
    pin: str
    number: int | None
    net: str
    what: str


def joints(machine: model.Machine, names: CodeNames) -> list[WiredPin]:
    """All pins of the stores' chips and of the wires, part by part."""
    found: dict[tuple[str, str], tuple[list[str], list[str]]] = {}

    def note(part: str, pin: str, net: str, what: str) -> None:
        nets, whats = found.setdefault((part, pin), ([], []))
        if net not in nets:
            nets.append(net)
            whats.append(what)

    for chip in machine.chips.values():
        for bank in chip.banks:
            store = machine.stores[bank.store]
            for place, line in enumerate(bank.pins):
                note(chip.name, f"D{chip.bits - 1 - place}", *_data(machine, store, line))
            for place, at in enumerate(bank.address):
                note(chip.name, f"A{len(bank.address) - 1 - place}", *_address(machine, store, at, names))
    for wire in machine.wires:
        for part, pins in wire.pins:
            for place, pin in enumerate(pins):
                bit = wire.width - 1 - place + (wire.low or 0)
                whole = wire.low is None and wire.width == 1
                if (part, pin) not in found or not _of_a_chip(machine, part, pin):
                    note(part, pin, wire.name if whole else f"{wire.name}[{bit}]", wire.kind)
    parts = machine.components.values()
    numbers = {(part.name, pin): number for part in parts for pin, number in part.pins}
    made = [WiredPin(of, pin, numbers.get((of, pin)), " / ".join(filter(None, nets)), " / ".join(dict.fromkeys(whats)))
            for (of, pin), (nets, whats) in found.items()]
    made += [WiredPin(part.name, pin, number, "", "no net in this file") for part in parts
             for pin, number in part.pins if (part.name, pin) not in found]
    return sorted(made, key=lambda joint: (_natural(joint.part), joint.number is None, joint.number or 0,
                                           _natural(joint.pin)))


def _of_a_chip(machine: model.Machine, part: str, pin: str) -> bool:
    chip = machine.chips.get(part)
    return chip is not None and pin[0] in "AD" and pin[1:].isdecimal() and int(pin[1:]) < (
        chip.bits if pin[0] == "D" else chip.words.bit_length() - 1)


def _data(machine: model.Machine, store: model.Store, pin: model.Pin) -> tuple[str, str]:
    if pin.bit is None:
        return "", "no bit of the store"
    name = owner(store, pin.bit, machine.fields)
    field = next((machine.fields[field] for field in store.fields
                  if machine.fields[field].low <= pin.bit <= machine.fields[field].high), None)
    if field is None or field.holds == "spare":
        name = f"{store.name}[{pin.bit}]"
    what = f"bit {pin.bit} of {store.name}" + (", active low" if field is not None and field.active_low else "")
    return (f"not {name}", what + ", inverted behind the pin") if pin.inverted else (name, what)


def _address(machine: model.Machine, store: model.Store, at: model.AddressPin, names: CodeNames) -> tuple[str, str]:
    if at.bit is None:
        return ("", "any level") if at.level is None else (f"{at.level}", f"tied for {store.name}")
    line = machine.terms.slice(store.address, at.bit, at.bit)
    what = f"address bit {at.bit} of {store.name}" + (", inverted before the pin" if at.inverted else "")
    return words(machine.terms.not_(line) if at.inverted else line, names), what


def _natural(name: str) -> Sequence[object]:
    """U4 before U10."""
    return [(0, int(piece), "") if piece.isdecimal() else (1, 0, piece) for piece in re.findall(r"\d+|\D+", name)]
