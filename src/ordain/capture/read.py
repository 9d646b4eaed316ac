"""Which format a capture has, by what stands at its beginning."""

from pathlib import Path

from ordain.capture.dump import read_dump
from ordain.capture.model import BadCapture, Capture
from ordain.capture.rows import read_rows
from ordain.capture.session import read_session

FORMATS = "sigrok's .sr, VCD and CSV are read"


def read_capture(path: Path) -> Capture:
    """Raises BadCapture, OSError."""
    with path.open("rb") as file:
        beginning = file.read(1 << 16)
    if not beginning:
        raise BadCapture("the file is empty", FORMATS)
    if beginning[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        return read_session(path)
    if b"\0" in beginning or sum(byte < 9 or 13 < byte < 32 for byte in beginning) > len(beginning) // 20:
        raise BadCapture("binary, and no format that is known here", FORMATS)
    head = beginning.lstrip()
    if head.startswith((b"$date", b"$version", b"$timescale", b"$scope", b"$comment", b"$var")) \
            or b"$enddefinitions" in beginning:
        return read_dump(path)
    return read_rows(path)
