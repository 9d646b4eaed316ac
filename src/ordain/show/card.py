"""A step card as text of 80 columns: a block for each clock, with the lamps as they must look and a box to tick."""

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import NamedTuple

from ordain.bench.model import BenchStep, Card, Lit
from ordain.machine.model import LampRow, Machine
from ordain.rom.contents import Contents, word_name
from ordain.show.folding import is_beside
from ordain.show.page import Page, columns, fold
from ordain.show.paint import printable
from ordain.show.trace_table import site_text, value_words

WIDTH = 80
CAUTIONS = (
    "Power off before a clip, a chip or a wire is moved, and wait until the supply has run down.",
    "One ground: board, supply, analyzer and lamps on the same one, connected first and taken off last.",
    "Chips do not like static charge: a strap, or touch the ground before each of them.",
    "No clip over two pins; a driver that is shorted to its neighbour heats up at once.",
    "Mains parts and the supply's inside are for those who are licensed for them. Local rules come first.",
)


class Signs(NamedTuple):
    """How a lamp is drawn that is lit, dark, either."""

    lit: str
    dark: str
    either: str


UNICODE = Signs("●", "○", "·")
ASCII = Signs("#", "o", ".")


class CardStep(NamedTuple):
    """A step in words. `address`, `label`, `orders`: the microinstruction; `set`: what is to be set before the clock,
    only what is new; `depends`: where another choice leads elsewhere; `needs`: what has to stand on lines."""

    number: str
    address: str
    label: str
    orders: str
    set: tuple[str, ...]
    depends: tuple[str, ...]
    needs: tuple[str, ...]
    lamps: tuple[tuple[Lit, ...], ...]


def told(contents: Contents, card: Card) -> list[CardStep]:
    found = []
    before: BenchStep | None = None
    for step in card.steps:
        places = []
        for store, address in step.addresses.items():
            digits = -(-contents.machine.stores[store].address_width // 4)
            near = step.near.get(store) if address is None else address
            place = "?" * digits if address is None else f"{address:0{digits}X}"
            places.append((place, "(not known)", "") if near is None else
                          (place, word_name(contents, store, near) or "(nothing placed)",
                           site_text(contents, store, near)))
        new = tuple(value_words(contents.machine, name, value) for name, value in step.inputs.items()
                    if (before.inputs.get(name) if before is not None else 0) != value)
        depends = tuple(value_words(contents.machine, name, step.inputs.get(name, 0)) for name in step.depends)
        needs = tuple(f"{name} = {_number(value, bits)}" for name, value, bits in step.needs)
        where, label, orders = (" / ".join(part) for part in zip(*places))
        found.append(CardStep(f"{step.cycle} {step.phase}".rstrip(), where, label, orders, new, depends, needs,
                              step.lamps))
        before = step
    return found


def _number(value: int, bits: int) -> str:
    return str(value) if bits == 1 else f"{value:0{-(-bits // 4)}X}"


def all_inputs(machine: Machine, card: Card) -> str:
    """What holds of inputs that the card never sets."""
    if not card.steps or not machine.inputs:
        return ""
    moved = {name for step in card.steps for name, value in step.inputs.items() if value}
    quiet = [name for name in machine.inputs if name not in moved]
    return f"all along at 0: {', '.join(quiet)}" if quiet else ""


def begins(machine: Machine, card: Card) -> str:
    """States as declared, and the phase; what is remembered of inputs on the clock is told with these."""
    phase = "" if machine.clock is None else machine.clock.name
    return ", ".join(value_words(machine, name, value) for name, value in card.begins
                     if name == phase or not is_beside(machine, name))


def legend(machine: Machine) -> list[tuple[str, str]]:
    """The letter of each row of lamps, and what it is: `A`, `frame, upper row: upc[9:0] - ir[7:0]`."""
    return [(letter, f"{row.title}: " + "  ".join(_names(row)) + ("  (lit while low)" if row.active_low else ""))
            for letter, row in zip(letters(len(machine.lamps)), machine.lamps)]


def letters(count: int) -> list[str]:
    """A, B ... Z, A2, B2 ..."""
    return [chr(65 + at % 26) + ("" if at < 26 else str(at // 26 + 1)) for at in range(count)]


def _names(row: LampRow) -> list[str]:
    """The lamps, neighbours of one name together, `-` for a gap."""
    found = []
    for name, group in groupby(row.lamps, key=lambda lamp: None if lamp is None else lamp.line.name.partition("[")[0]):
        lamps = [lamp for lamp in group if lamp is not None]
        bits = [lamp.line.name.partition("[")[2].rstrip("]") for lamp in lamps]
        span = f"[{bits[0]}:{bits[-1]}]" if len(bits) > 1 and bits[0] else f"[{bits[0]}]" if bits and bits[0] else ""
        found.append("-" if name is None else f"{name}{span}")
    return found


def readings(row: LampRow, lamps: Sequence[Lit]) -> str:
    """What a row reads, in hexadecimal where several bits of one name stand side by side: `upc 020, read lit`."""
    found = []
    places = list(zip(row.lamps, lamps))
    for name, group in groupby(places, key=lambda at: None if at[0] is None else at[0].line.name.partition("[")[0]):
        levels = [level for lamp, level in group if lamp is not None]
        if name is None or len(levels) < 2:
            continue
        digits = []
        for end in range(len(levels), 0, -4):
            nibble = levels[max(0, end - 4):end]
            digits.append("?" if None in nibble else f"{int(''.join(map(str, nibble)), 2):X}")
        found.append(f"{name} {''.join(reversed(digits))}")
    return ", ".join(found)


def drawn(row: LampRow, lamps: Sequence[Lit], signs: Signs) -> str:
    return "".join(" " if lamp is None else signs.either if level is None else signs.lit if level else signs.dark
                   for lamp, level in zip(row.lamps, lamps))


def card_lines(contents: Contents, card: Card, page: Page, signs: Signs) -> list[str]:
    """The whole card."""
    page = page._replace(width=min(WIDTH, page.width) if page.folds else WIDTH, folds=True)
    machine = contents.machine
    count = len(card.steps)
    lines = [*fold(f"{machine.name}: {printable(card.title)}, {count} clock{'s' if count != 1 else ''}", page), ""]
    lines += [line for caution in CAUTIONS for line in fold(f"  {caution}", page)] + [""]
    for letter, what in legend(machine):
        lines += fold(f"  {letter:<3}{printable(what)}", page, 3)
    if machine.lamps:
        lines.append(f"  {signs.lit} lit   {signs.dark} dark   {signs.either} either: it depends on data")
    else:
        lines += fold("  no lamps: `lamps` in the machine file says what those of your panel show", page)
    quiet = all_inputs(machine, card)
    if quiet:
        lines += fold(f"  {quiet}", page, 4)
    if card.begins:
        lines += fold(f"  it begins with {begins(machine, card)}", page, 4)
    for step in told(contents, card):
        lines += ["", *_block(machine, step, page, signs)]
    return [*lines, "", *fold(card.ending, page)] if card.ending else lines


def _block(machine: Machine, step: CardStep, page: Page, signs: Signs) -> Iterable[str]:
    if step.set:
        yield from fold(f"      before it, set {printable(', '.join(step.set))}", page, 4)
    yield from fold(f"[ ] {step.number:>4}  {step.address}  {printable(step.label)}", page, 12)
    if step.orders:
        yield from fold(" " * 10 + printable(step.orders), page, 2)
    for letter, row, lamps in zip(letters(len(machine.lamps)), machine.lamps, step.lamps):
        line, read = f"          {letter:<3}{drawn(row, lamps, signs)}", readings(row, lamps)
        if columns(line) + 2 + columns(read) <= page.width:
            yield f"{line}  {read}".rstrip()
        else:
            yield line.rstrip()
            yield from fold(f"             {read}", page)
    if step.needs:
        yield from fold(f"          goes on so with {', '.join(step.needs)}", page)
    if step.depends:
        yield from fold(f"          a choice: otherwise than with {printable(', '.join(step.depends))} another word "
                        "follows", page)
