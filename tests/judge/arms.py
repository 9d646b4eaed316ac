"""What the text lets follow each word of the instructions, read off its indentation: a line is a word's own number.

Only what the machines made here can hold: one word a line, arms within arms, a prologue.
"""

from typing import NamedTuple

from ordain.machine.model import Store
from ordain.rom.contents import Contents


class Arms(NamedTuple):
    """`complete`: the last one is an `otherwise`."""

    bodies: list["Body"]
    complete: bool


Body = list[int | Arms]
"""Words and arms."""

PROLOGUE = "prologue"


class Bodies(NamedTuple):
    """By line: what may follow the word there, and to which instruction (or the prologue) it belongs."""

    following: dict[int, frozenset[int]]
    owner: dict[int, str]


def read(micro: str) -> Bodies:
    lines = micro.splitlines()
    bodies: dict[str, Body] = {}
    number = 0
    while number < len(lines):
        head = lines[number]
        body, number = _body(lines, number + 1, 1)
        if head.startswith(("instruction", PROLOGUE)):
            bodies[head] = body
    found = Bodies({}, {})
    firsts = frozenset[int]().union(*(_follow(body, frozenset(), head, found) for head, body in bodies.items()
                                      if head != PROLOGUE))
    if PROLOGUE in bodies:
        _follow(bodies[PROLOGUE], firsts, PROLOGUE, found)
    return found


def _body(lines: list[str], number: int, least: int) -> tuple[Body, int]:
    """The lines from here on that are indented so far at least; lines count from 1."""
    found: Body = []
    going_on = False  # a further `when` belongs to the arms above it
    while number < len(lines) and _indent(lines[number]) >= least:
        text, here = lines[number].strip(), _indent(lines[number])
        if text.startswith(("when ", "otherwise")):
            arm, number = _body(lines, number + 1, here + 1)
            last = found.pop() if going_on else None
            found.append(Arms([*(last.bodies if isinstance(last, Arms) else ()), arm], text == "otherwise"))
            going_on = text != "otherwise"
        else:
            found.append(number + 1)
            number, going_on = number + 1, False
    return found, number


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip())


def _follow(body: Body, after: frozenset[int], owner: str, found: Bodies) -> frozenset[int]:
    """Says of every word in the body what may follow it; returns the words with which the body can begin."""
    for item in reversed(body):
        if isinstance(item, Arms):
            firsts = frozenset[int]().union(*(_follow(arm, after, owner, found) for arm in item.bodies))
            after = firsts if item.complete else firsts | after
        else:
            found.following[item], found.owner[item] = after, owner
            after = frozenset((item,))
    return after


class Columns:
    """The words of a store addressed by instruction and step: which may come after which."""

    def __init__(self, contents: Contents, store: Store, micro: str) -> None:
        assert store.step is not None
        self._low, self._steps = store.step[1], 2 << store.step[0] - store.step[1]
        self._numbers = store.steps
        self._bodies = read(micro)
        self._words = {address: site.bits for address, site in contents.sites[store.name].items()}
        self._open = {address: site.open for address, site in contents.sites[store.name].items()}
        self._line = {address: site.span.line for address, site in contents.sites[store.name].items()
                      if site.span is not None and site.span.line in self._bodies.owner}
        self._known: dict[tuple[int, int], bool] = {}

    def torn(self, before: int, now: int) -> bool:
        """From one address to the next one."""
        if (before, now) not in self._known:
            self._known[before, now] = self._torn(before, now)
        return self._known[before, now]

    def _torn(self, before: int, now: int) -> bool:
        was, line = self._line.get(before), self._line.get(now)
        at = self._step(now)
        if was is None or line is None or at not in (self._step(before), self._step(before) + 1):
            return False
        owners = {self._bodies.owner[was], self._bodies.owner[line]}
        if len(owners) == 2 and PROLOGUE not in owners:
            return False  # a dispatch
        old, new = (address & ~(self._steps - 1 << self._low) for address in (before, now))
        since = any(self._goes_over(old, new, step) and all(self._alike(old, new, n) for n in range(step, at))
                    for step in range(at + 1))
        until = any(self._goes_over(old, new, step) and all(self._alike(new, old, n) for n in range(at, step))
                    for step in range(at + 1, self._steps + 1))
        return not since and not until

    def _step(self, address: int) -> int:
        return self._numbers.index(address >> self._low & self._steps - 1)

    def _cell(self, column: int, step: int) -> int | None:
        return self._line.get(column | self._numbers[step] << self._low)

    def _goes_over(self, old: int, new: int, step: int) -> bool:
        """Control may go on in the new column at this step as well as in the old one; also where both are over, or both
        begin."""
        if step == self._steps:
            return True
        one, two = self._cell(old, step), self._cell(new, step)
        if one is None or two is None:
            return False  # where a word is missing that was placed, the text says nothing
        if one == two or step == 0:
            return True
        before = self._cell(old, step - 1)
        return before is not None and two in self._bodies.following[before]

    def _alike(self, taken: int, other: int, step: int) -> bool:
        """What is executed holds what the other column would hold, but for the bits that that one leaves open."""
        one, two = (column | self._numbers[step] << self._low for column in (taken, other))
        if (one in self._line) != (two in self._line):
            return False
        return one not in self._line or not (self._words[one] ^ self._words[two]) & ~self._open[two]
