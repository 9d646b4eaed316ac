"""By which bus a transfer goes: who drives it when, and who takes it when."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ordain.language import tree
from ordain.machine.expression import Leaf, Node, leaves
from ordain.machine.model import Bus, Driver, Machine
from ordain.microprogram.meaning import ClauseFault
from ordain.microprogram.phrases import Misuse
from ordain.text.findings import Place
from ordain.text.source import Span
from ordain.text.spelling import nearest


class Route(NamedTuple):
    """How a transfer can be carried out. `bus` is "" where a register loads another register or a state directly.
    `kept`: the bus holds its level, so that it may be driven in one cycle and taken in a later one."""

    bus: str
    drives: Node
    drive_span: Span
    takes: Node
    take_span: Span
    kept: bool = False


class TransferEnd(NamedTuple):
    """The driver or the taker of a transfer, and its condition. `name`: of the finding where that cannot hold; `text`:
    the transfer; `what`, `verb`: for messages."""

    condition: Node
    span: Span
    name: str
    text: str
    what: str
    verb: str


def parts_of(route: Route, meaning: tree.Transfer) -> tuple[TransferEnd, TransferEnd]:
    """The two conditions under which a transfer happens."""
    text, on = f"{meaning.target} <- {meaning.source}", f" on `{route.bus}`" if route.bus else ""
    driven = f"`{meaning.source}` to be driven{on}" if route.bus else f"`{meaning.target}` to load `{meaning.source}`"
    taken = f"`{meaning.target}` to take what is{on}"
    return (TransferEnd(route.drives, route.drive_span, "never-driven", text, driven, "driven"),
            TransferEnd(route.takes, route.take_span, "never-sampled", text, taken, "taken"))


def route_of(machine: Machine, meaning: tree.Transfer) -> Route:
    """The one way from source to target. Raises `Misuse` when there is none, or a choice."""
    source, target = meaning.source, meaning.target
    ways = [way for bus in machine.buses.values() if meaning.via in (None, bus.name)
            for way in _over(machine, bus, source, target)]
    if not ways and meaning.via is None:
        ways = list(_direct(machine, source, target))
    if len(ways) == 1:
        return ways[0]
    if not ways:
        raise Misuse(_no_way(machine, meaning))
    buses = list(dict.fromkeys(way.bus for way in ways))
    places = tuple([Place(way.take_span, f"one way{f', over `{way.bus}`' if way.bus else ''}") for way in ways[:4]])
    if len(buses) > 1:
        raise Misuse(ClauseFault("ambiguous-transfer", f"`{target} <- {source}` can go over {_listed(buses)}", None,
                                 None,
                                 "which bus?", f"write `{target} <- {source} via {buses[0]}`", places))
    raise Misuse(ClauseFault("ambiguous-transfer", f"`{target}` loads from `{buses[0]}` in {len(ways)} ways", None,
                             None,
                             "which of them?",
                             f"give each way a name of its own: `sampled by ...` below bus `{buses[0]}`",
                             places))


def _over(machine: Machine, bus: Bus, source: str, target: str) -> Iterator[Route]:
    """The routes over one bus: by its list of samplers, else by the loads of a register. A register that both lists
    and loads takes the bus when both say so."""
    register = machine.registers.get(target)
    loads = [] if register is None else [load.when for load in register.loads if load.source is not None and any(
        leaf.kind == "bus" and leaf.name == bus.name for leaf in leaves((load.source,)))]
    takers = [(sampler.when, sampler.span) for sampler in bus.samplers if sampler.name == target]
    if takers and loads:
        takers = [(machine.terms.and_((when, machine.terms.or_(loads))), span) for when, span in takers]
    elif register is not None:
        takers = takers or [(when, register.span) for when in loads]
    for driver in bus.drivers:
        if driver.name == source:
            for when, span in takers:
                yield Route(bus.name, driver.when, driver.span, when, span, bus.undriven == "kept")


def _direct(machine: Machine, source: str, target: str) -> Iterator[Route]:
    """A register that loads another register, a state or a condition without a bus between."""
    register = machine.registers.get(target)
    for load in register.loads if register is not None else ():
        if type(load.source) is Leaf and load.source.name == source and load.source.kind != "bus":
            assert register is not None
            yield Route("", machine.terms.const(1, 1), register.span, load.when, register.span)


def _no_way(machine: Machine, meaning: tree.Transfer) -> ClauseFault:
    source, target, buses = meaning.source, meaning.target, machine.buses
    if meaning.via is not None and meaning.via not in buses:
        close = nearest(meaning.via, buses)
        return ClauseFault("unknown-name", f"there is no bus `{meaning.via}`", None, None, "unknown bus",
                           f"did you mean `{close}`?" if close else f"the buses are {_listed(buses)}")
    out = [bus for bus in buses.values() if any(driver.name == source for driver in bus.drivers)]
    into = [bus for bus in buses.values() if any(sampler.name == target for sampler in bus.samplers)]
    into += [buses[bus] for bus in _loaded_from(machine, target)]
    if not out:
        known = {driver.name for bus in buses.values() for driver in bus.drivers}
        close = nearest(source, known)
        return ClauseFault("unknown-name", f"nothing called `{source}` drives a bus", None, None, "unknown source",
                           f"did you mean `{close}`?" if close else f"drivers are {_listed(sorted(known))}")
    if not into:
        return ClauseFault("unknown-name", f"nothing called `{target}` takes anything from a bus", None, None,
                           "unknown target", _who_takes(machine, target, out[0].name))
    return ClauseFault(
        "no-transfer", f"`{source}` drives {_listed(bus.name for bus in out)}, and `{target}` takes from "
        f"{_listed(dict.fromkeys(bus.name for bus in into))}", None, None,
        f"not over `{meaning.via}`" if meaning.via else "no bus in common", _detour(machine, meaning, out, into),
        (Place(out[0].span, f"driven by `{source}`"), Place(into[0].span, f"taken by `{target}`")))


def _detour(machine: Machine, meaning: tree.Transfer, out: Sequence[Bus], into: Sequence[Bus]) -> str:
    """A bus that both have in common; a transceiver that leads from one to the other; what may take the other, too."""
    target = meaning.target
    if any(bus in into for bus in out):
        return f"write `{target} <- {meaning.source}`"
    for bus in into:
        for driver in bus.drivers:
            for far in out:
                if _brings(driver, far, bus):
                    return f"`{target} <- {driver.name}` takes what `{driver.name}` brings there from `{far.name}`"
    if target in machine.registers:
        return "go by way of a register"
    return f"go by way of a register; or say that it takes that bus, too: `sampled by {target} when ...` below " \
           f"`bus {out[0].name}`"


def _brings(driver: Driver, far: Bus, near: Bus) -> bool:
    """What stands on the one bus is put on the other as it is: by its value, or as it follows either way. What follows
    one way alone may be a memory at its address."""
    if type(driver.value) is Leaf:
        return driver.value.kind == "bus" and driver.value.name == far.name
    return driver.follows == far.name and any(
        back.name == driver.name and back.follows == near.name for back in far.drivers)


def _who_takes(machine: Machine, target: str, bus: str) -> str:
    if target in machine.states or target in machine.registers or target in machine.memories:
        return f"say when it takes the bus: `sampled by {target} when ...` below bus `{bus}`"
    known = {sampler.name for each in machine.buses.values() for sampler in each.samplers}
    known |= {name for name in machine.registers if _loaded_from(machine, name)}
    close = nearest(target, known)
    return f"did you mean `{close}`?" if close else f"takers are {_listed(sorted(known))}"


def _loaded_from(machine: Machine, register: str) -> list[str]:
    """The buses that a register loads."""
    loads = machine.registers[register].loads if register in machine.registers else ()
    return [leaf.name for load in loads if load.source is not None for leaf in leaves((load.source,))
            if leaf.kind == "bus"]


def _listed(names: "Sequence[str] | Iterator[str] | dict[str, Bus] | dict[str, None]") -> str:
    shown = [f"`{name}`" for name in names]
    if not shown:
        return "none"
    return f"{', '.join(shown[:8])}{' ...' if shown[8:] else ''}"
