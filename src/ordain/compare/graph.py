"""The control graph of one build: at each place, what is done, and where control goes, when.

Nodes are vectors (`places`). A way ends where the machine itself, not a word, chooses the next place: at the
instruction boundary (`home`), at a dispatch, at a place wired into the sequencer, and where a subroutine returns to a
caller that is not known. The opcode is unknown until somebody asks for it; where an instruction's way depends on it (a
second dispatch, an address that holds it), that way is followed once per instruction.
"""

from typing import NamedTuple

from ordain.compare.observation import Observer
from ordain.compare.places import Addresses, Place, Places, Unresolved, Vector
from ordain.compare.side import Side
from ordain.machine.expression import Const, Node, Terms, leaves, substitute


class Row(NamedTuple):
    """While `guard` holds, the words at `addresses` act, do `does`, and control goes to node `target`."""

    guard: int
    addresses: Addresses
    does: int
    target: int


class End(NamedTuple):
    """Where a way ends. `kind`: "home", "dispatch", "wired", "return" or "lost" (an address that cannot be told).
    `store`: by whose word is dispatched. `where`: the pointers then, unknown ones as leaves; () where it does not
    matter."""

    kind: str
    store: str
    where: Vector


class Graph:
    """Nodes are numbered as they are met. An end has no `rows`; `ends` says which it is.

    `also[node]`: places that an end holds on to, because somebody may return there: (who holds it, node).
    `asks`: nodes where the instruction matters; `keeps`: nodes after which it is still the same one.
    `careless`: nodes, with the instruction left open, from which nobody asks for it; set once they are known.
    `awaited`: the vectors at which ways end in a return to an unknown caller; set before following.
    """

    def __init__(self, side: Side, terms: Terms, places: Places, observer: Observer,
                 awaited: tuple[Vector, ...] = ()) -> None:
        self.side, self.places, self.observer = side, places, observer
        self.vectors: list[Vector] = []
        self.rows: list[tuple[Row, ...]] = []
        self.ends: dict[int, End] = {}
        self.also: dict[int, tuple[tuple[str, int], ...]] = {}
        self.asks: set[int] = set()
        self.keeps: set[int] = set()
        self.careless: frozenset[int] = frozenset()
        self.awaited = awaited
        self._terms = terms
        self._pointers = len(places.pointers)
        self._steering = tuple(leaf in places.steering for leaf in places.leaves)
        self._index: dict[object, int] = {}
        self._arrivals: dict[tuple[Vector, bool], int] = {}
        self._waiting: list[int] = []

    def node(self, vector: Vector) -> int:
        """The number of the node of a vector; met for the first time, it waits to be followed."""
        found = self._index.get(vector)
        if found is None:
            found = self._index[vector] = self._new(vector)
            self._waiting.append(found)
        return found

    def follow(self) -> None:
        """Follow every node that waits, and what is met on the way."""
        while self._waiting:
            node = self._waiting.pop()
            found = self.places.at(self.vectors[node])
            if isinstance(found, Unresolved):
                self._end_here(node, found)
            else:
                self.rows[node] = self._rows(node, found)

    def general(self, vector: Vector) -> Vector:
        """The vector with nothing known but the pointers that make the control address."""
        return tuple(value if steers else leaf
                     for value, leaf, steers in zip(vector, self.places.leaves, self._steering))

    def unbound(self, vector: Vector) -> Vector:
        """The vector with the instruction left open."""
        return (*vector[:self._pointers], *self.places.opcodes)

    def bound(self, vector: Vector) -> bool:
        """True when something is known of the instruction."""
        return vector[self._pointers:] != self.places.opcodes

    def _new(self, vector: Vector) -> int:
        self.vectors.append(vector)
        self.rows.append(())
        return len(self.vectors) - 1

    def _rows(self, node: int, found: list[Place]) -> tuple[Row, ...]:
        rows: list[Row] = []
        both = self.places.both
        for place in found:
            does, does_ask = self.observer.at(place)
            steps, goes_ask = self.places.after(place)
            if does_ask or goes_ask:
                self.asks.add(node)
            if self.places.opcodes and self.places.keeps_opcode(place):
                self.keeps.add(node)
            for step in steps:
                guard = both(place.guard, step.guard)
                if guard:
                    rows.append(Row(guard, place.addresses, does, self._arrive(step.vector, step.wired)))
        return tuple(rows)

    def _arrive(self, vector: Vector, wired: bool) -> int:
        key = (vector, wired)
        found = self._arrivals.get(key)
        if found is None:
            found = self._arrivals[key] = self._arrived(vector, wired)
        return found

    def _arrived(self, vector: Vector, wired: bool) -> int:
        if self._at_home(vector):
            return self._end(End("home", "", self.general(vector)), vector)
        if wired:
            return self._end(End("wired", "", self.general(vector)), vector)
        return self.enter(vector)

    def enter(self, vector: Vector) -> int:
        """The node of a vector; which instruction it is gets forgotten where nobody will ask."""
        if self.careless and self.bound(vector):
            open_node = self._index.get(self.unbound(vector))
            if open_node in self.careless:
                return open_node
        return self.node(vector)

    def find_careless(self) -> None:
        """Settle from which nodes met so far nobody asks which instruction is executed before another is loaded."""
        users: dict[int, list[int]] = {}
        for node, rows in enumerate(self.rows):
            if node in self.keeps:
                for row in rows:
                    users.setdefault(row.target, []).append(node)
        caring = set(self.asks)
        waiting = list(caring)
        while waiting:
            for user in users.get(waiting.pop(), ()):
                if user not in caring:
                    caring.add(user)
                    waiting.append(user)
        self.careless = frozenset(node for node, vector in enumerate(self.vectors)
                                  if node not in caring and not self.bound(vector))

    def _at_home(self, vector: Vector) -> bool:
        home = self.side.home
        if home is None:
            return False
        known: dict[Node, Node] = dict(zip(self.places.leaves, vector))
        held = substitute(self._terms, (home,), known)[0]
        return type(held) is Const and held.value == 1

    # ------------------------------------------------------------ ends

    def _end(self, end: End, vector: Vector) -> int:
        held = self._held(vector)
        key = (end, held)
        found = self._index.get(key)
        if found is None:
            found = self._index[key] = self._new(vector)
            self.ends[found] = end
            self._attach(found, held)
        return found

    def _end_here(self, node: int, why: Unresolved) -> None:
        """A node turns out to be an end when its address cannot be told."""
        vector = self.vectors[node]
        returning = why.why == "return"
        if not returning:
            self.asks.add(node)
        self.ends[node] = End(why.why, why.store, self._returning(vector) if returning else self.general(vector))
        self._attach(node, self._held(vector))

    def _returning(self, vector: Vector) -> Vector:
        """Where a return goes: pointers that are unknown or in terms of unknown ones; places that are known are left
        out."""
        return tuple(leaf if type(value) is Const else value
                     for value, leaf in zip(vector[:self._pointers], self.places.pointers))

    def _held(self, vector: Vector) -> tuple[tuple[Vector, Vector], ...]:
        """(vector of a return, that vector with the places filled in that this one holds)."""
        held: list[tuple[Vector, Vector]] = []
        for awaited in self.awaited:
            wanted = leaves(awaited)
            known: dict[Node, Node] = {leaf: value for leaf, value in zip(self.places.pointers, vector)
                                       if type(value) is Const and leaf in wanted}
            filled = substitute(self._terms, awaited, known)
            steering = [value for value, leaf in zip(filled, self.places.pointers) if leaf in self.places.steering]
            if known and all(type(value) is Const for value in steering):
                held.append((awaited, (*filled, *self.places.opcodes)))
        return tuple(held)

    def _attach(self, node: int, held: tuple[tuple[Vector, Vector], ...]) -> None:
        if held:
            self.also[node] = tuple(
                (_names(awaited), self._arrive(self.general(filled), False)) for awaited, filled in held)


def _names(vector: Vector) -> str:
    return "return by " + ", ".join(sorted({leaf.name for leaf in leaves(vector)}))
