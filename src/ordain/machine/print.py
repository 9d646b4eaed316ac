"""The machine as plain tables, to be held against the schematic line by line."""

from collections.abc import Callable, Iterable, Sequence
from functools import partial

from ordain.machine import model
from ordain.machine.expression import Const, If, Node, Terms
from ordain.machine.wire_list import joints
from ordain.machine.wording import CodeNames, code_names, words

ALWAYS = "always"


def machine_lines(machine: model.Machine) -> list[str]:
    """What the machine is understood to be, section by section, every line ready to be written."""
    names = code_names(machine)
    sections = [
        *(store_lines(machine, store, names) for store in machine.stores.values()),
        *(chip_lines(machine, chip, names) for chip in machine.chips.values()),
        clock_lines(machine, names),
        state_lines(machine, names),
        register_lines(machine, names),
        *(memory_lines(memory, names) for memory in machine.memories.values()),
        [f"visible {', '.join(machine.visible)}"] if machine.visible else [],
        *(bus_lines(machine, bus, names) for bus in machine.buses.values()),
        demand_lines(machine, names),
        wire_lines(machine, names),
        *(lamp_lines(row) for row in machine.lamps),
        *(probe_lines(clips) for clips in machine.probes.values()),
    ]
    lines: list[str] = []
    for section in sections:
        if section:
            lines += ["", *section] if lines else section
    return lines


WIDEST = 48
"""A cell wider than this many characters pushes its own row to the right, not all rows."""


def table(rows: Iterable[tuple[str, ...]], indent: str = "  ") -> list[str]:
    """Rows with their columns aligned, without blanks at line ends."""
    every = list(rows)  # all of one length
    widths = [max((len(cell) for cell in column if len(cell) <= WIDEST), default=0) for column in zip(*every)]
    return [(indent + "  ".join(cell.ljust(width) for cell, width in zip(row, widths))).rstrip() for row in every]


# ---------------------------------------------------------------- stores and chips


def store_lines(machine: model.Machine, store: model.Store, names: CodeNames) -> list[str]:
    """The address, then one line a field: name, bits, pins, what it holds."""
    lines = [f"store {store.name}: {store.words} words of {store.bits} bits",
             f"  address: {words(store.address, names)} ({store.address_width} bits)"]
    for role, place in (("instruction", store.instruction), ("step", store.step)):
        if place is not None:
            lines.append(f"  {role}: address bits {_bits(*place)}")
    if store.steps != tuple(range(len(store.steps))):
        lines.append(f"  steps: {', '.join(map(str, store.steps))}")
    if store.starts_at is not None:
        lines.append(f"  starts at: {words(store.starts_at, names)}, from the opcode")
    if store.computed is not None:
        lines.append(f"  word: {words(store.computed, names)}")
    pins = pins_of_bits(machine, store.name)
    fields = [machine.fields[name] for name in store.fields]
    rows = [("(spare)" if field.holds == "spare" else field.name, _bits(field.high, field.low),
             _pins(pins, field.high, field.low) if pins else "", _held(field, names))
            for field in sorted(fields, key=lambda field: -field.high)]
    if rows:
        lines += table([("field", "bits", "pins" if pins else "", "holds"), *rows])
    elif pins:
        lines.append("  pins: " + _pins(pins, store.bits - 1, 0))
    return lines


def pins_of_bits(machine: model.Machine, store: str) -> dict[int, str]:
    """Where each bit of the store stands: `U21.D7`, `not U21.D7`, several with `=`."""
    pins: dict[int, list[str]] = {}
    for chip in machine.chips.values():
        for bank in chip.banks:
            for place, pin in enumerate(bank.pins):
                if bank.store == store and pin.bit is not None:
                    name = f"{chip.name}.D{len(bank.pins) - 1 - place}"
                    pins.setdefault(pin.bit, []).append(f"not {name}" if pin.inverted else name)
    return {bit: "=".join(dict.fromkeys(found)) for bit, found in pins.items()}


def _pins(pins: dict[int, str], high: int, low: int) -> str:
    """Where bits stand, highest first: `U21.D7-D4, U22.D0`; `-` for a bit that stands nowhere."""
    groups: list[list[str]] = []
    for bit in range(high, low - 1, -1):
        pin = pins.get(bit, "-")
        if groups and _goes_on(groups[-1], pin):
            groups[-1].append(pin)
        else:
            groups.append([pin])
    return ", ".join(group[0] if len(group) == 1 else f"{group[0]}-{group[-1].rpartition('.')[2]}" for group in groups)


def _goes_on(group: list[str], pin: str) -> bool:
    """Whether `pin` is the next neighbour of one chip, up or down, in the way that the group goes already."""
    chip, _, number = pin.rpartition(".D")
    before, _, last = group[-1].rpartition(".D")
    if chip != before or "=" in pin + group[-1] or not number.isdecimal():
        return False
    step = int(number) - int(last)
    return abs(step) == 1 and (len(group) == 1 or step == int(last) - int(group[-2].rpartition(".D")[2]))


def _held(field: model.Field, names: CodeNames) -> str:
    low = ", active low" if field.active_low else ""
    match field.holds:
        case "spare":
            return "ones" if field.idle else "zeros"
        case "derived":
            return "= " + (words(field.derived, names) if field.derived is not None else "?") + low
        case "address":
            return f"address{_bits(*field.address_bits)}{low}, idle {field.idle}"
        case "number":
            return f"number{low}, idle {field.idle}"
    codes = ", ".join(f"{code.name} {code.value}" for code in field.codes)
    idle = next((code.name for code in field.codes if code.value == field.idle), field.idle)
    return (codes or "flag") + low + (f", idle {idle}" if field.codes else "")


def wire_lines(machine: model.Machine, names: CodeNames) -> list[str]:
    """The wire list, pin by pin, where the file says what is wired."""
    if not machine.wires and not machine.components:
        return []
    rows = [(f"{joint.part}.{joint.pin}", "" if joint.number is None else f"{joint.number}", joint.net or "-",
             joint.what) for joint in joints(machine, names)]
    return ["wires", *table([("pin", "number", "net", ""), *rows])]


def chip_lines(machine: model.Machine, chip: model.Chip, names: CodeNames) -> list[str]:
    """Every pin of every bank, highest first."""
    made = f", {chip.technology}" + (f" sector {chip.sector}" if chip.sector else "") if chip.technology else ""
    lines = [f"chip {chip.name}: {chip.words} x {chip.bits}, erased {'ones' if chip.erased else 'zeros'}{made}"]
    for bank in chip.banks:
        lines.append(f"  {bank.store}" + (" (repeated)" if bank.repeats else ""))
        lines.append("    " + "  ".join(_runs("D", bank.pins, partial(_stored, bank.store))))
        lines.append("    " + "  ".join(_runs("A", bank.address, partial(
            _presented, machine.terms, machine.stores[bank.store].address, names))))
    return lines


def _stored(store: str, high: int, low: int) -> str:
    return f"{store}{_bits(high, low)}"


def _presented(terms: Terms, address: Node, names: CodeNames, high: int, low: int) -> str:
    """Lines of an address by the names that the file gives them."""
    return words(terms.slice(address, high, low), names)


def _runs(letter: str, pins: Sequence[model.Pin | model.AddressPin], named: Callable[[int, int], str]) -> list[str]:
    """`D7-D2 control[7:2]`: neighbours that go on alike are said together."""
    runs: list[list[int]] = []
    for place, pin in enumerate(pins):
        before = pins[place - 1] if place else None
        alike = before is not None and before.inverted == pin.inverted and before.level == pin.level and (
            before.bit == pin.bit if before.bit is None or pin.bit is None else before.bit == pin.bit + 1)
        if alike:
            runs[-1].append(place)
        else:
            runs.append([place])
    return [_run(letter, [len(pins) - 1 - place for place in run], pins[run[0]], named) for run in runs]


def _run(letter: str, numbers: list[int], first: model.Pin | model.AddressPin,
         named: Callable[[int, int], str]) -> str:
    where = f"{letter}{numbers[0]}" + (f"-{letter}{numbers[-1]}" if len(numbers) > 1 else "")
    if first.bit is None:
        return f"{where} {'any' if first.level is None else first.level}"
    return f"{where} {'not ' if first.inverted else ''}{named(first.bit, first.bit - len(numbers) + 1)}"


def _bits(high: int, low: int) -> str:
    return f"[{high}]" if high == low else f"[{high}:{low}]"


# ---------------------------------------------------------------- what remembers


def clock_lines(machine: model.Machine, names: CodeNames) -> list[str]:
    """The clock; what moves with it says so with what it becomes."""
    clock = machine.clock
    if clock is None:
        return []
    lines = [f"clock {clock.name}" + (f": {', '.join(clock.phases)}" if clock.phases else "")]
    if clock.phases:
        lines.append(f"  moves in {clock.phases[clock.moves]}")
    if clock.steps == 1 and clock.phases:
        lines.append("  nothing depends on which phase it is: a cycle is looked at as a whole")
    return [*lines, *([f"  held while {words(clock.held, names)}"] if clock.held is not None else [])]


def state_lines(machine: model.Machine, names: CodeNames) -> list[str]:
    """Each state with what it becomes, one line a case."""
    lines = []
    for state in machine.states.values():
        reset = "any" if state.reset is None else state.codes[state.reset] if state.codes else str(state.reset)
        codes = f" ({', '.join(state.codes)})" if state.codes else ""
        lines.append(f"state {state.name}: {state.width} {'bit' if state.width == 1 else 'bits'}{codes}, reset {reset}")
        cases = _cases(state.next, state.name, names)
        lines += table([("next", code, value) for code, value in cases] if len(cases) > 1 else [("next", cases[0][1])])
    return lines


def _cases(node: Node, of: str, names: CodeNames) -> list[tuple[str, str]]:
    """(condition, value) for every code of what a value is chosen by, in the order in which the hardware decides."""
    cases: list[tuple[str, str]] = []
    subject = node.args[0].args if isinstance(node, If) else ()
    while isinstance(node, If) and node.args[0].args == subject:
        condition, yes, node = node.args
        cases.append((words(condition, names), ": " + words(yes, names, of=of)))
    cases.append(("otherwise", (": " if cases else "") + words(node, names, of=of)))
    return cases


def register_lines(machine: model.Machine, names: CodeNames) -> list[str]:
    rows = []
    for register in machine.registers.values():
        kind = "latch" if register.transparent else "register"
        for load in register.loads or (model.Load(None, machine.terms.const(0, 1)),):
            source = "something" if load.source is None else words(load.source, names)
            rows.append((register.name, kind, f"{register.width}", source, _when(load.when, names)))
    return ["registers", *table([("name", "kind", "bits", "loads", "when"), *rows])] if rows else []


def memory_lines(memory: model.Memory, names: CodeNames) -> list[str]:
    held = memory.holds if isinstance(memory.holds, str) else f'"{memory.holds.text}" at {memory.offset:X}'
    return [f"memory {memory.name}: {memory.words} words of {memory.bits} bits" + (f", holds {held}" if held else ""),
            f"  address: {words(memory.address, names)} ({memory.address.width} bits)",
            *table([("writes", words(write.source, names), f"when {_when(write.when, names)}")
                    for write in memory.writes])]


def _when(condition: Node, names: CodeNames) -> str:
    if isinstance(condition, Const):
        return ALWAYS if condition.value else "never"
    return words(condition, names)


# ---------------------------------------------------------------- buses and demands


def bus_lines(machine: model.Machine, bus: model.Bus, names: CodeNames) -> list[str]:
    owed = f", turnaround {spoken(machine, bus.turnaround)}" if bus.turnaround else ""
    rows: list[tuple[str, ...]] = []
    for driver in bus.drivers:
        more = (f", follows {driver.follows}" if driver.follows else "") + (
            f", steady while {words(driver.steady, names)}" if driver.steady is not None else "")
        value = "" if driver.value is None else f"= {words(driver.value, names)} "
        rows.append(("driven by", driver.name, driver.kind, f"{value}when {_when(driver.when, names)}{more}"))
    rows += [("sampled by", sampler.name, "", "when " + _when(sampler.when, names)) for sampler in bus.samplers]
    return [f"bus {bus.name}: {bus.width} bits, {bus.undriven.replace('-', ' ')}{owed}", *(table(rows) if rows else [])]


def spoken(machine: model.Machine, steps: int) -> str:
    """A length of time as people count it: cycles by their number, a part of a cycle in phases."""
    whole, rest = divmod(steps, machine.steps)
    return f"{steps} phase{'s' if steps > 1 else ''}" if rest else str(whole)


def demand_lines(machine: model.Machine, names: CodeNames) -> list[str]:
    """Strobes, keeps, exclusives, assumptions, home."""
    lines = []
    for strobe in machine.strobes:
        needs = ", ".join(f"{need.bus} steady {spoken(machine, need.before)} before {spoken(machine, need.after)} after"
                          for need in strobe.needs)
        lines.append(f"strobe {strobe.name} (active when {_when(strobe.active, names)}): {needs}")
    lines += [f"keep {', '.join(keep.names)} while {words(keep.condition, names)}" for keep in machine.keeps]
    for exclusive in machine.exclusives:
        lines.append("exclusive " + ", ".join(words(signal, names) for signal in exclusive.signals))
    lines += [f"assume {words(assumption.condition, names)}" for assumption in machine.assumptions]
    if machine.home is not None:
        lines.append(f"home {words(machine.home, names)}")
    return lines


# ---------------------------------------------------------------- at the bench


def lamp_lines(row: model.LampRow) -> list[str]:
    """A row of lamps from left to right, neighbours of one name said together."""
    shown = _together([lamp.line.name if lamp is not None else "-" for lamp in row.lamps])
    return [f'lamps "{row.title}"' + (", active low" if row.active_low else ""), "  " + "  ".join(shown)]


def probe_lines(clips: model.ProbeSet) -> list[str]:
    """Each channel and its line."""
    rows = [(clips.clock, "the clock" + (f", {clips.edge}" if clips.edge else ""))] if clips.clock else []
    rows += [(probe.channel, probe.line.name) for probe in clips.probes]
    return [f"probes {clips.name}" + (f" \"{clips.title}\"" if clips.title else ""),
            *table([("channel", "line"), *rows])]


def _together(lines: Sequence[str]) -> list[str]:
    """`upc[9:0]` for upc[9], upc[8] ... upc[0]."""
    runs: list[list[tuple[str, int]]] = []
    for line in lines:
        name, bracket, bit = line.removesuffix("]").rpartition("[")
        here = (name, int(bit)) if bracket else (line, -1)
        if bracket and runs and runs[-1][-1] == (name, here[1] + 1):
            runs[-1].append(here)
        else:
            runs.append([here])
    return [name if high < 0 else f"{name}{_bits(high, run[-1][1])}" for run in runs for name, high in run[:1]]
