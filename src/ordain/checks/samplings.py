"""Who takes a value from a bus, and when."""

from typing import NamedTuple

from ordain.checks.sensitivity import looks_at
from ordain.machine.expression import Node, leaves
from ordain.machine.model import Bus, Machine
from ordain.text.source import Span


class Sampling(NamedTuple):
    """`name` takes the bus in cycles with `when`. `declared`: a `sampled by` line says so; else it follows from what
    the register loads or from how the state steps."""

    name: str
    when: Node
    span: Span
    declared: bool


def samplings(machine: Machine, bus: Bus) -> tuple[Sampling, ...]:
    """Everything that takes a value from the bus: what `sampled by` says, registers and latches that load from it,
    and states whose next value depends on it. What has one name and several reasons is one sampling."""
    terms = machine.terms
    leaf = terms.leaf("bus", bus.name, bus.width)
    found: dict[str, Sampling] = {}

    def add(name: str, when: Node, span: Span, declared: bool) -> None:
        before = found.get(name)
        if before is not None:
            when, span, declared = terms.or_((before.when, when)), before.span, before.declared or declared
        found[name] = Sampling(name, when, span, declared)

    for sampler in bus.samplers:
        add(sampler.name, sampler.when, sampler.span, True)
    for register in machine.registers.values():
        for load in register.loads:
            if load.source is not None and leaf in leaves((load.source,)):
                taken = terms.and_((load.when, looks_at(terms, (load.source,), frozenset((leaf,)))))
                add(register.name, taken, register.span, False)
    for state in machine.states.values():
        if leaf in leaves((state.next,)):
            add(state.name, looks_at(terms, (state.next,), frozenset((leaf,))), state.span, False)
    return tuple(found.values())
