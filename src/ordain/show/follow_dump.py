"""A followed capture as a dump of IEEE 1364-2005: every line as it was read, the address as far as it is known, and
whether the clock is explained. A clock stands from the edge before it to the edge that ends it."""

from collections.abc import Iterator, Mapping, Sequence

from ordain.follow.model import ClockCycle
from ordain.machine.model import BoardLine
from ordain.rom.contents import Contents
from ordain.show.vcd import identifier

_UNITS = ((1.0, "1 s"), (1e-3, "1 ms"), (1e-6, "1 us"), (1e-9, "1 ns"), (1e-12, "1 ps"), (1e-15, "1 fs"))


class FollowDump:
    """Written clock by clock. `tick`: seconds, 0.0 where the capture says nothing of time."""

    def __init__(self, contents: Contents, lines: Sequence[BoardLine], tick: float) -> None:
        machine = contents.machine
        self._stores = [store for store in machine.stores.values() if store.fill == "microprogram"]
        self._factor, unit = _unit(tick)
        self._before: dict[str, str] = {}
        self._last = 0
        self._begun: int | None = None
        names = [_plain(line.name) for line in lines]
        self.text = [f"$comment {machine.name} $end", f"$timescale {unit} $end",
            f"$scope module {_plain(machine.name)} $end",
                     "$var wire 1 ! explained $end", "$var integer 32 \" clock $end"]
        self._codes = [identifier(number + 2) for number in range(len(lines) + len(self._stores))]
        for store, code in zip(self._stores, self._codes[len(lines):]):
            self.text.append(f"$var wire {store.address_width} {code} {_plain(store.name)}_address "
                             f"[{store.address_width - 1}:0] $end")
        self.text.append("$scope module lines $end")
        self.text += [f"$var wire 1 {code} {name} $end" for name, code in zip(names, self._codes)]
        self.text += ["$upscope $end", "$upscope $end", "$enddefinitions $end"]
        self._lines = len(lines)

    def note(self, clock: ClockCycle, addresses: Mapping[str, tuple[int, ...]], explained: bool = True) -> None:
        changes = [*self._changes(clock, addresses, explained)]
        begins = self._last if self._begun is not None else min(0, clock.time)
        self._begun = begins if self._begun is None else self._begun
        self._last = clock.time
        self.text.append(f"#{round((begins - self._begun) * self._factor)}")
        self.text += changes

    def _changes(self, clock: ClockCycle, addresses: Mapping[str, tuple[int, ...]], explained: bool) -> Iterator[str]:
        values = {"!": f"{int(explained)}!", '"': f'b{clock.number:b} "'}
        for line in range(self._lines):
            known = clock.seen.known >> line & 1
            values[self._codes[line]] = f"{clock.seen.word >> line & 1 if known else 'x'}{self._codes[line]}"
        for store, code in zip(self._stores, self._codes[self._lines:]):
            found = addresses.get(store.name, ())
            values[code] = f"b{f'{found[0]:b}' if len(found) == 1 else 'x'} {code}"
        for code, text in values.items():
            if self._before.get(code) != text:
                self._before[code] = text
                yield text

    def finished(self) -> str:
        end = round((self._last - (self._begun or 0)) * self._factor)
        return "\n".join([*self.text, f"#{end}", ""])


def _unit(tick: float) -> tuple[float, str]:
    """What a tick is multiplied with, and the unit that gives: the largest in which a tick is a whole number."""
    if not tick:
        return 1.0, "1 us"
    for size, name in _UNITS:
        if tick / size >= 1 and abs(tick / size - round(tick / size)) < 1e-6:
            return float(round(tick / size)), name
    return tick / 1e-15, "1 fs"


def _plain(name: str) -> str:
    return "".join(sign if sign.isalnum() or sign in "_[]" else "_" for sign in name) or "_"
