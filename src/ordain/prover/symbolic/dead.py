"""Dead bits: what a variable holds does not matter until it is set again. There it is held at 0, so that sets of states
do not remember what nobody will read: the opcode of an instruction that is under way, a return address that was used.

The *place* of a state is a part of it: the variables that form the address, and some more. Whether a variable is dead
is said by the place alone. With D(v) the places at which v is dead, L(v) the others, and S a set of states:

1. At a state of S at a place in D(v), no condition that is asked, and nothing that is required, depends on v.
2. If there the next value of w depends on v, the place of the next state is in D(w). (No variable of the place is ever
   dead, so the place of the next state does not depend on v.)
3. S has every state that can be reached, and with a state all those that differ from it in variables dead at its
   place.

Then two states of S that differ in dead variables only allow the same inputs, fulfil the same conditions, and the
states that follow them differ in dead variables only, one variable changed after the other. So whoever holds dead
variables at 0 after every cycle reaches, instead of each state, one that nothing tells from it.

L is a least fixpoint over S. What can be reached is taken from a search in which only the place, and what is moved to
addresses and from them, is looked at and everything else is free: more than can be reached. Call it R. A first fixpoint
over R gives L', then S is R with all states that differ in what L' calls dead; the second fixpoint, over S, gives L,
which calls fewer variables dead, so that 3 holds. (Liveness of variables: Aho, Sethi, Ullman, *Compilers*, 1986, 10.6.)
"""

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from oxidd.bdd import BDDFunction

from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import AND, Conjunct, Relation, parts_of, scheduled
from ordain.prover.symbolic.space import Space

OFTEN = 2
"""A variable that is set by more than one in so many of the words belongs to the place."""
SELDOM = 4
"""A variable that is live at more than one in so many of the places is not held at 0: to say where costs more."""


class Support(NamedTuple):
    """What a condition or next value looks at. `atoms`: on which it can depend."""

    holds: BDDFunction
    atoms: int


def live_atoms(space: Space, required: Conjunct, observed: Sequence[Support], place: int, family: Sequence[int],
               start: BDDFunction, look: Callable[[], None]) -> tuple[int, dict[int, BDDFunction], set[int]]:
    """The atoms of the place; for every atom that can be dead the places, a set, where it is not; and the atoms that
    are dead at most places. `observed`: every condition that is asked; `place`: the atoms that form addresses, and what
    selects among stored ones; `family`: the atoms of each variable whose value is moved to an address or from one;
    `start`: the states at the start."""
    if not place:
        return place, {}, set()
    known = place
    for atoms in family:
        known |= atoms
    found = _over_all(space, required, known, start, look)
    place |= sum(atoms for atoms in family if not atoms & place and _often(space, found, atoms, place))
    watched = [atoms for atoms in _held(space) if not atoms & place]
    effects = _Effects(space, required, observed, place, watched, look)
    dead = effects.live(found)
    for atoms, live in dead.items():
        found = found | (found & ~live).exists(space.cube(members(atoms)))
    places, width = effects.places(found), place.bit_count()
    every = places.sat_count(width)
    result, held = dict[int, BDDFunction](), set[int]()
    for atoms, live in effects.live(found).items():
        result.update((atom, _simpler(live, places)) for atom in members(atoms))
        if SELDOM * live.sat_count(width) < every:
            held.update(members(atoms))
    return place, result, held


def _held(space: Space) -> list[int]:
    """The variables of the machine that can stay as they are, a set of atoms each."""
    found = []
    for variable in space.variables:
        atoms = space.atoms.set_of(variable.leaf)
        if variable.origin != "monitor" and any(space.reads[atom] & atoms for atom in members(atoms)):
            found.append(atoms)
    return found


def _simpler(live: BDDFunction, places: BDDFunction) -> BDDFunction:
    """Where a variable is live; of places to which control does not come either may be said."""
    other = live | ~places
    return live if live.node_count() <= other.node_count() else other


def _over_all(space: Space, required: Conjunct, known: int, start: BDDFunction,
              look: Callable[[], None]) -> BDDFunction:
    """More than can be reached, as far as some atoms know: all the others may have any value at any time."""
    others = _but(known, space.atoms.count)
    relation = Relation(space, parts_of(space, members(known), look), known, required, look)
    found = now = start.exists(space.cube(atom for atom in members(others) if atom < space.states))
    while now.satisfiable():
        now = relation.after(now) & ~found
        found = found | now
    return found


def _often(space: Space, states: BDDFunction, atoms: int, place: int) -> bool:
    """Whether a variable is set by many of the words."""
    others = space.cube(members(_but(place, space.atoms.count)))
    changed = space.false
    for atom in members(atoms):
        changed = changed | (space.function(atom) ^ space.now[atom])
    every = states.exists(others)
    set_by = states.apply_exists(AND, changed, others)
    width = place.bit_count()
    return OFTEN * set_by.sat_count(width) > every.sat_count(width)


class _Effects:
    """Where variables are read, and how they come into others."""

    def __init__(self, space: Space, required: Conjunct, observed: Sequence[Support], place: int,
                 watched: Sequence[int],
                 look: Callable[[], None]) -> None:
        self._space, self._watched, self._look = space, watched, look
        others = _but(place, space.atoms.count)
        self._others = space.cube(members(others))
        self._next = space.next_cube(members(place))
        self._to_next = space.renamed(members(place), True)
        self._steps = scheduled(space, parts_of(space, members(place), look), others)
        unwatched = [Support(space.function(atom), space.reads[atom])
                     for atom in members(_but(_all(watched), space.states))]
        read = [Support(required.holds, required.reads), *observed, *unwatched]
        self._read = {atoms: self._depending(atoms, read) for atoms in watched}
        self._into = {(target, atoms): depending for target in watched for atoms in watched
                      if (depending := self._depending(atoms, [Support(space.function(atom), space.reads[atom])
                                                               for atom in members(target)])).satisfiable()}

    def _depending(self, atoms: int, seen: Iterable[Support]) -> BDDFunction:
        """The cycles in which something depends on a variable."""
        found, cube = self._space.false, self._space.cube(members(atoms))
        for holds, reads in seen:
            if reads & atoms:
                self._look()
                found = found | holds.exists(cube) & ~holds.forall(cube)
        return found

    def places(self, states: BDDFunction) -> BDDFunction:
        return states.exists(self._others)

    def live(self, states: BDDFunction) -> dict[int, BDDFunction]:
        """For each variable the places where it is not dead, as far as some states are concerned."""
        found = {}
        for atoms in self._watched:
            self._look()
            found[atoms] = states.apply_exists(AND, self._read[atoms], self._others)
        ways: dict[tuple[int, int], BDDFunction] = {}
        for (target, atoms), depending in self._into.items():
            way = states & depending
            for holds, quantified in self._steps:
                self._look()
                way = way.apply_exists(AND, holds, quantified)
            ways[target, atoms] = way
        waiting = list(self._watched)
        while waiting:
            target = waiting.pop(0)
            following = found[target].substitute(self._to_next)
            for (other, atoms), way in ways.items():
                if other == target:
                    self._look()
                    more = found[atoms] | way.apply_exists(AND, following, self._next)
                    if more != found[atoms]:
                        found[atoms] = more
                        waiting += [] if atoms in waiting else [atoms]
        return found


def _but(atoms: int, count: int) -> int:
    """The first so many atoms but for some."""
    return sum(1 << atom for atom in range(count) if not atoms >> atom & 1)


def _all(sets: Iterable[int]) -> int:
    found = 0
    for atoms in sets:
        found |= atoms
    return found
