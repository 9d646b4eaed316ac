"""What a machine file declares, read off its syntax tree: names, widths, codes, and expressions as written.

Of the machine model only what has no meaning of its own is used: where a field lies in its word, how wide an address
is, and what the compiler says about stores. No expression of it is.
"""

from typing import NamedTuple

from ordain.language import tree
from ordain.machine.model import Machine


class Codes(NamedTuple):
    """Names of values. `closed`: there are no other values."""

    values: dict[str, int]
    width: int
    closed: bool


class Thing(NamedTuple):
    """What a name stands for. `kind`: store, field, state, register, input, condition, signal, constant, bus, memory.

    `expr`, `agent`: of a signal or constant, where it is written. `values`: how many there are."""

    kind: str
    name: str
    width: int
    values: int = 0
    codes: Codes | None = None
    expr: tree.Expr | None = None
    agent: str = ""


class Agented(NamedTuple):
    """Something written inside an agent ("" for the machine itself)."""

    agent: str
    item: tree.State | tree.Assume


class Description:
    """All declarations by name, in the order of the text."""

    def __init__(self, file: tree.MachineFile, machine: Machine) -> None:
        self.machine = machine
        self.things: dict[str, Thing] = {}
        self.stores: dict[str, tree.Store] = {}
        self.states: dict[str, Agented] = {}
        self.registers: dict[str, tree.Register] = {}
        self.buses: dict[str, tree.Bus] = {}
        self.memories: dict[str, tree.Memory] = {}
        self.agents: set[str] = set()
        self.assumes: list[Agented] = []
        self.strobes: list[tree.Strobe] = []
        self.keeps: list[tree.Keep] = []
        self.exclusives: list[tree.Exclusive] = []
        self.rules: list[tree.Rule] = []
        self.allows: list[tree.Allow] = []
        self.home: tree.Expr | None = None
        self.clock: tree.Clock | None = None
        self.on_clock: dict[str, tree.Word] = {}
        for statement in file.statements:
            self._read(statement)
        self.main = next((name for name, store in machine.stores.items() if store.fill == "microprogram"), "")

    def find(self, name: str, agent: str) -> Thing | None:
        return self.things.get(f"{agent}.{name}") or self.things.get(name) if agent else self.things.get(name)

    def goes_on(self) -> tree.Expr | None:
        """That nothing holds the clock; None where nothing ever does."""
        return None if self.clock is None or self.clock.held is None else tree.Not(self.clock.held, self.clock.span)

    def ends(self, on: tree.Word) -> tuple[str, tree.Expr | None]:
        """The phase after which something moves that is `on` it, or on the clock, and that it ends: None for always."""
        assert self.clock is not None
        names = [phase.text for phase in self.clock.phases]
        phase, going = on.text, self.goes_on()
        if phase == self.clock.name.text:
            phase = self.clock.moves.text if self.clock.moves is not None else names[-1] if names else ""
        if len(names) < 2:
            return phase, going
        here = tree.Word(phase, on.span)
        return phase, here if going is None else tree.Infix("and", here, going, on.span)

    def active(self, strobe: tree.Strobe) -> tree.Expr:
        return strobe.name if strobe.on is None else tree.Infix("and", strobe.name, strobe.on, strobe.span)

    def _read(self, statement: tree.MachineStatement) -> None:
        match statement:
            case tree.Store(name=name):
                self.stores[name.text] = statement
                self._add(Thing("store", name.text, self.machine.stores[name.text].bits))
            case tree.Field(name=name, width=width, codes=codes):
                named = Codes({code.name.text: code.value.value for code in codes}, width.value, False)
                self._add(Thing("field", name.text, width.value, codes=named if codes else None))
            case tree.State():
                self._state(statement, "")
            case tree.Register(name=name, width=width):
                self.registers[name.text] = statement
                self._add(Thing("register", name.text, width.value, 1 << width.value))
            case tree.Inputs():
                self._inputs(statement, "")
            case tree.Condition(name=name, width=width):
                self._add(Thing("condition", name.text, width.value, 1 << width.value))
            case tree.Signal(name=name, value=value):
                self._add(Thing("signal", name.text, 0, expr=value))
            case tree.Constant(name=name, value=value):
                self._add(Thing("constant", name.text, 0, expr=value))
            case tree.Bus(name=name, width=width):
                self.buses[name.text] = statement
                self._add(Thing("bus", name.text, width.value, 1 << width.value))
            case tree.Memory(name=name, bits=bits):
                self.memories[name.text] = statement
                self._add(Thing("memory", name.text, bits.value, 1 << bits.value))
            case tree.Agent(name=name):
                self.agents.add(name.text)
                for inputs in statement.inputs:
                    self._inputs(inputs, name.text)
                for state in statement.states:
                    self._state(state, name.text)
                for signal in statement.signals:
                    self._add(Thing("signal", f"{name.text}.{signal.name.text}", 0, expr=signal.value,
                                    agent=name.text))
                self.assumes += [Agented(name.text, assume) for assume in statement.assumes]
            case tree.Assume():
                self.assumes.append(Agented("", statement))
            case tree.Home(where=where):
                self.home = where
            case tree.Strobe():
                self.strobes.append(statement)
            case tree.Clock():
                self.clock = statement
            case tree.Keep():
                self.keeps.append(statement)
            case tree.Exclusive():
                self.exclusives.append(statement)
            case tree.Rule():
                self.rules.append(statement)
            case tree.Allow():
                self.allows.append(statement)
            case _:
                pass

    def _add(self, thing: Thing) -> None:
        self.things[thing.name] = thing

    def _state(self, state: tree.State, agent: str) -> None:
        name = f"{agent}.{state.name.text}" if agent else state.name.text
        self.states[name] = Agented(agent, state)
        self._add(_valued("state", name, state.width.value if state.width else 0, state.codes))

    def _inputs(self, inputs: tree.Inputs, agent: str) -> None:
        for declared in inputs.names:
            name = f"{agent}.{declared.name.text}" if agent else declared.name.text
            self._add(_valued("input", name, declared.width, declared.codes))
            if declared.on is not None and declared.on.text not in (tree.OWN_CLOCK, tree.OSCILLATOR):
                self.on_clock[name] = declared.on


def _valued(kind: str, name: str, width: int, codes: tuple[tree.Word, ...]) -> Thing:
    if not codes:
        return Thing(kind, name, width, 1 << width)
    width = max(1, (len(codes) - 1).bit_length())
    return Thing(kind, name, width, len(codes), Codes({word.text: n for n, word in enumerate(codes)}, width, True))
