"""Phrases become settings: orders, `field code`, flags."""

from collections.abc import Collection, Mapping, Sequence
from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.machine.model import Field, Machine, Order
from ordain.microprogram.layout import Layout, is_flag
from ordain.microprogram.meaning import Aim, Assign, ClauseFault, said
from ordain.text.findings import Place
from ordain.text.spelling import nearest

_BLOCKS: dict[str, Literal["pair", "table"]] = {"pair": "pair", "table": "table"}
_RESTS: dict[str, Literal["page", "part"]] = {"page": "page", "part": "part"}


class FieldValue(NamedTuple):
    """What stands where a field's value is wanted, from a clause or from an order: a word, a number, or a block or page
    of labels. `start`, `end`: its place in the clause, None when it stands in the order."""

    text: str
    number: int | None
    aim: Aim | None
    start: int | None
    end: int | None


class Vocabulary(NamedTuple):
    """Everything that can be said in the words of one store. `orders`: by number of parts and first word ("" for a
    hole); `nested`: by the words of the phrase, "<>" for holes. `twofold`: constants that are labels as well, of words
    that need not stand there."""

    machine: Machine
    layout: Layout
    orders: Mapping[tuple[int, str], Sequence[Order]]
    nested: Mapping[tuple[str, ...], Order]
    twofold: Collection[str]


class Misuse(Exception):
    """A phrase that means nothing; carries the fault, None where that was reported with the machine file."""

    def __init__(self, fault: ClauseFault | None) -> None:
        super().__init__(fault.message if fault is not None else "reported already")
        self.fault = fault


def vocabulary_of(machine: Machine, layout: Layout, twofold: Collection[str]) -> Vocabulary:
    orders: dict[tuple[int, str], list[Order]] = {}
    nested: dict[tuple[str, ...], Order] = {}
    for order in machine.orders:
        first = order.phrase[0]
        orders.setdefault((len(order.phrase), first.text if isinstance(first, tree.Word) else ""), []).append(order)
        nested.setdefault(tuple([part.text if isinstance(part, tree.Word) else "<>" for part in order.phrase]), order)
    return Vocabulary(machine, layout, orders, nested, twofold)


def understand(vocabulary: Vocabulary, parts: Sequence[tree.PhrasePart]) -> list[Assign]:
    """The settings of a phrase. Raises `Misuse`."""
    values = [_value(part) for part in parts]
    order = _order(vocabulary, values)
    field = vocabulary.layout.fields.get(values[0].text) if values[0].number is None else None
    direct = None
    if field is not None and len(values) <= 2 and (len(values) == 2 or is_flag(field)):
        direct = field
    if order is None:
        if direct is not None:
            return [assign(vocabulary, direct, values[1] if len(values) == 2 else None)]
        raise Misuse(_unknown(vocabulary, values))
    by_order = _expand(vocabulary, order, dict(zip([part.name for part in order.phrase if isinstance(part, tree.Hole)],
                                                   _filled(order, values))))
    if direct is not None and _may_be_set(direct, values) and [
            assign(vocabulary, direct, values[1] if len(values) == 2 else None)] != by_order:
        raise Misuse(ClauseFault(
            "ambiguous-order", f"`{spoken(values)}` is an order and also sets the field `{direct.name}`", None, None,
            "two meanings", "change the words of the order", (Place(order.span, "the order"),
                                                              Place(direct.span, "the field"))))
    return by_order


def spoken(values: Sequence[FieldValue]) -> str:
    return " ".join([value.text for value in values])


def order_text(order: Order) -> str:
    return " ".join([part.text if isinstance(part, tree.Word) else f"<{part.name}>" for part in order.phrase])


def _value(part: tree.PhrasePart) -> FieldValue:
    if part.call is None:
        aim = Aim("following", (), "zeros") if part.text == "following" else None
        return FieldValue(part.text, part.number, aim, part.start, part.end)
    return FieldValue(f"{part.text}({', '.join(part.call)})", None, _aim(part.text, part.call, part), part.start,
                      part.end)


def _aim(name: str, labels: tuple[str, ...], part: tree.PhrasePart) -> Aim:
    """`pair(a, b)`, `table(a, b, c, d)`, `page(a)`, `part(a)`."""
    rest = _RESTS.get(name)
    if rest is not None and len(labels) == 1:
        return Aim("following", (), rest) if labels == ("following",) else Aim("label", labels, rest)
    if name in _BLOCKS and _block_size(name, len(labels)):
        return Aim(_BLOCKS[name], labels, "zeros")
    if name not in (*_BLOCKS, *_RESTS):
        close = nearest(name, (*_BLOCKS, *_RESTS))
        raise Misuse(ClauseFault("unknown-name", f"there is no `{name}(...)`", part.start, part.end, "unknown",
                                 f"did you mean `{close}`?" if close
                                 else "there are `pair`, `table`, `page` and `part`"))
    raise Misuse(_block_fault(name, len(labels), part.start, part.end))


def _block_size(name: str, count: int) -> bool:
    return count == 2 if name == "pair" else count >= 2 and count & (count - 1) == 0


def _block_fault(name: str, count: int, start: int | None, end: int | None) -> ClauseFault:
    wanted = {"pair": "2 labels", "page": "1 label", "part": "1 label"}.get(name, "2, 4, 8 ... labels")
    return ClauseFault("block-size", f"`{name}` takes {wanted}, not {count}", start, end, f"{count} given",
                       "the labels stand in the order of the value that the hardware puts into the low address bits")


# ---------------------------------------------------------------- orders


def _order(vocabulary: Vocabulary, values: Sequence[FieldValue]) -> Order | None:
    """The order that a phrase speaks of: the one with the most words of its own, if one has all those of the others."""
    first = values[0].text if values[0].number is None and values[0].aim is None else ""
    count = len(values)
    found = [order for key in dict.fromkeys(((count, first), (count, "")))
             for order in vocabulary.orders.get(key, ()) if _speaks(order, values)]
    if len(found) < 2:
        return found[0] if found else None
    own = [frozenset(at for at, part in enumerate(order.phrase) if isinstance(part, tree.Word)) for order in found]
    best = max(range(len(found)), key=lambda at: len(own[at]))
    if all(at == best or words < own[best] for at, words in enumerate(own)):
        return found[best]
    raise Misuse(ClauseFault(
        "ambiguous-order", f"`{spoken(values)}` can be understood in {len(found)} ways", None, None,
        "which order is meant?", "change the words of one of the orders",
        tuple([Place(order.span, f"`{order_text(order)}`") for order in found])))


def _speaks(order: Order, values: Sequence[FieldValue]) -> bool:
    return all(not isinstance(part, tree.Word) or (part.text == value.text and value.number is None)
               for part, value in zip(order.phrase, values))


def _filled(order: Order, values: Sequence[FieldValue]) -> list[FieldValue]:
    return [value for part, value in zip(order.phrase, values) if isinstance(part, tree.Hole)]


def _expand(vocabulary: Vocabulary, order: Order, holes: Mapping[str, FieldValue]) -> list[Assign]:
    """The settings of an order and of the orders in it. An order that contains itself was reported with the machine."""
    done: list[Assign] = []
    todo: list[tuple[tree.Setting, Mapping[str, FieldValue], tuple[Order, ...]]] = [
        (setting, holes, (order,)) for setting in reversed(order.settings)]
    while todo:
        setting, bound, around = todo.pop()
        value = None if setting.value is None else (
            _bits(vocabulary, setting.value, bound, around[-1]) if isinstance(setting.value, tree.Cut)
            else _bound(setting.value, bound))
        field = vocabulary.machine.fields.get(setting.field.text)
        if field is not None:
            if field.name not in vocabulary.layout.fields:
                raise Misuse(ClauseFault(
                    "wrong-store", f"`{order_text(order)}` sets `{field.name}`, a field of `{field.store}`", None, None,
                    f"a word of `{vocabulary.layout.store.name}`", "say it in a word of the other store",
                    (Place(setting.span, "set here"),)))
            made = assign(vocabulary, field, value, setting)
            earlier = next((other for other in done if other.field is field), None)
            if earlier is None:
                done.append(made)
            elif earlier != made:
                raise Misuse(ClauseFault(
                    "field-conflict", f"`{order_text(order)}` sets `{field.name}` twice, to {_worth(earlier)} and to "
                    f"{_worth(made)}", None, None, "sets one field twice", "leave one of the settings out",
                    (Place(setting.span, f"{_worth(made)} here"),)))
            continue
        inner = _nested(vocabulary, setting, value)
        if inner is None:
            raise Misuse(ClauseFault("unknown-name",
                                     f"`{order_text(order)}` names `{setting.field.text}`, which is neither "
                                     "a field nor an order", None, None, "this order means nothing",
                                     "correct the order",
                                     (Place(setting.span, "named here"),)))
        names = [part.name for part in inner.phrase if isinstance(part, tree.Hole)]
        below = {names[0]: value} if names and value is not None else {}
        if any(inner is outer for outer in around):
            raise Misuse(None)
        todo.extend((other, below, (*around, inner)) for other in reversed(inner.settings))
    return done


def _nested(vocabulary: Vocabulary, setting: tree.Setting, value: FieldValue | None) -> Order | None:
    """The order that a setting of an order names: by all its words, else with a hole for the value."""
    if value is None:
        return vocabulary.nested.get((setting.field.text,))
    return vocabulary.nested.get((setting.field.text, value.text)) or vocabulary.nested.get((setting.field.text, "<>"))


def _bound(value: tree.Word | tree.Number | tree.Hole | tree.Address, holes: Mapping[str, FieldValue]) -> FieldValue:
    """What a value in an order stands for when its holes are filled."""
    match value:
        case tree.Word(text=text):
            return FieldValue(text, None, None, None, None)
        case tree.Number(value=number):
            return FieldValue(str(number), number, None, None, None)
        case tree.Hole(name=name):
            if name not in holes:
                raise Misuse(None)
            return holes[name]
        case tree.Address(kind=kind, labels=labels, rest=rest):
            inside = [_bound(label, holes) for label in labels]
            if len(inside) == 1 and inside[0].aim is not None and inside[0].aim.kind == "following":
                return inside[0]._replace(aim=Aim("following", (), rest))
            wrong = next((label for label in inside if label.aim is not None or label.number is not None), None)
            if wrong is not None:
                raise Misuse(ClauseFault("wrong-kind", f"`{wrong.text}` is not a label", wrong.start, wrong.end,
                                         "a label is wanted", "name a label of the microprogram"))
            name = kind if rest == "zeros" else rest
            if kind in _BLOCKS and not _block_size(kind, len(inside)):
                raise Misuse(_block_fault(name, len(inside), None, None))
            text = "following" if kind == "following" else f"{name}({', '.join(label.text for label in inside)})"
            return FieldValue(text, None, Aim(kind, tuple([label.text for label in inside]), rest), None, None)


def _bits(vocabulary: Vocabulary, cut: tree.Cut, holes: Mapping[str, FieldValue], order: Order) -> FieldValue:
    """Bits of the number that fills a hole. Where nothing takes the others they have to be zeros, or they were lost."""
    if cut.hole.name not in holes:
        raise Misuse(None)
    value = holes[cut.hole.name]
    number = value.number
    if number is None and value.aim is None:
        number = vocabulary.machine.constants.get(value.text)
    if number is None:
        raise Misuse(ClauseFault("wrong-kind", f"`{value.text}` is no number", value.start, value.end,
                                 "bits of it are wanted", "write a number; of a label, `part(...)` is the bits that a "
                                 "field holds", (Place(cut.span, "taken here"),)))
    taken = 0
    for each in (setting.value for setting in order.settings):
        if isinstance(each, tree.Cut) and each.hole.name == cut.hole.name:
            taken |= (2 << each.high) - (1 << each.low)
        elif isinstance(each, tree.Hole) and each.name == cut.hole.name:
            taken |= number
    if number & ~taken:
        raise Misuse(ClauseFault("too-wide", f"{number} has bits that `{order_text(order)}` puts nowhere", value.start,
                                 value.end, f"no field takes 0x{number & ~taken:X}", "correct the number, or let the "
                                 "order take all of it", (Place(order.span, "the order"),)))
    left = number >> cut.low & (2 << cut.high - cut.low) - 1
    return FieldValue(str(left), left, None, value.start, value.end)


def _worth(made: Assign) -> str:
    if made.value is not None:
        return said(made.value, made.field)
    return f"`{', '.join(made.aim.labels) or 'following'}`" if made.aim is not None else "nothing"


# ---------------------------------------------------------------- values


def assign(vocabulary: Vocabulary, field: Field, value: FieldValue | None,
           setting: tree.Setting | None = None) -> Assign:
    """A field set to what is written, in a clause or (with its `setting`) in an order. Raises `Misuse`."""
    places: tuple[Place, ...] = (Place(field.span, f"`{field.name}` is declared here"),)
    if setting is not None:
        places = (Place(setting.span, "set here"), *places)
    if value is None:
        if is_flag(field):
            return Assign(field, 1, None)
        raise Misuse(ClauseFault("no-value", f"`{field.name}` is set to nothing", None, None, "a value is wanted",
                                 _values_of(field), places))
    if value.aim is not None:
        if field.holds == "address":
            return Assign(field, None, value.aim)
        raise Misuse(ClauseFault("wrong-kind", f"`{field.name}` holds no address", value.start, value.end, "an address",
                                 "set an address field to it", places))
    if value.number is not None:
        return Assign(field, _number(field, value, value.number, places), None)
    if field.holds == "address":
        if value.text in vocabulary.twofold:
            raise Misuse(ClauseFault("ambiguous-label", f"`{value.text}` is a label and a constant", value.start,
                                     value.end, "which of them?", "give one of them another name", places))
        if value.text in vocabulary.machine.constants:
            number = vocabulary.machine.constants[value.text] >> field.address_bits[1]
            return Assign(field, _number(field, value, number, places), None)
        return Assign(field, None, Aim("label", (value.text,), "zeros"))
    for code in field.codes:
        if code.name == value.text:
            return Assign(field, code.value, None)
    if field.holds == "number" and value.text in vocabulary.machine.constants:
        return Assign(field, _number(field, value, vocabulary.machine.constants[value.text], places), None)
    close = nearest(value.text, [code.name for code in field.codes])
    raise Misuse(ClauseFault(
        "unknown-code", f"`{field.name}` has no code `{value.text}`", value.start, value.end, "not one of its codes",
        f"did you mean `{close}`?" if close else _values_of(field), places))


def _number(field: Field, value: FieldValue, number: int, places: tuple[Place, ...]) -> int:
    if number >> field.width:
        raise Misuse(ClauseFault(
            "too-wide", f"{number} needs {number.bit_length()} bits, and `{field.name}` has {field.width}", value.start,
            value.end, f"more than {(1 << field.width) - 1}", "correct the number, or widen the field", places))
    if field.codes and all(code.value != number for code in field.codes):
        raise Misuse(ClauseFault("undefined-code", f"`{field.name}` has no code {number}", value.start, value.end,
                                 "not one of its codes", _values_of(field), places))
    return number


def _may_be_set(field: Field, values: Sequence[FieldValue]) -> bool:
    """Whether a phrase that is an order would also be a sound setting of the field that it begins with."""
    if len(values) == 1:
        return True
    value = values[1]
    if value.number is not None:
        return not value.number >> field.width
    return field.holds == "address" or any(code.name == value.text for code in field.codes)


def _values_of(field: Field) -> str:
    if field.codes:
        names = [f"`{code.name}`" for code in field.codes]
        return f"its codes are {', '.join(names[:12])}{' ...' if names[12:] else ''}"
    if field.holds == "address":
        return "name a label"
    number = f"write a number up to {(1 << field.width) - 1}"
    return number if field.width == 1 else f"{number}; a field that holds labels is declared with `address`"


def _unknown(vocabulary: Vocabulary, values: Sequence[FieldValue]) -> ClauseFault:
    """What to say of a phrase that is neither an order nor a setting."""
    first, fields = values[0], vocabulary.layout.fields
    field = fields.get(first.text)
    if field is not None:
        if len(values) == 1:
            return ClauseFault("no-value", f"`{field.name}` is set to nothing", None, None, "a value is wanted",
                               _values_of(field), (Place(field.span, "declared here"),))
        return ClauseFault("unknown-order", f"`{spoken(values)}` is not an order, and a field takes one value",
                           values[2].start, values[-1].end, "too much", "separate clauses by commas",
                           (Place(field.span, f"the field `{field.name}`"),))
    other = vocabulary.machine.fields.get(first.text)
    if other is not None and other.holds == "derived":
        return ClauseFault("wrong-kind", f"`{other.name}` is computed and cannot be set", first.start, first.end,
                           "a derived field", "leave it out", (Place(other.span, "declared here"),))
    if other is not None:
        return ClauseFault("wrong-store", f"`{other.name}` is a field of `{other.store}`", first.start, first.end,
                           f"this is a word of `{vocabulary.layout.store.name}`", "say it in a word of the other store",
                           (Place(other.span, "declared here"),))
    alike = [order for order in vocabulary.machine.orders
             if isinstance(order.phrase[0], tree.Word) and order.phrase[0].text == first.text]
    if alike:
        shown = ", ".join(f"`{order_text(order)}`" for order in alike[:4])
        return ClauseFault("unknown-order", f"there is no order `{spoken(values)}`", None, None, "unknown",
                           f"orders that begin so: {shown}", (Place(alike[0].span, "one of them"),))
    coded = next((other for other in fields.values() if first.text in [code.name for code in other.codes]), None)
    if coded is not None:
        more = "" if len(values) == 1 else ", what else is set behind a comma,"
        return ClauseFault("unknown-order", f"there is no order or field `{first.text}`", first.start, first.end,
                           f"a code of `{coded.name}`",
                           f"write `{coded.name} {first.text}`{more} or define an order for it",
                           (Place(coded.span, "the field"),))
    flags = list(fields)
    whole = nearest(spoken(values), [*flags, *(order_text(order) for order in vocabulary.machine.orders)])
    word = nearest(first.text, [*flags, *(order.phrase[0].text for order in vocabulary.machine.orders
                                          if isinstance(order.phrase[0], tree.Word))])
    close = whole or word
    return ClauseFault("unknown-order", f"there is no order or field `{first.text}`", first.start, first.end, "unknown",
                       f"did you mean `{close}`?" if close else "define an `order` in the machine file")
