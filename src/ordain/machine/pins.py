"""Pins: what stands at each of them, highest pin first, as a `holds` or `address` line says it."""

from typing import NamedTuple

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import short
from ordain.machine.expression import Const, Leaf, Node
from ordain.machine.lines import address_lines
from ordain.machine.lowering import Lowering
from ordain.machine.names import unknown
from ordain.text.findings import Place, error, note
from ordain.text.source import Span

TIED, SPARE = "0 or 1", "spare"
"""What a pin without a bit is; no store can have such a name where it matters, pins being asked for these first."""


class Wiring(NamedTuple):
    """What chips are read against."""

    lowering: Lowering
    stores: dict[str, model.Store]
    fields: dict[str, model.Field]


def _unwrap(expr: tree.Expr) -> tuple[tree.Expr, bool]:
    """The expression without the `not`s before it, and whether they invert."""
    inverted = False
    while isinstance(expr, tree.Not):
        expr, inverted = expr.operand, not inverted
    return expr, inverted


def _spread(expr: tree.Expr) -> list[tuple[tree.Expr, bool]]:
    """The parts of nested joins, left to right, with the `not`s above them."""
    parts: list[tuple[tree.Expr, bool]] = []
    stack = [(expr, False)]
    while stack:
        part, outer = stack.pop()
        inner, inverted = _unwrap(part)
        if isinstance(inner, tree.Join):
            stack.extend((item, outer ^ inverted) for item in reversed(inner.parts))
        else:
            parts.append((inner, outer ^ inverted))
    return parts


def data_pins(expr: tree.Expr, chip: tree.Chip, wiring: Wiring) -> list[tuple[str, model.Pin]] | None:
    """(what, pin) for one item of a `holds` line: the store whose bit it is, `TIED` or `SPARE`. None: reported, or its
    name is broken. The level of a spare pin is that of an erased cell, which can still be burned later."""
    pins: list[tuple[str, model.Pin]] = []
    for part, inverted in _spread(expr):
        if isinstance(part, tree.Word) and part.text == "spare":
            pins.append((SPARE, model.Pin(None, False, int(chip.erased_ones))))
        elif isinstance(part, tree.Number):
            levels = _levels(part, wiring.lowering)
            if levels is None:
                return None
            pins.extend((TIED, model.Pin(None, False, level ^ inverted)) for level in levels)
        else:
            place = _stored_bits(part, inverted, wiring)
            if place is None:
                return None
            store, high, low = place
            pins.extend((store, model.Pin(bit, inverted, 0)) for bit in range(high, low - 1, -1))
    return pins


def _levels(number: tree.Number, lowering: Lowering) -> list[int] | None:
    """A number as levels of pins, highest first: 0 and 1 are one pin, others as many as their digits say."""
    width = number.digits_width or (1 if number.value in (0, 1) else None)
    if width is None:
        lowering.findings.append(error(
            "no-width", f"nothing says how many pins {number.value} is", number.span, "a number of unknown width",
            help="write its digits, as in `0b0011` for four pins"))
        return None
    return [number.value >> bit & 1 for bit in reversed(range(width))]


def _stored_bits(expr: tree.Expr, inverted: bool, wiring: Wiring) -> tuple[str, int, int] | None:
    """(store, high, low) of `control[7:4]`, `control`, `source`, `source[0]`: bits as they stand in the word."""
    lowering = wiring.lowering
    named = expr.operand if isinstance(expr, tree.Slice) else expr
    if not isinstance(named, tree.Word):
        lowering.findings.append(error(
            "not-a-pin", f"`{short(expr.span)}` is no bit of a store", expr.span, "computed, not stored",
            help="a chip holds stored bits: name a field or bits of a store, with `not` for an inverted pin"))
        return None
    name = named.text.removesuffix(".word")
    entry = lowering.scope.find(name)
    if name == "spare":
        lowering.findings.append(error("not-a-pin", "spare bits have no numbers", expr.span, "bits of `spare`",
                                       help="write `spare` once for each pin"))
        return None
    if entry is None:
        known = [*wiring.stores, *(field.name for field in wiring.fields.values() if field.holds != "spare"), "spare"]
        lowering.findings.append(unknown(name, known, named.span, "field or store"))
        return None
    if entry.broken:
        return None
    if entry.kind == "store":
        store, base, width, active_low = entry.name, 0, wiring.stores[entry.name].bits, False
    elif entry.kind == "field" and entry.name in wiring.fields:
        field = wiring.fields[entry.name]
        store, base, width, active_low = field.store, field.low, field.width, field.active_low
    else:
        lowering.findings.append(error(
            "not-a-pin", f"`{name}` is no bit of a store", named.span, f"a {entry.kind}",
            places=(Place(entry.span, "declared here"),), help="name a field, or bits of a store"))
        return None
    if active_low and inverted:
        lowering.findings.append(note(
            "inverted-twice", f"`{name}` is active low, and its pin is inverted again", expr.span,
            "this pin is high when the field is asserted",
            places=(Place(wiring.fields[name].span, "active low"),),
            help="pins name stored bits: leave `not` out if the chip's pin is to be low when it is asserted"))
    if not isinstance(expr, tree.Slice):
        return store, base + width - 1, base
    if not 0 <= expr.low <= expr.high < width:
        lowering.findings.append(error(
            "bad-slice", f"`{name}` has no bits [{expr.high}:{expr.low}]", expr.span,
            f"its bits are {width - 1} down to 0",
            help="write the higher bit first" if expr.low > expr.high else "correct the numbers of the bits"))
        return None
    return store, base + expr.high, base + expr.low


# ---------------------------------------------------------------- address pins


def address_pins(bank: tree.Bank, chip: tree.Chip, store: str, wiring: Wiring) -> tuple[model.AddressPin, ...] | None:
    lowering = wiring.lowering
    count = chip.words.value.bit_length() - 1
    if bank.address is None:
        lowering.findings.append(error(
            "no-address", f"nothing says how the address pins of `{chip.name.text}` are wired", bank.span,
            "no `address` line", help=f"add `address {{...}}` with {count} pins, the highest first"))
        return None
    addressed = wiring.stores[store].address
    if isinstance(addressed, Leaf) and addressed.kind == "free":
        return None  # stands in for an address that is broken, which has been reported
    pins: list[model.AddressPin] = []
    for part, inverted in _spread(bank.address):
        found = _address_pins(part, inverted, store, addressed, wiring)
        if found is None:
            return None
        pins.extend(found)
    if len(pins) != count:
        lowering.findings.append(error(
            "pin-count", f"`{chip.name.text}` has {count} address pins, and {len(pins)} are wired", bank.address.span,
            "highest pin first", places=(Place(chip.span, f"{chip.words.value} words"),),
            help="tie pins that are left over with 0 or 1 as wired, or `any` for the same content at both levels"
            if len(pins) < count else "a chip with more words is wanted, or fewer lines"))
        return None
    missing = [bit for bit in range(addressed.width) if all(pin.bit != bit for pin in pins)]
    if missing:
        lowering.findings.append(error(
            "address-line-missing", f"`{chip.name.text}` does not see address "
            f"{'lines' if len(missing) > 1 else 'line'} {ranges(missing)} of `{store}`", bank.address.span,
            "words that differ in it would share a cell", places=(Place(wiring.stores[store].span, "its address"),),
            help="wire every line of the store's address to a pin; where it enables this chip or another, write the "
                 "two as one of twice the words, and cut its image in two"))
        return None
    return tuple(pins)


def _address_pins(part: tree.Expr, inverted: bool, store: str, address: Node,
                  wiring: Wiring) -> list[model.AddressPin] | None:
    lowering = wiring.lowering
    if isinstance(part, tree.Word) and part.text == "any":
        return [model.AddressPin(None, False, None)]
    if isinstance(part, tree.Number):
        levels = _levels(part, lowering)
        return None if levels is None else [model.AddressPin(None, False, level ^ inverted) for level in levels]
    named = part.operand if isinstance(part, tree.Slice) else part
    if isinstance(named, tree.Word) and named.text == "address":
        high, low = (part.high, part.low) if isinstance(part, tree.Slice) else (address.width - 1, 0)
        if 0 <= low <= high < address.width:
            return [model.AddressPin(bit, inverted, None) for bit in range(high, low - 1, -1)]
        lowering.findings.append(error(
            "bad-slice", f"the address of `{store}` has no bits [{high}:{low}]", part.span,
            f"its bits are {address.width - 1} down to 0", help="correct the numbers of the bits"))
        return None
    node = lowering.node(part)
    return None if node is None else _match_lines(node, inverted, part.span, store, address, wiring)


def _match_lines(node: Node, inverted: bool, span: Span, store: str, address: Node,
                 wiring: Wiring) -> list[model.AddressPin] | None:
    """Each bit of `node` found among the lines of the store's address."""
    terms = wiring.lowering.terms
    lines = address_lines(terms, address)
    pins: list[model.AddressPin] = []
    for bit in reversed(range(node.width)):
        line = terms.slice(node, bit, bit)
        if line in lines:
            pins.append(model.AddressPin(lines[line], inverted, None))
        elif terms.not_(line) in lines:
            pins.append(model.AddressPin(lines[terms.not_(line)], not inverted, None))
        elif isinstance(line, Const):
            pins.append(model.AddressPin(None, False, line.value ^ inverted))
        else:
            wiring.lowering.findings.append(error(
                "not-in-address", f"`{short(span)}` is no line of the address of `{store}`", span,
                "not part of what addresses the store", places=(Place(wiring.stores[store].span, "its address"),),
                help="name parts of that address, or `address[hi:lo]`"))
            return None
    return pins


def ranges(numbers: list[int]) -> str:
    """Bits for a message: `[7:4], [1]`, up to eight groups."""
    groups: list[list[int]] = []
    for number in sorted(numbers):
        if groups and groups[-1][-1] == number - 1:
            groups[-1].append(number)
        else:
            groups.append([number])
    shown = [f"[{group[-1]}:{group[0]}]" if len(group) > 1 else f"[{group[0]}]" for group in reversed(groups)]
    return ", ".join(shown[:8]) + (f" and {len(shown) - 8} more" if len(shown) > 8 else "")
