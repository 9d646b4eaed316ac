"""A trace as a table for people: one row a cycle, in the source's own words."""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.control.model import Cycle, Trace
from ordain.machine.model import Machine
from ordain.rom.contents import Contents

FEW_ROWS = 16
"""A longer trace is shown with its first and last rows only, unless everything is asked for."""


class Row(NamedTuple):
    """One cycle (`number` from 1) as words. `buses` and `states` are whole phrases."""

    number: int
    address: str
    label: str
    text: str
    inputs: tuple[str, ...]
    states: tuple[str, ...]
    buses: tuple[str, ...]


def trace_rows(contents: Contents, trace: Trace) -> list[Row]:
    """Every cycle of a trace. A machine state appears in the row in which it has changed; an agent's always."""
    rows = []
    before: Cycle | None = None
    for number, cycle in enumerate(trace.cycles, 1):
        address, label, text = control_words(contents, cycle)
        rows.append(Row(number, address, label, text, input_words(contents.machine, cycle),
                        state_words(contents.machine, cycle, before), bus_words(contents.machine, cycle)))
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
        parts.append((f"{address:0{digits}X}", place_name(contents, store.name, address),
                      site_text(contents, store.name, address)))
    return " / ".join(part[0] for part in parts), " / ".join(part[1] for part in parts), " / ".join(
        part[2] for part in parts)


def place_name(contents: Contents, store: str, address: int) -> str:
    """`hold.wait`, `hold+2` (two words after the start of its body as placed), or `(nothing placed)`."""
    sites = contents.sites.get(store, {})
    site = sites.get(address)
    if site is None:
        return "(nothing placed)"
    if site.label:
        return site.owner if site.label == site.owner else f"{site.owner}.{site.label}"
    back = 1
    while (earlier := sites.get(address - back)) is not None and earlier.owner == site.owner:
        if earlier.label:
            name = site.owner if earlier.label == site.owner else f"{site.owner}.{earlier.label}"
            return f"{name}+{back}"
        back += 1
    return f"{site.owner}+{back - 1}" if back > 1 else site.owner


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
    return f"{name}={value:#x}" if value > 9 else f"{name}={value}"


def state_words(machine: Machine, cycle: Cycle, before: Cycle | None) -> tuple[str, ...]:
    """Agents' states always (`console asking`), the machine's own only when they have just changed, except those that
    only form the address of a store, which has a column of its own."""
    words = []
    shown_as_address = {leaf_name for store in machine.stores.values() for leaf_name in _address_states(machine, store)}
    for name, value in cycle.states.items():
        state = machine.states.get(name)
        changed = before is None or before.states.get(name) != value
        if state is not None and state.agent:
            if state.codes:
                short = name if name.count(".") == 1 and not name.endswith((".mode", ".state")) else state.agent
                words.append(f"{short} {state.codes[value]}")
            elif value or changed:
                words.append(value_words(machine, name, value))
        elif before is not None and changed and name not in shown_as_address:
            words.append(value_words(machine, name, value))
    return tuple(words)


def _address_states(machine: Machine, store: object) -> Iterable[str]:
    address = getattr(store, "address", None)
    name = getattr(address, "name", None)
    return (name,) if isinstance(name, str) else ()


def bus_words(machine: Machine, cycle: Cycle) -> tuple[str, ...]:
    """`memory drives data`, and with two or more `memory AND console drive data`, unless the bus is made for that."""
    words = []
    for name, drivers in cycle.drivers.items():
        if len(drivers) == 1:
            words.append(f"{drivers[0]} drives {name}")
        elif drivers:
            joined = " AND " if machine.buses[name].undriven not in ("wired-and", "wired-or") else " and "
            words.append(f"{joined.join(drivers)} drive {name}")
    words.extend(f"{strobe} active" for strobe in cycle.strobes)
    return tuple(words)


def table_lines(rows: list[Row], loop: int | None, everything: bool) -> list[str]:
    """The rows in aligned columns. `loop`: index of the cycle that follows the last, said in a closing line."""
    shown: list[Row | None] = list(rows)
    if not everything and len(rows) > FEW_ROWS:
        shown = [*rows[:3], None, *rows[-(FEW_ROWS - 4):]]
    cells = [
        (f"cycle {row.number}", row.address, row.label, row.text, ", ".join(row.inputs), ", ".join(row.states),
         "; ".join(row.buses))
        for row in shown if row is not None
    ]
    widths = [min(44, max((len(cell[column]) for cell in cells), default=0)) for column in range(7)]
    lines = []
    following = iter(cells)
    for row in shown:
        if row is None:
            lines.append(f"  ... {len(rows) - FEW_ROWS + 1} cycles ...")
            continue
        cell = next(following)
        lines.append("  " + "  ".join(text.ljust(width) for text, width in zip(cell, widths, strict=True)
                                      if width).rstrip())
    if loop is not None:
        lines.append(f"  then again from cycle {loop + 1}, for ever")
    return lines


def trace_lines(contents: Contents, trace: Trace, everything: bool = False) -> list[str]:
    """The heading and the table of one trace."""
    count = len(trace.cycles)
    heading = f"how to get there: {count} cycle{'s' if count != 1 else ''} from reset"
    if not everything and count > FEW_ROWS:
        heading += f"; the first three and the last {FEW_ROWS - 4}"
    lines = [heading + ":", *table_lines(trace_rows(contents, trace), trace.loop, everything)]
    if trace.dead_end:
        lines.append("  then no input satisfies the assumptions")
    return lines
