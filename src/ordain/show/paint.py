"""Colour for a terminal, or none. Nothing is said by colour alone."""

import os
import re
from typing import NamedTuple, TextIO

_CODES = {"error": "1;31", "warning": "1;33", "note": "1;36", "good": "32", "bad": "31", "doubt": "33", "faint": "2",
          "strong": "1", "mark": "1;31"}

_COLOUR = re.compile(r"\x1b\[[0-9;]*m")


class Paint(NamedTuple):
    """`paint(role, text)`: the text in the colours of a role when `on`, else as it is."""

    on: bool

    def __call__(self, role: str, text: str) -> str:
        return f"\x1b[{_CODES[role]}m{text}\x1b[0m" if self.on and text else text


def wants_colour(choice: str, stream: TextIO) -> bool:
    """`choice` is auto, always or never. Then NO_COLOR, then FORCE_COLOR (any value but the empty one), then whether
    the stream is a terminal that can (TERM is not `dumb`)."""
    if choice != "auto":
        return choice == "always"
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR"):
        return True
    return stream.isatty() and os.environ.get("TERM") != "dumb"


def without_colour(text: str) -> str:
    """The text without our own colour codes."""
    return _COLOUR.sub("", text)


def printable(text: str) -> str:
    """The text with what acts on a terminal instead of being seen (escape sequences, marks that turn the direction of
    writing) shown as `\\x1b`, `\\u202e`; a tab is a space."""
    if text.isprintable():
        return text
    return "".join(ch if ch.isprintable() else " " if ch == "\t" else ch.encode("unicode_escape").decode()
                   for ch in text)
