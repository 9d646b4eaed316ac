"""Motorola S-records, written and strictly read. For the choice of own code see `intel_hex`.

Record: `S`, a type, then in hexadecimal a byte count (of all that follows), an address of 2, 3 or 4 bytes, the data,
and the complement of the low byte of the sum of all of them. Types: 0 header, 1 2 3 data with addresses of 16, 24, 32
bits, 5 6 how many data records there were, 7 8 9 end for data of type 3 2 1. (Motorola M68000 Family Programmer's
Reference Manual, appendix C, from memory.) Addresses are byte addresses.
"""

from collections.abc import Sequence
from string import hexdigits

from ordain.rom.segments import BLANKS, Segments, SegmentsRead, bad_record, joined_segments, overlapping
from ordain.text.findings import Finding, error
from ordain.text.source import Source

_ADDRESS_BYTES = {"0": 2, "1": 2, "2": 3, "3": 4, "5": 2, "6": 3, "7": 4, "8": 3, "9": 2}
_DATA = {"1": "9", "2": "8", "3": "7"}
"""Data type -> the end record that goes with it."""


def write_s_records(image: bytes, title: str = "", extents: Sequence[tuple[int, int]] | None = None) -> str:
    """The image as data records of 16 bytes with the shortest addresses that reach its end.

    `title` goes into the header, cut to 32 characters. `extents` as in `intel_hex`. No device has more
    bytes than there are numbers for records.
    """
    kind = "1" if len(image) <= 1 << 16 else "2" if len(image) <= 1 << 24 else "3"
    width = _ADDRESS_BYTES[kind]
    digits = image.hex().upper()
    lines = [_record("0", 0, title.encode("ascii", "replace")[:32])]
    for start, end in extents if extents is not None else ((0, len(image)),):
        at = start
        while at < end:
            stop = min(end, (at | 15) + 1)
            count = width + stop - at + 1
            total = count + sum(image[at:stop]) + (at & 255) + (at >> 8 & 255) + (at >> 16 & 255) + (at >> 24)
            lines.append(f"S{kind}{count:02X}{at:0{2 * width}X}{digits[2 * at:2 * stop]}{~total & 255:02X}")
            at = stop
    written = len(lines) - 1
    lines.append(_record("5" if written < 1 << 16 else "6", written, b""))
    lines.append(_record(_DATA[kind], 0, b""))
    return "\n".join(lines) + "\n"


def _record(kind: str, address: int, data: bytes) -> str:
    width = _ADDRESS_BYTES[kind]
    content = bytes((width + len(data) + 1,)) + address.to_bytes(width, "big") + data
    return f"S{kind}{content.hex().upper()}{~sum(content) & 255:02X}"


def read_s_records(text: str, name: str) -> SegmentsRead:
    """The data of a file. Every bad record is a finding with its line; then there are no segments."""
    source = Source(name, text)
    segments: Segments = []
    lines: list[int] = []
    findings: list[Finding] = []
    records = 0
    ended = counted = False
    for number, line in enumerate(text.split("\n"), 1):
        record = line.rstrip(BLANKS)
        if not record:
            continue
        fault = _fault(record) or ("a record after the end record" if ended else "")
        if not fault:
            kind = record[1]
            content = bytes.fromhex(record[2:])
            width = _ADDRESS_BYTES[kind]
            address, data = int.from_bytes(content[1:1 + width], "big"), content[1 + width:-1]
            if kind in _DATA:
                records += 1
                if address + len(data) > 1 << 8 * width:
                    fault = f"the data run past the end of the {8 * width}-bit addresses"
                elif data:
                    segments.append((address, data))
                    lines.append(number)
            elif kind in "56":
                counted = address == records
                if not counted:
                    fault = f"it counts {address} data records, and there are {records} before it"
            elif kind in "789":
                ended = True
        if fault:
            findings.append(bad_record(source, number, fault))
    if not (ended or counted or findings):
        findings.append(error("end-record-missing", f"`{name}` stops without an end record or a count", None,
                              help="the file is cut off, or was not written to its end: get it again"))
    findings += overlapping(source, segments, lines)
    return SegmentsRead([] if findings else joined_segments(segments), findings)


def _fault(record: str) -> str:
    """What is wrong with a record by itself, "" when nothing is."""
    if record[0] != "S":
        return "a record begins with `S`"
    if len(record) < 2 or record[1] not in _ADDRESS_BYTES:
        return f"there is no record type `{record[:2]}`"
    digits = record[2:]
    if digits.strip(hexdigits):
        return f"`{digits.strip(hexdigits)[:1]}` is not a hexadecimal digit"
    try:
        content = bytes.fromhex(digits)
    except ValueError:
        return "it has half a byte too much"
    width = _ADDRESS_BYTES[record[1]]
    if len(content) < 2 + width:
        return "the record is too short"
    if content[0] != len(content) - 1:
        return f"it announces {content[0]} bytes and has {len(content) - 1}"
    if sum(content) & 255 != 255:
        return f"the checksum is {content[-1]:02X} and should be {~sum(content[:-1]) & 255:02X}"
    if record[1] in "56789" and content[0] != width + 1:
        return f"a record of type S{record[1]} has no data"
    return ""
