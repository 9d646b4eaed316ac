"""What a driver puts on its bus: the only place that reads it from the driver's name or its line."""

from ordain.machine.expression import Node
from ordain.machine.model import Driver, Machine


def put(machine: Machine, driver: Driver, width: int) -> Node | None:
    """The value, over the machine's leaves, as wide as it is itself; None where nothing says it. `width`: of the bus,
    for a constant, which has none of its own."""
    terms, name = machine.terms, driver.name
    if driver.value is not None:
        return driver.value
    if name in machine.registers:
        return terms.leaf("register", name, machine.registers[name].width)
    if name in machine.states:
        return terms.leaf("state", name, machine.states[name].width)
    if name in machine.signals:
        return machine.signals[name].value
    if name in machine.fields:
        return terms.leaf("field", name, machine.fields[name].width)
    if name in machine.stores:
        return terms.leaf("word", name, machine.stores[name].bits)
    if name in machine.memories:
        return terms.leaf("free", name, machine.memories[name].bits)
    if name in machine.inputs:
        return terms.leaf("input", name, machine.inputs[name].width)
    if name in machine.constants and not machine.constants[name] >> width:
        return terms.const(machine.constants[name], width)
    return None
