"""From contents to the transition system, and from a property as written to one over the system's leaves.

Lowering replaces what is a manner of speaking: `at` and `in` become a comparison of the store's address, `Prior` a
variable that remembers, an open latch what it lets through, a register that control never reads something free.
A register is *tracked*, thus a variable, when anything but a load's source reads it; what it loads from an untracked
register is free.
"""

from ordain.control.model import Free, System, Variable
from ordain.machine.expression import Leaf, Node, Not, Prior, Terms, postorder, substitute
from ordain.machine.model import AfterNever, BetweenNever, Machine, Never, Reach, Register, Rule, WhenThen
from ordain.rom.contents import Contents


def build_system(contents: Contents) -> System:
    """The whole machine as a transition system. Raises KeyError for an `at` or `in` that names no word, ValueError for
    a store whose address depends on its own word; both are found by earlier stages, so they are faults of ours."""
    machine, terms = contents.machine, contents.machine.terms
    every = machine_nodes(machine)
    tracked = _tracked_registers(machine, every)
    nexts = [state.next for state in machine.states.values()]
    addresses = [store.address for store in machine.stores.values()]
    assumed = [assumption.condition for assumption in machine.assumptions]
    loads = [node for name in tracked for load in machine.registers[name].loads
             for node in (load.when, load.source) if node is not None]
    remembered = prior_leaves((*nexts, *addresses, *assumed, *loads), terms, "prior", {})
    lowering = {**_places(contents, every), **dict(remembered)}
    lowering.update(_registers(machine, tracked, lowering))
    variables = [Variable(state.name, terms.leaf("state", state.name, state.width),
                          len(state.codes) or 1 << state.width, state.reset, state.next, "state")
                 for state in machine.states.values()]
    variables += [_register_variable(machine, machine.registers[name], lowering) for name in tracked]
    variables += [prior_variable(prior, leaf) for prior, leaf in remembered]
    lowered = substitute(terms, (*(variable.next for variable in variables), *addresses, *assumed), lowering)
    variables = [variable._replace(next=node) for variable, node in zip(variables, lowered)]
    formed = dict(zip(machine.stores, lowered[len(variables):]))
    assumptions = lowered[len(variables) + len(formed):]
    everywhere = (*substitute(terms, tuple(every), lowering), *lowered)
    return System(contents, terms, tuple(variables), _free(machine, terms, everywhere), assumptions,
                  _in_order(formed, machine), lowering)


def machine_nodes(machine: Machine) -> list[Node]:
    """Every expression of the machine, but for what registers load and what conditions are when a program is run."""
    nodes = [state.next for state in machine.states.values()]
    nodes += [store.address for store in machine.stores.values()]
    nodes += [load.when for register in machine.registers.values() for load in register.loads]
    nodes += [signal.value for signal in machine.signals.values()]
    nodes += [assumption.condition for assumption in machine.assumptions]
    nodes += [machine.home] if machine.home is not None else []
    for bus in machine.buses.values():
        for driver in bus.drivers:
            nodes += [driver.when] if driver.steady is None else [driver.when, driver.steady]
        nodes += [sampler.when for sampler in bus.samplers]
    nodes += [strobe.active for strobe in machine.strobes]
    nodes += [keep.condition for keep in machine.keeps]
    nodes += [node for exclusive in machine.exclusives for node in exclusive.signals]
    for rule in machine.rules:
        nodes += rule_nodes(rule)
    return nodes


def rule_nodes(rule: Rule) -> list[Node]:
    """The conditions of a rule, in the order of its form."""
    match rule.form:
        case Never(condition, parts):
            return [condition, *(part.condition for part in parts)]
        case Reach(condition):
            return [condition]
        case WhenThen(trigger, response, _, unless):
            return [trigger, response, unless]
        case BetweenNever(start, end, forbidden, after):
            return [start, end, forbidden, after]
        case AfterNever(start, forbidden, until):
            return [start, forbidden, until]


def prior_leaves(roots: tuple[Node, ...], terms: Terms, title: str, known: dict[Node, Node]) -> list[tuple[Node, Node]]:
    """Each distinct `Prior` below the roots with the leaf that stands for it."""
    found = [node for node in postorder(roots) if type(node) is Prior and node not in known]
    return [(node, terms.leaf("state", f"{title} {number}", node.width)) for number, node in enumerate(found, 1)]


def prior_variable(prior: Node, leaf: Node) -> Variable:
    if type(leaf) is not Leaf:
        raise TypeError("a remembered value is a leaf")
    return Variable(leaf.name, leaf, 1 << leaf.width, 0, prior.args[0], "monitor")


def _tracked_registers(machine: Machine, every: list[Node]) -> list[str]:
    """The registers that some expression reads, in the order of the text. A load's `when` counts, its source not."""
    read = {node.name for node in postorder(every) if type(node) is Leaf and node.kind == "register"}
    return [name for name in machine.registers if name in read]


def _places(contents: Contents, every: list[Node]) -> dict[Node, Node]:
    """`at` and `in` leaves as comparisons of an address."""
    machine, terms = contents.machine, contents.machine.terms
    leaves: dict[Node, None] = {terms.leaf(kind, name, 1): None for kind, name, _ in machine.labels}
    leaves.update((node, None) for node in postorder(every) if type(node) is Leaf and node.kind in ("at", "in"))
    found: dict[Node, Node] = {}
    for leaf in leaves:
        if type(leaf) is Leaf:
            store, addresses = (contents.labels if leaf.kind == "at" else contents.routines)[leaf.name]
            address = terms.leaf("address", store, machine.stores[store].address_width)
            found[leaf] = terms.among(address, addresses)
    return found


def _registers(machine: Machine, tracked: list[str], lowering: dict[Node, Node]) -> dict[Node, Node]:
    """What reading a register means: its variable, something free, or what a latch lets through while it is open."""
    terms, values = machine.terms, {}
    latches = [machine.registers[name] for name in tracked if machine.registers[name].transparent]
    for register in machine.registers.values():
        leaf = terms.leaf("register", register.name, register.width)
        values[leaf] = leaf if register.name in tracked else terms.leaf("free", register.name, register.width)
    for latch in latches:
        leaf = terms.leaf("register", latch.name, latch.width)
        values[leaf] = terms.leaf("free", f"{latch.name} unsettled", latch.width)
    for latch in _inner_first(latches):
        leaf = terms.leaf("register", latch.name, latch.width)
        values[leaf] = _loaded(latch, leaf, {**lowering, **values}, terms)
    return values


def _inner_first(latches: list[Register]) -> list[Register]:
    """Latches ordered so that those which others read through come first, as far as there is such an order (a latch
    that reads itself is a race, which a check reports)."""
    waiting = {latch.name: latch for latch in latches}
    reads = {latch.name: {node.name for node in postorder(_load_nodes(latch))
                          if type(node) is Leaf and node.kind == "register" and node.name in waiting}
             for latch in latches}
    ordered: list[Register] = []
    while waiting:
        ready = [name for name in waiting if not (reads[name] & waiting.keys()) - {name}] or [next(iter(waiting))]
        ordered += [waiting.pop(name) for name in ready]
    return ordered


def _load_nodes(register: Register) -> list[Node]:
    return [node for load in register.loads for node in (load.when, load.source) if node is not None]


def _register_variable(machine: Machine, register: Register, lowering: dict[Node, Node]) -> Variable:
    """The variable of a tracked register, its next value already lowered. A latch keeps what it shows."""
    leaf = machine.terms.leaf("register", register.name, register.width)
    loaded = lowering[leaf] if register.transparent else _loaded(register, leaf, lowering, machine.terms)
    return Variable(register.name, leaf, 1 << register.width, register.reset, loaded, "register")


def _loaded(register: Register, leaf: Node, values: dict[Node, Node], terms: Terms) -> Node:
    """`leaf` after the loads of one cycle, lowered. Two different loads at once leave an unknown value."""
    width = register.width
    anything = terms.leaf("free", f"{register.name} loaded", width)
    unknown = terms.leaf("free", f"{register.name} loaded twice", width)
    loads = register.loads
    sources = substitute(terms, tuple(anything if load.source is None else load.source for load in loads), values)
    whens = substitute(terms, tuple(load.when for load in loads), values)
    result = leaf
    for source, when in zip(sources, whens):
        result = terms.if_(when, source, result)
    for index, (source, when) in enumerate(zip(sources, whens)):
        for other, at_once in zip(sources[:index], whens[:index]):
            if other is not source and not _opposite(when, at_once):
                result = terms.if_(terms.and_((when, at_once)), unknown, result)
    return result


def _opposite(a: Node, b: Node) -> bool:
    return (type(a) is Not and a.args[0] is b) or (type(b) is Not and b.args[0] is a)


def _free(machine: Machine, terms: Terms, roots: tuple[Node, ...]) -> tuple[Free, ...]:
    """Everything free: inputs and conditions in the order of the text, then what else occurs."""
    free = [Free(name, terms.leaf("input", name, given.width), len(given.codes) or 1 << given.width)
            for name, given in machine.inputs.items()]
    free += [Free(name, terms.leaf("condition", name, condition.width), 1 << condition.width)
             for name, condition in machine.conditions.items()]
    return with_free(tuple(free), roots)


def with_free(free: tuple[Free, ...], roots: tuple[Node, ...]) -> tuple[Free, ...]:
    """The same and whatever else free occurs below the roots, lowered ones."""
    declared = {entry.leaf for entry in free}
    more = [Free(node.name, node, 1 << node.width) for node in postorder(roots)
            if type(node) is Leaf and node.kind in ("input", "condition", "bus", "free") and node not in declared]
    return (*free, *more)


def _in_order(addresses: dict[str, Node], machine: Machine) -> dict[str, Node]:
    """The stores, each after those from whose words its address is formed."""
    needs = {name: {machine.fields[node.name].store if node.kind == "field" else node.name
                    for node in postorder((address,))
                    if type(node) is Leaf and node.kind in ("field", "word", "address")}
             for name, address in addresses.items()}
    ordered: dict[str, Node] = {}
    while len(ordered) < len(addresses):
        ready = [name for name in addresses if name not in ordered and needs[name] <= ordered.keys()]
        if not ready:
            raise ValueError("the address of a store depends on its own word")
        ordered.update((name, addresses[name]) for name in ready)
    return ordered
