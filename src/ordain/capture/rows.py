"""CSV as analyzers write it: a row a sample, or a row a change.

With a header or without, with a time column, a sample rate in a comment or neither, with commas, semicolons or tabs,
    and
a decimal comma where the separator allows it. A column is a bit, or a bus in hexadecimal or in binary.
"""

import re
from collections.abc import Callable, Iterator
from decimal import Decimal, InvalidOperation
from itertools import islice, pairwise
from pathlib import Path
from typing import NamedTuple

from ordain.capture.model import MOST_CHANNELS, MOST_TIME, BadCapture, Capture, Event

LOOKED_AT = 400
"""Rows that are read before it is said what the columns are."""
_LONGEST = 1 << 20
_HELP = "one row a sample or a change: an optional time, then a column for each channel"
_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9, "ps": 1e-12, "fs": 1e-15,
          "seconds": 1.0, "milliseconds": 1e-3, "microseconds": 1e-6, "nanoseconds": 1e-9, "picoseconds": 1e-12}
_TIME = re.compile(r"(?:time|timestamp|t)?\s*[\[(]?\s*"
                   r"(s|ms|us|µs|μs|ns|ps|fs|(?:milli|micro|nano|pico)?seconds)?\s*[\])]?", re.IGNORECASE)
_COUNT = re.compile(r"(?:sample|samples|index|n|row|#)(?:\s*(?:number|no\.?))?", re.IGNORECASE)
_RATE = re.compile(r"sample\s*rate\s*[:=]\s*([0-9.]+)\s*([kMG]?)(?:Hz)?", re.IGNORECASE)
_CHANNELS = re.compile(r"channels\s*\([^)]*\)\s*:\s*(.+)", re.IGNORECASE)
_RANGE = re.compile(r"(.*?)\s*\[\s*(\d{1,4})\s*(?::|\.\.)\s*(\d{1,4})\s*\]")
_HEX = re.compile(r"(?:0[xX])?([0-9A-Fa-f]+)[hH]?")
_OPEN = frozenset(("x", "X", "z", "Z", "?", "-", ""))


class _Column(NamedTuple):
    """`low`, `width`: its bits. `base` 0: nothing that counts."""

    low: int
    width: int
    base: int


class _Table(NamedTuple):
    """`first`: lines before the first row. `time`: the column of the time, -1 for none; `decimals`: of its numbers."""

    separator: str
    first: int
    time: int
    decimals: int
    comma: bool
    columns: tuple[_Column, ...]


def read_rows(path: Path) -> Capture:
    """Raises BadCapture, OSError."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="\n") as file:
        beginning = [line.rstrip("\r\n") for line in islice(iter(lambda: file.readline(_LONGEST), ""), LOOKED_AT)]
    said = [line for line in beginning if line[:1] in ";#" and not _is_row(line)]
    kept = [(number, line) for number, line in enumerate(beginning)
            if line.strip() and not (line[:1] in ";#" and not _is_row(line))]
    if not kept:
        raise BadCapture("no rows in it", _HELP)
    separator = _separator([line for _, line in kept])
    cells = [(number, [cell.strip().strip('"').strip() for cell in line.split(separator)]) for number, line in kept]
    header = cells[0][1] if _is_header([row for _, row in cells], separator) else None
    rows = cells[1:] if header is not None else cells
    if not rows:
        raise BadCapture("a header, and no rows below it", _HELP, kept[0][0] + 1)
    for number, row in rows:
        if len(row) != len(rows[0][1]):
            raise BadCapture(f"{len(row)} columns where there are {len(rows[0][1])} in the first row",
                _HELP, number + 1)
    time, tick = _time_column(header, [row for _, row in rows], separator)
    rate = _rate(said)
    names = _names(header, said, len(rows[0][1]), time)
    columns, channels = _columns(names, [row for _, row in rows], time, rows[0][0] + 1)
    decimals = 0
    if time >= 0:
        written = [_decimals(row[time].replace(",", ".") if separator != "," else row[time]) for _, row in rows]
        decimals = min(15, max(written))
    table = _Table(separator, rows[0][0], time, decimals, separator != ",", columns)
    unit = tick * 10.0 ** -decimals if time >= 0 else 1 / rate if rate else 0.0
    return Capture(path.name, channels, unit, 0 if time >= 0 else 1, lambda: _events(path, table), (), True)


def _is_row(line: str) -> bool:
    return bool(re.fullmatch(r"[-0-9.,;\s]+", line)) and line[:1].isdecimal()


def _separator(lines: list[str]) -> str:
    """The sign that divides every line into the same number of columns, more than one if any does."""
    best = ","
    for sign in ("\t", ";", ","):
        counts = {line.count(sign) for line in lines[-50:]}
        if len(counts) == 1 and counts != {0}:
            return sign
    return best


def _is_header(rows: list[list[str]], separator: str) -> bool:
    """Whether the first row names the columns. `D0`, `a` and `2` are numbers in hexadecimal, too: a name is what stands
    over nothing but levels and is none."""
    if any(not _is_value(cell, separator) for cell in rows[0]):
        return True
    levels = {"0", "1", *_OPEN}
    return any(cell not in levels and all(row[at] in levels for row in rows[1:] if len(row) > at)
               for at, cell in enumerate(rows[0]))


def _is_value(cell: str, separator: str) -> bool:
    return cell in _OPEN or bool(_HEX.fullmatch(cell)) or _number(cell, separator) is not None


def _number(cell: str, separator: str) -> Decimal | None:
    try:
        value = Decimal(cell.replace(",", ".") if separator != "," else cell)
    except InvalidOperation:
        return None
    return value if value.is_finite() and abs(value.adjusted()) < 40 else None


def _time_column(header: list[str] | None, rows: list[list[str]], separator: str) -> tuple[int, float]:
    """The column of the time, -1 where there is none, and what its unit is in seconds, 0 where nothing says."""
    if header is not None:
        for at, cell in enumerate(header[:1]):
            found = _TIME.fullmatch(cell)
            if found and cell:
                if found[1]:
                    return at, _UNITS[found[1].casefold()]
                return at, 1.0 if any("." in row[at] for row in rows) else 0.0
            if _COUNT.fullmatch(cell):
                return at, 0.0
    values = [_number(row[0], separator) for row in rows]
    if len(rows) > 2 and len(rows[0]) > 1 and all(
            one is not None and other is not None and one < other for one, other in pairwise(values)):
        return 0, 1.0 if any("." in row[0] or ("," in row[0] and separator != ",") for row in rows) else 0.0
    return -1, 0.0


def _rate(said: list[str]) -> float:
    for line in said:
        found = _RATE.search(line)
        if found:
            try:
                return float(found[1]) * {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}[found[2].casefold()]
            except ValueError:
                return 0.0
    return 0.0


def _names(header: list[str] | None, said: list[str], count: int, time: int) -> list[str]:
    """A name for each column, "" for one that is no channel."""
    own = [at for at in range(count) if at != time]
    names = ["" for _ in range(count)]
    listed = next((found[1] for line in said if (found := _CHANNELS.search(line))), "")
    told = [name.strip() for name in listed.split(",")] if listed else []
    if header is not None and len(header) != count:
        raise BadCapture(f"{count} columns under a header of {len(header)}", _HELP)
    titles = [header[at] for at in own] if header is not None else []
    if told and (not titles or len(set(titles)) < len(titles)):
        titles = told[:len(own)]
    if {title.casefold() for title in titles} == {"logic"}:
        titles = []                                     # what the columns are, and not what they are called
    for number, at in enumerate(own):
        name = titles[number] if number < len(titles) else ""
        names[at] = "" if name.casefold() == "trigger" else name or f"{number}"
    return names


def _columns(names: list[str], rows: list[list[str]], time: int,
             line: int) -> tuple[tuple[_Column, ...], dict[str, int]]:
    columns: list[_Column] = []
    channels: dict[str, int] = {}
    low = 0
    for at, name in enumerate(names):
        if at == time or not name:
            columns.append(_Column(0, 0, 0))
            continue
        cells = [row[at] for row in rows if row[at] not in _OPEN]
        wrong = next((cell for cell in cells if not _HEX.fullmatch(cell)), None)
        if wrong is not None:
            raise BadCapture(f"column `{name}` holds `{wrong[:20]}`, neither a level nor a number in hexadecimal",
                             "an oscilloscope's volts have to be made levels first; export logic channels", line)
        found = _RANGE.fullmatch(name)
        bare = found[1] if found else name
        if found:
            high, least = max(int(found[2]), int(found[3])), min(int(found[2]), int(found[3]))
            width, base = high - least + 1, 16
            if width > 1 and cells and all(len(cell) == width and set(cell) <= {"0", "1"} for cell in cells):
                base = 2
        else:
            least = 0
            width, base = (1, 2) if set(cells) <= {"0", "1"} else (
                4 * max(len(_digits(cell)) for cell in cells), 16)
        for bit in range(width):
            title = f"{bare}[{least + bit}]" if found or width > 1 else name
            if title in channels:
                raise BadCapture(f"two columns are called `{title}`", "give each channel a name of its own", line)
            channels[title] = low + bit
        columns.append(_Column(low, width, base))
        low += width
    if not channels:
        raise BadCapture("no channel in it", _HELP, line)
    if low > MOST_CHANNELS:
        raise BadCapture(f"more than {MOST_CHANNELS} bits", "export fewer channels", line)
    return tuple(columns), channels


def _digits(cell: str) -> str:
    found = _HEX.fullmatch(cell)
    return found[1] if found else ""


def _decimals(text: str) -> int:
    try:
        exponent = Decimal(text).as_tuple().exponent
    except InvalidOperation:
        return 0
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _events(path: Path, table: _Table) -> Iterator[Event]:
    known: dict[str, tuple[int, int]] = {}
    time = before = 0
    count = 0
    scaled = _scaled(table)
    word = unknown = 0
    sign, at_time = table.separator, table.time
    with path.open(encoding="utf-8-sig", errors="replace", newline="\n") as file:
        for number, line in enumerate(file, 1):
            if number <= table.first:
                continue
            line = line.rstrip("\r\n")
            if not line.strip():
                continue
            if at_time == 0:
                text, _, rest = line.partition(sign)
                time = scaled(text, number)
            else:
                rest, time = line, count
            found = known.get(rest)
            if found is None:
                if len(known) > 1 << 16:
                    known.clear()
                found = known[rest] = _levels(rest.split(sign), table, number)
            if count and time < before:
                raise BadCapture(f"time goes back in row {count + 1}", "export it again, in order of time", number)
            word, unknown = found
            yield time, word, unknown
            before = time
            count += 1
    yield before + (1 if at_time != 0 else 0), word, unknown


def _scaled(table: _Table) -> Callable[[str, int], int]:
    factor: int = 10 ** table.decimals

    def scaled(text: str, line: int) -> int:
        text = text.strip().strip('"')
        if text.isdecimal() and len(text) < 24:
            return int(text) * factor
        value = _number(text, table.separator)
        if value is None or abs(value) > MOST_TIME:
            raise BadCapture(f"`{text[:20]}` is no time", _HELP, line)
        return round(value * factor)

    return scaled


def _levels(cells: list[str], table: _Table, line: int) -> tuple[int, int]:
    """The word of a row, and its bits that are not known."""
    columns = table.columns[1:] if table.time == 0 else table.columns
    if len(cells) != len(columns):
        raise BadCapture(f"{len(cells)} columns where there are {len(columns)} in the first row", _HELP, line)
    word = unknown = 0
    for cell, column in zip(cells, columns):
        if not column.base:
            continue
        cell = cell.strip().strip('"').strip()
        if cell in _OPEN:
            unknown |= (1 << column.width) - 1 << column.low
            continue
        digits = cell if column.base == 2 else _digits(cell)
        try:
            value = int(digits, column.base)
        except ValueError:
            value = -1
        if value < 0 or value >> column.width:
            raise BadCapture(f"`{cell[:20]}` is no value of {column.width} bits", _HELP, line)
        word |= value << column.low
    return word, unknown
