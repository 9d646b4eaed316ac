"""Buses, who drives and samples them, strobes, what must be kept, what excludes each other."""

from collections.abc import Sequence
from typing import Literal

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import short, shown
from ordain.machine.control import hardware
from ordain.machine.expression import Node, leaves
from ordain.machine.lowering import Lowering
from ordain.machine.names import ARTICLE, DeclaredName, unknown
from ordain.text.findings import Place, error
from ordain.text.source import Span

MOST_CYCLES = 255
"""Cycles that a bus can owe between two drivers, or be needed steady around a strobe."""

UNDRIVEN: tuple[model.Undriven, ...] = (
    "floats", "pulled-high", "pulled-low", "kept", "wired-and", "wired-or", "multiplexed",
)


def bus_model(bus: tree.Bus, turnaround: int, lowering: Lowering) -> model.Bus:
    """The bus. `turnaround` in steps. A driver or sampler whose condition is broken is left out."""
    entry = lowering.scope.entries[bus.name.text]
    report_twice(bus.drivers, f"drives `{bus.name.text}`", "join the two conditions with `or`", lowering)
    report_twice(bus.samplers, f"samples `{bus.name.text}`", "join the two conditions with `or`", lowering)
    _limit(bus.turnaround, bus.span, lowering)
    width = None if entry.broken else entry.width
    drivers = [driver for text in bus.drivers if (driver := _driver(text, width, lowering)) is not None]
    samplers = []
    for sampler in bus.samplers:
        when = hardware(lowering.condition(sampler.when), sampler.span, lowering)
        if when is not None:
            samplers.append(model.Sampler(sampler.name.text, when, sampler.span))
    undriven = next((one for one in UNDRIVEN if one == bus.undriven), None)
    if undriven is None:
        raise ValueError(f"a bus that is {bus.undriven}")
    return model.Bus(bus.name.text, entry.width, undriven, turnaround, tuple(drivers), tuple(samplers), bus.span)


def report_twice(lines: Sequence[tree.Driver | tree.Sampler | tree.Strobe], is_or_does: str, way_out: str,
                 lowering: Lowering) -> None:
    first: dict[str, Span] = {}
    for line in lines:
        name = line.name.text
        if name in first:
            lowering.findings.append(error(
                "defined-twice", f"`{name}` {is_or_does} twice", line.span, "the second line",
                places=(Place(first[name], "the first"),), help=way_out))
        first.setdefault(name, line.span)


def _limit(cycles: int, span: Span, lowering: Lowering) -> None:
    if cycles > MOST_CYCLES:
        lowering.findings.append(error(
            "bad-size", f"{shown(cycles)} cycles are too many: the limit is {MOST_CYCLES}", span, "out of range",
            help="correct the number"))


def _driver(driver: tree.Driver, width: int | None, lowering: Lowering) -> model.Driver | None:
    when = hardware(lowering.condition(driver.when), driver.span, lowering)
    follows = ""
    if driver.follows is not None and find_bus(driver.follows, lowering) is not None:
        follows = driver.follows.text
    steady = None
    if driver.steady is not None:
        steady = hardware(lowering.condition(driver.steady), driver.steady.span, lowering, labels=True)
    if when is None:
        return None
    value = None
    if driver.value is not None:
        value = hardware(lowering.node(driver.value, width), driver.value.span, lowering)
        parts = () if value is None else leaves((value,))
        if follows and not any(leaf.kind == "free" or (leaf.kind == "bus" and leaf.name == follows) for leaf in parts):
            lowering.findings.append(error(
                "wrong-kind", f"what `{driver.name.text}` puts on the bus does not come from `{follows}`",
                driver.value.span, f"`{follows}` is not in it",
                help="leave `follows` out: the value says what it follows"))
    return model.Driver(driver.name.text, when, follows, steady, _kind(driver.name.text, lowering), driver.span, value)


def _kind(name: str, lowering: Lowering) -> Literal["register", "state", "store", "memory", "agent", "part"]:
    """What a driver is; a name that nothing else has is a part of the machine that needs no further description."""
    entry = lowering.scope.entries.get(name) or lowering.scope.entries.get(name.partition(".")[0])
    if entry is None:
        return "part"
    match entry.kind:
        case "register" | "state" | "store" | "memory" | "agent" as kind:
            return kind
    return "part"


def find_bus(name: tree.Word, lowering: Lowering) -> DeclaredName | None:
    """The bus of this name; None when there is none (reported) or it is broken."""
    entry = lowering.scope.entries.get(name.text)
    if entry is not None and entry.kind == "bus":
        return None if entry.broken else entry
    if entry is None:
        buses = [known for known, other in lowering.scope.entries.items() if other.kind == "bus"]
        lowering.findings.append(unknown(name.text, buses, name.span, "bus"))
    elif not entry.broken:
        lowering.findings.append(error("wrong-kind", f"`{name.text}` is {ARTICLE[entry.kind]}, not a bus", name.span,
                                       "a bus is wanted", places=(Place(entry.span, "declared here"),),
                                       help="name a bus" if entry.kind not in ("register", "state", "memory") else
                                       f"name the bus that it drives: `bus NAME N bits, ...` with `driven by "
                                       f"{name.text}`"))
    return None


def strobe_model(strobe: tree.Strobe, lowering: Lowering) -> model.Strobe | None:
    """A strobe is one line: a signal, a flag, an input. A need of a broken bus is left out."""
    active = lowering.condition(strobe.name)
    for need in strobe.needs:
        _limit(max(need.before, need.after), need.span, lowering)
    needs = tuple(model.SteadyNeed(need.bus.text, need.before, need.after, need.span) for need in strobe.needs
                  if find_bus(need.bus, lowering) is not None)
    return None if active is None else model.Strobe(strobe.name.text, active, needs, strobe.span)


def keep_model(keep: tree.Keep, lowering: Lowering) -> model.Keep | None:
    names = []
    for name in keep.names:
        entry = lowering.scope.entries.get(name.text)
        if entry is None:
            kept = [known for known, other in lowering.scope.entries.items() if other.kind in ("register", "state")]
            lowering.findings.append(unknown(name.text, kept, name.span, "register or state"))
        elif entry.broken:
            continue
        elif entry.kind not in ("register", "state"):
            lowering.findings.append(error(
                "wrong-kind", f"`{name.text}` is {ARTICLE[entry.kind]}, and only registers, latches and states keep a "
                "value", name.span, "stores nothing", places=(Place(entry.span, "declared here"),),
                help="name a register, a latch or a state"))
        else:
            names.append(name.text)
    condition = lowering.condition(keep.condition)
    return None if condition is None else model.Keep(tuple(names), condition, short(keep.condition.span), keep.span)


def exclusive_model(exclusive: tree.Exclusive, lowering: Lowering) -> model.Exclusive | None:
    nodes: list[Node] = []
    names: list[str] = []
    for signal in exclusive.signals:
        node = lowering.condition(signal)
        if node is None:
            continue
        if node in nodes:
            lowering.findings.append(error(
                "defined-twice", f"`{short(signal.span)}` stands twice in one `exclusive`, and is never without itself",
                signal.span, "the same as an earlier one", help="leave one of them out"))
        else:
            nodes.append(node)
            names.append(short(signal.span))
    if len(nodes) < 2:
        if len(exclusive.signals) < 2:
            lowering.findings.append(error(
                "too-few", "one signal alone excludes nothing", exclusive.span, "two or more are wanted",
                help="name the signals that must never be active together"))
        return None
    return model.Exclusive(tuple(names), tuple(nodes), exclusive.span)


