"""A bus is sampled while it has no level."""

from collections.abc import Iterator

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.dependence import bus_leaf, takings
from ordain.checks.wording import about, fault, spot
from ordain.control.model import Variable
from ordain.machine.expression import Node
from ordain.machine.model import Bus, Machine
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="floating",
    fault="a bus that floats is sampled while nobody drives it",
    about="""\
A line that nobody drives has no level: what is read is left-over charge, cross-talk, or the last value for as
long as it lasts, and it differs from chip to chip and from summer to winter. Sampled means: a `sampled by` line
holds, a register or latch loads from the bus, or the next value of a state depends on it in that cycle; and so
does the condition of a load or sampling, the enable of a driver or a strobe that hangs on the bus, directly,
through a bus that follows it or through a store that it addresses. Where both outcomes are the same, nothing
depends on it. A `multiplexed` bus is asked about too (no source may be selected), and a `kept` one until somebody
has driven it for the first time. Buses with pull resistors always have a known level.""",
    example="""\
bus data 8 bits, floats
    driven by memory when read_enable
    sampled by ir    when load is ir

ir <- memory                                  # the order that sets read_enable was forgotten""",
    repair="""\
Enable the driver in the microinstruction that samples (often a forgotten `read`), or take the sampling away.
When the bus has pull resistors or a keeper, say so in its line: `pulled high`, `pulled low`, `kept`.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each bus without a level of its own that somebody takes."""
    machine = contents.machine
    terms = machine.terms
    for bus in machine.buses.values():
        level, monitors = unknown(machine, bus)
        takers = takings(machine, {bus_leaf(machine, bus): level})
        if takers:
            yield Property(EXPLANATION.name, bus.name, "bad",
                           terms.and_((level, terms.or_(taker.when for taker in takers))), monitors=monitors,
                           per_word=owners.main_store(machine), data=About((bus.name,), bus.span))


def unknown(machine: Machine, bus: Bus) -> tuple[Node, tuple[Variable, ...]]:
    """The condition that the bus has no level: nobody drives it, and nothing holds it, or nothing has yet been there
    for a keeper to hold; and what has to be remembered for that."""
    terms = machine.terms
    undriven = owners.none_of(terms, owners.enables(bus))
    if bus.undriven in owners.LEVELLESS:
        return undriven, ()
    if bus.undriven != "kept":
        return terms.const(0, 1), ()
    name = f"{bus.name} was driven"
    driven = terms.leaf("state", name, 1)
    monitor = Variable(name, driven, 2, 0, terms.or_((driven, terms.not_(undriven))), "monitor")
    return terms.and_((undriven, terms.not_(driven))), (monitor,)


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """One question for each taker."""
    machine = contents.machine
    bus = machine.buses[asked.subject]
    level, _ = unknown(machine, bus)
    return tuple(asked._replace(node=machine.terms.and_((level, taker.when)),
                                data=About((asked.subject, taker.name), about(asked).span, taker))
                 for taker in takings(machine, {bus_leaf(machine, bus): level}))


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    taker = about(asked).detail
    bus = contents.machine.buses[asked.subject]
    at = spot(contents, found)
    who = taker.phrase if taker else "a sampler"
    places = (Place(taker.span, f"{who} takes what stands on `{bus.name}`"),) if taker else ()
    if bus.undriven == "kept":
        message, label = "before anybody has driven it", "nobody has driven it since reset"
    elif bus.undriven == "multiplexed":
        message, label = "while no source is selected", "no source is selected"
    else:
        message, label = "while nobody drives it", "no driver is enabled"
    return fault(asked, f"bus `{bus.name}` is sampled by {who} {message} {at.phrase}".rstrip(), at,
                 f"{who} takes `{bus.name}` in this cycle, and {label}", found, places=places,
                 help=f"enable a driver of `{bus.name}` in this cycle, or do not sample it")


CHECK = Check(EXPLANATION, ask, tell, narrow)
