"""Two reports of the prover: what broke, what was mended, which worst cases moved, which allowances went stale."""

import re
from collections.abc import Collection
from typing import Literal, NamedTuple

from ordain.checks.check import Report, Row
from ordain.compare.declared import Demands
from ordain.compare.translation import SAME_NAMES, Renames, joined_name
from ordain.text.findings import Finding

Kind = Literal["newly-broken", "newly-vacuous", "newly-undecided", "repaired", "decided", "allowed", "grew", "shrank",
               "broken-elsewhere", "added", "dropped", "weaker", "stronger", "changed", "promised", "allows"]

WORSE: frozenset[Kind] = frozenset(("newly-broken", "newly-vacuous", "newly-undecided", "broken-elsewhere"))
"""What a repository guard must not let through."""

LESS_ASKED: frozenset[Kind] = frozenset(("dropped", "weaker", "changed", "promised", "allows"))
"""What it must not let through unless it is named: the answers may be as good as before, but to lesser questions."""

NOTHING_DEMANDED = Demands((), {}, SAME_NAMES)


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


def verdict_changes(old: Report, new: Report, demands: Demands = NOTHING_DEMANDED) -> VerdictChanges:
    """What moved from one report to another. Questions are the same when check and subject are, by the names of the new
    side; a demand of the old one for which another stands has that one's answer."""
    renames = demands.renames
    now = _rows(new)
    before, gone = _before(_rows(old), now, demands)
    faults = _faults(_reworded(old, demands), renames), _faults(new, SAME_NAMES)
    broken = [key for key, row in now.items() if row.outcome == "broken"]
    moved: list[Moved] = []
    same = 0
    for key, row in now.items():
        one = _moved(before.get(key), row, _fresh(key, broken, *faults))
        moved += one
        same += not one
    moved += [Moved("dropped", row.check, row.subject, row.outcome, "", row.worst, None, ()) for row in gone]
    told_gone = {(row.check, row.subject) for row in gone}
    moved += [Moved(one.kind, one.check, one.subject, _outcome(before, one.check, one.subject),
                    _outcome(now, one.check, one.subject), None, None, ())
              for one in demands.redefined if (one.check, one.subject) not in told_gone]
    was, is_ = _allowances(old), _allowances(new)
    return VerdictChanges(
        tuple(moved), tuple(key for key, needed in is_.items() if needed is False and was.get(key) is not False),
        tuple(key for key, needed in is_.items() if needed and was.get(key) is False),
        not old.stopped and not new.stopped, same)


Asked = tuple[str, str]
"""Check and subject."""

_ASKED_IF_POSSIBLE = ("strays", "torn")
"""Checks of a store that are asked where words could fail them: where none could, that is an answer."""


def _before(old: dict[Asked, Row], now: dict[Asked, Row], demands: Demands) -> tuple[dict[Asked, Row], list[Row]]:
    """The old answers by the new questions, and those that nothing answers any more. Where one demand stands for
    several it is held against that of its own title; the others have its answer unless that is worse, and then none."""
    before: dict[Asked, Row] = {}
    gone: list[Row] = []
    titles = {key: (key[0], _renamed(key[1], demands.renames)) for key in old}
    for key in sorted(old, key=lambda one: demands.met.get(one, titles[one]) != titles[one]):
        row, answer = old[key], demands.met.get(key, titles[key])
        if answer not in before and answer in now:
            before[answer] = row
        elif row.check in _ASKED_IF_POSSIBLE and ("nowhere", answer[1]) in now:
            continue
        elif answer not in now or any(one.kind in WORSE for one in _moved(row, now[answer], ())):
            gone.append(row)
    return before, gone


def _reworded(old: Report, demands: Demands) -> Report:
    """The old report with what demands are called and what they say in the words of those that stand for them."""
    pairs = [(check, re.compile(rf"(?<!\w){re.escape(ours)}(?!\w)"), theirs.replace("\\", r"\\"))
             for (check, was), (_, now) in demands.met.items()
             for ours, theirs in ([(was, now)] if was.count(" while ") != now.count(" while ") else
                                  zip(was.split(" while "), now.split(" while "))) if ours != theirs]

    def said(finding: Finding) -> Finding:
        message = finding.message
        for check, ours, theirs in pairs:
            message = ours.sub(theirs, message) if check == finding.name else message
        return finding._replace(message=message)

    return old._replace(findings=tuple(said(finding) for finding in old.findings))


def _outcome(rows: dict[Asked, Row], check: str, subject: str) -> str:
    return rows[check, subject].outcome if (check, subject) in rows else ""


def _renamed(text: str, renames: Renames) -> str:
    """A subject of the old side in the names of the new one."""
    return re.sub(r"[A-Za-z_][\w.]*", lambda name: joined_name(renames, name[0]), text)


def _retold(message: str, renames: Renames) -> str:
    """A message of the old side in the names of the new one: names and places stand in its quotes."""
    def quoted(found: re.Match[str]) -> str:
        place, plus, index = found[1].partition("+")
        return f"`{renames.places.get(place) or joined_name(renames, place)}{plus}{index}`"

    return re.sub(r"`([^`]*)`", quoted, message)


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


def _faults(report: Report, renames: Renames) -> dict[str, set[str]]:
    """check -> messages of its findings, in new names."""
    found: dict[str, set[str]] = {}
    for finding in report.findings:
        found.setdefault(finding.name, set()).add(_retold(finding.message, renames))
    return found


def _fresh(key: Asked, broken: Collection[Asked], old: dict[str, set[str]],
           new: dict[str, set[str]]) -> tuple[str, ...]:
    """Messages about a question that were not there before. A message that names the subject of none that is broken
    may be about any. How often it was found, and after how many cycles, is not part of it."""
    check, subject = key
    known = {_without_figures(message) for message in old.get(check, ())}
    fresh = [message for message in sorted(new.get(check, ())) if _without_figures(message) not in known]
    return tuple(message for message in fresh
                 if subject in message or not any(its == check and other in message for its, other in broken))


def _without_figures(message: str) -> str:
    """Addresses, numbers of words and of cycles may be others; figures in names and of lines may not."""
    return re.sub(r"0x[0-9A-F]+|(?<![\w\[:])\d+", "#", message)


def _allowances(report: Report) -> dict[str, bool | None]:
    return {f"{applied.allowance.check}: {applied.allowance.reason}": applied.needed for applied in report.allowances}


def worse(changes: VerdictChanges, expected: Collection[str] = ()) -> tuple[Moved, ...]:
    """What got worse. `expected`: what is meant to be asked less; a verdict that broke counts all the same."""
    return tuple(moved for moved in changes.moved
                 if moved.kind in WORSE or (moved.kind in LESS_ASKED and not names_of(moved) & set(expected)))


def names_of(moved: Moved) -> set[str]:
    """By what a question can be named."""
    return {moved.check, moved.subject, f"{moved.check}: {moved.subject}"}
