"""Every single fault of the stores and of the chips that hold them.

Of each store that holds something placed, and of each computed one that stands in a chip: every bit of every word that
a chip holds, or every bit where no chip is said to hold the store; and every word erased. Of each chip what
`follow.faults` tries when a capture is to be explained: the list is the same.
"""

from collections.abc import Iterable, Iterator, Mapping

from ordain.faults.model import BoardFault, Fault, Kind
from ordain.machine.expression import Const, Node
from ordain.machine.model import Field, Machine, Store
from ordain.rom.contents import Contents, word_name


def bit_faults(contents: Contents) -> Iterator[Fault]:
    """Every bit of every word, by store, address and bit, the highest first."""
    lines = {name: _lines(contents.machine, name) for name in contents.machine.stores}
    for store, address in _words(contents):
        word, names = contents.words[store][address], _names(contents, store, address)
        at = _at(contents, store, address)
        for bit, line, known in lines[store]:
            yield Fault("bit", f"{at}: {line}", (*names, *known), {store: {address: word ^ 1 << bit}}, store, address,
                        bit)


def erased_faults(contents: Contents, blank: Mapping[str, int]) -> Iterator[Fault]:
    """Every word erased. `blank`: per store what erased cells read as; only bits that a chip holds count."""
    held = {name: held_bits(contents.machine, name) for name in contents.machine.stores}
    for store, address in _words(contents):
        word = contents.words[store][address]
        erased = word & ~held[store] | blank[store] & held[store]
        if erased != word:
            yield Fault("erased", f"{_at(contents, store, address)} erased", _names(contents, store, address),
                        {store: {address: erased}}, store, address)


def chip_faults(contents: Contents, found: Iterable[tuple[str, str, Mapping[str, tuple[int, ...]]]]) -> Iterator[Fault]:
    """Faults of whole chips, of their pins and between them. `found`: (kind, text, words of the stores that read
    otherwise), as `follow.faults` has them."""
    for kind, text, words in found:
        changes = {store: {address: word for address, (word, before) in enumerate(zip(after, contents.words[store]))
                           if word != before} for store, after in words.items()}
        chips = tuple(name for name in contents.machine.chips if name in text.replace(".", " ").split())
        yield Fault(_kind(kind), text, (*chips, *changes), changes)


def driver_faults(machine: Machine) -> Iterator[Fault]:
    """Every driver of a bus always on, and never on."""
    for bus in machine.buses.values():
        for number, driver in enumerate(bus.drivers):
            for level, said in ((1, "always drives"), (0, "never drives")):
                if type(driver.when) is not Const or driver.when.value != level:
                    yield Fault("driver", f"{driver.name} {said} {bus.name}", (driver.name, bus.name), {},
                                board=BoardFault(bus.name, number, level))


def synchroniser_faults(found: Iterable[tuple[str, tuple[tuple[Node, Node], ...]]]) -> Iterator[Fault]:
    """Every flip-flop left out that only delays a line. `found`: text, and what takes the place of what, as
    `follow.wiring` has them."""
    for text, inside in found:
        yield Fault("synchroniser", text, (text.split()[0],), {}, board=BoardFault(inside=inside))


def _kind(kind: str) -> Kind:
    match kind:
        case "pin" | "bridge" | "chip" | "exchange":
            return kind
        case _:
            raise ValueError(f"no fault of a chip is `{kind}`")


def _words(contents: Contents) -> Iterator[tuple[str, int]]:
    """The words that have faults: store and address."""
    held = {bank.store for chip in contents.machine.chips.values() for bank in chip.banks}
    for store in contents.machine.stores.values():
        if store.fill == "computed":
            yield from ((store.name, address) for address in range(store.words) if store.name in held)
        else:
            yield from ((store.name, address) for address in sorted(contents.sites.get(store.name, {})))


def _at(contents: Contents, store: str, address: int) -> str:
    digits = -(-contents.machine.stores[store].address_width // 4)
    name = word_name(contents, store, address)
    return f"{name} at {store} {address:0{digits}X}" if name else f"{store} {address:0{digits}X}"


def _names(contents: Contents, store: str, address: int) -> tuple[str, ...]:
    site = contents.sites.get(store, {}).get(address)
    known = () if site is None else (site.owner, site.name)
    return tuple(dict.fromkeys(name for name in (store, *known) if name))


def _field(machine: Machine, store: str, bit: int) -> Field | None:
    return next((machine.fields[name] for name in machine.stores[store].fields
                 if machine.fields[name].low <= bit <= machine.fields[name].high), None)


def _line(store: Store, field: Field | None, bit: int) -> str:
    if not store.fields:
        return f"{store.name}[{bit}]" if store.bits > 1 else store.name
    if field is None or field.holds == "spare":
        return f"spare bit {bit}"
    return field.name if field.width == 1 else f"{field.name}[{bit - field.low}]"


def held_bits(machine: Machine, store: str) -> int:
    """The bits of a store's words that a chip holds."""
    return sum(1 << bit for bit in {pin.bit for chip in machine.chips.values() for bank in chip.banks
                                    if bank.store == store for pin in bank.pins if pin.bit is not None})


def _lines(machine: Machine, store: str) -> list[tuple[int, str, tuple[str, ...]]]:
    """The bits that can be wrong, the highest first: number, what it is called, by what it can be chosen."""
    held, found = held_bits(machine, store), []
    for bit in range(machine.stores[store].bits - 1, -1, -1):
        if not held or held >> bit & 1:
            field, pins = _field(machine, store, bit), _pins(machine, store, bit)
            line = _line(machine.stores[store], field, bit) + (f" ({', '.join(pins)})" if pins else "")
            found.append((bit, line, (*([field.name] if field else []), *(one.partition(".")[0] for one in pins))))
    return found


def _pins(machine: Machine, store: str, bit: int) -> list[str]:
    """The data pins that give a bit of a store's word: chip and number."""
    return [f"{chip.name}.D{len(bank.pins) - 1 - place}" for chip in machine.chips.values() for bank in chip.banks
            if bank.store == store for place, pin in enumerate(bank.pins) if pin.bit == bit and not bank.repeats]
