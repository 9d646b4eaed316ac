"""A trace as text, never wider than the page: a table of all cycles where that fits, else a block a cycle, in which
stands only what is new since the cycle before."""

import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ordain.control.model import Cycle, Trace
from ordain.machine.model import Machine
from ordain.rom.contents import Contents
from ordain.show.folding import Folded, folded
from ordain.show.page import Page, columns, fold, pad
from ordain.show.paint import printable
from ordain.show.trace_table import (
    TraceRow,
    bus_words,
    control_words,
    quiet_inputs,
    still_states,
    strobe_words,
    trace_rows,
)

FEW_ROWS, FEW_BLOCKS = 16, 12
"""Of a longer trace only the cycles that matter are shown, unless everything is asked for: so many lines or blocks."""

_HEADS = ("cycle", "at", "word", "orders", "from outside", "states", "who drives")
_WIDEST_WORD = 24
_BEGINNING, _END = 2, 4
_GAP_NAMES = 4


class ShownCycle(NamedTuple):
    """A cycle that is shown. `at`: its index in the trace; `row`: without what is said once above; `mark`: `>` at the
    cycle that it is all about; `remark`: what begins here, or ""."""

    at: int
    row: TraceRow
    mark: str
    remark: str


def trace_lines(contents: Contents, trace: Trace, page: Page, *, everything: bool = False) -> list[str]:
    """The heading and the cycles of the trace of a fault; its last cycle is marked."""
    whole = folded(contents.machine, trace)
    count, entries = whole.cycles, len(whole.numbers)
    shown = _shown(contents, whole, entries if everything else FEW_ROWS, ">")
    if not everything and not _as_table(shown, whole, [], page.indented(2), ""):
        shown = _shown(contents, whole, FEW_BLOCKS, ">")
    heading = f"how to get there: {count} cycle{'s' if count != 1 else ''} from reset"
    if len(shown) < len(whole.numbers):
        heading += f"; shown: {_numbers(list(dict.fromkeys(whole.numbers[one.at] for one in shown)))}"
    return [*fold(heading + ":", page), *_drawn(contents, whole, shown, page.indented(2), "bad")]


def cycle_lines(contents: Contents, trace: Trace, page: Page) -> list[str]:
    """Every cycle, none marked: a witness, or a sequence that was played."""
    whole = folded(contents.machine, trace)
    return _drawn(contents, whole, _shown(contents, whole, len(whole.numbers), ""), page.indented(2), "")


def _numbers(numbers: Sequence[int]) -> str:
    """`cycles 1-3 and 46-57`."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = [str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]
    return "cycles " + (", ".join(parts[:-1]) + " and " + parts[-1] if len(parts) > 1 else parts[0])


# ---------------------------------------------------------------- which cycles


def _shown(contents: Contents, whole: Folded, most: int, mark: str) -> list[ShownCycle]:
    machine, trace = contents.machine, whole.trace
    last = len(trace.cycles) - 1
    quiet = set(quiet_inputs(machine, trace).values())
    still = set(still_states(machine, trace))
    began = _wait_begins(trace)
    rows = [row._replace(inputs=tuple(text for text in row.inputs if text not in quiet),
                         states=tuple(text for text in row.states if text not in still))
            for row in trace_rows(contents, whole)]
    wanted = range(len(rows)) if len(rows) <= most else _that_matter(rows, began, most - 2)
    return [ShownCycle(index, rows[index], mark if index == last else "",
                       "the wait begins here" if index == began and mark else "") for index in wanted]


def _that_matter(rows: list[TraceRow], began: int | None, most: int) -> list[int]:
    """The beginning, the end, where the wait begins, and the latest cycles in which something came from outside or an
    agent's state changed."""
    count = len(rows)
    chosen = {*range(_BEGINNING), *range(count - _END, count), *((began,) if began is not None else ())}
    moved = [index for index in range(1, count) if rows[index].states != rows[index - 1].states]
    for index in (*(at for at in range(count - 1, 0, -1) if rows[at].inputs), *reversed(moved)):
        if len(chosen) < most:
            chosen.add(index)
    return sorted(chosen | {index for index in range(count) if {index - 1, index + 1} <= chosen})


def _wait_begins(trace: Trace) -> int | None:
    """The cycle from which on a response is awaited that never comes or comes too late."""
    began: int | None = None
    for index, cycle in enumerate(trace.cycles):
        if began is None and "trigger" in cycle.events:
            began = index
        if "node" in cycle.events or "unless" in cycle.events:
            began = None
    return began if began != len(trace.cycles) - 1 else None


# ---------------------------------------------------------------- drawing


def _drawn(contents: Contents, whole: Folded, shown: list[ShownCycle], page: Page, role: str) -> list[str]:
    """All of it, indented by two."""
    machine, trace = contents.machine, whole.trace
    quiet = [*quiet_inputs(machine, trace).values(), *still_states(machine, trace)]
    lines = fold(f"all along: {', '.join(quiet)}", page) if quiet and len(trace.cycles) > 1 else []
    labels = [control_words(contents, cycle)[1] for cycle in trace.cycles]
    lines += _as_table(shown, whole, labels, page, role) or _as_blocks(machine, shown, whole, labels, page, role)
    if trace.loop is not None:
        lines.append(f"then again from cycle {whole.stamp(trace.loop)}, for ever")
    if trace.dead_end:
        lines += fold("then no input satisfies the assumptions", page)
    return [f"  {line}".rstrip() for line in lines]


def _as_table(shown: list[ShownCycle], whole: Folded, labels: list[str], page: Page, role: str) -> list[str]:
    """A line a cycle; nothing when a line would be wider than the page."""
    cells: list[tuple[str, ...]] = [_HEADS]
    wide = _widest_stamp(shown)
    for one in shown:
        row = one.row
        cells.append((f"{one.mark or ' '}{_stamp(row, wide)}", row.address, row.label, row.text, ", ".join(row.inputs),
                      ", ".join(row.states), "; ".join((*row.buses, *((one.remark,) if one.remark else ())))))
    cells = [tuple(map(printable, row)) for row in cells]
    kept = [at for at in range(len(_HEADS)) if at == 0 or any(row[at] for row in cells[1:])]
    widths = [max(columns(row[at]) for row in cells) for at in kept]
    if sum(widths) + 2 * (len(widths) - 1) > page.width:
        return []
    head, *lines = ["  ".join(pad(row[at], width) for at, width in zip(kept, widths)).rstrip() for row in cells]
    return [page.paint("faint", head), *_with_gaps(shown, whole, labels, [[line] for line in lines], page, role)]


def _widest_stamp(shown: list[ShownCycle]) -> int:
    """Columns of the names of phases, with a blank before them; 0 where none is told."""
    return max((len(one.row.stamp.partition(" ")[2]) + 1 if " " in one.row.stamp else 0 for one in shown), default=0)


def _stamp(row: TraceRow, wide: int) -> str:
    """The number of the cycle in four columns, the phase behind it."""
    number, _, phase = row.stamp.partition(" ")
    return f"{number:>4}" + (f" {phase}" if phase else "").ljust(wide)


def _as_blocks(machine: Machine, shown: list[ShownCycle], whole: Folded, labels: list[str], page: Page,
               role: str) -> list[str]:
    """The word and its orders (once where it stands for several cycles), what came from outside, which states and
    drivers changed."""
    at = max(2, *(len(one.row.address) for one in shown))
    word = min(_WIDEST_WORD, max(4, *(columns(printable(one.row.label)) for one in shown)))
    wide = _widest_stamp(shown)
    start = 5 + wide + 2 + at + 2 + word + 2
    if page.width - start < 24:
        word, start = 0, 5 + wide + 2 + at + 2
    room = page._replace(width=max(16, page.width - start), folds=True)
    columns_of_word = f"{'word':<{word}}  orders; what changed" if word else "word, orders"
    head = f"{'cycle':<{5 + wide}}  {'at':<{at}}  {columns_of_word}"
    blocks = []
    before: ShownCycle | None = None
    for one in shown:
        label = printable(one.row.label)
        first = f"{one.mark or ' '}{_stamp(one.row, wide)}  {one.row.address:<{at}}  "
        news = [printable(line) for line in _news(machine, whole.trace, one, before)]
        again = before is not None and before.at == one.at - 1 and all(
            getattr(before.row, part) == getattr(one.row, part) for part in ("address", "label", "text"))
        texts = (news or ["the same"]) if again else [printable(one.row.text), *news]
        folded = [line for text in texts for line in fold(text, room)] or [""]
        if word and columns(label) <= word:
            block = [f"{first}{pad(label, word)}  {folded[0]}", *(" " * start + line for line in folded[1:])]
        else:
            block = [first + label, *(" " * start + line for line in folded)]
        blocks.append([line.rstrip() for line in block])
        before = one
    return [page.paint("faint", head), *_with_gaps(shown, whole, labels, blocks, page, role)]


def _news(machine: Machine, trace: Trace, one: ShownCycle, before: ShownCycle | None) -> list[str]:
    """What differs from the cycle shown before."""
    cycle = trace.cycles[one.at]
    earlier = trace.cycles[before.at] if before is not None else None
    inputs = [text for text in one.row.inputs if before is None or text not in before.row.inputs]
    states = [text for text in one.row.states if before is None or text not in before.row.states]
    changes = [*((", ".join(states),) if states else ()), *_bus_news(machine, cycle, earlier),
               *one.row.buses[len(bus_words(machine, cycle)):]]
    return [*((f"in: {', '.join(inputs)}",) if inputs else ()), *(("; ".join(changes),) if changes else ()),
            *((one.remark,) if one.remark else ())]


def _bus_news(machine: Machine, cycle: Cycle, earlier: Cycle | None) -> list[str]:
    if earlier is None:
        return list(bus_words(machine, cycle))
    had = set(bus_words(machine, earlier)) - {strobe_words(strobe) for strobe in earlier.strobes}
    news = [text for text in bus_words(machine, cycle) if text not in had]
    free = [bus for bus, drivers in earlier.drivers.items() if drivers and not cycle.drivers.get(bus)]
    return [*news, *((f"nothing drives {', '.join(free)}",) if free else ())]


def _with_gaps(shown: list[ShownCycle], whole: Folded, labels: list[str], blocks: list[list[str]], page: Page,
               role: str) -> Iterable[str]:
    before = -1
    for one, block in zip(shown, blocks, strict=True):
        if one.at - before > 1:
            left_out = labels[before + 1:one.at]
            owners = list(dict.fromkeys(re.split(r"[.+]", label)[0] for label in left_out))
            more = f" and {len(owners) - _GAP_NAMES} more" if len(owners) > _GAP_NAMES else ""
            count = len(set(whole.numbers[before + 1:one.at]))
            yield from fold(f"   ... {count} cycle{'s' if count > 1 else ''}, in "
                            f"{', '.join(map(printable, owners[:_GAP_NAMES]))}{more}", page)
        before = one.at
        for line in block:
            yield page.paint(role, line) if one.mark and role else line
