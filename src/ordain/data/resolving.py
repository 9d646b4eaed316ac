"""What a word leaves of a machine's expressions: one cycle over what is held, inputs, and words of memories and tables.

The same cycle as `datapath` gives for values, for terms. Who wants it says what becomes of what a word does not decide:
`Resolving` gives up, since code is made for what is decided only; a subclass may leave it open.
"""

from collections.abc import Iterable

from ordain.control.standing import stands_for
from ordain.data.datapath import Datapath, kept_leaf
from ordain.machine.expression import Const, Leaf, Node, leaves, substitute, substitute_on
from ordain.machine.model import Bus, Memory, Store


class Undecided(Exception):
    """Something is decided only as the machine runs."""


def said_by_words(path: Datapath, presented: Iterable[tuple[Store, int]]) -> dict[Node, Node]:
    """The words at the addresses that stores present: these, the addresses, and the fields, as numbers."""
    terms, known = path.terms, dict[Node, Node]()
    for store, address in presented:
        word = path.contents.words[store.name][address]
        known[terms.leaf("word", store.name, store.bits)] = terms.const(word, store.bits)
        known[terms.leaf("address", store.name, store.address_width)] = terms.const(address, store.address_width)
        for name in store.fields:
            field = path.machine.fields[name]
            known[terms.leaf("field", name, field.width)] = terms.const(field.read(word), field.width)
    return known


class Resolving:
    """`known`: what the word says: fields, addresses, states that the cycle is about. `leaves`: what those that were
    asked for are worth. `addresses`: of what is read from memories and tables."""

    def __init__(self, path: Datapath, known: dict[Node, Node]) -> None:
        self.path, self.known, self.terms = path, known, path.terms
        self._made = dict(known)
        self.leaves: dict[Leaf, Node] = {}
        self.addresses: dict[Leaf, Node] = {}
        self._busy: set[Leaf] = set()

    def nexts(self) -> Iterable[tuple[Node, Node]]:
        """Everything that holds something, and the machine's expression for what it holds after the cycle."""
        path, terms = self.path, self.terms
        yield from path.nexts.items()
        yield from path.priors.items()
        for latch, register in path.latches.items():
            yield terms.leaf("state", f"{register.name} held", register.width), latch
        for bus in path.machine.buses.values():
            if bus.undriven == "kept":
                yield kept_leaf(bus, terms), terms.leaf("bus", bus.name, bus.width)

    def resolved(self, node: Node) -> Node:
        """The expression with everything replaced that the cycle decides. Raises Undecided."""
        node = substitute_on(self.terms, (node,), self._made)[0]
        found: dict[Node, Node] = {}
        for leaf in leaves((node,)):
            if leaf not in self.leaves:
                if leaf in self._busy:
                    found[leaf] = self.unknown(f"`{leaf.name}`, which depends on itself,", leaf.width)
                    continue
                self._busy.add(leaf)
                try:
                    self.leaves[leaf] = self._leaf(leaf)
                finally:        # it may be asked for once more by whoever takes another way
                    self._busy.discard(leaf)
            if self.leaves[leaf] is not leaf:
                found[leaf] = self.leaves[leaf]
        return substitute(self.terms, (node,), found)[0] if found else node

    # ------------------------------------------------------------ what a word does not decide

    def decided(self, when: Node) -> Node:
        """The condition under which somebody drives or writes."""
        node = self.resolved(when)
        if type(node) is not Const:
            raise Undecided
        return node

    def unknown(self, what: str, width: int) -> Node:
        """Stands for a value of which nothing is known."""
        raise Undecided

    def memory(self, memory: Memory, leaf: Leaf) -> Node:
        """The word that a memory shows."""
        self.addresses[leaf] = self.resolved(memory.address)
        return leaf

    def table(self, store: str, leaf: Leaf, address: Node) -> Node:
        """The word of a store at an address that is known only as the machine runs."""
        self.addresses[leaf] = address
        return leaf

    # ------------------------------------------------------------ what has a name

    def _leaf(self, leaf: Leaf) -> Node:
        path, machine, terms = self.path, self.path.machine, self.terms
        match leaf.kind:
            case "state" | "input":
                return leaf
            case "register" if not machine.registers[leaf.name].transparent:
                return leaf
            case "bus":
                return self._bus(leaf)
            case "word":
                store = machine.stores[leaf.name]
                address = self.resolved(store.address)
                if type(address) is Const and address.value < store.words:
                    return terms.const(path.contents.words[leaf.name][address.value], leaf.width)
                return self.table(leaf.name, leaf, address)
            case "free" if leaf.name in machine.memories:
                return self.memory(machine.memories[leaf.name], leaf)
        meant = stands_for(path.contents, leaf)
        return self.unknown(f"`{leaf.name}`", leaf.width) if meant is None else self.resolved(meant)

    def _bus(self, leaf: Leaf) -> Node:
        terms = self.terms
        bus = self.path.machine.buses[leaf.name]
        ones = terms.const((1 << bus.width) - 1, bus.width)
        enabled = [(when, self._put(bus, driver.name)) for driver in bus.drivers
                   if (when := self.decided(driver.when)) is not terms.const(0, 1)]
        if bus.undriven == "wired-and":
            return terms.and_((ones, *(terms.if_(when, value, ones) for when, value in enabled)))
        if bus.undriven == "wired-or":
            none = terms.const(0, bus.width)
            return terms.or_((none, *(terms.if_(when, value, none) for when, value in enabled)))
        if len(enabled) == 1 and type(enabled[0][0]) is Const:
            return enabled[0][1]
        found = self._undriven(bus) if all(type(when) is not Const for when, _ in enabled) else None
        for number, (when, value) in enumerate(enabled):
            others = [other for index, (other, _) in enumerate(enabled) if index != number]
            if others:
                fight = self.unknown(f"what fighting drivers leave on `{bus.name}`", bus.width)
                value = terms.if_(terms.or_(others), fight, value)
            found = value if found is None else terms.if_(when, value, found)
        return found if found is not None else self._undriven(bus)

    def _put(self, bus: Bus, driver: str) -> Node:
        value = self.path.puts[bus.name, driver]
        return self.unknown(f"what `{driver}` puts on `{bus.name}`", bus.width) if value is None else \
            self.resolved(value)

    def _undriven(self, bus: Bus) -> Node:
        match bus.undriven:
            case "pulled-high":
                return self.terms.const((1 << bus.width) - 1, bus.width)
            case "pulled-low":
                return self.terms.const(0, bus.width)
            case "kept":
                return kept_leaf(bus, self.terms)
        return self.unknown(f"the floating bus `{bus.name}`", bus.width)
