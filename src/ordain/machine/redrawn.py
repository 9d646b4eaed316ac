"""The machine as one would draw it to see where control goes: gates in the place of PROMs that are computed, and one
counter in the place of the flip-flops that it is made of.

What the words are, and where they may stand, hangs on what the hardware does, not on the parts that it is built of.
The microprogram is compiled and placed on the machine so drawn; whoever proves or prints reads the one of the text.
"""

from collections.abc import Iterator

from ordain.machine.expression import Join, Leaf, Node, Not, leaves, postorder, substitute
from ordain.machine.lines import gates_as_choices
from ordain.machine.model import Machine, Store
from ordain.machine.rewriting import with_terms, without_tables


def redrawn(machine: Machine) -> Machine:
    """The same machine. A store that arms choose from keeps its address: they ask for its lines by their names."""
    whole = machine
    if any(store.computed is not None for store in machine.stores.values()):
        whole = without_tables(machine._replace(stores={}), machine, machine.terms)
        addresses = without_tables({name: store.address for name, store in _open(machine)}, machine, machine.terms)
        whole = whole._replace(stores={**machine.stores, **{
            name: machine.stores[name]._replace(address=address) for name, address in addresses.items()}})
    return with_counters(whole, begins=False)


def with_counters(machine: Machine, begins: bool = True) -> Machine:
    """The same machine with one state for the flip-flops of each counter that a store is addressed by, be it by way of
    other flip-flops. `begins`: whether it is asked what the machine comes up with; then not where only some of them
    come up known."""
    for name, _ in _open(machine):
        while row := next(_rows(machine, machine.stores[name].address, begins), None):
            machine = _as_one(machine, row)
    return machine


def _rows(machine: Machine, address: Node, begins: bool) -> Iterator[list[Leaf]]:
    """The flip-flops of counters in an address, and in what the states that it reads become."""
    later = [machine.states[leaf.name].next for leaf in leaves((address,)) if leaf.kind == "state"]
    for node in postorder((address, *later)):
        row = list(_flip_flops(machine, node))
        known = sum(machine.states[leaf.name].reset is not None for leaf in row)
        if len(row) > 1 and (known in (0, len(row)) or not begins):
            yield row


def _open(machine: Machine) -> Iterator[tuple[str, Store]]:
    for name, store in machine.stores.items():
        if store.fill == "microprogram" and store.instruction is None and store.step is None:
            yield name, store


def _flip_flops(machine: Machine, joined: Node) -> Iterator[Leaf]:
    """The states of one bit in the lowest lines of what is joined, the lowest first, each of which hangs on all those
    below it, as a carry does."""
    on_buses = {driver.name for bus in machine.buses.values() for driver in bus.drivers}
    on_buses |= {sampler.name for bus in machine.buses.values() for sampler in bus.samplers}
    below: set[Leaf] = set()
    for part in reversed(joined.args) if type(joined) is Join else ():
        if type(part) is not Leaf or part.kind != "state" or part.width > 1 or part.name in on_buses:
            return
        becomes = without_tables(machine.states[part.name].next, machine, machine.terms)
        if part in below or not below <= set(leaves((becomes,))):
            return
        below.add(part)
        yield part


def _as_one(machine: Machine, row: list[Leaf]) -> Machine:
    """The machine with one state for those of a row, the lowest first. Nothing else is called by its name."""
    terms, width = machine.terms, len(row)
    flops = [machine.states[leaf.name] for leaf in row]
    name = f"{{{', '.join(flop.name for flop in reversed(flops))}}}"
    counter = terms.leaf("state", name, width)
    lines: dict[Node, Node] = {leaf: terms.slice(counter, bit, bit) for bit, leaf in enumerate(row)}
    resets = [flop.reset for flop in flops if flop.reset is not None]
    nexts = substitute(terms, tuple([flop.next for flop in reversed(flops)]), lines)
    becomes = terms.join(nexts)
    if all(isinstance(each, Not) for each in nexts):        # then they may be slices of one term, turned
        becomes = terms.not_(terms.join([terms.not_(each) for each in nexts]))
    one = flops[0]._replace(
        name=name, width=width, codes=(), next=gates_as_choices(terms, becomes),
        reset=sum(level << bit for bit, level in enumerate(resets)) if len(resets) == width else None)
    states = {name: one, **{each.name: each for each in machine.states.values() if each not in flops}}
    return with_terms(machine._replace(states=states), lambda node: substitute(terms, (node,), lines)[0])
