"""A transparent latch loads from a bus that depends on it in the same cycle."""

from collections.abc import Iterator

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation
from ordain.checks.wording import about, fault, spot
from ordain.machine.expression import Node, leaves
from ordain.machine.model import Machine, Register
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding

EXPLANATION = Explanation(
    name="race",
    fault="a transparent latch loads from a bus that depends on it in the same cycle",
    about="""\
A latch passes its input on while it is open. If what it drives comes round to its own input (it drives the bus
it loads from, or a bus that some driver follows, or another latch that is open), the loop runs as fast as the
gates allow, and what the latch holds when it closes is chance. An edge-triggered register may do this: it
samples once.""",
    example="""\
latch temp 8 bits, loads result when load is temp
bus operand 8 bits, floats
    driven by temp when source is temp
bus result 8 bits, floats
    driven by alu, follows operand

temp <- alu, source temp                      # temp -> operand -> alu -> result -> temp""",
    repair="""\
Take another source in this microinstruction, or send the value through a register in two steps. If the part is
edge triggered after all, declare it as a `register`.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each latch."""
    machine = contents.machine
    terms = machine.terms
    for latch in machine.registers.values():
        if not latch.transparent:
            continue
        reached = _depending(machine, latch)
        loop = terms.or_((terms.const(0, 1), *(terms.and_((load.when, _carries(machine, load.source, latch, reached)))
                                               for load in latch.loads if load.source is not None)))
        yield Property(EXPLANATION.name, latch.name, "bad", loop, per_word=owners.main_store(machine),
                       data=About((latch.name,), latch.span))


def _depending(machine: Machine, latch: Register) -> dict[str, Node]:
    """Per bus and per other latch, the condition under which it depends on `latch` in the cycle itself.

    Goes round until nothing changes; as a way that visits a bus or latch twice adds nothing, that is after as many
    rounds as there are buses and latches."""
    terms, never = machine.terms, machine.terms.const(0, 1)
    others = [other for other in machine.registers.values() if other.transparent and other is not latch]
    reached: dict[str, Node] = dict.fromkeys((*machine.buses, *(other.name for other in others)), never)
    for _ in reached:
        before = dict(reached)
        for bus in machine.buses.values():
            ways = [never]
            for driver in bus.drivers:
                value = machine.signals[driver.name].value if driver.name in machine.signals else None
                depends = terms.or_((_name_carries(machine, driver.name, latch, reached),
                                     _carries(machine, value, latch, reached),
                                     reached[driver.follows] if driver.follows else never))
                ways.append(terms.and_((driver.when, depends)))
            reached[bus.name] = terms.or_(ways)
        for other in others:
            reached[other.name] = terms.or_((never, *(
                terms.and_((load.when, _carries(machine, load.source, latch, reached))) for load in other.loads)))
        if reached == before:
            break
    return reached


def _name_carries(machine: Machine, name: str, latch: Register, reached: dict[str, Node]) -> Node:
    """A latch or register of that name passes `latch` on."""
    if name == latch.name:
        return machine.terms.const(1, 1)
    return reached[name] if name in machine.registers and name in reached else machine.terms.const(0, 1)


def _carries(machine: Machine, value: Node | None, latch: Register, reached: dict[str, Node]) -> Node:
    """The value of an expression depends on `latch` through a bus or a latch in it."""
    terms = machine.terms
    ways = [terms.const(0, 1)]
    for leaf in leaves((value,)) if value is not None else ():
        if leaf.kind == "register":
            ways.append(_name_carries(machine, leaf.name, latch, reached))
        elif leaf.kind == "bus":
            ways.append(reached[leaf.name])
    return terms.or_(ways)


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    at = spot(contents, found)
    return fault(asked, f"latch `{asked.subject}` loads a value that depends on itself {at.phrase}".rstrip(), at,
                 f"`{asked.subject}` is open in this cycle and feeds its own input", found,
                 help=f"load `{asked.subject}` from something else here, or pass the value through a register "
                      f"({about(asked).span} declares the latch)")


CHECK = Check(EXPLANATION, ask, tell)
