"""Where the hardware can send control from a word by an address that it makes of the one that is presented.

A word so many addresses further has to be the one so many lines below in the text. That it is was seen to where the
machine counts in a way that is understood (`stepping`). Here the next address is worked out for every place, however it
is made, and what stands there is looked at. It shares nothing with `stepping` but the machine's expressions.
"""

from collections.abc import Collection, Mapping, Sequence
from functools import reduce
from itertools import accumulate
from operator import or_

from ordain.machine.expression import Add, Const, Join, Leaf, Node, leaves, substitute
from ordain.machine.leads import value_leaves
from ordain.microprogram.ahead import Ahead, may_be, parts
from ordain.microprogram.model import Body, Microinstruction, Program
from ordain.microprogram.tables import address_columns, numbers, work_out

_MOST_FREE_BITS = 8
"""Of an address that hangs on more lines nothing is said."""


class Neighbours:
    """`placed`: the word at each address, by store."""

    def __init__(self, ahead: Ahead, program: Program, addresses: Sequence[tuple[int, ...]],
                 placed: Mapping[str, Mapping[int, int]]) -> None:
        self.ahead, self.terms = ahead, ahead.terms
        self.program, self.addresses, self.placed = program, addresses, placed
        self._seen: dict[tuple[str, int], tuple[tuple[Node, ...], tuple[Node, ...]]] = {}
        self._next: dict[str, tuple[Node, frozenset[Node], int, tuple[Leaf, ...]]] = {}

    def unlike(self, index: int, body: Body, address: int, bits: int, meant: Collection[int]) -> set[int]:
        """The addresses of words of the same store to which control can go on from a word at an address, though these
        are not so many words below it. `bits`: the word as it stands there. `meant`: addresses that are meant by all,
        but where no line decides and the word below is another one."""
        word = self.program.words[index]
        placed, known = self.placed[word.store], self._place(word.store, address)
        found: set[int] = set()
        ways, others = self._ways(word, bits)
        for way in ways:
            [left] = substitute(self.terms, (way,), known)
            counted = bool(word.goes_on) and type(way) is Add and type(left) is Const   # the build has seen to it
            for there in _possible(left):
                own = self._below(index, body, address, there)
                right = any(there in self.addresses[one] for one in own) or (
                    there in meant and not (own and type(left) is Const)) or (
                    counted and not own and any(may_be(other, there) for other in others))
                if there != address and there in placed and not right:
                    found.add(there)
        return found

    def _below(self, index: int, body: Body, address: int, there: int) -> list[int]:
        """The words of the body that are so many words below one as an address is behind its own, round the store."""
        words = self.ahead.machine.stores[body.store].words
        further = (there - address, there - address + words, there - address - words)
        return [index + one for one in further if body.first <= index + one < body.end]

    def _ways(self, word: Microinstruction, bits: int) -> tuple[tuple[Node, ...], tuple[Node, ...]]:
        """What the next address may be, where it is made of this one, and no field of the word is put to it; and what
        else it may be."""
        node, own, said, deciding = self._following(word.store)
        key = word.store, bits & said
        if key not in self._seen:
            fields = self.ahead.machine.fields
            [left] = substitute(self.terms, (node,), {
                leaf: self.terms.const(fields[leaf.name].read(bits), leaf.width) for leaf in deciding})
            every = self.ahead.ways(left)
            made = tuple(way for way in every if way not in own
                         and not own.isdisjoint(read := value_leaves(way))
                         and not any(leaf.kind in ("field", "word") for leaf in read)
                         and self.ahead.of_other_words.isdisjoint(read))
            self._seen[key] = made, tuple(way for way in every if way not in made)
        return self._seen[key]

    def _following(self, store: str) -> tuple[Node, frozenset[Node], int, tuple[Leaf, ...]]:
        """The next address over the present one; what that is made of, as leaves; the bits by which a word decides over
        it, and their fields."""
        if store not in self._next:
            place, node = self.ahead.addresses(store, 1)
            chosen = self._chosen(place)
            [node] = substitute(self.terms, (node,), chosen)
            forming = self.ahead.forming(node)
            deciding = tuple(leaf for leaf in self.ahead.decided(store, node)
                             if leaf.kind == "field" and leaf not in forming)
            said = reduce(or_, (self.ahead.machine.fields[leaf.name].mask for leaf in deciding), 0)
            self._next[store] = node, frozenset((*self.ahead.place(store, 0), *chosen.values())), said, deciding
        return self._next[store]

    def _chosen(self, place: Node) -> dict[Node, Node]:
        """The parts of an address that are more than lines of a state or register, each with a leaf for it."""
        return {part: self.terms.leaf("free", f"presented {number}", part.width)
                for number, part in enumerate(place.args if type(place) is Join else (place,))
                if not parts(self.terms, part, 0) and type(part) is not Const}

    def _place(self, store: str, address: int) -> dict[Node, Node]:
        place = self.ahead.addresses(store, 0)[0]
        found, low = self.ahead.place(store, address), place.width
        chosen = self._chosen(place)
        for part in place.args if type(place) is Join else (place,):
            low -= part.width
            if part in chosen:
                found[chosen[part]] = self.terms.const(address >> low & (1 << part.width) - 1, part.width)
        return found


def _possible(node: Node) -> set[int]:
    """The values that a term may have; none where it hangs on too much."""
    if type(node) is Const:
        return {node.value}
    read = leaves((node,))
    width = sum(leaf.width for leaf in read)
    if width > _MOST_FREE_BITS:
        return set()
    columns = address_columns(width)
    lines = {leaf: columns[at:at + leaf.width]
             for at, leaf in zip(accumulate((leaf.width for leaf in read), initial=0), read)}
    return set(numbers(work_out(node, lines, (1 << (1 << width)) - 1), 1 << width))
