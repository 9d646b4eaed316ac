"""Every property of a machine by plain breadth-first search, state by state and input by input.

The yardstick of the tests: it shares nothing with `ordain.prover` and `ordain.logic` but the data that go in and come
out. Expressions are written out as Python text, straight from the tree, with its own reading of `at`, `in`, `Prior`,
registers and open latches. It is slow and has no limits; machines must be small (and their buses narrow, if control
reads them).
"""

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from itertools import product
from math import prod
from typing import Any, NamedTuple

from ordain.control.model import Cycle, Trace, Variable
from ordain.machine.expression import (
    Add,
    Among,
    And,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Not,
    Or,
    Parity,
    Prior,
    Slice,
    Sub,
    Xor,
)
from ordain.machine.model import Bus, Driver, Machine, Register
from ordain.prover.model import Break, Property, Verdict, Verdicts
from ordain.rom.contents import Contents

State = tuple[int, ...]
Frees = tuple[int, ...]
Part = tuple[str, str]
HELD = {"pulled-high": True, "pulled-low": False, "kept": False, "wired-and": True, "wired-or": False}
"""The buses that have a level while nobody drives them; whether it is ones."""


class Slot(NamedTuple):
    """One place in the state tuple."""

    name: str
    values: int
    reset: int | None
    origin: str


class Model:
    """A machine with the monitors of one property, as functions on plain tuples.

    `evaluate(state, frees)` gives (assumptions hold, next state, addresses, node values): all over one cycle.
    """

    def __init__(self, contents: Contents, nodes: Sequence[Node], monitors: Sequence[Variable] = ()) -> None:
        self.contents, self.machine = contents, contents.machine
        machine = self.machine
        self.tracked = tracked_registers(machine)
        self.slots: list[Slot] = []
        self.nexts: list[Node | Register] = []
        self.place: dict[object, int] = {}
        for state in machine.states.values():
            values = len(state.codes) or 1 << state.width
            self._add(("state", state.name), Slot(state.name, values, state.reset, "state"), state.next)
        for name in self.tracked:
            register = machine.registers[name]
            self._add(("register", name), Slot(name, 1 << register.width, register.reset, "register"), register)
        for monitor in monitors:
            self._add(("state", monitor.name), Slot(monitor.name, monitor.values, monitor.reset, "monitor"),
                      monitor.next)
        assumptions = [assumption.condition for assumption in machine.assumptions]
        self.stores = list(machine.stores)
        self.text: list[str] = []
        self.names: dict[object, str] = {}
        self.frees: dict[str, tuple[str, int]] = {}
        self.tables: dict[str, object] = {}
        self.rings = rings(contents, self.tracked)
        self.inside: frozenset[Part] = frozenset()
        self.contexts: dict[frozenset[Part], dict[object, str]] = {frozenset(): self.names}
        self.settled: dict[Part, str] = {}
        asked = [self.say(node) for node in nodes]
        assumed = [self.say(node) for node in assumptions]
        addresses = [self.address(store) for store in self.stores]
        done = 0
        following: list[str] = []
        while done < len(self.nexts):  # saying a next value may add a slot for a `Prior` in it
            entry = self.nexts[done]
            following.append(self.stored_next(entry) if isinstance(entry, Register) else self.say(entry))
            done += 1
        for slot in (slot for slot in self.slots if slot.origin == "prior"):
            assert slot.reset == 0
        body = "\n    ".join(self.text)
        frees = ", ".join(self.frees[key][0] for key in self.frees)
        source = (f"def evaluate(s, f):\n    {frees + ', = f' if frees else 'pass'}\n    {body or 'pass'}\n"
                  f"    return ({' and '.join(assumed) or '1'}), ({_tuple(following)}), ({_tuple(addresses)}), "
                  f"({_tuple(asked)})\n")
        scope: dict[str, Any] = dict(self.tables)
        exec(source, scope)
        self.evaluate: Callable[[State, Frees], tuple[int, State, tuple[int, ...], tuple[int, ...]]] = scope["evaluate"]
        self.domains = [range(self.frees[key][1]) for key in self.frees]

    def starts(self) -> list[State]:
        return [tuple(values) for values in product(*(range(slot.values) if slot.reset is None else (slot.reset,)
                                                      for slot in self.slots))]

    def cycles(self, state: State) -> Iterable[tuple[State, tuple[int, ...], tuple[int, ...], Frees]]:
        """Next state, addresses and node values of each cycle that the assumptions let this state have."""
        evaluate = self.evaluate
        for frees in product(*self.domains):
            holds, following, addresses, values = evaluate(state, frees)
            if holds:
                yield following, addresses, values, frees

    def _add(self, key: object, slot: Slot, following: "Node | Register") -> None:
        self.place[key] = len(self.slots)
        self.slots.append(slot)
        self.nexts.append(following)

    # ------------------------------------------------------------ text of an expression

    def say(self, node: Node) -> str:
        """The name of a local variable with the node's value. Works off a list, so depth is no matter."""
        waiting = [node]
        while waiting:
            top = waiting[-1]
            if top in self.names:
                waiting.pop()
                continue
            args = () if isinstance(top, Prior) else top.args
            open_ = [arg for arg in args if arg not in self.names]
            if open_:
                waiting.extend(open_)
                continue
            waiting.pop()
            self.names[top] = self._assign(self._formula(top, [self.names[arg] for arg in args]))
        return self.names[node]

    def _assign(self, formula: str) -> str:
        name = f"t{len(self.text)}"
        self.text.append(f"{name} = {formula}")
        return name

    def _formula(self, node: Node, a: list[str]) -> str:
        mask = (1 << node.width) - 1
        match node:
            case Const(value=value):
                return str(value)
            case Leaf():
                return self._leaf(node)
            case Not():
                return f"{a[0]} ^ {mask}"
            case And():
                return " & ".join(a)
            case Or():
                return " | ".join(a)
            case Xor():
                return f"{a[0]} ^ {a[1]}"
            case Equal():
                return f"int({a[0]} == {a[1]})"
            case Among(values=values):
                return f"int({a[0]} in {self._table(values)})"
            case Less():
                return f"int({a[0]} < {a[1]})"
            case Add():
                return f"({a[0]} + {a[1]}) & {mask}"
            case Sub():
                return f"({a[0]} - {a[1]}) & {mask}"
            case Slice(low=low):
                return f"({a[0]} >> {low}) & {mask}"
            case Join(args=args):
                text = a[0]
                for part, name in zip(args[1:], a[1:]):
                    text = f"({text}) << {part.width} | {name}"
                return text
            case If():
                return f"{a[1]} if {a[0]} else {a[2]}"
            case Parity():
                return f"{a[0]}.bit_count() & 1"
            case Prior(args=args):
                if node not in self.place:
                    kept = args[0] if len(args) == 1 else self.machine.terms.if_(args[1], args[0], node)
                    self._add(node, Slot(f"prior {len(self.slots)}", 1 << node.width, 0, "prior"), kept)
                return f"s[{self.place[node]}]"
        raise TypeError(type(node))

    def _leaf(self, leaf: Leaf) -> str:
        machine = self.machine
        match leaf.kind:
            case "state":
                return f"s[{self.place['state', leaf.name]}]"
            case "register":
                return self._register(machine.registers[leaf.name])
            case "input":
                given = machine.inputs[leaf.name]
                return self._free(f"input {leaf.name}", len(given.codes) or 1 << given.width)
            case "bus" if leaf.name in machine.buses and has_level(machine, machine.buses[leaf.name]):
                return self._level(machine.buses[leaf.name])
            case "condition" | "bus" | "free":
                return self._free(f"{leaf.kind} {leaf.name}", 1 << leaf.width)
            case "field":
                field = machine.fields[leaf.name]
                mask = (1 << field.width) - 1
                turned = f" ^ {mask}" if field.active_low else ""
                return f"(({self.word(field.store)} >> {field.low}) & {mask}){turned}"
            case "word":
                return self.word(leaf.name)
            case "address":
                return self.address(leaf.name)
            case "at" | "in":
                store, addresses = (self.contents.labels if leaf.kind == "at" else self.contents.routines)[leaf.name]
                return f"int({self.address(store)} in {self._table(addresses)})"
        raise ValueError(leaf.kind)

    def address(self, store: str) -> str:
        return self._within(("store", store), lambda: self.say(self.machine.stores[store].address))

    def word(self, store: str) -> str:
        key = ("word", store)
        if key not in self.settled:
            table = self._table(self.contents.words[store])
            self.settled[key] = self._assign(f"{table}[{self.address(store)}]")
        return self.settled[key]

    def _within(self, part: "Part", said: Callable[[], str]) -> str:
        """What a part is; what it reads of its own ring is unsettled."""
        if part not in self.settled:
            before = self.inside, self.names
            self.inside = self.rings[part]
            self.names = self.contexts.setdefault(self.inside, {})
            self.settled[part] = said()
            self.inside, self.names = before
        return self.settled[part]

    def _level(self, bus: Bus) -> str:
        """What its drivers put on it, as far as they say it; without one the level at which it is held."""
        part, driven = ("bus", bus.name), self._free(f"bus {bus.name}", 1 << bus.width)
        if part in self.inside:
            return driven
        if bus.undriven == "kept":
            if part not in self.place:
                self._add(part, Slot(f"{bus.name} kept", 1 << bus.width, None, "kept"),
                          self.machine.terms.leaf("bus", bus.name, bus.width))
            held = f"s[{self.place[part]}]"
        else:
            held = str((1 << bus.width) - 1 if HELD[bus.undriven] else 0) if bus.undriven in HELD else driven
        return self._within(part, lambda: self._assign(self._on(bus, driven, held)))

    def _on(self, bus: Bus, driven: str, held: str) -> str:
        sent = []
        for driver in bus.drivers:
            value = said_of(self.machine, driver, bus)
            sent.append((self.say(driver.when), driven if value is None else f"({self.say(value)})"))
        if bus.undriven in ("wired-and", "wired-or"):
            sign = "&" if HELD[bus.undriven] else "|"
            return f" {sign} ".join([held, *(f"({value} if {when} else {held})" for when, value in sent)])
        if all(value == driven for _, value in sent):
            return f"{driven} if {' or '.join(when for when, _ in sent) or '0'} else {held}"
        return (f"{driven} if {' + '.join(f'bool({when})' for when, _ in sent)} > 1 else "
                + "".join(f"{value} if {when} else " for when, value in sent) + held)

    def _free(self, key: str, values: int) -> str:
        if key not in self.frees:
            self.frees[key] = (f"f{len(self.frees)}", values)
        return self.frees[key][0]

    def _table(self, value: object) -> str:
        name = f"T{len(self.tables)}"
        self.tables[name] = value
        return name

    # ------------------------------------------------------------ registers and latches

    def _register(self, register: Register) -> str:
        if register.name not in self.tracked:
            return self._free(f"register {register.name}", 1 << register.width)
        if register.transparent:
            if ("latch", register.name) in self.inside:
                return self._free(f"unsettled {register.name}", 1 << register.width)
            return self.stored_next(register)
        return f"s[{self.place['register', register.name]}]"

    def stored_next(self, register: Register) -> str:
        """The value after the loads of this cycle; an open latch shows it in the cycle itself."""
        return self._within(("latch" if register.transparent else "register", register.name),
                            lambda: self._after_loads(register))

    def _after_loads(self, register: Register) -> str:
        """Of two different loads at once nobody knows what comes of it."""
        loads = []
        for load in register.loads:
            source = (self.say(load.source) if load.source is not None
                      else self._free(f"loaded {register.name}", 1 << register.width))
            loads.append((self.say(load.when), source, load.source))
        text = f"s[{self.place['register', register.name]}]"
        for when, source, _ in loads:
            text = f"({source} if {when} else {text})"
        for index, (when, _, source) in enumerate(loads):
            for other, _, earlier in loads[:index]:
                if earlier is not source:
                    unknown = self._free(f"twice {register.name}", 1 << register.width)
                    text = f"({unknown} if {when} and {other} else {text})"
        return self._assign(text)


def _tuple(names: Sequence[str]) -> str:
    return ", ".join(names) + "," if names else ""


def tracked_registers(machine: Machine) -> list[str]:
    """Registers that something other than the source of a load reads, and what these load, through any number."""
    roots: list[Node | None] = [state.next for state in machine.states.values()]
    roots += [store.address for store in machine.stores.values()]
    roots += [load.when for register in machine.registers.values() for load in register.loads]
    roots += [signal.value for signal in machine.signals.values()]
    roots += [assumption.condition for assumption in machine.assumptions] + [machine.home]
    for bus in machine.buses.values():
        for driver in bus.drivers:
            roots += [driver.when, driver.steady]
        roots += [sampler.when for sampler in bus.samplers]
    roots += [strobe.active for strobe in machine.strobes]
    roots += [keep.condition for keep in machine.keeps]
    roots += [signal for exclusive in machine.exclusives for signal in exclusive.signals]
    for rule in machine.rules:
        roots += [part for part in rule.form if isinstance(part, Node)]
    read = registers_in(roots)
    while True:
        more = registers_in([load.source for name in read for load in machine.registers[name].loads])
        if more <= read:
            return [name for name in machine.registers if name in read]
        read |= more


def leaves_in(roots: Iterable[Node | None]) -> set[Leaf]:
    found: set[Leaf] = set()
    seen: set[Node] = set()
    waiting = [root for root in roots if root is not None]
    while waiting:
        node = waiting.pop()
        if node not in seen:
            seen.add(node)
            waiting.extend(node.args)
            if isinstance(node, Leaf):
                found.add(node)
    return found


def registers_in(roots: Iterable[Node | None]) -> set[str]:
    return {leaf.name for leaf in leaves_in(roots) if leaf.kind == "register"}


def said_of(machine: Machine, driver: Driver, bus: Bus) -> Node | None:
    """What a driver puts on a bus, if it is made of nothing that is data."""
    terms, name = machine.terms, driver.name
    named: Node | None = None
    if name in machine.states:
        named = terms.leaf("state", name, machine.states[name].width)
    elif name in machine.signals:
        named = machine.signals[name].value
    elif machine.constants.get(name, 1 << bus.width) < 1 << bus.width:
        named = terms.const(machine.constants[name], bus.width)
    value = named if driver.value is None else driver.value
    data = value is None or value.width != bus.width or any(leaf.kind != "state" for leaf in leaves_in([value]))
    return None if data else value


def has_level(machine: Machine, bus: Bus) -> bool:
    return bus.undriven in HELD or any(said_of(machine, driver, bus) is not None for driver in bus.drivers)


def rings(contents: Contents, tracked: Sequence[str]) -> dict[Part, frozenset[Part]]:
    """For each latch, bus and store those that it goes round with within a cycle; none for what goes round nowhere."""
    machine = contents.machine
    roots: dict[Part, list[Node | None]] = {("store", name): [store.address] for name, store in machine.stores.items()}
    for name, register in machine.registers.items():
        kind = "latch" if register.transparent and name in tracked else "register"
        roots[kind, name] = [node for load in register.loads for node in (load.when, load.source)]
    for name, bus in machine.buses.items():
        roots["bus", name] = [node for driver in bus.drivers for node in (driver.when, said_of(machine, driver, bus))
                              ] if has_level(machine, bus) else []
    reads: dict[Part, set[Part]] = {part: set() for part in roots}
    for part, nodes in roots.items():
        for leaf in leaves_in(nodes):
            match leaf.kind:
                case "field":
                    reads[part].add(("store", machine.fields[leaf.name].store))
                case "word" | "address":
                    reads[part].add(("store", leaf.name))
                case "at" | "in":
                    named = contents.labels if leaf.kind == "at" else contents.routines
                    reads[part].add(("store", named[leaf.name][0]))
                case "register" if ("latch", leaf.name) in roots:
                    reads[part].add(("latch", leaf.name))
                case "bus":
                    reads[part].add(("bus", leaf.name))
    found = {}
    for part in roots:
        below: set[Part] = set()
        waiting = list(reads[part])
        while waiting:
            other = waiting.pop()
            if other not in below:
                below.add(other)
                waiting.extend(reads.get(other, ()))
        found[part] = below
    return {part: frozenset(other for other in below if part in found.get(other, ())) for part, below in found.items()}


# ---------------------------------------------------------------- searches


class Graph(NamedTuple):
    """All reachable states with their levels (cycles before them), and for each the distinct outcomes of a cycle."""

    model: Model
    level: dict[State, int]
    cycles: dict[State, set[tuple[State, tuple[int, ...], tuple[int, ...]]]]


class TooLarge(Exception):
    """There are more cycles than were to be followed."""


def explore(model: Model, most: int | None = None) -> Graph:
    """Raises TooLarge when states times choices of inputs come to more than `most`."""
    choices = prod(map(len, model.domains))
    level: dict[State, int] = dict.fromkeys(model.starts(), 0)
    cycles: dict[State, set[tuple[State, tuple[int, ...], tuple[int, ...]]]] = {}
    queue = deque(level)
    while queue:
        state = queue.popleft()
        found = {(following, addresses, values) for following, addresses, values, _ in model.cycles(state)}
        cycles[state] = found
        if most is not None and len(cycles) * choices > most:
            raise TooLarge
        for following, _, _ in found:
            if following not in level:
                level[following] = level[state] + 1
                queue.append(following)
    return Graph(model, level, cycles)


def decide(contents: Contents, properties: Sequence[Property], most: int | None = None) -> Verdicts:
    """The same contract as the prover's, without traces (`Break.trace` and witnesses are None; `Verdict.witness`
    too)."""
    base = explore(Model(contents, ()), most)
    executed: dict[str, set[int]] = {store: set() for store in contents.machine.stores}
    transitions = 0
    for found in base.cycles.values():
        transitions += len({following for following, _, _ in found})
        for _, addresses, _ in found:
            for store, address in zip(base.model.stores, addresses, strict=True):
                executed[store].add(address)
    dead = [state for state, found in base.cycles.items() if not found]
    count = len(base.level)
    asked = Property("over-assumed", "assumptions", "bad", contents.machine.terms.const(0, 1))
    breaks = (Break(None, min(base.level[state] for state in dead), len(dead), None),) if dead else ()
    over = Verdict(asked, "broken" if dead else "proved", breaks, None, None, count, transitions)
    return Verdicts(tuple(verdict(contents, prop, most) for prop in properties), over,
                    {store: frozenset(found) for store, found in executed.items()}, count, transitions,
                    max(base.level.values()), "", "")


def verdict(contents: Contents, asked: Property, most: int | None = None) -> Verdict:
    """Of one property, by a search of its own."""
    zero = contents.machine.terms.const(0, 1)
    nodes = (asked.node, asked.trigger or zero, asked.unless or zero, asked.vacuity or zero)
    graph = explore(Model(contents, nodes, asked.monitors), most)
    transitions = sum(len({following for following, _, _ in found}) for found in graph.cycles.values())
    judge = {"bad": _bad, "reach": _reach, "always": _always, "within": _within}[asked.kind]
    outcome, breaks, worst = judge(graph, asked)
    if outcome == "proved" and asked.vacuity is not None and not _has(graph, 3):
        outcome = "vacuous"
    return Verdict(asked, outcome, breaks, None, worst, len(graph.level), transitions)  # type: ignore[arg-type]


def _has(graph: Graph, index: int) -> bool:
    return any(values[index] for found in graph.cycles.values() for _, _, values in found)


def _bad(graph: Graph, asked: Property) -> tuple[str, tuple[Break, ...], None]:
    store = graph.model.stores.index(asked.per_word) if asked.per_word else None
    first: dict[int | None, int] = {}
    count: dict[int | None, set[State]] = {}
    for state, found in graph.cycles.items():
        for _, addresses, values in found:
            if values[0]:
                where = None if store is None else addresses[store]
                first[where] = min(first.get(where, graph.level[state]), graph.level[state])
                count.setdefault(where, set()).add(state)
    breaks = tuple(Break(where, first[where] + 1, len(count[where]), None)
                   for where in sorted(first, key=lambda each: (first[each], -1 if each is None else each)))
    return ("broken" if breaks else "proved"), breaks, None


def _reach(graph: Graph, asked: Property) -> tuple[str, tuple[Break, ...], None]:
    return ("proved" if _has(graph, 0) else "broken"), (), None


def shortest(contents: Contents, asked: Property) -> int | None:
    """How many cycles a shortest sequence has whose last cycle has the node; None when there is none."""
    model = Model(contents, (asked.node,), asked.monitors)
    level: dict[State, int] = dict.fromkeys(model.starts(), 0)
    queue = deque(level)
    while queue:
        state = queue.popleft()
        for following, _, values, _ in model.cycles(state):
            if values[0]:
                return level[state] + 1
            if following not in level:
                level[following] = level[state] + 1
                queue.append(following)
    return None


def _always(graph: Graph, asked: Property) -> tuple[str, tuple[Break, ...], None]:
    before: dict[State, set[State]] = {}
    able = {state for state, found in graph.cycles.items() if any(values[0] for _, _, values in found)}
    for state, found in graph.cycles.items():
        for following, _, _ in found:
            before.setdefault(following, set()).add(state)
    waiting = list(able)
    while waiting:
        for earlier in before.get(waiting.pop(), ()):
            if earlier not in able:
                able.add(earlier)
                waiting.append(earlier)
    lost = graph.level.keys() - able
    if not lost:
        return "proved", (), None
    return "broken", (Break(None, min(graph.level[state] for state in lost), len(lost), None),), None


def _within(graph: Graph, asked: Property) -> tuple[str, tuple[Break, ...], int | None]:
    """The longest wait: after a trigger, how many cycles can go by before one with response or `unless`."""
    waits: dict[State, int | None] = {}  # from this state on, at most so many cycles without; None: for ever

    def later(state: State) -> list[State]:
        return [following for following, _, values in graph.cycles[state] if not (values[0] or values[2])]

    for root in graph.cycles:
        stack, path = [root], set()
        while stack:  # depth first; what is met again on the way goes round
            state = stack[-1]
            if state in waits:
                stack.pop()
                continue
            if state in path:
                steps = [waits.get(following) if following in waits else None for following in later(state)]
                waits[state] = None if None in steps else 1 + max(steps) if steps else 0  # type: ignore[type-var]
                path.discard(state)
                stack.pop()
                continue
            path.add(state)
            if any(following in path for following in later(state)):
                waits[state] = None
                path.discard(state)
                stack.pop()
                continue
            stack.extend(following for following in later(state) if following not in waits)
    worst: int | None = None
    endless = False
    for found in graph.cycles.values():
        for following, _, values in found:
            if values[1]:
                wait = 0 if values[0] or values[2] else waits[following]
                if not (values[0] or values[2]):
                    wait = None if wait is None else wait + 1
                if wait is None:
                    endless = True
                else:
                    worst = wait if worst is None else max(worst, wait)
    if endless:
        return "broken", (Break(None, 0, 0, None),), None
    if worst is not None and worst > asked.cycles:
        return "broken", (Break(None, 0, 0, None),), worst
    return "proved", (), worst


# ---------------------------------------------------------------- replaying traces


def replay(contents: Contents, asked: Property, trace: Trace) -> None:
    """Fails unless the trace is a run of the machine, and its last cycle has the property's node where it is to have
    it (`bad` and `reach`). States of registers and monitors count, free values by the names that the prover gives
    them."""
    zero = contents.machine.terms.const(0, 1)
    model = Model(contents, (asked.node, asked.trigger or zero, asked.unless or zero), asked.monitors)
    named = [slot.name for slot in model.slots]
    possible = set(model.starts())
    for index, cycle in enumerate(trace.cycles):
        shown = {**cycle.states, **cycle.monitors}
        possible = {state for state in possible if all(shown.get(name, value) == value
                                                       for name, value in zip(named, state, strict=True))}
        assert possible, f"cycle {index} shows a state that cannot be"
        following: set[State] = set()
        seen: set[tuple[int, ...]] = set()
        for state in possible:
            for later, addresses, values, frees in model.cycles(state):
                if _agrees(model, cycle, addresses, frees):
                    following.add(later)
                    seen.add(values)
        assert seen, f"cycle {index} is no cycle of the machine"
        if index == len(trace.cycles) - 1 and asked.kind in ("bad", "reach"):
            assert all(values[0] for values in seen), "the last cycle does not show the fault"
        possible = following
    if trace.loop is not None:
        back = {**trace.cycles[trace.loop].states, **trace.cycles[trace.loop].monitors}
        assert any(all(back.get(name, value) == value for name, value in zip(named, state, strict=True))
                   for state in possible), "the loop does not close"


def _agrees(model: Model, cycle: Cycle, addresses: tuple[int, ...], frees: Frees) -> bool:
    for store, address in zip(model.stores, addresses, strict=True):
        if store in cycle.addresses and cycle.addresses[store] != address:
            return False
    for key, value in zip(model.frees, frees, strict=True):
        kind, name = key.split(" ", 1)
        shown = {"unsettled": f"{name} unsettled", "loaded": f"{name} loaded", "twice": f"{name} loaded twice"}
        if cycle.free.get(shown.get(kind, name), value) != value:
            return False
    return True
