"""The recorded edges of a search, for all cycles or for those with a condition, forwards and backwards."""

from ordain.prover.answers.answers import Answers, Region
from ordain.prover.relation.word_classes import WordClasses
from ordain.prover.search.breadth_first import Search
from ordain.prover.search.edge import Edge
from ordain.prover.search.edges import Edges


class Passages:
    """The edges among the points of a search, for all cycles or only for those with a condition of the question.

    Where a condition does not depend on anything free, a state either has it or not: then the edges are those of the
    search, from fewer states. Only where it does, the cycle has to be taken apart again.
    """

    def __init__(self, search: Search, answers: Answers | None = None, condition: int = -1) -> None:
        self.search, self.state_sets = search, search.state_sets
        self._answers, self._condition = answers, condition
        self._holds = None if answers is None else answers.states(condition)
        self._edges: dict[int, list[tuple[Edge, int]]] = {}
        self._finder: Edges | None = None

    def some(self, number: int, state_set: int) -> int:
        """The states of a state set at a point that have such a cycle."""
        return state_set if self._holds is None else self.state_sets.meet(state_set, self._holds.get(number, 0))

    def of(self, number: int) -> list[tuple[Edge, int]]:
        """The edges of a point; for states that have such a cycle."""
        if self._answers is None:
            return self.search.from_here(number)
        edges = self._edges.get(number)
        if edges is None:
            search = self.search
            if self._answers.depends_on_inputs(number, self._condition):
                index, found = search.index, self._found(self._answers).of(search.points[number])
                edges = [(edge, index[to]) for edge, to in found if to in index]
            else:
                edges = search.from_here(number)
            self._edges[number] = edges
        return edges

    def _found(self, answers: Answers) -> Edges:
        if self._finder is None:
            condition = answers.queries.conditions[self._condition]
            self._finder = Edges(WordClasses(self.search.shape, (condition,), self.search.classes), self.state_sets)
        return self._finder


class Back:
    """The edges of a search the other way round."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.before: list[list[tuple[int, Edge]]] = [[] for _ in search.points]
        for number, edges in enumerate(search.edges):
            for edge, to in edges or ():
                self.before[to].append((number, edge))


def one_cycle_on(passages: Passages, start: Region) -> Region:
    """The states exactly one of the given cycles after those of a region."""
    state_sets = passages.state_sets
    found: Region = {}
    for number, every in start.items():
        state_set = passages.some(number, every)
        for edge, to in passages.of(number) if state_set else ():
            image = edge.images.get(state_set)
            if image is None:
                image = edge.image(state_set)
            if image:
                found[to] = state_sets.join(found.get(to, 0), image)
    return found


def one_cycle_before(passages: Passages, goal: Region, among: Region) -> Region:
    """The states of `among` from which one of the given cycles leads into the goal."""
    state_sets = passages.state_sets
    found: Region = {}
    for number, every in among.items():
        here, state_set = 0, passages.some(number, every)
        for edge, to in passages.of(number):
            there = goal.get(to, 0)
            if there:
                here = state_sets.join(here, edge.before(there, state_set))
        if here:
            found[number] = here
    return found
