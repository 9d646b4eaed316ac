"""The clock: which phase it is, what moves at the end of which one, and what stands still while the clock is held.

A machine on a clock is lowered here to one without: a state of the clock's name steps from phase to phase, and whatever
moves with a phase does so under the condition that it is this phase and that nothing holds the clock. Everything
later reads an ordinary machine, in which a step is a phase, and has nothing to know of clocks but how many steps
people call a cycle. Where nothing depends on phases there is no such state, and a step is a cycle.
"""

from collections.abc import Iterator
from typing import Any

from ordain.language import tree
from ordain.machine import model
from ordain.machine.control import hardware
from ordain.machine.declare import Declarations
from ordain.machine.expression import Node, leaves
from ordain.machine.lowering import Lowering
from ordain.machine.names import unknown
from ordain.machine.out_of_phase import ClockPhases, register_in_phase, state_in_phase
from ordain.text.findings import Place, error
from ordain.text.source import Span

MOST_PHASES = 16


class Clocking:
    """What the machine file says of time. Made when names are declared, before any expression is lowered: how many
    steps a cycle has, and what is read of an input that changes only with the clock, have to be known by then."""

    def __init__(self, found: Declarations, lowering: Lowering) -> None:
        self._lowering, self._terms = lowering, lowering.terms
        self._text = found.clocks[0] if found.clocks else None
        self._phases = tuple(phase.text for phase in self._text.phases) if self._text is not None else ()
        self._agents = {agent.name.text: agent.on for agent in found.agents}
        self._held: Node | None = None
        self._states: dict[str, model.State] = {}
        self._moving: dict[str, int] = {}
        self._without_gate: list[tuple[model.State, tree.State] | tuple[model.Register, tree.Register]] = []
        self._clocked, self._unknown = set[str](), set[Span]()
        self._moves = max(0, len(self._phases) - 1)
        if self._text is None:
            self._without_clock(found)
            return
        if len(self._phases) > MOST_PHASES:
            lowering.findings.append(error(
                "bad-size", f"{len(self._phases)} phases are too many: the limit is {MOST_PHASES}", self._text.span,
                "out of range", help="name only those in which something happens"))
        if self._text.moves is not None:
            self._moves = self._phase(self._text.moves, self._moves)
        lowering.steps = len(self._phases) if self._tells_phases_apart(found) else 1
        inputs = [self._reads_when_moved(declared, agent) for declared, agent in found.inputs]
        if self._text.held is not None:
            self._held = hardware(lowering.condition(self._text.held), self._text.held.span, lowering)
            lowering.goes_on = None if self._held is None else lowering.terms.not_(self._held)
        for declared, agent, phase in filter(None, inputs):
            self._remember(declared, agent, phase)

    # ------------------------------------------------------------ what is read of the text

    def _without_clock(self, found: Declarations) -> None:
        """Nothing can be on a phase, and nothing is said in phases."""
        for on in _said_on(found):
            if on.text != tree.OWN_CLOCK:
                self._lowering.findings.append(error(
                    "no-clock", f"nothing says what `{on.text}` is: the machine has no clock", on.span, "no such phase",
                    help="declare the clock with its phases: `clock clk (first, second)`"))
        for span in _said_in_phases(found):
            self._lowering.findings.append(error(
                "no-clock", "phases are counted, and the machine has no clock", span, "how long is a phase?",
                help="declare the clock with its phases, `clock clk (first, second)`, or count cycles"))

    def _phase(self, name: tree.Word, otherwise: int) -> int:
        if name.text in self._phases:
            return self._phases.index(name.text)
        if name.span not in self._unknown:      # it is asked for once for every use
            self._unknown.add(name.span)
            known = (*self._phases, *(() if self._text is None else (self._text.name.text,)), tree.OSCILLATOR)
            self._lowering.findings.append(unknown(name.text, known, name.span, "phase"))
        return otherwise

    def _tells_phases_apart(self, found: Declarations) -> bool:
        """Whether anything is said by which phases differ."""
        if len(self._phases) < 2 or self._text is None:
            for span in _said_in_phases(found):
                self._lowering.findings.append(error(
                    "no-clock", "phases are counted, and the clock has none", span, "how long is a phase?",
                    help="name the phases, as in `clock clk (first, second)`, or count cycles"))
            return False
        plain = {None, self._text.name.text, self._phases[self._moves]}
        open_while_held = self._text.held is not None and any(register.transparent for register in found.registers)
        moved = any(on.text not in plain for on in _said_on(found))
        names = {self._text.name.text, *self._phases}
        return open_while_held or moved or any(strobe.on is not None for strobe in found.strobes) or any(
            True for _ in _said_in_phases(found)) or any(word in names for word in _words(found, self._text.held))

    # ------------------------------------------------------------ when something moves

    def gate(self, on: tree.Word | None, agent: str = "", name: str = "", level: bool = False) -> Node:
        """The condition under which something moves at the end of a step. `name`: what it is, for its own clock.
        `level`: it is open as long as its phase lasts, also while the clock is held in it."""
        terms, owner = self._terms, agent
        if on is None and agent:
            on = self._agents.get(agent)
        elif on is not None and on.text == tree.OWN_CLOCK and agent:
            self._lowering.findings.append(error(
                "wrong-kind", "an agent is on a clock as a whole", on.span, "one part of it on its own clock",
                help=f"say it of the agent: `agent {agent}, on own clock`"))
            return terms.const(1, 1)
        if on is not None and on.text == tree.OWN_CLOCK:
            return terms.not_(terms.leaf("input", f"{owner or name}.waits", 1))
        if self._text is None or (on is not None and on.text == tree.OSCILLATOR):
            return terms.const(1, 1)
        return self._moved(self._number(on), level)

    def _number(self, on: tree.Word | None) -> int:
        """The phase at whose end something moves."""
        if on is None or (self._text is not None and on.text == self._text.name.text):
            return self._moves
        return self._phase(on, self._moves)

    def _moved(self, phase: int, level: bool = False) -> Node:
        terms, steps = self._terms, self._lowering.steps
        goes = terms.const(1, 1) if self._held is None or level else terms.not_(self._held)
        return goes if steps == 1 else terms.and_((self._is(phase), goes))

    def _is(self, phase: int) -> Node:
        """That it is this phase."""
        return self._terms.among(self._leaf(), frozenset((phase,)))

    def _leaf(self) -> Node:
        assert self._text is not None
        return self._terms.leaf("state", self._text.name.text, max(1, (len(self._phases) - 1).bit_length()))

    # ------------------------------------------------------------ inputs on the clock

    def _reads_when_moved(self, declared: tree.Declared, agent: str) -> tuple[tree.Declared, str, int] | None:
        """What is read of an input on the clock: what comes from outside in the first step after its phase has ended,
        and the same as long as that phase has not ended again."""
        if declared.on is None or declared.on.text in (tree.OWN_CLOCK, tree.OSCILLATOR) or self._text is None:
            return None
        phase, name = self._number(declared.on), f"{agent}.{declared.name.text}" if agent else declared.name.text
        if self._lowering.steps == 1 and self._text.held is None:
            return None
        entry, terms = self._lowering.scope.entries[name], self._terms
        assert entry.node is not None
        entry.node = terms.if_(self._fresh(phase), entry.node, terms.leaf("state", f"{name} kept", entry.width))
        self._clocked.add(name)
        return declared, agent, phase

    def _fresh(self, phase: int) -> Node:
        """That the phase ended with the step before, or there was none."""
        assert self._text is not None
        if self._text.held is None and phase == len(self._phases) - 1:
            return self._is(0)
        return self._terms.leaf("state", self._moved_name(phase), 1)

    def _moved_name(self, phase: int) -> str:
        assert self._text is not None
        return f"{self._text.name.text} moved" + (f" in {self._phases[phase]}" if self._lowering.steps > 1 else "")

    def _remember(self, declared: tree.Declared, agent: str, phase: int) -> None:
        name = f"{agent}.{declared.name.text}" if agent else declared.name.text
        entry = self._lowering.scope.entries[name]
        if entry.broken or entry.node is None:
            return
        kept, moved = f"{name} kept", self._moved_name(phase)
        codes = tuple(entry.codes.values) if entry.codes else ()
        self._states[kept] = model.State(kept, entry.width, codes, None, entry.node, "", declared.span)
        if self._fresh(phase) is self._terms.leaf("state", moved, 1):
            self._moving[moved] = phase
            self._states[moved] = model.State(moved, 1, (), 1, self._moved(phase), "", declared.span)

    # ------------------------------------------------------------ the machine

    def _apart(self) -> ClockPhases | None:
        """The phases, where they differ in anything."""
        if self._text is not None and self._lowering.steps > 1:
            return ClockPhases(self._phases, self._leaf(), self._text.span)
        return None

    def state(self, state: model.State, text: tree.State) -> model.State:
        self._without_gate.append((state, text))
        if (phases := self._apart()) is not None:
            gate = self.gate(text.on, state.agent, text.name.text)
            self._lowering.findings += state_in_phase(self._terms, phases, state, gate, text)
        return self._gated_state(state, text)

    def _gated_state(self, state: model.State, text: tree.State) -> model.State:
        leaf = self._terms.leaf("state", state.name, state.width)
        gate = self.gate(text.on, state.agent, text.name.text)
        return state._replace(next=self._terms.if_(gate, state.next, leaf))

    def register(self, register: model.Register, text: tree.Register) -> model.Register:
        self._without_gate.append((register, text))
        if (phases := self._apart()) is not None:
            gate = self.gate(text.on, "", register.name, register.transparent)
            self._lowering.findings += register_in_phase(self._terms, phases, register, gate, text)
        return self._gated_register(register, text)

    def _gated_register(self, register: model.Register, text: tree.Register) -> model.Register:
        gate = self.gate(text.on, "", register.name, register.transparent)
        return register._replace(loads=tuple(
            load._replace(when=self._terms.and_((load.when, gate))) for load in register.loads))

    def bus(self, bus: model.Bus, found: Declarations) -> model.Bus:
        """Registers, latches and states take what stands on the bus when they move."""
        moving = {text.name.text: self.gate(text.on, "", text.name.text, text.transparent) for text in found.registers}
        moving.update((text.name.text, self.gate(text.on, "", text.name.text))
                      for text, agent in found.states if not agent)
        return bus._replace(samplers=tuple(
            sampler._replace(when=self._terms.and_((sampler.when, moving[sampler.name])))
            if sampler.name in moving else sampler for sampler in bus.samplers))

    def strobe(self, strobe: model.Strobe, text: tree.Strobe) -> model.Strobe:
        """In steps; and in its phase, if it has one."""
        terms, steps = self._terms, self._lowering.steps
        needs = tuple(need._replace(
            before=need.before * (1 if "before" in said.in_phases else steps),
            after=need.after * (1 if "after" in said.in_phases else steps))
            for need in strobe.needs for said in text.needs if said.span is need.span)
        if text.on is None or self._text is None:
            return strobe._replace(needs=needs)
        if text.on.text in (tree.OWN_CLOCK, tree.OSCILLATOR, self._text.name.text):
            self._lowering.findings.append(error(
                "wrong-kind", "a strobe acts in a phase", text.on.span, "not a phase",
                help="name a phase, or leave `on` out: then it acts as long as its signal does"))
            return strobe._replace(needs=needs)
        return strobe._replace(active=terms.and_((strobe.active, self._moved(self._number(text.on), level=True))),
                               needs=needs)

    def length(self, count: int, in_phases: bool) -> int:
        """A length of time in steps."""
        return count if in_phases else count * self._lowering.steps

    def states(self) -> dict[str, model.State]:
        """The phase, and what is remembered of inputs."""
        for moved, phase in self._moving.items():
            self._states[moved] = self._states[moved]._replace(next=self._moved(phase))
        if self._text is None or self._lowering.steps == 1:
            return self._states
        terms, leaf = self._terms, self._leaf()
        following = leaf
        for number in range(len(self._phases)):
            after = terms.const((number + 1) % len(self._phases), leaf.width)
            following = terms.if_(self._is(number), after, following)
        name = self._text.name.text
        if self._held is not None:
            following = terms.if_(self._held, leaf, following)
        return {name: model.State(name, leaf.width, self._phases, 0, following, "", self._text.span), **self._states}

    def inputs(self, found: Declarations) -> Iterator[model.Input]:
        """What lets those wait that are on a clock of their own."""
        owners = [(agent.name.text, agent.on, agent.name.text) for agent in found.agents]
        owners += [(state.name.text, state.on, "") for state, agent in found.states if not agent]
        owners += [(register.name.text, register.on, "") for register in found.registers]
        for name, on, agent in owners:
            if on is not None and on.text == tree.OWN_CLOCK:
                yield model.Input(f"{name}.waits", 1, (), agent, on.span)

    def clock(self) -> model.Clock | None:
        if self._text is None:
            return None
        return model.Clock(self._text.name.text, self._phases, self._moves, self._held, self._lowering.steps,
                           self._text.span)

    def released(self, machine: model.Machine) -> model.Released:
        """The same machine with a clock that nothing holds. Who samples a bus stays as it is."""

        def made() -> model.Machine:
            if self._held is None or machine.clock is None:
                return machine
            held, self._held = self._held, None
            try:
                states = dict(self.states())
                registers: dict[str, model.Register] = {}
                for item, text in self._without_gate:
                    if isinstance(item, model.State) and isinstance(text, tree.State):
                        states[item.name] = self._gated_state(item, text)
                    elif isinstance(item, model.Register) and isinstance(text, tree.Register):
                        registers[item.name] = self._gated_register(item, text)
                return machine._replace(states=states, registers=registers, clock=machine.clock._replace(held=None))
            finally:
                self._held = held

        return made

    def check_released(self, machine: model.Machine, found: Declarations) -> None:
        """Report a clock that nothing could ever let go: what holds it stands still while it is held."""
        if self._text is None or self._text.held is None or self._held is None or not list(leaves((self._held,))):
            return
        free = {name for state, agent in found.states
                if (name := f"{agent}.{state.name.text}" if agent else state.name.text)
                and _runs_on(state.on or self._agents.get(agent))}
        free |= {register.name.text for register in found.registers if _runs_on(register.on) or register.transparent}
        waiting, seen = [self._held], set[str]()
        while waiting:
            for leaf in leaves((waiting.pop(),)):
                if leaf.kind == "field" and leaf.name not in machine.fields:
                    return  # its store is broken, and that is reported
                store = machine.fields[leaf.name].store if leaf.kind == "field" else leaf.name
                if leaf.kind in ("field", "word", "address"):
                    if store not in seen and store in machine.stores:
                        seen.add(store)
                        waiting.append(machine.stores[store].address)
                elif leaf.kind not in ("state", "register", "input") or leaf.name in free or (
                        leaf.kind == "input" and leaf.name not in self._clocked):
                    return
        self._lowering.findings.append(error(
            "held-for-ever", f"once `{self._text.name.text}` is held it is held for ever", self._text.held.span,
            "all of this stands still while the clock is held",
            places=(Place(self._text.span, "this clock"),),
            help="let what releases it run on: an input, or something `on oscillator` or `on own clock`"))


def _runs_on(on: tree.Word | None) -> bool:
    return on is not None and on.text in (tree.OWN_CLOCK, tree.OSCILLATOR)


def _said_on(found: Declarations) -> Iterator[tree.Word]:
    texts: list[Any] = [*(state for state, _ in found.states), *(declared for declared, _ in found.inputs),
                        *found.registers, *found.agents, *found.strobes]
    for text in texts:
        if text.on is not None:
            yield text.on


def _said_in_phases(found: Declarations) -> Iterator[Any]:
    """The places where a length is said in phases."""
    yield from (bus.span for bus in found.buses if bus.in_phases)
    yield from (need.span for strobe in found.strobes for need in strobe.needs if need.in_phases)
    yield from (rule.span for rule in found.rules if isinstance(rule.form, tree.WhenThen) and rule.form.in_phases)


def _words(found: Declarations, held: tree.Expr | None) -> Iterator[str]:
    """Every name that stands in an expression of the machine, and some that stand elsewhere in its statements."""
    waiting: list[Any] = [
        held, [store.store for store in found.stores], [state.next for state, _ in found.states],
        [register.loads for register in found.registers], [one.value for one in found.conditions],
        [signal.value for signal, _ in found.signals], [one.condition for one, _ in found.assumptions],
        [home.where for home in found.homes], [(bus.drivers, bus.samplers) for bus in found.buses],
        [strobe.name for strobe in found.strobes], [keep.condition for keep in found.keeps], found.exclusives,
        [rule.form for rule in found.rules],
        [(memory.address, memory.writes) for memory in found.memories]]
    while waiting:
        part = waiting.pop()
        if isinstance(part, tree.Word):
            yield part.text
        elif isinstance(part, tuple | list):
            waiting += part
