"""Which words act at a place of control, and where control can be in the next cycle.

A *vector* says where control is: a value for every pointer, then for every opcode leaf; the leaf itself where the value
is not known. Several words can act at one vector, because an address line may be a condition.
"""

from typing import NamedTuple

from ordain.compare.cases import Cases
from ordain.compare.effects import WIDEST_CHOICE, Meanings
from ordain.compare.side import Side, store_tables
from ordain.control.sequencing import origins
from ordain.logic.diagrams import TRUE, Functions
from ordain.machine.expression import Add, Const, Leaf, Node, Terms, leaves, substitute

Vector = tuple[Node, ...]
Addresses = tuple[tuple[str, int], ...]
Known = dict[Node, Node]

MOST_UNKNOWN = 12
"""Unknown bits of a control address that are still taken apart."""


class Place(NamedTuple):
    """While `guard` holds, the words (one a control store) at `addresses` act. `known`: leaf -> value: pointers,
    opcodes and what the stores show."""

    guard: int
    addresses: Addresses
    words: tuple[int, ...]
    known: Known


class Unresolved(NamedTuple):
    """An address that cannot be told. `why`: "dispatch" (by what `store` says), "return" or "lost"."""

    why: str
    store: str


class Step(NamedTuple):
    """While `guard` holds, control goes on at `vector`. `wired`: the machine names that place, no word does."""

    guard: int
    vector: Vector
    wired: bool


class _Class(NamedTuple):
    """What all words with the same sequencing codes have in common: per case its guard, the pointers' terms and whether
    the place is wired; the opcode leaves' terms; the leaves of which something can be left afterwards."""

    cases: tuple[tuple[int, tuple[Node, ...], bool], ...]
    opcodes: tuple[Node, ...]
    keeps: frozenset[Leaf]
    passes: frozenset[Leaf]


class _Part(NamedTuple):
    """A field that sequencing reads: its leaf, and how it is got out of the word."""

    leaf: Node
    low: int
    mask: int
    turn: int


class Places:
    """Reads the words of one side and evaluates its sequencer."""

    def __init__(self, side: Side, terms: Terms, functions: Functions, meanings: Meanings) -> None:
        sequencing, machine = side.sequencing, side.machine
        self._terms, self._functions = terms, functions
        self.both, self.either = functions.both, functions.either
        self._sequencing, self._contents = sequencing, side.contents
        self._readers = side.readers
        self.pointers, self.opcodes = sequencing.pointers, sequencing.opcodes
        self.leaves: tuple[Leaf, ...] = (*sequencing.pointers, *sequencing.opcodes)
        self.control = sequencing.control
        self._nexts = tuple(sequencing.nexts[leaf] for leaf in self.pointers)
        self._opcode_nexts = tuple(sequencing.nexts[leaf] for leaf in self.opcodes)
        asked = set(leaves([*self._nexts, *self._opcode_nexts, *sequencing.stores.values()]))
        self._parts: dict[str, list[tuple[str, Node]]] = {}
        for store in sequencing.stores:
            fields = [(name, terms.leaf("field", name, machine.fields[name].width))
                      for name in machine.stores[store].fields]
            self._parts[store] = [(name, leaf) for name, leaf in fields if leaf in asked]
        self._words = {store: terms.leaf("word", store, machine.stores[store].bits) for store in sequencing.stores}
        self._lines = {store: terms.leaf("address", store, machine.stores[store].address_width)
                       for store in sequencing.stores}
        self._read = [store for store in sequencing.stores if store not in self.control
                      and (self._parts[store] or self._words[store] in asked or self._lines[store] in asked)]
        self._dispatching = {leaf: store for store in self._read if self._dispatches(store)
                             for leaf in (self._words[store], *(leaf for _, leaf in self._parts[store]))}
        self._tables = store_tables(terms, side, [store for store in self._read if not self._dispatches(store)], "")
        self._early_parts = [self._choosing(store, asked, False) for store in self.control]
        self._late_parts = [self._choosing(store, asked, True) for store in self.control]
        control_leaves = leaves([sequencing.stores[store] for store in self.control])
        self.steering = tuple(leaf for leaf in self.leaves if leaf in control_leaves)
        open_leaves = {leaf for leaf in asked if leaf.kind in ("field", "word", "address") or leaf in self.leaves}
        never: frozenset[Leaf] = frozenset()
        self._early = Cases(terms, functions, open_leaves.__contains__, never.__contains__, meanings.closed)
        self._late = Cases(terms, functions, never.__contains__, open_leaves.__contains__, meanings.closed)
        self._closed = meanings.closed
        self._classes: dict[tuple[int, ...], _Class] = {}
        self._direct = self._direct_pointer(asked)

    def _choosing(self, store: str, asked: set[Leaf], late: bool) -> list[_Part]:
        """The parts of the store's word that choose between ways (early), or that name places (late)."""
        parts = [_Part(leaf, *self._readers[name]) for name, leaf in self._parts[store]
                 if (name in self._sequencing.address_fields) == late]
        if late and self._words[store] in asked:
            parts.append(_Part(self._words[store], 0, -1, 0))
        return parts

    def _dispatches(self, store: str) -> bool:
        """True for a mapping store that is asked about an instruction, not about a few conditions."""
        return store in self._sequencing.mappings and any(
            leaf in self.opcodes or leaf.width > WIDEST_CHOICE
            for leaf in leaves((self._sequencing.stores[store],)))

    def _direct_pointer(self, asked: set[Leaf]) -> int | None:
        """Which pointer is, as it stands, the address of the only control store, if that is all there is to know while
        the opcode is unknown."""
        if len(self.control) != 1 or self._lines[self.control[0]] in asked:
            return None
        address = self._sequencing.stores[self.control[0]]
        for store in self._read:
            if not any(leaf in self.opcodes for leaf in leaves((self._sequencing.stores[store],))):
                return None
        return next((number for number, leaf in enumerate(self.pointers) if leaf is address), None)

    # ------------------------------------------------------------ which words act

    def at(self, vector: Vector) -> list[Place] | Unresolved:
        """The words that can act at a vector, under disjoint guards that cover everything."""
        known: Known = {leaf: value for leaf, value in zip(self.leaves, vector) if leaf is not value}
        direct = self._direct
        if direct is not None:
            pointer = vector[direct]
            if type(pointer) is Const and vector[len(self.pointers):] == self.opcodes:
                store = self.control[0]
                return [Place(TRUE, ((store, pointer.value),), (self._contents.words[store][pointer.value],), known)]
        waiting: list[tuple[int, Known, Node | None]] = [(TRUE, known, None)]
        found: list[Place] = []
        while waiting:
            guard, known, before = waiting.pop()
            settled = self._settle(guard, known)
            if isinstance(settled, Place):
                found.append(settled)
                continue
            store, address = settled
            if address is before:                   # nothing was gained by taking it apart
                return Unresolved("lost", "")
            split = self._split(store, address, vector)
            if isinstance(split, Unresolved):
                return split
            if isinstance(split, int):
                representative = self._settle(guard, known, (store, split))
                if not isinstance(representative, Place):
                    return Unresolved("lost", "")
                found.append(representative)
                continue
            for part, values in split:
                both = self._functions.both(guard, part)
                if both:
                    waiting.append((both, self._narrowed(known, values), address))
        return found

    def _settle(self, guard: int, known: Known, given: tuple[str, int] | None = None) -> Place | tuple[str, Node]:
        """Read every store; or the first control store whose address cannot be told, and that address. `given`: the
        address of a control store for which any of several would do."""
        terms = self._terms
        known = dict(known)
        addresses: list[tuple[str, int]] = []
        words: dict[str, int] = {}
        for store, term in self._sequencing.stores.items():
            is_control = store in self.control
            if not is_control and store not in self._read:
                continue
            address = known.get(term) or substitute(terms, (term,), known)[0]
            if type(address) is Const:
                place = address.value
            elif given is not None and given[0] == store:
                place = given[1]
            elif is_control:
                return store, address
            else:
                continue
            word = self._contents.words[store][place]
            known[self._lines[store]] = terms.const(place, term.width)
            for name, leaf in self._parts[store]:
                low, mask, turn = self._readers[name]
                known[leaf] = terms.const(word >> low & mask ^ turn, leaf.width)
            known[self._words[store]] = terms.const(word, self._words[store].width)
            if is_control:
                addresses.append((store, place))
                words[store] = word
        return Place(guard, tuple(sorted(addresses)), tuple(words[store] for store in self.control), known)

    def _narrowed(self, known: Known, values: Known) -> Known:
        """The known values once some bits are known too."""
        terms = self._terms
        narrowed = {leaf: substitute(terms, (value,), values)[0] for leaf, value in known.items()}
        return {**values, **narrowed}

    def _split(self, store: str, address: Node, vector: Vector) -> list[tuple[int, Known]] | int | Unresolved:
        """Every way to make a symbolic address definite, with its guard; or one address that stands for all, where the
        words at all of them are the same; or why it cannot be told."""
        unknown = leaves((address,))
        for leaf in unknown:
            if leaf in self._dispatching:
                return Unresolved("dispatch", self._dispatching[leaf])
        address = self._written_out((address,))[0]
        unknown = leaves((address,))
        if any(leaf in self.pointers and leaf.width > WIDEST_CHOICE for leaf in unknown):
            return Unresolved("return", "")
        if self._sequencing.wired.get(store) in vector:
            return Unresolved("dispatch", store)
        lines = origins(address)
        bits = sorted({origin for origin in lines if isinstance(origin, tuple)},
                      key=lambda bit: (bit[0].kind, bit[0].name, bit[1]))
        if None in lines:
            bits = [(leaf, bit) for leaf in unknown for bit in range(leaf.width)]
        machine_store = self._contents.machine.stores[store]
        opcode_bits = [bit for bit in bits if bit[0] in self.opcodes]
        if machine_store.instruction is not None and opcode_bits:
            return self._same_for_all(store, lines, bits, opcode_bits)
        if len(bits) > MOST_UNKNOWN:
            return Unresolved("lost", "")
        return self._assignments(bits)

    def _same_for_all(self, store: str, lines: "tuple[object, ...]", bits: list[tuple[Leaf, int]],
                      opcode_bits: list[tuple[Leaf, int]]) -> list[tuple[int, Known]] | int | Unresolved:
        """With the instruction unknown: the words at the present step, if they are the same for every instruction."""
        if None in lines or len(opcode_bits) > 20:
            return Unresolved("lost", "")
        others = [bit for bit in bits if bit not in opcode_bits]
        if len(others) > MOST_UNKNOWN:
            return Unresolved("lost", "")
        split = self._assignments(others) if others else []
        samples = [self._value(lines, {bit: _level(values, bit) for bit in others}) for _, values in split]
        moves = [sum(1 << position for position, line in enumerate(lines) if line == bit) for bit in opcode_bits]
        words = self._contents.words[store]
        for base in samples or [self._value(lines, {})]:
            seen = {words[base]}
            spread = [base]
            for move in moves:
                spread += [address ^ move for address in spread]
                seen.update(words[address] for address in spread)
                if len(seen) > 1:
                    return Unresolved("dispatch", store)
        return split if split else self._value(lines, {})

    def _value(self, lines: "tuple[object, ...]", levels: dict[tuple[Leaf, int], int]) -> int:
        """The address when the named bits have these levels and all other unknown ones are 0."""
        value = 0
        for position, line in enumerate(lines):
            if isinstance(line, int):
                value |= line << position
            elif isinstance(line, tuple):
                value |= levels.get(line, 0) << position
        return value

    def _assignments(self, bits: list[tuple[Leaf, int]]) -> list[tuple[int, Known]]:
        """All values of some bits: the function that is 1 for them, and leaf -> its value as far as known."""
        terms, functions = self._terms, self._functions
        result: list[tuple[int, dict[tuple[Leaf, int], int]]] = [(TRUE, {})]
        for leaf, bit in bits:
            one = functions.condition(self._closed(terms.slice(leaf, bit, bit)))
            zero = functions.negation(one)
            result = [(functions.both(guard, function), {**levels, (leaf, bit): level})
                      for guard, levels in result for level, function in ((0, zero), (1, one))]
        return [(guard, self._partly(levels)) for guard, levels in result]

    def _partly(self, levels: dict[tuple[Leaf, int], int]) -> Known:
        return {leaf: partly_known(self._terms, leaf, {bit: level for (other, bit), level in levels.items()
                                                       if other is leaf})
                for leaf in {leaf: None for leaf, _ in levels}}

    # ------------------------------------------------------------ where control goes

    def after(self, place: Place) -> list[Step]:
        """Where control can be after this place's cycle."""
        found = self._class_of(place.words)
        known = place.known
        for parts, word in zip(self._late_parts, place.words):
            for leaf, low, mask, turn in parts:
                known[leaf] = self._terms.const(word >> low & mask ^ turn, leaf.width)
        opcodes = self._opcodes_after(found, known) if found.opcodes else ()
        steps: list[Step] = []
        for guard, case, wired in found.cases:
            values = tuple([term if type(term) is Const else known.get(term) or self._settled(term, known)
                            for term in case])
            if self._tables:
                values = self._written_out(values)
            if not any(value.args for value in values):
                steps.append(Step(guard, (*values, *opcodes), wired))
                continue
            for late_guard, late_values in self._late.of(values):
                both = self._functions.both(guard, late_guard)
                if both:
                    steps.append(Step(both, (*late_values, *opcodes), wired))
        return steps

    def _settled(self, term: Node, known: Known) -> Node:
        """The term with what is known put in. Counting on, the commonest term of all, is done by hand."""
        if type(term) is Add and type(term.args[1]) is Const:
            value = known.get(term.args[0])
            if type(value) is Const:
                return self._terms.const(value.value + term.args[1].value & (1 << term.width) - 1, term.width)
        return substitute(self._terms, (term,), known)[0] if term.args else term

    def _written_out(self, values: tuple[Node, ...]) -> tuple[Node, ...]:
        """Words of stores that are asked about conditions become terms over these conditions."""
        for _ in range(len(self._read)):
            if not any(leaf in self._tables for leaf in leaves(values)):
                break
            values = substitute(self._terms, values, self._tables)
        return values

    def _opcodes_after(self, found: _Class, known: Known) -> tuple[Node, ...]:
        """What is known of the opcode afterwards: what was, unless something else may have been loaded."""
        after: list[Node] = []
        for leaf, term in zip(self.opcodes, found.opcodes):
            if term is leaf:
                after.append(known.get(leaf, leaf))
                continue
            value = substitute(self._terms, (term,), known)[0]
            after.append(value if all(other is leaf for other in leaves((value,))) else leaf)
        return tuple(after)

    def fate(self, place: Place) -> tuple[frozenset[Leaf], frozenset[Leaf]]:
        """The leaves of which something may be left after this place's cycle, and those that the choice of the next
        place asks about."""
        found = self._class_of(place.words)
        return found.keeps, found.passes

    def _class_of(self, words: tuple[int, ...]) -> _Class:
        key = tuple([word >> part.low & part.mask for parts, word in zip(self._early_parts, words) for part in parts])
        found = self._classes.get(key)
        if found is None:
            found = self._classes[key] = self._make_class(words)
        return found

    def _make_class(self, words: tuple[int, ...]) -> _Class:
        terms = self._terms
        known: Known = {}
        for parts, word in zip(self._early_parts, words):
            for leaf, low, mask, turn in parts:
                known[leaf] = terms.const(word >> low & mask ^ turn, leaf.width)
        nexts = substitute(terms, self._nexts, known)
        opcodes = substitute(terms, self._opcode_nexts, known)
        steering = [number for number, leaf in enumerate(self.pointers) if leaf in self.steering]
        cases = []
        for guard, values in self._early.of(nexts):
            wired = bool(steering) and all(type(values[number]) is Const for number in steering)
            cases.append((guard, values, wired))
        keeps = frozenset(leaf for leaf, term in zip(self.leaves, (*nexts, *opcodes)) if leaf in leaves((term,)))
        passes: set[Leaf] = set()
        for pointer, term in zip(self.pointers, nexts):
            for leaf in leaves((term,)):
                passes.update(self._behind(leaf, pointer))
        return _Class(tuple(cases), opcodes, keeps, frozenset(passes))

    def _behind(self, leaf: Leaf, pointer: Leaf) -> list[Leaf]:
        """The pointers and opcodes, other than the pointer itself, that a leaf of its next value stands for."""
        if leaf in self._dispatching or leaf in self._tables:
            store = self._dispatching.get(leaf) or next(
                store for store in self._read
                if leaf is self._words[store] or leaf in [other for _, other in self._parts[store]])
            return [other for other in leaves((self._sequencing.stores[store],)) if other in self.leaves]
        return [leaf] if leaf in self.leaves and leaf is not pointer else []


def _level(values: Known, bit: tuple[Leaf, int]) -> int:
    """The level of one bit in values that `_assignments` made."""
    origin = origins(values[bit[0]])[bit[1]]
    return origin if isinstance(origin, int) else 0


def partly_known(terms: Terms, leaf: Leaf, levels: dict[int, int]) -> Node:
    """The leaf with some of its bits known (bit -> level)."""
    parts = [terms.const(levels[bit], 1) if bit in levels else terms.slice(leaf, bit, bit)
             for bit in range(leaf.width - 1, -1, -1)]
    return terms.join(parts)
