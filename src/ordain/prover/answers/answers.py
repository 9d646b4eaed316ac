"""What the states that were reached say about the conditions of the question.

A proof step is one AND: the state set reached at a point with the set in which a condition can hold there.
"""

from typing import NamedTuple

from ordain.logic.putting import put_in
from ordain.machine.expression import Const, Node
from ordain.prover.relation.word_classes import Atom, CycleClass, Entrance, WordClasses
from ordain.prover.search.breadth_first import Search
from ordain.prover.search.conditions import Cofactor, Cofactors, Queries
from ordain.prover.search.state_sets import Pairs, StateSets

Region = dict[int, int]
"""States: number of a point -> number of a state set, no empty ones."""
State = tuple[int, int, int]
"""One state: number of the point, carried bits, number of the valuation of the environment."""


class Hit(NamedTuple):
    """Reached states at a point in which some input makes a condition true, the selectors being those in `here`."""

    number: int
    here: int
    state_set: int


class Answers:
    """`dead`: reached states without any input that satisfies the assumptions. `enabled`: (point, here) in which there
    are cycles at all."""

    def __init__(self, search: Search, queries: Queries) -> None:
        self.search, self.queries = search, queries
        self._states: list[Region] = [{} for _ in queries.conditions]
        self.dead: Region = {}
        self.enabled: list[tuple[int, int]] = []
        self._seen: list[list[tuple[int, int]]] | None = None
        self._asking = Asking(search.state_sets, search.classes, queries)
        state_sets, states = search.state_sets, self._states
        for number, point in enumerate(search.points):
            state_set = search.reached[number]
            if not state_set:
                continue
            alive = 0
            for here in search.classes.selections(point):
                some, held = self._asking.at(here, state_set)
                if some:
                    self.enabled.append((number, here))
                    alive = state_sets.join(alive, some)
                for condition, there in held.items():
                    known = states[condition].get(number)
                    states[condition][number] = there if known is None else state_sets.join(known, there)
            dead = state_sets.without(state_set, alive)
            if dead:
                self.dead[number] = dead

    def states(self, condition: int) -> Region:
        """The reached states in which some input makes a condition, by number, true; in the order in which points were
        found. Not to be changed."""
        return self._states[condition]

    def hits(self, condition: int) -> list[Hit]:
        """The same, the choices of selectors apart."""
        return [Hit(number, here, there) for number in self._states[condition]
                for here in self.search.classes.selections(self.search.points[number])
                if (there := self._asking.at(here, self.search.reached[number])[1].get(condition))]

    def depends_on_inputs(self, number: int, condition: int) -> bool:
        """Whether it can depend on something free (selectors are that, too) whether a condition holds at a point."""
        classes = self.search.classes
        selections = classes.selections(self.search.points[number])
        if len(selections) > 1:
            return True
        (here,) = selections
        return condition in self.queries.at(here, classes.at(here)).on_inputs

    def first(self, states: Region) -> tuple[int, State] | None:
        """Of reached states, given in the order in which points were found: the level at which the first of them was
        reached, and that state; of several at one level the one with the lowest numbers."""
        best: tuple[int, State] | None = None
        state_sets, seen = self.search.state_sets, self._first_seen()
        for number, state_set in states.items():
            for level, new in seen[number]:
                if best is not None and level >= best[0]:
                    break
                both = state_sets.meet(new, state_set)
                if both:
                    best = level, (number, *state_sets.lowest(both))
                    break
            if best is not None and best[0] == 0:
                break
        return best

    def _first_seen(self) -> list[list[tuple[int, int]]]:
        """Per point the levels at which something new came to it, with what was new."""
        if self._seen is None:
            self._seen = [[] for _ in self.search.points]
            for level, new in enumerate(self.search.levels):
                for number, state_set in new.items():
                    self._seen[number].append((level, state_set))
        return self._seen

    def states_of(self, hits: list[Hit]) -> Region:
        """The states of some hits, whatever the selectors."""
        joined: Region = {}
        for number, _, state_set in hits:
            joined[number] = self.search.state_sets.join(joined.get(number, 0), state_set)
        return joined

    def size(self, states: Region) -> int:
        return sum(map(self.search.state_sets.size, states.values()))


class Asking:
    """Puts the conditions of the question to state sets of states at a point."""

    def __init__(self, state_sets: StateSets, classes: WordClasses, queries: Queries) -> None:
        self._state_sets, self._classes_of, self._queries = state_sets, classes, queries
        self._carried = classes.shape.carried
        self._asked: dict[Entrance, tuple[int, dict[int, tuple[int, dict[int, int]]], Cofactors]] = {}
        self._held: dict[tuple[int, ...], dict[int, tuple[int, dict[int, int]]]] = {}
        self._plain: dict[tuple[int, int], tuple[list[tuple[int, int]], list[Cofactor]]] = {}
        self._one: dict[tuple[int, ...], int] = {}
        self._wheres: dict[tuple[Node, ...], int] = {}

    def at(self, here: int, state_set: int) -> tuple[int, dict[int, int]]:
        """(the states that have a cycle at all, number of a condition -> the states in which it can hold)."""
        entrance = self._classes_of.at(here)
        asked = self._asked.get(entrance)
        if asked is None:
            asked = self._asked[entrance] = self._ask(here, entrance)
        mask, known, cofactors = asked
        key = (here & mask) << 32 | state_set
        found = known.get(key)
        if found is None:
            found = known[key] = self._hold(here, entrance, cofactors, state_set)
        return found

    def _ask(self, here: int, entrance: Entrance) -> tuple[int, dict[int, tuple[int, dict[int, int]]], Cofactors]:
        """The bits of control, beside those carried, that make a difference to the answers; the answers known, by these
        bits and state sets, where all classes with the same questions share them; the questions."""
        cofactors = self._queries.at(here, entrance)
        reads, of_words = cofactors.reads, cofactors.of_words
        for atom in entrance.of.atoms:
            reads, of_words = reads | atom.reads, of_words or atom.of_words
        known = self._held.setdefault((id(cofactors), id(entrance.of), entrance.words if of_words else -1), {})
        return reads & ~self._carried, known, cofactors

    def _hold(self, here: int, entrance: Entrance, cofactors: Cofactors, state_set: int) -> tuple[int, dict[int, int]]:
        state_sets, alive = self._state_sets, 0
        held: dict[int, int] = {}
        for values, states in cut(state_sets, self._carried, here, entrance.words, entrance.of.atoms, state_set):
            kind = self._classes_of.kind(entrance.of, values)
            alive = state_sets.join(alive, state_sets.within(states, state_sets.sets.number(kind.allowed)))
            plain, others = self._apart(cofactors, kind)
            for number, where in plain:
                there = state_sets.within(states, where)
                if there:
                    held[number] = state_sets.join(held.get(number, 0), there)
            for entry in others:
                there = self._of_one(here, entrance.words, entry, kind, states)
                if there:
                    held[entry.number] = state_sets.join(held.get(entry.number, 0), there)
        return alive, held

    def _apart(self, cofactors: Cofactors, kind: CycleClass) -> tuple[list[tuple[int, int]], list[Cofactor]]:
        """Of the conditions in a cycle of a kind, (number, the set, by number, in which it can hold) where that depends
        on the environment alone, and those with terms over control."""
        key = id(cofactors), id(kind)
        apart = self._plain.get(key)
        if apart is None:
            plain = [(entry.number, where) for entry in cofactors.entries
                     if not entry.atoms and (where := self._where(entry.node, kind))]
            apart = self._plain[key] = plain, [entry for entry in cofactors.entries if entry.atoms]
        return apart

    def _of_one(self, here: int, words: int, entry: Cofactor, kind: CycleClass, states: int) -> int:
        """The states in which a condition can hold, the cycle being of a kind."""
        key = (id(entry), id(kind), here & entry.reads & ~self._carried, words if entry.of_words else -1, states)
        found = self._one.get(key)
        if found is None:
            state_sets, found = self._state_sets, 0
            for known, some in cut(state_sets, self._carried, here, words, entry.atoms, states):
                where = self._where(self._put(entry.node, entry.atoms, known), kind)
                if where:
                    found = state_sets.join(found, state_sets.within(some, where))
            self._one[key] = found
        return found

    def _put(self, node: Node, atoms: tuple[Atom, ...], values: tuple[int, ...]) -> Node:
        if not atoms:
            return node
        terms = self._classes_of.shape.terms
        known = {atom.node: terms.const(value, atom.node.width) for atom, value in zip(atoms, values)}
        return put_in(terms, (node,), known)[0]

    def _where(self, condition: Node, kind: CycleClass) -> int:
        """The set, by number, in which some input makes the condition and the assumptions true."""
        if type(condition) is Const and not condition.value:
            return 0
        key = (condition, *kind.assumed)
        where = self._wheres.get(key)
        if where is None:
            where = self._wheres[key] = self._state_sets.sets.number(self._classes_of.branching.satisfiable(key))
        return where


def cut(state_sets: StateSets, carried: int, here: int, words: int, atoms: tuple[Atom, ...],
        state_set: int) -> list[tuple[tuple[int, ...], int]]:
    """(values of the atoms at an entrance, the states of the set in which they have them). `carried`: the mask of the
    carried bits."""
    if not any(atom.reads & carried for atom in atoms):
        return [(tuple([atom.closure(here, words) for atom in atoms]), state_set)]
    parts: dict[tuple[int, ...], Pairs] = {}
    for bits, inside in state_sets.pairs[state_set].items():
        values = tuple([atom.closure(here | bits, words) for atom in atoms])
        parts.setdefault(values, {})[bits] = inside
    return [(values, state_sets.number(pairs)) for values, pairs in parts.items()]
