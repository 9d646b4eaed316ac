"""Whether what stands on a bus stays the same from one cycle to the next.

The *edge* into a cycle is steady when the same driver, alone, drives the bus in the cycle before and in this one and
what it drives does not change:

    register         does not load in the cycle before
    latch            is closed in both cycles
    state            its next value is its present one
    store            the same word stands at the address presented
    field, signal    has the same value (fields and states are compared; a register in it must not load, a bus in it
                     must be steady; with an input or condition in it, it always changes)
    follows BUS      that bus is steady across the edge
    anything else    only where `steady while` promises it in both cycles

`steady while` is good for every driver. A bus that nobody drives is steady where something holds its level: pulled
and wired buses while undriven in both cycles, a kept bus also when its driver has just left without changing. A
wired bus is steady when the same drivers, all of them steady, pull in both cycles. Of buses that follow each other
in a ring none is steady while all of it is enabled.
"""

from collections.abc import Mapping
from typing import NamedTuple

from ordain.checks import owners
from ordain.machine.driving import put
from ordain.machine.expression import Leaf, Node, leaves
from ordain.machine.model import Bus, Driver, Machine


class Steadiness(NamedTuple):
    """`settled`: in this cycle one driver (or what holds the level) defines the bus, and nothing changes during it.
    `edge`: the edge from the cycle before into this one is steady; it implies `settled` in both; 0 in the first
    cycle, as nothing is known of what was before."""

    settled: Node
    edge: Node


class _Stay(NamedTuple):
    """Of one driver. `before`: what must hold in the cycle before the edge; `after`: in the cycle after it;
    `within`: in every cycle by itself."""

    before: Node
    after: Node
    within: Node


def steadiness(machine: Machine, excused: Mapping[str, Node]) -> dict[str, Steadiness]:
    """Of every bus. `excused`: by bus, cycles that count as steady."""
    known: dict[str, Steadiness] = {}
    open_ = dict(machine.buses)
    while open_:
        ready = [bus for bus in open_.values() if not any(name in open_ for name in _followed(machine, bus))]
        # None is ready where buses follow each other in a ring (a transceiver that works both ways): start from "never
        # steady" and go round until every way that does not bite its own tail has been taken into account.
        for bus in ready or [bus for _ in open_ for bus in open_.values()]:
            found = _of_bus(machine, bus, known)
            known[bus.name] = _excuse(machine, found, excused[bus.name]) if bus.name in excused else found
        open_ = {name: bus for name, bus in open_.items() if name not in known}
    return known


def _followed(machine: Machine, bus: Bus) -> set[str]:
    """The buses that some driver of the bus follows: by its declaration, through its value, a signal or a memory."""
    names = {driver.follows for driver in bus.drivers}
    waiting, seen = [], set[Leaf]()
    for driver in bus.drivers:
        value = put(machine, driver, bus.width)
        if value is not None:
            waiting.append(value)
    while waiting:
        for leaf in leaves((waiting.pop(),)):
            if leaf.kind == "bus":
                names.add(leaf.name)
            elif leaf.name in machine.memories and leaf not in seen:
                seen.add(leaf)
                waiting.append(machine.memories[leaf.name].address)
    return names


def _excuse(machine: Machine, found: Steadiness, cycles: Node) -> Steadiness:
    terms = machine.terms
    return Steadiness(terms.or_((found.settled, cycles)), terms.or_((found.edge, cycles, terms.prior(cycles))))


def _of_bus(machine: Machine, bus: Bus, known: dict[str, Steadiness]) -> Steadiness:
    terms = machine.terms
    stays = tuple(_stay(machine, driver, known) for driver in bus.drivers)
    if bus.undriven in owners.SHARED:
        return _shared(machine, bus, stays)
    alone = owners.alone(terms, bus)
    settled = [terms.and_((only, stay.within)) for only, stay in zip(alone, stays, strict=True)]
    sources = [terms.and_((holds, stay.before)) for holds, stay in zip(settled, stays, strict=True)]
    undriven = owners.none_of(terms, owners.enables(bus))
    rests = bus.undriven in owners.RESTING
    if rests:
        settled.append(undriven)
        sources.append(undriven)
    source = terms.prior(owners.code_of(terms, sources, max(1, len(sources).bit_length())))
    edges = [terms.const(0, 1)]
    for index, stay in enumerate(stays):
        stands = settled[index]
        if bus.undriven == "kept":  # a driver that leaves must not change at the same edge
            stands = terms.or_((stands, terms.and_((undriven, stay.within))))
        edges.append(terms.and_((terms.among(source, frozenset((index + 1,))), stands, stay.after)))
    if rests:
        edges.append(terms.and_((terms.among(source, frozenset((len(sources),))), undriven)))
    return Steadiness(terms.or_((terms.const(0, 1), *settled)), terms.or_(edges))


def _shared(machine: Machine, bus: Bus, stays: tuple[_Stay, ...]) -> Steadiness:
    """A wired bus: the same drivers must pull in both cycles, and each that does must be steady."""
    terms = machine.terms
    pairs = tuple(zip(bus.drivers, stays, strict=True))
    settled = terms.and_((terms.const(1, 1), *(terms.or_((terms.not_(driver.when), stay.within))
                                               for driver, stay in pairs)))
    parts = [terms.prior(settled), settled]
    for driver, stay in pairs:
        parts.append(terms.equal(terms.prior(driver.when), driver.when))
        parts.append(terms.or_((terms.not_(driver.when), terms.and_((terms.prior(stay.before), stay.after)))))
    return Steadiness(settled, terms.and_(parts))


def _stay(machine: Machine, driver: Driver, known: dict[str, Steadiness]) -> _Stay:
    """One of the reasons that a driver can have must hold over the whole edge."""
    terms = machine.terms
    zero, one = terms.const(0, 1), terms.const(1, 1)
    reasons = [reason for reason in (
        _stay_by_nature(machine, driver.name, known) if driver.value is None else
        _value_stays(machine, driver.value, known),
        _bus_stays(machine, driver.follows, known) if driver.follows else None,
        _Stay(driver.steady, driver.steady, one) if driver.steady is not None else None,
    ) if reason is not None]
    if not reasons:
        return _Stay(zero, zero, one)
    if len(reasons) == 1:
        return reasons[0]
    within = terms.or_(reason.within for reason in reasons)
    across = terms.or_(terms.and_((terms.prior(reason.before), reason.after, terms.prior(reason.within), reason.within))
                       for reason in reasons)
    return _Stay(one, across, within)


def _stay_by_nature(machine: Machine, name: str, known: dict[str, Steadiness]) -> _Stay | None:
    """What the driver's own kind says; None: nothing."""
    terms, one = machine.terms, machine.terms.const(1, 1)
    if name in machine.registers:
        return _register_stays(machine, name)
    if name in machine.states:
        state = machine.states[name]
        return _Stay(terms.equal(state.next, terms.leaf("state", name, state.width)), one, one)
    if name in machine.fields:
        return _value_stays(machine, terms.leaf("field", name, machine.fields[name].width), known)
    if name in machine.stores:
        return _value_stays(machine, terms.leaf("word", name, machine.stores[name].bits), known)
    if name in machine.signals:
        return _value_stays(machine, machine.signals[name].value, known)
    if name in machine.constants:
        return _Stay(one, one, one)
    return _memory_stays(machine, name, known) if name in machine.memories else None


def _memory_stays(machine: Machine, name: str, known: dict[str, Steadiness]) -> _Stay | None:
    """What is read stays while the address does and nothing is written."""
    terms, memory = machine.terms, machine.memories[name]
    stay = _value_stays(machine, memory.address, known)
    idle = owners.none_of(terms, [write.when for write in memory.writes])
    return None if stay is None else _Stay(terms.and_((stay.before, idle)), stay.after, stay.within)


def _register_stays(machine: Machine, name: str) -> _Stay:
    one, register = machine.terms.const(1, 1), machine.registers[name]
    idle = owners.none_of(machine.terms, [load.when for load in register.loads])
    return _Stay(one, one, idle) if register.transparent else _Stay(idle, one, one)


def _bus_stays(machine: Machine, name: str, known: dict[str, Steadiness]) -> _Stay:
    zero, one = machine.terms.const(0, 1), machine.terms.const(1, 1)
    found = known.get(name)
    return _Stay(zero, zero, zero) if found is None else _Stay(one, found.edge, found.settled)


def _value_stays(machine: Machine, value: Node, known: dict[str, Steadiness]) -> _Stay | None:
    """An expression stays when its value over states, fields and addresses is the same and all else in it stays."""
    terms, one = machine.terms, machine.terms.const(1, 1)
    parts = leaves((value,))
    if any(leaf.kind in ("input", "condition", "opcode") or (leaf.kind == "free" and leaf.name not in machine.memories)
           for leaf in parts):
        return None
    if not any(leaf.kind in ("register", "bus", "free") for leaf in parts):
        return _Stay(one, terms.equal(terms.prior(value), value), one)
    stays = [_leaf_stays(machine, leaf, known) for leaf in parts]
    return _Stay(*(terms.and_((one, *(stay[side] for stay in stays))) for side in range(3)))


def _leaf_stays(machine: Machine, leaf: Leaf, known: dict[str, Steadiness]) -> _Stay:
    terms, one = machine.terms, machine.terms.const(1, 1)
    if leaf.kind == "register":
        return _register_stays(machine, leaf.name)
    if leaf.kind == "bus":
        return _bus_stays(machine, leaf.name, known)
    if leaf.kind == "free":
        return _memory_stays(machine, leaf.name, known) or _Stay(terms.const(0, 1), terms.const(0, 1), one)
    return _Stay(one, terms.equal(terms.prior(leaf), leaf), one)
