"""A journey that may go round for ever: its rings, and how long it takes who does not wait."""

from ordain.measure.rings import RingCycles, RingGround, rings_within, with_one_more
from ordain.measure.under_way import Along, Counts, UnderWay


class Waiting:
    """One journey from given states. `rings`: the control addresses of each, those at which a journey ends for certain
    left out."""

    def __init__(self, along: Along, counts: Counts, ground: RingGround, start: UnderWay) -> None:
        """`counts`: of everybody along the course, this journey among them."""
        self._along, self._ground, self._start = along, ground, start
        self._every = along.closure(start)
        self._alive = self._every & counts.arriving
        endless, terms, kinds = self._every & counts.endless, along.case.model.system.terms, along.kinds
        homely = RingCycles(along.case, ground, along.stay, terms.or_((kinds.stay, kinds.go)))
        away = RingCycles(along.case, ground, along.go, kinds.go)
        self.rings = rings_within(homely, endless.home)
        for ring in rings_within(away, endless.away):
            self.rings = with_one_more(self.rings, ring)
        self._waiting = self._every.within(ground.at(frozenset[int]().union(*self.rings)))

    def most(self) -> int:
        """Of those who arrive, without waiting."""
        along, alive = self._along, self._alive
        layers = self._layers(alive)
        free, inside = self._start & alive, dict[int, UnderWay]()
        count = most = 0
        while free or inside:
            free, entering = self._entering(free, layers, 0 if count else 1)  # who begins has not ended before
            for layer, states in entering.items():
                inside[layer] = inside.get(layer, along.nobody) | states
            if count and (along.late(free) or along.late(inside.get(0, along.nobody))):
                most = count
            if along.ending(free) or along.ending(inside.get(1, along.nobody)):
                most = count + 1
            on = {layer: along.on(states) & alive for layer, states in inside.items() if layer}
            free = along.on(free) & alive
            if 1 in on:
                free = free | on[1].less(self._waiting)
            inside = {layer - 1: out for layer, states in on.items() if (out := states & layers[layer - 1])}
            count += 1
        return most

    def _entering(self, free: UnderWay, layers: list[UnderWay],
                  first: int) -> tuple[UnderWay, dict[int, UnderWay]]:
        """Who stays free, and who comes to the addresses of the rings, by layer, from the first one on; of those at one
        address only who are out soonest."""
        found, entered, entering = dict[int, UnderWay](), set[int](), free & self._waiting
        for layer in range(first, len(layers)):
            if not entering:
                break
            here = entering & layers[layer]
            free, entering = free.less(here), entering.less(here)
            here = here.within(~self._ground.at(entered)) if entered else here
            if here:
                found[layer] = here
                entered |= self._ground.places(here.home | here.away)
        return free, found

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
