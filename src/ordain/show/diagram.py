"""A trace as a timing diagram in text: a column a cycle, a lane for everything that moves.

Two owners of a bus stand out without colour: `!! memory + console !!`.
"""

from typing import NamedTuple

from ordain.control.model import Trace
from ordain.rom.contents import Contents
from ordain.show.trace_table import control_words

_NARROWEST = 6


class Glyphs(NamedTuple):
    """The characters of a level: high and low."""

    high: str
    low: str


UNICODE = Glyphs("▔", "▁")
ASCII = Glyphs("^", "_")


class Lane(NamedTuple):
    """One row of the diagram; `wave` lanes are levels 0 and 1, the others words."""

    name: str
    wave: bool
    values: tuple[str, ...]


def lanes(contents: Contents, trace: Trace) -> list[Lane]:
    """Clock is drawn by the renderer; here: address and label, buses by owner, strobes, agents' states, inputs."""
    machine, cycles = contents.machine, trace.cycles
    result = []
    controls = [control_words(contents, cycle) for cycle in cycles]
    stores = " / ".join(store.name for store in machine.stores.values()
                        if store.fill == "microprogram" and cycles and store.name in cycles[0].addresses)
    result.append(Lane(stores, False, tuple(address for address, _, _ in controls)))
    result.append(Lane("label", False, tuple(label for _, label, _ in controls)))
    for bus in machine.buses.values():
        shared = bus.undriven in ("wired-and", "wired-or")
        owners = tuple(owner_words(cycle.drivers.get(bus.name, ()), shared) for cycle in cycles)
        result.append(Lane(bus.name, False, owners))
    for strobe in machine.strobes:
        result.append(Lane(strobe.name, True, tuple("1" if strobe.name in cycle.strobes else "0" for cycle in cycles)))
    for state in machine.states.values():
        if state.agent and any(state.name in cycle.states for cycle in cycles):
            values = [cycle.states.get(state.name, 0) for cycle in cycles]
            if state.codes:
                result.append(Lane(state.name, False, tuple(state.codes[value] for value in values)))
            else:
                result.append(Lane(state.name, state.width == 1, tuple(str(value) for value in values)))
    matter = [name for name in (cycles[0].free if cycles else {}) if any(name in cycle.matters for cycle in cycles)]
    for name in matter:
        declared = machine.inputs.get(name)
        codes = declared.codes if declared is not None else ()
        known = declared or machine.conditions.get(name)
        words = [codes[cycle.free[name]] if codes else str(cycle.free[name]) for cycle in cycles]
        result.append(Lane(name, known is not None and known.width == 1 and not codes,
                           tuple(word if name in cycle.matters else "x" for cycle, word in zip(cycles, words))))
    return result


def owner_words(drivers: tuple[str, ...], shared: bool) -> str:
    """Who owns a bus in a cycle, in the words of the diagram."""
    if not drivers:
        return "-"
    if len(drivers) == 1 or shared:
        return " + ".join(drivers)
    return "!! " + " + ".join(drivers) + " !!"


def diagram_lines(contents: Contents, trace: Trace, width: int, glyphs: Glyphs = UNICODE) -> list[str]:
    """The diagram in stacked strips none of which is wider than `width` columns (as far as one cycle allows)."""
    rows = lanes(contents, trace)
    count = len(trace.cycles)
    columns = [max(_NARROWEST, *(len(row.values[index]) + 2 for row in rows if not row.wave)) for index in range(count)]
    names = max((len(row.name) for row in rows), default=0)
    names = max(names, len("cycle"))
    lines: list[str] = []
    first = 0
    while first < count:
        last, used = first + 1, names + 2 + columns[first]
        while last < count and used + columns[last] <= width:
            used += columns[last]
            last += 1
        if lines:
            lines.append("")
        lines.extend(_strip(rows, columns, names, first, last, glyphs))
        first = last
    if trace.loop is not None:
        lines.append(f"then again from cycle {trace.loop + 1}, for ever")
    return lines


def _strip(rows: list[Lane], columns: list[int], names: int, first: int, last: int, glyphs: Glyphs) -> list[str]:
    span = range(first, last)
    lines = [f"{'cycle':>{names}}  " + "".join(f"{index + 1}".ljust(columns[index]) for index in span).rstrip()]
    clock = "".join(glyphs.high * (columns[index] // 2) + glyphs.low * (columns[index] - columns[index] // 2)
                    for index in span)
    lines.append(f"{'clock':>{names}}  {clock}")
    for row in rows:
        if row.wave:
            drawn = "".join({"1": glyphs.high, "0": glyphs.low}.get(row.values[index], "x") * columns[index]
                            for index in span)
        else:
            drawn = "".join(
                (" " * columns[index] if index > first and row.values[index] == row.values[index - 1]
                 else f"|{row.values[index]}".ljust(columns[index])) for index in span)
        lines.append(f"{row.name:>{names}}  {drawn}".rstrip())
    return lines
