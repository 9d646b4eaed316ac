"""The control graph of one build: at each place, what is done, and where control goes, when.

Nodes are vectors (`places`). A way ends where the machine itself, not a word, chooses the next place: at the
instruction boundary (`home`), at a dispatch, at a place wired into the sequencer, and where a subroutine returns to a
caller that is not known.

A graph is followed twice (`roots`). First *bare*: only what makes the control address is known; that says where
somebody asks who called, or which instruction it is. Then in full, where such things are known as long as somebody may
still ask.
"""

from typing import NamedTuple

from ordain.compare.observation import Observer
from ordain.compare.places import Addresses, ControlPlace, Places, Unresolved, Vector
from ordain.compare.side import Side
from ordain.control.sequencing import Sequencing
from ordain.machine.expression import Const, Leaf, Node, Terms, leaves, substitute
from ordain.machine.leads import choices, value_leaves


class GraphRow(NamedTuple):
    """While `guard` holds, the words at `addresses` act, do `does`, and control goes to node `target`."""

    guard: int
    addresses: Addresses
    does: int
    target: int


class End(NamedTuple):
    """Where a way ends. `kind`: "home", "dispatch", "wired", "return" or "lost" (an address that cannot be told).
    `store`: by whose word is dispatched. `where`: the pointers that make the control address then, unknown ones as
    leaves. `left`: what the others hold that somebody may ask about later, by name: None for a place of which `also`
    has where it leads."""

    kind: str
    store: str
    where: Vector
    left: tuple[tuple[str, Node | None], ...] = ()


class Move(NamedTuple):
    """A row before it is known which node it leads to. `asks`, `keeps`: the leaves that it asks about, and of which
    something can be left; a mere copy of a leaf into itself does not ask."""

    guard: int
    addresses: Addresses
    does: int
    vector: Vector
    wired: bool
    asks: frozenset[Leaf]
    keeps: frozenset[Leaf]


class Later(NamedTuple):
    """What becomes of a place that a pointer holds. `values`: what it, and others, may have of it later. `told`: those
    that may have something that is made of more, too: of them the number says it. `endless`: there are more values."""

    values: tuple[tuple[Leaf, Node], ...]
    told: frozenset[Leaf]
    endless: bool


MOST_LATER = 256
"""Places that may become of one that is held, up to which each is followed."""


class Recalled:
    """Moves that were worked out with the same sequencer before, and the words, store and address, on which they rest.
    `changed`: words that are others now; what rests on them is worked out anew."""

    def __init__(self) -> None:
        self.known: dict[Vector, tuple[list[Move] | Unresolved, frozenset[tuple[str, int]]]] = {}
        self.changed: frozenset[tuple[str, int]] = frozenset()

    def at(self, vector: Vector) -> "list[Move] | Unresolved | None":
        found = self.known.get(vector)
        return None if found is None or not self.changed.isdisjoint(found[1]) else found[0]

    def note(self, vector: Vector, moves: "list[Move] | Unresolved", touched: frozenset[tuple[str, int]]) -> None:
        if self.changed.isdisjoint(touched):
            self.known[vector] = moves, touched


class Bare(NamedTuple):
    """What the first round found out. `moves`: of every bare vector. `wanted`: per bare vector the leaves about which
    somebody may still ask. `resumed`: per end that returns, the nodes to which it may."""

    moves: dict[Vector, list[Move] | Unresolved]
    wanted: dict[Vector, frozenset[Leaf]]
    graph: "ControlGraph"
    resumed: dict[int, tuple[int, ...]]


class ControlGraph:
    """Nodes are numbered as they are met. An end has no `rows`; `ends` says which it is.

    `also[node]`: places that an end holds on to, because somebody may return there: (who holds it, node).
    `awaited`: the vectors at which ways end in a return to an unknown caller; set before following.
    `bare`: None in the first round. `recalled`: of other contents of the same machine, if anything is known of any.
    """

    def __init__(self, side: Side, terms: Terms, places: Places, observer: Observer,
                 awaited: tuple[Vector, ...] = (), bare: Bare | None = None,
                 recalled: Recalled | None = None) -> None:
        self.recalled = recalled
        self.side, self.places, self.observer = side, places, observer
        self.vectors: list[Vector] = []
        self.rows: list[tuple[GraphRow, ...]] = []
        self.ends: dict[int, End] = {}
        self.also: dict[int, tuple[tuple[str, int], ...]] = {}
        self.moves: dict[Vector, list[Move] | Unresolved] = {}
        self.awaited, self.bare = awaited, bare
        waiting = leaves([value for vector in awaited for value in vector])
        self._left_behind = tuple((number, leaf) for number, leaf in enumerate(places.pointers)
                                  if leaf not in places.steering and (leaf in waiting or leaf in places.counting))
        self._later: dict[tuple[Leaf, Node], Later] = {}
        self._terms = terms
        self._steering = tuple(leaf in places.steering for leaf in places.leaves)
        self._since = frozenset(places.since.values())
        self._unknown = frozenset((*places.pointers, *places.at_reset.values()))
        self._index: dict[object, int] = {}
        self._arrivals: dict[tuple[Vector, bool], int] = {}
        self._waiting: list[int] = []

    # ------------------------------------------------------------ nodes

    def met(self, vector: Vector) -> int | None:
        """The number of a node that was met already."""
        return self._index.get(vector)

    def node(self, vector: Vector) -> int:
        """The number of the node of a vector; met for the first time, it waits to be followed."""
        found = self._index.get(vector)
        if found is None:
            found = self._index[vector] = self._new(vector)
            self._waiting.append(found)
        return found

    def enter(self, vector: Vector) -> int:
        """The node of a vector, with everything forgotten that nobody will ask about."""
        return self.node(self._remembered(vector))

    def general(self, vector: Vector) -> Vector:
        """The vector with nothing known but what makes the control address, and which opcodes were loaded since one was
        asked about."""
        return tuple([value if steers or value in self._since else leaf
                      for value, leaf, steers in zip(vector, self.places.leaves, self._steering)])

    def place_of(self, vector: Vector) -> Vector:
        """The vector with only the pointers known that make the control address, and what lets opcodes through,
        whatever the instruction."""
        first = len(self.places.pointers)
        return (*self.general(vector)[:first], *[value if leaf in self.places.gates else leaf
                                                 for value, leaf in zip(vector[first:], self.places.data)])

    def follow(self) -> None:
        """Follow every node that waits, and what is met on the way."""
        while self._waiting:
            node = self._waiting.pop()
            found = self.moves_at(self.vectors[node])
            if isinstance(found, Unresolved):
                self._end_here(node, found)
            else:
                arrive = self._arrive
                self.rows[node] = tuple([GraphRow(move.guard, move.addresses, move.does,
                                                  arrive(move.vector, move.wired))
                                         for move in found])

    def _new(self, vector: Vector) -> int:
        self.vectors.append(vector)
        self.rows.append(())
        return len(self.vectors) - 1

    def _remembered(self, vector: Vector) -> Vector:
        general = self.general(vector)
        if self.bare is None or general == vector:
            return general
        wanted = self.bare.wanted.get(general)
        if wanted is None:
            return vector
        return tuple([value if steers or leaf in wanted or value in self._since else leaf
                      for value, leaf, steers in zip(vector, self.places.leaves, self._steering)])

    # ------------------------------------------------------------ moves

    def moves_at(self, vector: Vector) -> list[Move] | Unresolved:
        """Every way on from a vector."""
        found = self.bare.moves.get(vector) if self.bare is not None else None
        if found is None and self.recalled is not None:
            found = self.recalled.at(vector)
        if found is None:
            self.places.touched.clear()
            places = self.places.at(vector)
            found = places if isinstance(places, Unresolved) else [
                move for place in places for move in self._moves(place)]
            if self.recalled is not None:
                self.recalled.note(vector, found, frozenset(self.places.touched))
        self.moves[vector] = found
        return found

    def _moves(self, place: ControlPlace) -> list[Move]:
        does, asks = self.observer.at(place)
        steps = self.places.after(place)
        keeps, passes = self.places.fate(place)
        passes |= asks
        return [Move(joint, place.addresses, self.observer.taking(does, step.taken), step.vector, step.wired, passes,
                     keeps) for step in steps if (joint := self.places.both(place.guard, step.guard))]

    def _arrive(self, vector: Vector, wired: bool) -> int:
        key = (vector, wired)
        found = self._arrivals.get(key)
        if found is None:
            found = self._arrivals[key] = self._arrived(vector, wired)
        return found

    def _arrived(self, vector: Vector, wired: bool) -> int:
        if self.at_home(vector):
            return self._end(End("home", "", self.place_of(vector)), vector)
        if wired:
            return self._end(End("wired", "", self.place_of(vector)), vector)
        return self.node(self._remembered(vector))

    def at_home(self, vector: Vector) -> bool:
        """True at the instruction boundary, whatever the conditions."""
        if self.side.home is None:
            return False
        found = self.places.home.get(vector)
        if found is None:
            known: dict[Node, Node] = dict(zip(self.places.leaves, vector))
            held = substitute(self._terms, (self.side.home,), known)[0]
            found = self.places.home[vector] = type(held) is Const and held.value == 1
        return found

    # ------------------------------------------------------------ ends

    def _end(self, end: End, vector: Vector) -> int:
        left, held = self._behind(vector)
        end = end._replace(left=left)
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
        where = self._returning(vector) if why.why == "return" else self.general(vector)
        left, held = self._behind(vector)
        self.ends[node] = End(why.why, why.store, where, left)
        self._attach(node, held)

    def _returning(self, vector: Vector) -> Vector:
        """Where a return goes: pointers that make the address, are unknown, or are in terms of unknown ones."""
        return tuple(leaf if type(value) is Const and leaf not in self.places.steering else value
                     for value, leaf in zip(vector, self.places.pointers))

    def _behind(self, vector: Vector) -> tuple[tuple[tuple[str, Node | None], ...], tuple[tuple[str, Vector], ...]]:
        """What pointers hold at an end that are not part of where it is. A place is told by where it leads: per return
        that may go there at once or later, or to a place that is counted from it, its name and its vector. Where words
        beside have a part in that, the place counts as the number that it is, too."""
        held: list[tuple[str, Vector]] = []
        kept = self.places.kept(vector)
        values = dict(zip(self.places.pointers, kept))
        places = {leaf: value for number, leaf in self._left_behind
                  if self._is_told(value := kept[number]) and leaf not in self.places.counting}
        untold: set[Leaf] = set()
        unlike: set[Leaf] = set()
        for awaited in self.awaited:
            filled = self.returned(awaited, values)
            if filled is not None:
                held.append((_names(awaited), filled))
            asked = leaves(self.steers(awaited))
            for leaf, place in places.items():
                found = self._values_later(leaf, place)
                if not found.told.isdisjoint(asked) or (filled is None and leaf in asked):
                    untold.add(leaf)
                if found.endless:
                    unlike.add(leaf)
                for number, (taker, value) in enumerate(found.values):
                    if taker not in asked:
                        continue
                    there = self.returned(awaited, {**values, taker: value})
                    if there is None:
                        untold.add(leaf)
                    else:
                        which = f" ({number + 1})" if number else ""
                        held.append((f"where `{leaf.name}` leads later{which}, {_names(awaited)}", there))
        left = tuple([(leaf.name, self.places.unlike(leaf) if leaf in unlike else
                       None if leaf in places and leaf not in untold else kept[number])
                      for number, leaf in self._left_behind])
        return left, tuple(held)

    def _values_later(self, leaf: Leaf, place: Node) -> Later:
        found = self._later.get((leaf, place))
        if found is None:
            found = self._later[leaf, place] = later(leaf, place, self.side.sequencing, self.places.steering,
                                                     self._terms)
        return found

    def returned(self, awaited: Vector, values: dict[Leaf, Node]) -> Vector | None:
        """Where a return goes when pointers have these values; None when that is still not known."""
        known: dict[Node, Node] = {leaf: values[leaf] for leaf in leaves(awaited) if leaf in values}
        filled = substitute(self._terms, awaited, known)
        steers = self.steers(filled)
        if not all(self._is_told(value) for value in steers):
            return None
        asked = leaves(steers)      # what the opcode is by then is not what it was when the place was kept
        return self.general((*filled, *[self.places.since.get(leaf, leaf) if leaf in asked else leaf
                                        for leaf in self.places.data]))

    def _is_told(self, value: Node) -> bool:
        """Whether a place is said, by lines if not by number, and not only that it is what a pointer holds."""
        return not any(leaf in self._unknown for leaf in leaves((value,)))

    def steers(self, where: Vector) -> Vector:
        """Of the pointers' values, those that make the control address."""
        return tuple(value for value, leaf in zip(where, self.places.pointers) if leaf in self.places.steering)

    def _attach(self, node: int, held: tuple[tuple[str, Vector], ...]) -> None:
        if held:
            self.also[node] = tuple([(name, self._arrive(filled, False)) for name, filled in held])


def later(pointer: Leaf, place: Node, sequencing: Sequencing, steering: tuple[Leaf, ...], terms: Terms) -> Later:
    """What becomes of a place that a pointer holds, up to the pointers that make the control address."""
    values: dict[tuple[Leaf, Node], None] = {(pointer, place): None}
    waiting = [(pointer, place)]
    told: set[Leaf] = set()
    endless = False
    while waiting:
        holder, value = waiting.pop()
        for taker in sequencing.pointers if holder not in steering else ():
            for choice in choices(sequencing.nexts[taker]):
                if holder not in value_leaves(choice):
                    continue
                made = substitute(terms, (choice,), {holder: value})[0]
                if not set(leaves((made,))) <= set(leaves((value,))):
                    told.add(taker)
                elif len(values) > MOST_LATER:
                    endless = True
                elif (taker, made) not in values:
                    values[taker, made] = None
                    waiting.append((taker, made))
    while more := {taker for taker in sequencing.pointers if taker not in told and any(
            leaf in told and leaf not in steering for leaf in value_leaves(sequencing.nexts[taker]))}:
        told |= more
    return Later(tuple(values)[1:], frozenset(told), endless)


def _names(vector: Vector) -> str:
    return "return by " + ", ".join(sorted({leaf.name for leaf in leaves(vector)}))
