"""Demands joined into rigid units wherever one place can serve two of them.

A word that is in a block and also follows another word in a row ties the two together: they become one unit that is
moved as a whole. Where the two cannot be met by one place (a block wants the word at an even address, the row puts it
at an odd one), the demands stay apart and the word will stand twice.
"""

from itertools import pairwise
from typing import NamedTuple

from ordain.placement.demands import Demand, Task
from ordain.placement.space import AddressSpace

FIXED = -1
"""The cluster of all fixed words: its offsets are addresses, and it never moves."""


class Unit(NamedTuple):
    """Words with fixed offsets from one base. `offsets` ascend from 0 without a gap and go with `words`; `domain` is
    the set of bases at which the unit may stand in an empty store; `rules`: (offset, bits that must be 0 in the address
    there). `parts`: (number of the demand, offset of its base). `high`: some demand wants ones in its address, which
    the rules do not tell."""

    offsets: tuple[int, ...]
    words: tuple[int, ...]
    domain: int
    rules: tuple[tuple[int, int], ...]
    parts: tuple[tuple[int, int], ...]
    high: bool


class Units(NamedTuple):
    """`demands` are the task's and, after them, the rows that became units. `fixed` has taken in the demands that are
    met next to fixed words; `settled`: (number of the demand, its base) for those. `runs`: the rows of the task that
    nothing else touches. `shared` is False when no word is in two places: then nothing was left to choose."""

    demands: tuple[Demand, ...]
    units: tuple[Unit, ...]
    fixed: dict[int, int]
    settled: tuple[tuple[int, int], ...]
    runs: tuple[tuple[int, int], ...]
    shared: bool


def join(space: AddressSpace, task: Task, bonded: frozenset[int], *, merge: bool) -> Units:
    """The units of a task. Rows with a word of `bonded` become units too. Without `merge` every demand stays a unit of
    its own: the search then decides which of them share words."""
    joining = _Joining(space, task, merge)
    for demand in task.demands:
        joining.add(demand)
    for first, length in task.runs:
        joining.add_run(first, length, bonded)
    return joining.result()


class _Cluster:
    """`cells`: offset -> word, offsets from the first demand's base, so they may be negative; `low` is the lowest.
    `domain`: the addresses at which the cell `low` may stand. Invariant: `domain` is not empty."""

    __slots__ = ("cells", "domain", "low", "parts", "rules")

    def __init__(self, demand: Demand, number: int, domain: int) -> None:
        self.cells: dict[int, int] = dict(demand.cells)
        self.low = 0
        self.domain = domain
        self.rules: list[tuple[int, int]] = [(0, demand.zeros)] if demand.zeros else []
        self.parts: list[tuple[int, int]] = [(number, 0)]


class _Joining:
    """`clusters` by number, None where one was taken into another. `seats`: for every word its (cluster, offset), those
    in clusters that are none any more among them."""

    __slots__ = ("clusters", "demands", "fixed", "merge", "runs", "seats", "settled", "shared", "space",
                 "task", "tied")

    def __init__(self, space: AddressSpace, task: Task, merge: bool) -> None:
        self.space, self.task, self.merge = space, task, merge
        self.demands: list[Demand] = []
        self.clusters: list[_Cluster | None] = []
        self.fixed = dict(task.fixed)
        self.settled: list[tuple[int, int]] = []
        self.runs: list[tuple[int, int]] = []
        self.shared = False
        self.tied = frozenset(word for first, length in task.runs for word in range(first + 1, first + length))
        self.seats: dict[int, list[tuple[int, int]]] = {}
        for address, word in self.fixed.items():
            self.seats.setdefault(word, []).append((FIXED, address))

    def add_run(self, first: int, length: int, bonded: frozenset[int]) -> None:
        """A row stays a plain run unless something else touches one of its words. A row whose first word is in a demand
        is in that demand as a whole."""
        if first in self.seats:
            return
        words = range(first, first + length)
        if not (self.seats.keys().isdisjoint(words) and bonded.isdisjoint(words)):
            cells = tuple([(word - first, word) for word in words])
            self.add(Demand(cells, 0, "for the word before it, which counts on", self.task.program.words[first].span))
        else:
            self.runs.append((first, length))

    def add(self, demand: Demand) -> None:
        """A demand becomes a cluster, joined with every cluster that can meet it at the same place."""
        number = len(self.demands)
        self.demands.append(demand)
        cluster = _Cluster(demand, number, self._domain(demand))
        touching = dict.fromkeys((other, place - offset) for offset, word in demand.cells
                                 for other, place in self.seats.get(word, ()))
        host = self._register(cluster)
        shift = 0
        for other, delta in touching:
            if not self.merge:
                self.shared = True
            elif other != host and (other == FIXED or self.clusters[other] is not None):
                joined = self._merge(host, other, delta - shift)
                if joined is None:
                    self.shared = True
                elif joined == other:
                    host, shift = other, delta
            elif other == host and delta != shift:
                self.shared = True

    def _register(self, cluster: _Cluster) -> int:
        number = len(self.clusters)
        self.clusters.append(cluster)
        for offset, word in cluster.cells.items():
            self.seats.setdefault(word, []).append((number, offset))
        return number

    def _merge(self, one: int, two: int, delta: int) -> int | None:
        """Takes cluster `one` into `two`, offset x of `one` being x + delta of `two`, or the other way round where that
        moves less; the number of the one that stays, None when they cannot be met by one place."""
        if one == FIXED:
            one, two, delta = two, one, -delta
        a = self.clusters[one]
        assert a is not None
        if two == FIXED:
            return self._settle(one, a, delta)
        b = self.clusters[two]
        assert b is not None
        if len(a.cells) > len(b.cells):
            one, two, a, b, delta = two, one, b, a, -delta
        if any(b.cells.get(offset + delta, word) != word for offset, word in a.cells.items()):
            return None
        low = min(b.low, a.low + delta)
        domain = (b.domain >> (b.low - low)) & (a.domain >> (a.low + delta - low))
        if not domain:
            return None
        self.clusters[one] = None
        for offset, word in a.cells.items():
            b.cells[offset + delta] = word
            self.seats[word].append((two, offset + delta))
        b.low, b.domain = low, domain
        b.rules.extend((offset + delta, zeros) for offset, zeros in a.rules)
        b.parts.extend((number, offset + delta) for number, offset in a.parts)
        return two

    def _settle(self, number: int, cluster: _Cluster, base: int) -> int | None:
        """Takes a cluster into the fixed words, its offset 0 being the address `base`."""
        lowest = base + cluster.low
        if lowest < 0 or not cluster.domain >> lowest & 1:
            return None
        if any(self.fixed.get(base + offset, word) != word for offset, word in cluster.cells.items()):
            return None
        self.clusters[number] = None
        for offset, word in cluster.cells.items():
            self.fixed[base + offset] = word
            self.seats[word].append((FIXED, base + offset))
        self.settled.extend((part, base + offset) for part, offset in cluster.parts)
        return FIXED

    def _domain(self, demand: Demand) -> int:
        """The bases at which a demand may stand in an empty store. A word that must follow the one before it does not
        begin a new lap of the counter."""
        cells, space, counting = demand.cells, self.space, self.task.counting
        found = space.below(space.size - cells[-1][0]) & space.zeros(demand.zeros) & space.ones(demand.ones)
        laps = space.zeros((1 << counting) - 1)
        for (_, before), (offset, after) in pairwise(cells):
            if after == before + 1 and after in self.tied:
                found &= ~(laps >> offset)
        return found

    def result(self) -> Units:
        units = []
        for cluster in self.clusters:
            if cluster is not None:
                low, places = cluster.low, sorted(cluster.cells)
                units.append(Unit(
                    tuple([place - low for place in places]), tuple([cluster.cells[place] for place in places]),
                    cluster.domain, tuple([(offset - low, zeros) for offset, zeros in cluster.rules]),
                    tuple([(number, offset - low) for number, offset in cluster.parts]),
                    any(self.demands[number].ones for number, _ in cluster.parts)))
        return Units(tuple(self.demands), tuple(units), self.fixed, tuple(self.settled), tuple(self.runs), self.shared)
