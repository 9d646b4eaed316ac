"""All checks and rules over one machine's contents: what is asked, in which order, and what becomes of the answers.

1. The static pass over the control store, before any search (`static`).
2. One coarse question for each bus, strobe, rule ... to the prover, together with one for each allowance.
3. Where something is broken: the finer questions, so that each cause gets a finding of its own.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ordain.checks import allowances, inactive, inspection, over_assumed, vacuous
from ordain.checks.allowances import Plan
from ordain.checks.catalogue import CHECKS, RULES
from ordain.checks.check import Applied, Check, Decide, Known, Report
from ordain.checks.columns import Columns
from ordain.checks.rows import Answer, rows
from ordain.checks.static import Certain, certain, static_findings, tell_word, unsearched
from ordain.checks.wording import hexadecimal
from ordain.prover.model import Break, Property, Verdict, Verdicts
from ordain.rom.contents import Contents
from ordain.text.findings import Finding


class Selection(NamedTuple):
    """What to look at. `only`: names of checks, empty for all. `rule`: a part of a rule's text, any case; when it is
    given, no other rules are looked at, and checks only where `only` names them. Where `only` names forms of rules, a
    rule must be of such a form as well."""

    only: frozenset[str] = frozenset()
    rule: str = ""

    def takes(self, check: str) -> bool:
        return check in self.only if self.only else not self.rule

    def takes_rule(self, check: str, text: str) -> bool:
        forms = self.only & {form.name for form in RULES}
        if not forms and self.only and not self.rule:
            return False
        return (check in forms or not forms) and self.rule.casefold() in text.casefold()


EVERYTHING = Selection()

MOST_ADDRESSES = 8
"""So many addresses of a line are listed; the rest are counted."""


def questions(contents: Contents, selection: Selection = EVERYTHING) -> list[tuple[Check, Property]]:
    """Every coarse question, allowances not yet taken into account: what an export hands to other tools."""
    found = [(check, asked) for check in CHECKS if selection.takes(check.name) for asked in check.ask(contents)]
    found += [(check, asked) for check in RULES for asked in check.ask(contents)
              if selection.takes_rule(check.name, asked.subject)]
    return found


def static_pass(contents: Contents, selection: Selection = EVERYTHING) -> list[Finding]:
    """Only what the words themselves say, for a build: milliseconds, no search."""
    findings = static_findings(contents, certain(contents, questions(contents, selection), {}))
    return findings + inspection.of_words(contents, selection.takes, {})


def prove(contents: Contents, decide: Decide, selection: Selection = EVERYTHING) -> Report:
    """Everything that is selected, with a verdict each. `decide` is called once, and once more when something is
    broken."""
    columns: dict[str, Columns] = {}
    asked = questions(contents, selection)
    words = certain(contents, asked, columns)
    plans = [made for check, question in asked for made in allowances.plan(contents, check, question)]
    parts = parts_of_rules(contents, asked)
    acts = tuple(inactive.ask(contents)) if selection.takes(inactive.EXPLANATION.name) else ()
    first = decide((*(question for made in plans for question in _asked_by(made)), *parts, *acts))
    answers, ended = _second_round(contents, decide, _answers(plans, first), first, columns)
    beyond, acting = len(first.verdicts) - len(acts), first.verdicts[len(first.verdicts) - len(acts):]
    dead = [verdict for verdict in first.verdicts[beyond - len(parts):beyond] if verdict.outcome == "broken"]
    findings = [finding for answer in answers for finding in _told(contents, answer)]
    findings += (_told_by_words(contents, answers, words) if first.stopped else
                 unsearched(contents, words, first.executed, "no sequence does"))
    findings += vacuous.findings_of_idle((answer.plan.asked for answer in answers if answer.outcome == "vacuous"), dead)
    findings += inspection.of_words(contents, selection.takes, first.executed)
    findings += inspection.of_sequences(contents, selection.takes, first)
    findings += inactive.tell(contents, acting)
    applied = _applied(contents, selection, answers, first, acting)
    findings += allowances.stale(applied)
    if selection.takes(over_assumed.EXPLANATION.name) and first.over_assumed.outcome == "broken":
        findings = [finding for finding in findings if finding.name not in over_assumed.CONSEQUENCES]
        findings.append(over_assumed.tell(contents, over_assumed.subject(contents, first.over_assumed),
                                          first.over_assumed.breaks[0]))
    return Report(tuple(findings), rows(contents, answers, dead, first, selection.takes), applied, first.executed,
                  first.states, first.transitions, first.depth, first.stopped, ended)


def _asked_by(made: Plan) -> tuple[Property, ...]:
    return (*(() if made.judged is None else (made.judged,)), *(probe for _, probe in made.probes),
            *(() if made.bare is None else (made.bare,)))


def parts_of_rules(contents: Contents, asked: Iterable[tuple[Check, Property]]) -> tuple[Property, ...]:
    taken = {question.subject for check, question in asked if check in RULES}
    return tuple(part for rule in contents.machine.rules if rule.text in taken
                 for part in vacuous.ask_of_rule(contents, rule))


def _answers(plans: list[Plan], first: Verdicts) -> list[Answer]:
    """Deals the verdicts out to the plans that asked for them."""
    verdicts = iter(first.verdicts)
    return [Answer(made, None if made.judged is None else next(verdicts), tuple(next(verdicts) for _ in made.probes),
                   None if made.bare is None else next(verdicts), ()) for made in plans]


def _second_round(contents: Contents, decide: Decide, answers: list[Answer], first: Verdicts,
                  columns: dict[str, Columns]) -> tuple[list[Answer], str]:
    """The answers with finer verdicts where the coarse one is broken and the check knows finer questions; and why not
    everything was decided. Who interrupts the first round wants to hear what is known now."""
    known = Known(frozenset((answer.plan.asked.check, answer.plan.asked.subject) for answer in answers
                            if answer.verdict is not None and answer.verdict.outcome == "broken"), first.executed)
    finer = [_finer(contents, answer, known, columns) for answer in answers]
    if not any(finer) or first.ended == "interrupted":
        return answers, first.ended
    second = decide(tuple(question for group in finer for question in group))
    verdicts = iter(second.verdicts)
    return [answer._replace(finer=tuple(next(verdicts) for _ in group))
            for answer, group in zip(answers, finer, strict=True)], first.ended or second.ended


def _finer(contents: Contents, answer: Answer, known: Known, columns: dict[str, Columns]) -> tuple[Property, ...]:
    check, asked = answer.plan.check, answer.plan.asked
    if check.narrow is None or answer.verdict is None or answer.verdict.outcome != "broken":
        return ()
    excused = (allowances.excused(contents, part) for part in check.narrow(contents, asked, known))
    parts = tuple(part for part in excused if part is not None)
    # Where none is possible, one is asked all the same: what was found has a finding of its own then.
    return tuple(part for part in parts if _possible(contents, part, known, columns)) or parts[:1]


def _possible(contents: Contents, asked: Property, known: Known, columns: dict[str, Columns]) -> bool:
    """False when no executed word can break the question, whatever the state."""
    store = asked.per_word
    if not store:
        return True
    if store not in columns:
        columns[store] = Columns(contents, store)
    where = columns[store].possible(asked.node)
    return any(where[address] for address in known.executed.get(store, ()))


def _told(contents: Contents, answer: Answer) -> list[Finding]:
    findings: list[Finding] = []
    for source in answer.telling:
        findings += _once_for_each_line(contents, source, [
            (_with_count(answer.plan.check.tell(contents, source, found), more), found)
            for found, more in _apart(contents, source)])
    return findings


def _told_by_words(contents: Contents, answers: list[Answer], words: list[Certain]) -> list[Finding]:
    """What the words alone say stands even where the search did not come to an end, and has not come to them."""
    told = {(source.property.check, source.property.subject, found.address) for answer in answers
            for source in answer.telling for found, _ in _apart(contents, source) if found is not None}
    return [tell_word(contents, one, address) for one in words for address in one.addresses
            if address in contents.sites.get(one.store, {})
            and (one.asked.check, one.asked.subject, address) not in told]


def _apart(contents: Contents, verdict: Verdict) -> list[tuple[Break | None, int]]:
    """The breaks to be told, the shortest of each microinstruction, shortest first; with the first goes the number of
    microinstructions that are broken as well but for which no sequence was asked."""
    if verdict.outcome != "broken":
        return []
    if not verdict.breaks:
        return [(None, 0)]
    sites = contents.sites.get(verdict.property.per_word, {})
    shortest: dict[object, Break] = {}
    for found in verdict.breaks:
        site = None if found.address is None else sites.get(found.address)
        word = (site.word, site.owner) if site is not None and site.word >= 0 else found.address
        shortest.setdefault(word, found)
    shown = [found for found in shortest.values() if found.trace is not None] or list(shortest.values())[:1]
    return [(found, len(shortest) - len(shown) if index == 0 else 0) for index, found in enumerate(shown)]


def _once_for_each_line(contents: Contents, verdict: Verdict,
                        told: list[tuple[Finding, Break | None]]) -> list[Finding]:
    """One finding for all breaks of a question that begin in one source line, the shortest first, with a note of the
    other addresses: one line is to be mended, however many columns of the store lead from it."""
    of_line: dict[object, list[tuple[Finding, Break | None]]] = {}
    for finding, found in told:
        line = (finding.span.source.name, finding.span.line) if finding.span is not None else finding
        of_line.setdefault(line, []).append((finding, found))
    store = contents.machine.stores.get(verdict.property.per_word)
    findings = []
    for (first, _), *others in of_line.values():
        at = sorted({found.address for _, found in others if found is not None and found.address is not None})
        if store is None or not at:
            findings += [first, *(finding for finding, _ in others)]
            continue
        listed = ", ".join(hexadecimal(address, store.address_width) for address in at[:MOST_ADDRESSES])
        more = f" and {len(at) - MOST_ADDRESSES} more" if len(at) > MOST_ADDRESSES else ""
        findings.append(first._replace(notes=(*first.notes, f"the same happens at {listed}{more}")))
    return findings


def _with_count(finding: Finding, more: int) -> Finding:
    if not more:
        return finding
    words = "microinstruction is" if more == 1 else "microinstructions are"
    return finding._replace(notes=(*finding.notes, f"{more} more {words} broken in the same way"))


def _applied(contents: Contents, selection: Selection, answers: list[Answer], first: Verdicts,
             acting: Sequence[Verdict]) -> tuple[Applied, ...]:
    """Whether each allowance is needed."""
    listed = contents.machine.allowances
    asked = allowances.needed(((answer.plan, answer.verdict, answer.probes, answer.bare) for answer in answers),
                              len(listed))
    result = []
    for allowance, need in zip(listed, asked, strict=True):
        if allowance.check in allowances.COMPILE_TIME or not selection.takes(allowance.check):
            need = None
        elif allowance.check in inspection.NAMES:
            need = inspection.needs(contents, allowance, first)
        elif allowance.check == inactive.EXPLANATION.name:
            need = inactive.needed(acting, allowance)
        result.append(Applied(allowance, need))
    return tuple(result)
