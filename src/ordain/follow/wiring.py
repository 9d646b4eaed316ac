"""Single faults of the board beside its chips: of inputs, synchronisers, drivers, and of the clips that look at it.

An input may be stuck, or come inverted, where the machine takes it; a clip at the input itself sees what it is. A state
that does nothing but delay a line by one cycle may be missing, so that the machine sees the line at once. A driver may
hold a bus that it should have let go, or never take it; that shows where nobody drives, on a bus that is pulled or
keeps its level: of one that floats any level is possible then. A clip may be off, two may be exchanged: then the board
is sound, and other lines were seen than is said.
"""

from collections.abc import Iterator, Sequence

from ordain.control.model import System
from ordain.control.system import build_system
from ordain.follow.model import Hypothesis, with_bit
from ordain.machine.expression import Const, Leaf, Node, Slice, Terms, postorder, substitute
from ordain.machine.model import Bus, Driver
from ordain.rom.contents import Contents


def wiring_faults(system: System) -> Iterator[Hypothesis]:
    """Every bit of the machine's own inputs stuck or inverted, and every synchroniser left out."""
    machine, terms = system.contents.machine, system.terms
    for one in machine.inputs.values():
        if one.agent:
            continue
        leaf = terms.leaf("input", one.name, one.width)
        for bit in range(one.width):
            name = f"{one.name}[{bit}]" if one.width > 1 else one.name
            for level in (0, 1):
                yield Hypothesis("input", f"{name} stays at {level}",
                                 inside=((leaf, with_bit(terms, leaf, bit, terms.const(level, 1))),))
            turned = terms.not_(terms.slice(leaf, bit, bit))
            yield Hypothesis("input", f"{name} comes inverted", inside=((leaf, with_bit(terms, leaf, bit, turned)),))
    for variable in system.variables:
        if variable.name in machine.states and not machine.states[variable.name].agent and _delays(variable.next):
            yield Hypothesis("synchroniser", f"{variable.name} left out, {_told(variable.next)} passes at once",
                             inside=((variable.leaf, variable.next),))


def driver_faults(system: System, seen: Sequence[Node]) -> Iterator[Hypothesis]:
    """Every driver of a bus always on, and never on, where that makes a difference to what stands there. `seen`: as
    the system was built with."""
    contents, terms = system.contents, system.terms
    for bus in contents.machine.buses.values():
        leaf = terms.leaf("bus", bus.name, bus.width)
        level = system.lowering.get(leaf, leaf)
        others = _elsewhere(contents, bus, seen) if level is not leaf else frozenset()
        for number, driver in enumerate(bus.drivers) if level is not leaf else ():
            for on, said in ((1, "always drives"), (0, "never drives")):
                drivers = list(bus.drivers)
                drivers[number] = driver._replace(when=terms.const(on, 1))
                buses = {**contents.machine.buses, bus.name: bus._replace(drivers=tuple(drivers))}
                machine = contents.machine._replace(buses=buses)
                other = build_system(contents._replace(machine=machine), seen).lowering.get(leaf, leaf)
                inside = _each_part(terms, level, other)
                if inside and all(one not in others for one, _ in inside):
                    yield Hypothesis("driver", f"{driver.name} {said} {bus.name}", inside=inside)


def _elsewhere(contents: Contents, bus: Bus, seen: Sequence[Node]) -> frozenset[Node]:
    """Every part of the machine's expressions as they are where the bus has any level. What is also there cannot take
    another value for the bus alone; the leaf of the bus itself, then, is not among what is replaced."""
    blank = bus._replace(drivers=(Driver("", contents.machine.terms.const(1, 1), "", None, "part", bus.span),))
    machine = contents.machine._replace(buses={**contents.machine.buses, bus.name: blank})
    system = build_system(contents._replace(machine=machine), seen)
    return frozenset(postorder((*(variable.next for variable in system.variables), *system.assumptions,
                                *system.addresses.values(), *substitute(system.terms, tuple(seen), system.lowering))))


def _each_part(terms: Terms, before: Node, after: Node) -> tuple[tuple[Node, Node], ...]:
    """What takes the place of a line of several bits, and of each part of it, as far as that is another."""
    pairs = [(before, after), *((terms.slice(before, high, low), terms.slice(after, high, low))
                                for high in range(before.width) for low in range(high + 1))]
    return tuple((one, other) for one, other in dict(pairs).items()
                 if one is not other and not isinstance(one, Const | Leaf))


def clip_faults(names: Sequence[str]) -> Iterator[Hypothesis]:
    """Every clip off, and every two exchanged. `names`: of the lines, in their order."""
    for line, name in enumerate(names):
        yield Hypothesis("clip", f"the clip at {name} sees something else", clips=((line, None),))
    for line, name in enumerate(names):
        for other in range(line + 1, len(names)):
            yield Hypothesis("clip", f"the clips at {name} and {names[other]} are exchanged",
                             clips=((line, other), (other, line)))


def _delays(node: Node) -> bool:
    """A line of one bit that comes from outside, or from another flip-flop."""
    inner = node.args[0] if isinstance(node, Slice) else node
    return node.width == 1 and isinstance(inner, Leaf) and inner.kind in ("input", "state")


def _told(node: Node) -> str:
    if isinstance(node, Slice):
        return f"{_told(node.args[0])}[{node.low}]"
    assert isinstance(node, Leaf)
    return node.name
