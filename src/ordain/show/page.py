"""What output is written on: its width and its colour. Lines are folded between words, cells stand in columns.

Text here may hold our own colour codes, which take no room; whatever comes from a file has gone through `printable`
before.
"""

import os
import re
import unicodedata
from collections.abc import Iterable, Sequence
from typing import NamedTuple, TextIO

from ordain.show.paint import Paint, wants_colour, without_colour

PIPE = 100
"""Columns of what is drawn where there is no terminal to ask."""

_NARROW_CELL = 24
"""The last cell of a row is folded inside its column only where that leaves it so many columns."""


class Page(NamedTuple):
    """`width`: columns for traces, diagrams and excerpts. `folds`: whether lines of prose are folded to it, too; in a
    pipe they are not, so that a search finds whole sentences."""

    paint: Paint
    width: int = PIPE
    folds: bool = False

    def indented(self, columns: int) -> "Page":
        """The page that is left beside a margin."""
        return self._replace(width=max(1, self.width - columns))


PLAIN = Page(Paint(False))


def page_on(stream: TextIO, colour: str) -> Page:
    """The page that a stream is: as wide as COLUMNS says, else as its terminal. `colour`: auto, always, never."""
    paint = Paint(wants_colour(colour, stream))
    given = os.environ.get("COLUMNS", "")
    if given.isdecimal() and int(given) > 0:
        return Page(paint, int(given), True)
    try:
        columns = os.get_terminal_size(stream.fileno()).columns if stream.isatty() else 0
    except (OSError, ValueError):
        columns = 0
    return Page(paint, columns, True) if columns else Page(paint)


def columns(text: str) -> int:
    """Terminal columns of a text: wide East Asian characters take two, combining ones and colour codes none."""
    text = without_colour(text)
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(ch) else 2 if unicodedata.east_asian_width(ch) in "WF" else 1 for ch in text)


def pad(text: str, width: int) -> str:
    return text + " " * (width - columns(text))


def cut(text: str, width: int, sign: str = "...") -> str:
    """The text, or as much of it as fits with `sign` after it. Without colour."""
    if columns(text) <= width:
        return text
    kept = text
    while kept and columns(kept) + len(sign) > width:
        kept = kept[:-1]
    return kept.rstrip() + sign[:width]


def fold(text: str, page: Page, hang: int = 2) -> list[str]:
    """A line, or several where it is folded between words; what follows is indented by `hang` more than the first. A
    word that is wider than the page stays whole."""
    if not page.folds or columns(text) <= page.width:
        return [text]
    margin = " " * min(len(text) - len(text.lstrip(" ")) + hang, max(0, page.width - 16))
    lines: list[str] = []
    line, used, gap = "", 0, ""
    for token in re.findall(r" +|[^ ]+", text):
        if token[0] == " ":
            gap = token
            continue
        room = columns(token)
        if line.strip() and used + len(gap) + room > page.width:
            lines.append(line)
            line, used, gap = margin, len(margin), ""
        line += gap + token
        used += len(gap) + room
        gap = ""
    return [*lines, line]


def table(rows: Iterable[Sequence[str]], page: Page, *, heads: Sequence[str] = (), indent: int = 0,
          gap: int = 2) -> list[str]:
    """Rows in columns under their `heads`. Columns in which nothing stands are left out; the last cell of a row that is
    too wide goes on below in its own column or, where there is no room, the row is folded."""
    body = [list(row) for row in rows]
    if not body:
        return []
    used = [at for at in range(len(body[0])) if any(row[at] for row in body)]
    cells = [[row[at] for at in used] for row in ([list(heads)] if heads else []) + body]
    widths = [max(columns(row[at]) for row in cells) for at in range(len(used))]
    margin = " " * indent
    lines: list[str] = []
    for row in cells:
        before = "".join(pad(text, width) + " " * gap for text, width in zip(row[:-1], widths))
        start = indent + columns(before)
        left = page.width - start
        if row[-1] and left >= _NARROW_CELL:
            first, *more = fold(row[-1], page._replace(width=left), 0)
            lines.append(margin + before + first)
            lines += [" " * start + line for line in more]
        else:
            lines += fold((margin + before + row[-1]).rstrip(), page)
    return [line.rstrip() for line in lines]
