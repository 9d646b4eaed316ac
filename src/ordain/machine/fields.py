"""Fields of a word: where they lie, what they hold, which codes they have."""

from typing import Literal, NamedTuple

from ordain.language import tree
from ordain.machine import model
from ordain.machine.context import bits
from ordain.machine.declare import StoreText
from ordain.machine.expression import Leaf, Node, leaves, substitute
from ordain.machine.lines import used_bits
from ordain.machine.lowering import Lowering
from ordain.text.findings import Place, error
from ordain.text.source import Span
from ordain.text.spelling import nearest


class FieldPlaces(NamedTuple):
    """`places` (high, low) of the members in their order; `bits` of the word, enough for all of them. `sound`: the
    fields fill the word exactly."""

    places: tuple[tuple[int, int], ...]
    bits: int
    sound: bool


def lay_out(text: StoreText, word_bits: int, lowering: Lowering) -> FieldPlaces:
    """A pinned field lies where it says, any other one directly below (to the right of) the one before it.

    Reports overlaps, and a word that is not filled exactly. Where the fields do not fit, the layout is that of a word
    long enough, so that later stages have something sound to go on with."""
    places: list[tuple[int, int]] = []
    cursor, sound = word_bits, not text.broken
    for member in text.members:
        width = member.width.value
        high, low = cursor - 1, cursor - width
        if isinstance(member, tree.Field) and member.at is not None:
            if member.at[0] - member.at[1] + 1 == width and member.at[0] < word_bits:
                high, low = member.at
            else:
                sound = False
                _report_pin(member, member.at, width, word_bits, lowering)
        places.append((high, low))
        cursor = low
    lowest = min((low for _, low in places), default=0)
    before = len(lowering.findings)
    if sound and lowest < 0:
        _report_overfull(text, places, word_bits, lowering)
    elif sound and not _overlaps(text, places, lowering) and text.members:
        _report_gaps(text, places, word_bits, lowering)
    shift = max(0, -lowest)
    return FieldPlaces(tuple((high + shift, low + shift) for high, low in places), word_bits + shift,
                       sound and len(lowering.findings) == before)


def _report_pin(field: tree.Field, at: tuple[int, int], width: int, word_bits: int, lowering: Lowering) -> None:
    high, low = at
    if high >= word_bits:
        lowering.findings.append(error(
            "word-overfull", f"`{field.name.text}` would lie at [{high}:{low}], and the word ends at bit "
            f"{word_bits - 1}", field.span, f"bits {word_bits - 1} down to 0", help="correct the numbers of the bits"))
    elif high < low:
        lowering.findings.append(error("bad-slice", f"[{high}:{low}] names no bits", field.span,
                                       "the higher bit comes first", help=f"write [{low}:{high}]"))
    else:
        lowering.findings.append(error(
            "width-mismatch", f"`{field.name.text}` has {bits(width)}, and [{high}:{low}] are {high - low + 1}",
            field.span, "two widths for one field", help="correct the width or the numbers of the bits"))


def _report_overfull(text: StoreText, places: list[tuple[int, int]], word_bits: int, lowering: Lowering) -> None:
    over = -min(low for _, low in places)
    first = next(member for member, (_, low) in zip(text.members, places) if low < 0)
    lowering.findings.append(error(
        "word-overfull", f"the fields of `{text.store.name.text}` need {bits(over)} more than its word of "
        f"{bits(word_bits)} has", first.span, "the first that does not fit",
        places=(Place(text.store.span, f"{bits(word_bits)} a word"),),
        help=f"shorten the fields by {bits(over)}, or say words of {bits(word_bits + over)}"))


def _overlaps(text: StoreText, places: list[tuple[int, int]], lowering: Lowering) -> bool:
    """Report each member that lies over an earlier one."""
    found = False
    ordered = sorted(range(len(places)), key=lambda index: places[index][1])
    reach = None
    for index in ordered:
        if reach is not None and places[index][1] <= places[reach][0]:
            found = True
            earlier, later = sorted((reach, index))
            (_, low), (high, _) = places[index], places[reach]
            lowering.findings.append(error(
                "field-overlap", f"{_called(text.members[later])} and {_called(text.members[earlier])} both lie at "
                f"[{min(high, places[index][0])}:{low}]", text.members[later].span, "lies over another field",
                places=(Place(text.members[earlier].span, "the other one"),),
                help="move one of them with `at [hi:lo]`, or leave `at` out; bits with two meanings are one field for "
                     "both (docs/language.md, the control word)"))
        if reach is None or places[index][0] > places[reach][0]:
            reach = index
    return found


def _report_gaps(text: StoreText, places: list[tuple[int, int]], word_bits: int, lowering: Lowering) -> None:
    gaps: list[tuple[int, int]] = []
    top = word_bits
    for high, low in [*sorted(places, reverse=True), (-1, -1)]:
        if high < top - 1:
            gaps.append((top - 1, high + 1))
        top = low
    if gaps:
        count = sum(high - low + 1 for high, low in gaps)
        shown = ", ".join(f"[{high}:{low}]" for high, low in gaps[:8])
        lowering.findings.append(error(
            "word-underfull", f"the fields of `{text.store.name.text}` leave {bits(count)} of its word undescribed: "
            f"{shown}", text.store.span, f"{bits(word_bits)} a word",
            help=f"add `spare {bits(count)}`" if len(gaps) == 1 else "add `spare` lines where the gaps are"))


def _called(member: tree.Field | tree.Spare) -> str:
    return f"`{member.name.text}`" if isinstance(member, tree.Field) else "spare bits"


# ---------------------------------------------------------------- what a field is


def field_model(field: tree.Field, store: str, place: tuple[int, int], address_width: int | None,
                lowering: Lowering) -> model.Field:
    """Everything but `derived`, which may name fields that come later. `address_width` None: the store's is broken."""
    width = field.width.value
    codes = _codes(field, width, lowering)
    holds: Literal["code", "number", "address", "derived"] = field.holds
    if field.derived is not None:
        holds = "derived"
    elif holds == "code" and not field.codes and width > 1:
        holds = "number"
    flag = holds == "code" and not field.codes
    idle = _idle(field, flag, width, lowering)
    return model.Field(field.name.text, store, *place, holds, field.active_low, idle, codes,
                       _address_bits(field, width, address_width, lowering), None, field.span)


def spare_model(spare: tree.Spare, store: str, place: tuple[int, int]) -> model.Field:
    """Spare bits as a field of their own; no name in a file can have its spaces. `idle` is their level."""
    high, low = place
    level = (1 << (high - low + 1)) - 1 if spare.ones else 0
    return model.Field(f"{store} spare {high}:{low}", store, high, low, "spare", False, level, (), (0, 0), None,
                       spare.span)


def _codes(field: tree.Field, width: int, lowering: Lowering) -> tuple[model.Code, ...]:
    by_name: dict[str, tree.Code] = {}
    by_value: dict[int, tree.Code] = {}
    sound = []
    for code in field.codes:
        value, name = code.value.value, code.name.text
        if name in by_name:
            lowering.findings.append(error(
                "defined-twice", f"`{field.name.text}` has two codes `{name}`", code.span, "the second",
                places=(Place(by_name[name].span, "the first"),), help="give one of them another name"))
        elif value >> width:
            lowering.findings.append(error(
                "too-wide", f"code `{name}` needs {bits(value.bit_length())}, `{field.name.text}` has {bits(width)}",
                code.value.span, f"more than {(1 << width) - 1}", help="correct the code, or widen the field"))
        elif value in by_value:
            lowering.findings.append(error(
                "code-clash", f"codes `{by_value[value].name.text}` and `{name}` of `{field.name.text}` are both "
                f"{value}", code.span, "the second", places=(Place(by_value[value].span, "the first"),),
                help="give each its own number, or leave one of the names out"))
        else:
            by_value[value] = code
            sound.append(model.Code(name, value, code.span))
        by_name.setdefault(name, code)
    return tuple(sound)


def _idle(field: tree.Field, flag: bool, width: int, lowering: Lowering) -> int | Literal["none", "any", "following"]:
    """The idle code; a flag that no order sets is not asserted."""
    marked = [code for code in field.codes if code.idle]
    if len(marked) + (field.idle is not None) > 1:
        lowering.findings.append(error(
            "two-idles", f"`{field.name.text}` has more than one idle code", marked[-1].span, "one too many",
            places=(Place(field.span if field.idle is not None else marked[0].span, "another"),),
            help="leave one of them out"))
    if field.derived is not None:
        return 0
    if field.idle == "following" and field.holds != "address":
        lowering.findings.append(error(
            "bad-idle", f"`{field.name.text}` holds no address, so `idle following` says nothing", field.span,
            "not an address field", help="write `address` after the width, or another idle code"))
        return "none"
    if field.idle == "any" or field.idle == "following":
        return field.idle
    value = marked[0].value if marked else field.idle
    if isinstance(value, tree.Word):
        named = [code for code in field.codes if code.name.text == value.text]
        if not named:
            close = nearest(value.text, [code.name.text for code in field.codes])
            lowering.findings.append(error(
                "unknown-code", f"`{field.name.text}` has no code `{value.text}` to be idle at", value.span, "unknown",
                help=f"did you mean `{close}`?" if close else "write a number, one of its codes, or `any`"))
            return "none"
        value = named[0].value
    if value is None:
        return 0 if flag else "none"
    if value.value >> width:
        if not marked:  # a code too wide has been reported as a code
            lowering.findings.append(error(
                "too-wide", f"the idle code {value.value} needs {bits(value.value.bit_length())}, and "
                f"`{field.name.text}` has {bits(width)}", value.span, f"more than {(1 << width) - 1}",
                help="correct the code, or widen the field"))
        return "none"
    return value.value


def _address_bits(field: tree.Field, width: int, address_width: int | None, lowering: Lowering) -> tuple[int, int]:
    if field.address_bits is None:
        return (width - 1 if address_width is None else min(width, address_width) - 1, 0)
    high, low = field.address_bits
    if high < low or (address_width is not None and high >= address_width):
        last = "the higher bit comes first" if high < low else f"its bits are {(address_width or 1) - 1} down to 0"
        lowering.findings.append(error("bad-slice", f"an address of this store has no bits [{high}:{low}]", field.span,
                                       last, help="correct the numbers of the bits"))
    elif high - low + 1 != width:
        lowering.findings.append(error(
            "width-mismatch", f"`{field.name.text}` has {bits(width)}, and address[{high}:{low}] are {high - low + 1}",
            field.span, "two widths for one field", help="correct the width or the numbers of the bits"))
    else:
        return high, low
    return width - 1, 0


# ---------------------------------------------------------------- derived fields


def derive(field: model.Field, expr: tree.Expr, fields: dict[str, model.Field], word_bits: int,
           lowering: Lowering) -> model.Field:
    """The field with its computed value, over its store's `word` leaf alone.

    It may read what lies outside itself, and derived fields above it in the text: in that order they are computed."""
    node = lowering.node(expr, field.width)
    if node is None:
        return field
    terms = lowering.terms
    word = terms.leaf("word", field.store, word_bits)
    instead: dict[Node, Node] = {}
    for leaf in leaves([node]):
        source = fields.get(leaf.name) if leaf.kind == "field" else None
        if source is not None and source.store == field.store:
            stored = terms.slice(word, source.high, source.low)
            instead[leaf] = terms.not_(stored) if source.active_low else stored
        elif leaf is not word:
            _report_outside(field, leaf, expr.span, lowering)
            return field
    node = substitute(terms, (node,), instead)[0]
    used = used_bits(node, word)
    order = list(fields)
    for other in fields.values():
        later = other.holds == "derived" and order.index(other.name) >= order.index(field.name)
        if later and other.store == field.store and used & (((1 << other.width) - 1) << other.low):
            own = "itself" if other.name == field.name else f"`{other.name}`, which is computed after it"
            lowering.findings.append(error(
                "derived-loop", f"`{field.name}` is computed from {own}", expr.span, f"reads bits of `{other.name}`",
                places=() if other.name == field.name else (Place(other.span, "computed later"),),
                help="name only bits that are settled before: leave its own out, put what it needs above it"))
            return field
    return field._replace(derived=node)


def _report_outside(field: model.Field, leaf: Leaf, span: Span, lowering: Lowering) -> None:
    lowering.findings.append(error(
        "not-in-word", f"`{field.name}` would depend on `{leaf.name}`, which is not in the word of `{field.store}`",
        span, "only bits of the same word are known when it is computed",
        help=f"name fields of `{field.store}`, or bits as in `{field.store}[7:0]`"))
