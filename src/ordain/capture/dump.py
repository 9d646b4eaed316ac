"""VCD, the dump format of IEEE 1364-2005 clause 18, as simulators and analyzers write it.

Times may have changes on their own line; identifiers may belong to several names; a vector that is written shorter is
extended. What is x or z, or not recorded ($dumpoff), is not known.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from ordain.capture.model import MOST_CHANNELS, MOST_TIME, BadCapture, Capture, Event

_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12, "fs": 1e-15}
_HELP = "export it again from the program that wrote it"
_LONGEST = 1 << 20
"""Characters of a line."""


class _Head(NamedTuple):
    """`places`: identifier -> (lowest bit, width). `lines`: how many the declarations take."""

    channels: dict[str, int]
    places: dict[str, tuple[int, int]]
    tick: float
    lines: int


def read_dump(path: Path) -> Capture:
    """Raises BadCapture, OSError."""
    head = _head(path)
    return Capture(path.name, head.channels, head.tick, 0, lambda: _events(path, head))


def _head(path: Path) -> _Head:
    words: list[str] = []
    lines = 0
    with path.open(encoding="latin1", newline="\n") as file:
        while line := file.readline(_LONGEST):
            lines += 1
            words += line.split()
            if "$enddefinitions" in line:
                break
            if len(words) > 1 << 20:
                raise BadCapture("declarations without end", _HELP, lines)
        else:
            raise BadCapture("no `$enddefinitions`: the declarations do not end", _HELP, lines)
    channels: dict[str, int] = {}
    places: dict[str, tuple[int, int]] = {}
    scopes: list[str] = []
    tick, count, at = 1e-9, 0, 0
    while at < len(words):
        keyword = words[at]
        end = words.index("$end", at) if "$end" in words[at:] else len(words)
        parts = words[at + 1:end]
        if keyword == "$timescale":
            tick = _tick("".join(parts), lines)
        elif keyword == "$scope" and len(parts) > 1:
            scopes.append(parts[1].lstrip("\\"))
        elif keyword == "$upscope" and scopes:
            scopes.pop()
        elif keyword == "$var":
            if len(parts) < 4 or not parts[1].isdecimal() or len(parts[1]) > 5:
                raise BadCapture(f"a `$var` that cannot be read: {' '.join(parts)[:60]}", _HELP, lines)
            kind, width, code, name = parts[0], int(parts[1]), parts[2], " ".join(parts[3:]).lstrip("\\")
            if kind not in ("real", "realtime", "event", "string") and width:
                if code not in places:
                    places[code] = count, width
                    count += width
                if count > MOST_CHANNELS:
                    raise BadCapture(f"more than {MOST_CHANNELS} bits", "export fewer signals", lines)
                for bit, own in enumerate(_bits(name, width)):
                    _add(channels, ".".join([*scopes, own]), places[code][0] + bit)
        at = end + 1
    if not channels:
        raise BadCapture("no signal is declared in it", _HELP, lines)
    return _Head(channels, places, tick, lines)


def _add(channels: dict[str, int], name: str, bit: int) -> None:
    if channels.setdefault(name, bit) != bit:
        number = 2
        while channels.setdefault(f"{name} ({number})", bit) != bit:
            number += 1


def _bits(name: str, width: int) -> list[str]:
    """The names of the bits, the lowest first: `bus [7:0]` is bus[0] ... bus[7]."""
    found = re.fullmatch(r"(.*?) *\[ *(\d{1,6}) *: *(\d{1,6}) *\]", name)
    if found and abs(int(found[2]) - int(found[3])) + 1 == width:
        high, low = int(found[2]), int(found[3])
        step = 1 if high >= low else -1
        return [f"{found[1].rstrip()}[{bit}]" for bit in range(low, high + step, step)]
    plain = re.sub(r" +\[", "[", name)
    return [plain] if width == 1 else [f"{plain}[{bit}]" for bit in range(width)]


def _tick(text: str, line: int) -> float:
    found = re.fullmatch(r"(1|10|100)(s|ms|us|ns|ps|fs)", text)
    if not found:
        raise BadCapture(f"`{text[:20]}` is no timescale", "1, 10 or 100 of s, ms, us, ns, ps or fs", line)
    return int(found[1]) * _SECONDS[found[2]]


def _events(path: Path, head: _Head) -> Iterator[Event]:
    places = head.places
    single = {code: 1 << low for code, (low, width) in places.items() if width == 1}
    every = (1 << sum(width for _, width in places.values())) - 1
    time, word, unknown, off, number = 0, 0, every, False, head.lines
    begun = False
    with path.open(encoding="latin1", newline="\n") as file:
        for _ in range(head.lines):
            file.readline(_LONGEST)
        skipping = False
        for line in file:
            number += 1
            first = line[:1]
            if not skipping and first in "01" and (bit := single.get(line[1:].rstrip())) is not None:
                word = word | bit if first == "1" else word & ~bit
                unknown &= ~bit
                continue
            tokens = line.split()
            at = 0
            while at < len(tokens):
                token = tokens[at]
                at += 1
                kind = token[0]
                if skipping:
                    skipping = token != "$end"
                elif kind == "#":
                    now = _time(token[1:], number)
                    if now < time:
                        raise BadCapture(f"time goes back, from {time} to {now}", _HELP, number)
                    if begun and now > time:
                        yield time, word & ~unknown, every if off else unknown
                    time, begun = now, True
                elif kind in "01xXzZ" and len(token) > 1:
                    place = places.get(token[1:])
                    if place is not None:
                        word, unknown = _set(word, unknown, place, kind)
                elif kind in "bB":
                    if len(token) == 1:
                        raise BadCapture("a value without digits", _HELP, number)
                    if at >= len(tokens):
                        raise BadCapture("a value without an identifier", _HELP, number)
                    place = places.get(tokens[at])
                    at += 1
                    if place is not None:
                        word, unknown = _set(word, unknown, place, token[1:])
                elif kind in "rRsS":
                    at += 1
                elif token == "$dumpoff":
                    off = True
                elif token == "$dumpon":
                    off = False
                elif token == "$comment":
                    skipping = True
                elif kind != "$":
                    raise BadCapture(f"`{token[:20]}` is no change of a signal", _HELP, number)
    if not begun:
        raise BadCapture("no time in it: nothing was captured", _HELP, number)
    yield time, word & ~unknown, every if off else unknown


def _time(text: str, line: int) -> int:
    if not text.isdecimal() or len(text) > 30 or int(text) > MOST_TIME:
        raise BadCapture(f"`#{text[:20]}` is no time", _HELP, line)
    return int(text)


def _set(word: int, unknown: int, place: tuple[int, int], digits: str) -> tuple[int, int]:
    """A value written, extended on the left with 0, or with x or z where it begins so."""
    low, width = place
    mask = (1 << width) - 1 << low
    lead = digits[:1].lower()
    digits = digits[-width:].rjust(width, lead if lead in ("x", "z") else "0")
    value = int("".join("1" if digit == "1" else "0" for digit in digits), 2)
    known = int("".join("1" if digit in "01" else "0" for digit in digits), 2)
    return word & ~mask | value << low, unknown & ~mask | (mask & ~(known << low))
