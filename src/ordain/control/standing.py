"""What a name stands for within a cycle, over other names of the machine: the only place that says it."""

from ordain.control.registers import after_loads
from ordain.machine.expression import Leaf, Node, Terms
from ordain.machine.model import Register
from ordain.rom.contents import Contents


def stands_for(contents: Contents, leaf: Leaf) -> Node | None:
    """None: it stands for itself, since it is held, stored, comes from outside, or what it is is said nowhere; or it is
    a bus, of which `control.levels` knows what control knows, and `data` the values. Raises KeyError for an `at` or
    `in` that names no word."""
    machine, terms = contents.machine, contents.machine.terms
    match leaf.kind:
        case "at" | "in":
            store, addresses = (contents.labels if leaf.kind == "at" else contents.routines)[leaf.name]
            return terms.among(terms.leaf("address", store, machine.stores[store].address_width), addresses)
        case "address":
            return machine.stores[leaf.name].address
        case "field":
            field = machine.fields[leaf.name]
            word = terms.leaf("word", field.store, machine.stores[field.store].bits)
            bits = terms.slice(word, field.high, field.low)
            return terms.not_(bits) if field.active_low else bits
        case "condition":
            return machine.conditions[leaf.name].value
        case "register" if machine.registers[leaf.name].transparent:
            return shown(machine.registers[leaf.name], terms)
    return None


def shown(latch: Register, terms: Terms) -> Node:
    """A latch shows what it lets through while it is open, else what it holds."""
    return after_loads(latch, terms.leaf("state", f"{latch.name} held", latch.width), terms)
