"""A rule, strobe, sampling or agent's driver that can never occur."""

from collections.abc import Iterable, Iterator

from ordain.checks.check import About, Check, Explanation
from ordain.checks.phrasing import phrase
from ordain.checks.wording import about
from ordain.machine.expression import And, Node
from ordain.machine.model import Never, Rule
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
a repair has silenced what the rule was there to watch. Looked at are: the trigger of `when`, the start of
`between` and `after`, each part of a `never A and B` by itself, the condition of every `keep`, every strobe,
every sampler, and the drivers of agents.""",
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
    """Each part of `never A and B` must be possible by itself; of one part alone nothing can be said."""
    if isinstance(rule.form, Never) and isinstance(rule.form.condition, And):
        for part in rule.form.condition.args:
            asked = _occurs(rule.text, part, (), rule.span)
            yield asked._replace(data=About((), rule.span, f"`{phrase(contents.machine, part)}` never occurs"))


def _occurs(subject: str, node: Node, names: tuple[str, ...], span: Span) -> Property:
    return Property(EXPLANATION.name, subject, "reach", node, data=About(names, span), shown=False)


def tell(contents: Contents, verdict: Verdict, found: Break | None) -> Finding:
    asked = verdict.property
    return Finding("vacuous", Severity.WARNING,
                   f"{asked.subject} can never occur, so what is proved of it says nothing", about(asked).span,
                   "never occurs in any sequence",
                   help="see why it cannot occur; when it is gone for good, take its declaration away")


def rule_finding(asked: Property, what: str = "what it waits for never occurs") -> Finding:
    """A rule or `keep` that holds only because what it talks about never happens."""
    kind = "`keep`" if asked.check == "lost-state" else "the rule"
    return Finding("vacuous", Severity.ERROR,
                   f"{kind} \"{asked.subject}\" holds for want of anything to happen: {what}", about(asked).span,
                   "never put to the test",
                   help="correct it, or find out what keeps this from ever occurring")


def findings_of_parts(dead: Iterable[Verdict]) -> list[Finding]:
    """One finding for each rule of which parts can never occur."""
    parts: dict[str, list[Verdict]] = {}
    for verdict in dead:
        parts.setdefault(verdict.property.subject, []).append(verdict)
    return [rule_finding(group[0].property, " and ".join(str(about(verdict.property).detail) for verdict in group))
            for group in parts.values()]


CHECK = Check(EXPLANATION, ask, tell)
