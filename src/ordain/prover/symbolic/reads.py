"""Which bits the bits of an expression can depend on, without making diagrams of them.

An *atom* is one bit of a variable's or a free leaf; a set of atoms is held as the bits of an integer.
"""

from collections.abc import Sequence
from functools import cache

from ordain.control.bits import BitValues
from ordain.control.model import System
from ordain.machine.expression import Node


class Atoms:
    """The atoms of some leaves, numbered in the order given, in each leaf the lowest bit first."""

    def __init__(self, leaves: Sequence[Node]) -> None:
        self.leaves = tuple(leaves)
        self.first: dict[Node, int] = {}
        self.count = 0
        for leaf in leaves:
            self.first[leaf] = self.count
            self.count += leaf.width

    def of(self, leaf: Node) -> range:
        """The atoms of a leaf, lowest bit first."""
        return range(self.first[leaf], self.first[leaf] + leaf.width)

    def set_of(self, leaf: Node) -> int:
        """All atoms of a leaf, as a set."""
        return ((1 << leaf.width) - 1) << self.first[leaf]


def reading(system: System, atoms: Atoms) -> BitValues[int]:
    """For every bit of an expression the set of atoms that it can depend on."""
    return BitValues(_Reads(), system,
                     {leaf: [1 << atom for atom in reversed(atoms.of(leaf))] for leaf in atoms.leaves})


class _Reads:
    """A circuit whose bits are the sets of atoms that they depend on."""

    def __init__(self) -> None:
        self._needed: dict[tuple[int, int], int] = {}

    def constant(self, value: int) -> int:
        return 0

    def inverse(self, a: int) -> int:
        return a

    def both(self, a: int, b: int) -> int:
        return a | b

    either = differ = both

    def choose(self, condition: int, yes: int, no: int) -> int:
        return condition | yes | no

    def table(self, column: int, address: Sequence[int]) -> int:
        key = column, len(address)
        needed = self._needed.get(key)
        if needed is None:
            needed = self._needed[key] = _address_bits(column, len(address))
        found = 0
        for place, atoms in enumerate(reversed(address)):
            if needed >> place & 1:
                found |= atoms
        return found


def _address_bits(column: int, width: int) -> int:
    """The address bits, as the bits of a number, on which a column of a table depends."""
    return sum(1 << place for place, low in enumerate(_low_halves(width)) if (column ^ column >> (1 << place)) & low)


@cache
def _low_halves(width: int) -> tuple[int, ...]:
    """Per address bit the places of a column, as the bits of a number, whose address has a 0 there."""
    found = []
    for place in range(width):
        low = (1 << (1 << place)) - 1
        for more in range(place + 1, width):
            low |= low << (1 << more)
        found.append(low)
    return tuple(found)


def members(atoms: int) -> list[int]:
    """The atoms of a set, lowest first."""
    return [atom for atom, digit in enumerate(reversed(f"{atoms:b}")) if digit == "1"]
