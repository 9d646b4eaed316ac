"""One cycle of a machine as one Python function: from a state and a value of everything free to what follows.

Written from docs/language.md and docs/checks.md. A state is a tuple of plain integers: every `state`, every register
that something looks at (those that such a register loads from among them), and what `prior` in an assumption remembers.
"""

from collections.abc import Callable, Hashable, Iterator
from contextlib import AbstractContextManager, contextmanager
from itertools import product
from typing import Any, NamedTuple

from ordain.language import tree
from ordain.rom.contents import Contents
from tests.judge.description import Codes, Description, Thing
from tests.judge.speech import Speech, fits, names_in

State = tuple[int, ...]
Frees = tuple[int, ...]
Facts = tuple[int, ...]
Outcome = tuple[int, State, tuple[int, ...], Facts]
"""Whether every assumption holds, the state after the cycle, the address of each store, what was to be looked at."""


Part = tuple[str, str]
"""What takes its value within a cycle: ("latch", NAME), ("bus", NAME), ("store", NAME)."""


class Unsupported(Exception):
    """The machine says something of which the documents do not say what it means."""


class Slot(NamedTuple):
    """One place in the state. `shown`: the name under which a trace tells it, "" where it tells none."""

    shown: str
    values: int
    reset: int | None


class Cycle(Speech):
    """`fact` asks for the value of an expression in every cycle; `compiled` ends the asking."""

    def __init__(self, description: Description, contents: Contents) -> None:
        super().__init__(description)
        self.contents = contents
        self.slots: list[Slot] = []
        self.frees: dict[str, tuple[str, int]] = {}
        self.facts: dict[str, int] = {}
        self._lines: list[str] = []
        self._nexts: list[Callable[[], str]] = []
        self._place: dict[str, int] = {}
        self._made: dict[str, str] = {}
        self._named_tables: dict[Hashable, str] = {}
        self._busy: set[str] = set()
        self._rings, self._ring = rings(description), frozenset[Part]()
        self._compiled: Callable[[State, Frees], Outcome] | None = None
        for name, (agent, state) in description.states.items():
            assert isinstance(state, tree.State) and state.next is not None
            thing = description.things[name]
            self._slot(f"state {name}", Slot(name, thing.values, self._reset(state.reset, thing)),
                       self._later(state.next, thing, agent))
        for name in description.on_clock:  # an input that waits for the clock is a state, whether it is read or not
            self.leaf(description.things[name])
        self.addresses = [self.address(store) for store in description.stores]
        for thing in list(description.things.values()):
            if thing.kind == "signal" and thing.expr is not None and not looks_back(thing.expr, self.description,
                                                                                    thing.agent):
                self.text(thing.expr, None, None, thing.agent)
        for bus in description.buses.values():
            for promise in (driver.steady for driver in bus.drivers):
                if promise is not None and not looks_back(promise, description, ""):
                    self.bit(promise)
        self._assumed = [self.bit(assume.condition, agent) for agent, assume in description.assumes
                         if isinstance(assume, tree.Assume)]
        self._assumptions_remember = self._remembered()

    def remembers_more(self) -> bool:
        """States here have memories that are no part of the machine: a gate of a strobe looks back; or of a bus that
        keeps its level all bits are remembered, where only some of them may be read; or registers are followed that
        only a memory reads, or what a driver puts on its bus, of which nobody asks."""
        values = any(driver.value is not None for bus in self.description.buses.values() for driver in bus.drivers)
        return values or bool(self.description.memories) or self._remembered() > self._assumptions_remember or any(
            slot.shown.endswith(" kept") and slot.values > 2 for slot in self.slots)

    def _remembered(self) -> int:
        return sum(key.startswith("prior ") for key in self._place)

    def fact(self, expr: tree.Expr | None, agent: str = "", want: int | None = 1, codes: Codes | None = None) -> int:
        """The number of a fact; nothing written is always 1."""
        return self.fact_of("1" if expr is None else self.text(expr, want, codes, agent))

    def fact_of(self, text: str) -> int:
        return self.facts.setdefault(text, len(self.facts))

    def compiled(self) -> Callable[[State, Frees], Outcome]:
        if self._compiled is None:
            self._compiled = self._compile()
        return self._compiled

    def _compile(self) -> Callable[[State, Frees], Outcome]:
        nexts: list[str] = []
        while len(nexts) < len(self._nexts):  # saying a next value may ask for a further register
            nexts.append(self._nexts[len(nexts)]())
        body = "\n    ".join(self._lines) or "pass"
        source = (f"def cycle(s, f):\n    {_unpack(len(self.slots), 's')}\n    {_unpack(len(self.frees), 'f')}\n"
                  f"    {body}\n    return ({' and '.join(self._assumed) or '1'}), ({_listed(nexts)}), "
                  f"({_listed(self.addresses)}), ({_listed(list(self.facts))})\n")
        scope: dict[str, Any] = {name: value for value, name in self._named_tables.items()}
        exec(source, scope)
        found: Callable[[State, Frees], Outcome] = scope["cycle"]
        return found

    def domains(self) -> list[range]:
        return [range(values) for _, values in self.frees.values()]

    def starts(self) -> Iterator[State]:
        return product(*(range(slot.values) if slot.reset is None else (slot.reset,) for slot in self.slots))

    # ------------------------------------------------------------ leaves

    def leaf(self, thing: Thing) -> str:
        match thing.kind:
            case "state":
                return f"s{self._place[f'state {thing.name}']}"
            case "register":
                return self.shown(thing.name)
            case "input" if thing.name in self.description.on_clock:
                return self._once(f"input {thing.name}", lambda: self._when_moved(thing))
            case "input" | "condition" | "memory":
                return self.free(thing.name, thing.values)
            case "bus":
                return self.level(thing.name)
            case "field":
                field = self.description.machine.fields[thing.name]
                mask = (1 << thing.width) - 1
                turned = f" ^ {mask}" if field.active_low else ""
                return f"(({self.word(field.store)} >> {field.low} & {mask}){turned})"
            case "store":
                return self.word(thing.name)
        raise Unsupported(thing.kind)

    def _when_moved(self, thing: Thing) -> str:
        """Anything in the first step after its phase has ended, and the same until that ends again."""
        phase, end = self.description.ends(self.description.on_clock[thing.name])
        if end is None:
            return self.free(thing.name, thing.values)
        moved, kept = f"moved in {phase}", f"kept {thing.name}"
        if moved not in self._place:
            self._slot(moved, Slot("", 2, 1), lambda: self.bit(end))
        if kept not in self._place:
            self._slot(kept, Slot(f"{thing.name} kept", thing.values, None), lambda: self.leaf(thing))
        return f"({self.free(thing.name, thing.values)} if s{self._place[moved]} else s{self._place[kept]})"

    def spot(self, kind: str, label: str) -> str:
        store, addresses = (self.contents.labels if kind == "at" else self.contents.routines)[label]
        return f"(1 if {self.address(store)} in {self.table(addresses)} else 0)"

    def before(self, expr: tree.Expr, width: int, codes: Codes | None, agent: str) -> str:
        """In an assumption: one more thing to remember, 0 at the start."""
        text = self.text(expr, width, codes, agent)
        key, going = f"prior {text}", self.description.goes_on()
        if key not in self._place:
            self._slot(key, Slot("", 1 << width, 0), lambda: text if going is None else
                       f"({text} if {self.bit(going)} else s{self._place[key]})")
        return f"s{self._place[key]}"

    def undefined(self, choose: tree.Choose, width: int, codes: Codes | None) -> str:
        name = self.free(f"undefined at {choose.span.start}", 1 << width)
        if codes is None or not codes.closed or len(codes.values) == 1 << width:
            return name
        return f"({name} if {name} < {len(codes.values)} else 0)"

    def free(self, name: str, values: int) -> str:
        if name not in self.frees:
            self.frees[name] = (f"f{len(self.frees)}", values)
        return self.frees[name][0]

    def level(self, bus: str) -> str:
        """What stands on a bus: what the one driver puts there that is on, as far as it is known; on a wired one what
        all that are on leave; else the level at which it is held, if it is."""
        anything = self.free(bus, self.description.things[bus].values)
        undriven = self.description.buses[bus].undriven
        if undriven in ("floats", "multiplexed") and not any(
                is_known(driver, bus, self.description) for driver in self.description.buses[bus].drivers):
            return anything
        if self._in_ring("bus", bus):
            if undriven == "kept":
                self._held_level(bus)  # it is followed, though nothing comes of it here
            return anything
        return self._once(f"bus {bus}", lambda: self._level(bus, anything))

    def _held_level(self, bus: str) -> str:
        key = f"kept {bus}"
        if key not in self._place:
            self._slot(key, Slot(f"{bus} kept", self.description.things[bus].values, None), lambda: self.level(bus))
        return f"s{self._place[key]}"

    def _level(self, bus: str, anything: str) -> str:
        thing, undriven = self.description.things[bus], self.description.buses[bus].undriven
        held = self._held_level(bus) if undriven == "kept" else anything if undriven in ("floats", "multiplexed") else \
            str(thing.values - 1 if undriven in ("pulled-high", "wired-and") else 0)
        with self._ring_of("bus", bus):
            drivers = [(self.bit(driver.when), self._sent(driver, bus, anything))
                       for driver in self.description.buses[bus].drivers]
        if undriven in ("wired-and", "wired-or"):
            sign = " & " if undriven == "wired-and" else " | "
            return f"({sign.join([held, *(f'({value} if {on} else {held})' for on, value in drivers)])})"
        if all(value == anything for _, value in drivers):
            return f"({anything} if {' or '.join(on for on, _ in drivers) or 0} else {held})"
        count = " + ".join(f"(1 if {on} else 0)" for on, _ in drivers)
        alone = "".join(f"{value} if {on} else " for on, value in drivers)
        return f"({anything} if {count} > 1 else {alone}{held})"

    def _sent(self, driver: tree.Driver, bus: str, anything: str) -> str:
        if not is_known(driver, bus, self.description):
            return anything
        width = self.description.things[bus].width
        return f"({self.text(driver.name if driver.value is None else driver.value, width)})"

    def address(self, store: str) -> str:
        return self._once(f"address {store}", lambda: self._address(store))

    def word(self, store: str) -> str:
        return self._once(f"word {store}",
                          lambda: f"{self.table(self.contents.words[store])}[{self.address(store)}]")

    def _address(self, store: str) -> str:
        address = self.description.stores[store].address
        assert address is not None
        with self._ring_of("store", store):
            return self.text(address)

    # ------------------------------------------------------------ registers

    def shown(self, name: str) -> str:
        """What a register shows in this cycle: a latch what it loads, while it is open."""
        register = self.description.registers[name]
        if not register.transparent:
            return self.held(name)
        return self.kept(name)

    def held(self, name: str) -> str:
        key = f"register {name}"
        if key not in self._place:
            register, thing = self.description.registers[name], self.description.things[name]
            self._slot(key, Slot(name, thing.values, self._reset(register.reset, thing)), lambda: self.kept(name))
        return f"s{self._place[key]}"

    def kept(self, name: str) -> str:
        """What it holds at the end of the cycle. Of two loads of different things at once nobody knows what comes."""
        if self._in_ring("latch", name):
            self.held(name)  # it is followed, though nothing comes of what it holds
            return self.free(f"{name} unsettled", self.description.things[name].values)
        return self._once(f"register {name}", lambda: self._kept(name))

    def _kept(self, name: str) -> str:
        register, thing = self.description.registers[name], self.description.things[name]
        with self._ring_of("latch", name):
            loads = [(self.bit(load.when), self._loaded(load, thing)) for load in register.loads]
        text = self.held(name)
        for when, source in loads:
            text = f"({source} if {when} else {text})"
        for number, (when, source) in enumerate(loads):
            for other, earlier in loads[:number]:
                if earlier != source:
                    text = f"({self.free(f'{name} loaded twice', thing.values)} if {when} and {other} else {text})"
        return text

    def _loaded(self, load: tree.Load, thing: Thing) -> str:
        if load.source is None:
            return self.free(f"{thing.name} loaded", thing.values)
        return self.text(load.source, thing.width)

    def opened(self, name: str) -> str:
        """Some load of the register goes on in this cycle."""
        return "(" + (" or ".join(self.bit(load.when) for load in self.description.registers[name].loads) or "0") + ")"

    # ------------------------------------------------------------ rings within a cycle

    def _ring_of(self, kind: str, name: str) -> AbstractContextManager[None]:
        """While this part is said, the latches and buses of a ring that it is in are unsettled: anything."""
        return self._within(self._rings.get((kind, name), frozenset()))

    @contextmanager
    def _within(self, ring: frozenset[Part]) -> Iterator[None]:
        outer, self._ring = self._ring, ring
        yield
        self._ring = outer

    def _in_ring(self, kind: str, name: str) -> bool:
        return (kind, name) in self._ring

    # ------------------------------------------------------------ making text

    def _later(self, expr: tree.Expr, thing: Thing, agent: str) -> Callable[[], str]:
        return lambda: self.text(expr, thing.width, thing.codes, agent)

    def _reset(self, reset: tree.Number | tree.Word | None, thing: Thing) -> int | None:
        if reset is None:
            return None
        if isinstance(reset, tree.Number):
            return reset.value
        if thing.codes is not None and reset.text in thing.codes.values:
            return thing.codes.values[reset.text]
        return self.constant(self.description.things[reset.text])[0]

    def _slot(self, key: str, slot: Slot, following: Callable[[], str]) -> None:
        self._place[key] = len(self.slots)
        self.slots.append(slot)
        self._nexts.append(following)

    def _once(self, key: str, text: Callable[[], str]) -> str:
        if key not in self._made:
            if key in self._busy:
                raise Unsupported(f"{key} depends on itself")
            self._busy.add(key)
            said = text()
            self._busy.discard(key)
            name = f"t{len(self._lines)}"
            self._lines.append(f"{name} = {said}")
            self._made[key] = name
        return self._made[key]

    def table(self, value: Hashable) -> str:
        """The same name for equal ones, so that equal expressions have equal texts."""
        return self._named_tables.setdefault(value, f"T{len(self._named_tables)}")


def rings(description: Description) -> dict[Part, frozenset[Part]]:
    """For each latch, store and held bus that depends on itself within a cycle, what it shares its rings with."""
    reads: dict[Part, set[Part]] = {}
    for name, store in description.stores.items():
        reads["store", name] = _parts_in(description, store.address)
    for name, register in description.registers.items():
        if register.transparent:
            reads["latch", name] = _parts_in(description, *(part for load in register.loads
                                                            for part in (load.when, load.source)))
    for name, bus in description.buses.items():
        known = [driver for driver in bus.drivers if is_known(driver, name, description)]
        if bus.undriven not in ("floats", "multiplexed") or known:
            reads["bus", name] = _parts_in(description, *(driver.when for driver in bus.drivers),
                                           *(driver.value or driver.name for driver in known))
    reach = {part: set(read) for part, read in reads.items()}
    for middle in reads:
        for part in reads:
            if middle in reach[part]:
                reach[part] |= reach[middle]
    return {part: frozenset(other for other in reads if other in reach[part] and part in reach.get(other, ()))
            for part in reads if part in reach[part]}


def is_known(driver: tree.Driver, bus: str, description: Description) -> bool:
    """Whether what a driver puts on its bus is made of numbers and states alone."""
    if driver.value is None:
        thing = description.things.get(driver.name.text)
        if thing is None or thing.kind not in ("state", "signal", "constant"):
            return False
        if not fits(driver.name, description.things[bus].width, description):
            return False
    return all(description.things[name].kind == "state"
               for name in names_in(driver.value or driver.name, description))


def _parts_in(description: Description, *exprs: tree.Expr | None) -> set[Part]:
    found: set[Part] = set()
    for name in set[str]().union(*(names_in(expr, description) for expr in exprs)):
        thing = description.things[name]
        kind = {"field": "store", "register": "latch"}.get(thing.kind, thing.kind)
        found.add((kind, description.machine.fields[name].store if thing.kind == "field" else name))
    return found


def looks_back(expr: tree.Expr, description: Description, agent: str) -> bool:
    """Something in the expression is about the cycle before."""
    waiting: list[tuple[Any, str]] = [(expr, agent)]
    while waiting:
        part, where = waiting.pop()
        if isinstance(part, tree.Prior):
            return True
        if isinstance(part, tree.Word):
            thing = description.find(part.text, where)
            if thing is not None and thing.kind == "signal":
                waiting.append((thing.expr, thing.agent))
        elif isinstance(part, tuple):
            waiting += [(each, where) for each in part if isinstance(each, tuple)]
    return False


def _listed(texts: list[str]) -> str:
    return ", ".join(texts) + "," if texts else ""


def _unpack(count: int, name: str) -> str:
    return "".join(f"{name}{n}, " for n in range(count)) + f"= {name}" if count else "pass"
