"""What is told of many faults together: how many of each class, who notices them, and the silent ones in groups."""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ordain.faults.model import CLASSES, KINDS, Class, Kind, Tried

Counts = dict[Class, int]


class Noticing(NamedTuple):
    """A check or rule: how many faults it is the first to notice, and after how many cycles, None where no sequence
    shows it."""

    check: str
    subject: str
    faults: int
    least: int | None
    most: int | None


class Alike(NamedTuple):
    """Faults of one line of the words that make the same behave otherwise. `line`: a field, or what has failed."""

    line: str
    titles: tuple[str, ...]
    faults: tuple[Tried, ...]


OFFERED = 40
"""Groups for which a rule is looked for, the largest ones."""


class Offered(NamedTuple):
    """A rule that was tried: it holds of the sound machine, and notices `notices` of the `of` faults of a group."""

    line: str
    titles: tuple[str, ...]
    rule: str
    notices: int
    of: int


def counts(tried: Iterable[Tried]) -> dict[Kind, Counts]:
    """How many of each class, by kind; kinds of which there is none are left out."""
    found: dict[Kind, Counts] = {}
    for one in tried:
        of_kind = found.setdefault(one.fault.kind, dict.fromkeys(CLASSES, 0))
        of_kind[one.outcome.kind] += 1
    return {kind: found[kind] for kind in KINDS if kind in found}


def noticing(tried: Iterable[Tried]) -> list[Noticing]:
    """Those that notice most first."""
    found: dict[tuple[str, str], list[int | None]] = {}
    for one in tried:
        if one.outcome.noticed is not None:
            check, subject, cycles = one.outcome.noticed
            subject = "" if check in ("unreachable", "stale-allowance") else subject
            found.setdefault((check, subject), []).append(cycles)
    rows = [Noticing(check, subject, len(cycles), min((one for one in cycles if one is not None), default=None),
                     max((one for one in cycles if one is not None), default=None))
            for (check, subject), cycles in found.items()]
    return sorted(rows, key=lambda row: (-row.faults, row.check, row.subject))


class Changed(NamedTuple):
    """An instruction, how many faults change it and are noticed by nobody, and with how many of them it no longer does
    what its text says."""

    title: str
    faults: int
    meant_otherwise: int


def instructions(tried: Sequence[Tried]) -> list[Changed]:
    """The instructions that are changed, those that most faults change first."""
    changed = [one.outcome for one in tried if one.outcome.kind == "changed"]
    faults = Counter(title for one in changed for title in one.titles)
    meant = Counter(title for one in changed for title in one.meanings)
    return sorted((Changed(title, count, meant[title]) for title, count in faults.items()),
                  key=lambda one: (-one.faults, one.title))


def silent(tried: Iterable[Tried]) -> list[Alike]:
    """The silent ones in groups, the largest first."""
    found: dict[tuple[str, tuple[str, ...]], list[Tried]] = {}
    for one in tried:
        if one.outcome.kind == "silent":
            found.setdefault((line_of(one), one.outcome.titles), []).append(one)
    groups = [Alike(line, titles, tuple(some)) for (line, titles), some in found.items()]
    return sorted(groups, key=lambda group: (-len(group.faults), group.line, group.titles))


def line_of(one: Tried) -> str:
    """The field that a bit belongs to; of other faults what has failed."""
    text = one.fault.text
    return text.rpartition(": ")[2].split(" (")[0].split("[")[0] if one.fault.kind == "bit" else text


def status(tried: Sequence[Tried]) -> int:
    """1 where a fault is silent, else 3 where one is undecided, else 0."""
    kinds = {one.outcome.kind for one in tried}
    return 1 if "silent" in kinds else 3 if "undecided" in kinds else 0
