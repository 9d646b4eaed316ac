"""What a check is, and what comes out of a run of them.

A check asks coarse questions first (one for a whole bus). Only when one is broken does it ask the narrow ones (one
for each pair of drivers), so that a sound machine costs one question a bus however many drivers that has.
"""

from collections.abc import Callable, Iterable
from typing import Any, Literal, NamedTuple, TypeAlias

from ordain.control.model import Trace
from ordain.machine.model import Allowance
from ordain.prover.model import Break, Property, Verdict, Verdicts
from ordain.rom.contents import Contents
from ordain.text.findings import Finding
from ordain.text.source import Span


class Explanation(NamedTuple):
    """The text for people. `fault`: one sentence that names it. `about`: what it does to the machine. `example`: a
    few lines that have the fault (machine text, microprogram text or cycles). `repair`: what usually mends it."""

    name: str
    fault: str
    about: str
    example: str
    repair: str


class About(NamedTuple):
    """What a check keeps in `Property.data`. `names`: what the `on` of an allowance may say to mean all of this
    question. `span`: the declaration it follows from. `detail` is for the check alone."""

    names: tuple[str, ...]
    span: Span
    detail: Any = None


class Known(NamedTuple):
    """What the first round of questions has shown, for a check that narrows its own.

    `broken`: (check, subject) of every property that is broken where nothing allows it. `executed`: per store the
    addresses that some sequence presents."""

    broken: frozenset[tuple[str, str]]
    executed: dict[str, frozenset[int]]


Ask: TypeAlias = Callable[[Contents], Iterable[Property]]
"""The questions of a check about a machine."""

Narrow: TypeAlias = Callable[[Contents, Property, Known], tuple[Property, ...]]
"""Finer questions in place of a broken one; none: the broken one is told as it is. When they are all proved, what was
found is the doing of another fault that has a finding of its own."""

Tell: TypeAlias = Callable[[Contents, Verdict, Break | None], Finding]
"""The finding of one break. None: a target that is never reached has nothing to show."""


class Check(NamedTuple):
    explanation: Explanation
    ask: Ask
    tell: Tell
    narrow: Narrow | None = None

    @property
    def name(self) -> str:
        return self.explanation.name


Decide: TypeAlias = Callable[[tuple[Property, ...]], Verdicts]
"""Gives every property a verdict: the prover bound to a machine's contents, limits and progress."""


class Row(NamedTuple):
    """What was asked and what came out, for the table of a report.

    `outcome` "allowed": broken, but only where an allowance says so. `worst`: see `Verdict.worst`; `cycles` is what
    the rule demands. `witness`: how a `reach` target is reached. `note`: a remark for people, or ""."""

    check: str
    subject: str
    outcome: Literal["proved", "broken", "allowed", "vacuous", "undecided"]
    states: int
    transitions: int
    worst: int | None
    cycles: int
    witness: Trace | None
    note: str
    span: Span


class Applied(NamedTuple):
    """An allowance and whether it was needed; None: undecided, or what it allows was not looked at."""

    allowance: Allowance
    needed: bool | None


class Report(NamedTuple):
    """`states`, `transitions`, `depth`, `stopped`, `executed`: as in `prover.model.Verdicts`, of the first round;
    `ended`: of both. `kept`: found again from an earlier run."""

    findings: tuple[Finding, ...]
    rows: tuple[Row, ...]
    allowances: tuple[Applied, ...]
    executed: dict[str, frozenset[int]]
    states: int
    transitions: int
    depth: int
    stopped: str
    ended: str
    kept: bool = False
