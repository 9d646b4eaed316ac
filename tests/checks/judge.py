"""What the checks and rules mean, said once more in prose and windows over one given run: no monitors, no `Prior`.

A run is a list of `Facts`, one for each cycle. Every function answers: does the fault show in cycle `k` of the run?
The definitions are those of docs/checks.md, and each is written the long way round on purpose.
"""

from typing import NamedTuple

from ordain.machine.expression import Node, leaves
from ordain.machine.model import Bus, Driver, Machine, SteadyNeed, Strobe


class Facts(NamedTuple):
    """The value of every node that was asked for in one cycle."""

    values: dict[Node, int]

    def holds(self, node: Node) -> bool:
        return bool(self.values[node])


Run = list[Facts]


def nodes_of(machine: Machine) -> list[Node]:
    """Everything that the functions below look up."""
    terms = machine.terms
    nodes: list[Node] = [terms.const(1, 1), *(state.next for state in machine.states.values())]
    nodes += [terms.leaf("state", state.name, state.width) for state in machine.states.values()]
    nodes += [terms.leaf("field", field.name, field.width) for field in machine.fields.values()]
    nodes += [terms.leaf("word", store.name, store.bits) for store in machine.stores.values()]
    nodes += [load.when for register in machine.registers.values() for load in register.loads]
    nodes += [signal.value for signal in machine.signals.values()]
    for bus in machine.buses.values():
        nodes += [driver.when for driver in bus.drivers] + [sampler.when for sampler in bus.samplers]
        nodes += [driver.steady for driver in bus.drivers if driver.steady is not None]
    nodes += [strobe.active for strobe in machine.strobes]
    nodes += [keep.condition for keep in machine.keeps]
    nodes += [signal for exclusive in machine.exclusives for signal in exclusive.signals]
    return nodes


def driving(bus: Bus, facts: Facts) -> list[Driver]:
    return [driver for driver in bus.drivers if facts.holds(driver.when)]


def fights(bus: Bus, run: Run, k: int) -> bool:
    return bus.undriven not in ("wired-and", "wired-or") and len(driving(bus, run[k])) > 1


def loads(machine: Machine, name: str, facts: Facts) -> bool:
    return any(facts.holds(load.when) for load in machine.registers[name].loads)


# ---------------------------------------------------------------- levels


def without_level(machine: Machine, bus: Bus, run: Run, k: int) -> bool:
    """Nobody drives the bus in cycle k, and nothing holds it at a level that it once had; or who drives it has it from
    there."""
    if bus.undriven in ("wired-and", "wired-or"):
        return False
    if bus.undriven == "kept":
        return not any(brought(machine, bus, facts) for facts in run[:k + 1])
    return not brought(machine, bus, run[k]) and not (
        bus.undriven.startswith("pulled") and not driving(bus, run[k]))


def brought(machine: Machine, bus: Bus, facts: Facts) -> bool:
    """Somebody drives the bus, and not only with what stands there."""
    on = driving(bus, facts)
    followed = {driver.follows for driver in on} - {""}
    while True:
        more = {driver.follows for name in followed for driver in driving(machine.buses[name], facts)} - {""}
        if more <= followed:
            return bool(on) and (len(on) > 1 or bus.name not in followed)
        followed |= more


def is_taken(machine: Machine, bus: str, facts: Facts) -> bool:
    """Somebody takes what stands on the bus, there or on a bus that follows it. Which states would step elsewhere if a
    bus had another value stands among the facts, under the name "looked at bus NAME"."""
    carrying = {bus}
    while True:
        more = {other.name for other in machine.buses.values()
                if any(driver.follows in carrying for driver in driving(other, facts))}
        if more <= carrying:
            break
        carrying |= more
    leaves_of = {machine.terms.leaf("bus", name, machine.buses[name].width) for name in carrying}
    loaded = any(facts.holds(load.when) and load.source in leaves_of
                 for register in machine.registers.values() for load in register.loads)
    sampled = any(facts.holds(sampler.when) for name in carrying for sampler in machine.buses[name].samplers)
    moves = any(facts.values.get(machine.terms.leaf("free", f"looked at bus {name}", 1), 0) for name in carrying)
    return loaded or sampled or moves


# ---------------------------------------------------------------- steadiness


def at_rest(machine: Machine, bus: Bus, run: Run, k: int, seen: tuple[str, ...] = ()) -> bool:
    """Within cycle k the bus has one owner, or a level held without one, and nothing moves."""
    on = driving(bus, run[k])
    if bus.undriven in ("wired-and", "wired-or"):
        return all(quiet(machine, driver, run, k, (*seen, bus.name)) for driver in on)
    if not on:
        return bus.undriven in ("pulled-high", "pulled-low", "kept")
    return len(on) == 1 and quiet(machine, on[0], run, k, (*seen, bus.name))


def quiet(machine: Machine, driver: Driver, run: Run, k: int, seen: tuple[str, ...]) -> bool:
    """What the driver drives does not move within cycle k, for at least one of its reasons to be steady."""
    reasons = []
    if driver.name in machine.registers:
        reasons.append(not (machine.registers[driver.name].transparent and loads(machine, driver.name, run[k])))
    elif driver.name in machine.states or driver.name in machine.fields or driver.name in machine.stores:
        reasons.append(True)
    if driver.follows:
        reasons.append(driver.follows not in seen and at_rest(machine, machine.buses[driver.follows], run, k, seen))
    if driver.steady is not None:
        reasons.append(True)
    return any(reasons) if reasons else True


def stays(machine: Machine, driver: Driver, run: Run, k: int, seen: tuple[str, ...]) -> bool:
    """What the driver drives in cycle k - 1 and in cycle k is the same."""
    terms, before, now = machine.terms, run[k - 1], run[k]
    name = driver.name
    if name in machine.registers:
        if machine.registers[name].transparent:
            if not loads(machine, name, before) and not loads(machine, name, now):
                return True
        elif not loads(machine, name, before):
            return True
    if name in machine.states:
        leaf = terms.leaf("state", name, machine.states[name].width)
        if before.values[leaf] == now.values[leaf]:
            return True
    if name in machine.fields:
        leaf = terms.leaf("field", name, machine.fields[name].width)
        if before.values[leaf] == now.values[leaf]:
            return True
    if name in machine.stores:
        leaf = terms.leaf("word", name, machine.stores[name].bits)
        if before.values[leaf] == now.values[leaf]:
            return True
    if driver.follows and driver.follows not in seen and steady(machine, machine.buses[driver.follows], run, k, seen):
        return True
    return driver.steady is not None and before.holds(driver.steady) and now.holds(driver.steady)


def steady(machine: Machine, bus: Bus, run: Run, k: int, seen: tuple[str, ...] = ()) -> bool:
    """Nothing on the bus changes from cycle k - 1 to cycle k."""
    if k == 0 or not at_rest(machine, bus, run, k - 1, seen):
        return False
    seen = (*seen, bus.name)
    before, now = driving(bus, run[k - 1]), driving(bus, run[k])
    if bus.undriven in ("wired-and", "wired-or"):
        return (before == now and at_rest(machine, bus, run, k, seen[:-1])
                and all(stays(machine, driver, run, k, seen) for driver in now))
    if not before:
        return not now
    if not now:
        return bus.undriven == "kept" and stays(machine, before[0], run, k, seen)
    return before == now and at_rest(machine, bus, run, k, seen[:-1]) and stays(machine, now[0], run, k, seen)


def pulses(strobe: Strobe, run: Run) -> list[tuple[int, int]]:
    """First and last cycle of each pulse."""
    found: list[tuple[int, int]] = []
    for k, facts in enumerate(run):
        if facts.holds(strobe.active):
            if found and found[-1][1] == k - 1:
                found[-1] = (found[-1][0], k)
            else:
                found.append((k, k))
    return found


def missing_hold(machine: Machine, strobe: Strobe, need: SteadyNeed, run: Run, k: int) -> str:
    """"before", "during" or "after" when the fault shows in cycle k, else ""."""
    bus = machine.buses[need.bus]
    for first, last in pulses(strobe, run):
        if first <= k <= last:
            if not at_rest(machine, bus, run, k):
                return "during"
            if k > first and not steady(machine, bus, run, k):
                return "during"
        if k == first and need.before:
            edges = range(first - need.before + 1, first + 1)
            if not all(edge > 0 and steady(machine, bus, run, edge) for edge in edges):
                return "before"
    for _, last in pulses(strobe, run):
        begins_again = any(k == first for first, _ in pulses(strobe, run))
        judged_here = not run[k].holds(strobe.active) or (begins_again and not need.before)
        if last < k <= last + need.after and judged_here and not steady(machine, bus, run, k):
            return "after"
    return ""


# ---------------------------------------------------------------- hand-over, keeping, races, rules


def hand_over(bus: Bus, run: Run, k: int, overlaps_count: bool) -> bool:
    """A driver that was not there when the bus was last driven comes in cycle k, and one that was there has gone,
    with fewer undriven cycles between than are owed."""
    driven = [u for u in range(k) if driving(bus, run[u])]
    if not driven or k - driven[-1] - 1 >= bus.turnaround:
        return False
    before, now = driving(bus, run[driven[-1]]), driving(bus, run[k])
    if len(before) > 1 and not overlaps_count:
        return False
    return any(driver not in now for driver in before) and any(driver not in before for driver in now)


def changes(machine: Machine, name: str, facts: Facts) -> bool:
    """A register loads, a latch is open, a state is about to have another value."""
    if name in machine.registers:
        return loads(machine, name, facts)
    state = machine.states[name]
    return facts.values[state.next] != facts.values[machine.terms.leaf("state", name, state.width)]


def loads_twice(machine: Machine, name: str, facts: Facts) -> bool:
    """More than one source is asked for, or one and something that is not described."""
    asked = [load.source for load in machine.registers[name].loads if facts.holds(load.when)]
    return len(asked) > 1 and (None in asked or len(set(asked)) > 1)


def races(machine: Machine, latch: str, facts: Facts) -> bool:
    """In this cycle a way leads from the latch through buses and open latches back into it."""
    def feeds(name: str) -> set[str]:
        """What a bus, or an open latch, takes its value from."""
        if name in machine.buses:
            found = set()
            for driver in driving(machine.buses[name], facts):
                found |= {driver.name} if driver.name in machine.registers else set()
                found |= {driver.follows} if driver.follows else set()
            return found
        if not machine.registers[name].transparent:
            return set()
        sources = [load.source for load in machine.registers[name].loads
                   if facts.holds(load.when) and load.source is not None]
        return {leaf.name for leaf in leaves(sources) if leaf.kind in ("bus", "register")}

    reached: set[str] = set()
    waiting = list(feeds(latch))
    while waiting:
        name = waiting.pop()
        if name not in reached:
            reached.add(name)
            waiting += feeds(name) if name != latch else ()
    return latch in reached


def forbidden_between(start: Node, end: Node, after: Node, forbidden: Node, run: Run, k: int) -> bool:
    """Some earlier cycle t has `start`, none of t + 1 .. k has `end`, one of t .. k - 1 has `after`, k has
    `forbidden`."""
    return run[k].holds(forbidden) and any(
        run[t].holds(start) and not any(run[u].holds(end) for u in range(t + 1, k + 1))
        and any(run[s].holds(after) for s in range(t, k)) for t in range(k))
