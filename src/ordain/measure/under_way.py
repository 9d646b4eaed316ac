"""One journey from given states: all who are under way at once, cycle by cycle; the least, the most, and the rings."""

from collections.abc import Callable
from typing import NamedTuple

from ordain.prover.answers.answers import Region, State
from ordain.prover.answers.fixpoints import Passages, one_cycle_before, one_cycle_on
from ordain.prover.search.state_sets import StateSets


class UnderWay(NamedTuple):
    """States under way. `home`: those whose journey has been at home in every cycle, thus may still be; `away`: the
    others."""

    home: Region
    away: Region

    def __bool__(self) -> bool:
        return bool(self.home or self.away)


class Kinds(NamedTuple):
    """The cycles of a course, by what they mean for a journey. `stay`, `go`: it goes on, at home or not. `last_home`,
    `last`: it ends with them. `beyond`: it has ended before. `home`: they are at home."""

    stay: Passages
    go: Passages
    last_home: Passages
    last: Passages
    beyond: Passages
    home: Passages


HOME, AWAY = 0, 1
STAY, GO, LAST_HOME, LAST, _, AT_HOME = range(6)
"""Kinds of cycles, as in `Kinds`."""
EACH = len(Kinds._fields)
MOVES = ((HOME, STAY, HOME), (HOME, GO, AWAY), (AWAY, GO, AWAY))
"""(from which half of those under way, along which cycles, to which half)."""
LAST_CYCLES = ((HOME, LAST_HOME), (HOME, LAST), (AWAY, LAST))


def joined(families: StateSets, a: Region, b: Region) -> Region:
    """The states in a or in b."""
    found = dict(a)
    for spot, family in b.items():
        found[spot] = families.join(found.get(spot, 0), family)
    return found


def common(families: StateSets, a: Region, b: Region) -> Region:
    """The states in both."""
    return {spot: both for spot, family in a.items() if spot in b and (both := families.meet(family, b[spot]))}


def less(families: StateSets, a: Region, b: Region) -> Region:
    """The states in a that are not in b."""
    return {spot: rest for spot, family in a.items() if (rest := families.without(family, b.get(spot, 0)))}


class OneJourney:
    """One journey from given states."""

    def __init__(self, families: StateSets, ways: Kinds, ends_at_home: bool, start: UnderWay,
                 address: Callable[[int], int]) -> None:
        """`address`: that of a spot, by number; the same for arms of one place."""
        self._families, self._ways, self._ends_at_home, self._start = families, ways, ends_at_home, start
        self._address = address
        self._every = self._closure(start)
        self.rings = self._rings()
        addresses = {address(spot) for ring in self.rings for spot in (*ring.home, *ring.away)}
        self._waiting = self._less(self._every, self._elsewhere(self._every, addresses))

    # ------------------------------------------------------------ least and most

    def least(self) -> int | None:
        """None: nobody arrives."""
        new, seen, count = self._start, NOBODY, 0
        while new:
            if count and self._late(new):
                return count
            if self._ending(new):
                return count + 1
            following = self._on(new)
            new, count = self._less(following, seen), count + 1
            seen = self._joined(seen, new)
        return None

    def most(self) -> int:
        """Of those who arrive; without waiting, where there are rings."""
        alive = self._arriving()
        layers = self._layers(alive)
        free, inside = self._common(self._start, alive), [NOBODY for _ in layers]
        count = most = 0
        while free or any(inside):
            entered = set[int]()
            for layer in range(0 if count else 1, len(layers)):     # no journey has ended before it begins
                entering = self._common(free, layers[layer])
                free = self._less(free, entering)
                entering = self._elsewhere(entering, entered)
                entered.update(map(self._address, {**entering.home, **entering.away}))
                inside[layer] = self._joined(inside[layer], entering)
            if count and any(self._late(some) for some in (free, *inside[:1])):
                most = count
            if any(self._ending(some) for some in (free, *inside[1:2])):
                most = count + 1
            on = [self._common(self._on(there), alive) for there in inside]
            free = self._common(self._on(free), alive)
            if len(layers) > 1:
                free = self._joined(free, self._less(on[1], self._waiting))
            inside = [self._common(there, layer) for there, layer in zip((*on[1:], NOBODY), layers)]
            count += 1
        return most

    def _elsewhere(self, states: UnderWay, addresses: set[int]) -> UnderWay:
        """Those that are not at these addresses."""
        return UnderWay({spot: family for spot, family in states.home.items() if self._address(spot) not in addresses},
                        {spot: family for spot, family in states.away.items() if self._address(spot) not in addresses})

    def _arriving(self) -> UnderWay:
        """The states under way that come to an end in some way."""
        found = self._joined(self._late(self._every), self._ending(self._every))
        while True:
            more = self._joined(found, self._before(found, self._every))
            if more == found:
                return found
            found = more

    def _layers(self, alive: UnderWay) -> list[UnderWay]:
        """The states at the addresses of the rings, by how many cycles it takes at least to be away from these: 0 where
        the journey has ended before, 1 where it ends or leaves with this cycle."""
        left = self._common(self._waiting, alive)
        if not left:
            return []
        outside = self._less(alive, left)
        layers = [self._late(left)]
        left = self._less(left, layers[0])
        out = self._joined(self._ending(left), self._before(self._joined(outside, layers[0]), left))
        while out:
            layers.append(out)
            left = self._less(left, out)
            out = self._before(out, left)
        return layers

    # ------------------------------------------------------------ rings

    def _rings(self) -> list[UnderWay]:
        """Apart from each other as far as spots tell them apart. At every spot of one somebody goes round."""
        found, waiting = list[UnderWay](), [self._going_round(self._every)]
        while waiting:
            region = waiting.pop()
            graph = self._graph(region)
            parts = [part for part in parts_of(graph) if len(part) > 1 or part[0] in graph[part[0]]]
            for part in parts:
                inside = UnderWay({spot: region.home[spot] for half, spot in part if half == HOME},
                                   {spot: region.away[spot] for half, spot in part if half == AWAY})
                still = self._going_round(inside)
                if still == inside and len(parts) == 1:
                    between = self._between(still)
                    if between:
                        waiting.append(self._going_round(self._less(still, between)))
                    else:
                        found.append(still)
                elif still:
                    waiting.append(still)
        return found

    def _between(self, region: UnderWay) -> UnderWay:
        """The states at spots at which nobody goes round: who comes there goes from one ring to another."""
        left = {(half, spot) for half in (HOME, AWAY) for spot in region[half]}
        found = NOBODY
        while left:
            half, spot = min(left)
            left.discard((half, spot))
            states = region[half][spot]
            one = _only(half, spot, self._families.one(*self._families.lowest(states)))
            before = self._sooner(one, region)
            if self._common(one, before):  # so do all who come from there and come there
                round_ = self._common(before, self._later(one, region))
                left -= {(part, at) for part in (HOME, AWAY) for at in round_[part]}
                continue
            back = _only(half, spot, states)
            while (still := self._common(back, self._sooner(back, region))) != back:
                back = still
            if not back:  # who comes there again and again would be left
                found = self._joined(found, _only(half, spot, states))
        return found

    def _sooner(self, states: UnderWay, region: UnderWay) -> UnderWay:
        """Who comes to these after at least one cycle, always staying in the region."""
        found = new = self._before(states, region)
        while new:
            new = self._less(self._before(new, region), found)
            found = self._joined(found, new)
        return found

    def _later(self, states: UnderWay, region: UnderWay) -> UnderWay:
        """Where these come to."""
        found = new = self._common(self._on(states), region)
        while new:
            new = self._less(self._common(self._on(new), region), found)
            found = self._joined(found, new)
        return found

    def _going_round(self, region: UnderWay) -> UnderWay:
        """The states of a region that lie in a ring or between two, always staying in the region."""
        while True:
            still = self._before(region, region)
            if still == region:
                break
            region = still
        while True:
            still = self._common(region, self._on(region))
            if still == region:
                return region
            region = still

    def _graph(self, region: UnderWay) -> dict[tuple[int, int], list[tuple[int, int]]]:
        """From spot to spot, each with its half, as far as somebody goes there within the region."""
        graph: dict[tuple[int, int], list[tuple[int, int]]] = {
            (half, spot): [] for half in (HOME, AWAY) for spot in sorted(region[half])}
        for half, along, to_half in MOVES:
            passages = self._ways[along]
            for spot, family in region[half].items():
                for way, to in passages.of(spot) if passages.some(spot, family) else ():
                    there = region[to_half].get(to, 0)
                    if there and self._families.meet(way.image(passages.some(spot, family)), there):
                        graph[half, spot].append((to_half, to))
        return graph

    # ------------------------------------------------------------ one cycle

    def _on(self, states: UnderWay) -> UnderWay:
        home, go = one_cycle_on(self._ways.stay, states.home), self._ways.go
        return UnderWay(home, joined(self._families, one_cycle_on(go, states.home), one_cycle_on(go, states.away)))

    def _before(self, goal: UnderWay, among: UnderWay) -> UnderWay:
        go = self._ways.go
        home = joined(self._families, one_cycle_before(self._ways.stay, goal.home, among.home),
                      one_cycle_before(go, goal.away, among.home))
        return _in_order(UnderWay(home, one_cycle_before(go, goal.away, among.away)))

    def _ending(self, states: UnderWay) -> UnderWay:
        """Those of which a cycle is the last one."""
        ways = self._ways
        home = joined(self._families, _alive(ways.last_home, states.home), _alive(ways.last, states.home))
        return UnderWay(home, _alive(ways.last, states.away))

    def _late(self, states: UnderWay) -> UnderWay:
        """Those of which a cycle is one too many."""
        ways = self._ways
        away = _alive(ways.beyond, states.away)
        if self._ends_at_home:
            away = joined(self._families, away, _alive(ways.home, states.away))
        return UnderWay(_alive(ways.beyond, states.home), away)

    def _closure(self, start: UnderWay) -> UnderWay:
        seen = new = start
        while new:
            new = self._less(self._on(new), seen)
            seen = self._joined(seen, new)
        return seen

    def _joined(self, a: UnderWay, b: UnderWay) -> UnderWay:
        return _in_order(UnderWay(joined(self._families, a.home, b.home), joined(self._families, a.away, b.away)))

    def _common(self, a: UnderWay, b: UnderWay) -> UnderWay:
        return UnderWay(common(self._families, a.home, b.home), common(self._families, a.away, b.away))

    def _less(self, a: UnderWay, b: UnderWay) -> UnderWay:
        return UnderWay(less(self._families, a.home, b.home), less(self._families, a.away, b.away))

    # ------------------------------------------------------------ a path

    def path(self, count: int, lowest: Callable[[Region], State]) -> tuple[list[State], list[int]]:
        """The states of a journey of so many cycles, and of which kind each cycle is."""
        levels = [self._start]
        while len(levels) <= count:
            levels.append(self._on(levels[-1]))
        half, states, kind = self._final(levels, count)
        path, kinds = [lowest(states)], [kind]
        for level in reversed(levels[:count - 1]):
            spot, carried, inside = path[-1]
            goal = {spot: self._families.one(carried, inside)}
            half, states, kind = next(
                (before, found, along) for before, along, to in MOVES if to == half
                and (found := one_cycle_before(self._ways[along], goal, level[before])))
            path.append(lowest(states))
            kinds.append(kind)
        return path[::-1], kinds[::-1]

    def _final(self, levels: list[UnderWay], count: int) -> tuple[int, Region, int]:
        """(in which half, the states in which the last cycle can be, its kind)."""
        for half, kind in LAST_CYCLES:
            states = _alive(self._ways[kind], levels[count - 1][half])
            if states:
                return half, states, kind
        late = self._late(levels[count])
        return next((half, found, along) for half, along, to in MOVES
                    if (found := one_cycle_before(self._ways[along], late[to], levels[count - 1][half])))


NOBODY = UnderWay({}, {})


def _only(half: int, spot: int, states: int) -> UnderWay:
    return UnderWay({spot: states}, {}) if half == HOME else UnderWay({}, {spot: states})


def _in_order(states: UnderWay) -> UnderWay:
    return UnderWay(dict(sorted(states.home.items())), dict(sorted(states.away.items())))


def _alive(passages: Passages, region: Region) -> Region:
    return {spot: alive for spot, family in region.items() if (alive := passages.some(spot, family))}


Knot = tuple[int, int]
"""A node of a graph."""


def parts_of(graph: dict[Knot, list[Knot]]) -> list[list[Knot]]:
    """Every strongly connected part, each after those that it leads to (Tarjan, "Depth-first search and linear graph
    algorithms", 1972, without recursion). All targets must be keys."""
    index: dict[Knot, int] = {}
    low: dict[Knot, int] = {}
    on_stack: set[Knot] = set()
    stack: list[Knot] = []
    parts: list[list[Knot]] = []
    for root in graph:
        if root in index:
            continue
        work = [(root, iter(graph[root]))]
        index[root] = low[root] = len(index)
        stack.append(root)
        on_stack.add(root)
        while work:
            node, targets = work[-1]
            for target in targets:
                if target not in index:
                    index[target] = low[target] = len(index)
                    stack.append(target)
                    on_stack.add(target)
                    work.append((target, iter(graph[target])))
                    break
                if target in on_stack:
                    low[node] = min(low[node], index[target])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == index[node]:
                    cut = stack.index(node)
                    parts.append(sorted(stack[cut:]))
                    on_stack.difference_update(stack[cut:])
                    del stack[cut:]
    return parts
