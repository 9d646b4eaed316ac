"""The rules that a machine file states, one question each.

    never P                      no cycle has P
    reach P                      some cycle has P
    always reach P               from every reachable state a cycle with P can be reached
    when P then Q within N cycles [unless R]
                                 after each cycle with P, a cycle with Q or R comes at once or at most N cycles later
    between P and Q never R [after S]
                                 from a cycle with P until the next later cycle with Q: R does not hold in any cycle
                                 strictly between that comes later than a cycle with S (P's own cycle included;
                                 without `after`, every cycle strictly between)
    after P never Q until R      the same as: between P and R never Q

The forms are those in which the field says such things: absence, existence, response, and the scopes between and
after-until (Dwyer, Avrunin, Corbett, "Patterns in property specifications for finite-state verification", ICSE 1999,
from memory); `always reach` is AG EF of CTL (Clarke and Emerson 1981, from memory). Spelling and bounds in cycles are
ours.

A window opened again while it is open stays as it is; one that ends in a cycle with P opens anew. A window that
never ends is judged for ever.
"""

from collections.abc import Iterator

from ordain.checks import owners
from ordain.checks.check import About, Ask, Check, Explanation
from ordain.checks.wording import about, fault, spot
from ordain.control.model import Variable
from ordain.control.phases import length
from ordain.machine.expression import Node, Terms
from ordain.machine.model import AfterNever, BetweenNever, Machine, Never, Reach, Rule, WhenThen
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Place, error

NEVER = Explanation(
    name="never",
    fault="a cycle occurs that a `never` rule forbids",
    about="""\
`never P` holds when no cycle of any sequence has P.""",
    example="""\
rule "grant only after the drivers are off"   never granted and drive_address""",
    repair="""\
Follow the trace: its last cycle has P. Change the microinstruction or the agent that brings it about.""",
)
REACH = Explanation(
    name="reach",
    fault="what a `reach` rule asks for can never happen",
    about="""\
`reach P` holds when some sequence leads to a cycle with P, and a shortest one is shown. It guards what a repair
must not silence: a gate that stops a fight can also stop the write that the two were fighting over.""",
    example="""\
rule "the console can write to memory"        reach console.pulse and strobe""",
    repair="""\
Nothing can be shown where nothing leads; ask for the parts of P one by one to see which of them cannot occur,
or which never occur together.""",
)
ALWAYS_REACH = Explanation(
    name="always-reach",
    fault="from some reachable state, what an `always reach` rule asks for is out of reach",
    about="""\
`always reach P` holds when from every state that can be reached some sequence of inputs leads to P. The trace
leads to a state from which none does.""",
    example="""\
rule "the machine can always be stopped"      always reach granted""",
    repair="""\
Give the loop in which the trace ends a way out.""",
)
WHEN_THEN = Explanation(
    name="when-then",
    fault="a response comes too late or not at all",
    about="""\
`when P then Q within N cycles` holds when after every cycle with P a cycle with Q comes in that cycle or one of
the next N; with `unless R`, a cycle with R does as well. The exact worst case is given also when the rule
holds. When the wait can last for ever, the trace ends in the loop.""",
    example="""\
rule "the buses are given up in time"         when request_2 then granted within 40 cycles""",
    repair="""\
Shorten the longest way (the trace shows it), or state the longer time if the hardware allows it.""",
)
BETWEEN_NEVER = Explanation(
    name="between-never",
    fault="something forbidden happens inside a window",
    about="""\
`between P and Q never R` looks at the cycles after one with P and before the next with Q; with `after S` only
at those later than a cycle with S inside the window. A window that never ends is looked at for ever.""",
    example="""\
rule "a fault leaves nothing half done"       between at fetch and at fetch never memory_access after commit""",
    repair="""\
The last cycle of the trace has R. Move it out of the window, or end the window earlier.""",
)
AFTER_NEVER = Explanation(
    name="after-never",
    fault="something forbidden happens before it is released",
    about="""\
`after P never Q until R` looks at the cycles after one with P and before the next with R.""",
    example="""\
rule "no access before the buses settle"      after granted never memory_access until at fetch""",
    repair="""\
The last cycle of the trace has Q, and no cycle with R has come since P.""",
)


def name_of(rule: Rule) -> str:
    """The check that a rule is told under."""
    match rule.form:
        case Never():
            return NEVER.name
        case Reach(always=always):
            return ALWAYS_REACH.name if always else REACH.name
        case WhenThen():
            return WHEN_THEN.name
        case BetweenNever():
            return BETWEEN_NEVER.name
        case AfterNever():
            return AFTER_NEVER.name


def question(contents: Contents, index: int) -> Property:
    """The question that rule number `index` of the machine asks."""
    machine = contents.machine
    rule = machine.rules[index]
    terms, store = machine.terms, owners.main_store(machine)
    name, data = name_of(rule), About((), rule.span, index)
    match rule.form:
        case Never(condition=condition):
            return Property(name, rule.text, "bad", condition, per_word=store, data=data)
        case Reach(condition=condition, always=always):
            return Property(name, rule.text, "always" if always else "reach", condition, data=data)
        case WhenThen() as form if machine.clock is not None and machine.clock.held is not None:
            return _in_time(machine, rule, form, terms.not_(machine.clock.held), index)
        case WhenThen(trigger=trigger, response=response, cycles=within, unless=unless):
            return Property(name, rule.text, "within", response, trigger=trigger, cycles=within, unless=unless,
                            vacuity=trigger, data=data)
        case BetweenNever(start=start, end=end, forbidden=forbidden, after=after):
            judged, monitor = _window(terms, f"window of rule {index + 1}", start, end, after)
        case AfterNever(start=start, forbidden=forbidden, until=until):
            judged, monitor = _window(terms, f"window of rule {index + 1}", start, until, terms.const(1, 1))
    return Property(name, rule.text, "bad", terms.and_((judged, forbidden)), monitors=(monitor,), vacuity=judged,
                    per_word=store, data=data)


def _in_time(machine: Machine, rule: Rule, form: WhenThen, goes_on: Node, index: int) -> Property:
    """`when then` of a machine whose clock can be held: only the steps in which it goes on are counted, and it is late
    with one of these: while the clock stands the response may still come. The variable: 0 nothing is awaited, else one
    more than the steps counted since the oldest trigger without a response."""
    terms, name = machine.terms, f"wait of rule {index + 1}"
    width = (form.cycles + 1).bit_length()
    leaf, one = terms.leaf("state", name, width), terms.const(1, width)
    missing = terms.not_(terms.or_((form.response, form.unless)))
    idle = terms.among(leaf, frozenset((0,)))
    waits = terms.and_((missing, terms.or_((form.trigger, terms.not_(idle)))))
    begun = terms.if_(idle, one, leaf)
    late = terms.among(begun, frozenset((form.cycles + 1,)))
    counted = terms.if_(terms.and_((goes_on, terms.not_(late))), terms.add(begun, one), begun)
    monitor = Variable(name, leaf, form.cycles + 2, 0, terms.if_(waits, counted, terms.const(0, width)), "monitor")
    over = terms.and_((waits, goes_on, late))
    return Property(name_of(rule), rule.text, "bad", over, monitors=(monitor,), vacuity=form.trigger,
                    data=About((), rule.span, index))


def _window(terms: Terms, name: str, start: Node, end: Node, after: Node) -> tuple[Node, Variable]:
    """The condition that a cycle is judged, and the variable that remembers: 0 closed, 1 judged, 2 open but not
    yet."""
    width = 1 if after is terms.const(1, 1) else 2
    leaf = terms.leaf("state", name, width)
    goes_on = terms.not_(end)
    judged = terms.and_((terms.among(leaf, frozenset((1,))), goes_on))
    is_open = terms.or_((start, terms.and_((terms.not_(terms.among(leaf, frozenset((0,)))), goes_on))))
    arms = terms.or_((judged, terms.and_((is_open, after))))
    waiting = terms.const(0 if width == 1 else 2, width)
    following = terms.if_(arms, terms.const(1, width), terms.if_(is_open, waiting, terms.const(0, width)))
    return judged, Variable(name, leaf, width + 1, 0, following, "monitor")


def _asker(name: str) -> Ask:
    """All rules of one form."""
    def ask(contents: Contents) -> Iterator[Property]:
        for index, rule in enumerate(contents.machine.rules):
            if name_of(rule) == name:
                yield question(contents, index)
    return ask


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    """The finding of a broken rule."""
    asked = verdict.property
    rule = contents.machine.rules[about(asked).detail]
    at = spot(contents, found)
    said = f"the rule \"{rule.text}\" is broken"
    match rule.form:
        case Never():
            said, label = f"{said} {at.phrase}", "here holds what it forbids"
        case Reach(always=False):
            return error(asked.check, f"{said}: no sequence reaches what it asks for", rule.span, "never reached",
                         help="ask for its parts one by one to see which of them cannot occur")
        case Reach():
            said, label = f"{said}: there is no way from a state {at.phrase}", "from here it is out of reach"
        case WhenThen(cycles=within):
            late = "can take longer" if asked.kind == "bad" else "can fail to come at all" if verdict.worst is None \
                else f"can take {length(contents.machine, verdict.worst)}"
            said = f"{said}: the response {late} ({length(contents.machine, within)} allowed)"
            label = "the wait has lasted too long here"
        case BetweenNever():
            said, label = f"{said} {at.phrase}", "forbidden inside the window, which is open here"
        case AfterNever():
            said, label = f"{said} {at.phrase}", "forbidden until it is released, which has not happened yet"
    return fault(asked, said.rstrip(), at, label, found, places=(Place(rule.span, "the rule"),))


CHECKS = tuple(Check(text, _asker(text.name), tell)
               for text in (NEVER, REACH, ALWAYS_REACH, WHEN_THEN, BETWEEN_NEVER, AFTER_NEVER))
