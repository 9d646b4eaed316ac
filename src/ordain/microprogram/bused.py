"""Next addresses that are counted up and come over a bus: what stands on a bus is data, and is not read."""

from collections.abc import Iterator, Sequence

from ordain.machine.expression import If, Leaf, Node
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine, Store
from ordain.microprogram.sums import counted
from ordain.microprogram.survey import reaches
from ordain.text.findings import Finding, Place, error


def over_a_bus(machine: Machine, store: Store, presented: Sequence[Leaf]) -> Finding | None:
    """The finding for a store whose address a driver of a bus counts up in the cycle in which the next one is taken
    from there. One that is put on a bus to be kept elsewhere is none, nor is one that comes from elsewhere."""
    for leaf in presented:
        for when, bus in _taken(machine, leaf):
            for driver in machine.buses[bus].drivers:
                if driver.value is not None and counted(machine.terms, (driver.value,), presented) and reaches(
                        machine.terms, (machine.terms.and_((when, driver.when)),))[0]:
                    return error(
                        "no-order", f"the next address in `{store.name}` comes over bus `{bus}`, and what stands on a "
                        "bus is data: nothing says that control goes on to the word below", store.span,
                        f"`{leaf.name}` has it from `{bus}`", places=(
                            Place(driver.span, f"`{driver.name}` counts the present one up"),),
                        help=f"say what the drivers put there where `{leaf.name}` takes it: `A if C else B`, or "
                             "`choose`; that one driver is on at a time may be asked of the bus all the same")
    return None


def _taken(machine: Machine, leaf: Leaf) -> Iterator[tuple[Node, str]]:
    """The buses from which a state or register takes its next value, each with when it does."""
    terms = machine.terms
    todo: list[tuple[Node, Node]] = []
    if leaf.kind == "state":
        todo = [(terms.const(1, 1), machine.states[leaf.name].next)]
    elif leaf.name in machine.registers:
        todo = [(load.when, load.source) for load in machine.registers[leaf.name].loads if load.source is not None]
    while todo:
        when, node = todo.pop()
        if type(node) is If:
            condition, yes, no = node.args
            todo += [(terms.and_((when, condition)), yes), (terms.and_((when, terms.not_(condition))), no)]
        else:
            yield from ((when, read.name) for read in value_leaves(node) if read.kind == "bus")
