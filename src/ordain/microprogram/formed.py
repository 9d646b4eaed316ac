"""Addresses that are more than the lines of a state: those that are chosen behind flip-flops, where a word sets a
flip-flop, and in the next cycle it says which of several states is presented; and a state of which every line is
turned, as where a counter goes down."""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ordain.machine.expression import If, Leaf, Node, Not, leaves, postorder, substitute
from ordain.machine.model import Machine


class Formed(NamedTuple):
    """`place`: the address that is presented, as one leaf. `following`: the next one over the word, states, and it.
    `spoken_for`: the next values of the presented states, which are in it. `known`: what is to be written otherwise for
    a term to be over that leaf. `turned`: what is kept to be presented later is kept with every line turned."""

    place: Node
    following: Node
    spoken_for: frozenset[Node]
    known: dict[Node, Node]
    turned: bool


def formed(machine: Machine, address: Node, presented: Sequence[Leaf]) -> Formed | None:
    """How the next address is chosen. None where nothing is chosen, or what a presented state holds may be presented in
    a later cycle than the next, as a return address is. It may not where it goes nowhere but into the address, and is
    made anew in every cycle."""
    terms = machine.terms
    place = terms.leaf("state", "", address.width)
    if type(address) is Not and type(state := address.args[0]) is Leaf and state.kind == "state":
        becomes = machine.states[state.name].next
        turned: dict[Node, Node] = {state: terms.not_(place)}
        (following,) = substitute(terms, (terms.not_(becomes),), turned)
        return Formed(place, following, frozenset((becomes,)), turned, True)
    if any(leaf.kind != "state" for leaf in presented) or not any(type(part) is If for part in postorder((address,))):
        return None
    by_address: dict[Node, Node] = {address: place}
    kept = leaves(substitute(terms, tuple(_kept(machine)), by_address))
    on_buses = {driver.name for bus in machine.buses.values() for driver in bus.drivers}
    if any(leaf in kept or leaf.name in on_buses for leaf in presented):
        return None
    nexts: dict[Node, Node] = {leaf: machine.states[leaf.name].next for leaf in leaves((address,))
                               if leaf.kind == "state"}
    (following,) = substitute(terms, substitute(terms, (address,), nexts), by_address)
    return Formed(place, following, frozenset(machine.states[leaf.name].next for leaf in presented), by_address,
                  False)


def _kept(machine: Machine) -> Iterator[Node]:
    """All that is held until a later cycle, or goes to where it can be."""
    yield from [state.next for state in machine.states.values()]
    yield from [load.source for register in machine.registers.values() for load in register.loads
                if load.source is not None]
    yield from [driver.value for bus in machine.buses.values() for driver in bus.drivers if driver.value is not None]
    yield from [write.source for memory in machine.memories.values() for write in memory.writes]
