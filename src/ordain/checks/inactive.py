"""A driver, a load, a write or a state that nothing ever brings to act."""

from collections.abc import Iterable, Iterator

from ordain.checks.check import About, Explanation
from ordain.checks.phrasing import phrase
from ordain.checks.wording import about
from ordain.control.sequencing import sequencing
from ordain.machine.expression import Node
from ordain.machine.model import Allowance
from ordain.machine.redrawn import with_counters
from ordain.prover.model import Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, note
from ordain.text.source import Span

EXPLANATION = Explanation(
    name="inactive",
    fault="a driver, load, write or state that no sequence ever brings to act",
    about="""\
What never drives a bus fights with nobody, and what a register that never loads would have done wrong, nobody sees:
a proof about it holds and says nothing. The reason is often a condition that cannot be true in the phase, or under the
clock, in which the part moves; a code that no word sets; a level that was turned round. Looked at are the drivers of
every bus, the loads of every register and latch, the writes to every memory, and whether each state ever changes but
switches (a state whose `next` is its own name) and places of control (`unreachable` speaks of words).
Only where that takes no more than what is followed for the other questions anyway: of a counter that nothing reads it
is not asked.""",
    example="""\
register acc 8 bits
    loads data when take and shut             # no word that takes is obeyed while it is shut""",
    repair="""\
Find out why it never comes to that: with `--rule`, a `reach` rule on each part of its condition shows which is dead.
What is on the board and has no words yet is an allowance: `allow inactive on NAME "reason"`.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One `reach` for each of them."""
    machine, terms = contents.machine, contents.machine.terms
    for bus in machine.buses.values():
        for driver in bus.drivers:
            if driver.kind != "agent":              # `vacuous` asks about those
                yield _occurs(f"`{driver.name}` never drives `{bus.name}`", driver.when, (driver.name, bus.name),
                              driver.span)
    for register in machine.registers.values():
        by_source: dict[Node | None, list[Node]] = {}
        for load in register.loads:
            by_source.setdefault(load.source, []).append(load.when)
        for source, conditions in by_source.items():
            what = f"loads `{phrase(machine, source)}`" if source is not None and len(by_source) > 1 else \
                "changes" if source is None else "loads"
            yield _occurs(f"`{register.name}` never {what}", terms.or_(conditions), (register.name,), register.span)
    for memory in machine.memories.values():
        if memory.writes:
            yield _occurs(f"`{memory.name}` is never written", terms.or_(write.when for write in memory.writes),
                          (memory.name,), memory.span)
    counted = with_counters(machine, begins=False)
    places = sequencing(counted, terms).pointers        # what never comes of these is `unreachable`, if there is any
    for state in machine.states.values():
        held = terms.leaf("state", state.name, state.width)
        if state.next is not held and held not in places and state.name in counted.states:      # no switch
            yield _occurs(f"`{state.name}` never changes", terms.not_(terms.equal(state.next, held)), (state.name,),
                          state.span)


def _occurs(said: str, node: Node, names: tuple[str, ...], span: Span) -> Property:
    return Property(EXPLANATION.name, said, "reach", node, data=About(names, span), shown=False, aside=True)


def tell(contents: Contents, verdicts: Iterable[Verdict]) -> Iterator[Finding]:
    """A finding for each that never acts and that no allowance is about."""
    excused = {one.on for one in contents.machine.allowances if one.check == EXPLANATION.name}
    for verdict in verdicts:
        if verdict.outcome == "broken" and excused.isdisjoint(_names(verdict)):
            yield note(EXPLANATION.name, f"{verdict.property.subject}, whatever happens",
                       about(verdict.property).span, "what is proved of it says nothing",
                       help="see why it never does; if it has no words yet, allow it with a reason")


def needed(verdicts: Iterable[Verdict], allowance: Allowance) -> bool | None:
    """Whether something that an allowance is about never acts; None: it is not known of all."""
    found = [verdict.outcome for verdict in verdicts if allowance.on in _names(verdict)]
    return True if "broken" in found else None if "undecided" in found else False


def _names(verdict: Verdict) -> tuple[str, ...]:
    """What an allowance may say to mean it."""
    return ("", *about(verdict.property).names)
