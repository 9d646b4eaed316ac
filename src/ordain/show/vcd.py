"""A trace as a value change dump (IEEE 1364-2005, clause 18) for waveform viewers.

A cycle takes ten units of time: the clock rises at its beginning and falls in its middle, everything else changes
with the rising edge. Where phases differ a phase takes ten units, the clock is high in the first half of them, and
everything else changes as the phase begins. Values that make no difference to the trace are written as x. Each bus
is a scope with a wire for every driver and sampler, so that two owners are seen as two levels; each agent is a scope
with its states and inputs.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from ordain.control.model import Cycle, Trace
from ordain.machine.model import Machine
from ordain.rom.contents import Contents

CYCLE = 10
"""Units of time in a step: a cycle, or a phase."""

Value = int | None
"""None is written as x."""


class VcdVariable(NamedTuple):
    """One variable of the dump: where it stands, its width in bits and its value in each cycle."""

    scope: tuple[str, ...]
    name: str
    width: int
    values: tuple[Value, ...]


def vcd(contents: Contents, trace: Trace) -> str:
    """The dump of a trace; the same text on every run."""
    machine = contents.machine
    wires = list(_wires(machine, trace))
    lines = ["$version ordain $end", "$timescale 1 us $end"]
    lines += [f"$comment {text} $end" for text in comments(machine)]
    lines += [f"$comment {text} $end" for text in _loop(machine, trace)]
    lines += declarations(machine, [(wire.scope, wire.name, wire.width) for wire in wires])
    lines += ["$enddefinitions $end"]
    clock, phases = identifier(0), machine.clock if machine.steps > 1 else None
    level = -1
    shown: list[Value] = [-1] * len(wires)
    for index in range(len(trace.cycles)):
        lines.append(f"#{index * CYCLE}")
        before = level
        level = 1 if phases is None else int(2 * trace.cycles[index].states[phases.name] < phases.steps)
        changes = [f"{level}{clock}"] if phases is None or level != before else []
        for number, wire in enumerate(wires):
            value = wire.values[index]
            if value != shown[number]:
                shown[number] = value
                changes.append(_change(value, wire.width, identifier(number + 1)))
        lines += ["$dumpvars", *changes, "$end"] if index == 0 else changes
        lines += [f"#{index * CYCLE + CYCLE // 2}", f"0{clock}"] if phases is None else []
    lines.append(f"#{len(trace.cycles) * CYCLE}")
    return "\n".join(lines) + "\n"


def _wires(machine: Machine, trace: Trace) -> Iterator[VcdVariable]:
    cycles = trace.cycles
    top = (plain(machine.name),)
    yield VcdVariable(top, "fault", 1, tuple(int("node" in cycle.events) for cycle in cycles))
    for store in machine.stores.values():
        if cycles and store.name in cycles[0].addresses:
            scope = (*top, plain(store.name))
            yield VcdVariable(scope, "address", store.address_width,
                              tuple(cycle.addresses[store.name] for cycle in cycles))
            if store.name in cycles[0].words:
                yield VcdVariable(scope, "word", store.bits, tuple(cycle.words[store.name] for cycle in cycles))
    for strobe in machine.strobes:
        yield VcdVariable((*top, "strobes"), pulse_name(machine, strobe.name), 1,
                          tuple(int(strobe.name in cycle.strobes) for cycle in cycles))
    for bus in machine.buses.values():
        scope = (*top, f"bus_{plain(bus.name)}")
        for driver in dict.fromkeys(driver.name for driver in bus.drivers):
            yield VcdVariable(scope, f"driven_by_{plain(driver)}", 1,
                              tuple(int(driver in cycle.drivers.get(bus.name, ())) for cycle in cycles))
        for sampler in dict.fromkeys(sampler.name for sampler in bus.samplers):
            yield VcdVariable(scope, f"sampled_by_{plain(sampler)}", 1,
                              tuple(int(sampler in cycle.samplers.get(bus.name, ())) for cycle in cycles))
    yield from _values(machine, cycles, top)


def _values(machine: Machine, cycles: tuple[Cycle, ...], top: tuple[str, ...]) -> Iterator[VcdVariable]:
    """States, registers, monitors and free values, in the order in which the trace has them."""
    first = cycles[0] if cycles else None
    for name in first.states if first is not None else ():
        values = tuple(cycle.states[name] for cycle in cycles)
        known = machine.states.get(name) or machine.registers.get(name)
        yield VcdVariable(*placed(machine, name, top), known.width if known is not None else _widest(values), values)
    for name in first.free if first is not None else ():
        shown = tuple(cycle.free[name] if name in cycle.matters else None for cycle in cycles)
        yield VcdVariable(*placed(machine, name, (*top, "free")), _free_width(machine, name, cycles), shown)
    for name in first.monitors if first is not None else ():
        values = tuple(cycle.monitors[name] for cycle in cycles)
        yield VcdVariable((*top, "monitors"), plain(name), _widest(values), values)


def _widest(values: tuple[int, ...]) -> int:
    """The bits of what the machine file does not declare: a level that a bus keeps, what a question remembers."""
    return max(1, *(value.bit_length() for value in values))


def pulse_name(machine: Machine, strobe: str) -> str:
    """A strobe is 1 while it is active. Of an active low field that is not what its line shows, so it has another name:
    a capture with the field's own name is held against the line."""
    field = machine.fields.get(strobe)
    return plain(strobe) + ("_active" if field is not None and field.active_low else "")


def placed(machine: Machine, name: str, scope: tuple[str, ...]) -> tuple[tuple[str, ...], str]:
    """Scope and name; what belongs to an agent stands in the agent's scope."""
    agent, dot, own = name.partition(".")
    if dot and agent in machine.agents:
        return (scope[0], plain(agent)), plain(own)
    return scope, plain(name)


def _free_width(machine: Machine, name: str, cycles: tuple[Cycle, ...]) -> int:
    for table in (machine.inputs, machine.conditions, machine.buses, machine.registers):
        if name in table:
            return table[name].width
    return max(1, *(cycle.free[name].bit_length() for cycle in cycles))


def declarations(machine: Machine, wires: Iterable[tuple[tuple[str, ...], str, int]]) -> list[str]:
    """The clock and variables (scope, name, width), grouped by scope; a scope is opened once, however its wires are
    strewn."""
    tree: dict[tuple[str, ...], list[tuple[str, int, str]]] = {(plain(machine.name),): [("clock", 1, identifier(0))]}
    for number, (scope, name, width) in enumerate(wires, 1):
        tree.setdefault(scope, []).append((name, width, identifier(number)))
    lines: list[str] = []
    opened: tuple[str, ...] = ()
    for scope in tree:
        common = 0
        while common < min(len(opened), len(scope)) and opened[common] == scope[common]:
            common += 1
        lines += ["$upscope $end"] * (len(opened) - common)
        lines += [f"$scope module {name} $end" for name in scope[common:]]
        opened = scope
        lines += [f"$var wire {width} {code} {name}{f' [{width - 1}:0]' if width > 1 else ''} $end"
                  for name, width, code in tree[scope]]
    return lines + ["$upscope $end"] * len(opened)


def comments(machine: Machine) -> Iterator[str]:
    """What numbers stand for, where states have named values."""
    for state in machine.states.values():
        if state.codes:
            yield f"{state.name}: " + ", ".join(f"{value} {code}" for value, code in enumerate(state.codes))


def _loop(machine: Machine, trace: Trace) -> Iterator[str]:
    """Where a trace without end goes on."""
    if trace.loop is not None:
        step = "cycle" if machine.steps == 1 else "phase"
        yield f"after the last {step} it goes on with {step} {trace.loop}, for ever"


def _change(value: Value, width: int, code: str) -> str:
    if width == 1:
        return f"{'x' if value is None else value}{code}"
    return f"b{'x' if value is None else format(value, 'b')} {code}"


def identifier(number: int) -> str:
    """Short codes of the printable characters ! to ~."""
    code = chr(33 + number % 94)
    while number >= 94:
        number = number // 94 - 1
        code += chr(33 + number % 94)
    return code


def plain(name: str) -> str:
    """A name without the characters that end one in this format."""
    return "".join(char if char.isalnum() or char == "_" else "_" for char in name) or "_"
