"""Machines made by chance, put on a clock; and the same machines as people would have to write them without one.

`clocked` adds to the text. `unclocked` takes a syntax tree with a clock to one without, statement by statement: it says
a second time, and in the words of the language, what `machine.clocking` says in terms.
"""

import re
from collections.abc import Callable, Sequence
from typing import Any

from ordain.language import tree
from ordain.text.source import Span
from tests.judge.description import Description
from tests.judge.tool import Built, Text

Choose = Callable[[Sequence[Any]], Any]

PHASES = (("hi", "lo"), ("hi", "lo"), ("hi", "mid", "lo"))


def clocked(choose: Choose, text: Text) -> Text:
    """The text with a clock, some of it on one phase or another."""
    phases = choose(PHASES)
    every = text.machine.splitlines()
    held = choose((True, False))
    at = next(number for number, line in enumerate(every) if number > 1 and not line.startswith((" ", "include")))
    clock = [f"clock clk ({', '.join(phases)})"]
    clock += [f"    moves in {choose(phases)}"] if choose((True, False)) else []
    clock += [f"    held while {choose(('key', 'not key and clk is hi', 'key and low'))}"] if held else []
    rest = [_put_on(line, phases, choose) for line in every[at:]]
    rule = 'rule "the clock goes round" reach clk is lo'
    return Text("\n".join([*every[:at], *clock, *rest, rule]) + "\n", text.micro)


def _put_on(line: str, phases: Sequence[str], choose: Choose) -> str:
    if choose((True, False, False)):
        if line.startswith(("state ", "register ", "latch ")) and not line.startswith("latch clk"):
            return f"{line}, on {choose((*phases, 'oscillator', 'clk', 'own clock'))}"
        if line.lstrip().startswith("input "):
            return f"{line} on {choose((*phases, 'clk', 'oscillator'))}"
        if line.startswith("strobe "):
            return f"{line} on {choose(phases)}"
        if line.startswith("agent "):
            return f"{line}, on {choose((*phases, 'oscillator', 'clk', 'own clock', 'own clock'))}"
        if line.startswith("bus ") and "turnaround" in line:
            return re.sub(r"turnaround (\d+)( cycles?)?", r"turnaround \1 phases", line)
        if line.startswith("    driven by ") and " when " in line and "," not in line:
            return re.sub(r" when ([^,]*)", lambda found: f" when ({found[1]}) and {choose(phases)}", line)
        if " steady " in line and " before" in line and line.startswith("    ") and "driven" not in line:
            return line.replace("cycles before", "phases before").replace("cycle before", "phase before")
    return line


# ---------------------------------------------------------------- without the clock


def unclocked(file: tree.MachineFile, steps: int) -> tree.MachineFile:
    """The same machine without a clock; the file itself if it has none. `steps`: of a cycle; 1 where nothing depends on
    phases, which then are left out."""
    clocks = [statement for statement in file.statements if isinstance(statement, tree.Clock)]
    if not clocks:
        return file
    clock = clocks[0] if steps > 1 else clocks[0]._replace(phases=(), moves=None)
    return file._replace(statements=_Without(clock).all(file.statements))


def described(built: Built) -> Description:
    clock = built.contents.machine.clock
    return Description(unclocked(built.file, 1 if clock is None else clock.steps), built.contents.machine)


class _Without:
    def __init__(self, clock: tree.Clock) -> None:
        self.clock, self.span = clock, clock.span
        self.names = [phase.text for phase in clock.phases]
        self.steps = max(1, len(self.names))
        self.moves = clock.moves.text if clock.moves is not None else self.names[-1] if self.names else ""

    def all(self, statements: tuple[tree.MachineStatement, ...]) -> tuple[tree.MachineStatement, ...]:
        moving = {one.name.text: one for one in statements if isinstance(one, tree.State | tree.Register)}
        found: list[tree.MachineStatement] = []
        for one in statements:
            match one:
                case tree.Clock():
                    found += [self.clock, *(self.turning() if self.names else ())]
                case tree.State():
                    found += [*self.waits(one.name, one.on), self.state(one, one.on, one.name.text)]
                case tree.Register():
                    found += [*self.waits(one.name, one.on), self.register(one)]
                case tree.Agent():
                    found.append(self.agent(one))
                case tree.Bus():
                    found.append(self.bus(one, moving))
                case tree.Strobe():
                    found.append(one._replace(needs=tuple(need._replace(
                        before=need.before if "before" in need.in_phases else need.before * self.steps,
                        after=need.after if "after" in need.in_phases else need.after * self.steps,
                        in_phases=frozenset()) for need in one.needs)))
                case _:
                    found.append(one)
        looking: Any = [self.longer(one) for one in found]
        return tuple(looking)

    def word(self, text: str) -> tree.Word:
        return tree.Word(text, self.span)

    def turning(self) -> list[tree.MachineStatement]:
        """A state that goes from phase to phase, and a signal for each of them."""
        cases = tuple(tree.Case((self.word(name),), self.word(after), self.span)
                      for name, after in zip(self.names, [*self.names[1:], self.names[0]]))
        following: tree.Expr = tree.Choose(self.word("clk"), cases, None, self.span)
        if self.clock.held is not None:
            following = tree.If(self.clock.held, self.word("clk"), following, self.span)
        codes = tuple(map(self.word, self.names))
        state = tree.State(self.word("clk"), None, codes, codes[0], following, self.span)
        return [state, *(tree.Signal(self.word(name), self.is_(name), self.span) for name in self.names)]

    def is_(self, phase: str) -> tree.Expr:
        return tree.Infix("is", self.word("clk"), tree.Number(self.names.index(phase), None, self.span), self.span)

    def gate(self, on: tree.Word | None, owner: str, level: bool = False) -> tree.Expr | None:
        """When something moves; None: always."""
        what = on.text if on is not None else "clk"
        if what == "own clock":
            return tree.Not(self.word(f"{owner}.waits"), self.span)
        if what == "oscillator":
            return None
        if not self.names:
            return None if self.clock.held is None or level else tree.Not(self.clock.held, self.span)
        phase = self.is_(self.moves if what == "clk" else what)
        if self.clock.held is None or level:
            return phase
        return tree.Infix("and", phase, tree.Not(self.clock.held, self.span), self.span)

    def waits(self, name: tree.Word, on: tree.Word | None) -> list[tree.MachineStatement]:
        if on is None or on.text != "own clock":
            return []
        return [tree.Inputs((tree.Declared(self.word(f"{name.text}.waits"), 1, (), self.span),), self.span)]

    def state(self, state: tree.State, on: tree.Word | None, owner: str) -> tree.State:
        gate = self.gate(on, owner)
        if gate is None or state.next is None:
            return state._replace(on=None)
        return state._replace(next=tree.If(gate, state.next, self.word(state.name.text), self.span), on=None)

    def register(self, register: tree.Register) -> tree.Register:
        gate = self.gate(register.on, register.name.text, register.transparent)
        return register._replace(on=None, loads=tuple(
            load._replace(when=self.both(load.when, gate)) for load in register.loads))

    def both(self, when: tree.Expr | None, gate: tree.Expr | None) -> Any:
        return when if gate is None else gate if when is None else tree.Infix("and", when, gate, self.span)

    def agent(self, agent: tree.Agent) -> tree.Agent:
        on = agent.on
        own = ((tree.Inputs((tree.Declared(self.word("waits"), 1, (), self.span),), self.span),)
               if on is not None and on.text == "own clock" else ())
        return agent._replace(on=None, inputs=(*agent.inputs, *own), states=tuple(
            self.state(state, state.on or on, agent.name.text) for state in agent.states))

    def bus(self, bus: tree.Bus, moving: dict[str, tree.State | tree.Register]) -> tree.Bus:
        samplers = []
        for sampler in bus.samplers:
            taker = moving.get(sampler.name.text)
            if taker is not None:
                latch = isinstance(taker, tree.Register) and taker.transparent
                sampler = sampler._replace(when=self.both(sampler.when, self.gate(taker.on, taker.name.text, latch)))
            samplers.append(sampler)
        return bus._replace(samplers=tuple(samplers), in_phases=False,
                            turnaround=bus.turnaround if bus.in_phases else bus.turnaround * self.steps)

    def longer(self, part: Any) -> Any:
        """`prior` and `within` in phases."""
        if isinstance(part, tree.Prior):
            inner = self.longer(part.operand)
            for _ in range(self.steps):
                inner = tree.Prior(inner, part.span)
            return inner
        if isinstance(part, tree.WhenThen) and not part.in_phases:
            part = part._replace(cycles=part.cycles * self.steps, in_phases=True)
        if isinstance(part, Span) or not isinstance(part, tuple):
            return part
        parts = [self.longer(one) for one in part]
        return type(part)._make(parts) if hasattr(part, "_make") else tuple(parts)
