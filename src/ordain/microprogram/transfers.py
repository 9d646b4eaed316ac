"""`ir <- memory`: the settings under which `memory` drives a bus that `ir` takes.

The bus list says when. As far as such a condition compares fields with codes, the transfer sets them; what it says of
states and inputs is left to the hardware. Of several alternatives it takes the one that fields alone bring about, if
there is one such; where it leaves a choice of fields, the rest of the word must make it.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ordain.language import tree
from ordain.machine.expression import Among, And, Const, Leaf, Node, Not, Or, Terms, leaves, substitute
from ordain.machine.model import Bus, Driver, Field, Machine
from ordain.microprogram.layout import Layout
from ordain.microprogram.meaning import Assign, Fault, Need, said
from ordain.microprogram.phrases import Misuse
from ordain.text.findings import Place
from ordain.text.source import Span
from ordain.text.spelling import nearest

_WIDEST_TRIED = 10
"""A condition over one field is tried for each of its values up to this width."""


class Way(NamedTuple):
    """One way to carry out a transfer. `bus` is "" where a register loads another register or a state directly."""

    bus: str
    drives: Node
    drive_span: Span
    takes: Node
    take_span: Span


class Settled(NamedTuple):
    """Values that fields must have, and what is left of the condition when they have them."""

    values: dict[str, int]
    rest: Node


def transfer(machine: Machine, layout: Layout, meaning: tree.Transfer) -> tuple[list[Assign], list[Need]]:
    """The settings of a transfer, and what the finished word must allow. Raises `Misuse`."""
    way = _way(machine, meaning)
    terms, text = machine.terms, f"{meaning.target} <- {meaning.source}"
    drives = settle(terms, layout, way.drives)
    takes = settle(terms, layout, way.takes)
    on = f" on `{way.bus}`" if way.bus else ""
    driven = f"`{meaning.source}` to be driven{on}" if way.bus else f"`{meaning.target}` to load `{meaning.source}`"
    taken = f"`{meaning.target}` to take what is{on}"
    for name, value in takes.values.items():
        other = drives.values.get(name, value)
        if other != value:
            field = layout.fields[name]
            raise Misuse(Fault(
                "never-driven", f"`{text}` needs `{name}` to be {said(other, field)} and {said(value, field)} at once",
                None, None, "cannot be", "use another bus or another word", (
                    Place(way.drive_span, f"driven when `{name}` is {said(other, field)}"),
                    Place(way.take_span, f"taken when `{name}` is {said(value, field)}"))))
    values = {**drives.values, **takes.values}
    needs = []
    for name, what, rest, span in (("never-driven", driven, drives.rest, way.drive_span),
                                   ("never-sampled", taken, takes.rest, way.take_span)):
        left = _under(terms, layout, rest, values)
        for field_name, value in {**settle(terms, layout, left).values, **_only_sure(terms, layout, left)}.items():
            values.setdefault(field_name, value)
        left = _under(terms, layout, left, values)
        if type(left) is Const and not left.value:
            raise Misuse(Fault(name, f"`{text}` cannot be: nothing allows {what}", None, None, "never happens",
                               "correct the condition in the machine file", (Place(span, "this condition"),)))
        if type(left) is not Const and any(leaf.kind == "field" for leaf in leaves((left,))):
            needs.append(Need(left, name, what, tuple(_choices(layout, left)), span))
    fields = layout.fields
    return [Assign(fields[name], value, None) for name, value in values.items()], needs


# ---------------------------------------------------------------- which bus


def _way(machine: Machine, meaning: tree.Transfer) -> Way:
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
        raise Misuse(Fault("ambiguous-transfer", f"`{target} <- {source}` can go over {_listed(buses)}", None, None,
                           "which bus?", f"write `{target} <- {source} via {buses[0]}`", places))
    raise Misuse(Fault("ambiguous-transfer", f"`{target}` loads from `{buses[0]}` in {len(ways)} ways", None, None,
                       "which of them?", f"give each way a name of its own: `sampled by ...` below bus `{buses[0]}`",
                       places))


def _over(machine: Machine, bus: Bus, source: str, target: str) -> Iterator[Way]:
    """The ways over one bus: by its list of samplers, else by the loads of a register."""
    drivers = [driver for driver in bus.drivers if driver.name == source]
    if not drivers:
        return
    samplers = [(sampler.when, sampler.span) for sampler in bus.samplers if sampler.name == target]
    register = machine.registers.get(target)
    if not samplers and register is not None:
        samplers = [(load.when, register.span) for load in register.loads if load.source is not None and any(
            leaf.kind == "bus" and leaf.name == bus.name for leaf in leaves((load.source,)))]
    for when, span in samplers:
        yield Way(bus.name, _when(machine, drivers), drivers[0].span, when, span)


def _when(machine: Machine, drivers: Sequence[Driver]) -> Node:
    return machine.terms.or_([driver.when for driver in drivers])


def _direct(machine: Machine, source: str, target: str) -> Iterator[Way]:
    """A register that loads another register, a state or a condition without a bus between."""
    register = machine.registers.get(target)
    for load in register.loads if register is not None else ():
        if type(load.source) is Leaf and load.source.name == source and load.source.kind != "bus":
            assert register is not None
            yield Way("", machine.terms.const(1, 1), register.span, load.when, register.span)


def _no_way(machine: Machine, meaning: tree.Transfer) -> Fault:
    source, target, buses = meaning.source, meaning.target, machine.buses
    if meaning.via is not None and meaning.via not in buses:
        close = nearest(meaning.via, buses)
        return Fault("unknown-name", f"there is no bus `{meaning.via}`", None, None, "unknown bus",
                     f"did you mean `{close}`?" if close else f"the buses are {_listed(buses)}")
    out = [bus for bus in buses.values() if any(driver.name == source for driver in bus.drivers)]
    into = [bus for bus in buses.values() if any(sampler.name == target for sampler in bus.samplers)]
    into += [buses[leaf.name] for load in (machine.registers[target].loads if target in machine.registers else ())
             if load.source is not None for leaf in leaves((load.source,)) if leaf.kind == "bus"]
    if not out:
        known = {driver.name for bus in buses.values() for driver in bus.drivers}
        close = nearest(source, known)
        return Fault("unknown-name", f"nothing called `{source}` drives a bus", None, None, "unknown source",
                     f"did you mean `{close}`?" if close else f"drivers are {_listed(sorted(known))}")
    if not into:
        known = {sampler.name for bus in buses.values() for sampler in bus.samplers}
        close = nearest(target, known)
        return Fault("unknown-name", f"nothing called `{target}` takes anything from a bus", None, None,
                     "unknown target", f"did you mean `{close}`?" if close else f"takers are {_listed(sorted(known))}")
    return Fault(
        "no-transfer", f"`{source}` drives {_listed(bus.name for bus in out)}, and `{target}` takes from "
        f"{_listed(dict.fromkeys(bus.name for bus in into))}", None, None,
        f"not over `{meaning.via}`" if meaning.via else "no bus in common", "go by way of a register",
        (Place(out[0].span, f"driven by `{source}`"), Place(into[0].span, f"taken by `{target}`")))


def _listed(names: "Sequence[str] | Iterator[str] | dict[str, Bus] | dict[str, None]") -> str:
    shown = [f"`{name}`" for name in names]
    if not shown:
        return "none"
    return f"{', '.join(shown[:8])}{' ...' if shown[8:] else ''}"


# ---------------------------------------------------------------- what a condition asks of fields


def settle(terms: Terms, layout: Layout, condition: Node) -> Settled:
    """The field values without which a condition of one bit cannot hold, as far as each part of it names one field."""
    values: dict[str, int] = {}
    rest: list[Node] = []
    for part in condition.args if type(condition) is And else (condition,):
        found = _one_field(terms, layout, part)
        if found is None or values.setdefault(found[0], found[1]) != found[1]:
            rest.append(part)
    left = terms.and_(rest) if rest else terms.const(1, 1)
    return Settled(values, left)


def _only_sure(terms: Terms, layout: Layout, condition: Node) -> dict[str, int]:
    """For each part with alternatives: the settings of the only one that fields alone can bring about. What also needs
    a state or an input to play along does not count: a transfer is to happen."""
    values: dict[str, int] = {}
    for part in condition.args if type(condition) is And else (condition,):
        if type(part) is Or:
            sure = [found for found in (settle(terms, layout, way) for way in part.args)
                    if type(found.rest) is Const and found.rest.value]
            if len(sure) == 1:
                for name, value in sure[0].values.items():
                    values.setdefault(name, value)
    return values


def _one_field(terms: Terms, layout: Layout, part: Node) -> tuple[str, int] | None:
    """The field and the only value of it with which a part can hold."""
    read = leaves((part,))
    if len(read) != 1 or read[0].kind != "field" or read[0].name not in layout.fields:
        return None
    match part:
        case Leaf():
            return part.name, 1
        case Not() if part.args[0] is read[0]:
            return read[0].name, 0
        case Among(values=values) if len(values) == 1 and part.args[0] is read[0]:
            return read[0].name, next(iter(values))
    possible = [value for value in _values(layout.fields[read[0].name])
                if _holds(substitute(terms, (part,), {read[0]: terms.const(value, read[0].width)})[0])]
    return (read[0].name, possible[0]) if len(possible) == 1 else None


def _values(field: Field) -> Sequence[int]:
    if field.codes:
        return [code.value for code in field.codes]
    return range(1 << field.width) if field.width <= _WIDEST_TRIED else ()


def _holds(node: Node) -> bool:
    return type(node) is not Const or bool(node.value)


def _under(terms: Terms, layout: Layout, node: Node, values: dict[str, int]) -> Node:
    """What is left of a condition when fields have these values."""
    known: dict[Node, Node] = {leaf: terms.const(values[leaf.name], leaf.width) for leaf in leaves((node,))
                               if leaf.kind == "field" and leaf.name in values}
    return substitute(terms, (node,), known)[0] if known else node


def _choices(layout: Layout, node: Node) -> Iterator[str]:
    """The ways to make a condition hold that are worth telling, in words."""
    for part in node.args if type(node) is Or else (node,):
        yield _told(layout, part)


def _told(layout: Layout, part: Node) -> str:
    match part:
        case Leaf(name=name):
            return f"`{name}`"
        case Not() if type(part.args[0]) is Leaf:
            return f"not `{part.args[0].name}`"
        case Among(values=values) if type(part.args[0]) is Leaf and part.args[0].name in layout.fields:
            field = layout.fields[part.args[0].name]
            return f"`{field.name}` {' or '.join(said(value, field) for value in sorted(values))}"
        case And():
            return " and ".join(_told(layout, inner) for inner in part.args)
    return " or ".join(f"`{leaf.name}`" for leaf in leaves((part,)))
