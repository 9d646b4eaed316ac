"""Rules, assumptions, home and allowances."""

from collections.abc import Callable
from typing import TypeAlias

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import short
from ordain.machine.expression import Node
from ordain.machine.lowering import Lowering
from ordain.machine.names import unknown
from ordain.text.findings import Place, error

CHECKS = (
    "contention", "conflicting-enables", "floating", "turnaround", "missing-hold", "lost-state", "double-load", "race",
    "nowhere", "torn", "strays", "stuck", "unreachable", "inactive", "field-conflict", "undefined-code", "opcode-gap",
    "opcode-clash", "stale-allowance", "over-assumed", "vacuous",
    "shared-tail", "opcode-in-family", "unpolled", "unused-order", "unused-code", "unused-label", "room-left",
)
"""Every check that an `allow` can name, and every kind of advice."""

MOST_CYCLES = 1 << 20


Length: TypeAlias = Callable[[int, bool], int]
"""A number of cycles, or of phases, in steps."""


def rule_models(rules: list[tree.Rule], length: Length, lowering: Lowering) -> tuple[model.Rule, ...]:
    """All rules that are whole. Reports know a rule by its words, so no two may have the same."""
    first: dict[str, tree.Rule] = {}
    made = []
    for rule in rules:
        earlier = first.setdefault(rule.text.text, rule)
        if earlier is not rule:
            lowering.findings.append(error(
                "defined-twice", f"two rules are called \"{rule.text.text}\"", rule.text.span, "the second",
                places=(Place(earlier.text.span, "the first"),), help="give one of them other words"))
        made.append(rule_model(rule, length, lowering))
    return tuple(rule for rule in made if rule is not None)


def rule_model(rule: tree.Rule, length: Length, lowering: Lowering) -> model.Rule | None:
    """The rule; None when one of its conditions is broken."""
    form = _form(rule, length, lowering)
    if form is None:
        return None
    source = " ".join(rule.span.source.text[rule.text.span.end:rule.span.end].split())
    return model.Rule(rule.text.text, source, form, rule.span)


def _form(rule: tree.Rule, length: Length, lowering: Lowering) -> (
        "model.Never | model.Reach | model.WhenThen | model.BetweenNever | model.AfterNever | None"):
    condition, terms = lowering.condition, lowering.terms
    match rule.form:
        case tree.Never(condition=expr):
            node = condition(expr)
            return None if node is None else model.Never(node, _parts(expr, lowering))
        case tree.Reach(condition=expr, always=always):
            node = condition(expr)
            return None if node is None else model.Reach(node, always)
        case tree.WhenThen(trigger=trigger, response=response, cycles=cycles, unless=unless, in_phases=in_phases):
            first, then = condition(trigger), condition(response)
            never = terms.const(0, 1) if unless is None else condition(unless)
            if cycles > MOST_CYCLES:
                lowering.findings.append(error(
                    "bad-size", f"{cycles} cycles are too many to wait for: the limit is {MOST_CYCLES}", rule.span,
                    "out of range", help="correct the number"))
                return None
            if first is not None and then is not None and never is not None:
                return model.WhenThen(first, then, length(cycles, in_phases), never)
        case tree.BetweenNever(start=start, end=end, forbidden=forbidden, after=after):
            first, last, never = condition(start), condition(end), condition(forbidden)
            since = condition(after)  # constant 1 when nothing is written
            if first is not None and last is not None and never is not None and since is not None:
                return model.BetweenNever(first, last, never, since)
        case tree.AfterNever(start=start, forbidden=forbidden, until=until):
            first, never, last = condition(start), condition(forbidden), condition(until)
            if first is not None and never is not None and last is not None:
                return model.AfterNever(first, never, last)
    return None


def _parts(expr: tree.Expr, lowering: Lowering) -> tuple[model.Part, ...]:
    """What `and` joins on the outside of a condition that is known to be whole."""
    found: list[tree.Expr] = []
    pending = [expr]
    while pending:
        part = pending.pop()
        if isinstance(part, tree.Infix) and part.operator == "and":
            pending += [part.right, part.left]
        else:
            found.append(part)
    if len(found) == 1:
        return ()
    nodes = [lowering.condition(part) for part in found]
    return tuple(model.Part(short(part.span), node) for part, node in zip(found, nodes, strict=True)
                 if node is not None)


def assumption_model(assume: tree.Assume, agent: str, lowering: Lowering) -> model.Assumption | None:
    node = lowering.condition(assume.condition, agent)
    return None if node is None else model.Assumption(node, short(assume.condition.span), assume.span)


def home_node(homes: list[tree.Home], lowering: Lowering) -> Node | None:
    """A label (a name that nothing in the machine has), or a condition."""
    if len(homes) > 1:
        lowering.findings.append(error(
            "defined-twice", "a machine has one home", homes[1].span, "the second", places=(Place(homes[0].span,
                                                                                             "the first"),),
            help="join them with `or`, or leave one out"))
    if not homes:
        return None
    where = homes[0].where
    if isinstance(where, tree.Word) and lowering.scope.find(where.text) is None:
        where = tree.At(where, where.span)
    return lowering.condition(where)


def home_name(homes: list[tree.Home], lowering: Lowering) -> tree.Word | None:
    """The name alone behind `home` that something in the machine has: a label may be called so as well."""
    where = homes[0].where if homes else None
    return where if isinstance(where, tree.Word) and lowering.scope.find(where.text) is not None else None


def allowance_model(allow: tree.Allow, parts: set[str], lowering: Lowering) -> model.Allowance | None:
    """`parts`: names of drivers and samplers, which may be named beside everything declared."""
    if allow.at is not None:
        lowering.labels["at", allow.at.text, allow.at.span] = None
    known = True
    if allow.on is not None and lowering.scope.find(allow.on.text) is None and allow.on.text not in parts:
        lowering.findings.append(unknown(allow.on.text, [*lowering.scope.visible(), *parts], allow.on.span,
                                         "bus or part"))
        known = False
    if allow.check.text not in CHECKS:
        lowering.findings.append(unknown(allow.check.text, CHECKS, allow.check.span, "check"))
        known = False
    if not known:
        return None
    return model.Allowance(allow.check.text, allow.on.text if allow.on else "", allow.at.text if allow.at else "",
                           allow.reason.text, allow.span)
