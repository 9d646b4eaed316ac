"""The picture of a terminal in README: what `ordain prove` says in colour, as SVG. `python -m tests.docs.picture` draws
docs/prove.svg again, after a change of what the program says."""

import os
import re
import subprocess
import sys
from tempfile import TemporaryDirectory
from xml.sax.saxutils import escape

from tests.docs.pages import ROOT

PICTURE = ROOT / "docs" / "prove.svg"
PLACE = ROOT / "examples" / "pause-fight" / "broken"
COLUMNS = 98
LEFT, TOP, HIGH, WIDE = 16, 44, 18, 8.43
"""Margins, and the size of a character cell of the font at 14 pixels."""
PAPER, INK = "#1b2b34", "#d8dee4"
INKS = {"31": "#ff7b72", "32": "#8fd694", "33": "#f2cc60", "36": "#7cc7e8", "2": "#8b9aa5"}
_CODE = re.compile(r"\x1b\[([0-9;]*)m")


def said() -> str:
    """What the command says, with its colour codes."""
    with TemporaryDirectory() as kept:
        own = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "FORCE_COLOR")}
        return subprocess.run(
            [sys.executable, "-m", "ordain", "prove", "--no-cache", "--color", "always"], cwd=PLACE,
            env={**own, "COLUMNS": str(COLUMNS), "XDG_CACHE_HOME": kept, "PYTHONIOENCODING": "utf-8"},
            capture_output=True, text=True, check=False, encoding="utf-8").stdout


def drawn(text: str) -> str:
    """The lines as an SVG: each piece of one colour stands at its own column."""
    lines = ["$ ordain prove", *text.rstrip("\n").split("\n")]
    width, height = LEFT * 2 + COLUMNS * WIDE, TOP + HIGH * len(lines) + 10
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height}" '
             f'viewBox="0 0 {width:.0f} {height}" role="img" aria-label="what ordain prove says about a fight">',
             f'<rect width="100%" height="100%" rx="8" fill="{PAPER}"/>',
             f'<text x="{LEFT}" y="24" font-family="sans-serif" font-size="13" fill="#8b9aa5">'
             "examples/pause-fight/broken</text>",
             '<g font-family="DejaVu Sans Mono, Menlo, Consolas, monospace" font-size="14" xml:space="preserve">']
    for number, line in enumerate(lines):
        for column, ink, strong, piece in _pieces(line):
            bold = ' font-weight="bold"' if strong else ""
            length = f' textLength="{len(piece) * WIDE:.1f}" lengthAdjust="spacingAndGlyphs"'
            parts.append(f'<text x="{LEFT + column * WIDE:.1f}" y="{TOP + HIGH * (number + 1) - 5}" fill="{ink}"{bold}'
                         f'{length}>{escape(piece)}</text>')
    return "\n".join([*parts, "</g>", "</svg>", ""])


def _pieces(line: str) -> list[tuple[int, str, bool, str]]:
    """(column, colour, bold, text) of everything in a line that is not blank."""
    found = []
    column, ink, strong = 0, INK, False
    for index, part in enumerate(_CODE.split(line)):
        if index % 2:
            codes = part.split(";")
            strong = "1" in codes
            ink = next((INKS[code] for code in codes if code in INKS), INK)
        else:
            found += [(column + words.start(), ink, strong, words[0]) for words in re.finditer(r"\S+(?: \S+)*", part)]
            column += len(part)
    return found


if __name__ == "__main__":
    PICTURE.write_text(drawn(said()), encoding="utf-8")
