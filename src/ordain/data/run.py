"""Cycle after cycle: the machine run on its microprogram, memory, registers and all."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from ordain.control.standing import stands_for
from ordain.data.compiled import Compiled, Made
from ordain.data.datapath import Datapath, Fight, Moment, kept_leaf
from ordain.data.model import Memories
from ordain.data.partial import UNKNOWN, Ternary, exactly, merged, whole
from ordain.data.strides import Strides
from ordain.machine.expression import If, Leaf, Node
from ordain.machine.model import Memory


class Written(NamedTuple):
    """A word of a memory that a cycle wrote. `address` None: somewhere, and nothing is known of the memory any more."""

    memory: str
    address: int | None
    value: Ternary


class Ran(NamedTuple):
    """A step of a run, in the cycle of the clock with this number, from 1. `moment`: what stood where, for who asks.
    `seen`: the watched expressions. `broken`: what was watched and surely held. `held`: states and
    registers after it, by leaf. `known`: no bit that was read was unknown."""

    cycle: int
    moment: Moment
    seen: tuple[Ternary, ...]
    fights: tuple[Fight, ...]
    broken: tuple[str, ...]
    written: tuple[Written, ...]
    held: Mapping[Node, Ternary]
    known: bool


def power_up(path: Datapath) -> dict[Node, Ternary]:
    """States and registers after reset, by leaf; nothing is known of those that are not reset."""
    machine, terms = path.machine, path.terms
    found: dict[Node, Ternary] = {}
    for state in machine.states.values():
        found[terms.leaf("state", state.name, state.width)] = \
            UNKNOWN if state.reset is None else exactly(state.reset, state.width)
    for register in machine.registers.values():
        value = UNKNOWN if register.reset is None else exactly(register.reset, register.width)
        if register.transparent:
            found[terms.leaf("state", f"{register.name} held", register.width)] = value
        else:
            found[terms.leaf("register", register.name, register.width)] = value
    found.update((kept_leaf(bus, terms), UNKNOWN) for bus in machine.buses.values() if bus.undriven == "kept")
    return found | {leaf: exactly(value, leaf.width) for leaf, value in path.at_first.items()}


def run(path: Datapath, memories: Memories, outside: Callable[[int], Mapping[str, int]],
        watched: Sequence[Node] = (), *, plain: bool = False, strides: Strides | None = None) -> Iterator[Ran]:
    """One step after another, for as long as somebody asks. `memories` are written to as the run goes on.
    `outside(cycle)`: inputs and conditions by name, cycles of the clock from 1. `plain`: every step is worked out by
    need, without code made for it. `strides`: what may be gone over between two steps."""
    held: Mapping[Node, Ternary] = power_up(path)
    cycle = 1
    clock = path.machine.clock if path.machine.steps > 1 else None
    phase = None if clock is None else path.terms.leaf("state", clock.name, path.machine.states[clock.name].width)
    compiled = None if plain else Compiled(path, (*watched, *path.never.values()))
    while True:
        if strides is not None:
            held, cycle = strides.ahead(held, cycle, outside)
        given = outside(cycle)
        moment = Moment(path, held, memories, given)
        made = None if compiled is None else compiled.cycle(held, memories, given)
        ran = _worked_out(moment, cycle, watched) if made is None else _as_made(moment, cycle, made, watched)
        yield ran
        for written in ran.written:
            write(memories[written.memory], written)
            if strides is not None:
                strides.written(written.memory, written.address)
        before, held = held, ran.held
        cycle += phase is None or held[phase].value < before[phase].value


def _as_made(moment: Moment, cycle: int, made: Made, watched: Sequence[Node]) -> Ran:
    """The step as its code says."""
    path = moment.path
    seen = tuple(Ternary(value, (1 << node.width) - 1) for value, node in zip(made.seen, watched))
    broken = tuple(text for text, value in zip(path.never, made.seen[len(watched):]) if value)
    written = tuple(Written(name, address, word) for name, address, word in made.written
                    if address < path.machine.memories[name].words)
    return Ran(cycle, moment, seen, (), broken, written, {**moment.held, **dict(made.after)}, True)


def _worked_out(moment: Moment, cycle: int, watched: Sequence[Node]) -> Ran:
    """The step as what stands on every line says."""
    path = moment.path
    after = {leaf: moment.value(node) for leaf, node in (*path.nexts.items(), *path.priors.items())}
    for latch, register in path.latches.items():
        after[path.terms.leaf("state", f"{register.name} held", register.width)] = moment.value(latch)
    for bus in path.machine.buses.values():
        level = moment.value(path.terms.leaf("bus", bus.name, bus.width))
        if bus.undriven == "kept":
            after[kept_leaf(bus, path.terms)] = level
    written = tuple(found for memory in path.machine.memories.values()
                    if (found := _due(moment, memory)) is not None)
    broken = tuple(text for text, node in path.never.items() if moment.value(node) == Ternary(1, 1))
    seen = tuple(moment.value(node) for node in watched)
    return Ran(cycle, moment, seen, tuple(moment.fights.values()), broken, written, after, False)


def _due(moment: Moment, memory: Memory) -> Written | None:
    """What a cycle writes into a memory: what active writes may leave at the address, and what stood there if none of
    them is active for sure."""
    active = [(write, when) for write in memory.writes if (when := moment.value(write.when)) != Ternary(0, 1)]
    if not active:
        return None
    address = moment.value(memory.address)
    if not whole(address, memory.address.width):
        return Written(memory.name, None, UNKNOWN)
    left = [moment.value(write.source) for write, _ in active]
    if all(when != Ternary(1, 1) for _, when in active):
        left.append(moment.read(memory, address))
    value = left[0]
    for other in left[1:]:
        value = merged(value, other)
    return Written(memory.name, address.value, value) if address.value < memory.words else None


def write(cells: dict[int, Ternary], written: Written) -> None:
    """Into the cells of its memory."""
    if written.address is None:
        cells.clear()
    else:
        cells[written.address] = written.value


def unknown_sources(moment: Moment, node: Node) -> list[Leaf]:
    """Where the unknown bits of an expression come from in this cycle: what holds such bits or gives them."""
    found: dict[Leaf, None] = {}
    waiting, seen = [node], set[Node]()
    while waiting:
        here = waiting.pop()
        if here in seen or here not in moment.known or moment.known[here].known == (1 << here.width) - 1:
            continue
        seen.add(here)
        below = _below(moment, here) if type(here) is Leaf else _parts(moment, here)
        if type(here) is Leaf and (here in moment.held or not below):
            found.setdefault(here)
        else:
            waiting += reversed(below)
    return list(found)


def _parts(moment: Moment, node: Node) -> Sequence[Node]:
    """What of an expression had a part in its value in this cycle: of two branches the one that was taken."""
    if type(node) is If and (chosen := moment.known[node.args[0]]).known:
        return (node.args[2 - chosen.value],)
    return node.args


def _below(moment: Moment, leaf: Leaf) -> list[Node]:
    """What a leaf got its value from in this cycle."""
    path, machine = moment.path, moment.path.machine
    match leaf.kind:
        case "bus":
            bus = machine.buses[leaf.name]
            puts = [path.puts[bus.name, driver.name] for driver in bus.drivers
                    if moment.known.get(driver.when) != Ternary(0, 1)]
            return [node for node in puts if node is not None]
        case "word":
            return [machine.stores[leaf.name].address]
        case "free" if leaf.name in machine.memories:
            address = machine.memories[leaf.name].address
            return [] if whole(moment.value(address), address.width) else [address]
    meant = stands_for(path.contents, leaf)
    return [] if meant is None else [meant]
