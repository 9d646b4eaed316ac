"""What a hex file holds before it is laid into a device: runs of bytes at addresses, and the findings of reading it."""

from itertools import pairwise
from typing import NamedTuple, TypeAlias

from ordain.text.findings import Finding, Place, error
from ordain.text.source import Source, Span

Segments: TypeAlias = list[tuple[int, bytes]]
"""(byte address, bytes)."""

BLANKS = " \t\r"
"""What may stand behind a record: editors and serial lines leave it there."""


class SegmentsRead(NamedTuple):
    """Ascending segments that touch nowhere, none of them empty; no segments when there are findings."""

    segments: Segments
    findings: list[Finding]


def joined_segments(segments: Segments) -> Segments:
    """The same bytes, ascending, with neighbours joined; for segments that do not overlap."""
    runs: list[tuple[int, list[bytes]]] = []
    end = -1
    for start, data in sorted(segments):
        if start == end:
            runs[-1][1].append(data)
        else:
            runs.append((start, [data]))
        end = start + len(data)
    return [(start, b"".join(parts)) for start, parts in runs]


def overlapping(source: Source, segments: Segments, lines: list[int]) -> list[Finding]:
    """A finding for every record that gives a byte again; `lines[i]` is the line of `segments[i]`."""
    findings: list[Finding] = []
    order = sorted(range(len(segments)), key=lambda number: (segments[number][0], lines[number]))
    for before, after in pairwise(order):
        start, data = segments[before]
        if start + len(data) > segments[after][0]:
            first, second = sorted((lines[before], lines[after]))
            findings.append(error(
                "data-overlap", f"byte 0x{segments[after][0]:X} is given twice", line_span(source, second),
                "given here again", places=(Place(line_span(source, first), "first given here"),),
                help="two images were put into one file; separate them, or write the file again"))
    return findings


def lay_out(segments: Segments, blank: bytes, name: str) -> tuple[bytes | None, list[Finding]]:
    """The segments in a device that reads `blank` when erased."""
    image = bytearray(blank)
    for start, data in segments:
        if start + len(data) > len(image):
            return None, [error(
                "image-too-long", f"`{name}` has data at 0x{max(start, len(image)):X}, and the device ends at "
                f"0x{len(image) - 1:X} (byte addresses)", None,
                help="is this the image of another device, or of several in one file?")]
        image[start:start + len(data)] = data
    return bytes(image), []


def bad_record(source: Source, line: int, fault: str) -> Finding:
    """The finding of a line that is no good record."""
    return error("bad-record", f"not a good record: {fault}", line_span(source, line), "this record",
                 help="the file was damaged on its way, or changed by hand: get it again from where it was made")


def line_span(source: Source, line: int) -> Span:
    """The whole of a line, counted from 1."""
    start = source.line_starts()[line - 1]
    return Span(source, start, start + len(source.line_text(line)))
