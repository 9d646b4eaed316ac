"""A trace as a timing diagram in text: an even clock, a lane for everything that moves.

Two owners of a bus stand out without colour: `!! memory + console !!`.
"""

from typing import NamedTuple

from ordain.control.model import Trace
from ordain.machine.model import Machine
from ordain.rom.contents import Contents
from ordain.show.folding import Folded, folded, is_beside
from ordain.show.page import Page, columns, cut, fold, pad
from ordain.show.paint import printable
from ordain.show.trace_table import control_words

_NARROWEST, _LEGIBLE, _WIDEST = 6, 8, 12
"""Columns of a cycle: at least, with texts, at most."""
_NO_DIFFERENCE = ""


class Glyphs(NamedTuple):
    """The characters of a level (high, low), of an input that makes no difference, and of a text that goes on."""

    high: str
    low: str
    open: str
    more: str


UNICODE = Glyphs("▔", "▁", "·", "…")
ASCII = Glyphs("^", "_", ".", "~")


class Lane(NamedTuple):
    """One row of the diagram; `wave` lanes are levels 0 and 1, the others words. "" makes no difference."""

    name: str
    wave: bool
    values: tuple[str, ...]


def lanes(contents: Contents, trace: Trace) -> list[Lane]:
    """Clock is drawn by the renderer; here: address and word, buses by owner, strobes, states of agents, then of the
    machine itself, inputs. Those in which nothing moves are among them."""
    machine, cycles = contents.machine, trace.cycles
    result = []
    controls = [control_words(contents, cycle) for cycle in cycles]
    stores = [store for store in machine.stores.values() if store.fill == "microprogram"
              and store.name in cycles[0].addresses]
    result.append(Lane(" / ".join(store.name for store in stores) + " at", False,
                       tuple(address for address, _, _ in controls)))
    result.append(Lane("word", False, tuple(printable(label) for _, label, _ in controls)))
    for bus in machine.buses.values():
        shared = bus.undriven in ("wired-and", "wired-or")
        owners = tuple(owner_words(cycle.drivers.get(bus.name, ()), shared) for cycle in cycles)
        result.append(Lane(bus.name, False, owners))
    for strobe in machine.strobes:
        result.append(Lane(strobe.name, True, tuple("1" if strobe.name in cycle.strobes else "0" for cycle in cycles)))
    forms_address = {getattr(store.address, "name", "") for store in stores}
    for state in sorted(machine.states.values(), key=lambda state: not state.agent):
        if state.name in cycles[0].states and state.name not in forms_address and not is_beside(machine, state.name):
            values = [cycle.states.get(state.name, 0) for cycle in cycles]
            result.append(Lane(state.name, state.width == 1 and not state.codes,
                               tuple(state.codes[value] if state.codes else f"{value:X}" for value in values)))
    for name in cycles[0].free:
        if any(name in cycle.matters for cycle in cycles):
            declared = machine.inputs.get(name)
            codes = declared.codes if declared is not None else ()
            known = declared or machine.conditions.get(name)
            words = [codes[cycle.free[name]] if codes else f"{cycle.free[name]:X}" for cycle in cycles]
            result.append(Lane(name, known is not None and known.width == 1 and not codes, tuple(
                word if name in cycle.matters else _NO_DIFFERENCE for cycle, word in zip(cycles, words))))
    return result


def owner_words(drivers: tuple[str, ...], shared: bool) -> str:
    """Who owns a bus in a cycle, in the words of the diagram."""
    if not drivers:
        return "-"
    if len(drivers) == 1 or shared:
        return " + ".join(drivers)
    return "!! " + " + ".join(drivers) + " !!"


def diagram_lines(contents: Contents, trace: Trace, page: Page, glyphs: Glyphs = UNICODE,
                  first: int = 1) -> list[str]:
    """The diagram in stacked strips none of which is wider than the page (as far as one cycle allows). Lanes that never
    move are named in a line above. `first`: the number of the first cycle."""
    if not trace.cycles:
        return []
    whole = folded(contents.machine, trace)
    whole = whole._replace(numbers=tuple(number + first - 1 for number in whole.numbers))
    trace = whole.trace
    every = lanes(contents, trace)
    rows = every[:2] + [lane for lane in every[2:] if _moves(lane, len(trace.cycles))]
    count = len(trace.cycles)
    clock = _clock(contents.machine, whole)
    names = max(len("cycle"), max((len(lane.name) for lane in rows), default=0))
    room = page.width - names - 2
    cell = _cell(rows, count, room)
    over = max((columns(lane.values[-1]) + 1 - cell for lane in rows if lane.values[-1].startswith("!!")), default=0)
    fit = max(1, (room - max(0, over)) // cell) if count * cell + over > room else count
    still = [f"{lane.name} {_settled(lane)}" for lane in every[2:] if lane not in rows]
    lines: list[str] = fold(f"no change: {', '.join(still)}", page._replace(folds=True)) if still else []
    for begin in range(0, count, fit):
        if begin:
            lines.append("")
        lines.extend(_strip(whole, clock, rows, cell, names, range(begin, min(begin + fit, count)), page,
                            glyphs))
    if any(_NO_DIFFERENCE in lane.values for lane in rows):
        lines.append(f"{glyphs.open} makes no difference")
    if trace.loop is not None:
        lines.append(f"then again from cycle {whole.stamp(trace.loop)}, for ever")
    return lines


def _cell(rows: list[Lane], count: int, room: int) -> int:
    """Columns of a cycle: as many as the texts want, unless with fewer it takes fewer strips."""
    longest = max((columns(value) + 2 for lane in rows if not lane.wave for value in lane.values), default=0)
    widest = max(_NARROWEST, min(_WIDEST, longest))
    sizes = [size for size in range(widest, _NARROWEST - 1, -1) if size >= min(widest, _LEGIBLE)]
    return min(sizes, key=lambda size: -(-count // max(1, room // size)))


def _moves(lane: Lane, count: int) -> bool:
    """Whether there is anything to see: another value than before, or a fight. An input that is 0 wherever it matters
    stays out, unless it matters in one cycle of several only."""
    seen = [value for value in lane.values if value != _NO_DIFFERENCE]
    if any(value.startswith("!!") for value in seen):
        return True
    return len(set(seen)) > 1 or len(seen) == 1 < count or (len(seen) < count and seen[0] not in ("0", "-"))


def _settled(lane: Lane) -> str:
    return next((value for value in lane.values if value != _NO_DIFFERENCE), "-").replace("-", "undriven")


def _clock(machine: Machine, whole: Folded) -> tuple[str, ...]:
    """The level of the clock in each entry: "" where it has both, in a cycle told as a whole. It is high in the first
    half of its phases."""
    clock = machine.clock
    if clock is None:
        return ("",) * len(whole.numbers)
    half = set(clock.phases[:(len(clock.phases) + 1) // 2])
    levels = []
    for phases in whole.phases:
        first, _, last = phases.rpartition("-")
        levels.append("" if not phases or ((first or last) in half) != (last in half) else "1" if last in half else "0")
    return tuple(levels)


def _strip(whole: Folded, clock: tuple[str, ...], rows: list[Lane], cell: int, names: int, span: range, page: Page,
           glyphs: Glyphs) -> list[str]:
    both = glyphs.high * (cell // 2) + glyphs.low * (cell - cell // 2)
    levels = {"": both, "1": glyphs.high * cell, "0": glyphs.low * cell}
    begins = ["" if index and whole.numbers[index] == whole.numbers[index - 1] and index != span[0]
              else str(whole.numbers[index]) for index in span]
    lines = [f"{'cycle':>{names}}  " + "".join(number.ljust(cell) for number in begins).rstrip(),
             f"{'clock':>{names}}  " + "".join(levels[clock[index]] for index in span)]
    room = max(cell * len(span), page.width - names - 2)
    if any(whole.phases[index] for index in span):
        phases = [whole.phases[index] for index in span]
        lines.append(f"{'phase':>{names}}  {''.join(cut(phase, cell - 1, glyphs.more).ljust(cell) for phase in phases)}"
                     .rstrip())
    for lane in rows:
        values = [lane.values[index] for index in span]
        drawn = _wave(values, cell, glyphs) if lane.wave else _words(values, cell, room, page, glyphs)
        lines.append(f"{lane.name:>{names}}  {drawn}".rstrip())
    return lines


def _wave(values: list[str], cell: int, glyphs: Glyphs) -> str:
    signs = {"1": glyphs.high, "0": glyphs.low}
    return "".join(signs.get(value, glyphs.open) * cell for value in values)


def _words(values: list[str], cell: int, room: int, page: Page, glyphs: Glyphs) -> str:
    """Each value once, over all the cycles in which it stays; a fight at the end may run over it."""
    drawn, index = "", 0
    while index < len(values):
        value, first = values[index], index
        while index < len(values) and values[index] == value:
            index += 1
        size = cell * (index - first)
        if value == _NO_DIFFERENCE:
            drawn += glyphs.open * size
            continue
        over = room - cell * first if index == len(values) else size
        text = cut(f"|{value}", max(size, over) if value.startswith("!!") else size, glyphs.more)
        drawn += page.paint("bad", pad(text, size)) if value.startswith("!!") else pad(text, size)
    return drawn
