"""Two drivers of one bus enabled in one cycle."""

from collections.abc import Iterator
from itertools import combinations

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.wording import about, fault, spot
from ordain.machine.expression import Const
from ordain.machine.model import Bus, Driver
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="contention",
    fault="two drivers of one bus are enabled in one cycle",
    about="""\
Two outputs that drive a line to different levels fight: the level is neither one nor the other, what is sampled
is anybody's guess, and the current through both outputs heats them and can destroy them. On a bus declared
`multiplexed` two sources selected at once are a mistake of the description or of the select logic. Buses
declared `wired and` or `wired or` may have many drivers and are not asked about.""",
    example="""\
bus data 8 bits, floats
    driven by memory  when read_enable        # on all through the pause loop
    driven by console when console.pulse      # ... in which the console writes""",
    repair="""\
Take one driver off in the microinstruction that the finding names (an idle code in its field), or gate its
enable with the condition under which the other one owns the bus. Look at the `reach` rules afterwards: a gate
can also silence what the other one was there to do.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question a bus: do two drivers, whichever, ever overlap?"""
    machine = contents.machine
    for bus in machine.buses.values():
        if bus.undriven in owners.SHARED or len(bus.drivers) < 2:
            continue
        yield Property(EXPLANATION.name, bus.name, "bad", owners.several(machine.terms, owners.enables(bus)),
                       per_word=owners.main_store(machine), data=About((bus.name,), bus.span))


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """One question for each pair of drivers."""
    machine = contents.machine
    bus = machine.buses[asked.subject]
    return tuple(
        asked._replace(node=machine.terms.and_((a.when, b.when)),
                       data=About((bus.name, a.name, b.name), bus.span, (a, b)))
        for a, b in combinations(bus.drivers, 2))


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    bus = contents.machine.buses[asked.subject]
    first, second = about(asked).detail or _seen(bus, found)
    at = spot(contents, found)
    doing = "drive" if bus.undriven != "multiplexed" else "are selected for"
    return fault(
        asked, f"two drivers share bus `{bus.name}` {at.phrase}".rstrip() + f": `{first.name}` and `{second.name}`", at,
        f"`{first.name}` and `{second.name}` both {doing} `{bus.name}` in this cycle", found,
        places=(Place(first.span, f"`{first.name}` drives `{bus.name}`"),
                Place(second.span, f"`{second.name}` drives `{bus.name}`")),
        help=_pulled(bus, first, second) + f"take `{first.name}` or `{second.name}` off the bus here: an idle code in "
             "the microinstruction, or a gate on the enable")


def _pulled(bus: Bus, first: Driver, second: Driver) -> str:
    """What to say where both do no more than to pull the lines away from where a resistor holds them."""
    away = {"pulled-high": 0, "pulled-low": (1 << bus.width) - 1}.get(bus.undriven)
    if any(not isinstance(driver.value, Const) or driver.value.value != away for driver in (first, second)):
        return ""
    said, instead = ("pulled high", "wired and") if away == 0 else ("pulled low", "wired or")
    return f"if these are open outputs that may pull together, say `{instead}` in place of `{said}`; else "


def _seen(bus: Bus, found: Break | None) -> tuple[Driver, Driver]:
    """The first two drivers enabled in the last cycle."""
    on = found.trace.cycles[-1].drivers[bus.name] if found is not None and found.trace is not None else ()
    enabled = [driver for driver in bus.drivers if driver.name in on] or list(bus.drivers)
    return enabled[0], enabled[1]


CHECK = Check(EXPLANATION, ask, tell, narrow)
