"""Both control graphs in one partition: what can be told apart, and what cannot."""

from collections.abc import Hashable
from typing import NamedTuple, TypeAlias

from ordain.compare.correspondence import Correspondence, correspond
from ordain.compare.effects import Agreed, Meanings, agree, effects_of, said_beside
from ordain.compare.entrances import Paired, pair_entrances, partition
from ordain.compare.equal_terms import EqualTerms
from ordain.compare.graph import Bare, ControlGraph, End, Recalled
from ordain.compare.observation import Doings, Observer
from ordain.compare.orders import Orders
from ordain.compare.places import Places, Vector
from ordain.compare.roots import Entered, enter, returns
from ordain.compare.shown import Numbers, Shown, read_alike
from ordain.compare.side import Side, make_side
from ordain.logic.diagrams import Functions
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Node, Terms, leaves
from ordain.machine.redrawn import with_counters
from ordain.rom.contents import Contents


class Common(NamedTuple):
    """What two contents have in common, whatever their control stores hold: all that is worked out before a graph is
    followed. `sides`: old and new. `identical`: what is not known of a place is the same on both sides."""

    correspondence: Correspondence
    terms: Terms
    functions: Functions
    equal_terms: EqualTerms
    sides: tuple[Side, Side]
    agreed: Agreed
    places: tuple[Places, Places]
    observers: tuple[Observer, Observer]
    identical: bool

    def holding(self, contents: Contents) -> "Common":
        """The same with other words in the control stores of the new side."""
        (old, new), (old_places, new_places) = self.sides, self.places
        held = new.contents._replace(words=contents.words)
        return self._replace(sides=(old, new._replace(contents=held)), places=(old_places, new_places.holding(held)))


class JointGraph(NamedTuple):
    """`entered`: old and new. `old_block[n]` == `new_block[m]`: node n of the old graph and node m of the new
    one do the same until they come to an entrance, come to the same one, and leave the same behind for whoever asks
    later. `paired`: which entrances are the same."""

    common: Common
    entered: tuple[Entered, Entered]
    old_block: tuple[int, ...]
    new_block: tuple[int, ...]
    paired: Paired

    @property
    def graphs(self) -> tuple[ControlGraph, ControlGraph]:
        return self.entered[0].graph, self.entered[1].graph

    def called(self, side: int, end: End) -> Hashable:
        """What an end is, whatever it leaves behind: one that is the same on both sides is called alike."""
        if end.kind == "return":
            return "return", end.where
        plain = end._replace(left=())
        if end.kind == "lost" or plain in self.entered[side].untold:
            return "lost", 0 if self.common.identical else side, end.where
        return self.paired.symbols[side][plain]

    def ended(self, side: int, node: int) -> Hashable | None:
        """What a node is called that is an end; None of any other."""
        end = self.graphs[side].ends.get(node)
        return None if end is None else self.called(side, end)


def join(old: Contents, new: Contents) -> JointGraph:
    """Follow both graphs and find out which of their nodes do the same."""
    return joined(common_of(old, new))


def common_of(old: Contents, new: Contents, apart: bool = False) -> Common:
    """`apart`: the sides count as two machines even where they are one."""
    old, new = (each._replace(machine=with_counters(each.machine)) for each in (old, new))
    correspondence = correspond(old, new)
    terms = Terms()
    sides = (make_side(old, terms, correspondence.renames), make_side(new, terms))
    pairing = correspondence.pairing._replace(places=_places(sides, correspondence, terms))
    correspondence = correspondence._replace(pairing=pairing)
    beside = said_beside(sides, pairing, terms)
    functions = Functions(leaves([term for side, said in zip(sides, beside)
                                  for term in (*_all_terms(side, terms), *said.values())]))
    identical = not apart and _identical(sides, terms)
    (before, now), (first, second) = sides, ("", "") if identical else ("before", "after")
    equal_terms = EqualTerms(terms, functions)
    meanings = (Meanings(terms, equal_terms, before, first), Meanings(terms, equal_terms, now, second))
    stores, numbers = read_alike(before, now), Numbers()
    shown = (Shown(before, terms, equal_terms, stores, first, numbers),
             Shown(now, terms, equal_terms, stores, second, numbers))
    agreed = agree(before, now, terms, meanings, _plain(sides, correspondence), beside)
    orders = (Orders(before, pairing, True), Orders(now, pairing, False))
    doings: Doings = {}
    places = tuple(Places(side, terms, functions, meanings[mine], shown[mine]) for mine, side in enumerate(sides))
    observers = tuple(Observer(side, terms, agreed, mine, meanings[mine], shown[mine], orders[mine], doings)
                      for mine, side in enumerate(sides))
    return Common(correspondence, terms, functions, equal_terms, sides, agreed, (places[0], places[1]),
                  (observers[0], observers[1]), identical)


Walked: TypeAlias = dict[tuple[Vector, ...], tuple[Entered, Bare]]
"""The graph of one side, by what is awaited in it."""


def joined(common: Common, recalled: tuple[Recalled | None, Recalled | None] = (None, None),
           walked: Walked | None = None, awaited: tuple[Vector, ...] = ()) -> JointGraph:
    """Both graphs followed, and put into one partition. `recalled`: what is known of each side's moves. `walked`: what
    is known of the old side's graph, for whoever holds the same old side against many; what is found is added.
    `awaited`: what is awaited in the old side's, if that is known."""
    entered = _entered(common, recalled, {} if walked is None else walked, (awaited, awaited))
    paired = pair_entrances(entered)
    offset = len(entered[0].graph.vectors)

    joint = JointGraph(common, entered, (), (), paired)
    blocks = partition((entered[0].graph, entered[1].graph), offset, joint.called, lambda side, end: [])
    return joint._replace(old_block=tuple(blocks[:offset]), new_block=tuple(blocks[offset:]))


def _identical(sides: tuple[Side, Side], terms: Terms) -> bool:
    """True when both sides are one machine with one content, place by place, and hold the same places when they start.
    Then a place that is not known, and an address that cannot be told, is the same on both."""
    old, new = sides
    return (old.contents.words == new.contents.words and effects_of(old, terms) == effects_of(new, terms)
            and old.sequencing == new.sequencing and old.home is new.home and old.readers == new.readers
            and _first_places(old) == _first_places(new))


def _first_places(side: Side) -> list[int | None]:
    machine = side.machine
    return [(machine.states if leaf.kind == "state" else machine.registers)[leaf.name].reset
            for leaf in side.sequencing.pointers]


def _all_terms(side: Side, terms: Terms) -> list[Node]:
    return [*side.sequencing.nexts.values(), *side.sequencing.stores.values(), *effects_of(side, terms).values()]


def _plain(sides: tuple[Side, Side], correspondence: Correspondence) -> frozenset[str]:
    """The fields that are compared value by value and always mean something."""
    return frozenset(
        name for name, (other, numbers) in correspondence.pairing.values.items()
        if name == other and numbers is None and name not in correspondence.pairing.loose
        and all(side.machine.fields[name].idle != "any" and name not in side.sequencing.address_fields
                and side.machine.fields[name].store in side.sequencing.control for side in sides))


def _places(sides: tuple[Side, Side], correspondence: Correspondence,
            terms: Terms) -> tuple[frozenset[str], frozenset[str]]:
    """Per side the fields that only say where control goes. One that says so on the other side, as a mask does that
    lets conditions to the lines of an address, is none of them by how the gates are written here; all that it brings
    about is held against the other side as it is, as far as it is read."""
    found = [set(side.sequencing.address_fields) for side in sides]
    for old, (new, _) in correspondence.pairing.values.items():
        for mine, (name, other) in enumerate(((old, new), (new, old))):
            width = sides[mine].machine.fields[name].width
            if other in sides[1 - mine].sequencing.address_fields and bits_read(_all_terms(sides[mine], terms)).get(
                    terms.leaf("field", name, width)) == (1 << width) - 1:
                found[mine].add(name)
    return frozenset(found[0]), frozenset(found[1])


def _entered(common: Common, recalled: tuple[Recalled | None, Recalled | None], walked: Walked,
             awaited: tuple[tuple[Vector, ...], tuple[Vector, ...]]) -> tuple[Entered, Entered]:
    """Both graphs. When some way returns to a caller that is not known, they are followed again, and every end then
    remembers the places that such a return could go to."""
    bare: list[Bare | None] = [None, None]
    places = common.places

    def followed(mine: int) -> Entered:
        own = awaited[mine]
        known = walked.get(own) if mine == 0 else None
        if known is None:
            known = enter(common.sides[mine], common.terms, places[mine], common.observers[mine], own, bare[mine],
                          recalled[mine])
        if mine == 0:
            walked[own] = known
        bare[mine] = known[1]
        return known[0]

    while True:
        first, second = followed(0), followed(1)
        found = (returns(first), returns(second))
        if places[0].pointers == places[1].pointers:
            both = tuple(dict.fromkeys((*found[0], *found[1])))
            found = (both, both)
        if all(set(now) <= set(before) for now, before in zip(found, awaited)):
            return first, second
        awaited = (tuple(dict.fromkeys((*awaited[0], *found[0]))), tuple(dict.fromkeys((*awaited[1], *found[1]))))
