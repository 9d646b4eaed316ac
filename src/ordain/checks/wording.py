"""How places and counts are said in findings."""

from typing import NamedTuple

from ordain.checks.check import About
from ordain.checks.owners import main_store
from ordain.control.model import Trace
from ordain.control.phases import cycles_in, whole_cycles
from ordain.control.registers import sums_taken
from ordain.machine.model import Machine
from ordain.prover.model import Break, Property
from ordain.rom.contents import Contents, Site, word_name
from ordain.text.findings import Finding, Place, Severity
from ordain.text.source import Span


class Spot(NamedTuple):
    """Where control is in the cycle that a finding is about. `phrase`: "at `hold.wait` (0x3F1)", or "" when there is
    no microprogram. `span`: the microinstruction's, None where nothing was placed. `sequence`: how many cycles the
    shortest one from reset has, "" where there is none."""

    phrase: str
    span: Span | None
    site: Site | None
    sequence: str = ""


def spot(contents: Contents, found: Break | None, cycles_back: int = 0, store: str = "") -> Spot:
    """Of the last cycle of a break, or of a cycle that many before it; in the store by which breaks of the question are
    told apart, where that is not the main one."""
    store = store or main_store(contents.machine)
    address: int | None = None
    if found is not None and found.trace is not None and len(found.trace.cycles) > cycles_back:
        address = found.trace.cycles[-1 - cycles_back].addresses.get(store)
    if address is None and found is not None and cycles_back == 0:
        address = found.address
    there = Spot("", None, None) if address is None else spot_at(contents, store, address)
    return there._replace(sequence=from_reset(contents.machine, found)) if found is not None and found.cycles else there


def spot_at(contents: Contents, store: str, address: int) -> Spot:
    """Of an address of a store."""
    site = contents.sites.get(store, {}).get(address)
    number = hexadecimal(address, contents.machine.stores[store].address_width)
    if site is None:
        return Spot(f"at {number}, where nothing was placed", None, None)
    return Spot(f"at `{word_name(contents, store, address)}` ({number})", site.span, site)


def hexadecimal(value: int, width: int) -> str:
    return f"0x{value:0{-(-width // 4)}X}"


def names(words: "tuple[str, ...] | list[str]") -> str:
    """`a`, `b` and `c`"""
    quoted = [f"`{word}`" for word in words]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " and " + quoted[-1]


def about(asked: Property) -> About:
    """What the check noted when it asked."""
    data = asked.data
    assert isinstance(data, About), f"question {asked.check}/{asked.subject} carries no About"
    return data


def from_reset(machine: Machine, found: Break) -> str:
    """How long the shortest sequence to a break is, in cycles."""
    count = whole_cycles(machine, found.cycles) if found.trace is None else cycles_in(machine, found.trace)
    return f"{count} cycle" if count == 1 else f"{count} cycles"


def fault(asked: Property, message: str, at: Spot, label: str, found: Break | None, *, places: tuple[Place, ...] = (),
          notes: tuple[str, ...] = (), help: str = "", severity: Severity = Severity.ERROR) -> Finding:
    """A finding at a microinstruction or, where control has none, at the declaration that the question is about."""
    trace: Trace | None = found.trace if found is not None else None
    declaration = about(asked).span
    span = at.span
    if span is None:
        span, places = declaration, tuple(place for place in places if place.span != declaration)
    if trace is not None and (sums := sums_taken(trace)):
        names = " and ".join(f"`{name}`" for name in sums)
        notes = (*notes, f"a sum that {names} loads is not followed: whether it comes to the value that is shown, a "
                         "proof does not know")
    if at.sequence and trace is None:
        notes = (*notes, f"shortest sequence from reset: {at.sequence}")
    return Finding(asked.check, severity, message, span, label, places, notes, help, trace)
