"""An open latch feeds itself: what it loads, or whether it loads, depends on what it shows."""

from collections.abc import Iterator

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation
from ordain.checks.dependence import depending, loads_look_at, register_leaf
from ordain.checks.wording import about, fault, spot
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding

EXPLANATION = Explanation(
    name="race",
    fault="a transparent latch is open while what it loads depends on it in the same cycle",
    about="""\
A latch passes its input on while it is open. If what it shows comes round to its own input or its own enable, the
loop runs as fast as the gates allow, and what the latch holds when it closes is chance. The ways round: it drives
the bus it loads from, or a bus that some driver follows; it chooses who drives that bus; it addresses a store
whose word does any of this; it goes through another latch that is open; it stands in the condition under which it
loads. An edge-triggered register may do all this: it samples once.""",
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
    """One question for each latch: open, and the value or the enable of its loads depends on what it shows."""
    machine = contents.machine
    terms = machine.terms
    for latch in machine.registers.values():
        if latch.transparent:
            own = {register_leaf(machine, latch): terms.const(1, 1)}
            loop = terms.and_((terms.or_((terms.const(0, 1), *(load.when for load in latch.loads))),
                               loads_look_at(machine, latch, depending(machine, own, acting=True))))
            yield Property(EXPLANATION.name, latch.name, "bad", loop, per_word=owners.main_store(machine),
                           data=About((latch.name,), latch.span))


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    at = spot(contents, found)
    return fault(asked, f"latch `{asked.subject}` is open and feeds itself {at.phrase}".rstrip(), at,
                 f"`{asked.subject}` comes round to its own input or enable in this cycle", found,
                 help=f"load `{asked.subject}` from something else here, or pass the value through a register "
                      f"({about(asked).span} declares the latch)")


CHECK = Check(EXPLANATION, ask, tell)
