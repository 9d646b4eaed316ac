"""A run as a value change dump (IEEE 1364-2005, clause 18), written as the run goes on.

Time and clock are those of `vcd`: a cycle, or a phase where phases differ, takes ten units. A bit that is not known is
x; a bus that floats while nobody drives it is z.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple, TextIO

from ordain.data.datapath import Datapath
from ordain.data.partial import Ternary, exactly
from ordain.machine.expression import Node
from ordain.machine.model import Machine
from ordain.show.vcd import CYCLE, comments, declarations, identifier, placed, plain, pulse_name


class _Line(NamedTuple):
    """A variable of the dump. `node`: what stands on it; an input's `given` by name where that is not None. `driven`: 1
    while somebody drives it, for what floats else."""

    scope: tuple[str, ...]
    name: str
    width: int
    node: Node
    driven: Node | None = None


class RunDump:
    """`nodes` is what `heard` wants to know of every step; `end` closes the dump, wherever the run stands."""

    def __init__(self, path: Datapath, file: TextIO) -> None:
        machine = path.machine
        self._machine, self._file = machine, file
        self._lines = list(_lines(path))
        self._phase = None if machine.clock is None or machine.steps == 1 else \
            path.terms.leaf("state", machine.clock.name, machine.states[machine.clock.name].width)
        self.nodes = (*(line.node for line in self._lines),
                      *(line.driven for line in self._lines if line.driven is not None),
                      *((self._phase,) if self._phase is not None else ()))
        self._shown: list[str] = [""] * len(self._lines)
        self._step, self._level = 0, -1
        head = ["$version ordain $end", "$timescale 1 us $end"]
        head += [f"$comment {text} $end" for text in comments(machine)]
        head += declarations(machine, [(line.scope, line.name, line.width) for line in self._lines])
        file.write("\n".join([*head, "$enddefinitions $end", ""]))

    def heard(self, cycle: int, seen: Sequence[Ternary], given: Mapping[str, int]) -> None:
        """A step. `seen`: what `nodes` were worth in it."""
        clock, count = identifier(0), len(self._lines)
        driven = iter(seen[count:])
        rows = [f"#{self._step * CYCLE}"]
        before, self._level = self._level, self._clock(seen)
        changes = [f"{self._level}{clock}"] if self._phase is None or self._level != before else []
        for number, (line, bits) in enumerate(zip(self._lines, seen)):
            floats = line.driven is not None and next(driven) == Ternary(0, 1)
            text = "z" if floats else _digits(bits, line.width)
            if text != self._shown[number]:
                self._shown[number] = text
                code = identifier(number + 1)
                changes.append(f"{text}{code}" if line.width == 1 else f"b{text} {code}")
        rows += ["$dumpvars", *changes, "$end"] if self._step == 0 else changes
        rows += [f"#{self._step * CYCLE + CYCLE // 2}", f"0{clock}"] if self._phase is None else []
        self._step += 1
        self._file.write("\n".join(rows) + "\n")

    def end(self) -> None:
        self._file.write(f"#{self._step * CYCLE}\n")

    def _clock(self, seen: Sequence[Ternary]) -> int:
        if self._phase is None or self._machine.clock is None:
            return 1
        return int(2 * seen[-1].value < self._machine.clock.steps)


def _lines(path: Datapath) -> Iterator[_Line]:
    machine, terms = path.machine, path.terms
    top = (plain(machine.name),)
    for store in machine.stores.values():
        scope = (*top, plain(store.name))
        yield _Line(scope, "address", store.address_width, store.address)
        yield _Line(scope, "word", store.bits, terms.leaf("word", store.name, store.bits))
    for strobe in machine.strobes:
        yield _Line((*top, "strobes"), pulse_name(machine, strobe.name), 1, strobe.active)
    for bus in machine.buses.values():
        scope = (*top, f"bus_{plain(bus.name)}")
        whens = [driver.when for driver in bus.drivers]
        yield _Line(scope, "level", bus.width, terms.leaf("bus", bus.name, bus.width),
                    terms.or_((terms.const(0, 1), *whens)) if bus.undriven == "floats" else None)
        for name in dict.fromkeys(driver.name for driver in bus.drivers):
            yield _Line(scope, f"driven_by_{plain(name)}", 1, terms.or_(
                (terms.const(0, 1), *(driver.when for driver in bus.drivers if driver.name == name))))
        for name in dict.fromkeys(sampler.name for sampler in bus.samplers):
            yield _Line(scope, f"sampled_by_{plain(name)}", 1, terms.or_(
                (terms.const(0, 1), *(sampler.when for sampler in bus.samplers if sampler.name == name))))
    yield from _named(machine, top)


def _named(machine: Machine, top: tuple[str, ...]) -> Iterator[_Line]:
    terms = machine.terms
    for name, state in machine.states.items():
        yield _Line(*placed(machine, name, top), state.width, terms.leaf("state", name, state.width))
    for name, register in machine.registers.items():
        yield _Line(*placed(machine, name, top), register.width, terms.leaf("register", name, register.width))
    for name, given in machine.inputs.items():
        yield _Line(*placed(machine, name, top), given.width, terms.leaf("input", name, given.width))
    for name, condition in machine.conditions.items():
        yield _Line(*placed(machine, name, top), condition.width, terms.leaf("condition", name, condition.width))


def _digits(bits: Ternary, width: int) -> str:
    if bits == exactly(bits.value, width):
        return format(bits.value, "b")
    return "".join("x" if not bits.known >> at & 1 else str(bits.value >> at & 1) for at in reversed(range(width)))
