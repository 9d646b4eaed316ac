"""One of the two builds, made ready for comparing: its terms in the common table, its fields cut out of its words."""

from typing import NamedTuple

from ordain.compare.translation import SAME_NAMES, Renames, translate
from ordain.control.sequencing import Sequencing, sequencing
from ordain.machine.expression import Const, If, Leaf, Node, Terms, leaves, substitute
from ordain.machine.model import Driver, Field, Machine, Sampler, Strobe
from ordain.rom.contents import Contents

WIDEST_CHOICE = 4
"""A pointer of so few bits counts something; a wider one that is not known holds a place, and places may move."""


class Side(NamedTuple):
    """`contents` over the common terms, under common names. `original`: as it came. `renamed`: common -> own name.

    `home`: the instruction boundary as a condition over pointers and conditions, or None.
    `readers`: per field (lowest bit, mask, bits to turn). `flags`: narrow data that control asks about and that words
    can give a value; what is known of them is remembered from word to word.
    """

    contents: Contents
    original: Contents
    sequencing: Sequencing
    home: Node | None
    readers: dict[str, tuple[int, int, int]]
    flags: tuple[Leaf, ...]

    @property
    def machine(self) -> Machine:
        return self.contents.machine


def make_side(contents: Contents, terms: Terms, renames: Renames = SAME_NAMES) -> Side:
    """Bring contents into the common terms. `at` and `in` become comparisons of the control address."""
    moved = _place_conditions(translate(contents, terms, renames), terms)
    home = moved.machine.home
    readers = {name: reader(field) for name, field in moved.machine.fields.items()}
    steps = sequencing(moved.machine, terms)
    return Side(moved, contents, steps, home, readers, _flags(moved.machine, steps))


def holds_place(side: Side, pointer: Leaf) -> bool:
    """True for a pointer whose values are places in a control store, which may move, and are not counted."""
    widths = [side.sequencing.stores[store].width for store in side.sequencing.control]
    return pointer.width > WIDEST_CHOICE or pointer.width >= min(widths)


def _flags(machine: Machine, steps: Sequencing) -> tuple[Leaf, ...]:
    """States and registers of few bits, neither places nor opcodes, that an address or the next place depends on, and
    whose next value a word can say."""
    placed = {*steps.pointers, *steps.opcodes}
    open_latches = {register.name for register in machine.registers.values() if register.transparent}
    asked = leaves([*steps.stores.values(), *(steps.nexts[pointer] for pointer in steps.pointers)])
    return tuple(leaf for leaf in steps.nexts
                 if leaf in asked and leaf not in placed and leaf.width <= WIDEST_CHOICE
                 and leaf.name not in open_latches and _can_be_given(steps.nexts[leaf]))


def _can_be_given(next_: Node) -> bool:
    """True when a word can say the value: as a field, or by choosing a number."""
    waiting, seen = [next_], {next_}
    while waiting:
        node = waiting.pop()
        if type(node) is Const or (type(node) is Leaf and node.kind in ("field", "word")):
            return True
        parts = node.args[1:] if type(node) is If else node.args
        fresh = [part for part in parts if part not in seen and (type(node) is If or part.width == node.width)]
        seen.update(fresh)
        waiting += fresh
    return False


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
