"""Orders: the phrase and the fields that it sets. Kept as written; what they name is checked here."""

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import bits, listed
from ordain.machine.lowering import Lowering
from ordain.machine.names import unknown
from ordain.text.findings import Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest


def order_models(orders: list[tree.Order], fields: dict[str, model.Field],
                 lowering: Lowering) -> tuple[model.Order, ...]:
    """All orders whose phrase is not taken; broken settings are left out."""
    first: dict[tuple[str, ...], tree.Order] = {}
    kept = []
    for order in orders:
        key = phrase_key(order)
        if key in first:
            lowering.findings.append(error(
                "defined-twice", f"the order `{spoken(order)}` is defined twice", order.span, "the second",
                places=(Place(first[key].span, "the first"),), help="change the words of one of them"))
        else:
            first[key] = order
            kept.append(order)
    result = []
    for order in kept:
        _check_holes(order, lowering)
        settings = tuple(setting for setting in order.settings if _check_setting(setting, first, fields, lowering))
        _check_conflict(settings, fields, lowering)
        result.append(model.Order(order.phrase, settings, order.span))
    _check_circles(kept, first, fields, lowering)
    return tuple(result)


def phrase_key(order: tree.Order) -> tuple[str, ...]:
    """The words of a phrase, every hole being like every other."""
    return tuple(part.text if isinstance(part, tree.Word) else "<>" for part in order.phrase)


def spoken(order: tree.Order) -> str:
    return " ".join(part.text if isinstance(part, tree.Word) else f"<{part.name}>" for part in order.phrase)


def _holes(value: object) -> list[tree.Hole]:
    if isinstance(value, tree.Hole | tree.Cut):
        return [value.hole if isinstance(value, tree.Cut) else value]
    return [label for label in value.labels if isinstance(label, tree.Hole)] if isinstance(value, tree.Address) else []


def _check_holes(order: tree.Order, lowering: Lowering) -> None:
    named: dict[str, Span] = {}
    for part in order.phrase:
        if isinstance(part, tree.Hole):
            if part.name in named:
                lowering.findings.append(error(
                    "defined-twice", f"`<{part.name}>` stands twice in one phrase", part.span, "the second",
                    places=(Place(named[part.name], "the first"),), help="give one of them another name"))
            named.setdefault(part.name, part.span)
    used = [hole for setting in order.settings for hole in _holes(setting.value)]
    for hole in used:
        if hole.name not in named:
            close = nearest(hole.name, named)
            lowering.findings.append(error(
                "unknown-name", f"the phrase `{spoken(order)}` has no `<{hole.name}>`", hole.span, "nothing fills this",
                help=f"did you mean `<{close}>`?" if close else f"put `<{hole.name}>` into the phrase"))
    for name, span in named.items():
        if all(hole.name != name for hole in used):
            lowering.findings.append(error(
                "unused-hole", f"`<{name}>` is filled in and then not used", span, "no field takes it",
                help=f"set a field to `<{name}>`, or leave it out of the phrase"))


def nested_order(setting: tree.Setting, orders: dict[tuple[str, ...], tree.Order]) -> tree.Order | None:
    """The order that a setting names inside another order: `read`, `goto fetch`, `goto <there>`."""
    if setting.value is None:
        return orders.get((setting.field.text,))
    named = setting.value.text if isinstance(setting.value, tree.Word) else None
    exact = orders.get((setting.field.text, named)) if named is not None else None
    return exact or orders.get((setting.field.text, "<>"))


def _check_setting(setting: tree.Setting, orders: dict[tuple[str, ...], tree.Order],
                   fields: dict[str, model.Field], lowering: Lowering) -> bool:
    name = setting.field.text
    entry = lowering.scope.entries.get(name)
    if entry is not None and entry.kind == "field" and entry.broken:
        return False
    field = fields.get(name)
    if isinstance(setting.value, tree.Cut) and setting.value.high < setting.value.low:
        lowering.findings.append(error(
            "width-mismatch", f"`{setting.value.span.text}` has no bits", setting.value.span,
            "the higher bit comes first", help="turn the two numbers round"))
        return False
    if field is None:
        if nested_order(setting, orders) is not None:
            return True
        words = [key[0] for key in orders if key]
        lowering.findings.append(unknown(
            name, [*(known.name for known in fields.values() if known.holds != "spare"), *words], setting.field.span,
            "field or order"))
        return False
    return _check_value(setting, field, lowering)


def _check_value(setting: tree.Setting, field: model.Field, lowering: Lowering) -> bool:
    value, report = setting.value, lowering.findings.append
    if field.holds == "derived":
        report(error("wrong-kind", f"`{field.name}` is computed and cannot be set", setting.span, "a derived field",
                     places=(Place(field.span, "declared here"),), help="leave it out of the order"))
        return False
    match value:
        case None:
            if field.width == 1 and field.holds == "code" and not field.codes:
                return True
            report(error("no-value", f"`{field.name}` is set to nothing", setting.span, "a value is wanted",
                         places=(Place(field.span, "not a flag"),), help=_values_of(field)))
        case tree.Hole():
            return True
        case tree.Cut(high=high, low=low):
            if high - low + 1 == field.width:
                return True
            report(error("width-mismatch", f"`{value.span.text}` has {bits(high - low + 1)}, and `{field.name}` has "
                         f"{bits(field.width)}", value.span, bits(high - low + 1),
                         places=(Place(field.span, "declared here"),),
                         help="name as many bits as the field has, as in `<n>[7:4]` for four"))
        case tree.Number(value=number):
            if not number >> field.width:
                return _check_code(number, value.span, field, lowering)
            report(error("too-wide", f"{number} needs {bits(number.bit_length())}, and `{field.name}` has "
                         f"{bits(field.width)}", value.span, f"more than {(1 << field.width) - 1}",
                         help="correct the number, or widen the field"))
        case tree.Address():
            if field.holds == "address":
                return True
            report(error("wrong-kind", f"`{field.name}` holds no address", value.span, "an address",
                         places=(Place(field.span, "declared here"),),
                         help="write `address` after the width of the field, or set another field"))
        case tree.Word(text=text):
            return _check_word(text, value.span, field, lowering)
    return False


def _check_word(text: str, span: Span, field: model.Field, lowering: Lowering) -> bool:
    """A code of the field; a label, for an address; a constant, for a number."""
    if field.holds == "address":
        return True
    if any(code.name == text for code in field.codes):
        return True
    entry = lowering.scope.entries.get(text)
    if entry is not None and entry.kind == "constant" and field.holds == "number":
        value = entry.number
        if entry.broken or not value >> field.width:
            return not entry.broken
        lowering.findings.append(error(
            "too-wide", f"`{text}` needs {bits(value.bit_length())}, and `{field.name}` has {bits(field.width)}", span,
            f"more than {(1 << field.width) - 1}", places=(Place(entry.span, "its value"),),
            help="correct the constant, or widen the field"))
        return False
    declared = lowering.scope.entries.get(field.name)
    if declared is not None and declared.codes is not None and text in declared.codes.broken:
        return False
    close = nearest(text, [code.name for code in field.codes])
    lowering.findings.append(error(
        "unknown-code", f"`{field.name}` has no code `{text}`", span, "not one of its codes",
        places=(Place(field.span, "declared here"),), help=f"did you mean `{close}`?" if close else _values_of(field)))
    return False


def _check_code(number: int, span: Span, field: model.Field, lowering: Lowering) -> bool:
    if not field.codes or any(code.value == number for code in field.codes):
        return True
    lowering.findings.append(error(
        "undefined-code", f"`{field.name}` has no code {number}", span, "not one of its codes",
        places=(Place(field.span, "declared here"),), help=_values_of(field)))
    return False


def _values_of(field: model.Field) -> str:
    if field.codes:
        return "its codes are " + listed(code.name for code in field.codes)
    if field.holds == "address":
        return "name a label, as in `target fetch`"
    return f"write a number up to {(1 << field.width) - 1}"


def _check_conflict(settings: tuple[tree.Setting, ...], fields: dict[str, model.Field], lowering: Lowering) -> None:
    """One order sets one field once."""
    first: dict[str, tree.Setting] = {}
    for setting in settings:
        earlier = first.setdefault(setting.field.text, setting)
        if earlier is not setting and setting.field.text in fields:
            lowering.findings.append(error(
                "field-conflict", f"this order sets `{setting.field.text}` twice", setting.span, "the second",
                places=(Place(earlier.span, "the first"),), help="leave one of them out"))


def _check_circles(kept: list[tree.Order], orders: dict[tuple[str, ...], tree.Order], fields: dict[str, model.Field],
                   lowering: Lowering) -> None:
    """An order must not contain itself through others."""
    below = {id(order): [inner for setting in order.settings if setting.field.text not in fields
                         and (inner := nested_order(setting, orders)) is not None] for order in kept}
    settled: set[int] = set()
    for root in kept:
        path, pending = [root], [iter(below[id(root)])]
        while path:
            following = next((order for order in pending[-1] if id(order) not in settled), None)
            if following is None:
                settled.add(id(path.pop()))
                pending.pop()
            elif any(order is following for order in path):
                loop = path[next(index for index, order in enumerate(path) if order is following):]
                settled.update(id(order) for order in loop)
                _report_circle(loop, lowering)
            else:
                path.append(following)
                pending.append(iter(below[id(following)]))


def _report_circle(loop: list[tree.Order], lowering: Lowering) -> None:
    circle = " -> ".join(f"`{spoken(order)}`" for order in [*loop, loop[0]])
    lowering.findings.append(error(
        "order-loop", f"an order contains itself: {circle}", loop[0].span, "the circle begins and ends here",
        places=tuple(Place(order.span, "on the circle") for order in loop[1:]),
        help="let one of them set fields instead"))
