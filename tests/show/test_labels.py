"""Stickers: well-formed, unique ids, real sizes, nothing over its edge, the same every time."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from itertools import pairwise

import pytest

from ordain.language.tree import SourceFile
from ordain.rom.contents import ChipRecord
from ordain.rom.sums import sums_of
from ordain.show.labels import Sheet, labels_svg, sources_mark, sticker_for
from tests.show.builds import windmill

SVG = "{http://www.w3.org/2000/svg}"
SOURCES = [SourceFile("a.machine", "0" * 64), SourceFile("b.micro", "1" * 64)]
SIZES = [(8192, 8), (256, 4), (2048, 8), (4096, 8), (65536, 8), (65536, 16), (524288, 8), (512, 8), (1024, 4)]


def chips(count: int, name: str = "U{}") -> list[ChipRecord]:
    return [ChipRecord(name.format(number), *SIZES[number % len(SIZES)], 1, "", sums_of(bytes([number]), 8), ())
            for number in range(count)]


def sheet(count: int = 9, date: str = "1987-06-05", name: str = "U{}", copies: int = 1, paper: str = "a4") -> str:
    return labels_svg(windmill().contents.machine, chips(count, name), SOURCES, Sheet(date, copies, paper))


def stickers(text: str) -> Iterator[tuple[float, float, float, float, ET.Element]]:
    """(left, top, width, height, element) of every sticker."""
    for group in ET.fromstring(text).iter(f"{SVG}g"):
        if group.get("id", "").startswith("sticker-"):
            left, top = map(float, re.findall(r"[\d.]+", group.get("transform", "")))
            rect = group.find(f"{SVG}rect")
            assert rect is not None
            yield left, top, float(rect.get("width", 0)), float(rect.get("height", 0)), group


@pytest.mark.parametrize("paper, page_width, page_height", [("a4", 210, 297), ("letter", 215.9, 279.4)])
@pytest.mark.parametrize("count, copies", [(0, 1), (1, 1), (9, 1), (200, 1), (9, 7)])
def test_stickers_lie_apart_on_whole_pages(count: int, copies: int, paper: str, page_width: float,
                                           page_height: float) -> None:
    """A4: ISO 216. Letter: 8.5 x 11 inches of 25.4 mm."""
    text = sheet(count, copies=copies, paper=paper)
    root = ET.fromstring(text)
    height = float(root.get("height", "").removesuffix("mm"))
    pages = round(height / page_height)
    assert root.get("width") == f"{page_width}mm" and height == pytest.approx(pages * page_height) and pages >= 1
    assert root.get("viewBox") == f"0 0 {page_width} {height:g}"
    placed = list(stickers(text))
    assert len(placed) == count * copies
    for left, top, wide, high, _ in placed:
        assert left >= 12 and left + wide <= page_width - 12 and top >= 12 and top + high <= height - 12
        assert top // page_height == (top + high) // page_height, "cut by the end of a page"
    for number, (left, top, wide, high, _) in enumerate(placed):
        for left2, top2, wide2, high2, _ in placed[:number]:
            assert left >= left2 + wide2 or left2 >= left + wide or top >= top2 + high2 or top2 >= top + high


@pytest.mark.parametrize("name", ["U{}", "PROM_of_the_long_board_{}"])
def test_no_text_runs_over_the_edge_or_into_another(name: str) -> None:
    """A fixed-pitch letter is 0.6 of its size wide (common practice, no source)."""
    for _, _, wide, high, group in stickers(sheet(name=name)):
        rows: dict[str, list[tuple[float, float]]] = {}
        for text in group.iter(f"{SVG}text"):
            size, x, y = (float(text.get(key, 0)) for key in ("font-size", "x", "y"))
            width = 0.6 * size * len(text.text or "")
            left = x - width if text.get("text-anchor") == "end" else x
            assert left >= 1 and left + width <= wide and y <= high - 0.5 and y - size >= -0.2
            rows.setdefault(text.get("y", ""), []).append((left, left + width))
        for row in rows.values():
            row.sort()
            assert all(before[1] <= after[0] for before, after in pairwise(row))


def test_what_stands_on_a_sticker() -> None:
    """A wide one and a slim one; the slim one has no room for the level of erased cells."""
    for number, (_, _, _, _, group) in enumerate([*stickers(sheet())][:2]):
        words = " ".join(text.text or "" for text in group.iter(f"{SVG}text"))
        sums = chips(2)[number].sums
        size = ("8192x8", "256x4")[number]
        for part in (f"U{number}", "windmill", f"sum16 {sums.sum16:04X}", f"crc {sums.crc32:08X}", size,
                     sources_mark(SOURCES), "1987-06-05"):
            assert part in words
        assert ("erased ones" in words) is (number == 0)
        title = group.find(f"{SVG}title")
        assert title is not None and title.text == f"U{number}: {size.replace('x', ' x ')}, sum16 {sums.sum16:04X}"


def test_ids_are_unique_and_the_sheet_is_described() -> None:
    root = ET.fromstring(sheet(200, copies=2))
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert set((root.get("aria-labelledby") or "").split()) <= set(ids)
    assert root.find(f"{SVG}title") is not None and root.find(f"{SVG}desc") is not None


def test_sizes_follow_the_capacity() -> None:
    assert [sticker_for(chip).pins for chip in chips(9)] == [28, 20, 24, 24, 28, 40, 32, 20, 20]


def test_the_mark_changes_with_every_source_and_not_with_their_order() -> None:
    assert sources_mark(SOURCES) == sources_mark(SOURCES[::-1])
    others = [[*SOURCES[:1], SourceFile(*other)] for other in (("b.micro", "2" * 64), ("c.micro", "1" * 64))]
    assert len({sources_mark(sources) for sources in (SOURCES, SOURCES[:1], *others)}) == 4


def test_without_a_date_nothing_stands_for_it_and_the_bytes_are_the_same() -> None:
    assert "1987" not in sheet(date="") and sheet(date="") == sheet(date="")
