"""The first clock that no sequence explains: which lines cannot be as seen, and what would have been possible."""

from ordain.follow.model import ClockCycle, Followed, Possible, Seen, Why
from ordain.follow.states import States
from ordain.machine.expression import Node
from ordain.prover.symbolic.paths import one_of
from ordain.prover.symbolic.traces import Stage, TraceScript

SHOWN = 10
"""Clocks of the way to what was expected."""
MOST = 4
"""What would have been possible is told for so many addresses, those nearest to what was seen."""


def why(states: States, followed: Followed) -> Why:
    """Of what was followed to a clock that is broken."""
    broken = followed.broken
    if broken is None:
        raise ValueError("nothing is broken")
    base = states.cycles(broken.states, Seen(0, 0))
    lines = [line for line in range(len(states.lines)) if broken.seen.known >> line & 1]
    never = tuple(line for line in lines if not states.line_may(line, base)[broken.seen.word >> line & 1])
    together = never or _fewest(states, broken, lines)
    stores = [name for name, store in states.system.contents.machine.stores.items() if store.fill == "microprogram"]
    found = []
    for store in stores[:1]:
        for address in sorted(states.addresses(store, base)):
            there = base & states.at(store, address)
            differs = tuple(line for line in lines
                            if not states.line_may(line, there)[broken.seen.word >> line & 1])
            found.append((len(differs), address, differs))
    found.sort()
    possible = [_possible(states, followed, broken, stores[0], address, differs)
                for _, address, differs in found[:MOST]]
    return Why(never, together, tuple(possible), max(0, len(found) - MOST))


def _fewest(states: States, broken: ClockCycle, lines: list[int]) -> tuple[int, ...]:
    """Lines of which none can be left out without the rest being possible."""
    kept = list(lines)
    for line in lines:
        without = [other for other in kept if other != line]
        seen = broken.seen._replace(known=sum(1 << other for other in without))
        if not states.cycles(broken.states, seen).satisfiable():
            kept = without
    return tuple(kept)


def _held(states: States, cycles: int) -> list[tuple[Node, ...]]:
    """What is demanded of the cycles before the one that is seen: that the clock is held in them."""
    return [() if states.held is None else (states.held,)] * (cycles - 1)


def _possible(states: States, followed: Followed, broken: ClockCycle, store: str, address: int,
              differs: tuple[int, ...]) -> Possible:
    """The way of the last clocks to a state that presents an address, by plain evaluation."""
    goal = one_of(states.case, states.presenting(broken.states, store, address))
    path = states.waited(broken.states, goal)
    way = followed.history[-SHOWN:]
    going = () if states.held is None else (states.terms.not_(states.held),)
    demands: list[tuple[Node, ...]] = [
        *_held(states, len(path)), (*going, states.terms.equal(
            states.terms.leaf("address", store, states.system.addresses[store].width),
            states.terms.const(address, states.system.addresses[store].width)))]
    for clock in reversed(way):
        state = one_of(states.case, states.before(clock.states, clock.seen, path[0]))
        waited = states.waited(clock.states, state)
        path = [*waited, *path]
        demands = [*_held(states, len(waited)), states.demands(clock.seen), *demands]
    trace = Stage(states.case).play(TraceScript(path, demands, from_reset=False), {}, ())
    inputs: tuple[tuple[str, int], ...] = ()
    if len(trace.cycles) > 1:
        before = trace.cycles[-2]
        inputs = tuple((name, before.free[name]) for name in before.free
                       if name in before.matters and " " not in name)
    return Possible(trace.cycles[-1].addresses, differs, trace, inputs)
