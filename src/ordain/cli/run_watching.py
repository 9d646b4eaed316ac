"""What is watched while a machine runs: fights, holds and rules, asked as a proof asks them, cycle by cycle."""

from typing import NamedTuple

from ordain.checks import contention, missing_hold
from ordain.checks.allowances import excused
from ordain.checks.check import Check
from ordain.checks.rules import CHECKS as RULES
from ordain.data.model import Record, Watch
from ordain.prover.model import Break, Property, Verdict
from ordain.rom.contents import Contents
from ordain.text.findings import Finding

WATCHED = (contention.CHECK, missing_hold.CHECK, *RULES)


class WatchedQuestion(NamedTuple):
    check: Check
    asked: Property


def questions_of(contents: Contents) -> dict[str, WatchedQuestion]:
    """What can be broken in a single cycle, what allowances excuse taken out, each under a name of its own."""
    found: dict[str, WatchedQuestion] = {}
    for check in WATCHED:
        for asked in check.ask(contents):
            judged = excused(contents, asked) if asked.kind == "bad" else None
            if judged is not None:
                found[f"{len(found)} {asked.check} {asked.subject}"] = WatchedQuestion(check, judged)
    return found


def watches_of(questions: dict[str, WatchedQuestion]) -> dict[str, Watch]:
    return {name: Watch(one.asked.node, one.asked.monitors) for name, one in questions.items()}


def faults_of(contents: Contents, questions: dict[str, WatchedQuestion], record: Record) -> list[Finding]:
    """A finding for each thing that is broken in the last cycle. While drivers fight, nothing more is said of holds:
    one cause, one finding."""
    if not record.broken:
        return []
    from ordain.show.run_trace import trace_of

    trace = trace_of(contents, record.last, levels=False)
    asked = [questions[name] for name in record.broken]
    if any(one.check is contention.CHECK for one in asked):
        asked = [one for one in asked if one.check is not missing_hold.CHECK]
    found = []
    for one in asked:
        broken = Break(None, 0, 1, trace)
        verdict = Verdict(one.asked, "broken", (broken,), None, None, 1, 0)
        told = one.check.tell(contents, verdict, broken)
        found.append(told._replace(trace=None, message=f"cycle {record.cycles}: {told.message}"))
    return found
