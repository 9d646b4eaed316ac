"""From the machine and what its chips hold to the transition system.

Lowering replaces what is a manner of speaking: `at` and `in` become a comparison of the store's address, `Prior` a
variable that remembers, an open latch what it lets through, a bus what stands on it (`control.levels`), a register
that nothing follows (`control.registers`) something free.
"""

from collections.abc import Sequence
from graphlib import TopologicalSorter
from typing import TypeAlias

from ordain.control.levels import level, level_nodes, puts, undriven_level
from ordain.control.model import Free, System, Variable
from ordain.control.registers import after_loads, followed_registers
from ordain.control.standing import shown, stands_for
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Leaf, Node, Prior, Terms, postorder, substitute
from ordain.machine.model import AfterNever, BetweenNever, Bus, Machine, Never, Reach, Register, Rule, WhenThen
from ordain.rom.contents import Contents

WIDEST_KEPT = 16
"""Bits of a kept bus that are remembered, at most."""
Part: TypeAlias = tuple[str, str]
"""What takes its value within a cycle: ("latch", NAME), ("bus", NAME) or ("store", NAME)."""


def build_system(contents: Contents, seen: Sequence[Node] = ()) -> System:
    """The whole machine as a transition system. `seen`: expressions beside the machine's own, of which the buses, too,
    have the level at which they are held. Raises KeyError for an `at` or `in` that names no word, ValueError for stores
    whose addresses depend on their own words; both are found by earlier stages, so they are faults of ours."""
    machine, terms = contents.machine, contents.machine.terms
    every = machine_nodes(machine)
    followed = followed_registers(machine, every)
    loads = [node for register in followed.values() for node in _load_nodes(register)]
    nexts = [state.next for state in machine.states.values()]
    addresses = [store.address for store in machine.stores.values()]
    assumed = [assumption.condition for assumption in machine.assumptions]
    priors = prior_leaves((*nexts, *addresses, *assumed, *loads), terms, "prior", {})
    lowering, formed = _settled(contents, followed, {**_places(contents, [*every, *loads]), **dict(priors)},
                                [*every, *loads, *seen])
    variables = [Variable(state.name, terms.leaf("state", state.name, state.width),
                          len(state.codes) or 1 << state.width, state.reset, state.next, "state")
                 for state in machine.states.values()]
    variables += [_register_variable(register, lowering, terms) for register in followed.values()]
    variables += [prior_variable(prior, leaf, terms) for prior, leaf in priors]
    lowered = substitute(terms, (*(variable.next for variable in variables), *assumed), lowering)
    held = [_kept_level(bus, mask, lowering, terms) for bus, mask in _held_buses(machine, [*every, *loads, *seen])
            if bus.undriven == "kept" and _is_followed(mask)]
    variables = [variable._replace(next=node) for variable, node in zip(variables, lowered)] + held
    assumptions = lowered[len(variables) - len(held):]
    everywhere = (*substitute(terms, tuple(every), lowering), *lowered, *formed.values(),
                  *(variable.next for variable in held))
    return System(contents, terms, tuple(variables), _free(machine, terms, everywhere), assumptions, formed, lowering)


def kept_bits(machine: Machine) -> dict[str, list[int]]:
    """Which bits of a bus, lowest first, are in the variable that remembers its level, by the name of that."""
    every = machine_nodes(machine)
    loads = [node for register in followed_registers(machine, every).values() for node in _load_nodes(register)]
    return {f"{bus.name} kept": _bits(mask) for bus, mask in _held_buses(machine, [*every, *loads])}


def released(system: System) -> System:
    """The same machine with a clock that nothing holds; the system itself where nothing can."""
    clock = system.contents.machine.clock
    if clock is None or clock.held is None:
        return system
    return build_system(system.contents._replace(machine=system.contents.machine.released()))


def remembering(system: System, roots: tuple[Node, ...]) -> System:
    """The same system with variables for what some expressions say of cycles before."""
    terms = system.terms
    priors = prior_leaves(roots, terms, "prior beside", system.lowering)
    if not priors:
        return system
    lowering = {**system.lowering, **dict(priors)}
    added = [prior_variable(prior, leaf, terms) for prior, leaf in priors]
    nexts = substitute(terms, tuple(variable.next for variable in added), lowering)
    return system._replace(lowering=lowering, variables=(*system.variables, *(
        variable._replace(next=node) for variable, node in zip(added, nexts, strict=True))))


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
    nodes += [write.when for memory in machine.memories.values() for write in memory.writes]
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


def prior_variable(prior: Node, leaf: Node, terms: Terms) -> Variable:
    if type(leaf) is not Leaf:
        raise TypeError("a remembered value is a leaf")
    return Variable(leaf.name, leaf, 1 << leaf.width, 0, remembered(prior, leaf, terms), "monitor")


def remembered(prior: Node, before: Node, terms: Terms) -> Node:
    """What is remembered at the end of a step, `before` having been so until then."""
    return prior.args[0] if len(prior.args) == 1 else terms.if_(prior.args[1], prior.args[0], before)


def _places(contents: Contents, every: list[Node]) -> dict[Node, Node]:
    """`at` and `in` leaves as comparisons of an address."""
    machine, terms = contents.machine, contents.machine.terms
    leaves: dict[Node, None] = {terms.leaf(kind, name, 1): None for kind, name, _ in machine.labels}
    leaves.update((node, None) for node in postorder(every) if type(node) is Leaf and node.kind in ("at", "in"))
    found: dict[Node, Node] = {}
    for leaf in leaves:
        meant = stands_for(contents, leaf) if type(leaf) is Leaf else None
        if meant is not None:
            found[leaf] = meant
    return found


def _settled(contents: Contents, followed: dict[str, Register], lowering: dict[Node, Node],
             every: list[Node]) -> tuple[dict[Node, Node], dict[str, Node]]:
    """What reading a register or a bus means in a cycle, added to `lowering`, and the lowered address of every store,
    each after those from whose words it is formed.

    Latches, levels of buses and addresses depend on one another within the cycle. In a ring of them (a latch that
    loads what depends on it: a race, which a check reports) each latch sees the others of the ring, and itself, as
    unsettled: at any value while the cycle lasts."""
    machine, terms = contents.machine, contents.machine.terms
    values = dict(lowering)
    for register in machine.registers.values():
        leaf = terms.leaf("register", register.name, register.width)
        values[leaf] = leaf if register.name in followed else terms.leaf("free", register.name, register.width)
    latches = {register.name: register for register in followed.values() if register.transparent}
    held = _held_buses(machine, every)
    buses, masks = {bus.name: bus for bus, _ in held}, {bus.name: mask for bus, mask in held}
    for latch in latches.values():
        values[terms.leaf("register", latch.name, latch.width)] = \
            terms.leaf("free", f"{latch.name} unsettled", latch.width)
    formed: dict[str, Node] = {}
    for ring in _rings(_needs(machine, latches, buses, lowering)):
        for store in _in_order({name: machine.stores[name].address for kind, name in ring if kind == "store"}, machine):
            formed[store] = substitute(terms, (machine.stores[store].address,), values)[0]
        settled = {}
        for kind, name in ring:
            if kind == "latch":
                leaf = terms.leaf("register", name, latches[name].width)
                settled[leaf] = _shown(latches[name], values, terms)
            elif kind == "bus":
                settled[terms.leaf("bus", name, buses[name].width)] = \
                    _level(machine, buses[name], masks[name], values)
        values.update(settled)
    return values, {name: formed[name] for name in _in_order(formed, machine)}


def _needs(machine: Machine, latches: dict[str, Register], buses: dict[str, Bus],
           places: dict[Node, Node]) -> dict[Part, set[Part]]:
    """For each part the others that it reads within the cycle."""
    terms = machine.terms
    roots: dict[Part, tuple[Node, ...]] = {("store", name): (store.address,) for name, store in machine.stores.items()}
    roots.update((("latch", name), tuple(_load_nodes(latch))) for name, latch in latches.items())
    roots.update((("bus", name), level_nodes(machine, bus)) for name, bus in buses.items())
    found: dict[Part, set[Part]] = {}
    for part, nodes in roots.items():
        read: set[Part] = set()
        for leaf in postorder(substitute(terms, nodes, places)):
            if type(leaf) is not Leaf:
                continue
            if leaf.kind == "field":
                read.add(("store", machine.fields[leaf.name].store))
            elif leaf.kind in ("word", "address"):
                read.add(("store", leaf.name))
            elif leaf.kind == "register" and leaf.name in latches:
                read.add(("latch", leaf.name))
            elif leaf.kind == "bus" and leaf.name in buses:
                read.add(("bus", leaf.name))
        found[part] = read
    return found


def _rings(needs: dict[Part, set[Part]]) -> list[list[Part]]:
    """The strongly connected components, each after those that it reads; parts in the order given."""
    reach: dict[Part, set[Part]] = {part: set(read) for part, read in needs.items()}
    for middle in needs:
        for part in needs:
            if middle in reach[part]:
                reach[part] |= reach[middle]
    ring_of = {part: next(other for other in needs if other == part or (other in reach[part] and part in reach[other]))
               for part in needs}
    order = TopologicalSorter({first: {ring_of[read] for part in needs if ring_of[part] == first
                                       for read in needs[part]} - {first} for first in ring_of.values()})
    return [[part for part in needs if ring_of[part] == first] for first in order.static_order()]


def _load_nodes(register: Register) -> list[Node]:
    return [node for load in register.loads for node in (load.when, load.source) if node is not None]


def _shown(latch: Register, values: dict[Node, Node], terms: Terms) -> Node:
    """What a latch shows, lowered. Its variable is what it held until then."""
    held = terms.leaf("state", f"{latch.name} held", latch.width)
    leaf = terms.leaf("register", latch.name, latch.width)
    return substitute(terms, (shown(latch, terms),), {**values, held: leaf})[0]


def _register_variable(register: Register, lowering: dict[Node, Node], terms: Terms) -> Variable:
    """A latch keeps what it shows. `next` is still to be lowered."""
    leaf = terms.leaf("register", register.name, register.width)
    value = leaf if register.transparent else after_loads(register, leaf, terms)
    return Variable(register.name, leaf, 1 << register.width, register.reset, value, "register")


def _held_buses(machine: Machine, every: list[Node]) -> list[tuple[Bus, int]]:
    """The buses that are read in some expression and of which something is known, each with the mask of the bits that
    are read."""
    read = {leaf.name: mask for leaf, mask in bits_read(every).items() if type(leaf) is Leaf and leaf.kind == "bus"}
    return [(bus, read[bus.name]) for bus in machine.buses.values() if bus.name in read and (
        bus.undriven not in ("floats", "multiplexed") or any(value is not None for _, value in puts(machine, bus)))]


def _level(machine: Machine, bus: Bus, mask: int, values: dict[Node, Node]) -> Node:
    """What is read from a bus: what its drivers put there, else the level at which it is held."""
    terms = machine.terms
    anything = terms.leaf("bus", bus.name, bus.width)
    if bus.undriven == "kept" and not _is_followed(mask):
        rest: Node = anything
    elif bus.undriven == "kept":
        kept, numbers = _kept_leaf(bus, mask, terms), {bit: number for number, bit in enumerate(_bits(mask))}
        rest = terms.join(terms.slice(kept, numbers[bit], numbers[bit]) if bit in numbers else
                          terms.slice(anything, bit, bit) for bit in reversed(range(bus.width)))
    else:
        rest = undriven_level(bus, terms)
    return substitute(terms, (level(machine, bus, rest),), values)[0]


def _is_followed(mask: int) -> bool:
    """Whether the bits of a kept bus that are read are few enough to be remembered. Of others any level is taken."""
    return mask.bit_count() <= WIDEST_KEPT


def _bits(mask: int) -> list[int]:
    return [bit for bit in range(mask.bit_length()) if mask >> bit & 1]


def _kept_leaf(bus: Bus, mask: int, terms: Terms) -> Node:
    return terms.leaf("state", f"{bus.name} kept", mask.bit_count())


def _kept_level(bus: Bus, mask: int, lowering: dict[Node, Node], terms: Terms) -> Variable:
    """The level that a bus keeps, of the bits that are read, at the start any."""
    leaf, shown = _kept_leaf(bus, mask, terms), lowering[terms.leaf("bus", bus.name, bus.width)]
    return Variable(f"{bus.name} kept", leaf, 1 << leaf.width, None,
                    terms.join(terms.slice(shown, bit, bit) for bit in reversed(_bits(mask))), "bus")


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


def _in_order(addresses: dict[str, Node], machine: Machine) -> list[str]:
    """The stores, each after those from whose words its address is formed."""
    needs = {name: {machine.fields[node.name].store if node.kind == "field" else node.name
                    for node in postorder((address,))
                    if type(node) is Leaf and node.kind in ("field", "word", "address")} & addresses.keys()
             for name, address in addresses.items()}
    return list(TopologicalSorter(needs).static_order())
