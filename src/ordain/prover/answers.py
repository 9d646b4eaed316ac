"""What the states that were reached say about the conditions of the question.

A proof step is one AND: the family reached at a spot with the set in which a condition can hold there.
"""

from typing import NamedTuple

from ordain.machine.expression import Const, Node
from ordain.prover.places import Atom, Kind, Place, Places
from ordain.prover.search import Search
from ordain.prover.sets import Pairs

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
    """`hits[c]`: of condition number c, in the order in which spots were found. `dead`: reached states without any
    input that satisfies the assumptions. `lively`: (spot, here) in which there are cycles at all."""

    def __init__(self, search: Search, conditions: int) -> None:
        self.search = search
        self.hits: list[list[Hit]] = [[] for _ in range(conditions)]
        self.dead: Region = {}
        self.lively: list[tuple[int, int]] = []
        self._seen: list[list[tuple[int, int]]] | None = None
        asking = Asking(search, search.places)
        for number, spot in enumerate(search.spots):
            family = search.reached[number]
            if not family:
                continue
            alive = 0
            for here in search.places.selections(spot):
                some, held = asking.at(here, family)
                if some:
                    self.lively.append((number, here))
                    alive = search.families.join(alive, some)
                for condition, states in held:
                    self.hits[condition].append(Hit(number, here, states))
            dead = search.families.without(family, alive)
            if dead:
                self.dead[number] = dead

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
        """The states of the hits, whatever the selectors."""
        joined: Region = {}
        for number, _, family in hits:
            joined[number] = self.search.families.join(joined.get(number, 0), family)
        return joined

    def size(self, states: Region) -> int:
        return sum(map(self.search.families.size, states.values()))


class Asking:
    """Puts the conditions of the question to families of states at a spot."""

    def __init__(self, search: Search, places: Places) -> None:
        self._families, self._places, self._shape = search.families, places, search.shape
        self._alike: dict[tuple[object, int], tuple[int, list[tuple[int, int]]]] = {}

    def at(self, here: int, family: int) -> tuple[int, list[tuple[int, int]]]:
        """(the states that have a cycle at all, [(number of a condition, the states in which it can hold)])."""
        places = self._places
        place = places.at(here)
        atoms = self._open(here, place)
        if not any(atom.reads & self._shape.carried for atom in atoms):
            known = tuple(atom.closure(here, place.words) for atom in atoms)
            key = (id(place), known), family
            found = self._alike.get(key)
            if found is None:
                found = self._alike[key] = self._hold(here, place, family)
            return found
        return self._one_by_one(here, place, family)

    def _open(self, here: int, place: Place) -> tuple[Atom, ...]:
        asked = tuple(atom for entry in self._places.asked(here, place) for atom in entry.atoms)
        return (*place.of.atoms, *asked)

    def _hold(self, here: int, place: Place, family: int) -> tuple[int, list[tuple[int, int]]]:
        families = self._families
        number = families.sets.number
        allowed, held = _wheres(self._places, here, place)
        return families.within(family, number(allowed)), [
            (condition, states) for condition, where in held if (states := families.within(family, number(where)))]

    def _one_by_one(self, here: int, place: Place, family: int) -> tuple[int, list[tuple[int, int]]]:
        """The same where the carried bits decide."""
        families = self._families
        sets = families.sets
        alive: Pairs = {}
        held: dict[int, Pairs] = {}
        for carried, inside in families.pairs[family].items():
            allowed, conditions = _wheres(self._places, here | carried, place)
            some = sets.meet(inside, sets.number(allowed))
            if some:
                alive[carried] = some
            for condition, where in conditions:
                there = sets.meet(inside, sets.number(where))
                if there:
                    held.setdefault(condition, {})[carried] = there
        return families.number(alive), [(condition, families.number(pairs)) for condition, pairs in held.items()]


def _wheres(places: Places, state: int, place: Place) -> tuple[int, list[tuple[int, int]]]:
    """For one control state with its selectors: the surroundings that have a cycle, and for each condition of the
    question those in which some input makes it true."""
    kind = kind_at(places, state, place)
    found = []
    for number, node, atoms in places.asked(state, place):
        rest: Node = places.put(node, atoms, state, place.words)
        if type(rest) is not Const or rest.value:
            found.append((number, places.branching.satisfiable((rest, *kind.assumed))))
    return kind.allowed, found


def kind_at(places: Places, state: int, place: Place) -> Kind:
    if place.kind is not None:
        return place.kind
    return places.kind(place.of, tuple([atom.closure(state, place.words) for atom in place.of.atoms]))
