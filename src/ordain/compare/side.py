"""One of the two builds, made ready for comparing: its terms in the common table, its fields cut out of its words."""

from typing import NamedTuple

from ordain.compare.translation import SAME_NAMES, Renames, translate
from ordain.control.sequencing import Sequencing, sequencing
from ordain.machine.expression import Leaf, Node, Terms, leaves, substitute
from ordain.machine.model import Driver, Field, Machine, Sampler, Strobe
from ordain.rom.contents import Contents

WIDEST_TABLE = 14
"""Address bits of a store whose words are still written out as a term."""


class Side(NamedTuple):
    """`contents` over the common terms, under common names. `original`: as it came. `renamed`: common -> own name.

    `home`: the instruction boundary as a condition over pointers and conditions, or None.
    `readers`: per field (lowest bit, mask, bits to turn).
    """

    contents: Contents
    original: Contents
    sequencing: Sequencing
    home: Node | None
    readers: dict[str, tuple[int, int, int]]

    @property
    def machine(self) -> Machine:
        return self.contents.machine


def make_side(contents: Contents, terms: Terms, renames: Renames = SAME_NAMES) -> Side:
    """Bring contents into the common terms. `at` and `in` become comparisons of the control address."""
    moved = _place_conditions(translate(contents, terms, renames), terms)
    home = moved.machine.home
    readers = {name: reader(field) for name, field in moved.machine.fields.items()}
    return Side(moved, contents, sequencing(moved.machine, terms), home, readers)


def reader(field: Field) -> tuple[int, int, int]:
    """How the asserted value of a field is got out of a stored word: `word >> low & mask ^ turn`."""
    mask = (1 << field.width) - 1
    return field.low, mask, mask if field.active_low else 0


def _place_conditions(contents: Contents, terms: Terms) -> Contents:
    """`at` and `in` leaves replaced in everything that says what the hardware does."""
    machine = contents.machine
    values: dict[Node, Node] = {}
    for kind, places in (("at", contents.labels), ("in", contents.routines)):
        for name, (store, addresses) in places.items():
            leaf = terms.leaf("at" if kind == "at" else "in", name, 1)
            values[leaf] = terms.among(machine.stores[store].address, addresses)
    if not any(type(node) is Leaf and node.kind in ("at", "in") for node in _all_terms(machine)):
        return contents

    def placed(node: Node) -> Node:
        return substitute(terms, (node,), values)[0]

    def placed_or_none(node: Node | None) -> Node | None:
        return None if node is None else placed(node)

    def driver(item: Driver) -> Driver:
        return item._replace(when=placed(item.when))

    def sampler(item: Sampler) -> Sampler:
        return item._replace(when=placed(item.when))

    def strobe(item: Strobe) -> Strobe:
        return item._replace(active=placed(item.active))

    states = {name: state._replace(next=placed(state.next)) for name, state in machine.states.items()}
    registers = {
        name: register._replace(loads=tuple(load._replace(source=placed_or_none(load.source), when=placed(load.when))
                                            for load in register.loads))
        for name, register in machine.registers.items()}
    buses = {name: bus._replace(drivers=tuple(driver(item) for item in bus.drivers),
                                samplers=tuple(sampler(item) for item in bus.samplers))
             for name, bus in machine.buses.items()}
    return contents._replace(machine=machine._replace(
        states=states, registers=registers, buses=buses, home=placed_or_none(machine.home),
        strobes=tuple(strobe(item) for item in machine.strobes)))


def _all_terms(machine: Machine) -> list[Leaf]:
    roots: list[Node] = [state.next for state in machine.states.values()]
    for register in machine.registers.values():
        for load in register.loads:
            roots += [load.when] if load.source is None else [load.when, load.source]
    for bus in machine.buses.values():
        roots += [item.when for item in bus.drivers]
        roots += [item.when for item in bus.samplers]
    roots += [strobe.active for strobe in machine.strobes]
    if machine.home is not None:
        roots.append(machine.home)
    return leaves(roots)


def store_tables(terms: Terms, side: Side, stores: list[str], mark: str) -> dict[Node, Node]:
    """word and field leaves of stores -> their words as terms over their address.

    A store too large to write out gets a leaf named with `mark`: it equals nothing of the other side.
    """
    found: dict[Node, Node] = {}
    machine = side.machine
    for name in stores:
        store = machine.stores[name]
        word = table_term(terms, store.address, side.contents.words[name], store.bits)
        if word is None:
            word = terms.leaf("word", f"{name} {mark}", store.bits)
        found[terms.leaf("word", name, store.bits)] = word
        for field_name in store.fields:
            field = machine.fields[field_name]
            part = terms.slice(word, field.high, field.low)
            found[terms.leaf("field", field_name, field.width)] = terms.not_(part) if field.active_low else part
    return found


def table_term(terms: Terms, address: Node, words: tuple[int, ...], bits: int) -> Node | None:
    """What a store holds at `address`, as a term; None where the store is too large to write out."""
    if address.width > WIDEST_TABLE:
        return None
    row: list[Node] = [terms.const(word, bits) for word in words]
    for bit in range(address.width):
        line = terms.slice(address, bit, bit)
        row = [terms.if_(line, row[at + 1], row[at]) for at in range(0, len(row), 2)]
    return row[0]
