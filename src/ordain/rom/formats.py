"""The kinds of image file, by name: how each is written, read back, and recognised by its content."""

import re
from typing import Literal, NamedTuple, TypeAlias

from ordain.machine.model import Chip
from ordain.rom.intel_hex import read_intel_hex, write_intel_hex
from ordain.rom.mem import read_mem, write_mem
from ordain.rom.raw import read_raw
from ordain.rom.s_record import read_s_records, write_s_records
from ordain.rom.segments import lay_out
from ordain.text.findings import Finding, error

Format: TypeAlias = Literal["bin", "hex", "s19", "mem"]
FORMATS: tuple[Format, ...] = ("bin", "hex", "s19", "mem")
"""Names of the kinds, which are their file name endings too: raw binary, Intel HEX, S-records, `$readmemh` text."""


class DeviceShape(NamedTuple):
    """What the formats need to know of a chip."""

    name: str
    words: int
    bits: int
    erased: int

    @property
    def size(self) -> int:
        """Bytes of its image."""
        return self.words * ((self.bits + 7) // 8)

    @property
    def blank(self) -> bytes:
        """Its image when erased."""
        return ((1 << self.bits) - 1 if self.erased else 0).to_bytes((self.bits + 7) // 8, "little") * self.words


def device_of(chip: Chip) -> DeviceShape:
    return DeviceShape(chip.name, chip.words, chip.bits, chip.erased)


def write_image(form: Format, image: bytes, device: DeviceShape, machine: str) -> bytes:
    """The content of a file of this kind."""
    match form:
        case "bin":
            return image
        case "hex":
            return write_intel_hex(image).encode("ascii")
        case "s19":
            return write_s_records(image, f"{machine} {device.name}").encode("ascii")
        case "mem":
            title = f"{machine} {device.name} {device.words} x {device.bits}"
            return write_mem(image, device.bits, title).encode("ascii")


def read_image(form: Format, content: bytes, name: str, device: DeviceShape) -> tuple[bytes | None, list[Finding]]:
    """The image that a file of this kind holds for the device; bytes that it does not give are erased."""
    if form == "bin":
        return read_raw(content, name, device.size)
    try:
        text = content.decode("ascii")
    except UnicodeDecodeError as fault:
        found = f"byte {fault.start} is {content[fault.start]:#04x}"
        return None, [error("not-text", f"`{name}` is no text file: {found}", None,
                            help="if it is a raw image, give it the ending .bin")]
    if form == "mem":
        return read_mem(text, name, device.bits, device.blank)
    read = read_intel_hex(text, name) if form == "hex" else read_s_records(text, name)
    if read.findings:
        return None, read.findings
    return lay_out(read.segments, device.blank, name)


def recognise(content: bytes, name: str, device_size: int) -> Format:
    """The kind of file, by its content; the ending decides only between raw bytes and `$readmemh` text."""
    if len(content) != device_size or not name.lower().endswith(".bin"):
        if re.match(rb"\s*:[0-9A-Fa-f]{10}", content):
            return "hex"
        if re.match(rb"\s*S[0-9][0-9A-Fa-f]{6}", content):
            return "s19"
        if name.lower().endswith(".mem"):
            return "mem"
    return "bin"
