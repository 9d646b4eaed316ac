"""A bus is sampled while it has no level: nobody drives it, or what drives it comes from the bus itself."""

from collections.abc import Iterator
from typing import Literal, NamedTuple

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.dependence import Taking, bus_leaf, comes_round, takings
from ordain.checks.wording import about, fault, spot
from ordain.control.model import Variable
from ordain.machine.expression import Node
from ordain.machine.model import Bus, Machine
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="floating",
    fault="a bus is sampled while it has no level of its own",
    about="""\
A line that nobody drives has no level: what is read is left-over charge, cross-talk, or the last value for as
long as it lasts, and it differs from chip to chip and from summer to winter. Sampled means: a `sampled by` line
holds, a register or latch loads from the bus, or the next value of a state depends on it in that cycle; and so
does the condition of a load or sampling, the enable of a driver or a strobe that hangs on the bus, directly,
through a bus that follows it or through a store that it addresses. Where both outcomes are the same, nothing
depends on it. A `multiplexed` bus is asked about too (no source may be selected), and a `kept` one until somebody
has driven it for the first time. Buses with pull resistors have a known level while nobody drives them.

Nor has a bus a level whose one driver has it from that bus: two transceivers, or both directions of one, that lead
into each other; nor one that decides itself who drives it. They hold what happened to stand there, or run as fast as
the gates allow.""",
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
        lacks = unknown(machine, bus)
        level = terms.or_((lacks.undriven, lacks.round, lacks.enabled))
        takers = takings(machine, {bus_leaf(machine, bus): level})
        if takers:
            yield Property(EXPLANATION.name, bus.name, "bad",
                           terms.and_((level, terms.or_(taker.when for taker in takers))), monitors=lacks.monitors,
                           per_word=owners.main_store(machine), data=About((bus.name,), bus.span))


class Unknown(NamedTuple):
    """When a bus has no level: `undriven`, as nobody drives it, and nothing holds it, or nothing has yet been there for
    a keeper to hold; `round`, as its driver has it from the bus itself; `enabled`, as what stands there decides who
    drives it. `monitors`: what has to be remembered."""

    undriven: Node
    round: Node
    enabled: Node
    monitors: tuple[Variable, ...]


def unknown(machine: Machine, bus: Bus) -> Unknown:
    terms = machine.terms
    never, undriven = terms.const(0, 1), owners.none_of(terms, owners.enables(bus))
    if bus.undriven in owners.SHARED:
        return Unknown(never, never, never, ())
    round_, enabled = comes_round(machine, bus)
    if bus.undriven in owners.LEVELLESS:
        return Unknown(undriven, round_, enabled, ())
    if bus.undriven != "kept":
        return Unknown(never, round_, enabled, ())
    name = f"{bus.name} was driven"
    driven = terms.leaf("state", name, 1)
    nobody = terms.or_((undriven, round_, enabled))
    monitor = Variable(name, driven, 2, 0, terms.or_((driven, terms.not_(nobody))), "monitor")
    undriven, round_, enabled = (terms.and_((each, terms.not_(driven))) for each in (undriven, round_, enabled))
    return Unknown(undriven, round_, enabled, (monitor,))


class _Taken(NamedTuple):
    """`reason`: as in `Unknown`."""

    taker: Taking
    reason: Literal["undriven", "round", "enabled"]


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """One question for each taker, and each of the three reasons."""
    machine = contents.machine
    bus = machine.buses[asked.subject]
    lacks = unknown(machine, bus)
    return tuple(asked._replace(node=machine.terms.and_((level, taker.when)),
                                data=About((asked.subject, taker.name), about(asked).span, _Taken(taker, reason)))
                 for level, reason in _reasons(lacks)
                 for taker in takings(machine, {bus_leaf(machine, bus): level}))


def _reasons(lacks: Unknown) -> Iterator[tuple[Node, Literal["undriven", "round", "enabled"]]]:
    yield lacks.undriven, "undriven"
    yield lacks.round, "round"
    yield lacks.enabled, "enabled"


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    taken = about(asked).detail
    taker = taken.taker if taken is not None else None
    bus = contents.machine.buses[asked.subject]
    at = spot(contents, found)
    who = taker.phrase if taker else "a sampler"
    places = (Place(taker.span, f"{who} takes what stands on `{bus.name}`"),) if taker else ()
    help_ = f"enable a driver of `{bus.name}` in this cycle, or do not sample it"
    if taken is not None and taken.reason == "round":
        message, label = "while its driver has it from this bus", "what drives it comes round from it"
        help_ = "switch one of the drivers off that lead into each other, and one on that has a value of its own"
    elif taken is not None and taken.reason == "enabled":
        message, label = "while it decides itself who drives it", "who drives it hangs on what stands there"
        help_ = "let a register or state take it first, and the enable depend on that"
    elif bus.undriven == "kept":
        message, label = "before anybody has driven it", "nobody has driven it since reset"
    elif bus.undriven == "multiplexed":
        message, label = "while no source is selected", "no source is selected"
    else:
        message, label = "while nobody drives it", "no driver is enabled"
    return fault(asked, f"bus `{bus.name}` is sampled by {who} {message} {at.phrase}".rstrip(), at,
                 f"{who} takes `{bus.name}` in this cycle, and {label}", found, places=places,
                 help=help_)


CHECK = Check(EXPLANATION, ask, tell, narrow)
