"""The first clock of a capture that no sequence explains, for people: what was seen and what not."""

from collections.abc import Mapping, Sequence

from ordain.control.model import Trace
from ordain.follow.model import ClockCycle, Possible, Why
from ordain.machine.expression import leaves
from ordain.machine.model import BoardLine, Machine
from ordain.rom.contents import Contents
from ordain.show.diagram import Glyphs, diagram_lines
from ordain.show.page import Page, fold
from ordain.show.paint import printable
from ordain.show.trace_table import control_words, value_words

Pins = Mapping[str, Mapping[int, str]]
"""For each store where each bit of it stands: `U35.D7`."""


def report_lines(contents: Contents, lines: Sequence[BoardLine], broken: ClockCycle, when: str, why: Why, pins: Pins,
                 page: Page) -> list[str]:
    """The finding, what would have been possible, the chips concerned."""
    place = f"clock {broken.number}, {when}" if when else f"clock {broken.number}"
    word, found = broken.seen.word, [page.paint("bad", f"{place}: no sequence of the machine shows what was seen "
                                                           "here")]
    wrong = why.never or why.together
    whole = whole_values(lines, broken)
    if whole:
        words = (f"{name} {value:0{-(-width // 4)}X}" for name, value, width in whole)
        found += fold(f"  seen: {', '.join(words)}", page)
    if why.never:
        found += fold(f"  cannot be, whatever the rest is: {seen_words(lines, why.never, word)}", page)
    elif why.together:
        found += fold(f"  cannot be at once: {seen_words(lines, why.together, word)}", page)
    else:
        found.append("  the machine has no way on from here: an assumption of the machine file is broken")
    groups: dict[tuple[str, tuple[int, ...]], list[int]] = {}
    for which, possible in enumerate(why.possible):
        groups.setdefault((control_words(contents, possible.trace.cycles[-1])[1], possible.differs), []).append(which)
    for group in groups.values():
        found += _possible(contents, lines, why.possible, group, word, page)
    if why.others:
        found.append(f"  and {why.others} more addresses would have been possible")
    told = dict.fromkeys(text for line in wrong for text in whose(contents.machine, lines[line], pins))
    if told:
        found += fold(f"  look at: {'; '.join(told)}", page)
        found.append("  power off before a clip or a chip is moved; no clip over two pins")
    found += fold("  which fault it may be: `ordain diagnose` with the same options", page)
    return found


def way_lines(contents: Contents, broken: ClockCycle, why: Why, page: Page, glyphs: Glyphs) -> list[str]:
    """The last clocks as they may have gone, with what was to come."""
    if not why.possible:
        return []
    trace = why.possible[0].trace
    first = broken.number - len(trace.cycles) + 1
    return ["", *fold(f"the last clocks, and at the end what was to come ({first} to {broken.number}):", page),
            *(f"  {line}".rstrip() for line in diagram_lines(contents, trace, page.indented(2), glyphs))]


def _possible(contents: Contents, lines: Sequence[BoardLine], every: Sequence[Possible], group: Sequence[int],
              word: int,
              page: Page) -> list[str]:
    """A line for what has one name and differs in the same lines."""
    possible = every[group[0]]
    _, label, orders = control_words(contents, possible.trace.cycles[-1])
    places = [control_words(contents, every[which].trace.cycles[-1])[0] for which in group]
    text = f"  possible: {', '.join(places[:-1])}{' or ' if places[1:] else ''}{places[-1]} {printable(label)}"
    if possible.differs:
        text += f", with {seen_words(lines, possible.differs, ~word)}"
    reason = decided_by(contents.machine, [one.trace for one in every], group[0])
    if reason and len(group) == 1:
        text += f"; by {reason} in the clock before"
    return fold(f"{text}   ({printable(orders)})" if orders else text, page)


def whole_values(lines: Sequence[BoardLine], clock: ClockCycle) -> list[tuple[str, int, int]]:
    """What is seen of something that has several bits, where each of them is: its name, value, width."""
    bits: dict[str, dict[int, int]] = {}
    for line, one in enumerate(lines):
        name, bracket, bit = one.name.partition("[")
        if bracket and bit.rstrip("]").isdecimal() and clock.seen.known >> line & 1:
            bits.setdefault(name, {})[int(bit.rstrip("]"))] = clock.seen.word >> line & 1
    return [(name, sum(level << bit for bit, level in found.items()), len(found)) for name, found in bits.items()
            if len(found) > 1 and max(found) == len(found) - 1]


def seen_words(lines: Sequence[BoardLine], which: Sequence[int], word: int) -> str:
    """`upc[0] 1, read 0`"""
    return ", ".join(f"{lines[line].name} {word >> line & 1}" for line in which)


def whose(machine: Machine, line: BoardLine, pins: Pins) -> list[str]:
    """Chips and pins that a line has to do with: where it stands, and what forms it."""
    found: list[str] = []
    name, _, bit = line.name.removeprefix("not ").partition("[")
    at = int(bit.rstrip("]")) if bit else 0
    if name in machine.fields:
        field = machine.fields[name]
        pin = pins[field.store].get(field.low + at)
        found += [f"bit {field.low + at} of {field.store}" + (f", {pin}" if pin else "")]
    found += [f"{part}.{own[wire.width - 1 - (at - (wire.low or 0))]}" for wire in machine.wires if wire.name == name
              and 0 <= at - (wire.low or 0) < wire.width for part, own in wire.pins]
    node = machine.states[name].next if name in machine.states else \
        machine.signals[name].value if name in machine.signals else None
    for store in dict.fromkeys(machine.fields[leaf.name].store for leaf in leaves((node,) if node is not None else ())
                               if leaf.kind == "field"):
        fields = [leaf.name for leaf in leaves((node,) if node is not None else ()) if leaf.kind == "field"
                  and machine.fields[leaf.name].store == store]
        chips = sorted({pins[store][bit].removeprefix("not ").partition(".")[0] for field in fields for bit in range(
            machine.fields[field].low, machine.fields[field].high + 1) if bit in pins[store]})
        found.append(f"formed from {', '.join(fields)}" + (f" ({', '.join(chips)})" if chips else ""))
    return found


def decided_by(machine: Machine, traces: Sequence[Trace], which: int) -> str:
    """What sets one of several ways apart from the others in the clock before the last: inputs and states."""
    if len(traces) < 2 or any(len(trace.cycles) < 2 for trace in traces):
        return ""
    before = [trace.cycles[-2] for trace in traces]
    words = [value_words(machine, name, before[which].states[name]) for name in before[which].states
             if " " not in name and len({cycle.states.get(name) for cycle in before}) > 1
             and (name in machine.states or name in machine.registers)]
    words += [value_words(machine, name, before[which].free[name]) for name in before[which].free
              if " " not in name and len({cycle.free.get(name) for cycle in before}) > 1
              and any(name in cycle.matters for cycle in before)]
    return ", ".join(words)


