"""Everything that can be said about a word: the machine's orders and transfers, with the field values that they set.

Made for reading words, the other way round from the compiler: an order inside an order is opened, a name becomes the
number that it stands for, and what the writer fills in stays open.
"""

from collections.abc import Mapping
from typing import Literal, NamedTuple, TypeAlias

from ordain.language import tree
from ordain.machine.expression import Among, And, Leaf, Node, Not
from ordain.machine.model import Bus, Field, Machine, Order


class Name(NamedTuple):
    """A hole `<text>` of the phrase, or a label."""

    text: str
    hole: bool


class AddressBlock(NamedTuple):
    """What an address field holds: the address of the first of these; the others stand at the following addresses.
    `rest`: what the address bits are that the fields with these parts do not hold."""

    parts: tuple[Name | int, ...]
    rest: tree.Rest


class NumberBits(NamedTuple):
    """Bits of the number that fills the hole `text`, from bit `low` up."""

    text: str
    low: int


Value: TypeAlias = int | Name | NumberBits | AddressBlock | Literal["following"]


class StoredPhrase(NamedTuple):
    """`words` make the text, holes among them. `sets`: (field, value). `needs`: (field, codes of which it must have
    one) for what the phrase does not set, but must find so."""

    words: tuple[str | Name, ...]
    sets: tuple[tuple[str, Value], ...]
    needs: tuple[tuple[str, frozenset[int]], ...] = ()


def phrases_for(machine: Machine, store: str) -> list[StoredPhrase]:
    """Everything that can be said about a word of the store: orders in the order of the text, then transfers."""
    own = {name for name in machine.stores[store].fields if machine.fields[name].holds not in ("spare", "derived")}
    by_key = {_key(order): order for order in machine.orders}
    orders = []
    for order in machine.orders:
        sets = _order_sets(order, by_key, machine)
        words = tuple(part.text if isinstance(part, tree.Word) else Name(part.name, True) for part in order.phrase)
        orders.append(StoredPhrase(words, tuple(sets)))
    return [phrase for phrase in orders + _transfers(machine)
            if phrase.sets and own.issuperset(field for field, _ in (*phrase.sets, *phrase.needs))]


# ---------------------------------------------------------------- orders


def _key(order: Order) -> tuple[str, ...]:
    return tuple(part.text if isinstance(part, tree.Word) else "<>" for part in order.phrase)


def _order_sets(order: Order, by_key: Mapping[tuple[str, ...], Order], machine: Machine) -> list[tuple[str, Value]]:
    """What an order sets, orders inside it opened; [] when something in it cannot be read backwards."""
    sets: list[tuple[str, Value]] = []
    pending: list[tuple[tree.Setting, dict[str, Name | int]]] = [(part, {}) for part in reversed(order.settings)]
    while pending:
        setting, filled = pending.pop()
        field = machine.fields.get(setting.field.text)
        if field is not None:
            value = _value(setting.value, field, filled, machine)
            if value is None:
                return []
            sets.append((field.name, value))
            continue
        if isinstance(setting.value, tree.Address | tree.Cut):
            return []
        inner, fill = _inner(setting.field.text, setting.value, by_key, filled)
        pending += [(part, fill) for part in reversed(inner.settings)]
    return sets


def _inner(name: str, value: tree.Word | tree.Hole | tree.Number | None, by_key: Mapping[tuple[str, ...], Order],
           filled: Mapping[str, Name | int]) -> tuple[Order, dict[str, Name | int]]:
    """The order that is named inside another, and what fills its hole."""
    if value is None:
        return by_key[name,], {}
    if isinstance(value, tree.Word) and (name, value.text) in by_key:
        return by_key[name, value.text], {}
    order = by_key[name, "<>"]
    hole = next(part.name for part in order.phrase if isinstance(part, tree.Hole))
    return order, {hole: _part(value, filled)}


def _part(value: tree.Word | tree.Hole | tree.Number, filled: Mapping[str, Name | int]) -> Name | int:
    match value:
        case tree.Number(value=number):
            return number
        case tree.Word(text=text):
            return Name(text, False)
        case tree.Hole(name=name):
            return filled.get(name, Name(name, True))


def _value(value: "tree.Word | tree.Number | tree.Hole | tree.Cut | tree.Address | None", field: Field,
           filled: Mapping[str, Name | int], machine: Machine) -> Value | None:
    if value is None:
        return 1
    if isinstance(value, tree.Address):
        if value.kind == "following":
            return "following"
        return AddressBlock(tuple(_part(label, filled) for label in value.labels), value.rest)
    if isinstance(value, tree.Cut):
        cut = filled.get(value.hole.name, Name(value.hole.name, True))
        if isinstance(cut, int):
            return cut >> value.low & (1 << field.width) - 1
        return NumberBits(cut.text, value.low) if cut.hole else _cut_constant(cut.text, value, machine)
    part = _part(value, filled)
    if field.holds == "address":
        return AddressBlock((part,), "zeros")
    if isinstance(part, int) or part.hole:
        return part
    code = next((code.value for code in field.codes if code.name == part.text), None)
    return code if code is not None else machine.constants.get(part.text)


def _cut_constant(name: str, cut: tree.Cut, machine: Machine) -> int | None:
    number = machine.constants.get(name)
    return None if number is None else number >> cut.low & (2 << cut.high - cut.low) - 1


# ---------------------------------------------------------------- transfers


def _transfers(machine: Machine) -> list[StoredPhrase]:
    """`a <- b` for every driver and sampler of a bus whose conditions the word decides."""
    found: list[tuple[str, str, str, StoredPhrase]] = []
    for bus in machine.buses.values():
        for driver, sampler, demands in _meetings(bus, machine):
            sets = tuple((field, min(codes)) for field, codes in demands.items() if len(codes) == 1)
            needs = tuple((field, codes) for field, codes in demands.items() if len(codes) > 1)
            found.append((sampler, driver, bus.name, StoredPhrase((sampler, "<-", driver), sets, needs)))
    pairs = [(sampler, driver) for sampler, driver, _, _ in found]
    return [phrase if pairs.count((sampler, driver)) == 1 else phrase._replace(words=(*phrase.words, "via", bus))
            for sampler, driver, bus, phrase in found]


def _meetings(bus: Bus, machine: Machine) -> list[tuple[str, str, dict[str, frozenset[int]]]]:
    meetings = []
    for driver in bus.drivers:
        drives = _demands(driver.when, machine)
        for sampler in bus.samplers:
            takes = _demands(sampler.when, machine)
            if drives is None or takes is None or driver.name == sampler.name:
                continue
            both = {field: drives.get(field, codes) & takes.get(field, codes)
                    for field, codes in {**drives, **takes}.items()}
            if all(both.values()):
                meetings.append((driver.name, sampler.name, both))
    return meetings


def _demands(when: Node, machine: Machine) -> dict[str, frozenset[int]] | None:
    """The field values that a condition asks for, parts that are no fields left out; None when the word has no say."""
    demands: dict[str, frozenset[int]] = {}
    parts = when.args if type(when) is And else (when,)
    for part in parts:
        asked = _asked(part, machine)
        if asked is not None:
            field, codes = asked
            demands[field] = demands.get(field, codes) & codes
    always = not when.args and type(when) is not Leaf
    return demands if demands or always else None


def _asked(part: Node, machine: Machine) -> tuple[str, frozenset[int]] | None:
    turned = False
    if type(part) is Not:
        part, turned = part.args[0], True
    match part:
        case Leaf(kind="field", width=1):
            return part.name, frozenset((0 if turned else 1,))
        case Among(values=values) if type(part.args[0]) is Leaf and part.args[0].kind == "field":
            name = part.args[0].name
            every = range(1 << part.args[0].width) if part.args[0].width <= 12 else ()
            return name, frozenset(every) - values if turned else values
        case _:
            return None
