"""What depends on what within one cycle, and who takes a value: docs/checks.md, walked through cycle by cycle.

Stores, memories, buses and latches are called by their names; a field of a word is its store.
"""

from typing import NamedTuple

from ordain.language import tree
from tests.judge.looking import NEVER, Look, Looker, looks
from tests.judge.observer import Observer, Seen


class Way(NamedTuple):
    """While the value at `on` holds (always, where it is None), what looks with `look` has what it looks at."""

    on: int | None
    look: Look


class Dependence:
    """Of a whole machine. `_passed`: by which ways a value comes into a bus, memory or store; `_acting`: the further
    ways by which it does when enables and open latches pass it on. `_takers`: who takes a value, and by which ways."""

    def __init__(self, eye: Observer) -> None:
        self._eye, self._looker = eye, Looker(eye)
        self._description = eye.description
        self._passed: dict[str, list[Way]] = {}
        self._acting: dict[str, list[Way]] = {}
        self._takers: dict[str, list[Way]] = {}
        for name, store in self._description.stores.items():
            self._passed[name] = [Way(None, self._looker.expr(store.address))]
        for name, memory in self._description.memories.items():
            self._passed[name] = [Way(None, self._looker.expr(memory.address))]
            self._takers[name] = [Way(None, self._looker.expr(write.when)) for write in memory.writes]
            self._takers[name] += [Way(eye.see(write.when), look) for write in memory.writes
                                   for look in (self._looker.expr(write.source, "", memory.bits.value),
                                                self._looker.expr(memory.address))]
        for name, bus in self._description.buses.items():
            self._passed[name] = [Way(eye.see(driver.when), look) for driver in bus.drivers
                                  for look in self._driven(driver, bus.width.value)]
            self._acting[name] = [Way(None, self._looker.expr(driver.when)) for driver in bus.drivers]
        for name, register in self._description.registers.items():
            ways = [Way(None, self._looker.expr(load.when)) for load in register.loads]
            width = self._description.things[name].width
            ways += [Way(eye.see(load.when), self._looker.expr(load.source, "", width)) for load in register.loads]
            self._takers[name] = [*self._takers.get(name, ()), *ways]
            if register.transparent:
                self._acting[name] = ways
        self._take()

    def takers(self, seen: Seen, source: str) -> list[str]:
        """Who takes the value of a bus or store in the cycle."""
        known = self._spread(seen, source, self._passed)
        return [name for name, ways in self._takers.items() if self._comes(seen, ways, known)]

    def may_be_taken(self, source: str) -> bool:
        """Whether there is any way for its value to anybody at all, whatever the cycle."""
        known = {source}
        while True:
            more = {name for name, ways in self._passed.items() if any(_names(way.look) & known for way in ways)}
            if more <= known:
                break
            known |= more
        return any(_names(way.look) & known for ways in self._takers.values() for way in ways)

    def comes_round(self, seen: Seen, bus: str, alone: bool) -> bool:
        """Whether what the driver that is on `alone` puts on a bus has come from there, or who is on."""
        buses = self._description.buses
        others = {name: [*ways, *(self._acting[name] if name in buses else ())]
                  for name, ways in self._passed.items() if name != bus}
        known = self._spread(seen, bus, others)
        return self._comes(seen, self._acting[bus], known) or (alone and self._comes(seen, self._passed[bus], known))

    def feeds_itself(self, seen: Seen, latch: str) -> bool:
        ways = {name: [*self._passed.get(name, ()), *self._acting.get(name, ())]
                for name in {*self._passed, *self._acting} - {latch}}
        return self._comes(seen, self._acting[latch], self._spread(seen, latch, ways))

    # ------------------------------------------------------------

    def _spread(self, seen: Seen, source: str, ways: dict[str, list[Way]]) -> set[str]:
        known = {source}
        while True:
            more = {name for name, own in ways.items() if name not in known and self._comes(seen, own, known)}
            if not more:
                return known
            known |= more

    def _comes(self, seen: Seen, ways: list[Way], known: set[str]) -> bool:
        return any((way.on is None or seen[way.on]) and looks(way.look, seen, known) for way in ways)

    def _driven(self, driver: tree.Driver, width: int) -> list[Look]:
        """What an enabled driver passes on: its value, or what its name stands for."""
        found = []
        thing = self._description.things.get(driver.name.text)
        if driver.value is not None:
            found.append(self._looker.expr(driver.value, "", width))
        elif thing is not None and thing.kind in ("register", "field", "store", "memory"):
            found.append(self._looker.named(thing.name))
        elif thing is not None and thing.kind == "signal":
            found.append(self._looker.expr(thing.expr, thing.agent))
        if driver.follows is not None:
            found.append(self._looker.named(driver.follows.text))
        return [look for look in found if look != NEVER]

    def _take(self) -> None:
        description, looker, eye = self._description, self._looker, self._eye
        for name, bus in description.buses.items():
            for sampler in bus.samplers:
                taken = self._takers.setdefault(sampler.name.text, [])
                taken += [Way(eye.see(sampler.when), looker.named(name)), Way(None, looker.expr(sampler.when))]
            for driver in bus.drivers:
                self._takers.setdefault(f"{driver.name.text}", []).append(Way(None, looker.expr(driver.when)))
        for name, (agent, state) in description.states.items():
            thing = description.things[name]
            assert isinstance(state, tree.State)
            self._takers.setdefault(name, []).append(Way(None, looker.expr(state.next, agent, thing.width,
                                                                            thing.codes)))
        for strobe in description.strobes:
            self._takers.setdefault(strobe.name.text, []).append(Way(None, looker.expr(description.active(strobe))))


def _names(look: Look) -> set[str]:
    found = {look.name} if look.kind == "name" else set()
    return found.union(*(_names(part) for part in look.parts))
