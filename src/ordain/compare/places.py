"""Which words act at a place of control, and where control can be in the next cycle.

A *vector* says where control is: a value for every pointer, then for every opcode leaf and flag; the leaf itself where
the value is not known. Several words can act at one vector, because an address line may be a condition.

Opcodes and flags are data: what they become is compared in every cycle. That a value is known only leaves out what
cannot be, so it may be forgotten at any time. What a pointer becomes is compared by where it leads, and so has to be
remembered as long as somebody may ask.
"""

from collections.abc import Iterable
from copy import copy
from typing import NamedTuple

from ordain.compare.cases import Cases
from ordain.compare.effects import Meanings
from ordain.compare.passing import Passing, Taken
from ordain.compare.shown import Shown
from ordain.compare.side import WIDEST_CHOICE, Side, holds_place
from ordain.control.sequencing import Origin, origins
from ordain.logic.diagrams import TRUE, Functions
from ordain.machine.expression import Const, Leaf, Node, Terms, leaves, substitute
from ordain.machine.leads import choices
from ordain.rom.contents import Contents

Vector = tuple[Node, ...]
Addresses = tuple[tuple[str, int], ...]
Known = dict[Node, Node]

MOST_WORDS = 4096
"""Words that can act at one vector, of which each is still looked at."""

MOST_OPCODE_BITS = 20
"""Opcode lines of a control address up to which it is looked whether all instructions have the same word."""


class ControlPlace(NamedTuple):
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


class GuardedStep(NamedTuple):
    """While `guard` holds, control goes on at `vector`. `wired`: the machine names that place, no word does."""

    guard: int
    vector: Vector
    wired: bool
    taken: Taken


class _Class(NamedTuple):
    """What all words with the same sequencing codes have in common: per case its guard, the pointers' terms and whether
    the place is wired; the terms of opcodes and flags; the leaves of which something can be left afterwards."""

    cases: tuple[tuple[int, tuple[Node, ...], bool], ...]
    data: tuple[Node, ...]
    keeps: frozenset[Leaf]
    passes: frozenset[Leaf]


class _Part(NamedTuple):
    """A field that sequencing reads: its leaf, and how it is got out of the word."""

    leaf: Node
    low: int
    mask: int
    turn: int


class Places:
    """Reads the words of one side and evaluates its sequencer. `touched`: the words, store and address, that were
    looked at; whoever wants to know empties it before. `home`, `bound`: found by graphs and their searches, whatever
    words the stores hold: whether a vector is the boundary, and what an opcode says, by its lines and its number."""

    def __init__(self, side: Side, terms: Terms, functions: Functions, meanings: Meanings, shown: Shown) -> None:
        sequencing, machine = side.sequencing, side.machine
        self._terms, self._functions = terms, functions
        self.both, self.either = functions.both, functions.either
        self._sequencing, self._contents = sequencing, side.contents
        self._readers = side.readers
        self.pointers, self.opcodes = sequencing.pointers, sequencing.opcodes
        self.flags = side.flags
        self.data: tuple[Leaf, ...] = (*sequencing.opcodes, *side.flags)
        self.leaves: tuple[Leaf, ...] = (*sequencing.pointers, *self.data)
        self.placed = frozenset(leaf for leaf in sequencing.pointers if holds_place(side, leaf))
        self.control = sequencing.control
        self.gates = _gates(side, terms)
        self._shown = shown
        self._nexts = tuple(sequencing.nexts[leaf] for leaf in self.pointers)
        self._data_nexts = tuple(sequencing.nexts[leaf] for leaf in self.data)
        asked = set(leaves([*self._nexts, *self._data_nexts, *sequencing.stores.values()]))
        self._parts: dict[str, list[tuple[str, Node]]] = {}
        for store in sequencing.stores:
            fields = [(name, terms.leaf("field", name, machine.fields[name].width))
                      for name in machine.stores[store].fields]
            self._parts[store] = [(name, leaf) for name, leaf in fields if leaf in asked]
        self._words = {store: terms.leaf("word", store, machine.stores[store].bits) for store in sequencing.stores}
        self._read = [store for store in sequencing.stores if store not in self.control
                      and (self._parts[store] or self._words[store] in asked)]
        self._shown_by = {leaf: store for store in self._read
                          for leaf in (self._words[store], *(leaf for _, leaf in self._parts[store]))}
        self._dispatching = {leaf: store for leaf, store in self._shown_by.items() if self._dispatches(store)}
        self._written = {store: [leaf for leaf, by in self._shown_by.items() if by == store and leaf in asked]
                         for store in self._read if not self._dispatches(store)}
        self._early_parts = [[_Part(leaf, *self._readers[name]) for name, leaf in self._parts[store]
                              if name not in sequencing.address_fields] for store in self.control]
        control_leaves = _handed_on(leaves([sequencing.stores[store] for store in self.control]), side)
        self.steering = tuple(leaf for leaf in self.leaves if leaf in control_leaves)
        self.counting = frozenset(leaf for leaf in self.pointers if leaf not in self.placed)
        open_leaves = {leaf for leaf in asked
                       if leaf.kind in ("field", "word") or leaf in self.pointers or leaf in self.opcodes}
        never: frozenset[Leaf] = frozenset()
        self._early = Cases(terms, functions, open_leaves.__contains__, never.__contains__, meanings.shown)
        self._late = Cases(terms, functions, never.__contains__,
                           lambda leaf: leaf in open_leaves or leaf.kind == "free", meanings.shown)
        self._marked, self._stands = meanings.marked, meanings.shown
        self._classes: dict[tuple[int, ...], _Class] = {}
        self.touched: set[tuple[str, int]] = set()
        self.home: dict[Vector, bool] = {}
        self.bound: dict[tuple[tuple[Origin, ...], int], Known | None] = {}
        self.since = {leaf: terms.leaf("free", f"{leaf.name} since the dispatch", leaf.width)
                      for leaf in sequencing.opcodes}
        self._loaded = frozenset(self.since.values())
        self.at_reset = {leaf: terms.leaf("free", f"{leaf.name} at reset", leaf.width) for leaf in self.pointers}
        self._again: Known = {leaf: terms.leaf("free", f"{store} once more {number} {shown.mark}", leaf.width)
                              for number, (leaf, store) in enumerate(self._dispatching.items())}
        self._passing = Passing(side, terms, (*self.pointers, *self.opcodes, *self._dispatching,
                                              *self.at_reset.values(), *self._again.values()), shown.mark)
        self._open = {leaf: terms.or_(load.when for load in register.loads) for leaf in sequencing.opcodes
                      if (register := machine.registers.get(leaf.name)) is not None and register.transparent}

    def _dispatches(self, store: str) -> bool:
        """True for a mapping store that is asked about an instruction, not about a few conditions."""
        return store in self._sequencing.mappings and any(
            leaf in self.opcodes or leaf.width > WIDEST_CHOICE
            for leaf in leaves((self._sequencing.stores[store],)))

    @property
    def asked(self) -> frozenset[str]:
        """The stores on which it depends where control goes."""
        return frozenset((*self.control, *self._read))

    @property
    def dispatching(self) -> frozenset[str]:
        """Of these the ones whose words say where an instruction starts, and nothing else that is known of a place."""
        return frozenset(self._dispatching.values())

    def holding(self, contents: Contents) -> "Places":
        """The same machine with other words in the stores on which it depends where control goes."""
        other = copy(self)
        other._contents, other.touched = contents, set()
        return other

    # ------------------------------------------------------------ which words act

    def at(self, vector: Vector) -> list[ControlPlace] | Unresolved:
        """The words that can act at a vector, under disjoint guards that cover everything. What a latch held says
        nothing of a cycle in which it may be open: it shows what it loads then."""
        found = self._at(vector)
        if isinstance(found, Unresolved):
            return found
        held: Known = dict(zip(self.leaves, vector))
        for leaf, when in self._open.items():
            if held[leaf] is not leaf and any(self._may_be(when, place.known) for place in found):
                return self.at(tuple({**held, leaf: leaf}.values()))
        return found

    def _may_be(self, condition: Node, known: Known) -> bool:
        value = substitute(self._terms, (condition,), known)[0]
        return type(value) is not Const or value.value == 1

    def _at(self, vector: Vector) -> list[ControlPlace] | Unresolved:
        known: Known = {leaf: value for leaf, value in zip(self.leaves, vector) if leaf is not value}
        waiting: list[tuple[int, Known, dict[str, int]]] = [(TRUE, known, {})]
        found: list[ControlPlace] = []
        while waiting:
            guard, known, given = waiting.pop()
            settled = self._settle(guard, known, given)
            if isinstance(settled, ControlPlace):
                found.append(settled)
                continue
            store, address = settled
            split = self._split(store, address, vector)
            if isinstance(split, Unresolved):
                return split
            for part, place, values in split:
                both = self.both(guard, part)
                if both:
                    waiting.append((both, self._narrowed(known, values), {**given, store: place}))
            if len(waiting) > MOST_WORDS:
                return Unresolved("lost", "")
        return found

    def _settle(self, guard: int, known: Known, given: dict[str, int]) -> ControlPlace | tuple[str, Node]:
        """Read every store; or the first control store whose address cannot be told, and that address. `given`: the
        addresses of control stores that were taken apart."""
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
            elif store in given:
                place = given[store]
            elif is_control:
                return store, address
            else:
                for read in self._written.get(store, ()):
                    known[read] = self._shown.at(read, self._marked(address))
                continue
            word = self._contents.words[store][place]
            self.touched.add((store, place))
            for name, leaf in self._parts[store]:
                low, mask, turn = self._readers[name]
                known[leaf] = terms.const(word >> low & mask ^ turn, leaf.width)
            known[self._words[store]] = terms.const(word, self._words[store].width)
            if is_control:
                addresses.append((store, place))
                words[store] = word
        return ControlPlace(guard, tuple(addresses), tuple(words[store] for store in self.control), known)

    def _narrowed(self, known: Known, values: Known) -> Known:
        """The known values once some bits are known too."""
        terms = self._terms
        narrowed = {leaf: substitute(terms, (value,), values)[0] for leaf, value in known.items()}
        return {**values, **narrowed}

    def _split(self, store: str, address: Node, vector: Vector) -> list[tuple[int, int, Known]] | Unresolved:
        """Every address that a symbolic one can be, with its guard and what is known then; with the instruction
        unknown, the addresses at the present step, if all instructions have the same word there. Or why it cannot be
        told."""
        unknown = leaves((address,))
        for leaf in unknown:
            if leaf in self._dispatching:
                return Unresolved("dispatch", self._dispatching[leaf])
        if any(leaf in self.placed for leaf in unknown):
            return Unresolved("return", "")
        if self._sequencing.wired.get(store) in vector:
            return Unresolved("dispatch", store)
        by_opcode = self._contents.machine.stores[store].instruction is not None
        base, opcode_lines, lines = 0, [], []
        for bit, origin in enumerate(origins(address)):
            if isinstance(origin, int):
                base |= origin << bit
            elif by_opcode and origin is not None and origin[0] in self.opcodes:
                opcode_lines.append((origin, bit))
            else:
                lines.append((bit, self._terms.slice(address, bit, bit)))
        split = self._levels(base, lines)
        if split is None or len(opcode_lines) > MOST_OPCODE_BITS:
            return Unresolved("lost", "")
        if not self._same_for_all(store, [place for _, place, _ in split], opcode_lines):
            return Unresolved("dispatch", store)
        return split

    def _same_for_all(self, store: str, places: list[int], opcode_lines: list[tuple[tuple[Leaf, int], int]]) -> bool:
        """True when the words at these places are the same whatever the instruction."""
        moves: dict[tuple[Leaf, int], int] = {}
        for origin, bit in opcode_lines:
            moves[origin] = moves.get(origin, 0) | 1 << bit
        words = self._contents.words[store]
        for place in places:
            spread = [place]
            for move in moves.values():
                spread += [address | move for address in spread]
                self.touched.update([(store, address) for address in spread])
                if any(words[address] != words[place] for address in spread):
                    return False
        return True

    def _levels(self, base: int, lines: list[tuple[int, Node]]) -> list[tuple[int, int, Known]] | None:
        """All levels that some address lines can have together: the function that is 1 for them, the address, and what
        is known of leaves that are lines as they stand. None: too many."""
        terms, functions = self._terms, self._functions
        result: list[tuple[int, int, dict[Leaf, dict[int, int]]]] = [(TRUE, base, {})]
        for bit, line in lines:
            one = functions.condition(self._stands(line))
            origin = origins(line)[0]
            split = []
            for guard, place, levels in result:
                for level, function in ((0, functions.negation(one)), (1, one)):
                    both = functions.both(guard, function)
                    if both and isinstance(origin, tuple):
                        leaf, position = origin
                        known = {**levels, leaf: {**levels.get(leaf, {}), position: level}}
                        split.append((both, place | level << bit, known))
                    elif both:
                        split.append((both, place | level << bit, levels))
            result = split
            if len(result) > MOST_WORDS:
                return None
        return [(guard, place, {leaf: partly_known(terms, leaf, bits) for leaf, bits in levels.items()})
                for guard, place, levels in result]

    # ------------------------------------------------------------ where control goes

    def after(self, place: ControlPlace) -> list[GuardedStep]:
        """Where control can be after this place's cycle."""
        found = self._class_of(place.words)
        known = place.known
        data, since = self._data_after(found, known)
        if not self._loaded.isdisjoint(since) and self._asked(known):
            known = {**known, **self._again}    # what is asked about now is not what was asked about before
        levels: dict[tuple[Node, int], int] = {
            (leaf, bit): value.value >> bit & 1 for leaf in self.flags
            if type(value := known.get(leaf)) is Const for bit in range(leaf.width)}
        steps: list[GuardedStep] = []
        for guard, case, wired in found.cases:
            guard = self._functions.given(guard, levels)
            for late_guard, values in self._late.of(substitute(self._terms, case, known)) if guard else ():
                left = since if self._by_dispatch(values) else data
                values, taken = self._passing.taken(values, known, place.words)
                steps.append(GuardedStep(self.both(guard, late_guard), (*values, *left), wired, taken))
        return steps

    def kept(self, vector: Vector) -> Vector:
        """What the pointers hold at a vector, for whoever asks much later: nothing else is then what it is now."""
        return self._passing.kept(vector[:len(self.pointers)])

    def unlike(self, leaf: Leaf) -> Node:
        """What is unlike anything that a pointer holds on the other side."""
        return self._terms.leaf("free", f"{leaf.name} {self._shown.mark}", leaf.width)

    def _asked(self, known: Known) -> bool:
        """True where a mapping store was asked before, and control has not come there yet."""
        return self._by_dispatch([known[leaf] for leaf in self.pointers if leaf in known])

    def _by_dispatch(self, values: Iterable[Node]) -> bool:
        """True where a pointer holds what a mapping store says of an instruction, or lines of the opcode."""
        return any(leaf in self._dispatching or leaf in self.opcodes for leaf in leaves(values))

    def _data_after(self, found: _Class, known: Known) -> tuple[tuple[Node, ...], tuple[Node, ...]]:
        """What is known of opcodes and flags afterwards: constant bits, and bits that were there before. The rest is
        forgotten: kept in terms of what it was, it would be another value in every cycle. And the same while a place
        has been asked of a mapping store and control is not there yet: an opcode that was loaded since is not the one
        that was asked about (`since`). A latch that is open in the cycle of asking shows already what it is loaded
        with."""
        after: list[Node] = []
        since: list[Node] = []
        asked = self._asked(known)
        for leaf, term in zip(self.data, found.data):
            anew = self.since.get(leaf, leaf)
            value = substitute(self._terms, (term,), known)[0]
            known_bits = all(isinstance(bit, int) or (bit is not None and bit[0] is leaf) for bit in origins(value))
            after.append(value if known_bits else leaf)
            since.append(value if known_bits else leaf if leaf in self._open and not asked else anew)
        return tuple(after), tuple(since)

    def fate(self, place: ControlPlace) -> tuple[frozenset[Leaf], frozenset[Leaf]]:
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
        data = substitute(terms, self._data_nexts, known)
        steering = [number for number, leaf in enumerate(self.pointers) if leaf in self.steering]
        cases = []
        for guard, values in self._early.of(nexts):
            wired = bool(steering) and all(type(values[number]) is Const for number in steering)
            cases.append((guard, values, wired))
        keeps = frozenset(leaf for leaf, term in zip(self.leaves, (*nexts, *data)) if leaf in leaves((term,)))
        passes: set[Leaf] = set()
        for pointer, term in zip(self.pointers, nexts):
            for leaf in leaves((term,)):
                passes.update(self._behind(leaf, pointer))
        return _Class(tuple(cases), data, keeps, frozenset(passes))

    def _behind(self, leaf: Leaf, pointer: Leaf) -> list[Leaf]:
        """The pointers, opcodes and flags, other than the pointer itself, that a leaf of its next value stands for."""
        if leaf in self._shown_by:
            address = self._sequencing.stores[self._shown_by[leaf]]
            return [other for other in leaves((address,)) if other in self.leaves]
        return [leaf] if leaf in self.leaves and leaf is not pointer else []


def _handed_on(control: Iterable[Leaf], side: Side) -> set[Leaf]:
    """The leaves that make a control address, and those from which they take their next value as it stands, or stay as
    they are: registers in a row say where control goes some cycles later."""
    found, waiting = set(control), list(control)
    while waiting:
        leaf = waiting.pop()
        sources = set(choices(side.sequencing.nexts[leaf])) - {leaf} if leaf in side.sequencing.pointers else set()
        if sources and all(source in side.sequencing.pointers for source in sources):
            fresh = [pointer for pointer in side.sequencing.pointers if pointer in sources and pointer not in found]
            found.update(fresh)
            waiting += fresh
    return found


def _gates(side: Side, terms: Terms) -> frozenset[Leaf]:
    """The flags that let the lines of an opcode through to a control address, or keep them out."""
    parts = [terms.slice(side.sequencing.stores[store], *lines) for store in side.sequencing.control
             if (lines := side.machine.stores[store].instruction) is not None]
    return frozenset(leaves(parts)).intersection(side.flags)


def partly_known(terms: Terms, leaf: Leaf, levels: dict[int, int]) -> Node:
    """The leaf with some of its bits known (bit -> level)."""
    parts = [terms.const(levels[bit], 1) if bit in levels else terms.slice(leaf, bit, bit)
             for bit in range(leaf.width - 1, -1, -1)]
    return terms.join(parts)
