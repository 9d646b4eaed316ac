"""The expressions of a system bit by bit, in any circuit: fields, words and addresses become tables of the contents."""

from collections.abc import Iterable
from typing import Generic

from ordain.control.model import System
from ordain.logic.gates import Bit, Circuit, evaluate
from ordain.machine.expression import Leaf, Node


class BitValues(Generic[Bit]):
    """`known`: the bits, highest first, of every leaf that is a variable or free; what is worked out is added."""

    def __init__(self, circuit: Circuit[Bit], system: System, known: dict[Node, list[Bit]]) -> None:
        self.circuit, self.known = circuit, known
        self._system = system
        self._columns: dict[tuple[str, int], int] = {}
        self._changed: dict[str, dict[int, dict[int, int]]] = {}

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
        bits = [self._shown(store, bit, address) for bit in range(high, low - 1, -1)]
        return [self.circuit.inverse(bit) for bit in bits] if inverted else bits

    def _shown(self, store: str, bit: int, address: list[Bit]) -> Bit:
        """One bit of the word at an address, of whichever machine is meant."""
        column, versions = self._column(store, bit), self._system.versions
        changed = self._changes(store).get(bit) if versions is not None else None
        if versions is None or not changed:
            return self.circuit.table(column, address)
        number, known = self.of(versions.leaf), dict[object, Bit]()

        def turned(some: tuple[tuple[int, int], ...], depth: int) -> Bit:
            """Whether it is turned. `some`: numbers of machines, and at which of the addresses that the first `depth`
            bits leave."""
            if depth == len(address):
                return self.circuit.table(sum(1 << machine for machine, _ in some), number)
            found = known.get((depth, some))
            if found is None:
                half = 1 << len(address) - depth - 1
                low = (1 << half) - 1
                found = known[depth, some] = self.circuit.choose(
                    address[depth],
                    turned(tuple([(machine, upper) for machine, where in some if (upper := where >> half)]), depth + 1),
                    turned(tuple([(machine, lower) for machine, where in some if (lower := where & low)]), depth + 1))
            return found

        return self.circuit.differ(self.circuit.table(column, address), turned(tuple(changed.items()), 0))

    def _changes(self, store: str) -> dict[int, dict[int, int]]:
        """Per bit, per number of a machine: the addresses at which the bit is turned, as the bits of a number."""
        found = self._changed.get(store)
        if found is None:
            assert self._system.versions is not None
            found = self._changed[store] = {}
            words = self._system.contents.words[store]
            for number, change in enumerate(self._system.versions.changes.get(store, ())):
                for address, word in change.items():
                    turned = word ^ words[address]
                    while turned:
                        bit = turned.bit_length() - 1
                        turned ^= 1 << bit
                        of_bit = found.setdefault(bit, {})
                        of_bit[number] = of_bit.get(number, 0) | 1 << address
        return found

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
