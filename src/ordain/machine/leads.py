"""Of which leaves a value is made, and between what a term chooses; into which stores' addresses a field comes, at once
or by way of what holds it."""

from collections.abc import Iterator

from ordain.machine.driving import put
from ordain.machine.expression import Among, Equal, If, Leaf, Less, Node, Parity
from ordain.machine.model import Machine


def leads(machine: Machine) -> dict[str, tuple[str, ...]]:
    """By field the stores of whose address it becomes a part, in any cycle, in the order of the file. A field that
    becomes a part of none is not there."""
    found: dict[str, tuple[str, ...]] = {}
    for store in machine.stores.values():
        for name in _fields_in(machine, store.address):
            if store.name not in found.get(name, ()):
                found[name] = (*found.get(name, ()), store.name)
    return found


def value_leaves(root: Node) -> list[Leaf]:
    """The leaves whose values become (part of) the value of the term, not those that only decide between values."""
    found: dict[Leaf, None] = {}
    done: set[Node] = set()
    stack = [root]
    while stack:
        node = stack.pop()
        if node in done:
            continue
        done.add(node)
        match node:
            case Leaf():
                found[node] = None
            case Among() | Equal() | Less() | Parity():
                pass
            case If(args=args):
                stack += [args[2], args[1]]
            case _:
                stack += reversed(node.args)
    return list(found)


def choices(root: Node) -> list[Node]:
    """The alternatives of a choice, and of choices in it; a term that chooses nothing is its only one."""
    found: dict[Node, None] = {}
    stack = [root]
    while stack:
        node = stack.pop()
        if type(node) is If:
            stack += node.args[1:]
        else:
            found[node] = None
    return list(found)


def _fields_in(machine: Machine, address: Node) -> set[str]:
    fields: set[str] = set()
    seen: set[Leaf] = set()
    waiting = value_leaves(address)
    while waiting:
        leaf = waiting.pop()
        if leaf in seen:
            continue
        seen.add(leaf)
        if leaf.kind == "field":
            fields.add(leaf.name)
        elif leaf.kind == "word":
            fields.update(machine.stores[leaf.name].fields)
        else:
            for source in _sources(machine, leaf):
                waiting += value_leaves(source)
    return fields


def _sources(machine: Machine, leaf: Leaf) -> Iterator[Node]:
    """What a leaf may have got its value from."""
    match leaf.kind:
        case "state" if leaf.name in machine.states:
            yield machine.states[leaf.name].next
        case "register":
            yield from (load.source for load in machine.registers[leaf.name].loads if load.source is not None)
        case "condition" if (value := machine.conditions[leaf.name].value) is not None:
            yield value
        case "free" if leaf.name in machine.memories:
            yield from (write.source for write in machine.memories[leaf.name].writes)
        case "bus":
            for driver in machine.buses[leaf.name].drivers:
                own = put(machine, driver, leaf.width)
                if own is not None:
                    yield own
