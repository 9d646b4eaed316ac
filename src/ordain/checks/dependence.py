"""What depends on something within one cycle, and when; and who takes a value, and when.

Inside a cycle a value goes from a bus to the buses that follow it or whose drivers have it in their value, through
signals, memories and stores that it addresses (and all fields of their words), enables of drivers, and latches while
they are open. Registers and states stop it: they change at the end of the cycle. Conditions that are free in a proof
stop it too: nothing is known of how they come about.
"""

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import NamedTuple

from ordain.checks import owners
from ordain.checks.sensitivity import looks_at
from ordain.machine.driving import put
from ordain.machine.expression import Node
from ordain.machine.model import Bus, Driver, Machine, Memory, Register, Store
from ordain.text.source import Span

Depends = dict[Node, Node]
"""Leaves, each with the condition under which it depends on what was asked about."""


def depending(machine: Machine, sources: Mapping[Node, Node], acting: bool, latches: bool = True) -> Depends:
    """The sources and everything that depends on one of them in the same cycle. `acting`: also through what acts on
    them at once, which are enables of drivers and, with `latches`, open latches.

    Goes round until nothing changes; as a way that comes by one thing twice adds nothing, that is after as many rounds
    as there are things."""
    origins = _origins(machine, acting, acting and latches)
    known: Depends = dict(sources)
    for _ in origins:
        before = dict(known)
        for origin in origins:
            if origin.leaves[0] not in sources:     # of a store they are all of its leaves
                known.update(dict.fromkeys(origin.leaves, origin.condition(known)))
        if known == before:
            break
    never = machine.terms.const(0, 1)
    return {leaf: condition for leaf, condition in known.items() if condition is not never}


class _Origin(NamedTuple):
    """Leaves that have one origin. `condition`: when they depend on something, given what is known so far."""

    leaves: tuple[Node, ...]
    condition: Callable[[Depends], Node]


def _origins(machine: Machine, enables: bool, latches: bool) -> list[_Origin]:
    terms = machine.terms
    found = [_Origin(store_leaves(machine, store), partial(looks_at, terms, (store.address,)))
             for store in machine.stores.values()]
    found += [_Origin((memory_leaf(machine, memory),), partial(looks_at, terms, (memory.address,)))
              for memory in machine.memories.values()]
    found += [_Origin((bus_leaf(machine, bus),), partial(_of_bus, machine, bus, enables))
              for bus in machine.buses.values()]
    found += [_Origin((register_leaf(machine, register),), partial(loads_look_at, machine, register))
              for register in machine.registers.values() if latches and register.transparent]
    return found


def store_leaves(machine: Machine, store: Store) -> tuple[Node, ...]:
    """The address of a store, its word and the fields of the word."""
    terms = machine.terms
    return (terms.leaf("address", store.name, store.address_width), terms.leaf("word", store.name, store.bits),
            *(terms.leaf("field", name, machine.fields[name].width) for name in store.fields))


def bus_leaf(machine: Machine, bus: Bus) -> Node:
    return machine.terms.leaf("bus", bus.name, bus.width)


def memory_leaf(machine: Machine, memory: Memory) -> Node:
    return machine.terms.leaf("free", memory.name, memory.bits)


def register_leaf(machine: Machine, register: Register) -> Node:
    return machine.terms.leaf("register", register.name, register.width)


def _of_bus(machine: Machine, bus: Bus, enables: bool, known: Depends) -> Node:
    """Through what an enabled driver drives; `enables`: and through who is enabled."""
    terms = machine.terms
    ways = [looks_at(terms, (driver.when for driver in bus.drivers) if enables else (), known)]
    ways += [terms.and_((driver.when, _driven(machine, bus, driver, known))) for driver in bus.drivers]
    return terms.or_(ways)


def comes_round(machine: Machine, bus: Bus) -> tuple[Node, Node]:
    """That what stands on a bus depends on what stands there: the one driver that is on has it from this bus, by way of
    others; and that who is on depends on it. Where an open latch is on the way, it is the latch that feeds itself."""
    terms = machine.terms
    known = depending(machine, {bus_leaf(machine, bus): terms.const(1, 1)}, acting=True, latches=False)
    value = terms.or_((terms.const(0, 1), *(terms.and_((alone, _driven(machine, bus, driver, known)))
                                            for driver, alone in zip(bus.drivers, owners.alone(terms, bus)))))
    return value, looks_at(terms, owners.enables(bus), known)


def _driven(machine: Machine, bus: Bus, driver: Driver, known: Depends) -> Node:
    roots: list[Node] = []
    value = put(machine, driver, bus.width)
    if value is not None:
        roots.append(value)
    if driver.follows:
        roots.append(bus_leaf(machine, machine.buses[driver.follows]))
    return looks_at(machine.terms, roots, known)


def loads_look_at(machine: Machine, register: Register, known: Mapping[Node, Node]) -> Node:
    """A load's condition depends on what is known; or a load holds, and its source does."""
    terms = machine.terms
    ways = [looks_at(terms, (load.when for load in register.loads), known)]
    ways += [terms.and_((load.when, looks_at(terms, (load.source,), known)))
             for load in register.loads if load.source is not None]
    return terms.or_(ways)


class Taking(NamedTuple):
    """`name` takes a value in cycles with `when`. `phrase` says who that is: "`acc`", "the enable of `memory`"."""

    name: str
    phrase: str
    when: Node
    span: Span


def takings(machine: Machine, sources: Mapping[Node, Node]) -> tuple[Taking, ...]:
    """Everything that takes one of the sources or what depends on it in the cycle: what `sampled by` says, registers
    and latches that load it, states whose next value depends on it, and what acts on it at once: conditions of loads
    and samplings, enables of drivers, strobes. What has one name and several reasons is one. It is not followed any
    further through an enable or a latch, as that has taken the value already."""
    terms = machine.terms
    never = terms.const(0, 1)
    known = depending(machine, sources, acting=False)
    found: dict[str, Taking] = {}
    for taking in _every_taking(machine, known):
        if taking.when is never:
            continue
        before = found.get(taking.phrase)
        found[taking.phrase] = taking if before is None else before._replace(
            when=terms.or_((before.when, taking.when)))
    return tuple(found.values())


def _every_taking(machine: Machine, known: Depends) -> Iterator[Taking]:
    terms = machine.terms
    for bus in machine.buses.values():
        there = known.get(bus_leaf(machine, bus), terms.const(0, 1))
        for sampler in bus.samplers:
            taken = terms.or_((terms.and_((sampler.when, there)), looks_at(terms, (sampler.when,), known)))
            yield Taking(sampler.name, f"`{sampler.name}`", taken, sampler.span)
    for register in machine.registers.values():
        yield Taking(register.name, f"`{register.name}`", loads_look_at(machine, register, known), register.span)
    for memory in machine.memories.values():
        ways = [looks_at(terms, (write.when for write in memory.writes), known)]
        ways += [terms.and_((write.when, looks_at(terms, (write.source, memory.address), known)))
                 for write in memory.writes]
        yield Taking(memory.name, f"`{memory.name}`", terms.or_(ways), memory.span)
    for state in machine.states.values():
        yield Taking(state.name, f"`{state.name}`", looks_at(terms, (state.next,), known), state.span)
    for bus in machine.buses.values():
        for driver in bus.drivers:
            yield Taking(driver.name, f"the enable of `{driver.name}` on `{bus.name}`",
                         looks_at(terms, (driver.when,), known), driver.span)
    for strobe in machine.strobes:
        yield Taking(strobe.name, f"the strobe `{strobe.name}`", looks_at(terms, (strobe.active,), known), strobe.span)
