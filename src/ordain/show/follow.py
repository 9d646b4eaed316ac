"""A followed capture as text: a line a clock in the machine's own words."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ordain.follow.model import Measured, ToldClock
from ordain.rom.contents import Contents, word_name
from ordain.show.page import Page, cut, table
from ordain.show.paint import printable
from ordain.show.trace_table import site_text

MANY = 2
"""Drivers of a bus of which none is sure: so many are named."""
FEW = 4
"""So many addresses are named; of more it is said how many there are."""


class FollowRow(NamedTuple):
    """A clock in words."""

    number: str
    time: str
    address: str
    label: str
    orders: str
    buses: str


def row_of(contents: Contents, number: int, time: str, told: ToldClock) -> FollowRow:
    places, labels, orders = [], [], []
    for store, addresses in told.addresses.items():
        digits = -(-contents.machine.stores[store].address_width // 4)
        names = list(dict.fromkeys(word_name(contents, store, address) or "(nothing placed)" for address in addresses))
        texts = list(dict.fromkeys(site_text(contents, store, address) for address in addresses))
        places.append("".join(each[0] if len(set(each)) == 1 else "?" for each in zip(
            *(f"{address:0{digits}X}" for address in addresses))))
        labels.append(names[0] if len(names) == 1 else f"one of {len(addresses)}")
        orders.append(texts[0] if len(texts) == 1 else " or ".join(names) if 1 < len(names) <= FEW else "")
    buses = []
    for bus, drivers in told.drivers.items():
        if len(drivers) > MANY and not any(sure for _, sure in drivers):
            buses.append(f"{bus}: one of {len(drivers)}?")
        elif drivers:
            buses.append(f"{bus}: " + " or ".join(name if sure else f"{name}?" for name, sure in drivers))
    return FollowRow(str(number), time, " / ".join(places), " / ".join(labels), " / ".join(filter(None, orders)),
        "; ".join(buses))


def measured_lines(measured: Iterable[Measured], skipped: int, page: Page) -> list[str]:
    """What the capture says of rules and strobes, a line each. `skipped`: clocks before the first that was followed."""
    rows = []
    for one in measured:
        first = "" if one.first is None else f"clock {one.first + skipped}"
        span = "" if one.least is None else clocks_of(one.least) if one.least == one.most else \
            f"{one.least} to {clocks_of(one.most or 0)}"
        match one.kind:
            case "never":
                said = f"held {times(one.times)}, first in {first}" if one.times else "never held for sure"
            case "reach":
                said = f"seen {times(one.times)}, first in {first}" if one.times else "not seen"
            case "takes":
                said = f"{times(one.times)}, {span}, {one.allowed} allowed" if one.times else "no response seen"
                said += f"; late in {first}" if first else ""
            case "within":
                said = f"{times(one.times)} from beginning to end, {span}" if one.times else "not seen as a whole"
                said += f"; broken in {first}" if first else "; not broken"
            case _:
                said = f"{times(one.times)}, {span}" if one.times else "not seen whole"
        rows.append((f"  {printable(one.text)}", said + (f"; {times(one.unsure)} not sure" if one.unsure else "")))
    return ["", "rules and strobes over the capture:", *table(rows, page)] if rows else []


def clocks_of(count: int) -> str:
    return f"{count:,} clock{'' if count == 1 else 's'}"


def times(count: int) -> str:
    return "once" if count == 1 else f"{count:,} times"


def line_names(names: Iterable[str]) -> list[str]:
    """Bits of one thing together: `upc[2]`, `upc[1]`, `upc[0]` are `upc[2:0]`."""
    bits: dict[str, list[int]] = {}
    for name in names:
        whole, bracket, number = name.removesuffix("]").partition("[")
        bits.setdefault(whole, []).extend([int(number)] if bracket else [])
    found = []
    for whole, each in bits.items():
        runs: list[list[int]] = []
        for bit in sorted(each, reverse=True):
            if runs and runs[-1][-1] == bit + 1:
                runs[-1].append(bit)
            else:
                runs.append([bit])
        found += [f"{whole}[{run[0]}:{run[-1]}]" if run[1:] else f"{whole}[{run[0]}]" for run in runs] or [whole]
    return found


def heads() -> FollowRow:
    return FollowRow("clock", "time", "at", "word", "orders", "buses")


def row_lines(rows: Iterable[FollowRow], widths: Sequence[int], page: Page) -> Iterable[str]:
    """Rows in columns of these widths; the last two share what is left."""
    for row in rows:
        start = "  ".join(cell.rjust(width) if at < 2 else cut(cell, width).ljust(width)
                          for at, (cell, width) in enumerate(zip(row[:4], widths)) if width)
        rest = printable("   ".join(part for part in (row.orders, row.buses) if part))
        yield cut(f"{start}  {rest}".rstrip(), max(page.width, 60)) if page.folds else f"{start}  {rest}".rstrip()


def widths_of(contents: Contents, clocks: int, timed: bool) -> list[int]:
    """Of the first four columns, 0 for one that is left out. `timed`: there is a time to be told."""
    stores = contents.machine.stores.values()
    digits = [-(-store.address_width // 4) for store in stores if store.fill == "microprogram"]
    words = [len(site.name) for sites in contents.sites.values() for site in sites.values()]
    return [max(5, len(str(clocks))), 11 if timed else 0, max(2, sum(digits) + 3 * (len(digits) - 1)),
            min(24, max(8, *words))]
