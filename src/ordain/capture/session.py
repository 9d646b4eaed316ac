"""sigrok's session files, `.sr`: a zip archive with `metadata` and the samples in `logic-1-1`, `logic-1-2` ... (read
off the source of libsigrok 0.5.2).

A sample has `unitsize` bytes, the lowest first. Channel `probeK` is bit K-1; one that was switched off has no line, but
its bits are there all the same.
"""

import lzma
import re
import struct
import zipfile
import zlib
from array import array
from collections.abc import Iterable, Iterator
from pathlib import Path

from ordain.capture.model import MOST_CHANNELS, BadCapture, Capture, Event

BLOCK = 1 << 20
"""Bytes that are read at a time."""
_UNITS = {"": 1, "k": 10**3, "K": 10**3, "M": 10**6, "G": 10**9}
_CODES = {1: "B", 2: "H", 4: "I", 8: "Q"}
_BROKEN = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, EOFError, ValueError, RuntimeError, OSError)
"""What `zipfile` raises of damaged archives, and of such as are encrypted or packed in an unknown way; OSError where a
place lies before the beginning."""
_HELP = "export it again from the program that captured it"


def read_session(path: Path) -> Capture:
    """Raises BadCapture, OSError."""
    with path.open("rb") as file:
        try:
            with zipfile.ZipFile(file) as archive:
                names = archive.namelist()
                if "metadata" not in names or archive.getinfo("metadata").file_size > 1 << 20:
                    raise BadCapture("an archive without `metadata`", "an .sr file of sigrok is wanted")
                said = _metadata(archive.read("metadata").decode("utf-8", "replace"))
        except _BROKEN as broken:
            raise BadCapture(f"the archive is broken: {broken}", _HELP) from None
    base, size = said.get("capturefile", "logic-1"), _number(said, "unitsize", 1)
    if not 1 <= size <= MOST_CHANNELS // 8:
        raise BadCapture(f"samples of {size} bytes", _HELP)
    channels = {value: int(key[5:]) - 1 for key, value in said.items()
                if re.fullmatch(r"probe[0-9]{1,5}", key) and 0 < int(key[5:]) <= 8 * size}
    if not channels:
        raise BadCapture("no logic channel in it", "capture with at least one channel switched on")
    parts = sorted((name for name in names if name == base or re.fullmatch(rf"{re.escape(base)}-[0-9]+", name)),
                   key=lambda name: int(name[len(base) + 1:] or 0))
    if not parts:
        raise BadCapture("no samples in it", _HELP)
    rate = _rate(said.get("samplerate", ""))
    mask = sum(1 << bit for bit in set(channels.values()))
    return Capture(path.name, channels, 1 / rate if rate else 0.0, 1,
                   lambda: _events(path, parts, size, mask))


def _metadata(text: str) -> dict[str, str]:
    """The lines KEY=VALUE of the first device."""
    said: dict[str, str] = {}
    section = ""
    for line in text.splitlines():
        if line.startswith("["):
            section = line.strip("[] \t")
        elif section.startswith("device 1") and "=" in line:
            key, _, value = line.partition("=")
            said[key.strip()] = value.strip()
    return said


def _number(said: dict[str, str], key: str, default: int) -> int:
    text = said.get(key, "")
    return int(text) if text.isdecimal() and len(text) < 10 else default


def _rate(text: str) -> float:
    """`12 MHz`, `12000000`; 0 where nothing is said."""
    found = re.fullmatch(r"([0-9]{1,20}(?:\.[0-9]{1,9})?) *([kKMG]?)(?:Hz)?", text)
    return float(found[1]) * _UNITS[found[2]] if found else 0.0


def _events(path: Path, parts: list[str], size: int, mask: int) -> Iterator[Event]:
    """Only samples that differ from the one before, and the end."""
    time, before = 0, -1
    with path.open("rb") as file:
        try:
            with zipfile.ZipFile(file) as archive:
                for part in parts:
                    rest = b""
                    with archive.open(part) as data:
                        while block := data.read(BLOCK):
                            block = rest + block
                            whole = len(block) - len(block) % size
                            rest = block[whole:]
                            for word in _words(block[:whole], size):
                                if word != before:
                                    before = word
                                    yield time, word & mask, 0
                                time += 1
                    if rest:
                        raise BadCapture(f"`{part}` ends within a sample", _HELP)
        except _BROKEN as broken:
            raise BadCapture(f"the archive is broken: {broken}", _HELP) from None
    if time:
        yield time, before & mask, 0


def _words(block: bytes, size: int) -> Iterable[int]:
    code = _CODES.get(size)
    if code is None or array(code).itemsize != size:
        return [int.from_bytes(block[at:at + size], "little") for at in range(0, len(block), size)]
    words = array(code)
    words.frombytes(block)
    if size > 1 and array("H", [1]).tobytes()[0] == 0:      # the machine has the highest byte first
        words.byteswap()
    return words
