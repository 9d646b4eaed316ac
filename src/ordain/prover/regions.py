"""Sets of states that are closed under something: where a condition can still be reached from, where one can wait.

A region is a dict: control state (by number) -> set of surroundings. All three are fixpoints over the recorded graph,
worked off control state by control state (Clarke, Grumberg, Peled, "Model Checking", 6.3: EF as a least fixpoint of
predecessors, EG as a greatest one).
"""

from ordain.prover.answers import Ways, preimage
from ordain.prover.paths import Back
from ordain.prover.relation import Step

Region = dict[int, int]


def can_reach(back: Back, goal: Region) -> Region:
    """The reached states from which some sequence leads to the goal (the goal itself included)."""
    search = back.search
    sets = search.sets.sets
    found = dict(goal)
    fresh = dict(goal)
    remembered: dict[tuple[int, int], int] = {}
    while fresh:
        number, new = fresh.popitem()
        for before, step in back.before[number]:
            key = (step.number, search.sets.number(new))
            from_here = remembered.get(key)
            if from_here is None:
                from_here = remembered[key] = preimage(step, new)
            more = from_here & sets[search.reached[before]] & ~found.get(before, 0)
            if more:
                found[before] = found.get(before, 0) | more
                fresh[before] = fresh.get(before, 0) | more
    return found


def everything_after(ways: Ways, start: Region) -> Region:
    """The states that sequences of the given cycles lead to, the start included."""
    sets = ways.search.sets
    found = dict(start)
    fresh = dict(start)
    while fresh:
        number, new = fresh.popitem()
        inside = sets.number(new)
        for step, to in ways.of(number):
            more = sets.sets[ways.image(step, inside)] & ~found.get(to, 0)
            if more:
                found[to] = found.get(to, 0) | more
                fresh[to] = fresh.get(to, 0) | more
    return found


def one_cycle_on(ways: Ways, start: Region) -> Region:
    """The states exactly one of the given cycles after those of a region."""
    sets = ways.search.sets
    found: Region = {}
    for number, where in start.items():
        inside = sets.number(where)
        for step, to in ways.of(number):
            image = sets.sets[ways.image(step, inside)]
            if image:
                found[to] = found.get(to, 0) | image
    return found


def for_ever(ways: Ways, region: Region) -> Region:
    """The states of a region from which the given cycles can go on for ever. The region is closed under them."""
    left = dict(region)
    before: dict[int, list[int]] = {}
    for number in region:
        for _, to in ways.of(number):
            before.setdefault(to, []).append(number)
    waiting = dict.fromkeys(region)
    while waiting:
        number = waiting.popitem()[0]
        now = left.get(number, 0)
        if not now:
            continue
        still = now & _with_successor(ways.of(number), left)
        if still != now:
            if still:
                left[number] = still
            else:
                del left[number]
            waiting.update(dict.fromkeys(before.get(number, ())))
    return left


def one_cycle_before(ways: Ways, region: Region, among: Region) -> Region:
    """The states of `among` from which one of the given cycles leads into the region."""
    found: Region = {}
    for number, where in among.items():
        from_here = where & _with_successor(ways.of(number), region)
        if from_here:
            found[number] = from_here
    return found


def _with_successor(edges: list[tuple[Step, int]], region: Region) -> int:
    found = 0
    for step, to in edges:
        goal = region.get(to)
        if goal:
            found |= preimage(step, goal)
    return found
