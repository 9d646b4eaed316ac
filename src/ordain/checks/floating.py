"""A bus that floats is sampled while nobody drives it."""

from collections.abc import Iterator

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.samplings import samplings
from ordain.checks.wording import about, fault, spot
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="floating",
    fault="a bus that floats is sampled while nobody drives it",
    about="""\
A line that nobody drives has no level: what is read is left-over charge, cross-talk, or the last value for as
long as it lasts, and it differs from chip to chip and from summer to winter. Sampled means: a `sampled by` line
holds, a register or latch loads from the bus, or the next value of a state depends on it in that cycle. Buses
with pull resistors, bus keepers or a multiplexer in front always have a known level and are not asked about.""",
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
    """One question for each floating bus that somebody samples."""
    machine = contents.machine
    terms = machine.terms
    for bus in machine.buses.values():
        takers = samplings(machine, bus)
        if bus.undriven != "floats" or not takers:
            continue
        sampled = terms.or_((terms.const(0, 1), *(taker.when for taker in takers)))
        yield Property(EXPLANATION.name, bus.name, "bad",
                       terms.and_((owners.none_of(terms, owners.enables(bus)), sampled)),
                       per_word=owners.main_store(machine), data=About((bus.name,), bus.span))


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """One question for each sampler."""
    machine = contents.machine
    return tuple(
        asked._replace(node=machine.terms.and_((asked.node, taker.when)),
                       data=About((asked.subject, taker.name), about(asked).span, taker))
        for taker in samplings(machine, machine.buses[asked.subject]))


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    taker = about(asked).detail
    at = spot(contents, found)
    who = f"`{taker.name}`" if taker else "a sampler"
    places = (Place(taker.span, f"`{taker.name}` takes what stands on `{asked.subject}`"),) if taker else ()
    return fault(asked, f"bus `{asked.subject}` is sampled by {who} while nobody drives it {at.phrase}".rstrip(), at,
                 f"{who} takes `{asked.subject}` in this cycle, and no driver is enabled", found, places=places,
                 help=f"enable a driver of `{asked.subject}` in this cycle, or do not sample it")


CHECK = Check(EXPLANATION, ask, tell, narrow)
