"""A journey that may go round for ever: its rings, and how long it takes who does not wait."""

from collections.abc import Set

from oxidd.bdd import BDDFunction

from ordain.measure.rings import Rings, rings_within
from ordain.measure.under_way import Along, UnderWay
from ordain.prover.symbolic.cases import Case
from ordain.prover.symbolic.space import by_value


class Ground:
    """By the addresses of which store places are told. Lines that only choose between words of one place (arms) make no
    other place, nor do those in which something free has a say."""

    def __init__(self, case: Case, store: str, arms: int) -> None:
        """`arms`: the mask of such lines."""
        self._case, self._space = case, case.space
        terms, address = case.model.system.terms, case.model.system.addresses[store]
        self._lines = self._space.bits(address)
        lines = [terms.slice(address, bit, bit) for bit in range(address.width) if not arms >> bit & 1]
        place = [line for line in lines if not self._space.read_by(line) >> self._space.states]
        self._place = terms.join(place) if place else terms.const(0, 1)

    def addresses(self, rings: Rings, cycles: BDDFunction) -> set[frozenset[int]]:
        """Of each ring the addresses that some cycles present. `cycles`: over its states and inputs."""
        found = {frozenset[int](): self._space.true}
        for address, some in by_value(self._lines, cycles):
            here = self._case.having(some).exists(rings.others)
            parts = [(addresses | more, kept & where) for addresses, kept in found.items()
                     for more, where in (({address}, here), (frozenset[int](), ~here))]
            found = {addresses: kept for addresses, kept in parts if kept.satisfiable()}
        return found.keys() - {frozenset()}

    def places(self, states: UnderWay) -> set[int]:
        return {place for place, _ in by_value(self._space.bits(self._place), states.home | states.away)}

    def at(self, places: Set[int]) -> BDDFunction:
        return self._space.of(self._case.model.system.terms.among(self._place, frozenset(places)))


class Waiting:
    """One journey from given states. `rings`: the control addresses of each, those at which a journey ends for certain
    left out."""

    def __init__(self, along: Along, ground: Ground, start: UnderWay) -> None:
        self._along, self._ground, self._start = along, ground, start
        self._every = along.closure(start)
        self.rings = set[frozenset[int]]()
        places = set[int]()
        region, nobody = along.endless(self._every), along.nobody
        terms, kinds, case = along.case.model.system.terms, along.kinds, along.case
        for graph, half, going_on in ((along.stay, region.home, terms.or_((kinds.stay, kinds.go))),
                                      (along.go, region.away, kinds.go)):
            for found in rings_within(case, graph, half):
                self.rings |= ground.addresses(found, found.states & case.space.of(going_on))
                places |= ground.places(UnderWay(found.states, nobody.away))
        self._waiting = self._every.within(ground.at(places))

    def most(self) -> int:
        """Of those who arrive, without waiting."""
        along, ground = self._along, self._ground
        alive = along.arriving(self._every)
        layers = self._layers(alive)
        free, inside = self._start & alive, [along.nobody for _ in layers]
        count = most = 0
        while free or any(inside):
            entered = set[int]()
            for layer in range(0 if count else 1, len(layers)):     # no journey has ended before it begins
                entering = free & layers[layer]
                free = free.less(entering)
                entering = entering.within(~ground.at(entered)) if entered else entering
                entered |= ground.places(entering)
                inside[layer] = inside[layer] | entering
            if count and any(along.late(some) for some in (free, *inside[:1])):
                most = count
            if any(along.ending(some) for some in (free, *inside[1:2])):
                most = count + 1
            on = [along.on(there) & alive for there in inside]
            free = along.on(free) & alive
            if len(layers) > 1:
                free = free | on[1].less(self._waiting)
            inside = [there & layer for there, layer in zip((*on[1:], along.nobody), layers)]
            count += 1
        return most

    def _layers(self, alive: UnderWay) -> list[UnderWay]:
        """The states at the addresses of the rings, by how many cycles it takes at least to be away from these: 0 where
        the journey has ended before, 1 where it ends or leaves with this cycle."""
        along = self._along
        left = self._waiting & alive
        if not left:
            return []
        outside = alive.less(left)
        layers = [along.late(left)]
        left = left.less(layers[0])
        out = along.ending(left) | along.before(outside | layers[0]) & left
        while out:
            layers.append(out)
            left = left.less(out)
            out = along.before(out) & left
        return layers
