"""What the states that were reached say about the conditions of the question, and how they hang together.

A proof step is one AND: the set reached at a control state with the set in which a condition can hold there.
"""

from typing import NamedTuple

from ordain.machine.expression import Node
from ordain.prover.places import Places
from ordain.prover.relation import Step
from ordain.prover.search import Search


class Hit(NamedTuple):
    """Reached surroundings `where` (not empty) of control state `number` in which some input makes a condition true,
    the selectors being those in `here`."""

    number: int
    here: int
    where: int


class Answers:
    """`hits[c]`: of condition number c, in the order in which control states were found. `dead`: reached surroundings
    without any input that satisfies the assumptions, by control state."""

    def __init__(self, search: Search, conditions: int) -> None:
        self.search = search
        self.hits: list[list[Hit]] = [[] for _ in range(conditions)]
        self.dead: dict[int, int] = {}
        self._seen: list[list[tuple[int, int]]] | None = None
        sets, places = search.sets.sets, search.places
        for number, state in enumerate(search.states):
            reached, allowed = sets[search.reached[number]], 0
            for here, place, kind in places.cycles(state):
                allowed |= kind.allowed
                for condition, where in places.answers(here, place, kind):
                    both = reached & where
                    if both:
                        self.hits[condition].append(Hit(number, here, both))
            if reached & ~allowed:
                self.dead[number] = reached & ~allowed

    def first(self, found: list[tuple[int, int]]) -> tuple[int, int, int] | None:
        """Of states given as (control state, set), in the order in which control states were found: (level, control
        state, surroundings) of the first that was reached; of several at one level the one with the lowest numbers."""
        best: tuple[int, int, int] | None = None
        sets, seen = self.search.sets.sets, self._first_seen()
        for number, where in found:
            for level, new in seen[number]:
                if best is not None and level >= best[0]:
                    break
                both = sets[new] & where
                if both:
                    best = (level, number, lowest(both))
                    break
            if best is not None and best[0] == 0:
                break
        return best

    def _first_seen(self) -> list[list[tuple[int, int]]]:
        """Per control state the levels at which something new came to it, with what was new."""
        if self._seen is None:
            self._seen = [[] for _ in self.search.states]
            for level, new in enumerate(self.search.levels):
                for number, inside in new.items():
                    self._seen[number].append((level, inside))
        return self._seen


def lowest(found: int) -> int:
    """The number of the lowest valuation of a set that is not empty."""
    return (found & -found).bit_length() - 1


def states_of(hits: list[Hit]) -> list[tuple[int, int]]:
    """The states of the hits, whatever the selectors."""
    joined: dict[int, int] = {}
    for number, _, where in hits:
        joined[number] = joined.get(number, 0) | where
    return list(joined.items())


def size(found: list[tuple[int, int]]) -> int:
    return sum(where.bit_count() for _, where in found)


class Ways:
    """Edges among the control states of a search, for cycles restricted by conditions; found as they are asked for."""

    def __init__(self, search: Search, conditions: tuple[Node, ...]) -> None:
        self.search = search
        self.places = Places(search.places.shape, conditions, search.places) if conditions else search.places
        self._edges: dict[int, list[tuple[Step, int]]] = {}

    def of(self, number: int) -> list[tuple[Step, int]]:
        edges = self._edges.get(number)
        if edges is None:
            if self.places is self.search.places:
                edges = self.search.successors(number)
            else:
                edges = self._restricted(number)
            self._edges[number] = edges
        return edges

    def _restricted(self, number: int) -> list[tuple[Step, int]]:
        places, index, state = self.places, self.search.index, self.search.states[number]
        found: dict[tuple[Step, int], None] = {}
        for here in places.selections(state):
            place = places.at(here)
            for edge in places.edges(here, place):
                found[edge.step, index[places.follow(here, place, edge)]] = None
        return list(found)

    def allowed(self, number: int) -> int:
        """The surroundings that have such a cycle at a control state."""
        allowed = 0
        for _, _, kind in self.places.cycles(self.search.states[number]):
            allowed |= kind.allowed
        return allowed

    def image(self, step: Step, inside: int) -> int:
        """By numbers of sets, remembered."""
        known = step.images.get(inside)
        return self.search.sets.image(step, inside) if known is None else known


def preimage(step: Step, found: int) -> int:
    return step.relation.preimage(found) & step.guard
