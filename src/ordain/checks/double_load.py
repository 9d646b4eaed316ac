"""Two different loads of one register in one cycle."""

from collections.abc import Iterator
from itertools import combinations

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.phrasing import phrase
from ordain.checks.wording import about, fault, spot
from ordain.machine.expression import Node
from ordain.machine.model import Load, Machine, Register
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding

EXPLANATION = Explanation(
    name="double-load",
    fault="two different loads of one register hold in one cycle",
    about="""\
A register takes one value at a clock edge. Where the description gives it two in one cycle (a counter that is
told to load and to count), the part decides by a precedence that is written nowhere, or takes a mixture; the
proof goes on with any value. Two loads of the same source are one load and harmless. A `changes when` is a load
of something that is not described, so it differs from every other one. For a latch the same holds while it is
open.""",
    example="""\
register pc 16 bits
    loads address when load_pc
    loads pc + 1  when count_pc

jump: load pc, count pc                       # one word that asks for both""",
    repair="""\
Take one of the two out of the microinstruction, or make them codes of one field. Where the part itself gives one
of them precedence, write that down: `loads pc + 1 when count_pc and not load_pc`.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each register that has two loads which differ."""
    machine = contents.machine
    for register in machine.registers.values():
        pairs = _rivals(register)
        if pairs:
            yield Property(EXPLANATION.name, register.name, "bad",
                           machine.terms.or_(_both(machine, *pair) for pair in pairs),
                           per_word=owners.main_store(machine), data=About((register.name,), register.span))


def _rivals(register: Register) -> list[tuple[Load, Load]]:
    return [(a, b) for a, b in combinations(register.loads, 2) if a.source is None or a.source is not b.source]


def _both(machine: Machine, a: Load, b: Load) -> Node:
    return machine.terms.and_((a.when, b.when))


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """One question for each pair of loads."""
    return tuple(asked._replace(node=_both(contents.machine, *pair), data=about(asked)._replace(detail=pair))
                 for pair in _rivals(contents.machine.registers[asked.subject]))


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    machine = contents.machine
    pair: tuple[Load, Load] = about(asked).detail or _rivals(machine.registers[asked.subject])[0]
    first, second = (_said(machine, load) for load in pair)
    at = spot(contents, found)
    return fault(asked, f"`{asked.subject}` is loaded twice {at.phrase}".rstrip() + f": with {first} and with {second}",
                 at, f"`{asked.subject}` is to take two values in this cycle", found,
                 help=f"ask for one of the two here, or say in the loads of `{asked.subject}` which one the part "
                      "prefers: `when A and not B`")


def _said(machine: Machine, load: Load) -> str:
    return "something that is not described" if load.source is None else f"`{phrase(machine, load.source)}`"


CHECK = Check(EXPLANATION, ask, tell, narrow)
