"""The last cycles of a run as a trace, for findings and for the timing diagram."""

from collections.abc import Sequence

from ordain.control.model import Cycle, Trace
from ordain.data.datapath import Moment
from ordain.data.partial import Ternary, whole
from ordain.machine.expression import Node
from ordain.rom.contents import Contents
from ordain.show.run_lines import digits


def trace_of(contents: Contents, last: Sequence[tuple[int, Moment]], levels: bool) -> Trace:
    """Who drives what, cycle by cycle; with `levels`, what stands there beside the name of a driver that is alone.
    States of which some bit is not known in some cycle are left out: a trace has numbers only. A driver of which it is
    not known whether it drives has a question mark."""
    machine, terms = contents.machine, contents.machine.terms
    leaves = {name: terms.leaf("state", name, state.width) for name, state in machine.states.items()}
    known = {name for name, leaf in leaves.items()
             if all(whole(moment.value(leaf), leaf.width) for _, moment in last)}
    stores = {name: store for name, store in machine.stores.items()
              if all(whole(moment.value(store.address), store.address_width) for _, moment in last)}
    cycles = []
    for _, moment in last:
        drivers = {bus.name: tuple(f"{driver.name}{'' if when == _SURE else '?'}" for driver in bus.drivers
                                   if (when := moment.value(driver.when)) != _NOT) for bus in machine.buses.values()}
        if levels:
            drivers = {name: (f"{names[0]} {_level(moment, terms.leaf('bus', name, machine.buses[name].width))}",)
                       if len(names) == 1 else names for name, names in drivers.items()}
        samplers = {bus.name: tuple(sampler.name for sampler in bus.samplers if moment.value(sampler.when) == _SURE)
                    for bus in machine.buses.values()}
        addresses = {name: moment.value(store.address).value for name, store in stores.items()}
        cycles.append(Cycle(
            {name: moment.value(leaves[name]).value for name in machine.states if name in known}, {},
            {name: moment.outside.get(name, 0) for name in machine.inputs},
            frozenset(moment.outside.keys() & machine.inputs.keys()), addresses,
            {name: contents.words[name][address] for name, address in addresses.items()}, drivers, samplers,
            tuple(strobe.name for strobe in machine.strobes if moment.value(strobe.active) == _SURE), frozenset()))
    return Trace(tuple(cycles), None, False, {})


_SURE, _NOT = Ternary(1, 1), Ternary(0, 1)


def _level(moment: Moment, bus: Node) -> str:
    return digits(moment.value(bus), bus.width)
