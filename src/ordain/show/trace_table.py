"""The cycles of a trace in the source's own words, one row a cycle. How rows are drawn is decided in `traces`."""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.control.model import Cycle, Trace
from ordain.machine.model import Machine
from ordain.rom.contents import Contents, word_name
from ordain.show.folding import Folded, is_beside


class TraceRow(NamedTuple):
    """One cycle, or a phase of one, as words. `stamp`: `3` or `3 second`. `inputs`, `states` and `buses` are whole
    phrases."""

    stamp: str
    address: str
    label: str
    text: str
    inputs: tuple[str, ...]
    states: tuple[str, ...]
    buses: tuple[str, ...]


def trace_rows(contents: Contents, shown: Folded) -> list[TraceRow]:
    """Every entry of a folded trace. A machine state appears in the row in which it has changed; an agent's always."""
    rows = []
    before: Cycle | None = None
    for at, cycle in enumerate(shown.trace.cycles):
        address, label, text = control_words(contents, cycle)
        rows.append(TraceRow(shown.stamp(at), address, label, text, input_words(contents.machine, cycle),
                             state_words(contents.machine, cycle, before),
                             (*bus_words(contents.machine, cycle), *held_words(contents.machine, shown.held[at]))))
        before = cycle
    return rows


def control_words(contents: Contents, cycle: Cycle) -> tuple[str, str, str]:
    """Address (hex), label and source text of the microinstruction; of each microprogrammed store, joined by ` / `."""
    parts = []
    for store in contents.machine.stores.values():
        if store.fill != "microprogram" or store.name not in cycle.addresses:
            continue
        address = cycle.addresses[store.name]
        digits = -(-store.address_width // 4)
        parts.append((f"{address:0{digits}X}", word_name(contents, store.name, address) or "(nothing placed)",
                      site_text(contents, store.name, address)))
    return " / ".join(part[0] for part in parts), " / ".join(part[1] for part in parts), " / ".join(
        part[2] for part in parts)


def site_text(contents: Contents, store: str, address: int) -> str:
    site = contents.sites.get(store, {}).get(address)
    if site is not None:
        return site.text
    word = contents.words[store][address]
    return f"holds {word:0{-(-contents.machine.stores[store].bits // 4)}X}"


def input_words(machine: Machine, cycle: Cycle) -> tuple[str, ...]:
    """The inputs and conditions that make a difference: `press`, `not press`, `key=3`."""
    return tuple(value_words(machine, name, value) for name, value in cycle.free.items() if name in cycle.matters)


def value_words(machine: Machine, name: str, value: int) -> str:
    """A name and its value as people say it: a flag by its name, a code by its name, else a number."""
    declared = machine.inputs.get(name) or machine.states.get(name)
    if declared is not None and declared.codes:
        return f"{name} {declared.codes[value]}"
    known = declared or machine.conditions.get(name) or machine.registers.get(name)
    if known is not None and known.width == 1:
        return name if value else f"not {name}"
    return f"{name}=0x{value:X}" if value > 9 else f"{name}={value}"


def state_words(machine: Machine, cycle: Cycle, before: Cycle | None) -> tuple[str, ...]:
    """Agents' states always (`console.mode asking`), the machine's own only when they have just changed, except those
    that only form the address of a store, which has a column of its own."""
    words = []
    shown_as_address = {leaf_name for store in machine.stores.values() for leaf_name in _address_states(machine, store)}
    for name, value in cycle.states.items():
        state = machine.states.get(name)
        changed = before is None or before.states.get(name) != value
        if state is not None and state.agent:
            if state.codes:
                words.append(f"{name} {state.codes[value]}")
            elif value or changed:
                words.append(value_words(machine, name, value))
        elif before is not None and changed and name not in shown_as_address and not is_beside(machine, name):
            words.append(value_words(machine, name, value))
    return tuple(words)


def _address_states(machine: Machine, store: object) -> Iterable[str]:
    address = getattr(store, "address", None)
    name = getattr(address, "name", None)
    return (name,) if isinstance(name, str) else ()


def bus_words(machine: Machine, cycle: Cycle) -> tuple[str, ...]:
    """Who drives each bus that is driven, then the strobes: `memory drives data`, `pulse active`."""
    return *(driver_words(machine, name, drivers) for name, drivers in cycle.drivers.items() if drivers), *(
        strobe_words(strobe) for strobe in cycle.strobes)


def driver_words(machine: Machine, bus: str, drivers: tuple[str, ...]) -> str:
    """With two or more `memory AND console drive data`, unless the bus is made for that."""
    if len(drivers) == 1:
        return f"{drivers[0]} drives {bus}"
    joined = " AND " if machine.buses[bus].undriven not in ("wired-and", "wired-or") else " and "
    return f"{joined.join(drivers)} drive {bus}"


def held_words(machine: Machine, steps: int) -> tuple[str, ...]:
    """`clk held for 3 phases`"""
    if not steps or machine.clock is None:
        return ()
    return (f"{machine.clock.name} held for {steps} phase{'' if steps == 1 else 's'}",)


def strobe_words(strobe: str) -> str:
    return f"{strobe} active"


def quiet_inputs(machine: Machine, trace: Trace) -> dict[str, str]:
    """Inputs and conditions that matter in more than one cycle and are 0 in all of those, with their words: said once
    above a trace, not in every row."""
    quiet = {}
    for name in trace.cycles[0].free if trace.cycles else ():
        values = [cycle.free[name] for cycle in trace.cycles if name in cycle.matters]
        if len(values) > 1 and not any(values):
            quiet[name] = value_words(machine, name, 0)
    return quiet


def still_states(machine: Machine, trace: Trace) -> tuple[str, ...]:
    """What `state_words` says of agents that are in the same state in every cycle, in words."""
    rows = [state_words(machine, cycle, cycle) for cycle in trace.cycles]
    return tuple(words for words in rows[0] if all(words in row for row in rows)) if len(rows) > 1 else ()
