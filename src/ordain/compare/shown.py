"""What stores other than control stores show, as a term, at an address of which not every line is known.

A decoder's word is a function of the lines that stay open: it is written out over just these. A store that reads alike
on both sides and has too many open lines for that shows equal words at equal addresses; any other shows, there,
something unlike everything else.
"""

from copy import copy

from ordain.compare.equal_terms import EqualTerms
from ordain.compare.side import Side
from ordain.machine.expression import Const, Leaf, Node, Terms, leaves, substitute
from ordain.machine.model import Machine
from ordain.rom.contents import Contents

WRITTEN_OUT = 10
"""Open address lines of a store that reads alike on both sides, up to which its words are written out all the same."""

WIDEST_TABLE = 14
"""Open address lines up to which any store's words are written out."""

Numbers = dict[tuple[str, Node], int]
"""(store, the first address that is equal) -> number, for both sides."""


class Shown:
    """The stores of one side that hold no microprogram, in an order in which each is formed from words of earlier ones.

    `read_alike`: stores that read alike on both sides. `mark` is put into names that must equal nothing of the other
    side.
    """

    def __init__(self, side: Side, terms: Terms, equal_terms: EqualTerms, read_alike: frozenset[str], mark: str,
                 numbers: Numbers) -> None:
        self._terms, self._equal_terms, self._read_alike, self.mark = terms, equal_terms, read_alike, mark
        self._numbers = numbers
        self._machine, self._words, self._readers = side.machine, side.contents.words, side.readers
        self._memo: dict[tuple[Leaf, Node], Node] = {}
        self.addresses = {name: address for name, address in side.sequencing.stores.items()
                          if name not in side.sequencing.control}
        self._store_of: dict[Leaf, str] = {}
        for name in self.addresses:
            store = side.machine.stores[name]
            parts = [terms.leaf("word", name, store.bits)]
            parts += [terms.leaf("field", field, side.machine.fields[field].width) for field in store.fields]
            self._store_of.update({leaf: name for leaf in parts if type(leaf) is Leaf})

    def read_by(self, roots: tuple[Node, ...]) -> tuple[tuple[Node, tuple[Leaf, ...]], ...]:
        """The address of every store that the terms read, through one another too, each after those that it is formed
        from, with the leaves of it that are read."""
        wanted: dict[str, dict[Leaf, None]] = {}
        for name in reversed(self.addresses):
            for leaf in leaves((*roots, *(self.addresses[later] for later in wanted))):
                if self._store_of.get(leaf) == name:
                    wanted.setdefault(name, {})[leaf] = None
        return tuple((self.addresses[name], tuple(wanted[name])) for name in self.addresses if name in wanted)

    def store_of(self, leaf: Leaf) -> str:
        return self._store_of[leaf]

    def holding(self, contents: Contents, apart: str) -> "Shown":
        """The same machine with other words in one store, which then no longer reads alike on both sides."""
        other = copy(self)
        other._words, other._read_alike, other._memo = contents.words, self._read_alike - {apart}, {}
        return other

    def complete(self, known: dict[Node, Node], stores: tuple[tuple[Node, tuple[Leaf, ...]], ...]) -> None:
        """Add to what is known what these stores (of `read_by`) show then."""
        for address, wanted in stores:
            formed = substitute(self._terms, (address,), known)[0]
            for leaf in wanted:
                known[leaf] = self.at(leaf, formed)

    def at(self, leaf: Leaf, address: Node) -> Node:
        """What a word or field leaf of a store is at an address."""
        found = self._memo.get((leaf, address))
        if found is None:
            found = self._memo[leaf, address] = self._written(leaf, address)
        return found

    def _written(self, leaf: Leaf, address: Node) -> Node:
        terms, name = self._terms, self._store_of[leaf]
        lines = [terms.slice(address, bit, bit) for bit in range(address.width)]
        still_open = [(1 << bit, line) for bit, line in enumerate(lines) if type(line) is not Const]
        if len(still_open) > (WRITTEN_OUT if name in self._read_alike else WIDEST_TABLE):
            if name not in self._read_alike:
                return terms.leaf("free", f"{leaf.name} {self.mark}", leaf.width)
            number = self._numbers.setdefault((name, self._equal_terms.first(address)), len(self._numbers))
            return terms.leaf("free", f"{leaf.name} at {number}", leaf.width)
        low, mask, turn = (0, -1, 0) if leaf.kind == "word" else self._readers[leaf.name]
        words = self._words[name]
        base = sum(line.value << bit for bit, line in enumerate(lines) if type(line) is Const)
        row = [base]
        for weight, _ in still_open:
            row += [at + weight for at in row]
        shown: list[Node] = [terms.const(words[at] >> low & mask ^ turn, leaf.width) for at in row]
        for _, line in still_open:
            shown = [terms.if_(line, shown[at + 1], shown[at]) for at in range(0, len(shown), 2)]
        return shown[0]


def read_alike(old: Side, new: Side) -> frozenset[str]:
    """The stores that hold no microprogram and hold the same in the same fields, on both sides."""
    ours, theirs = old.machine, new.machine
    return frozenset(
        name for name in ours.stores
        if name in theirs.stores and name not in old.sequencing.control
        and old.contents.words[name] == new.contents.words[name] and _layout(ours, name) == _layout(theirs, name))


def _layout(machine: Machine, store: str) -> list[tuple[str, int, int, bool]]:
    fields = (machine.fields[name] for name in machine.stores[store].fields)
    return [(field.name, field.high, field.low, field.active_low) for field in fields]
