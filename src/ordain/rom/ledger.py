"""The burn ledger: which image each chip was last burned with, as lines that are only ever added to a file.

One JSON object a line (docs/ledger.md), so that version control merges two histories by taking the lines of both: what
a ledger means does not depend on the order of its lines, the latest date of a chip counts (the later line where two
dates are the same).

Lines are added in one write at the end, flushed to the disk. A process that is killed, a full disk, a power cut can
leave a torn last line and nothing worse. It is reported, and mended only on request; what is taken out then goes into a
file beside the ledger first.
"""

import contextlib
import errno
import json
import os
import re
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from ordain.text.findings import Finding, warning
from ordain.text.source import Source, Span

try:
    import fcntl
except ImportError:                                 # not on Windows: there the single write has to be enough
    fcntl = None  # type: ignore[assignment]  # typeshed declares the module for every system

_CHIP = re.compile(r"[^\s/\\\0.][^\s/\\\0]*")
"""A chip's name is the name of a file when its image is restored."""
_DATE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_HEX8 = re.compile(r"[0-9A-F]{8}")
_HEX4 = re.compile(r"[0-9A-F]{4}")
_KINDS = {str: "a text", int: "a whole number", bool: "true or false"}
_MARKER = re.compile(r"(<{7}|>{7}|\|{7})( .*)?|={7}")
"""Lines that version control leaves where it could not merge."""


class Burn(NamedTuple):
    """One chip, burned once. `date`: UTC, `2026-11-25T10:07:48Z`. `size`: bytes of the image. `revision`: the commit of
    the sources, "" where there is none; `modified`: the sources of the build were not exactly those of that commit."""

    chip: str
    sha256: str
    crc32: int
    sum16: int
    size: int
    date: str
    revision: str
    modified: bool
    machine: str
    note: str


class Ledger(NamedTuple):
    """`burns` in the order of the lines, sound ones only. `torn`: the last line has no end, so nothing may be added."""

    burns: tuple[Burn, ...]
    torn: bool


class TornLedger(OSError):
    """Nothing may be added to a line that somebody else left unfinished."""


# ---------------------------------------------------------------- reading


def read_ledger(path: Path, shown: str) -> tuple[Ledger, list[Finding]]:
    """The ledger at `path`, empty where there is none yet, and a warning for each line that is no record. `shown`: how
    its name is told. Raises OSError when it cannot be read."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return Ledger((), False), []
    return parse_ledger(data, shown)


def parse_ledger(data: bytes, shown: str) -> tuple[Ledger, list[Finding]]:
    """The same from its bytes."""
    rows = data.split(b"\n")
    texts = [row.decode("utf-8", errors="replace") for row in rows]
    source = Source(shown, "\n".join(texts))
    torn = bool(rows[-1])
    burns: list[Burn] = []
    findings: list[Finding] = []
    at = 0
    for number, (row, text) in enumerate(zip(rows, texts)):
        last = number == len(rows) - 1
        try:
            burn = _record(row)
        except _Fault as fault:
            span = Span(source, at + fault.column, at + max(fault.column, len(text)))
            findings.append(_torn(span) if last else _damaged(span, fault.why))
        else:
            if burn is not None:
                burns.append(burn)
                if last:
                    findings.append(_unended(Span(source, at, at + len(text))))
        at += len(text) + 1
    return Ledger(tuple(burns), torn), findings


def in_sockets(burns: Iterable[Burn], machine: str) -> dict[str, Burn]:
    """What each chip of a machine was last burned with."""
    latest: dict[str, Burn] = {}
    for burn in burns:
        known = latest.get(burn.chip)
        if burn.machine == machine and (known is None or burn.date >= known.date):
            latest[burn.chip] = burn
    return dict(sorted(latest.items()))


def _torn(span: Span) -> Finding:
    return warning("torn-ledger", "the last line of the burn ledger was never finished", span, "breaks off here",
                   help="look what it says, then take it out with `ordain burned --repair` and record that chip again")


def _unended(span: Span) -> Finding:
    return warning("torn-ledger", "the last line of the burn ledger is whole, but its end is missing", span,
                   "counts, but nothing can be added after it", help="end it with `ordain burned --repair`")


def _damaged(span: Span, why: str) -> Finding:
    return warning("damaged-ledger", f"a line of the burn ledger is no record: {why}", span, "this line does not count",
                   help="mend it by hand where you know what it said; `ordain burned --repair` moves it into a file of "
                   "its own")


class _Fault(Exception):
    """`column` from 0, in characters."""

    def __init__(self, why: str, column: int = 0) -> None:
        super().__init__(why)
        self.why, self.column = why, column


def _record(row: bytes) -> Burn | None:
    """The record in a line, None in an empty one. Raises _Fault."""
    try:
        text = row.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise _Fault("it is not UTF-8", len(row[:fault.start].decode("utf-8"))) from None
    if not text.strip():
        return None
    if _MARKER.fullmatch(text.rstrip()):
        raise _Fault("it is the mark of a merge that was not finished")
    try:
        data = json.loads(text)
    except json.JSONDecodeError as fault:
        raise _Fault(fault.msg[:1].lower() + fault.msg[1:], fault.pos) from None
    except (RecursionError, ValueError):            # ValueError: a number of thousands of digits
        raise _Fault("it is no JSON that anybody would write") from None
    if not isinstance(data, dict):
        raise _Fault("it is not an object")
    return _burn(data, text)


def _burn(data: dict[str, Any], text: str) -> Burn:
    def get(key: str, kind: type) -> Any:
        if key not in data:
            raise _Fault(f"`{key}` is missing")
        if type(data[key]) is not kind:
            raise _Fault(f"`{key}` is not {_KINDS[kind]}", max(0, text.find(f'"{key}"')))
        return data[key]

    def matching(key: str, pattern: re.Pattern[str], what: str) -> str:
        value: str = get(key, str)
        if not pattern.fullmatch(value):
            raise _Fault(f"`{key}` is not {what}", max(0, text.find(f'"{key}"')))
        return value

    date = matching("date", _DATE, "a time like 2026-11-25T10:07:48Z")
    try:
        datetime.fromisoformat(date)
    except ValueError:
        raise _Fault("`date` is no day of the calendar", text.find('"date"')) from None
    return Burn(matching("chip", _CHIP, "the name of a chip"),
                matching("sha256", _SHA256, "64 hexadecimal digits"),
                int(matching("crc32", _HEX8, "8 hexadecimal digits"), 16),
                int(matching("sum16", _HEX4, "4 hexadecimal digits"), 16),
                get("size", int), date, get("revision", str), get("modified", bool), get("machine", str),
                get("note", str))


# ---------------------------------------------------------------- adding


def line_of(burn: Burn) -> str:
    """The line of a record, with its end. ASCII only: no encoding can break it."""
    data = {"chip": burn.chip, "sha256": burn.sha256, "crc32": f"{burn.crc32:08X}", "sum16": f"{burn.sum16:04X}",
            "size": burn.size, "date": burn.date, "revision": burn.revision, "modified": burn.modified,
            "machine": burn.machine, "note": burn.note}
    return json.dumps(data, separators=(", ", ": ")) + "\n"


def append(path: Path, burns: Iterable[Burn], shown: str) -> None:
    """Add the records, all in one write. Raises TornLedger, OSError; then the ledger is as it was."""
    lines = "".join(map(line_of, burns)).encode("ascii")
    with _opened(path) as file:
        size = os.fstat(file).st_size
        if size and os.pread(file, 1, size - 1) != b"\n":
            raise TornLedger(errno.EIO, "has an unfinished last line, so nothing was added; see `ordain burned`, then "
                             "`ordain burned --repair`", shown)
        try:
            written = os.write(file, lines)
            if written < len(lines):                # the disk is full
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), shown)
            os.fsync(file)
        except OSError as failure:
            with contextlib.suppress(OSError):
                os.ftruncate(file, size)
            raise OSError(failure.errno, failure.strerror, shown) from failure
    flush_directory(path.parent)


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[int]:
    """The file, locked; made when it is missing. Whoever had to wait for the lock may find that a repair has put
    another file in its place meanwhile."""
    while True:
        file = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o666)
        try:
            if fcntl is not None:
                with contextlib.suppress(OSError):  # some network file systems lock nothing
                    fcntl.flock(file, fcntl.LOCK_EX)
            if _is_still(path, file):
                yield file
                return
        finally:
            os.close(file)


def _is_still(path: Path, file: int) -> bool:
    try:
        return os.path.samestat(os.stat(path), os.fstat(file))
    except FileNotFoundError:
        return False


# ---------------------------------------------------------------- mending


class Mended(NamedTuple):
    """`moved`: the lines that were taken out; `ended`: a whole last line was given its end."""

    moved: tuple[str, ...]
    ended: bool


def repair(path: Path, aside: Path) -> Mended:
    """Take every line that is no record out of the ledger, after adding it to the file `aside`, and give the last line
    its end. Marks of a merge just go; both sides of it stay. Raises OSError."""
    if not path.exists():
        return Mended((), False)
    with _opened(path) as file:
        data = os.pread(file, os.fstat(file).st_size, 0)
        rows = data.split(b"\n")
        kept = [row for row in rows if row and _is_record(row)]
        moved = [row for row in rows if row.strip() and not _is_record(row)]
        ended = bool(rows[-1]) and _is_record(rows[-1])
        if not moved and not ended:
            return Mended((), False)
        _set_aside(aside, moved)
        fresh = path.with_name(f".{path.name}.new-{os.getpid()}")
        with open(fresh, "wb") as new:
            new.write(b"".join(row + b"\n" for row in kept))
            new.flush()
            os.fsync(new.fileno())
        os.replace(fresh, path)
    flush_directory(path.parent)
    return Mended(tuple(row.decode("utf-8", errors="backslashreplace") for row in moved), ended)


def _is_record(row: bytes) -> bool:
    try:
        return _record(row) is not None
    except _Fault:
        return False


def _set_aside(aside: Path, rows: list[bytes]) -> None:
    """Add lines to a file; those that a repair which was killed has added already are not added again."""
    known = aside.read_bytes().split(b"\n") if aside.exists() else []
    with open(aside, "ab") as file:
        if known and known[-1]:
            file.write(b"\n")
        file.write(b"".join(row + b"\n" for row in rows if row not in known))
        file.flush()
        os.fsync(file.fileno())


def flush_directory(directory: Path) -> None:
    """So that a power cut finds the names as well as the contents. Not every system opens directories."""
    with contextlib.suppress(OSError):
        handle = os.open(directory, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
