"""Sets of states that are closed under something: from where a condition can still be reached, how long one can wait.

All are fixpoints over the recorded edges, worked off point by point (Clarke, Grumberg, Peled, "Model Checking", 6.3: EF
as a least fixpoint of predecessors, EG as a greatest one). """

from typing import NamedTuple

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


def can_reach(back: Back, goal: Region, enough: Region) -> Region:
    """The reached states from which some sequence leads to the goal (the goal itself included). `enough`: states that
    can be reached from every state, as is known already; once the goal can be reached from all of these, it can be
    reached from everywhere. Empty: none are known."""
    search = back.search
    state_sets, reached, join = search.state_sets, search.reached, search.state_sets.join
    found = dict(goal)
    whole = [number for number, state_set in goal.items() if state_set == reached[number]]
    partly = {number: None for number, state_set in goal.items() if state_set != reached[number]}
    missing = {number for number, state_set in enough.items() if state_sets.without(state_set, goal.get(number, 0))}
    while (whole or partly) and (missing or not enough):
        number = whole.pop() if whole else partly.popitem()[0]  # of a whole point nothing has to be said twice
        now = found[number]
        for before, edge in back.before[number]:
            old, every = found.get(before, 0), reached[before]
            if old != every:
                more = edge.befores.get(now << 32 | every)
                if more is None:
                    more = edge.before(now, every)
                both = join(old, more) if old and more else old or more
                if both != old:
                    found[before] = both
                    if both == every:
                        partly.pop(before, None)
                        whole.append(before)
                    else:
                        partly[before] = None
                    if before in missing and not state_sets.without(enough[before], both):
                        missing.discard(before)
    if enough and not missing:
        return {number: state_set for number, state_set in enumerate(reached) if state_set}
    return found


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


def everything_after(passages: Passages, start: Region) -> Region:
    """The states that sequences of the given cycles lead to, the start included."""
    state_sets = passages.state_sets
    found = dict(start)
    waiting = dict.fromkeys(start)
    while waiting:
        number = waiting.popitem()[0]
        state_set = passages.some(number, found[number])
        for edge, to in passages.of(number) if state_set else ():
            image = edge.images.get(state_set)
            if image is None:
                image = edge.image(state_set)
            old = found.get(to, 0)
            both = state_sets.join(old, image)
            if both != old:
                found[to] = both
                waiting[to] = None
    return found


class Waits(NamedTuple):
    """`after[n]`: the states of a region from which n of the given cycles can follow one another, as far as they were
    asked for. `longest`: the greatest n for which there are any; None when they can go on for ever, then `for_ever` are
    the states where they can."""

    after: list[Region]
    longest: int | None
    for_ever: Region


def waits(passages: Passages, region: Region, kept: int) -> Waits:
    """How long the given cycles can go on in a region that is closed under them. `after` is kept up to number `kept`.

    Round by round those states are taken out that cannot go on so long: state by state that is the longest path, where
    there is one, and where nothing is taken out any more there are only rings left, and what leads to them."""
    state_sets = passages.state_sets
    before: dict[int, list[int]] = {}
    for number in region:
        for _, to in passages.of(number):
            before.setdefault(to, []).append(number)
    now, after = dict(region), [dict(region)]
    changed = set(region)
    rounds = 0
    while now:
        following: Region = {}
        for number in changed:
            state_set = now.get(number, 0)
            still = 0
            if rounds == 0:
                still = passages.some(number, state_set)
            elif state_set:
                for edge, to in passages.of(number):
                    goal = now.get(to, 0)
                    if goal:
                        still = state_sets.join(still, edge.before(goal, state_set))
                        if still == state_set:
                            break
            if still != state_set:
                following[number] = still
        if not following:
            return Waits(after, None, now)
        for number, still in following.items():
            if still:
                now[number] = still
            else:
                del now[number]
        rounds += 1
        changed = {earlier for number in following for earlier in before.get(number, ())}
        if rounds <= kept:
            after.append(dict(now))
    return Waits(after, rounds - 1, {})


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
