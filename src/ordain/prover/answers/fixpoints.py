"""Sets of states that are closed under something: from where a condition can still be reached, how long one can wait.

All are fixpoints over the recorded ways, worked off spot by spot (Clarke, Grumberg, Peled, "Model Checking", 6.3: EF as
a least fixpoint of predecessors, EG as a greatest one).
"""

from typing import NamedTuple

from ordain.prover.answers.answers import Answers, Region
from ordain.prover.relation.word_classes import Places
from ordain.prover.search.breadth_first import Search
from ordain.prover.search.transition import Way
from ordain.prover.search.transitions import Ways


class Passages:
    """The ways among the spots of a search, for all cycles or only for those with a condition of the question.

    Where a condition does not depend on anything free, a state either has it or not: then the ways are those of the
    search, from fewer states. Only where it does, the cycle has to be taken apart again.
    """

    def __init__(self, search: Search, answers: Answers | None = None, condition: int = -1) -> None:
        self.search, self.families = search, search.families
        self._answers, self._condition = answers, condition
        self._holds = None if answers is None else answers.states(condition)
        self._ways: dict[int, list[tuple[Way, int]]] = {}
        self._finder: Ways | None = None

    def some(self, number: int, family: int) -> int:
        """The states of a family at a spot that have such a cycle."""
        return family if self._holds is None else self.families.meet(family, self._holds.get(number, 0))

    def of(self, number: int) -> list[tuple[Way, int]]:
        """The ways of a spot; for states that have such a cycle."""
        if self._answers is None:
            return self.search.from_here(number)
        ways = self._ways.get(number)
        if ways is None:
            search = self.search
            if self._answers.depends_on_inputs(number, self._condition):
                index, found = search.index, self._found(self._answers).of(search.spots[number])
                ways = [(way, index[to]) for way, to in found if to in index]
            else:
                ways = search.from_here(number)
            self._ways[number] = ways
        return ways

    def _found(self, answers: Answers) -> Ways:
        if self._finder is None:
            condition = answers.inquiry.conditions[self._condition]
            self._finder = Ways(Places(self.search.shape, (condition,), self.search.places), self.families)
        return self._finder


class Back:
    """The ways of a search the other way round."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.before: list[list[tuple[int, Way]]] = [[] for _ in search.spots]
        for number, ways in enumerate(search.ways):
            for way, to in ways or ():
                self.before[to].append((number, way))


def can_reach(back: Back, goal: Region, enough: Region) -> Region:
    """The reached states from which some sequence leads to the goal (the goal itself included). `enough`: states that
    can be reached from every state, as is known already; once the goal can be reached from all of these, it can be
    reached from everywhere. Empty: none are known."""
    search = back.search
    families, reached, join = search.families, search.reached, search.families.join
    found = dict(goal)
    whole = [number for number, family in goal.items() if family == reached[number]]
    partly = {number: None for number, family in goal.items() if family != reached[number]}
    missing = {number for number, family in enough.items() if families.without(family, goal.get(number, 0))}
    while (whole or partly) and (missing or not enough):
        number = whole.pop() if whole else partly.popitem()[0]  # of a whole spot nothing has to be said twice
        now = found[number]
        for before, way in back.before[number]:
            old, every = found.get(before, 0), reached[before]
            if old != every:
                more = way.befores.get(now << 32 | every)
                if more is None:
                    more = way.before(now, every)
                both = join(old, more) if old and more else old or more
                if both != old:
                    found[before] = both
                    if both == every:
                        partly.pop(before, None)
                        whole.append(before)
                    else:
                        partly[before] = None
                    if before in missing and not families.without(enough[before], both):
                        missing.discard(before)
    if enough and not missing:
        return {number: family for number, family in enumerate(reached) if family}
    return found


def one_cycle_on(passages: Passages, start: Region) -> Region:
    """The states exactly one of the given cycles after those of a region."""
    families = passages.families
    found: Region = {}
    for number, every in start.items():
        family = passages.some(number, every)
        for way, to in passages.of(number) if family else ():
            image = way.images.get(family)
            if image is None:
                image = way.image(family)
            if image:
                found[to] = families.join(found.get(to, 0), image)
    return found


def everything_after(passages: Passages, start: Region) -> Region:
    """The states that sequences of the given cycles lead to, the start included."""
    families = passages.families
    found = dict(start)
    waiting = dict.fromkeys(start)
    while waiting:
        number = waiting.popitem()[0]
        family = passages.some(number, found[number])
        for way, to in passages.of(number) if family else ():
            image = way.images.get(family)
            if image is None:
                image = way.image(family)
            old = found.get(to, 0)
            both = families.join(old, image)
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
    families = passages.families
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
            family = now.get(number, 0)
            still = 0
            if rounds == 0:
                still = passages.some(number, family)
            elif family:
                for way, to in passages.of(number):
                    goal = now.get(to, 0)
                    if goal:
                        still = families.join(still, way.before(goal, family))
                        if still == family:
                            break
            if still != family:
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
    families = passages.families
    found: Region = {}
    for number, every in among.items():
        here, family = 0, passages.some(number, every)
        for way, to in passages.of(number):
            there = goal.get(to, 0)
            if there:
                here = families.join(here, way.before(there, family))
        if here:
            found[number] = here
    return found
