"""How the word of a mapping store stands in the address that it leads to: as the whole of it, or as some bits of it,
the others being wired to 0 or 1."""

from typing import NamedTuple

from ordain.machine.expression import Const, Join, Leaf, Node, postorder
from ordain.machine.model import Machine


class Mapped(NamedTuple):
    """The `bits` of the word are the bits `low` and up of an address; in it the bits `zeros` are 0 and `ones` are 1.
    `said` False: the file does not say so, it is only taken so."""

    bits: int
    low: int
    zeros: int
    ones: int
    said: bool

    def value(self, address: int) -> int | None:
        """The word that leads to an address; None when none does."""
        if address & self.zeros or address & self.ones != self.ones:
            return None
        return address >> self.low & (1 << self.bits) - 1


def mapped(machine: Machine, store: str, width: int) -> Mapped:
    """By where the word of `store` is joined with constants to an address of `width` bits: if that is everywhere one
    way, so. Else it is the address itself, its higher bits being 0."""
    bits = machine.stores[store].bits
    leaf = machine.terms.leaf("word", store, bits)
    read: list[Node] = [other.address for other in machine.stores.values()]
    read += [state.next for state in machine.states.values()]
    read += [load.source for register in machine.registers.values() for load in register.loads
             if load.source is not None]
    found = {_in_join(node, leaf) for node in postorder(read)
             if isinstance(node, Join) and node.width == width and leaf in node.args}
    whole = (1 << width) - 1
    only = next(iter(found)) if len(found) == 1 else None
    if only is None:
        return Mapped(bits, 0, whole & ~((1 << bits) - 1), 0, bits >= width)
    low, ones = only
    return Mapped(bits, low, whole & ~(((1 << bits) - 1) << low | ones), ones, True)


def _in_join(node: Join, leaf: Leaf | Node) -> tuple[int, int] | None:
    """Where the leaf begins in a join, and the bits of the join that are 1. What is below it and no constant, such as a
    counter that goes through the words of an instruction, is 0 at the first of them. None where something above it is
    no constant."""
    place = ones = 0
    low: int | None = None
    for part in reversed(node.args):
        if part is leaf:
            low = place
        elif isinstance(part, Const):
            ones |= part.value << place
        elif low is not None:
            return None
        place += part.width
    return None if low is None else (low, ones)
