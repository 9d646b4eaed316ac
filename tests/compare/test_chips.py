"""What a chip needs, held against devices that are erased and programmed bit by bit as parts are."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.compare.chips import Cells, ChipChange, Step, chip_change, chip_changes
from ordain.machine.model import Chip
from ordain.text.source import Source, Span

SPAN = Span(Source("t.machine", ""), 0, 0)


def chip(words: int = 16, bits: int = 8, erased: int = 1, technology: str = "uv", sector: int = 0,
         name: str = "U1") -> Chip:
    return Chip(name, words, bits, erased, technology, sector, (), SPAN)


class Device:
    """A part as its data sheet has it (common practice, no source): a list of cells, each a list of bits. It refuses
    what a part of its kind cannot do, and counts its erasures."""

    def __init__(self, part: Chip, image: bytes) -> None:
        self.part, self.cells = part, unpacked(part, image)
        self.erasures: list[range] = []

    def erase(self, cells: range) -> None:
        self.erasures.append(cells)
        for cell in cells:
            self.cells[cell] = [self.part.erased] * self.part.bits

    def program(self, cell: int, bits: list[int]) -> None:
        for place, level in enumerate(bits):
            if level != self.cells[cell][place]:
                assert level != self.part.erased, "programming cannot bring a bit back to its erased level"
                self.cells[cell][place] = level

    def follow(self, steps: tuple[Step, ...], image: bytes) -> None:
        wanted = unpacked(self.part, image)
        for action, (first, last) in steps:
            cells = range(first, last + 1)
            technology = self.part.technology
            match action:
                case "erase":
                    assert technology in ("uv", "flash", "") and cells == range(self.part.words)
                    self.erase(cells)
                case "erase sector":
                    size = self.part.sector
                    assert technology == "flash" and first % size == 0 and cells == range(
                        first, min(first + size, self.part.words))
                    self.erase(cells)
                case "fresh part":
                    assert cells == range(self.part.words)
                    self.erase(cells)
                case "write":
                    assert technology == "eeprom"
                    for cell in cells:
                        self.cells[cell] = list(wanted[cell])
                case "program":
                    for cell in cells:
                        self.program(cell, wanted[cell])


def unpacked(part: Chip, image: bytes) -> list[list[int]]:
    size = -(-part.bits // 8)
    return [[int.from_bytes(image[at:at + size], "little") >> bit & 1 for bit in range(part.bits)]
            for at in range(0, len(image), size)]


def packed(part: Chip, cells: list[int]) -> bytes:
    return b"".join(cell.to_bytes(-(-part.bits // 8), "little") for cell in cells)


@st.composite
def cases(draw: st.DrawFn) -> tuple[Chip, bytes, bytes]:
    """A part, its image, and another: near it, or made of it by programming alone, or anything."""
    technology = draw(st.sampled_from(["uv", "once", "eeprom", "flash", ""]))
    words, bits = draw(st.integers(1, 24)), draw(st.sampled_from([1, 4, 8, 12, 16]))
    sector = draw(st.integers(1, words)) if technology == "flash" else 0
    part = chip(words, bits, draw(st.integers(0, 1)), technology, sector)
    full = (1 << bits) - 1
    value = st.one_of(st.just(full if part.erased else 0), st.integers(0, full))
    old = draw(st.lists(value, min_size=words, max_size=words))
    new = list(old)
    for cell in draw(st.lists(st.integers(0, words - 1), max_size=words)):
        other = draw(value)
        onward = draw(st.booleans())
        new[cell] = (new[cell] & other if part.erased else new[cell] | other) if onward else other
    return part, packed(part, old), packed(part, new)


@given(cases())
def test_the_steps_end_with_the_new_image(case: tuple[Chip, bytes, bytes]) -> None:
    part, old, new = case
    device = Device(part, old)
    device.follow(chip_change(part, old, new).steps, new)
    assert device.cells == unpacked(part, new)


@given(cases())
def test_nothing_is_erased_or_touched_without_need(case: tuple[Chip, bytes, bytes]) -> None:
    """Every erasure has, among its cells, one that programming alone would not bring to its new content."""
    part, old, new = case
    change = chip_change(part, old, new)
    device = Device(part, old)
    device.follow(change.steps, new)
    before, after = unpacked(part, old), unpacked(part, new)
    for cells in device.erasures:
        assert any(was != part.erased and now == part.erased
                   for cell in cells for was, now in zip(before[cell], after[cell]))
    erased = {cell for cells in device.erasures for cell in cells}
    for action, (first, last) in change.steps:
        if action in ("program", "write"):
            assert all(cell in erased or before[cell] != after[cell] for cell in range(first, last + 1))


@given(cases())
def test_the_changed_cells_are_counted_and_named(case: tuple[Chip, bytes, bytes]) -> None:
    part, old, new = case
    change = chip_change(part, old, new)
    differing = [cell for cell, pair in enumerate(zip(unpacked(part, old), unpacked(part, new))) if pair[0] != pair[1]]
    assert change.cells == len(differing)
    assert [cell for run in change.where for cell in range(run.first, run.last + 1)] == differing
    assert all(later.first > earlier.last + 1 for earlier, later in zip(change.where, change.where[1:]))
    assert (change.kind == "unchanged") == (old == new)


@given(cases())
def test_a_part_of_unknown_content_gets_its_image_too(case: tuple[Chip, bytes, bytes]) -> None:
    part, old, new = case
    (change,) = chip_changes({"U1": part}, {}, {"U1": part}, {"U1": new})
    assert change.kind == "unknown"
    device = Device(part, old)
    device.follow(change.steps, new)
    assert device.cells == unpacked(part, new)


@pytest.mark.parametrize("technology, sector, kind, first", [
    ("uv", 0, "erase", Step("erase", Cells(0, 15))),
    ("", 0, "renew", Step("erase", Cells(0, 15))),
    ("once", 0, "replace", Step("fresh part", Cells(0, 15))),
    ("eeprom", 0, "over", Step("write", Cells(5, 5))),
    ("flash", 4, "sectors", Step("erase sector", Cells(4, 7))),
    ("flash", 16, "erase", Step("erase", Cells(0, 15))),
])
def test_a_bit_that_has_to_go_back(technology: str, sector: int, kind: str, first: Step) -> None:
    old = bytes([0x0F] * 16)
    new = old[:5] + b"\x1F" + old[6:]
    change = chip_change(chip(technology=technology, sector=sector), old, new)
    assert (change.kind, change.cells, change.returning, change.steps[0]) == (kind, 1, 1, first)


@pytest.mark.parametrize("erased, before, after, kind", [
    (1, 0xFF, 0x0F, "over"), (1, 0x0F, 0xFF, "erase"), (0, 0x0F, 0xFF, "over"), (0, 0xFF, 0x0F, "erase")])
def test_the_erased_level_decides(erased: int, before: int, after: int, kind: str) -> None:
    old, new = bytes([0x55, before]), bytes([0x55, after])
    assert chip_change(chip(2, erased=erased), old, new).kind == kind


def test_sectors_that_only_need_programming_are_left_standing() -> None:
    """Cell 1 goes on, cell 6 goes back: only the second sector of four is erased, and is filled again whole."""
    old = bytes([0xF0] * 8)
    new = bytes([0xF0, 0x70, 0xF0, 0xF0, 0xF0, 0xFF, 0xF1, 0xF0])
    change = chip_change(chip(8, technology="flash", sector=4), old, new)
    assert change.steps == (Step("erase sector", Cells(4, 7)), Step("program", Cells(1, 1)),
                            Step("program", Cells(4, 4)), Step("program", Cells(6, 7)))


def test_chips_that_come_go_and_become_other_parts() -> None:
    old: dict[str, Any] = {"U1": chip(4), "U2": chip(4, name="U2"), "U3": chip(4, name="U3")}
    new: dict[str, Any] = {"U1": chip(4), "U2": chip(8, name="U2"), "U4": chip(4, name="U4")}
    empty = {"U1": bytes(4), "U2": bytes(4), "U3": bytes(4)}
    found: dict[str, ChipChange] = {change.chip: change for change in chip_changes(
        old, empty, new, {"U1": bytes(4), "U2": bytes(8), "U4": bytes(4)})}
    assert {name: change.kind for name, change in found.items()} == {
        "U1": "unchanged", "U2": "replace", "U4": "new", "U3": "gone"}
    assert found["U2"].note == "another part: 8 x 8, erased ones, was 4 x 8, erased ones"
