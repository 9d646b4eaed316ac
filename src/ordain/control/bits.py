"""The expressions of a system bit by bit, in any circuit: fields, words and addresses become tables of the contents."""

from collections.abc import Iterable
from typing import Generic

from ordain.control.model import System
from ordain.logic.gates import Bit, Circuit, evaluate
from ordain.machine.expression import Leaf, Node


class Bits(Generic[Bit]):
    """`known`: the bits, highest first, of every leaf that is a variable or free; what is worked out is added."""

    def __init__(self, circuit: Circuit[Bit], system: System, known: dict[Node, list[Bit]]) -> None:
        self.circuit, self.known = circuit, known
        self._system = system
        self._columns: dict[tuple[str, int], int] = {}

    def of(self, node: Node) -> list[Bit]:
        """The bits of an expression, highest first."""
        found = self.known.get(node)
        if found is None:
            evaluate(self.circuit, (node,), self._leaf, self.known)
            found = self.known[node]
        return found

    def every(self, nodes: Iterable[Node]) -> list[list[Bit]]:
        return [self.of(node) for node in nodes]

    def _leaf(self, leaf: Leaf) -> list[Bit]:
        store = store_of(self._system, leaf)
        if store is None:
            raise ValueError(f"`{leaf.kind} {leaf.name}` is neither a variable nor free")
        address = self.of(self._system.addresses[store])
        if leaf.kind == "address":
            return address
        high, low, inverted = leaf.width - 1, 0, False
        if leaf.kind == "field":
            field = self._system.contents.machine.fields[leaf.name]
            high, low, inverted = field.high, field.low, field.active_low
        bits = [self.circuit.table(self._column(store, bit), address) for bit in range(high, low - 1, -1)]
        return [self.circuit.inverse(bit) for bit in bits] if inverted else bits

    def _column(self, store: str, bit: int) -> int:
        """One bit of every word, the word at address 0 lowest."""
        column = self._columns.get((store, bit))
        if column is None:
            mask = 1 << bit
            digits = "".join(["1" if word & mask else "0" for word in reversed(self._system.contents.words[store])])
            column = self._columns[store, bit] = int(digits, 2)
        return column


def store_of(system: System, leaf: Leaf) -> str | None:
    """The store that gives a leaf its value."""
    if leaf.kind == "field":
        return system.contents.machine.fields[leaf.name].store
    return leaf.name if leaf.kind in ("word", "address") else None
