"""What a person has read off the lamps, clock by clock, as a capture: `033: data=00, read=1`."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import click

if TYPE_CHECKING:
    from ordain.capture.model import Capture, Event
    from ordain.cli.probing import Clipped
    from ordain.machine.model import BoardLine, LampRow, Machine

_ADDRESS = re.compile(r"\s*(?:0[xX])?([0-9A-Fa-f]+)\s*:")
_NAME = r"(?:not\s+)?[A-Za-z_][\w.]*(?:\s*\[[0-9\s]+\])?"
_PART = re.compile(rf'[\s,]*(?:"([^"]*)"|({_NAME}))\s*=\s*([^\s,]+)')
_LAMPS = {"1": 1, "*": 1, "0": 0, ".": 0}


class _Level(NamedTuple):
    line: "BoardLine"
    level: int


def typed(machine: "Machine", clocks: Sequence[str]) -> "tuple[Capture, Clipped]":
    """One clock a line: the address of the store that the microprogram fills, in hexadecimal, and `NAME=VALUE`, of
    which any may be left out. A value is hexadecimal, `0b` with an `x` for a bit that was not read, or the name of a
    code; of a row of lamps `1`, `0` and `x` from left to right. Raises click.BadParameter."""
    from ordain.capture.model import Capture
    from ordain.cli.probing import Clipped

    lines: dict[str, BoardLine] = {}
    places: dict[str, int] = {}
    events: list[Event] = []
    for text in (line for many in clocks for line in many.splitlines() if line.strip()):
        word = known = 0
        for line, level in _levels(machine, text):
            lines.setdefault(line.name, line)
            bit = 1 << places.setdefault(line.name, len(places))
            if known & bit and bool(word & bit) != bool(level):
                raise _bad(text, f"`{line.name}` is 0 and 1 at once")
            known |= bit
            word |= bit * level
        events.append((len(events), word, ~known))
    every = (1 << len(lines)) - 1
    events = [(time, word, unknown & every) for time, word, unknown in events]
    ending = (len(events), 0, every)

    def again() -> "Iterator[Event]":
        return iter([*events, ending])

    return (Capture("as typed", places, 0.0, 0, again, rows=True),
            Clipped(tuple(places), tuple(places.values()), tuple(lines.values()), None, "", ()))


def _levels(machine: "Machine", text: str) -> Iterator[_Level]:
    from ordain.machine.model import BoardLine

    at = 0
    if (address := _ADDRESS.match(text)) is not None:
        store = next((one for one in machine.stores.values() if one.fill == "microprogram"), None)
        if store is None:
            raise _bad(text, f"{machine.name} has no microprogram, and so no control address")
        value, at = int(address[1], 16), address.end()
        if value >> store.address_width:
            raise _bad(text, f"`{store.name}` has the addresses 0 to {(1 << store.address_width) - 1:X}")
        for bit in range(store.address_width):
            line = BoardLine(f"address[{bit}]", machine.terms.slice(store.address, bit, bit))
            yield _Level(line, value >> bit & 1)
    while text[at:].strip(" ,"):
        part = _PART.match(text, at)
        if part is None:
            raise _bad(text, f"`{text[at:].strip()}` is not understood", "write ADDRESS: NAME=VALUE, NAME=VALUE")
        at = part.end()
        yield from _of_row(machine, text, part[1], part[3]) if part[1] is not None else \
            _of_line(machine, text, part[2], part[3])


def _of_line(machine: "Machine", text: str, name: str, value: str) -> Iterator[_Level]:
    from ordain.cli.probing import line_at, widths

    plain = name.removeprefix("not ").strip()
    width, codes = widths(machine).get(plain, (1, {}))
    digits = value.replace("_", "")
    if value in codes:
        digits = f"0b{codes[value]:0{width}b}"
    elif re.fullmatch(r"0[bB][01xX]+", digits) is None:
        if re.fullmatch(r"(0[xX])?[0-9A-Fa-f]+", digits) is None:
            raise _bad(text, f"`{value}` is no value of `{plain}`",
                       "write it in hexadecimal, or as 0b101x with an x for what was not read"
                       + (f", or one of {', '.join(codes)}" if codes else ""))
        digits = f"0b{int(digits, 16):0{width}b}"
    bits = digits[2:]
    if len(bits.lstrip("0")) > width:
        raise _bad(text, f"`{plain}` has {width} bit{'s' if width != 1 else ''}, and {value} does not fit")
    for bit, level in enumerate(reversed(bits.zfill(width)[-width:])):
        if level in "01":
            yield _Level(line_at(machine, f"{name}[{bit}]" if width > 1 else name, "--seen"), int(level))


def _of_row(machine: "Machine", text: str, title: str, value: str) -> Iterator[_Level]:
    row = _row(machine, text, title)
    lamps = [lamp for lamp in row.lamps if lamp is not None]
    if len(value) != len(lamps) or set(value.lower()) - {*_LAMPS, "x"}:
        raise _bad(text, f"the row \"{row.title}\" has {len(lamps)} lamps, and `{value}` is not so many of 1, 0 and x")
    for lamp, seen in zip(lamps, value.lower()):
        if seen != "x":
            yield _Level(lamp.line, _LAMPS[seen] ^ (lamp.lit is not lamp.line.level))


def _row(machine: "Machine", text: str, title: str) -> "LampRow":
    found = [row for row in machine.lamps if row.title == title]
    if not found:
        titles: Mapping[str, None] = {f'"{row.title}"': None for row in machine.lamps}
        raise _bad(text, f'the machine file has no lamps "{title}"; there are: {", ".join(titles) or "none"}')
    return found[0]


def _bad(text: str, message: str, help: str = "") -> click.BadParameter:
    return click.BadParameter(f"in \"{text.strip()}\": {message}" + (f": {help}" if help else ""), param_hint="--seen")
