"""Where words have to stand so that the fewest of the chips in the sockets are burned, and of these the fewest erased.

For a set of chips that may be touched, every bit in the other chips must be what is burned there. That leaves each word
few addresses, and ties it to the word that its address fields name: a search over the rows of words (`confined`) finds
addresses, or refutes the set. What it asks is a part of what placement asks, so a refuted set is refuted for good; an
answer is only a wish, which `place` turns into a placement, and what that touches is counted on real images.

Sets are tried from the smallest up. The answer is exact when every smaller set was refuted; else the size of the
smallest set that was not is a bound.
"""

from collections.abc import Callable, Iterator, Mapping
from itertools import combinations
from typing import NamedTuple

from ordain.machine.model import Machine
from ordain.microprogram.model import Program
from ordain.placement.confined import Allowed, Confined, Unsettled
from ordain.placement.model import Placement, Recorded

MOST_SETS = 300
"""Sets of chips that are tried."""

MOST_OFFERS = 60
"""Wishes that are turned into placements."""

Place = Callable[[Recorded | None], Placement | None]
"""Placement, with the addresses that words should have; None where it finds none."""


class TouchedChips(NamedTuple):
    """Chips that would have to be burned, and those of them that would have to be erased or replaced first."""

    burned: frozenset[str]
    erased: frozenset[str]

    @property
    def cost(self) -> tuple[int, int]:
        return len(self.burned), len(self.erased)


class Fewest(NamedTuple):
    """`plain`: what the ordinary placement would touch. `at_least`: no placement burns fewer chips than this; `exact`:
    `touched` burns just so many. `sets`: how many sets of chips were tried."""

    placement: Placement
    touched: TouchedChips
    plain: TouchedChips
    at_least: int
    exact: bool
    sets: int


def fewest(machine: Machine, program: Program, recorded: Recorded | None, in_sockets: Mapping[str, tuple[int, ...]],
           unknown: frozenset[str], place: Place, touch: Callable[[Placement], TouchedChips]) -> Fewest | None:
    """The placement that touches the fewest chips. None when there is no placement at all.

    `in_sockets`: the words of every store as the sockets show them; `unknown`: chips of which nothing is known, which
    must be burned whatever happens. `touch` counts on real images.
    """
    first = place(recorded)
    if first is None:
        return None
    search = _Search(machine, program, in_sockets, unknown, place, touch, first)
    plain = search.offer(first)
    search.offer_recorded(Recorded({} if recorded is None else recorded.addresses, _as_rows(in_sockets)))
    at_least = search.run()
    assert search.best is not None
    placement, touched = search.best
    return Fewest(placement, touched, plain, min(at_least, len(touched.burned)), at_least >= len(touched.burned),
                  search.tried)


def _as_rows(in_sockets: Mapping[str, tuple[int, ...]]) -> dict[str, dict[int, int]]:
    return {store: dict(enumerate(words)) for store, words in in_sockets.items()}


class _Search:
    """`best`: what was found so far."""

    def __init__(self, machine: Machine, program: Program, in_sockets: Mapping[str, tuple[int, ...]],
                 unknown: frozenset[str], place: Place, touch: Callable[[Placement], TouchedChips],
                 first: Placement) -> None:
        self._chips, self._unknown = machine.chips, unknown
        self._program, self._rows = program, _as_rows(in_sockets)
        self._confined = Confined(machine, program, in_sockets, [places[0] for places in first.addresses])
        self._place, self._touch = place, touch
        self.best: tuple[Placement, TouchedChips] | None = None
        self.tried = self._offers = 0

    def offer(self, placement: Placement) -> TouchedChips:
        """Count what a placement touches, and keep it if it is the best so far."""
        touched = self._touch(placement)
        if self.best is None or touched.cost < self.best[1].cost:
            self.best = (placement, touched)
        return touched

    def offer_recorded(self, recorded: Recorded) -> TouchedChips | None:
        placement = self._place(recorded)
        return None if placement is None else self.offer(placement)

    def run(self) -> int:
        """Sets of chips from the smallest up, until one is met or nothing smaller than the best is left. Every set of
        fewer chips than it gives is refuted."""
        assert self.best is not None
        needed = self._needed(self.best[1].burned)
        others = [name for name in self._chips if name not in needed]
        at_least, refuted_all = len(needed), True
        for size in range(len(needed), len(self.best[1].burned)):
            for more in combinations(others, size - len(needed)):
                if self.tried >= MOST_SETS:
                    return at_least
                refuted = self._try(Allowed(needed | frozenset(more), needed | frozenset(more)))
                refuted_all = refuted_all and refuted
                if len(self.best[1].burned) <= size:
                    self._fewer_erasures(needed, others)
                    return at_least
            if refuted_all:
                at_least = size + 1
        self._fewer_erasures(needed, others)
        return at_least

    def _needed(self, touched: frozenset[str]) -> frozenset[str]:
        """Chips without which nothing can be done, whatever else is touched."""
        every = frozenset(self._chips)
        found = set(self._unknown)
        for name in sorted(touched - self._unknown):
            if self._try(Allowed(every - {name}, every - {name})):
                found.add(name)
        return frozenset(found)

    def _try(self, allowed: Allowed) -> bool:
        """True when no placement touches these chips alone. What is found is offered."""
        self.tried += 1
        try:
            found = self._confined.search(allowed)
        except Unsettled:
            return False
        if found is None:
            return True
        if self._offers < MOST_OFFERS:
            self._offers += 1
            self.offer_recorded(Recorded(self._wished(found), self._rows))
        return False

    def _wished(self, addresses: Mapping[int, int]) -> dict[str, dict[str, tuple[int, ...]]]:
        """Word -> address as a record of a build would say it."""
        wished: dict[str, dict[str, tuple[int, ...]]] = {}
        for body in self._program.bodies:
            rows = wished.setdefault(body.store, {})
            rows.update((f"{body.name}/{index - body.first}", (addresses[index],))
                        for index in range(body.first, body.end))
        return wished

    def _fewer_erasures(self, needed: frozenset[str], others: list[str]) -> None:
        """With as many chips as the best touches: the fewest of them erased."""
        assert self.best is not None
        count, most = self.best[1].cost
        for erased in range(len(self._unknown), most):
            for chips, erasing in _ways(needed, others, self._unknown, count, erased):
                if self.tried >= MOST_SETS or self.best[1].cost <= (count, erased):
                    return
                self._try(Allowed(chips, erasing))


def _ways(needed: frozenset[str], others: list[str], unknown: frozenset[str], count: int,
          erased: int) -> Iterator[tuple[frozenset[str], frozenset[str]]]:
    """Every set of `count` chips with the needed ones, and of it every set of `erased` that holds the unknown ones."""
    for more in combinations(others, count - len(needed)):
        chips = needed | frozenset(more)
        free = sorted(chips - unknown)
        for part in combinations(free, erased - len(unknown)):
            yield chips, unknown | frozenset(part)
