"""A bus passes from one driver to another with fewer undriven cycles between than it owes."""

from collections.abc import Iterator
from itertools import permutations

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.wording import about, fault, spot
from ordain.control.model import Variable
from ordain.control.phases import length
from ordain.machine.expression import Node
from ordain.machine.model import Bus, Machine
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="turnaround",
    fault="a bus passes from one driver to another with fewer undriven cycles between than it owes",
    about="""\
Outputs take longer to let go than to take hold: where one driver follows another without a pause both drive for
some nanoseconds. `turnaround N` on a bus demands N undriven cycles between two different drivers, however long
the bus was idle before, and also where one master hands over straight to another. The same driver may come back
at once. A cycle in which several drivers overlap is `contention` and is not counted here as well: a hand-over
is judged when the earlier driver has gone and the later one was not there before.""",
    example="""\
bus data 8 bits, floats, turnaround 1
    driven by memory  when read_enable
    driven by console when console.owns

read, grant                                   # memory drives
idle, grant                                   # ... and in the very next cycle the console does""",
    repair="""\
Put a microinstruction that drives nothing between the two, or let the agent wait a cycle after the grant before
it takes the bus. Where the parts are known to be fast enough, take the `turnaround` away and say why in a
comment.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each bus with a turnaround: does a new driver come too early after another one?"""
    machine = contents.machine
    for bus in machine.buses.values():
        if bus.turnaround and len(bus.drivers) > 1:
            before, monitors = _history(machine, bus)
            yield Property(EXPLANATION.name, bus.name, "bad", _handed_over(machine, bus, before), monitors=monitors,
                           per_word=owners.main_store(machine), data=About((bus.name,), bus.span))


def _history(machine: Machine, bus: Bus) -> tuple[tuple[Node, ...], tuple[Variable, ...]]:
    """For each driver: it was on the bus when that was last driven, fewer than `turnaround` undriven cycles ago.

    One number (0 nobody, else the driver, alone) is enough where overlaps cannot happen or are reported; where
    overlaps are allowed, one bit a driver. It goes back to 0 as soon as enough undriven cycles have passed.
    """
    terms = machine.terms
    on = owners.enables(bus)
    last_name, gap_name = f"last driver of {bus.name}", f"undriven cycles of {bus.name}"
    if owners.fights_allowed(machine, bus) or bus.undriven in owners.SHARED:
        width, values = len(on), 1 << len(on)
        now = terms.join(reversed(on))
        last = terms.leaf("state", last_name, width)
        before = tuple(terms.slice(last, index, index) for index in range(width))
    else:
        width, values = len(on).bit_length(), len(on) + 1
        now = owners.code_of(terms, owners.alone(terms, bus), width)
        last = terms.leaf("state", last_name, width)
        before = tuple(terms.among(last, frozenset((index + 1,))) for index in range(len(on)))
    nobody, zero = owners.none_of(terms, on), terms.const(0, width)
    if bus.turnaround == 1:
        return before, (Variable(last_name, last, values, 0, now, "monitor"),)
    most = bus.turnaround - 1
    gap_width = most.bit_length()
    gap = terms.leaf("state", gap_name, gap_width)
    over = terms.among(gap, frozenset((most,)))
    idle = terms.or_((terms.among(last, frozenset((0,))), over))
    next_last = terms.if_(nobody, terms.if_(over, zero, last), now)
    next_gap = terms.if_(terms.and_((nobody, terms.not_(idle))), terms.add(gap, terms.const(1, gap_width)),
                         terms.const(0, gap_width))
    return before, (Variable(last_name, last, values, 0, next_last, "monitor"),
                    Variable(gap_name, gap, bus.turnaround, 0, next_gap, "monitor"))


def _handed_over(machine: Machine, bus: Bus, before: tuple[Node, ...]) -> Node:
    terms = machine.terms
    gone, come = [terms.const(0, 1)], [terms.const(0, 1)]
    for driver, was in zip(bus.drivers, before, strict=True):
        gone.append(terms.and_((was, terms.not_(driver.when))))
        come.append(terms.and_((driver.when, terms.not_(was))))
    return terms.and_((terms.or_(gone), terms.or_(come)))


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """One question for each ordered pair of drivers."""
    machine = contents.machine
    bus = machine.buses[asked.subject]
    before, _ = _history(machine, bus)
    terms = machine.terms
    questions = []
    for (old, was_old), (new, was_new) in permutations(zip(bus.drivers, before, strict=True), 2):
        passed = terms.and_((was_old, terms.not_(old.when), new.when, terms.not_(was_new)))
        questions.append(asked._replace(node=passed, data=About((bus.name, old.name, new.name), bus.span, (old, new))))
    return tuple(questions)


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    machine = contents.machine
    bus = machine.buses[asked.subject]
    pair = about(asked).detail
    at = spot(contents, found)
    idle = _undriven(bus, found)
    owed = f"{length(machine, idle)} undriven, {length(machine, bus.turnaround)} owed" if idle is not None else \
        f"{length(machine, bus.turnaround)} undriven owed"
    if pair is None:
        return fault(asked, f"bus `{bus.name}` changes driver too quickly {at.phrase}".rstrip() + f" ({owed})", at,
                     f"a new driver of `{bus.name}` is enabled here", found)
    old, new = pair
    return fault(
        asked, f"bus `{bus.name}` passes too quickly from `{old.name}` to `{new.name}` {at.phrase}".rstrip()
        + f" ({owed})", at, f"`{new.name}` drives `{bus.name}` here", found,
        places=(Place(old.span, f"`{old.name}` drove `{bus.name}` before"),
                Place(new.span, f"`{new.name}` drives `{bus.name}` now")),
        help=f"leave `{bus.name}` undriven for {length(machine, bus.turnaround)} before `{new.name}` takes it")


def _undriven(bus: Bus, found: Break | None) -> int | None:
    """How many undriven cycles lie just before the last one; None without a trace."""
    if found is None or found.trace is None:
        return None
    count = 0
    for cycle in reversed(found.trace.cycles[:-1]):
        if cycle.drivers[bus.name]:
            break
        count += 1
    return count


CHECK = Check(EXPLANATION, ask, tell, narrow)
