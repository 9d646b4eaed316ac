"""Around a strobe, a bus that it needs steady changes its driver or its value."""

from collections.abc import Iterator
from typing import NamedTuple

from ordain.checks import allowances, contention, floating, owners
from ordain.checks.check import About, Check, Explanation, Known
from ordain.checks.steadiness import Steadiness, steadiness
from ordain.checks.wording import about, fault, spot
from ordain.control.model import Variable
from ordain.control.phases import length
from ordain.machine.expression import Node, Prior, Terms, postorder, substitute
from ordain.machine.model import SteadyNeed, Strobe
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place

EXPLANATION = Explanation(
    name="missing-hold",
    fault="around a strobe, a bus it needs steady changes its driver or its value too early or too late",
    about="""\
A write pulse stores what stands on its buses, so address and data must have settled before it begins, stay the
same as long as it lasts, and stay a little longer than it. `strobe NAME` lists what the strobe needs: `address
steady 1 cycle before, 1 cycle after`. Steady means: one driver, always the same, and what it drives does not
change. A register changes at the end of a cycle in which it loads; a latch during one; a state when its next
value differs; what `follows` a bus is steady when that bus is; everything else is taken to change in every
cycle unless its line says `steady while`. A pulse may last several cycles. What was before the first cycle
after reset is not known, so nothing counts as steady across it.""",
    example="""\
strobe write
    address steady 1 cycle before, 1 cycle after

mar <- sp                                     # mar changes at the end of this cycle ...
memory <- acc, write                          # ... and the write begins in the very next one
sp <- alu, mar <- pc                          # mar is driven on, but it will change only after this: fine""",
    repair="""\
Insert a hold microinstruction where the finding says: one that drives the same bus from the same driver and
strobes nothing. If an agent owns the bus, `steady while CONDITION` in its driver line says when it promises not
to move.""",
)


class _Detail(NamedTuple):
    """`part`: which side of the pulse. `strobe` and `need` are indexes into the machine's tables."""

    part: str
    strobe: int
    need: int


def ask(contents: Contents) -> Iterator[Property]:
    """For every bus that a strobe needs: before, during and after the pulse."""
    yield from _questions(contents, steadiness(contents.machine, {}))


def _questions(contents: Contents, known: dict[str, Steadiness]) -> Iterator[Property]:
    machine = contents.machine
    for strobe_index, strobe in enumerate(machine.strobes):
        for need_index, need in enumerate(strobe.needs):
            for part, node, monitors in _parts(machine.terms, strobe, need, known[need.bus]):
                yield Property(EXPLANATION.name, f"{need.bus} {part} {strobe.name}", "bad", node, monitors=monitors,
                               per_word=owners.main_store(machine),
                               data=About((need.bus, strobe.name), need.span, _Detail(part, strobe_index, need_index)))


def _parts(terms: Terms, strobe: Strobe, need: SteadyNeed,
           bus: Steadiness) -> Iterator[tuple[str, Node, tuple[Variable, ...]]]:
    """The three sides of a pulse; each fault belongs to one of them."""
    active, was_active = strobe.active, terms.prior(strobe.active)
    begins = terms.and_((active, terms.not_(was_active)))
    if need.before:
        held, monitors = _held(terms, strobe, need, bus)
        yield "before", terms.and_((begins, bus.settled, terms.not_(held))), monitors
    moved = terms.not_(_remembered_after(terms, bus.edge, active))
    yield "during", terms.and_((active, terms.or_((terms.not_(bus.settled), terms.and_((was_active, moved)))))), ()
    if need.after:
        owed, going_on, monitors = _owed(terms, strobe, need)
        outside = terms.not_(active)
        if not need.before:  # nothing else looks at the edge into the next pulse, when that comes while hold is owed
            outside = terms.or_((outside, terms.and_((begins, bus.settled))))
        moved = terms.not_(_remembered_after(terms, bus.edge, going_on))
        yield "after", terms.and_((owed, outside, moved)), monitors


def _remembered_after(terms: Terms, edge: Node, cycle: Node) -> Node:
    """The same edge where the cycle before it had `cycle`, which is where it is looked at; elsewhere nothing of the
    cycle before has to be remembered, which makes the search several times smaller."""
    priors = [node for node in postorder((edge,)) if isinstance(node, Prior) and len(node.args) == 1]
    gated: dict[Node, Node] = {node: terms.prior(terms.if_(cycle, node.args[0], terms.const(0, node.width)))
                               for node in priors}
    return substitute(terms, (edge,), gated)[0]


def _held(terms: Terms, strobe: Strobe, need: SteadyNeed, bus: Steadiness) -> tuple[Node, tuple[Variable, ...]]:
    """The last `before` edges, the one into this cycle included, were steady."""
    if need.before == 1:
        return bus.edge, ()
    width = (need.before - 1).bit_length()
    name = f"steady edges of {need.bus} before {strobe.name}"
    count = terms.leaf("state", name, width)
    full = terms.among(count, frozenset((need.before - 1,)))
    more = terms.if_(full, count, terms.add(count, terms.const(1, width)))
    monitor = Variable(name, count, need.before, 0, terms.if_(bus.edge, more, terms.const(0, width)), "monitor")
    return terms.and_((bus.edge, full)), (monitor,)


def _owed(terms: Terms, strobe: Strobe, need: SteadyNeed) -> tuple[Node, Node, tuple[Variable, ...]]:
    """The last active cycle lies no more than `after` cycles back (this cycle not counted); and, in a cycle, that the
    next one will be such a one."""
    if need.after == 1:
        return terms.prior(strobe.active), strobe.active, ()
    width = need.after.bit_length()
    name = f"hold of {need.bus} owed after {strobe.name}"
    count = terms.leaf("state", name, width)
    none = terms.among(count, frozenset((0,)))
    fewer = terms.if_(none, count, terms.sub(count, terms.const(1, width)))
    following = terms.if_(strobe.active, terms.const(need.after, width), fewer)
    going_on = terms.not_(terms.among(following, frozenset((0,))))
    return terms.not_(none), going_on, (Variable(name, count, need.after + 1, 0, following, "monitor"),)


def narrow(contents: Contents, asked: Property, known: Known) -> tuple[Property, ...]:
    """Where drivers fight or a bus is sampled undriven, ask again with those cycles excused: one cause, one
    finding."""
    told = _told_elsewhere(contents, known)
    if not told:
        return ()
    detail = about(asked).detail
    return tuple(question for question in _questions(contents, steadiness(contents.machine, told))
                 if about(question).detail == detail)


def _told_elsewhere(contents: Contents, known: Known) -> dict[str, Node]:
    """By bus, the cycles in which drivers fight or in which it is sampled without a level, unless that is allowed."""
    found: dict[str, list[Node]] = {}
    for check in (contention.CHECK, floating.CHECK):
        for question in check.ask(contents):
            if (question.check, question.subject) in known.broken and not question.monitors:
                judged = (plan.judged for plan in allowances.plan(contents, check, question))
                found.setdefault(question.subject, []).extend(part.node for part in judged if part is not None)
    return {bus: contents.machine.terms.or_(cycles) for bus, cycles in found.items()}


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    detail = about(asked).detail
    strobe = contents.machine.strobes[detail.strobe]
    need = strobe.needs[detail.need]
    at = spot(contents, found)
    previous = spot(contents, found, cycles_back=1)
    before, after = (length(contents.machine, steps) for steps in (need.before, need.after))
    match detail.part:
        case "before":
            message = (f"bus `{need.bus}` is not steady for {before} before strobe `{strobe.name}` "
                       f"{at.phrase}")
            label = f"`{strobe.name}` begins here, too soon after `{need.bus}` changed"
            way_out = f"insert a hold microinstruction that drives `{need.bus}` before this one"
        case "during":
            message = f"bus `{need.bus}` is not steady during strobe `{strobe.name}` {at.phrase}"
            label = f"`{strobe.name}` is active here, and `{need.bus}` is undriven or has changed"
            way_out = f"let one driver hold `{need.bus}` as long as `{strobe.name}` lasts"
        case _:
            message = (f"bus `{need.bus}` is not held for {after} after strobe `{strobe.name}`: it "
                       f"changes {at.phrase}")
            label = f"`{need.bus}` has changed here, too soon after `{strobe.name}`"
            way_out = f"insert a hold microinstruction that still drives `{need.bus}` between the strobe and this one"
    earlier = "cycle" if contents.machine.steps == 1 else "phase"
    notes = (f"the {earlier} before is {previous.phrase}",) if previous.phrase else ()
    return fault(asked, message.rstrip(), at, label, found, help=way_out, notes=notes,
                 places=(Place(need.span, f"`{strobe.name}` needs `{need.bus}` steady"),))


CHECK = Check(EXPLANATION, ask, tell, narrow)
