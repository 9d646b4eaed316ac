"""The machine's rules and strobes over a capture: how long a grant took, how long a pulse lasted, as it was measured.

Only what is sure counts: where a condition may be 0 or 1, given all that was seen up to then, it is said that it is not
sure. A trigger counts in the clock in which it begins to hold.
"""

from typing import Literal

from ordain.follow.model import ClockCycle, Measured
from ordain.follow.states import States
from ordain.machine.expression import Node
from ordain.machine.model import AfterNever, BetweenNever, Machine, Never, Reach, WhenThen

Level = bool | None


def measured_of(machine: Machine) -> list[Node]:
    """The conditions that `Meter` asks about."""
    return list(dict.fromkeys([node for rule in machine.rules for node in _nodes(rule.form)]
                              + [strobe.active for strobe in machine.strobes]))


def _nodes(form: object) -> tuple[Node, ...]:
    match form:
        case Never(condition, _):
            return (condition,)
        case Reach(condition, _):
            return (condition,)
        case WhenThen(trigger, response, _, unless):
            return trigger, response, unless
        case BetweenNever(start, end, forbidden, after):
            return start, end, forbidden, after
        case AfterNever(start, forbidden, until):
            return start, forbidden, until
    return ()


class Meter:
    """Told of every clock, in their order."""

    def __init__(self, states: States, machine: Machine) -> None:
        self._states, self._asked = states, measured_of(machine)
        self._at = {node: place for place, node in enumerate(self._asked)}
        self._levels: dict[tuple[int, int, int], tuple[Level, ...]] = {}
        self._watches: list[_Occurs | _Takes | _Within | _Lasts] = []
        for rule in machine.rules:
            match rule.form:
                case Never(condition, _):
                    self._watches.append(_Occurs("never", rule.text, self._at[condition]))
                case Reach(condition, _):
                    self._watches.append(_Occurs("reach", rule.text, self._at[condition]))
                case WhenThen(trigger, response, cycles, unless):
                    self._watches.append(_Takes(rule.text, self._at[trigger], self._at[response], self._at[unless],
                                                cycles))
                case BetweenNever(start, end, forbidden, after):
                    self._watches.append(_Within(rule.text, (self._at[start], self._at[end], self._at[forbidden]),
                                                 self._at[after]))
                case AfterNever(start, forbidden, until):
                    self._watches.append(_Within(rule.text, (self._at[start], self._at[until], self._at[forbidden]),
                                                 None))
        self._watches += [_Lasts(strobe.name, self._at[strobe.active]) for strobe in machine.strobes]

    def note(self, clock: ClockCycle) -> None:
        key = clock.states, clock.seen.word, clock.seen.known
        levels = self._levels.get(key)
        if levels is None:
            cycles = self._states.cycles(clock.states, clock.seen)
            levels = self._levels[key] = tuple(
                None if off and on else on for off, on in (self._states.may(node, cycles) for node in self._asked))
        for watch in self._watches:
            watch.note(clock.number, levels)

    def measured(self) -> list[Measured]:
        return [watch.measured() for watch in self._watches]


class _Occurs:
    """Clocks in which a condition holds."""

    def __init__(self, kind: Literal["never", "reach"], text: str, place: int) -> None:
        self._kind, self._text, self._place = kind, text, place
        self._count = self._unsure = 0
        self._first: int | None = None

    def note(self, number: int, levels: tuple[Level, ...]) -> None:
        level = levels[self._place]
        if level:
            self._count += 1
            self._first = self._first or number
        self._unsure += level is None

    def measured(self) -> Measured:
        return Measured(self._kind, self._text, self._count, self._unsure, None, None, None, self._first)


class _Takes:
    """Clocks from a trigger to its response."""

    def __init__(self, text: str, trigger: int, response: int, unless: int, most: int) -> None:
        self._text, self._places, self._allowed = text, (trigger, response, unless), most
        self._open: int | None = None
        self._before: Level = None
        self._lengths: list[int] = []
        self._unsure = 0
        self._late: int | None = None

    def note(self, number: int, levels: tuple[Level, ...]) -> None:
        trigger, response, unless = (levels[place] for place in self._places)
        if self._open is None and trigger and self._before is False:
            self._open = number
        self._before = trigger
        if self._open is None:
            return
        if response:
            self._lengths.append(number - self._open)
            self._open = None
        elif unless:
            self._open = None
        elif response is None or unless is None:
            self._unsure += 1
            self._open = None
        elif number - self._open > self._allowed and self._late is None:
            self._late = number

    def measured(self) -> Measured:
        return Measured("takes", self._text, len(self._lengths), self._unsure, min(self._lengths, default=None),
                        max(self._lengths, default=None), self._allowed, self._late)


class _Within:
    """Spans that begin with a condition and end with another, and clocks inside in which what is forbidden holds. The
    clock that begins a span is not in it, nor is the one that ends it; where something opens it further (`after`), it
    is from the clock after that on that it counts."""

    def __init__(self, text: str, places: tuple[int, int, int], after: int | None) -> None:
        """`places`: of the condition that begins a span, of that which ends it, of what is forbidden in it."""
        self._text, self._places, self._after = text, places, after
        self._begun: int | None = None
        self._judged = False
        self._lengths: list[int] = []
        self._unsure = 0
        self._first: int | None = None

    def note(self, number: int, levels: tuple[Level, ...]) -> None:
        start, end, forbidden = (levels[place] for place in self._places)
        opened = True if self._after is None else levels[self._after]
        if self._begun is not None:
            if end is None or (not end and self._judged and forbidden is None):
                self._unsure += 1
            if end is None:
                self._begun, self._judged = None, False
            elif end:
                self._lengths.append(number - self._begun)
                self._begun, self._judged = None, False
            elif self._judged and forbidden:
                self._first = self._first or number
        if self._begun is None and start:
            self._begun = number
        if self._begun is not None and opened is None and not self._judged:
            self._unsure += 1
        elif self._begun is not None and opened:
            self._judged = True

    def measured(self) -> Measured:
        return Measured("within", self._text, len(self._lengths), self._unsure, min(self._lengths, default=None),
                        max(self._lengths, default=None), None, self._first)


class _Lasts:
    """Clocks for which a strobe is active without a break."""

    def __init__(self, text: str, place: int) -> None:
        self._text, self._place = text, place
        self._length = 0
        self._whole = False
        self._lengths: list[int] = []
        self._unsure = 0

    def note(self, number: int, levels: tuple[Level, ...]) -> None:
        level = levels[self._place]
        if level:
            self._length += 1
            return
        if level is None:
            self._unsure += 1
        elif self._length and self._whole:
            self._lengths.append(self._length)
        self._length = 0
        self._whole = level is False

    def measured(self) -> Measured:
        return Measured("lasts", self._text, len(self._lengths), self._unsure, min(self._lengths, default=None),
                        max(self._lengths, default=None), None, None)
