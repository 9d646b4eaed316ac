"""Two reports of the prover: what broke, what was mended, which worst cases moved, which allowances went stale."""

from typing import Literal, NamedTuple

from ordain.checks.check import Report, Row

Kind = Literal["newly-broken", "newly-vacuous", "newly-undecided", "repaired", "decided", "allowed", "grew", "shrank",
               "broken-elsewhere", "added", "dropped"]

WORSE: frozenset[Kind] = frozenset(("newly-broken", "newly-vacuous", "newly-undecided", "broken-elsewhere"))
"""What a repository guard must not let through."""


class Moved(NamedTuple):
    """One question whose answer is another. `old`, `new`: outcomes, "" where that side does not ask it. `old_worst`,
    `new_worst`: the worst case in cycles, None where there is none. `more`: faults that were not there before."""

    kind: Kind
    check: str
    subject: str
    old: str
    new: str
    old_worst: int | None
    new_worst: int | None
    more: tuple[str, ...]


class VerdictChanges(NamedTuple):
    """`moved` in the order of the new report, then what is not asked any more. `stale`: allowances (check and reason)
    that were needed before and are not now; `needed`: the other way round. `comparable`: both searches came to their
    end. `same`: how many questions have the answer that they had."""

    moved: tuple[Moved, ...]
    stale: tuple[str, ...]
    needed: tuple[str, ...]
    comparable: bool
    same: int


def verdict_changes(old: Report, new: Report) -> VerdictChanges:
    """What moved from one report to another. Questions are the same when check and subject are."""
    before, now = _rows(old), _rows(new)
    faults = _faults(old), _faults(new)
    moved: list[Moved] = []
    same = 0
    for key, row in now.items():
        one = _moved(before.get(key), row, _fresh(key, *faults))
        moved += one
        same += not one
    moved += [Moved("dropped", row.check, row.subject, row.outcome, "", row.worst, None, ())
              for key, row in before.items() if key not in now]
    was, is_ = _allowances(old), _allowances(new)
    return VerdictChanges(
        tuple(moved), tuple(key for key, needed in is_.items() if needed is False and was.get(key) is not False),
        tuple(key for key, needed in is_.items() if needed and was.get(key) is False),
        not old.stopped and not new.stopped, same)


Asked = tuple[str, str]
"""Check and subject."""


def _rows(report: Report) -> dict[Asked, Row]:
    return {(row.check, row.subject): row for row in report.rows}


def _moved(old: Row | None, new: Row, fresh: tuple[str, ...]) -> list[Moved]:
    if old is None:
        return [Moved("newly-broken" if new.outcome == "broken" else "newly-vacuous" if new.outcome == "vacuous"
                      else "added", new.check, new.subject, "", new.outcome, None, new.worst, fresh)]
    said = (new.check, new.subject, old.outcome, new.outcome, old.worst, new.worst, fresh)
    if old.outcome != new.outcome:
        return [Moved(_kind(old.outcome, new.outcome), *said)]
    if new.outcome == "broken" and fresh:
        return [Moved("broken-elsewhere", *said)]
    if old.worst != new.worst:
        grew = new.worst is None or (old.worst is not None and new.worst > old.worst)
        return [Moved("grew" if grew else "shrank", *said)]
    return []


def _kind(old: str, new: str) -> Kind:
    match new:
        case "broken":
            return "newly-broken"
        case "vacuous":
            return "newly-vacuous"
        case "undecided":
            return "newly-undecided"
        case "allowed":
            return "allowed"
        case _:
            return "decided" if old == "undecided" else "repaired"


def _faults(report: Report) -> dict[str, set[str]]:
    """check -> messages of its findings."""
    found: dict[str, set[str]] = {}
    for finding in report.findings:
        found.setdefault(finding.name, set()).add(finding.message)
    return found


def _fresh(key: Asked, old: dict[str, set[str]], new: dict[str, set[str]]) -> tuple[str, ...]:
    """Messages about a question that were not there before. A message names its subject; how often it was found, and
    after how many cycles, is not part of it."""
    check, subject = key
    known = {_without_figures(message) for message in old.get(check, ())}
    return tuple(message for message in sorted(new.get(check, ()))
                 if subject in message and _without_figures(message) not in known)


def _without_figures(message: str) -> str:
    return "".join("#" if ch.isdigit() else ch for ch in message)


def _allowances(report: Report) -> dict[str, bool | None]:
    return {f"{applied.allowance.check}: {applied.allowance.reason}": applied.needed for applied in report.allowances}


def worse(changes: VerdictChanges) -> tuple[Moved, ...]:
    """What got worse."""
    return tuple(moved for moved in changes.moved if moved.kind in WORSE)
