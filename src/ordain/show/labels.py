"""Stickers for the chips, `labels.svg`: A4 in real size, to print without scaling and cut out.

A sticker has to cover the window of a UV-erasable part (about 8 mm across) and to lie between the rows of pins. The
body is guessed from the capacity, since a machine file does not name the part: up to 32 Kbit 24 pins, up to 512 Kbit
28, above 32, word-wide parts 40, small or narrow PROMs the slim body. (Sizes of bodies: common practice, no source.)

A sticker says: chip, machine, the 16-bit sum that the programmer shows, size of the device, CRC-32, the beginning of
the SHA-256 of all sources, and the date if one is given: builds of the same sources are the same byte for byte, so no
clock is asked. Its left end goes to the notch.
"""

import hashlib
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ordain.language.tree import SourceFile
from ordain.machine.model import Machine
from ordain.rom.contents import ChipRecord

PAGE_WIDTH, PAGE_HEIGHT = 210.0, 297.0
MARGIN = 12.0
GAP = 4.0
TOP = 30.0
_EM = 0.6
"""Width of a character of a fixed-pitch font, as a part of its size."""


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


def labels_svg(machine: Machine, chips: Sequence[ChipRecord], sources: Sequence[SourceFile], date: str) -> str:
    """The sheet; it is lengthened by whole pages when there are more stickers than fit. `date` may be ""."""
    mark = sources_mark(sources)
    places = list(_laid_out([sticker_for(chip) for chip in chips]))
    bottom = max((y + sticker.height for sticker, _, y in places), default=0) + MARGIN
    pages = max(1, -int(-bottom // PAGE_HEIGHT))
    height = PAGE_HEIGHT * pages
    title = f"Labels for the chips of {machine.name}"
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{PAGE_WIDTH:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {PAGE_WIDTH:g} {height:g}" role="img" aria-labelledby="labels-title labels-desc" '
        'font-family="DejaVu Sans Mono, Liberation Mono, Courier New, monospace" fill="#000">',
        f'<title id="labels-title">{_xml(title)}</title>',
        f'<desc id="labels-desc">{len(chips)} stickers in real size: chip, machine, 16-bit sum, size, CRC-32, sources '
        f'{mark}. Cut along the thin lines; the left end goes to the notch.</desc>',
        f'<rect id="labels-sheet" width="{PAGE_WIDTH:g}" height="{height:g}" fill="#fff"/>',
        *_ruler(title),
    ]
    for chip, (sticker, x, y) in zip(chips, places, strict=True):
        out += _sticker(chip, machine.name, mark, date, sticker, x, y)
    return "\n".join([*out, "</svg>", ""])


def _laid_out(stickers: Sequence[Sticker]) -> Iterator[tuple[Sticker, float, float]]:
    """(sticker, left, top) row by row, in the order of the chips; no row runs over the end of a page."""
    x, y, tallest = MARGIN, TOP, 0.0
    for sticker in stickers:
        if x + sticker.width > PAGE_WIDTH - MARGIN:
            x, y, tallest = MARGIN, y + tallest + GAP, 0.0
        page_end = (y // PAGE_HEIGHT + 1) * PAGE_HEIGHT
        if y + BODIES[0].height > page_end - MARGIN:
            y = page_end + MARGIN
        yield sticker, x, y
        x, tallest = x + sticker.width + GAP, max(tallest, sticker.height)


def _ruler(title: str) -> list[str]:
    """The head of the sheet, with a line to measure whether the printer has scaled it."""
    return [
        f'<text id="labels-head" x="{MARGIN:g}" y="15" font-size="4">{_xml(title)}</text>',
        '<g id="labels-ruler" stroke="#000" stroke-width="0.2">'
        f'<path d="M{MARGIN:g} 20v3m0 -1.5h50m0 -1.5v3" fill="none"/>'
        f'<text x="{MARGIN + 53:g}" y="22.6" font-size="3" stroke="none">50 mm: print at 100 %, without fitting to the '
        'page</text></g>',
    ]


def _sticker(chip: ChipRecord, machine: str, mark: str, date: str, sticker: Sticker, x: float, y: float) -> list[str]:
    name = _xml(chip.name)
    out = [
        f'<g id="sticker-{name}" transform="translate({x:g} {y:g})">',
        f'<title>{name}: {chip.words} x {chip.bits}, sum {chip.sums.sum16:04X}</title>',
        f'<rect width="{sticker.width:g}" height="{sticker.height:g}" fill="none" stroke="#000" stroke-width="0.15"/>',
        f'<path d="M0 {sticker.height / 2 - 1:g}a1 1 0 0 1 0 2" fill="none" stroke="#000" stroke-width="0.25"/>',
    ]
    left, right = 2.0, sticker.width - 1.0
    room = right - left
    sum16, crc32 = f"{chip.sums.sum16:04X}", f"{chip.sums.crc32:08X}"
    if sticker is SLIM:
        out += _ends(chip.name, machine, left, right, 2.5, 2.3)
        out += _ends(f"sum {sum16}", "", left, right, 4.9, 2.1)
    else:
        out += _ends(chip.name, machine, left, right, 4.2, 4.0)
        out += _ends(f"sum {sum16}", f"{chip.words}x{chip.bits}", left, right, 7.1, 2.4)
        out.append(_text(f"crc {crc32}", left, 9.2, _fitting(f"crc {crc32}", room, 1.8)))
        last = f"src {mark}" + (f" {date}" if date else "")
        out.append(_text(last, left, 11.2, _fitting(last, room, 1.8)))
    return [*out, "</g>"]


def _ends(first: str, second: str, left: float, right: float, baseline: float, size: float) -> list[str]:
    """One text in bold at the left end and another at the right, both shrunk until they fit side by side."""
    ratio = 0.72                                    # of the second's size to the first's
    em = _EM * (len(first) + ratio * (len(second) + 1 if second else 0))
    size = min(size, (right - left) / em)
    out = [_text(first, left, baseline, size, ' font-weight="bold"')]
    if second:
        out.append(_text(second, right, baseline, size * ratio, ' text-anchor="end"'))
    return out


def _fitting(text: str, room: float, size: float) -> float:
    return min(size, room / (_EM * len(text)))


def _text(text: str, x: float, y: float, size: float, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}" font-size="{size:.3g}"{more}>{_xml(text)}</text>'


def _xml(text: str) -> str:
    shown = "".join(letter if letter.isprintable() else "?" for letter in text)
    return shown.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
