"""What is done at a place of control, as a number: equal numbers, equal doings, on either side."""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.compare.effects import Agreed, Meaning, Meanings
from ordain.compare.orders import Orders
from ordain.compare.passing import Taken
from ordain.compare.places import ControlPlace
from ordain.compare.shown import Shown
from ordain.compare.side import Side
from ordain.machine.expression import Leaf, Node, Terms, leaves, substitute
from ordain.rom.contents import Contents

Doings = dict[tuple[object, ...], int]
"""Numbers of what is done, shared by both sides."""


Known = tuple[int, tuple[int, ...], tuple[Node, ...]]
"""Bundle, what words say, what else is known."""

Evaluated = dict[Known, tuple[tuple[Meaning, ...], frozenset[Leaf]]]
"""What it means then, and what it asks about."""

NOTHING: frozenset[Leaf] = frozenset()

BECOMES = ("loads", "steps")
"""What is said of a register or state itself; a strobe may be called as it is, too, and asks what it is."""


class Bundle(NamedTuple):
    """Effects that read the same leaves of the control words and the same data: evaluated together, once a value.

    `numbers`: which effects of `Agreed`. `own`: the leaf that they are about, or None: what it becomes is said in terms
    of what it was, whether that is known or not. `fields`: (leaf, number of the store, lowest bit, mask, bits to turn).
    `others`: pointers, opcodes, flags. `stores`: the other stores that are read, as `Shown.read_by` has
    them."""

    numbers: tuple[int, ...]
    terms: tuple[Node, ...]
    own: Node | None
    fields: tuple[tuple[Node, int, int, int, int], ...]
    others: tuple[Node, ...]
    stores: tuple[tuple[Node, tuple[Leaf, ...]], ...]


class Observer:
    """Places of one side -> numbers. `agreed.terms[mine]` are its effects."""

    def __init__(self, side: Side, terms: Terms, agreed: Agreed, mine: int, meanings: Meanings, shown: Shown,
                 orders: Orders, doings: Doings) -> None:
        self._terms, self._meanings, self._orders, self._doings = terms, meanings, orders, doings
        self._shown = shown
        self._stores = {store: number for number, store in enumerate(side.sequencing.control)}
        self._open = {store: {address: site.open for address, site in side.contents.sites.get(store, {}).items()}
                      for store in self._stores}
        wanted = [number for number, effect in enumerate(agreed.effects) if not effect.covered]
        self._bundles = _bundles(side, terms, agreed, mine, shown, wanted)
        bundled = [number for bundle in self._bundles for number in bundle.numbers]
        self._in_order_of_effects = sorted(range(len(bundled)), key=bundled.__getitem__)
        self._memo: Evaluated = {}

    def at(self, place: ControlPlace) -> tuple[int, frozenset[Leaf]]:
        """The number of what is done, and the pointers and opcodes that it depends on."""
        ordered = self._orders.of([(store, place.words[self._stores[store]], self._open[store].get(address, 0))
                                   for store, address in place.addresses])
        asks = NOTHING
        meant: list[Meaning] = []
        for number, bundle in enumerate(self._bundles):
            meaning, bundle_asks = self._evaluated(number, bundle, place)
            meant += meaning
            asks |= bundle_asks
        # The sides may bundle otherwise: one meaning is held against another by the effect that it is of.
        key = (ordered, tuple([meant[at] for at in self._in_order_of_effects]))
        return self._doings.setdefault(key, len(self._doings)), asks

    def taking(self, does: int, taken: Taken) -> int:
        """The number of what is done where pointers take what may be another in the next cycle, as well."""
        return self._doings.setdefault((does, taken), len(self._doings)) if taken else does

    def _evaluated(self, number: int, bundle: Bundle, place: ControlPlace) -> tuple[tuple[Meaning, ...],
                                                                                    frozenset[Leaf]]:
        values = tuple([place.words[store] >> low & mask ^ turn for _, store, low, mask, turn in bundle.fields])
        others = tuple([place.known.get(leaf, leaf) for leaf in bundle.others])
        key = (number, values, others)
        found = self._memo.get(key)
        if found is None:
            found = self._memo[key] = self._meant(bundle, values, others, self._shown)
        return found

    def _meant(self, bundle: Bundle, values: tuple[int, ...], others: tuple[Node, ...],
               shown: Shown) -> tuple[tuple[Meaning, ...], frozenset[Leaf]]:
        known: dict[Node, Node] = dict(zip(bundle.others, others))
        for (leaf, *_), value in zip(bundle.fields, values):
            known[leaf] = self._terms.const(value, leaf.width)
        shown.complete(known, bundle.stores)
        terms = substitute(self._terms, bundle.terms, known)
        meanings = [self._meanings.of(term) for term in terms]
        asks = NOTHING.union(*(asked for _, asked in meanings)).difference((bundle.own,))
        return tuple(meaning for meaning, _ in meanings), asks

    def reads(self, store: str) -> bool:
        """Whether some effect reads a store other than the control stores."""
        return any(self._shows(bundle, store) for bundle in self._bundles)

    @property
    def evaluated(self) -> tuple[Known, ...]:
        """The effects that were evaluated so far, and with what."""
        return tuple(self._memo)

    def with_other_words(self, store: str, contents: Contents, evaluated: Iterable[Known]) -> Evaluated:
        """What effects that read a store which holds no microprogram mean with other words in it."""
        shown = self._shown.holding(contents, store)
        return {(number, values, others): self._meant(self._bundles[number], values, others, shown)
                for number, values, others in evaluated if self._shows(self._bundles[number], store)}

    def _shows(self, bundle: Bundle, store: str) -> bool:
        return any(self._shown.store_of(leaf) == store for _, wanted in bundle.stores for leaf in wanted)

    def one_by_one(self, place: ControlPlace) -> dict[int, Meaning]:
        """Every effect that was evaluated at a place, by its number in `Agreed`."""
        result: dict[int, Meaning] = {}
        for number, bundle in enumerate(self._bundles):
            result.update(zip(bundle.numbers, self._evaluated(number, bundle, place)[0]))
        return result


def _bundles(side: Side, terms: Terms, agreed: Agreed, mine: int, shown: Shown,
             wanted: list[int]) -> tuple[Bundle, ...]:
    effects = agreed.terms[mine]
    stores = {store: number for number, store in enumerate(side.sequencing.control)}
    parts: dict[Node, tuple[Node, int, int, int, int]] = {}
    for store, number in stores.items():
        word = terms.leaf("word", store, side.machine.stores[store].bits)
        parts[word] = (word, number, 0, -1, 0)
        for name in side.machine.stores[store].fields:
            leaf = terms.leaf("field", name, side.machine.fields[name].width)
            parts[leaf] = (leaf, number, *side.readers[name])
    placed = {*side.sequencing.pointers, *side.sequencing.opcodes, *side.flags}
    held = {leaf.name: leaf for leaf in placed}
    grouped: dict[tuple[tuple[Leaf, ...], tuple[Leaf, ...], Leaf | None], list[int]] = {}
    for number in wanted:
        kind, name, *_ = agreed.effects[number].key
        own = held.get(name) if kind in BECOMES else None
        read = shown.read_by((effects[number],))
        found = sorted(leaves((effects[number], *(address for address, _ in read))), key=_name)
        fields = tuple(leaf for leaf in found if leaf in parts)
        others = tuple(leaf for leaf in found if leaf is not own and leaf in placed)
        grouped.setdefault((fields, others, own), []).append(number)
    return tuple(Bundle(tuple(numbers), tuple(effects[number] for number in numbers), own,
                        tuple(parts[leaf] for leaf in fields), others,
                        shown.read_by(tuple(effects[number] for number in numbers)))
                 for (fields, others, own), numbers in grouped.items())


def _name(leaf: Leaf) -> tuple[str, str, int]:
    return leaf.kind, leaf.name, leaf.width
