"""What a pointer takes that may be another in the next cycle: lines of a bus, an input, a register that is loaded.

The next address may be made of such lines, and a return address may hold them for long. Under their own name they would
be taken for what they are then; so they get a name of their own for as long as the pointer holds them.
"""

from collections.abc import Iterable

from ordain.compare.side import Side
from ordain.machine.expression import Const, Leaf, Node, Terms, leaves, substitute

Taken = tuple[tuple[Leaf, tuple[Leaf, ...]], ...]
"""Pointers, each with what it takes of this kind: it counts as done in the cycle in which it is taken."""


class Passing:
    """Over one side. `lasting`: leaves that keep their names. `mark` is put into names that must equal nothing of the
    other side."""

    def __init__(self, side: Side, terms: Terms, lasting: Iterable[Node], mark: str) -> None:
        self._terms, self._pointers, self._nexts = terms, side.sequencing.pointers, side.sequencing.nexts
        self._lasting, self._mark = frozenset(lasting), mark
        self._latches = {name for name, register in side.machine.registers.items() if register.transparent}
        self._fields = {terms.leaf("field", name, side.machine.fields[name].width): (number, *side.readers[name])
                        for number, store in enumerate(side.sequencing.control)
                        for name in side.machine.stores[store].fields}
        self._names: dict[tuple[Leaf, Leaf], Leaf] = {}
        self._plain: dict[Leaf, Leaf] = {}

    def taken(self, values: tuple[Node, ...], known: dict[Node, Node],
              words: tuple[int, ...]) -> tuple[tuple[Node, ...], Taken]:
        """The values of all pointers after a cycle under such names, and what was taken in it. `known`, `words`: of the
        place that acts."""
        if all(type(value) is Const for value in values):
            return values, ()
        renamed: list[Node] = []
        taken: list[tuple[Leaf, tuple[Leaf, ...]]] = []
        for pointer, value in zip(self._pointers, values):
            named = {leaf: self._name(pointer, leaf) for leaf in leaves((value,))
                     if leaf not in self._lasting and not self._stays(leaf, known, words)}
            renamed.append(self._under_names(pointer, value, named))
            anew = [leaf for leaf, name in named.items() if leaf is not name]
            if anew:
                taken.append((pointer, tuple(sorted(anew, key=lambda leaf: (leaf.kind, leaf.name)))))
        return tuple(renamed), tuple(taken)

    def kept(self, values: tuple[Node, ...]) -> tuple[Node, ...]:
        """The values of all pointers with no name in them of what may be another at any time."""
        return tuple([value if type(value) is Const else self._under_names(pointer, value, {
            leaf: self._name(pointer, leaf) for leaf in leaves((value,)) if leaf not in self._lasting})
            for pointer, value in zip(self._pointers, values)])

    def _name(self, pointer: Leaf, leaf: Leaf) -> Leaf:
        plain = self._plain.get(leaf, leaf)
        found = self._names.get((pointer, plain))
        if found is None:
            made = self._terms.leaf("free", f"{plain.name} when {pointer.name} took it", plain.width)
            assert type(made) is Leaf
            found = self._names[pointer, plain] = made
            self._plain[made] = plain
        return found

    def _under_names(self, pointer: Leaf, value: Node, named: dict[Leaf, Leaf]) -> Node:
        """Where what it held before and what it takes now would have one name, the value is unlike any of the other
        side."""
        if len(set(named.values())) < len(named):
            return self._terms.leaf("free", f"{pointer.name} of several cycles {self._mark}", pointer.width)
        return substitute(self._terms, (value,), dict(named.items()))[0] if named else value

    def _stays(self, leaf: Leaf, known: dict[Node, Node], words: tuple[int, ...]) -> bool:
        """Whether a state or register is surely what it was, after the cycle. A latch may show something else then."""
        following = self._nexts.get(leaf)
        if following is None or leaf.name in self._latches:
            return False
        known = dict(known)
        for field in leaves((following,)):
            if field in self._fields:
                store, low, mask, turn = self._fields[field]
                known[field] = self._terms.const(words[store] >> low & mask ^ turn, field.width)
        return substitute(self._terms, (following,), known)[0] is leaf
