"""A source file held in memory, and places in it."""

from bisect import bisect_right
from typing import NamedTuple


class Source:
    """One text file. `name` is what people are shown: relative to the machine file's directory, never absolute.

    Invariant: `text` is exactly the decoded file; offsets in spans count characters of it.
    """

    __slots__ = ("_starts", "name", "text")

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        self.text = text
        self._starts: list[int] | None = None

    def line_starts(self) -> list[int]:
        """Offset of the first character of every line; computed at the first request."""
        if self._starts is None:
            starts, at = [0], self.text.find("\n")
            while at >= 0:
                starts.append(at + 1)
                at = self.text.find("\n", at + 1)
            self._starts = starts
        return self._starts

    def line_column(self, offset: int) -> tuple[int, int]:
        """Line and column, both from 1, of an offset in characters."""
        starts = self.line_starts()
        line = bisect_right(starts, offset)
        return line, offset - starts[line - 1] + 1

    def line_text(self, line: int) -> str:
        """The text of a line (from 1) without its end."""
        starts = self.line_starts()
        end = starts[line] - 1 if line < len(starts) else len(self.text)
        return self.text[starts[line - 1]:end]


class Span(NamedTuple):
    """The characters `start` up to but not including `end` of a source."""

    source: Source
    start: int
    end: int

    @property
    def line(self) -> int:
        return self.source.line_column(self.start)[0]

    @property
    def column(self) -> int:
        return self.source.line_column(self.start)[1]

    @property
    def text(self) -> str:
        return self.source.text[self.start:self.end]

    def __str__(self) -> str:
        line, column = self.source.line_column(self.start)
        return f"{self.source.name}:{line}:{column}"
