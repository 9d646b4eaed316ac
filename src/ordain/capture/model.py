"""A capture as data: channels, and what changes on them in the course of time."""

from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple, TypeAlias

Event: TypeAlias = tuple[int, int, int]
"""(time in ticks, level of every channel as the bits of a number, bits of which nothing is known)."""


class Capture(NamedTuple):
    """`channels`: name -> bit of a word, in the order of the file. `tick`: seconds, 0.0 where the file says nothing of
    time. `grid`: ticks between samples, 0 for a list of changes. `events`: begins the file again; each event holds
    until the next one, and the last one says when the capture ends. Reading on may raise BadCapture. `rows`: every
    event is a row of the file, also where nothing has changed."""

    name: str
    channels: Mapping[str, int]
    tick: float
    grid: int
    events: Callable[[], Iterator[Event]]
    notes: tuple[str, ...] = ()
    rows: bool = False


class BadCapture(Exception):
    """A file that is no capture, or one that is broken. `line`: of a text file, 0 where there is none."""

    def __init__(self, message: str, help: str, line: int = 0) -> None:
        super().__init__(message)
        self.message, self.help, self.line = message, help, line


MOST_CHANNELS = 4096
MOST_TIME = 1 << 80
"""Ticks; more is a slip or a broken file."""
