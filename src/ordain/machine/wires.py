"""Parts and wires: which pins a net touches, each pin once, in agreement with the chips of the stores."""

from collections.abc import Sequence
from typing import NamedTuple

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import bits, short
from ordain.machine.expression import Leaf, Node, Slice
from ordain.machine.lowering import Lowering
from ordain.text.findings import Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest


class _Used(NamedTuple):
    """Whose pin it is: (net, bit) and the place that says so."""

    net: object
    span: Span


def component_models(texts: Sequence[tree.Component], lowering: Lowering) -> dict[str, model.Component]:
    """The parts; a pin and a number of one part stand once."""
    parts: dict[str, model.Component] = {}
    for text in texts:
        name = text.name.text
        if name in parts:
            lowering.findings.append(error(
                "defined-twice", f"part `{name}` is defined twice", text.name.span, "the second",
                places=(Place(parts[name].span, "the first"),), help="give one of them another name"))
            continue
        pins: dict[str, int] = {}
        places: dict[object, Span] = {}
        for pin, number in text.pins:
            for what, shown in ((pin.text, f"pin `{pin.text}`"), (number.value, f"pin number {number.value}")):
                if what in places:
                    lowering.findings.append(error(
                        "pin-twice", f"{shown} of `{name}` is given twice", pin.span, "the second",
                        places=(Place(places[what], "the first"),), help="a pin has one number, and a number one pin"))
                places.setdefault(what, pin.span)
            pins.setdefault(pin.text, number.value)
        parts[name] = model.Component(name, text.type.text if text.type else "", tuple(pins.items()), text.span)
    return parts


def wire_models(texts: Sequence[tree.Wire], parts: dict[str, model.Component], chips: dict[str, model.Chip],
                stores: dict[str, model.Store], fields: dict[str, model.Field],
                lowering: Lowering) -> tuple[model.Wire, ...]:
    """The wires, without those of which a pin is used by something else."""
    used = {(chip.name, pin): _Used(net, chip.span) for chip in chips.values()
            for pin, net in _own_pins(chip, stores, lowering).items() if net is not None}
    wires = []
    for text in texts:
        node = lowering.node(text.net)
        if node is None:
            continue
        for group in text.pins:
            if len(group.pins) != node.width:
                lowering.findings.append(error(
                    "width-mismatch", f"`{short(text.net.span)}` has {bits(node.width)}, and {len(group.pins)} "
                    f"{'pin is' if len(group.pins) == 1 else 'pins are'} named", group.span,
                    "one pin for each bit, the highest first",
                    help=f"write `{group.part}.{{...}}` with {bits(node.width).replace('bit', 'pin')}, or give the net "
                         "bit by bit, as in `x[3]`"))
                continue
            for place, pin in enumerate(group.pins):
                if not _use(group, pin, _net(lowering, node, node.width - 1 - place, fields), parts, chips, used,
                            lowering):
                    break
        named = text.net.operand if isinstance(text.net, tree.Slice) else text.net
        assert isinstance(named, tree.Word)
        entry = lowering.scope.find(named.text.removesuffix(".word"))
        wires.append(model.Wire(named.text, text.net.low if isinstance(text.net, tree.Slice) else None, node.width,
                                _kind(named.text, entry.kind if entry is not None else "signal", fields),
                                tuple((group.part, group.pins) for group in text.pins), text.span))
    return tuple(wires)


def _kind(name: str, kind: str, fields: dict[str, model.Field]) -> str:
    return f"{kind}, active low" if name in fields and fields[name].active_low else kind


def _use(group: tree.Pins, pin: str, net: object, parts: dict[str, model.Component], chips: dict[str, model.Chip],
         used: dict[tuple[str, str], _Used], lowering: Lowering) -> bool:
    """Take a pin for a bit of a net; False when there is no such pin, or it belongs to something else."""
    known = [name for name, _ in parts[group.part].pins] if group.part in parts else []
    chip = chips.get(group.part)
    own = [f"D{line}" for line in range(chip.bits)] + [f"A{line}" for line in range(chip.words.bit_length() - 1)] \
        if chip is not None else []
    if known and pin not in known and pin not in own:
        near = nearest(pin, known)
        lowering.findings.append(error(
            "unknown-pin", f"`{group.part}` has no pin `{pin}`", group.span, "no pin of this part",
            places=(Place(parts[group.part].span, "its pins"),),
            help=f"did you mean `{near}`?" if near else "its pins are " + ", ".join(known)))
        return False
    if own and not known and pin not in own and pin[0] in "AD" and pin[1:].isdecimal():
        lowering.findings.append(error(
            "unknown-pin", f"`{group.part}` has no pin `{pin}`", group.span, "no pin of this chip",
            places=(Place(chips[group.part].span, "declared here"),),
            help=f"its data pins are D0 to D{chips[group.part].bits - 1}, its address pins A0 to {own[-1]}"))
        return False
    before = used.setdefault((group.part, pin), _Used(net, group.span))
    if before.net != net:
        lowering.findings.append(error(
            "pin-twice", f"pin `{pin}` of `{group.part}` is on two nets", group.span, "the second",
            places=(Place(before.span, "the first"),), help="a pin is soldered to one net: correct one of the two"))
    return before.net == net


def _net(lowering: Lowering, node: Node, bit: int, fields: dict[str, model.Field]) -> object:
    """What tells a bit of a net from all others: a bit of a store's word, or the term."""
    line = lowering.terms.slice(node, bit, bit)
    leaf, low = (line.args[0], line.low) if isinstance(line, Slice) else (line, 0)
    if isinstance(leaf, Leaf) and leaf.kind == "field" and leaf.name in fields:
        return fields[leaf.name].store, fields[leaf.name].low + low
    if isinstance(leaf, Leaf) and leaf.kind == "word":
        return leaf.name, low
    return line


def _own_pins(chip: model.Chip, stores: dict[str, model.Store],
              lowering: Lowering) -> dict[str, object]:
    """What the chip itself says of its data and address pins; None where that is more than one thing."""
    nets: dict[str, set[object]] = {}
    for bank in chip.banks:
        for place, pin in enumerate(reversed(bank.pins)):
            nets.setdefault(f"D{place}", set()).add(
                pin.level if pin.bit is None else (bank.store, pin.bit, "inverted") if pin.inverted
                else (bank.store, pin.bit))
        address = stores[bank.store].address
        for place, at in enumerate(reversed(bank.address)):
            nets.setdefault(f"A{place}", set()).add(
                at.level if at.bit is None else
                lowering.terms.not_(lowering.terms.slice(address, at.bit, at.bit)) if at.inverted else
                lowering.terms.slice(address, at.bit, at.bit))
    return {pin: next(iter(found)) if len(found) == 1 else None for pin, found in nets.items()}
