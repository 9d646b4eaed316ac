"""Stickers for the chips, `labels.svg`: paper in real size, to print without scaling and cut out.

A sticker has to cover the window of a UV-erasable part (about 8 mm across) and to lie between the rows of pins. The
body is guessed from the capacity, since a machine file does not name the part: up to 32 Kbit 24 pins, up to 512 Kbit
28, above 32, word-wide parts 40, small or narrow PROMs the slim body. (Sizes of bodies: common practice, no source.)

A sticker says: chip, machine, the 16-bit sum that the programmer shows, size of the device, CRC-32, what erased cells
read, the beginning of the SHA-256 of all sources, and the date if one is given: builds of the same sources are the same
byte for byte, so no clock is asked. Its left end goes to the notch.
"""

import hashlib
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ordain.language.tree import SourceFile
from ordain.machine.model import Machine
from ordain.rom.contents import ChipRecord

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in millimetres: ISO 216; ANSI/ASME Y14.1, size A."""

MARGIN = 12.0
GAP = 4.0
TOP = 30.0
_EM = 0.6
"""Width of a character of a fixed-pitch font, as a part of its size."""


class Sheet(NamedTuple):
    """How the stickers are printed: `copies` of each, on a paper of `PAPERS`, with a text for the date or ""."""

    date: str = ""
    copies: int = 1
    paper: str = "a4"


ONE_OF_EACH = Sheet()


class Sticker(NamedTuple):
    """The size of a sticker in millimetres and the number of pins of the body that it is for."""

    pins: int
    width: float
    height: float


SLIM = Sticker(20, 17.0, 5.6)
BODIES = (Sticker(24, 26.0, 12.0), Sticker(28, 30.0, 12.0), Sticker(32, 34.0, 12.0), Sticker(40, 44.0, 12.0))


def sticker_for(chip: ChipRecord) -> Sticker:
    """The sticker for the body in which a device of this size most likely comes."""
    size = chip.words * chip.bits
    if chip.bits > 8:
        return BODIES[3]
    if chip.bits < 8 or chip.words <= 512:
        return SLIM
    return BODIES[0] if size <= 32 * 1024 else BODIES[1] if size <= 512 * 1024 else BODIES[2]


def sources_mark(sources: Sequence[SourceFile]) -> str:
    """Eight digits that change with every change of any source."""
    joined = "".join(f"{source.name}\0{source.sha256}\n" for source in sorted(sources))
    return hashlib.sha256(joined.encode()).hexdigest()[:8]


def labels_svg(machine: Machine, chips: Sequence[ChipRecord], sources: Sequence[SourceFile], sheet: Sheet) -> str:
    """The sheet; it is lengthened by whole pages when there are more stickers than fit."""
    mark = sources_mark(sources)
    page_width, page_height = PAPERS[sheet.paper]
    shown = [(chip, copy) for copy in range(sheet.copies) for chip in chips]
    places = list(_laid_out([sticker_for(chip) for chip, _ in shown], page_width, page_height))
    bottom = max((y + sticker.height for sticker, _, y in places), default=0) + MARGIN
    height = page_height * max(1, -int(-bottom // page_height))
    title = f"Labels for the chips of {machine.name}"
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{page_width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {page_width:g} {height:g}" role="img" aria-labelledby="labels-title labels-desc" '
        'font-family="DejaVu Sans Mono, Liberation Mono, Courier New, monospace" fill="#000">',
        f'<title id="labels-title">{_xml(title)}</title>',
        f'<desc id="labels-desc">{len(shown)} stickers in real size: chip, machine, 16-bit sum, size, CRC-32, level of '
        f'erased cells, sources {mark}. Cut along the thin lines; the left end goes to the notch.</desc>',
        f'<rect id="labels-sheet" width="{page_width:g}" height="{height:g}" fill="#fff"/>',
        *_head(title),
    ]
    for (chip, copy), (sticker, x, y) in zip(shown, places, strict=True):
        out += _sticker(chip, copy, machine.name, mark, sheet.date, sticker, x, y)
    return "\n".join([*out, "</svg>", ""])


def _laid_out(stickers: Sequence[Sticker], page_width: float,
              page_height: float) -> Iterator[tuple[Sticker, float, float]]:
    """(sticker, left, top) row by row, in the order of the chips; no row runs over the end of a page."""
    x, y, tallest = MARGIN, TOP, 0.0
    for sticker in stickers:
        if x + sticker.width > page_width - MARGIN:
            x, y, tallest = MARGIN, y + tallest + GAP, 0.0
        page_end = (y // page_height + 1) * page_height
        if y + BODIES[0].height > page_end - MARGIN:
            y = page_end + MARGIN
        yield sticker, x, y
        x, tallest = x + sticker.width + GAP, max(tallest, sticker.height)


def _head(title: str) -> list[str]:
    """The head of the sheet: what it is, a line to measure whether the printer has scaled it, what the sum is."""
    return [
        f'<text id="labels-head" x="{MARGIN:g}" y="15" font-size="4">{_xml(title)}</text>',
        '<g id="labels-ruler" stroke="#000" stroke-width="0.2">'
        f'<path d="M{MARGIN:g} 20v3m0 -1.5h50m0 -1.5v3" fill="none"/>'
        f'<text x="{MARGIN + 53:g}" y="22.6" font-size="3" stroke="none">50 mm: print at 100 %, without fitting to the '
        'page</text></g>',
        f'<text id="labels-sums" x="{MARGIN:g}" y="27" font-size="2.5">sum16: all bytes added up, the last 16 bits, as '
        'most programmers show it. The left end goes to the notch.</text>',
    ]


def _sticker(chip: ChipRecord, copy: int, machine: str, mark: str, date: str, sticker: Sticker, x: float,
             y: float) -> list[str]:
    name = _xml(chip.name)
    left, right = 2.0, sticker.width - 1.0
    sum16, crc, size = f"sum16 {chip.sums.sum16:04X}", f"crc {chip.sums.crc32:08X}", f"{chip.words}x{chip.bits}"
    erased, sources = f"erased {'ones' if chip.erased else 'zeros'}", f"src {mark}"
    if sticker is SLIM:                         # four short rows: the body is 6 mm wide
        rows = [((chip.name, machine), 1.65, 1.6), ((sum16, size), 2.95, 1.35), ((crc, ""), 4.0, 1.1),
                ((sources, date), 5.05, 1.1)]
    else:
        rows = [((chip.name, machine), 4.2, 4.0), ((sum16, size), 7.1, 2.4), ((crc, erased), 9.2, 1.8),
                ((sources, date), 11.2, 1.8)]
    out = [
        f'<g id="sticker-{name}{f"-{copy + 1}" if copy else ""}" transform="translate({x:g} {y:g})">',
        f'<title>{name}: {chip.words} x {chip.bits}, {sum16}</title>',
        f'<rect width="{sticker.width:g}" height="{sticker.height:g}" fill="none" stroke="#000" stroke-width="0.15"/>',
        f'<path d="M0 {sticker.height / 2 - 1:g}a1 1 0 0 1 0 2" fill="none" stroke="#000" stroke-width="0.25"/>',
    ]
    for number, ((first, second), baseline, height) in enumerate(rows):
        out += _ends(first, second, left, right, baseline, height, ' font-weight="bold"' if number < 2 else "")
    return [*out, "</g>"]


def _ends(first: str, second: str, left: float, right: float, baseline: float, size: float,
          weight: str) -> list[str]:
    """One text at the left end and another at the right, both shrunk until they fit side by side."""
    ratio = 0.72 if weight else 1.0             # of the second's size to the first's
    em = _EM * (len(first) + ratio * (len(second) + 1 if second else 0))
    size = min(size, (right - left) / em)
    out = [_text(first, left, baseline, size, weight)]
    if second:
        out.append(_text(second, right, baseline, size * ratio, ' text-anchor="end"'))
    return out


def _text(text: str, x: float, y: float, size: float, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}" font-size="{size:.3g}"{more}>{_xml(text)}</text>'


def _xml(text: str) -> str:
    shown = "".join(letter if letter.isprintable() else "?" for letter in text)
    return shown.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
