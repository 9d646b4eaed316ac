"""A rule, strobe, sampling or agent's driver that can never occur."""

from collections.abc import Iterable, Iterator

from ordain.checks.check import About, Check, Explanation
from ordain.checks.phrasing import phrase
from ordain.checks.wording import about
from ordain.machine.expression import Node
from ordain.machine.model import AfterNever, BetweenNever, Never, Rule
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding, Severity
from ordain.text.source import Span

EXPLANATION = Explanation(
    name="vacuous",
    fault="a rule, strobe, sampling or agent's driver that can never occur",
    about="""\
A check of something that never happens holds, and says nothing. Where the trigger of a rule can never occur,
the rule is not kept but idle: usually a name is wrong, an agent is described so that it never gets its turn, or
a repair has silenced what the rule was there to watch. Looked at are: the trigger of `when`, the windows
of `between` and `after` (they must open, and some cycle must lie inside), each part of a `never A and B` by
itself, the condition of every `keep`, every strobe, every sampler, and the drivers of agents.""",
    example="""\
rule "the console waits for the grant"  when console.asks then granted within 40 cycles
                                              # vacuous if nothing ever makes the console ask""",
    repair="""\
Find out why the trigger cannot occur; `ordain prove --rule` with a `reach` rule on each part of it shows which
part is dead. Take the rule out only when the hardware it was about is gone.""",
)


def ask(contents: Contents) -> Iterator[Property]:
    """One `reach` for everything that other checks and rules take for granted to occur."""
    machine = contents.machine
    for strobe in machine.strobes:
        yield _occurs(f"strobe `{strobe.name}`", strobe.active, (strobe.name,), strobe.span)
    for bus in machine.buses.values():
        for sampler in bus.samplers:
            yield _occurs(f"sampling of `{bus.name}` by `{sampler.name}`", sampler.when, (sampler.name, bus.name),
                          sampler.span)
        for driver in bus.drivers:
            if driver.kind == "agent":
                yield _occurs(f"`{driver.name}` driving `{bus.name}`", driver.when, (driver.name, bus.name),
                              driver.span)


def ask_of_rule(contents: Contents, rule: Rule) -> Iterator[Property]:
    """What must be possible by itself if the rule is to say anything: each part of `never A and B` as it is written (of
    one part alone nothing can be said), and what opens the window of a rule that has one."""
    match rule.form:
        case Never(parts=parts):
            asked = [(part.text, part.condition) for part in parts]
        case BetweenNever(start=start) | AfterNever(start=start):
            asked = [(phrase(contents.machine, start), start)]
        case _:
            asked = []
    for text, node in asked:
        question = _occurs(rule.text, node, (), rule.span)
        yield question._replace(data=About((), rule.span, f"`{text}` never occurs"))


def _occurs(subject: str, node: Node, names: tuple[str, ...], span: Span) -> Property:
    return Property(EXPLANATION.name, subject, "reach", node, data=About(names, span), shown=False)


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    return Finding("vacuous", Severity.WARNING,
                   f"{asked.subject} can never occur, so what is proved of it says nothing", about(asked).span,
                   "never occurs in any sequence",
                   help="see why it cannot occur; when it is gone for good, take its declaration away")


def findings_of_idle(idle: Iterable[Property], dead: Iterable[Verdict]) -> list[Finding]:
    """One finding for each rule or `keep` that holds only because what it talks about never happens. `idle`: those that
    are vacuous as a whole; `dead`: parts of rules that can never occur."""
    asked = {(question.check, question.subject): question for question in idle}
    parts: dict[str, list[Verdict]] = {}
    for verdict in dead:
        parts.setdefault(verdict.property.subject, []).append(verdict)
    said = {subject: " and ".join(str(about(verdict.property).detail) for verdict in group)
            for subject, group in parts.items()}
    found = [_idle(question, said.pop(subject, _WHY.get(check, "what it waits for never occurs")))
             for (check, subject), question in asked.items()]
    return found + [_idle(parts[subject][0].property, what) for subject, what in said.items()]


_INSIDE = "its window opens, but no cycle ever lies inside it"
_WHY = {"between-never": _INSIDE, "after-never": _INSIDE, "lost-state": "its condition never occurs"}


def _idle(asked: Property, what: str) -> Finding:
    kind = "`keep`" if asked.check == "lost-state" else "the rule"
    return Finding("vacuous", Severity.ERROR,
                   f"{kind} \"{asked.subject}\" holds for want of anything to happen: {what}", about(asked).span,
                   "never put to the test",
                   help="correct it, or find out what keeps this from ever occurring")


CHECK = Check(EXPLANATION, ask, tell)
