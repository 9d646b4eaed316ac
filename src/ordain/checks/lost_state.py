"""In a `keep` condition a kept register loads, a kept latch opens or a kept state changes."""

from collections.abc import Iterator

from ordain.checks import owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.wording import about, fault, names, spot
from ordain.machine.expression import Node
from ordain.machine.model import Keep, Machine
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="lost-state",
    fault="in a `keep` condition a kept register loads, a kept latch opens or a kept state changes",
    about="""\
While a guest owns the buses the program's registers must stay as they are, or the program goes on with values
that it never computed. `keep acc, pc while granted` says so. A register is lost in a cycle in which it loads
(it changes at the end of that cycle), a latch in a cycle in which it is open, a state in a cycle after which it
has another value.""",
    example="""\
keep acc, pc while granted

wait: grant, count pc, loop while requested   # pc runs on through the pause""",
    repair="""\
Take the load or count out of the microinstruction that the finding names, or narrow the condition of `keep`
when the change belongs to the guest's job.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One question for each `keep` line; its condition must occur at all."""
    machine = contents.machine
    terms = machine.terms
    for index, keep in enumerate(machine.keeps):
        lost = terms.or_((terms.const(0, 1), *(changes(machine, name) for name in keep.names)))
        yield Property(EXPLANATION.name, f"{', '.join(keep.names)} while {keep.text}", "bad",
                       terms.and_((keep.condition, lost)), vacuity=keep.condition, per_word=owners.main_store(machine),
                       data=About((), keep.span, (index, "")))


def changes(machine: Machine, name: str) -> Node:
    """The register loads, the latch is open, or the state steps to another value."""
    terms = machine.terms
    if name in machine.registers:
        return terms.or_((terms.const(0, 1), *(load.when for load in machine.registers[name].loads)))
    state = machine.states[name]
    return terms.not_(terms.equal(state.next, terms.leaf("state", name, state.width)))


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """One question for each kept name."""
    machine = contents.machine
    index, _ = about(asked).detail
    keep: Keep = machine.keeps[index]
    return tuple(
        asked._replace(node=machine.terms.and_((keep.condition, changes(machine, name))),
                       data=About((name,), keep.span, (index, name)))
        for name in keep.names)


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    machine = contents.machine
    asked = verdict.property
    index, name = about(asked).detail
    keep = machine.keeps[index]
    at = spot(contents, found)
    if name in machine.registers:
        doing = "is open" if machine.registers[name].transparent else "loads"
        declared = machine.registers[name].span
    elif name:
        doing, declared = "changes", machine.states[name].span
    else:
        name, doing, declared = ", ".join(keep.names), "changes", keep.span
    return fault(asked, f"{names([name])} is to be kept while {keep.text}, but {doing} {at.phrase}".rstrip(), at,
                 f"{names([name])} {doing} in this cycle", found,
                 places=(Place(keep.span, "kept here"), Place(declared, f"`{name}` is declared")),
                 help=f"leave `{name}` alone in this microinstruction")


CHECK = Check(EXPLANATION, ask, tell, narrow)
