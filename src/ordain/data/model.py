"""A run as data: what was executed, what it changed, and how it ended."""

from collections.abc import Mapping
from typing import Literal, NamedTuple

from ordain.data.partial import Bits
from ordain.text.findings import Finding

Memories = dict[str, dict[int, Bits]]
"""What is known of each memory, by address; of other addresses nothing is known."""

Ending = Literal["until", "cycles", "instructions", "lost", "fault", "interrupted"]


class Change(NamedTuple):
    """What a cycle changed of what a programmer sees. `address`: of a word of a memory; -1 where nothing is known of
    the whole memory any more; None for what is no memory."""

    name: str
    address: int | None
    value: Bits
    width: int


class Line(NamedTuple):
    """One cycle. `title`: the instruction whose first word it is, "" for none. `boundary`: control has come to `home`
    with it."""

    cycle: int
    address: int
    title: str
    boundary: bool
    changes: tuple[Change, ...]


class Record(NamedTuple):
    """`store`: the one whose addresses the lines have. `held`: what each visible register and state has at the end."""

    lines: tuple[Line, ...]
    store: str
    ending: Ending
    findings: tuple[Finding, ...]
    held: Mapping[str, tuple[Bits, int]]
    memories: Memories

    @property
    def cycles(self) -> int:
        return self.lines[-1].cycle if self.lines else 0
