"""A step card as a page to print: HTML with one SVG for each sheet, A4 or letter, black on white.

Nothing is coloured and nothing is fetched: a lamp that must be lit is a filled circle, a dark one an empty one, one
that may be either a dashed one. Sizes are in millimetres; lamps and letters are to be read from arm's length (common
practice, no source).
"""

from collections.abc import Iterator
from typing import NamedTuple

from ordain.bench.model import Card, Lit
from ordain.machine.model import LampRow, Machine
from ordain.rom.contents import Contents
from ordain.show.card import CAUTIONS, CardStep, all_inputs, begins, legend, letters, readings, told
from ordain.show.labels import MARGIN, PAPERS
from ordain.show.page import PLAIN, cut, fold

_EM = 0.602
"""Width of a character of a fixed-pitch font, as a part of its size."""
_TEXT, _HEAD, _ADDRESS, _LEAD = 3.2, 5.0, 4.6, 4.4
_PITCH, _RADIUS = 4.4, 1.7
_INDENT = 12.0
"""From the box to tick to what stands beside it."""


class _Piece(NamedTuple):
    """Something that stands on one sheet whole: its height, and its lines of SVG at the top left."""

    height: float
    svg: list[str]


def card_page(contents: Contents, card: Card, paper: str) -> str:
    """The whole document."""
    width, height = PAPERS[paper]
    room = width - 2 * MARGIN
    sheets: list[list[tuple[float, _Piece]]] = [[]]
    top = MARGIN
    for piece in _pieces(contents, card, room):
        if sheets[-1] and top + piece.height > height - MARGIN - 6:
            sheets.append([])
            top = MARGIN
        sheets[-1].append((top, piece))
        top += piece.height
    title = f"{contents.machine.name}: {card.title}"
    lines = ["<!DOCTYPE html>", '<html lang="en">', "<head>", '<meta charset="utf-8">', f"<title>{_xml(title)}</title>",
             "<style>", f"@page {{ size: {width:g}mm {height:g}mm; margin: 0 }}",
             "body { margin: 0; background: #fff }", "svg { display: block; break-after: page }", "</style>", "</head>",
             "<body>"]
    for number, sheet in enumerate(sheets, 1):
        lines += [f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" viewBox="0 0 '
                  f'{width:g} {height:g}" role="img" font-family="DejaVu Sans Mono, Liberation Mono, Courier New, '
                  f'monospace" font-size="{_TEXT:g}" fill="#000">',
                  f"<title>{_xml(title)}, sheet {number} of {len(sheets)}</title>",
                  f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>']
        for top, piece in sheet:
            lines += [f'<g transform="translate({MARGIN:g} {top:.1f})">', *piece.svg, "</g>"]
        lines += [_text(f"{contents.machine.name}: {card.title}"[:70], MARGIN, height - MARGIN + 2, 2.8),
                  f'<text x="{width - MARGIN:g}" y="{height - MARGIN + 2:g}" font-size="2.8" text-anchor="end">'
                  f"sheet {number} of {len(sheets)}</text>", "</svg>"]
    return "\n".join([*lines, "</body>", "</html>", ""])


def _pieces(contents: Contents, card: Card, room: float) -> Iterator[_Piece]:
    machine = contents.machine
    yield _heading(machine, card, room)
    for step in told(contents, card):
        yield _step(machine, step, room)
    if card.ending:
        yield _paragraphs([(card.ending, _TEXT, "")], room)


def _heading(machine: Machine, card: Card, room: float) -> _Piece:
    count = len(card.steps)
    paragraphs = [(f"{machine.name}: {card.title}", _HEAD, ' font-weight="bold"'),
                  (f"{count} clock{'s' if count != 1 else ''}. Tick a clock when every lamp is as it stands here.",
                   _TEXT, "")]
    paragraphs += [(caution, 2.8, "") for caution in CAUTIONS]
    paragraphs += [(f"{letter}  {what}", _TEXT, "") for letter, what in legend(machine)]
    if quiet := all_inputs(machine, card):
        paragraphs.append((quiet, _TEXT, ""))
    if card.begins:
        paragraphs.append((f"it begins with {begins(machine, card)}", _TEXT, ""))
    found = _paragraphs(paragraphs, room)
    if not machine.lamps:
        return found
    y = found.height + 2
    key = [*_lamp(2, y, 1), _text("lit", 5, y + 1.1, _TEXT), *_lamp(18, y, 0), _text("dark", 21, y + 1.1, _TEXT),
           *_lamp(36, y, None), _text("either: it depends on data", 39, y + 1.1, _TEXT)]
    return _Piece(y + 5, [*found.svg, *key])


def _paragraphs(texts: list[tuple[str, float, str]], room: float, x: float = 0.0) -> _Piece:
    """Texts with their sizes, one below the other, folded to the room."""
    svg, y = [], 0.0
    for text, size, more in texts:
        for line in _folded(text, size, room - x):
            y += size * 1.35
            svg.append(_text(line, x, y, size, more))
    return _Piece(y + 2, svg)


def _folded(text: str, size: float, room: float) -> list[str]:
    return fold(text, PLAIN._replace(width=max(20, int(room / (size * _EM))), folds=True), 2)


def _step(machine: Machine, step: CardStep, room: float) -> _Piece:
    """A line above it, what to set, the box, the microinstruction, the rows of lamps, what it depends on."""
    svg = [f'<path d="M0 0h{room:g}" stroke="#000" stroke-width="0.2"/>']
    y = 1.0
    if step.set:
        for line in _folded(f"before it, set {', '.join(step.set)}", _TEXT, room - _INDENT):
            y += _LEAD
            svg.append(_text(line, _INDENT, y, _TEXT, ' font-weight="bold"'))
    top = y + 1.2
    svg.append(f'<rect x="0.5" y="{top:.1f}" width="6" height="6" fill="none" stroke="#000" stroke-width="0.4"/>')
    y = top + 4.8
    head = cut(f"{step.number}  {step.address}  {step.label}", int((room - _INDENT) / (_ADDRESS * _EM)))
    svg.append(_text(head, _INDENT, y, _ADDRESS, ' font-weight="bold"'))
    if step.orders:
        for line in _folded(step.orders, _TEXT, room - _INDENT):
            y += _LEAD
            svg.append(_text(line, _INDENT, y, _TEXT))
    y += 1.5
    for letter, row, lamps in zip(letters(len(machine.lamps)), machine.lamps, step.lamps):
        lines, y = _row(letter, row, lamps, y, room)
        svg += lines
    notes = [f"goes on so with {', '.join(step.needs)}"] if step.needs else []
    notes += [f"a choice: otherwise than with {', '.join(step.depends)} another word follows"] if step.depends else []
    y += 1
    for note in notes:
        for line in _folded(note, _TEXT, room - _INDENT):
            y += _LEAD
            svg.append(_text(line, _INDENT, y, _TEXT, ' font-style="italic"'))
    return _Piece(y + 4, svg)


def _row(letter: str, row: LampRow, lamps: tuple[Lit, ...], y: float, room: float) -> tuple[list[str], float]:
    """The lamps of a row, several lines of them where the paper is too narrow, and what they read."""
    most = max(1, int((room - _INDENT - 6) / _PITCH))
    svg = []
    places = list(zip(row.lamps, lamps))
    for first in range(0, len(places), most):
        y += _PITCH
        svg.append(_text(letter, _INDENT, y + 1.1, _TEXT, ' font-weight="bold"'))
        for at, (lamp, level) in enumerate(places[first:first + most]):
            if lamp is not None:
                svg += _lamp(_INDENT + 7 + at * _PITCH, y, level)
    read, x = readings(row, lamps), _INDENT + 7 + (len(places) % most or most) * _PITCH + 2
    if read and len(read) * _TEXT * _EM <= room - x:
        svg.append(_text(read, x, y + 1.1, _TEXT))
    elif read:
        for line in _folded(read, _TEXT, room - _INDENT - 6):
            y += _LEAD
            svg.append(_text(line, _INDENT + 6, y + 1.1, _TEXT))
    return svg, y + 0.6


def _lamp(x: float, y: float, level: Lit) -> list[str]:
    look = 'fill="#000"' if level else 'fill="none"'
    dashed = ' stroke-dasharray="0.5 0.9"' if level is None else ""
    return [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_RADIUS:g}" {look} stroke="#000" stroke-width="0.35"{dashed}/>']


def _text(text: str, x: float, y: float, size: float, more: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" xml:space="preserve"{more}>{_xml(text)}</text>'


def _xml(text: str) -> str:
    shown = "".join(letter if letter.isprintable() else "?" for letter in text)
    return shown.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
