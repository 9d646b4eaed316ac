"""Whether a bus stands still from one cycle to the next: `docs/checks.md`, "Steady", said a second time.

The edge into a cycle is judged in that cycle; what was before it is remembered. Nothing is known of what was before the
first cycle, so the edge into that is not steady.
"""

from collections.abc import Iterator
from typing import NamedTuple

from oxidd.bdd import BDDFunction

from ordain.audit.board import Board
from ordain.machine.expression import Leaf, Node, leaves
from ordain.machine.model import Bus, Driver, SteadyNeed, Strobe

_RESTING = ("pulled-high", "pulled-low", "kept")
_SHARED = ("wired-and", "wired-or")


class Still(NamedTuple):
    """`now`: nothing moves in this cycle. `across`: nor at the edge into it, and nothing moved in the cycle before."""

    now: BDDFunction
    across: BDDFunction


def needs(board: Board, strobe: Strobe, need: SteadyNeed) -> Iterator[tuple[str, BDDFunction]]:
    """The cycles in which a bus is not steady before, during or after a pulse."""
    active, bus = board.holds(strobe.active), still_bus(board, board.machine.buses[need.bus], frozenset())
    was_active = _before(board, f"active {strobe.name}", active)
    begins, name = active & ~was_active, f"{need.bus} for {strobe.name} {need.before} {need.after}"
    if need.before:
        edges = board.held(f"steady edges {name}", need.before.bit_length())
        more = board.one_more(edges, need.before)
        board.memory[f"steady edges {name}"] = [bit & bus.across for bit in more]
        enough = bus.across & board.among(more, (need.before,))
        yield "before", begins & bus.now & ~enough
    yield "during", active & (~bus.now | (was_active & ~bus.across))
    if need.after:
        since = board.held(f"since {name}", (need.after + 1).bit_length())
        following = [bit & ~active for bit in board.one_more(since, need.after + 1)]
        pulsed = board.held(f"pulsed {name}", 1)
        board.memory[f"since {name}"], board.memory[f"pulsed {name}"] = following, [pulsed[0] | active]
        owed = pulsed[0] & board.among(since, range(need.after))
        outside = ~active if need.before else ~active | (begins & bus.now)
        yield "after", owed & outside & ~bus.across


def still_bus(board: Board, bus: Bus, ring: frozenset[str]) -> Still:
    """`ring`: the buses on the way here; of buses that follow each other round, none is steady by that."""
    if bus.name in ring:
        return Still(board.false, board.false)
    on, mark = board.driven(bus), " ".join(sorted({*ring, bus.name}))
    each = [_still_driver(board, bus, driver, ring | {bus.name}) for driver in bus.drivers]
    nobody = ~board.any_of(on)
    if bus.undriven in _SHARED:
        now = ~board.any_of(driven & ~still.now for driven, still in zip(on, each))
        alone = on
    else:
        alone = [driven & ~board.any_of(on[:number] + on[number + 1:]) for number, driven in enumerate(on)]
        now = board.any_of(driven & still.now for driven, still in zip(alone, each))
        now |= nobody if bus.undriven in _RESTING else board.false
    rested = _before(board, f"rested {bus.name} {mark}", now)
    was = board.remember(f"on {bus.name}", on, board.true)
    same = ~board.any_of(before ^ driven for before, driven in zip(was, on))
    across = rested & now & same & ~board.any_of(driven & ~still.across for driven, still in zip(on, each))
    if bus.undriven == "kept":
        across |= rested & nobody & board.any_of(before & still.across for before, still in zip(was, each))
    return Still(now, across)


def _still_driver(board: Board, bus: Bus, driver: Driver, ring: frozenset[str]) -> Still:
    """One of its reasons is enough, over the whole edge; without any it is taken to change at every edge."""
    name = f"{bus.name} {driver.name}"
    reasons = [_still_thing(board, name, driver.name, ring) if driver.value is None
               else _still_value(board, name, driver.value, ring)]
    if driver.follows:
        reasons.append(still_bus(board, board.machine.buses[driver.follows], ring))
    if driver.steady is not None:
        promised = board.holds(driver.steady)
        reasons.append(Still(board.true, promised & _before(board, f"promise of {name}", promised)))
    known = [reason for reason in reasons if reason is not None]
    return Still(board.any_of(reason.now for reason in known) if known else board.true,
                 board.any_of(reason.across for reason in known))


def _still_thing(board: Board, name: str, thing: str, ring: frozenset[str]) -> Still | None:
    """What a driver of that name puts on a bus."""
    machine, terms = board.machine, board.machine.terms
    if thing in machine.registers:
        return _still_register(board, thing)
    if thing in machine.states:
        return _same(board, name, terms.leaf("state", thing, machine.states[thing].width))
    if thing in machine.fields:
        return _still_value(board, name, terms.leaf("field", thing, machine.fields[thing].width), ring)
    if thing in machine.stores:
        return _still_value(board, name, terms.leaf("word", thing, machine.stores[thing].bits), ring)
    if thing in machine.signals:
        return _still_value(board, name, machine.signals[thing].value, ring)
    if thing in machine.constants:
        return Still(board.true, board.true)
    return _still_memory(board, thing, ring) if thing in machine.memories else None


def _still_value(board: Board, name: str, value: Node, ring: frozenset[str]) -> Still | None:
    """Its value is the same where states, fields and addresses alone decide it; else all that is in it is still. With
    something in it that is free in every cycle, it always changes."""
    parts = leaves((value,))
    if any(leaf.kind in ("input", "condition") or (leaf.kind == "free" and leaf.name not in board.machine.memories)
           for leaf in parts):
        return None
    if not any(leaf.kind in ("register", "bus", "free") for leaf in parts):
        return _same(board, name, value)
    every = [_still_leaf(board, leaf, ring) for leaf in parts]
    return Still(~board.any_of(~one.now for one in every), ~board.any_of(~one.across for one in every))


def _still_leaf(board: Board, leaf: Leaf, ring: frozenset[str]) -> Still:
    if leaf.kind == "register":
        return _still_register(board, leaf.name)
    if leaf.kind == "bus":
        return still_bus(board, board.machine.buses[leaf.name], ring)
    if leaf.kind == "free":
        return _still_memory(board, leaf.name, ring) or Still(board.true, board.false)
    return _same(board, f"{leaf.kind} {leaf.name}", leaf)


def _still_memory(board: Board, name: str, ring: frozenset[str]) -> Still | None:
    """Its address is still, and nothing was written to it."""
    memory = board.machine.memories[name]
    address = _still_value(board, f"address of {name}", memory.address, ring)
    written = _before(board, f"written {name}", board.any_of(board.holds(write.when) for write in memory.writes))
    return None if address is None else Still(address.now, address.across & ~written)


def _still_register(board: Board, name: str) -> Still:
    """A register did not load; a latch is closed, and was."""
    register = board.machine.registers[name]
    loads = board.any_of(board.holds(load.when) for load in register.loads)
    loaded = _before(board, f"loads {name}", loads)
    return Still(~loads, ~loads & ~loaded) if register.transparent else Still(board.true, ~loaded)


def _same(board: Board, name: str, value: Node) -> Still:
    bits = board.bits(value)
    was = board.remember(f"value of {name}", bits, board.true)
    return Still(board.true, ~board.any_of(before ^ now for before, now in zip(was, bits)))


def _before(board: Board, name: str, condition: BDDFunction) -> BDDFunction:
    (was,) = board.remember(name, [condition], board.true)
    return was
