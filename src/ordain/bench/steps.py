"""From cycles to steps: what every lamp shows while a cycle lasts, as far as it is known.

A trace of control says where control goes and nothing of data. The data that follow from it are worked out beside it:
states and registers that control reads have the values of the trace, everything else what the machine file says
becomes of it, with unknown bits kept apart.
"""

from collections.abc import Iterable, Mapping, Sequence

from ordain.bench.model import BenchStep, Lit
from ordain.control.cycle import Running
from ordain.control.model import Cycle, System, Trace
from ordain.control.phases import Instant, instants
from ordain.control.sequencing import sequencing
from ordain.data.datapath import Datapath, Moment, kept_leaf
from ordain.data.partial import UNKNOWN, Ternary, exactly, whole
from ordain.machine.expression import Leaf, Node
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine, Store
from ordain.rom.contents import Contents

MOST_OPEN = 12
"""Bits of an address that may be open while it is still asked which words it may be."""
WIDEST_CHOICE = 4
"""Values of an input that a person chooses between; a wider one is a number that is set."""




def watched(machine: Machine) -> list[Node]:
    """What has to be known of a cycle for its step: the address of every microprogrammed store, then every lamp."""
    return [*(store.address for store in machine.stores.values() if store.fill == "microprogram"),
            *(lamp.lit for row in machine.lamps for lamp in row.lamps if lamp is not None)]


def step_of(contents: Contents, at: Instant, seen: Sequence[Ternary], inputs: Mapping[str, int],
            depends: tuple[str, ...] = (), needs: tuple[tuple[str, int, int], ...] = ()) -> BenchStep:
    """`seen`: what `watched` asks for, in its order."""
    machine, values = contents.machine, iter(seen)
    addresses: dict[str, int | None] = {}
    near: dict[str, int] = {}
    for store in machine.stores.values():
        if store.fill == "microprogram":
            address = next(values)
            addresses[store.name] = address.value if whole(address, store.address_width) else None
            if _is_one_word(contents, store, address):
                near[store.name] = address.value
    lamps: list[tuple[Lit, ...]] = [
        tuple(None if lamp is None else bits.value if (bits := next(values)).known else None for lamp in row.lamps)
        for row in machine.lamps]
    every = {name: inputs.get(name, 0) for name in machine.inputs}
    return BenchStep(at.cycle, phase_name(machine, at), addresses, near, tuple(lamps), every, depends, needs)


def phase_name(machine: Machine, at: Instant) -> str:
    return machine.clock.phases[at.phase] if machine.clock is not None and machine.clock.steps > 1 else ""


def steps_of(path: Datapath, system: System, trace: Trace, held: Mapping[Node, Ternary]) -> list[BenchStep]:
    """The steps of a trace. `held`: what is known of states and registers before its first cycle, by leaf of the data
    path. What the trace says beyond that is taken only where control would not be known without, and told."""
    machine, steps = path.machine, []
    running = Running(system)
    sequence = sequencing(machine, system.terms)
    guiding = list(dict.fromkeys([*sequence.pointers, *sequence.opcodes, *(
        leaf for pointer in sequence.pointers for leaf in value_leaves(sequence.nexts[pointer]))]))
    for number, (at, cycle) in enumerate(zip(instants(machine, trace), trace.cycles)):
        depends, needs = _deciding(system, running, cycle, guiding)
        moment = _moment(path, held, cycle, needs)
        follows = trace.cycles[number + 1] if number + 1 < len(trace.cycles) else None
        if not _is_known(path, moment.held, cycle, needs) or (
                follows is not None and not _is_known(path, _after(path, moment), follows, ())):
            chosen = {leaf: bits for leaf, bits in _said(path, cycle).items() if not whole(held[leaf], leaf.width)}
            for leaf in list(chosen):
                fewer = {**held, **chosen, leaf: held[leaf]}
                if _is_known(path, fewer, cycle, needs) and (follows is None or _is_known(
                        path, _after(path, _moment(path, fewer, cycle, needs)), follows, ())):
                    del chosen[leaf]
            held = {**held, **chosen}
            moment = _moment(path, held, cycle, needs)
            needs += tuple((leaf.name.removesuffix(" held"), bits.value, leaf.width) for leaf, bits in chosen.items()
                           if type(leaf) is Leaf)
        inputs = {name: cycle.free.get(name, 0) for name in machine.inputs}
        seen = [moment.value(node) for node in watched(machine)]
        steps.append(step_of(path.contents, at, seen, inputs, depends, needs))
        held = _after(path, moment)
    return steps


def begun(path: Datapath, cycle: Cycle, opcodes: Iterable[Leaf]) -> dict[Node, Ternary]:
    """What is known where a sequence begins with a cycle that is not the first after reset: states, and which
    instruction it is."""
    known = {leaf.name for leaf in opcodes} | path.machine.states.keys()
    found = unknown_at_first(path)
    found.update((leaf, bits) for leaf, bits in _said(path, cycle).items()
                 if type(leaf) is Leaf and leaf.name in known)
    return found


def _moment(path: Datapath, held: Mapping[Node, Ternary], cycle: Cycle,
            needs: tuple[tuple[str, int, int], ...]) -> Moment:
    """A cycle of a trace over what is known, with what the trace needs of lines and conditions."""
    machine = path.machine
    outside = {name: cycle.free.get(name, 0) for name in machine.inputs}
    outside.update((name, value) for name, value, _ in needs if name in machine.conditions)
    moment = Moment(path, held, {name: {} for name in machine.memories}, outside)
    for name, value, _ in needs:
        if name in machine.buses:
            width = machine.buses[name].width
            moment.known[path.terms.leaf("bus", name, width)] = exactly(value, width)
    return moment


def _is_known(path: Datapath, held: Mapping[Node, Ternary], cycle: Cycle,
              needs: tuple[tuple[str, int, int], ...]) -> bool:
    """Whether every word of the microprogram is known in a cycle, and so every address, unless all that it may be hold
    the same word."""
    moment = _moment(path, held, cycle, needs)
    return all(_is_one_word(path.contents, store, moment.value(store.address))
               for store in path.machine.stores.values() if store.fill == "microprogram")


def _is_one_word(contents: Contents, store: Store, address: Ternary) -> bool:
    """Whether all addresses that it may be hold the same word of the source."""
    open_ = (1 << store.address_width) - 1 & ~address.known
    if not open_:
        return True
    if open_.bit_count() > MOST_OPEN:
        return False
    sites, some, found = contents.sites.get(store.name, {}), open_, set[int]()
    while len(found) < 2:
        site = sites.get(address.value | some)
        found.add(-1 if site is None else site.word)
        if not some:
            return len(found) == 1 and -1 not in found
        some = some - 1 & open_
    return False


def _said(path: Datapath, cycle: Cycle) -> dict[Node, Ternary]:
    """What a cycle of a trace says of states and registers, by leaf of the data path."""
    machine, terms, found = path.machine, path.terms, dict[Node, Ternary]()
    for name, value in cycle.states.items():
        if name in machine.states:
            leaf = terms.leaf("state", name, machine.states[name].width)
        elif name in machine.registers:
            register = machine.registers[name]
            leaf = terms.leaf("state", f"{name} held", register.width) if register.transparent else \
                terms.leaf("register", name, register.width)
        else:
            continue
        found[leaf] = exactly(value, leaf.width)
    return found


def _after(path: Datapath, moment: Moment) -> dict[Node, Ternary]:
    """States and registers after a cycle."""
    after = {leaf: moment.value(node) for leaf, node in (*path.nexts.items(), *path.priors.items())}
    for latch, register in path.latches.items():
        after[path.terms.leaf("state", f"{register.name} held", register.width)] = moment.value(latch)
    for bus in path.machine.buses.values():
        if bus.undriven == "kept":
            after[kept_leaf(bus, path.terms)] = moment.value(path.terms.leaf("bus", bus.name, bus.width))
    return after


def unknown_at_first(path: Datapath) -> dict[Node, Ternary]:
    """Nothing is known of any state or register."""
    found: dict[Node, Ternary] = dict.fromkeys((*path.nexts, *path.priors), UNKNOWN)
    for register in path.latches.values():
        found[path.terms.leaf("state", f"{register.name} held", register.width)] = UNKNOWN
    found.update((kept_leaf(bus, path.terms), UNKNOWN) for bus in path.machine.buses.values()
                 if bus.undriven == "kept")
    return found


def _deciding(system: System, running: Running, cycle: Cycle,
              guiding: Sequence[Leaf]) -> tuple[tuple[str, ...], tuple[tuple[str, int, int], ...]]:
    """Of what is free in a cycle: the inputs that a person chooses, where another choice leads elsewhere; and what else
    has to be as it is for control to go where it goes. `guiding`: what holds
    addresses and opcodes, or becomes an address."""
    machine = system.contents.machine
    if any(variable.name not in cycle.states for variable in system.variables):    # left out where a trace goes round
        return tuple(name for name in cycle.free if name in cycle.matters and name in machine.inputs), ()
    states = {variable.leaf: cycle.states[variable.name] for variable in system.variables}
    free = {one.leaf: cycle.free[one.name] for one in system.free}
    following = running.next(running.values({**states, **free}))
    wanted = _guided(system, running, following, free, guiding)
    depends: list[str] = []
    needs: list[tuple[str, int, int]] = []
    for one in system.free:
        leaf, value = one.leaf, free[one.leaf]
        if type(leaf) is not Leaf or " " in one.name:
            continue
        others: Iterable[int] = (other for other in range(one.values) if other != value) \
            if one.values <= WIDEST_CHOICE else (value ^ 1 << bit for bit in range(leaf.width))
        if all(_guided(system, running, running.next(running.values({**states, **free, leaf: other})), free, guiding)
               == wanted for other in others):
            continue
        if one.name in machine.inputs and one.values <= WIDEST_CHOICE:
            depends.append(one.name)
        elif one.name not in machine.inputs:
            needs.append((one.name, value, leaf.width))
    return tuple(depends), tuple(needs)


def _guided(system: System, running: Running, following: dict[Node, int], free: dict[Node, int],
            guiding: Sequence[Leaf]) -> list[int]:
    """Where control is in the cycle after, and with which instruction."""
    values = running.values({**following, **free})
    return [*(values[system.terms.leaf("address", store, node.width)] for store, node in system.addresses.items()
              if system.contents.machine.stores[store].fill == "microprogram"),
            *(following[leaf] for leaf in guiding if leaf in following)]
