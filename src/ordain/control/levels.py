"""What stands on a bus in a cycle, as far as a proof of control knows it.

A driver that puts there numbers and states is known, and so is a level at which a bus is held. What comes of words,
inputs, registers and memories is data: there a line may have any level. (What words put there could be told, but
nearly every bus has a number from a word on it, and what is loaded from it would then tell opcodes apart that nothing
else does.) Any level is also what two drivers leave that fight; on a wired bus nobody fights, and each driver pulls the
lines that it is known to pull.
"""

from collections.abc import Iterator

from ordain.machine.driving import put
from ordain.machine.expression import Node, Terms, leaves
from ordain.machine.model import Bus, Machine


def puts(machine: Machine, bus: Bus) -> Iterator[tuple[Node, Node | None]]:
    """Of each driver when it is on, and what it puts there then; None where that is data."""
    for driver in bus.drivers:
        value = put(machine, driver, bus.width)
        data = value is None or value.width != bus.width or any(leaf.kind != "state" for leaf in leaves((value,)))
        yield driver.when, None if data else value


def level_nodes(machine: Machine, bus: Bus) -> tuple[Node, ...]:
    """All that the level of a bus depends on."""
    return tuple([node for pair in puts(machine, bus) for node in pair if node is not None])


def undriven_level(bus: Bus, terms: Terms) -> Node:
    """What stands there while nobody drives, where nothing keeps it."""
    if bus.undriven in ("floats", "multiplexed"):
        return terms.leaf("bus", bus.name, bus.width)
    return terms.const((1 << bus.width) - 1 if bus.undriven in ("pulled-high", "wired-and") else 0, bus.width)


def level(machine: Machine, bus: Bus, rest: Node) -> Node:
    """What stands on a bus, over the machine's own leaves; the leaf of the bus is whatever is not known. `rest`: while
    nobody drives it."""
    terms, drivers = machine.terms, list(puts(machine, bus))
    if not drivers:
        return rest
    shown = _pulled(bus, drivers, terms) if bus.undriven in ("wired-and", "wired-or") else _driven(bus, drivers, terms)
    return terms.if_(terms.or_(tuple([when for when, _ in drivers])), shown, rest)


def _pulled(bus: Bus, drivers: list[tuple[Node, Node | None]], terms: Terms) -> Node:
    """On a wired bus: each driver lets go of the lines that it does not pull."""
    idle, anything = undriven_level(bus, terms), terms.leaf("bus", bus.name, bus.width)
    shares = [terms.if_(when, value, idle) for when, value in drivers if value is not None]
    data = [when for when, value in drivers if value is None]
    if data:
        shares.append(terms.if_(terms.or_(data), anything, idle))
    return terms.and_(shares) if bus.undriven == "wired-and" else terms.or_(shares)


def _driven(bus: Bus, drivers: list[tuple[Node, Node | None]], terms: Terms) -> Node:
    """On any other bus: what the one driver puts there that is on."""
    anything = terms.leaf("bus", bus.name, bus.width)
    shown: Node = anything
    if all(value is None for _, value in drivers):
        return shown
    for when, value in reversed(drivers):
        if value is not None:
            shown = terms.if_(when, value, shown)
    fights, before = [], drivers[0][0]
    for when, _ in drivers[1:]:
        fights.append(terms.and_((before, when)))
        before = terms.or_((before, when))
    return terms.if_(terms.or_(fights), anything, shown) if fights else shown
