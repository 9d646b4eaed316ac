"""What the states that were reached say about the conditions of the question.

A proof step is one AND: the family reached at a spot with the set in which a condition can hold there.
"""

from typing import NamedTuple

from ordain.logic.putting import put_in
from ordain.machine.expression import Const, Node
from ordain.prover.relation.word_classes import Atom, Kind, Place, Places
from ordain.prover.search.breadth_first import Search
from ordain.prover.search.conditions import Entry, Inquiry, Standing
from ordain.prover.search.state_sets import Families, Pairs

Region = dict[int, int]
"""States: number of a spot -> number of a family, no empty ones."""
State = tuple[int, int, int]
"""One state: number of the spot, carried bits, number of the valuation of the surroundings."""


class Hit(NamedTuple):
    """Reached states at a spot in which some input makes a condition true, the selectors being those in `here`."""

    number: int
    here: int
    family: int


class Answers:
    """`dead`: reached states without any input that satisfies the assumptions. `lively`: (spot, here) in which there
    are cycles at all."""

    def __init__(self, search: Search, inquiry: Inquiry) -> None:
        self.search, self.inquiry = search, inquiry
        self._states: list[Region] = [{} for _ in inquiry.conditions]
        self.dead: Region = {}
        self.lively: list[tuple[int, int]] = []
        self._seen: list[list[tuple[int, int]]] | None = None
        self._asking = Asking(search.families, search.places, inquiry)
        families, states = search.families, self._states
        for number, spot in enumerate(search.spots):
            family = search.reached[number]
            if not family:
                continue
            alive = 0
            for here in search.places.selections(spot):
                some, held = self._asking.at(here, family)
                if some:
                    self.lively.append((number, here))
                    alive = families.join(alive, some)
                for condition, there in held.items():
                    known = states[condition].get(number)
                    states[condition][number] = there if known is None else families.join(known, there)
            dead = families.without(family, alive)
            if dead:
                self.dead[number] = dead

    def states(self, condition: int) -> Region:
        """The reached states in which some input makes a condition, by number, true; in the order in which spots were
        found. Not to be changed."""
        return self._states[condition]

    def hits(self, condition: int) -> list[Hit]:
        """The same, the choices of selectors apart."""
        return [Hit(number, here, there) for number in self._states[condition]
                for here in self.search.places.selections(self.search.spots[number])
                if (there := self._asking.at(here, self.search.reached[number])[1].get(condition))]

    def depends_on_inputs(self, number: int, condition: int) -> bool:
        """Whether it can depend on something free (selectors are that, too) whether a condition holds at a spot."""
        places = self.search.places
        selections = places.selections(self.search.spots[number])
        if len(selections) > 1:
            return True
        (here,) = selections
        return condition in self.inquiry.at(here, places.at(here)).on_inputs

    def first(self, states: Region) -> tuple[int, State] | None:
        """Of reached states, given in the order in which spots were found: the level at which the first of them was
        reached, and that state; of several at one level the one with the lowest numbers."""
        best: tuple[int, State] | None = None
        families, seen = self.search.families, self._first_seen()
        for number, family in states.items():
            for level, new in seen[number]:
                if best is not None and level >= best[0]:
                    break
                both = families.meet(new, family)
                if both:
                    best = level, (number, *families.lowest(both))
                    break
            if best is not None and best[0] == 0:
                break
        return best

    def _first_seen(self) -> list[list[tuple[int, int]]]:
        """Per spot the levels at which something new came to it, with what was new."""
        if self._seen is None:
            self._seen = [[] for _ in self.search.spots]
            for level, new in enumerate(self.search.levels):
                for number, family in new.items():
                    self._seen[number].append((level, family))
        return self._seen

    def states_of(self, hits: list[Hit]) -> Region:
        """The states of some hits, whatever the selectors."""
        joined: Region = {}
        for number, _, family in hits:
            joined[number] = self.search.families.join(joined.get(number, 0), family)
        return joined

    def size(self, states: Region) -> int:
        return sum(map(self.search.families.size, states.values()))


class Asking:
    """Puts the conditions of the question to families of states at a spot."""

    def __init__(self, families: Families, places: Places, inquiry: Inquiry) -> None:
        self._families, self._places, self._inquiry = families, places, inquiry
        self._carried = places.shape.carried
        self._asked: dict[Place, tuple[int, dict[int, tuple[int, dict[int, int]]], Standing]] = {}
        self._held: dict[tuple[int, ...], dict[int, tuple[int, dict[int, int]]]] = {}
        self._plain: dict[tuple[int, int], tuple[list[tuple[int, int]], list[Entry]]] = {}
        self._one: dict[tuple[int, ...], int] = {}
        self._wheres: dict[tuple[Node, ...], int] = {}

    def at(self, here: int, family: int) -> tuple[int, dict[int, int]]:
        """(the states that have a cycle at all, number of a condition -> the states in which it can hold)."""
        place = self._places.at(here)
        asked = self._asked.get(place)
        if asked is None:
            asked = self._asked[place] = self._ask(here, place)
        mask, known, standing = asked
        key = (here & mask) << 32 | family
        found = known.get(key)
        if found is None:
            found = known[key] = self._hold(here, place, standing, family)
        return found

    def _ask(self, here: int, place: Place) -> tuple[int, dict[int, tuple[int, dict[int, int]]], Standing]:
        """The bits of control, beside those carried, that make a difference to the answers; the answers known, by these
        bits and families, where all places with the same questions share them; the questions."""
        standing = self._inquiry.at(here, place)
        reads, of_words = standing.reads, standing.of_words
        for atom in place.of.atoms:
            reads, of_words = reads | atom.reads, of_words or atom.of_words
        known = self._held.setdefault((id(standing), id(place.of), place.words if of_words else -1), {})
        return reads & ~self._carried, known, standing

    def _hold(self, here: int, place: Place, standing: Standing, family: int) -> tuple[int, dict[int, int]]:
        families, alive = self._families, 0
        held: dict[int, int] = {}
        for values, states in cut(families, self._carried, here, place.words, place.of.atoms, family):
            kind = self._places.kind(place.of, values)
            alive = families.join(alive, families.within(states, families.sets.number(kind.allowed)))
            plain, others = self._apart(standing, kind)
            for number, where in plain:
                there = families.within(states, where)
                if there:
                    held[number] = families.join(held.get(number, 0), there)
            for entry in others:
                there = self._of_one(here, place.words, entry, kind, states)
                if there:
                    held[entry.number] = families.join(held.get(entry.number, 0), there)
        return alive, held

    def _apart(self, standing: Standing, kind: Kind) -> tuple[list[tuple[int, int]], list[Entry]]:
        """Of the conditions in a cycle of a kind, (number, the set, by number, in which it can hold) where that depends
        on the surroundings alone, and those with terms over control."""
        key = id(standing), id(kind)
        apart = self._plain.get(key)
        if apart is None:
            plain = [(entry.number, where) for entry in standing.entries
                     if not entry.atoms and (where := self._where(entry.node, kind))]
            apart = self._plain[key] = plain, [entry for entry in standing.entries if entry.atoms]
        return apart

    def _of_one(self, here: int, words: int, entry: Entry, kind: Kind, states: int) -> int:
        """The states in which a condition can hold, the cycle being of a kind."""
        key = (id(entry), id(kind), here & entry.reads & ~self._carried, words if entry.of_words else -1, states)
        found = self._one.get(key)
        if found is None:
            families, found = self._families, 0
            for known, some in cut(families, self._carried, here, words, entry.atoms, states):
                where = self._where(self._put(entry.node, entry.atoms, known), kind)
                if where:
                    found = families.join(found, families.within(some, where))
            self._one[key] = found
        return found

    def _put(self, node: Node, atoms: tuple[Atom, ...], values: tuple[int, ...]) -> Node:
        if not atoms:
            return node
        terms = self._places.shape.terms
        known = {atom.node: terms.const(value, atom.node.width) for atom, value in zip(atoms, values)}
        return put_in(terms, (node,), known)[0]

    def _where(self, condition: Node, kind: Kind) -> int:
        """The set, by number, in which some input makes the condition and the assumptions true."""
        if type(condition) is Const and not condition.value:
            return 0
        key = (condition, *kind.assumed)
        where = self._wheres.get(key)
        if where is None:
            where = self._wheres[key] = self._families.sets.number(self._places.branching.satisfiable(key))
        return where


def occurs(search: Search, places: Places, region: Region, condition: Node) -> bool | None:
    """Whether some input makes a condition over the leaves of the split true in a state of a region; None when it was
    not found, but the search does not keep all that the condition looks at in some of the states."""
    inquiry = Inquiry(places, (condition,))
    asking = Asking(search.families, places, inquiry)
    every = True
    for number, family in region.items():
        for here in places.selections(search.spots[number]) if family else ():
            if not inquiry.kept(here):
                every = False
            elif asking.at(here, family)[1]:
                return True
    return False if every else None


def cut(families: Families, carried: int, here: int, words: int, atoms: tuple[Atom, ...],
        family: int) -> list[tuple[tuple[int, ...], int]]:
    """(values of the atoms at a place, the states of the family in which they have them). `carried`: the mask of the
    carried bits."""
    if not any(atom.reads & carried for atom in atoms):
        return [(tuple([atom.closure(here, words) for atom in atoms]), family)]
    parts: dict[tuple[int, ...], Pairs] = {}
    for bits, inside in families.pairs[family].items():
        values = tuple([atom.closure(here | bits, words) for atom in atoms])
        parts.setdefault(values, {})[bits] = inside
    return [(values, families.number(pairs)) for values, pairs in parts.items()]
