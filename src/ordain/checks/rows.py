"""The table of a report: one row for everything that was asked, with its verdict and counts."""

from collections.abc import Callable, Iterable
from typing import Literal, NamedTuple, TypeAlias

from ordain.checks import over_assumed, vacuous
from ordain.checks.allowances import Plan
from ordain.checks.check import Row
from ordain.checks.wording import about
from ordain.control.phases import share
from ordain.machine.model import Machine
from ordain.prover.model import Verdict, Verdicts
from ordain.rom.contents import Contents

Outcome: TypeAlias = Literal["proved", "broken", "allowed", "vacuous", "undecided"]
_WORST_FIRST: tuple[Outcome, ...] = ("broken", "undecided", "vacuous", "allowed", "proved")


class Answer(NamedTuple):
    """A plan with what came out: of its judged part (None when all of it is allowed), of its probes, of the bare
    question, and of the finer questions, if there was a second round."""

    plan: Plan
    verdict: Verdict | None
    probes: tuple[Verdict, ...]
    bare: Verdict | None
    finer: tuple[Verdict, ...]

    @property
    def telling(self) -> tuple[Verdict, ...]:
        """The verdicts that findings are made from: the finer ones, unless they were not reached."""
        if self.verdict is None:
            return ()
        left_open = any(finer.outcome == "undecided" for finer in self.finer)
        found = any(finer.outcome == "broken" for finer in self.finer)
        return self.finer if self.finer and (found or not left_open) else (self.verdict,)

    @property
    def without(self) -> tuple[Verdict, ...]:
        """The verdicts, one of which is broken where something is allowed that happens."""
        return self.probes if self.bare is None else (self.bare,)

    @property
    def outcome(self) -> Outcome:
        if self.verdict is not None and self.verdict.outcome != "proved":
            return self.verdict.outcome
        probed = [probe.outcome for probe in self.without]
        outcomes: tuple[Outcome, ...] = ("undecided", "vacuous")
        return "allowed" if "broken" in probed else next((each for each in outcomes if each in probed), "proved")


def rows(contents: Contents, answers: Iterable[Answer], dead: Iterable[Verdict], first: Verdicts,
         takes: Callable[[str], bool]) -> tuple[Row, ...]:
    """Questions about one subject share a row, and so do all that only ask whether something occurs. `dead`: parts
    of rules that can never occur."""
    idle = {verdict.property.subject for verdict in dead}
    grouped: dict[tuple[str, str], list[Answer]] = {}
    for answer in answers:
        asked = answer.plan.asked
        subject = "what checks and rules take for granted" if asked.check == vacuous.EXPLANATION.name else asked.subject
        grouped.setdefault((asked.check, subject), []).append(answer)
    table = [_row(contents.machine, check, subject, group, subject in idle)
             for (check, subject), group in grouped.items()]
    if takes(over_assumed.EXPLANATION.name):
        verdict = over_assumed.subject(contents, first.over_assumed)
        table.append(Row(verdict.property.check, verdict.property.subject, verdict.outcome, verdict.states,
                         verdict.transitions, None, 0, None, "", about(verdict.property).span))
    return tuple(table)


def _row(machine: Machine, check: str, subject: str, group: list[Answer], idle: bool) -> Row:
    outcomes = [answer.outcome for answer in group]
    outcome = next(each for each in _WORST_FIRST if each in outcomes)
    verdicts = [answer.verdict for answer in group if answer.verdict is not None] or list(group[0].without)
    note = ""
    if check == vacuous.EXPLANATION.name:
        occurring = outcomes.count("proved")
        note = f"{occurring} of {len(outcomes)} occur"
        outcome = "vacuous" if outcome == "broken" else outcome
    elif idle and outcome == "proved":
        outcome = "vacuous"
    asked = group[0].plan.asked
    worst = verdicts[0].worst if asked.kind == "within" else None
    if worst is not None:
        note = f"worst case {share(machine, worst, asked.cycles)}"
    elif outcome == "broken" and not any(verdict.outcome == "broken" for answer in group for verdict in answer.telling):
        note = "only where another finding is the cause"
    states = max(verdict.states for verdict in verdicts)
    transitions = max(verdict.transitions for verdict in verdicts)
    return Row(check, subject, outcome, states, transitions, worst, asked.cycles, verdicts[0].witness, note,
               about(asked).span)
