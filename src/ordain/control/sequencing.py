"""What in a machine holds control addresses, found by following values through its expressions.

*Pointers* are the states and registers whose values are places in the control store: a micro-address, a return address,
a step counter, an address register in a pipeline. Where a word stands is a pointer's whole meaning, so a comparison
sees through their values. *Opcode leaves* hold the instruction; of them the values do count. Everything else that
control asks about is a condition: it may have any value.
"""

from typing import NamedTuple

from ordain.control.registers import after_loads
from ordain.machine.expression import (
    Add,
    Among,
    And,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Or,
    Parity,
    Slice,
    Sub,
    Terms,
    leaves,
    postorder,
    substitute,
)
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine

Origin = tuple[Leaf, int] | int | None
"""Where one bit of a term comes from: (leaf, bit), a constant 0 or 1, or None for anything else."""


class Sequencing(NamedTuple):
    """`pointers`, `opcodes`: leaves, with `nexts` the terms of what they are in the next cycle.

    `stores`: every store's address, in an order in which each depends only on words of earlier ones.
    `control`: the stores that hold the microprogram. `mappings`: those that hold start addresses.
    `address_fields`: fields whose values are places in a control store and nothing else; `followed`: fields whose
    values get there.
    `wired`: per control store with wired starts, the address that an opcode is sent to, over what holds it.
    """

    pointers: tuple[Leaf, ...]
    opcodes: tuple[Leaf, ...]
    nexts: dict[Leaf, Node]
    stores: dict[str, Node]
    control: tuple[str, ...]
    mappings: tuple[str, ...]
    address_fields: frozenset[str]
    followed: frozenset[str]
    wired: dict[str, Node]


def sequencing(machine: Machine, terms: Terms) -> Sequencing:
    """`machine`'s expressions are nodes of `terms`."""
    nexts = dict(_nexts(machine, terms))
    held = {leaf.name: leaf for leaf in nexts}
    opcodes, wired = _opcodes(machine, terms, held)
    pointers = _pointers(machine, nexts, opcodes)
    control = _control(machine, pointers)
    mappings = tuple(store.name for store in machine.stores.values()
                     if store.fill in ("start", "map") or (store.fill == "microprogram" and store.name not in control))
    fields = frozenset(
        leaf.name for node in [*(nexts[pointer] for pointer in pointers),
                               *(machine.stores[name].address for name in control)]
        for leaf in value_leaves(node) if leaf.kind == "field" and machine.fields[leaf.name].store in control)
    also = _acting_fields(machine, pointers, nexts, control)
    addresses = {name for name, field in machine.fields.items()
                 if field.holds == "address" or (name in fields and field.width > 1 and name not in also)}
    return Sequencing(pointers, opcodes, nexts, _in_order(machine), control, mappings, frozenset(addresses), fields,
                      wired)


def _control(machine: Machine, pointers: tuple[Leaf, ...]) -> tuple[str, ...]:
    """The stores whose words are executed: their address is a place, or a word of such a store says it."""
    candidates = [store for store in machine.stores.values() if store.fill == "microprogram"]
    found: dict[str, None] = {}
    grown = True
    while grown:
        grown = False
        for store in candidates:
            if store.name not in found and any(
                    leaf in pointers or (leaf.kind == "word" and leaf.name in found)
                    or (leaf.kind == "field" and machine.fields[leaf.name].store in found)
                    for leaf in leaves((store.address,))):
                found[store.name] = None
                grown = True
    names = found or dict.fromkeys(store.name for store in candidates)
    return tuple(store.name for store in candidates if store.name in names)


def _acting_fields(machine: Machine, pointers: tuple[Leaf, ...], nexts: dict[Leaf, Node],
                   control: tuple[str, ...]) -> set[str]:
    """Fields that say more than a place: they choose between values, or something other than control reads them."""
    places = [*(nexts[pointer] for pointer in pointers), *(machine.stores[name].address for name in control)]
    buses = machine.buses.values()
    others = [*(after for leaf, after in nexts.items() if leaf not in pointers),
              *(store.address for name, store in machine.stores.items() if name not in control),
              *(driver.when for bus in buses for driver in bus.drivers),
              *(sampler.when for bus in buses for sampler in bus.samplers),
              *(strobe.active for strobe in machine.strobes)]
    found = {leaf.name for leaf in leaves((*others, *_deciding(places))) if leaf.kind == "field"}
    return found | {driver.name for bus in buses for driver in bus.drivers} & machine.fields.keys()


def _deciding(roots: list[Node]) -> list[Node]:
    """The parts of terms that only decide between values, see `value_leaves`."""
    found: list[Node] = []
    for node in postorder(roots):
        match node:
            case If(args=args):
                found.append(args[0])
            case Among() | Equal() | Less() | Parity():
                found.append(node)
    return found


def origins(node: Node) -> tuple[Origin, ...]:
    """Where each bit of a term comes from, lowest first; joins, slices, leaves and constants are seen through."""
    memo: dict[Node, tuple[Origin, ...]] = {}
    for term in postorder((node,)):
        if type(term) is Leaf:
            memo[term] = tuple((term, bit) for bit in range(term.width))
        elif type(term) is Const:
            memo[term] = tuple(term.value >> bit & 1 for bit in range(term.width))
        elif type(term) is Slice:
            memo[term] = memo[term.args[0]][term.low:term.high + 1]
        elif term.args and sum(arg.width for arg in term.args) == term.width and len(term.args) > 1:
            memo[term] = tuple(bit for part in reversed(term.args) for bit in memo[part])
        else:
            memo[term] = (None,) * term.width
    return memo[node]


def _nexts(machine: Machine, terms: Terms) -> list[tuple[Leaf, Node]]:
    found: list[tuple[Leaf, Node]] = []
    for state in machine.states.values():
        leaf = terms.leaf("state", state.name, state.width)
        assert type(leaf) is Leaf
        found.append((leaf, state.next))
    for register in machine.registers.values():
        leaf = terms.leaf("register", register.name, register.width)
        assert type(leaf) is Leaf
        found.append((leaf, after_loads(register, leaf, terms)))
    return found


def _opcodes(machine: Machine, terms: Terms, held: dict[str, Leaf]) -> tuple[tuple[Leaf, ...], dict[str, Node]]:
    """The states and registers that say which instruction is meant."""
    found: dict[Leaf, None] = {}
    wired: dict[str, Node] = {}
    for store in machine.stores.values():
        parts: list[Node] = []
        if store.fill in ("start", "map"):
            parts.append(store.address)
        if store.instruction is not None:
            parts.append(terms.slice(store.address, *store.instruction))
        if store.starts_at is not None and store.opcode is not None:
            opcode: dict[Node, Node] = dict.fromkeys(leaves((store.starts_at,)), store.opcode)
            wired[store.name] = substitute(terms, (store.starts_at,), opcode)[0]
            parts.append(store.opcode)
        for leaf in _through_gates(parts):
            if held.get(leaf.name) is leaf:
                found[leaf] = None
    return tuple(found), wired


def _through_gates(roots: list[Node]) -> list[Leaf]:
    """The leaves of terms, less those that only let others through: what a choice looks at, and a line that is at a
    gate in each bit."""
    found: dict[Leaf, None] = {}
    waiting = list(reversed(roots))
    while waiting:
        node = waiting.pop()
        match node:
            case Leaf():
                found[node] = None
            case If(args=args):
                waiting += args[:0:-1]
            case And(args=args) | Or(args=args) if any(_one_line(arg) for arg in args):
                waiting += [arg for arg in reversed(args) if not _one_line(arg)]
            case _:
                waiting += reversed(node.args)
    return list(found)


def _one_line(node: Node) -> bool:
    """Whether each bit of a term of several is the same line."""
    return type(node) is Join and len(set(node.args)) == 1 and node.args[0].width == 1


def _pointers(machine: Machine, nexts: dict[Leaf, Node], opcodes: tuple[Leaf, ...]) -> tuple[Leaf, ...]:
    """Whatever flows into a control store's address and takes values that the machine or the words name.

    A state that only ever takes a condition's value (a flag on an address line) is no pointer but a condition; so is a
    counter that is joined into an address that another state holds.
    """
    agents = {state.name for state in machine.states.values() if state.agent}
    transparent = {register.name for register in machine.registers.values() if register.transparent}
    direct: list[Leaf] = []
    steps: set[Leaf] = set()
    for store in machine.stores.values():
        if store.fill == "microprogram":
            direct += value_leaves(store.address)
            if store.step is not None:
                high, low = store.step
                steps |= {origin[0] for origin in origins(store.address)[low:high + 1] if isinstance(origin, tuple)}
    sources: dict[Leaf, list[Leaf]] = {}
    waiting = direct[:]
    while waiting:
        leaf = waiting.pop()
        if leaf not in sources and leaf in nexts and leaf not in opcodes and leaf.name not in agents \
                and leaf.name not in transparent and (leaf.width > 1 or leaf in steps):
            sources[leaf] = value_leaves(nexts[leaf])
            waiting += sources[leaf]
    found = {leaf for leaf, own in sources.items()
             if leaf in steps or any(source.kind in ("field", "word") for source in own)
             or (leaf in direct and _names_values(nexts[leaf], leaf))}
    while more := {leaf for leaf, own in sources.items() if leaf not in found and not found.isdisjoint(own)}:
        found |= more
    return tuple(leaf for leaf in nexts if leaf in found)


def _names_values(next_: Node, self: Leaf) -> bool:
    """True when the next value can come from a constant or a count."""
    return any(type(node) in (Add, Sub) or (type(node) is Const and node.width == self.width)
               for node in taken_values(next_))


def taken_values(root: Node) -> list[Node]:
    """The nodes in value position: those whose values can become the term's."""
    found: dict[Node, None] = {}
    stack = [root]
    while stack:
        node = stack.pop()
        if node not in found:
            found[node] = None
            if type(node) is If:
                stack += node.args[1:]
            elif node.width == root.width:
                stack += node.args
    return list(found)


def _in_order(machine: Machine) -> dict[str, Node]:
    """Every store's address, each after those of the stores whose words it reads. A circle is cut anywhere: the words
    read in a circle stay unknown, which only ever makes more differences."""
    reads = {store.name: {machine.fields[leaf.name].store if leaf.kind == "field" else leaf.name
                          for leaf in leaves((store.address,)) if leaf.kind in ("field", "word")}
             for store in machine.stores.values()}
    order: dict[str, Node] = {}
    while len(order) < len(reads):
        ready = [name for name in reads if name not in order and reads[name] <= order.keys()]
        for name in ready or [next(name for name in reads if name not in order)]:
            order[name] = machine.stores[name].address
    return order
