"""A clock of a capture in the machine's own terms: where control is, who drives what, as far as it is known by then."""

from ordain.follow.model import ClockCycle, ToldClock
from ordain.follow.states import States
from ordain.machine.expression import Node
from ordain.machine.model import Machine


def asked_of(machine: Machine) -> list[Node]:
    """The conditions that `Teller` asks about."""
    return list(dict.fromkeys(driver.when for bus in machine.buses.values() for driver in bus.drivers))


class Teller:
    """Remembers what it has told: the same set with the same reading comes again."""

    def __init__(self, states: States) -> None:
        self.states = states
        self._told: dict[tuple[int, int, int], ToldClock] = {}

    def told(self, clock: ClockCycle) -> ToldClock:
        key = clock.states, clock.seen.word, clock.seen.known
        found = self._told.get(key)
        if found is None:
            found = self._told[key] = self._made(clock)
        return found

    def _made(self, clock: ClockCycle) -> ToldClock:
        states, machine = self.states, self.states.system.contents.machine
        cycles = states.cycles(clock.states, clock.seen)
        addresses = {store.name: tuple(sorted(states.addresses(store.name, cycles)))
                     for store in machine.stores.values() if store.fill == "microprogram"}
        drivers: dict[str, tuple[tuple[str, bool], ...]] = {}
        quiet = set()
        for bus in machine.buses.values():
            found: dict[str, bool] = {}
            for driver in bus.drivers:
                off, on = states.may(driver.when, cycles)
                if on:
                    found[driver.name] = found.get(driver.name, False) or not off
            drivers[bus.name] = tuple(found.items())
            if not found:
                quiet.add(bus.name)
        return ToldClock(addresses, drivers, frozenset(quiet))
