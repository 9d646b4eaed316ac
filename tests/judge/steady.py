"""Whether a bus stands still: from one cycle to the next, and within one. Said the long way round, from docs/checks.md.

What is seen of two cycles is enough for an edge; `Buses` knows where in it the drivers are found.
"""

from typing import NamedTuple

from ordain.language import tree
from tests.judge.description import Description
from tests.judge.observer import Observer, Seen
from tests.judge.speech import names_in

SHARED = ("wired-and", "wired-or")
RESTING = ("pulled-high", "pulled-low", "kept")


class Reason(NamedTuple):
    """Why what a driver drives does not change. `kind` says which of the values at `numbers` must be what:

    register   it does not load in the cycle before (`numbers`: loads)
    latch      it is closed in both
    value      each is the same in both
    promise    it holds in both
    never      it may always change, from one cycle to the next
    bus        the bus called `name` is steady
    all        every one of `parts` is a reason
    """

    kind: str
    numbers: tuple[int, ...] = ()
    name: str = ""
    parts: "tuple[Reason, ...]" = ()


NEVER = Reason("never")


class Driver(NamedTuple):
    name: str
    on: int
    reasons: tuple[Reason, ...]


class Buses:
    """What an observer has to see to judge the steadiness of one bus and of all that it follows."""

    def __init__(self, eye: Observer, bus: str) -> None:
        self.eye, self.cycle = eye, eye.cycle
        self.description: Description = eye.description
        self.drivers: dict[str, tuple[Driver, ...]] = {}
        self._add(bus)

    def kind(self, bus: str) -> str:
        return self.description.buses[bus].undriven

    # ------------------------------------------------------------ judging

    def on(self, bus: str, seen: Seen) -> list[Driver]:
        return [driver for driver in self.drivers[bus] if seen[driver.on]]

    def rests(self, bus: str, seen: Seen, ring: tuple[str, ...] = ()) -> bool:
        """In this cycle one driver, or what holds the level, defines the bus, and nothing moves during it."""
        on = self.on(bus, seen)
        ring = (*ring, bus)
        if self.kind(bus) in SHARED:
            return all(self._quiet(driver, seen, ring) for driver in on)
        if not on:
            return self.kind(bus) in RESTING
        return len(on) == 1 and self._quiet(on[0], seen, ring)

    def _quiet(self, driver: Driver, seen: Seen, ring: tuple[str, ...]) -> bool:
        return not driver.reasons or any(self._still(reason, seen, ring) for reason in driver.reasons)

    def _still(self, reason: Reason, seen: Seen, ring: tuple[str, ...]) -> bool:
        match reason.kind:
            case "latch":
                return not any(seen[number] for number in reason.numbers)
            case "bus":
                return reason.name not in ring and self.rests(reason.name, seen, ring)
            case "all":
                return all(self._still(part, seen, ring) for part in reason.parts)
        return True

    def steady(self, bus: str, before: Seen, now: Seen, ring: tuple[str, ...] = ()) -> bool:
        """The edge between the two cycles."""
        if not self.rests(bus, before, ring):
            return False
        was, on = self.on(bus, before), self.on(bus, now)
        inner = (*ring, bus)
        if self.kind(bus) in SHARED:
            return (was == on and self.rests(bus, now, ring)
                    and all(self._stays(each, before, now, inner) for each in on))
        if not was:
            return not on
        if not on:
            return self.kind(bus) == "kept" and self._stays(was[0], before, now, inner)
        return was == on and self.rests(bus, now, ring) and self._stays(on[0], before, now, inner)

    def _stays(self, driver: Driver, before: Seen, now: Seen, ring: tuple[str, ...]) -> bool:
        return any(self._same(reason, before, now, ring) for reason in driver.reasons)

    def _same(self, reason: Reason, before: Seen, now: Seen, ring: tuple[str, ...]) -> bool:
        match reason.kind:
            case "register":
                return not any(before[number] for number in reason.numbers)
            case "latch":
                return not any(before[number] or now[number] for number in reason.numbers)
            case "value":
                return all(before[number] == now[number] for number in reason.numbers)
            case "never":
                return False
            case "promise":
                return all(before[number] and now[number] for number in reason.numbers)
            case "bus":
                return reason.name not in ring and self.steady(reason.name, before, now, ring)
        return all(self._same(part, before, now, ring) for part in reason.parts)

    # ------------------------------------------------------------ what to see

    def _add(self, bus: str) -> None:
        if bus in self.drivers:
            return
        self.drivers[bus] = ()
        found = []
        for driver in self.description.buses[bus].drivers:
            reasons = []
            own = self._by_nature(driver.name.text) if driver.value is None else \
                self._value(driver.value, "", self.description.things[bus].width)
            reasons += [] if own is None else [own]
            if driver.follows is not None:
                self._add(driver.follows.text)
                reasons.append(Reason("bus", name=driver.follows.text))
            if driver.steady is not None:
                reasons.append(Reason("promise", (self.eye.see(driver.steady),)))
            found.append(Driver(driver.name.text, self.eye.see(driver.when), tuple(reasons)))
        self.drivers[bus] = tuple(found)

    def _by_nature(self, name: str) -> Reason | None:
        thing = self.description.things.get(name)
        if thing is None:
            return None
        match thing.kind:
            case "register":
                return self._register(name)
            case "state" | "field":
                return Reason("value", (self.eye.see_fact(self.cycle.leaf(thing)),))
            case "store":
                return Reason("value", (self.eye.see_fact(self.cycle.word(name)),))
            case "constant":
                return Reason("value")
            case "signal":
                assert thing.expr is not None
                return self._value(thing.expr, thing.agent)
            case "memory":
                return self._memory(name)
        return None

    def _memory(self, name: str) -> Reason | None:
        """Its address stays, and nothing is written in the cycle before."""
        memory = self.description.memories[name]
        address = None if memory.address is None else self._value(memory.address, "")
        idle = Reason("register", tuple(self.eye.see(write.when) for write in memory.writes))
        return None if address is None else Reason("all", parts=(address, idle))

    def _register(self, name: str) -> Reason:
        register = self.description.registers[name]
        loads = tuple(self.eye.see(load.when) for load in register.loads)
        return Reason("latch" if register.transparent else "register", loads)

    def _value(self, expr: tree.Expr, agent: str, width: int | None = None) -> Reason | None:
        """With an input or condition in it, it always changes. With registers or buses in it, all that is in it must
        stay; else its value must."""
        names = names_in(expr, self.description, agent)
        kinds = {self.description.things[name].kind for name in names}
        if kinds & {"input", "condition"}:
            return None
        if not kinds & {"register", "bus", "memory"}:
            return Reason("value", (self.eye.see(expr, agent, width),))
        parts: list[Reason] = []
        for name in sorted(names):
            kind = self.description.things[name].kind
            if kind == "bus":
                self._add(name)
                parts.append(Reason("bus", name=name))
            elif kind == "register":
                parts.append(self._register(name))
            elif kind == "memory":
                parts.append(self._memory(name) or NEVER)
            else:
                parts.append(Reason("value", (self.eye.see_fact(self.cycle.leaf(self.description.things[name])),)))
        return Reason("all", parts=tuple(parts))
