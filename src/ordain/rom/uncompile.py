"""A stored word in the words of the source.

The word is covered with phrases: the one that sets the most fields that still want a reason, all of its fields as they
stand in the word, is taken, until every field is idle or has its reason. What no phrase explains is written as
`field code`. Whoever compiles the text again gets the word.
"""

from collections.abc import Callable, Mapping
from typing import NamedTuple, TypeAlias

from ordain.machine.leads import leads
from ordain.machine.model import Field, Machine
from ordain.rom.phrases import AddressBlock, Name, NumberBits, StoredPhrase, Value, phrases_for

LabelAt: TypeAlias = Callable[[str, int, int], str]
"""(store, address in it, address of the word that names it) -> the name of the word there as it is written in the
source, "" where it has none."""


class StoreVocabulary(NamedTuple):
    """What words of one store are read with. `quick[i]`: (mask, bits) that a word must show for `phrases[i]` to be
    worth a closer look. `labels`: label -> in which store, and where it stands there. `leads`: by field the store whose
    addresses it holds."""

    machine: Machine
    store: str
    fields: tuple[Field, ...]
    phrases: tuple[StoredPhrase, ...]
    quick: tuple[tuple[int, int], ...]
    label_at: LabelAt
    labels: Mapping[str, tuple[str, frozenset[int]]]
    leads: Mapping[str, str]


def vocabulary(machine: Machine, store: str, label_at: LabelAt,
               labels: Mapping[str, tuple[str, frozenset[int]]]) -> StoreVocabulary:
    fields = tuple(machine.fields[name] for name in machine.stores[store].fields
                   if machine.fields[name].holds not in ("spare", "derived"))
    phrases = phrases_for(machine, store)
    return StoreVocabulary(machine, store, fields, tuple(phrases), tuple(_quick(phrase, machine) for phrase in phrases),
                           label_at, labels, {name: store if store in into else into[0]
                                              for name, into in leads(machine).items()})


def _quick(phrase: StoredPhrase, machine: Machine) -> tuple[int, int]:
    mask = bits = 0
    for name, value in phrase.sets:
        if isinstance(value, int):
            field = machine.fields[name]
            mask |= field.mask
            bits |= field.write(value)
    return mask, bits


def read_word(word: int, address: int, known: StoreVocabulary, open_bits: int) -> list[str]:
    """The orders, transfers and settings that make the word. `open_bits`: bits that are known to mean
    nothing; of other fields that may hold anything only values that are not 0 are told."""
    values = {field.name: field.read(word) for field in known.fields}
    wanting = {field.name for field in known.fields if _wants_reason(field, values[field.name], open_bits)}
    fitting: list[tuple[frozenset[str], str]] = []
    for phrase, (mask, bits) in zip(known.phrases, known.quick):
        if word & mask == bits and wanting.intersection(name for name, _ in phrase.sets):
            text = _spoken(phrase, values, address, known)
            if text:
                fitting.append((frozenset(name for name, _ in phrase.sets), text))
    said: list[str] = []
    while wanting:
        best = max(fitting, key=lambda item: (len(item[0] & wanting), -len(item[0])), default=None)
        if best is None or not best[0] & wanting:
            break
        said.append(best[1])
        wanting -= best[0]
    left = [field for field in known.fields if field.name in wanting]
    if not said and not left:
        said = _nothing_done(values, address, known)
    said.sort(key=lambda text: "<-" not in text)    # transfers first, as they are usually written
    return said + [_setting(field, values[field.name], address, known) for field in left]


def _nothing_done(values: Mapping[str, int], address: int, known: StoreVocabulary) -> list[str]:
    """What can be written for a word in which every field is idle: an order that says so, else the code of a field."""
    for phrase in known.phrases:
        if all(isinstance(value, int) for _, value in phrase.sets):
            text = _spoken(phrase, values, address, known)
            if text:
                return [text]
    field = next((field for field in known.fields if field.codes), None)
    return [] if field is None else [_setting(field, values[field.name], address, known)]


def _wants_reason(field: Field, value: int, open_bits: int) -> bool:
    if field.idle == "any":
        return value != 0 and not open_bits & field.mask
    return value != field.idle      # which no value is where it is "none" or "following"


# ---------------------------------------------------------------- one phrase


def _spoken(phrase: StoredPhrase, values: Mapping[str, int], address: int, known: StoreVocabulary) -> str:
    """The phrase with its holes filled so that it makes these values, "" when it cannot."""
    if any(values[name] not in codes for name, codes in phrase.needs):
        return ""
    filled: dict[str, str] = {}
    held = dict.fromkeys((value for _, value in phrase.sets), 0)
    numbers: dict[str, int] = {}
    for name, value in phrase.sets:
        if isinstance(value, NumberBits):
            numbers[value.text] = numbers.get(value.text, 0) | values[name] << value.low
        if isinstance(value, AddressBlock):
            held[value] |= values[name] << known.machine.fields[name].address_bits[1]
    for name, value in phrase.sets:
        whole = numbers[value.text] if isinstance(value, NumberBits) else held[value]
        if not _fits(known.machine.fields[name], value, values[name], whole, address, known, filled):
            return ""
    return " ".join(filled.get(part.text, "") if isinstance(part, Name) else part for part in phrase.words)


def _fits(field: Field, value: Value, found: int, held: int, address: int, known: StoreVocabulary,
          filled: dict[str, str]) -> bool:
    """`found`: what the field holds; `held`: the bits of the address or number that all fields with this value hold
    together."""
    match value:
        case int():
            return value == found
        case "following":
            return _target(field, found, address, False) == address + 1
        case Name():
            text = _code(field, found) if field.codes else f"0x{found:X}"
            return bool(text) and filled.setdefault(value.text, text) == text
        case NumberBits(text=hole, low=low):
            text = f"0x{held:X}"
            return held >> low & (1 << field.width) - 1 == found and filled.setdefault(hole, text) == text
        case AddressBlock():
            if len(value.parts) == 1 and value.rest == "zeros" and _is_number(value.parts[0], field, found, known):
                return True
            if value.rest == "part" or (held >> field.address_bits[1] & (1 << field.width) - 1) != found:
                return False        # nothing says where the rest is; two fields that differ in a bit name nothing
            first = _target(field, found, address, True) if value.rest == "page" else held
            return all(_stands_at(part, field, first + step, address, known, filled)
                       for step, part in enumerate(value.parts))


def _is_number(part: Name | int, field: Field, found: int, known: StoreVocabulary) -> bool:
    """A number in an address field is the field's value itself; a constant is an address."""
    if isinstance(part, int):
        return part == found
    constant = None if part.hole else known.machine.constants.get(part.text)
    return constant is not None and constant >> field.address_bits[1] == found


def _stands_at(part: Name | int, field: Field, at: int, address: int, known: StoreVocabulary,
               filled: dict[str, str]) -> bool:
    """True when the part names the word at `at`; a hole is filled with that word's name, and wants one."""
    if isinstance(part, int):
        return False
    store = _store_of(field, known)
    if not part.hole:
        found = known.labels.get(part.text)
        return found is not None and found[0] == store and at in found[1]
    text = known.label_at(store, at, address)
    return bool(text) and filled.setdefault(part.text, text) == text


def _target(field: Field, found: int, address: int, page: bool) -> int:
    """The address that an address field stands for."""
    high, low = field.address_bits
    return (address >> high + 1 << high + 1 if page else 0) | found << low


def _store_of(field: Field, known: StoreVocabulary) -> str:
    return known.leads.get(field.name, field.store)


def _setting(field: Field, value: int, address: int, known: StoreVocabulary) -> str:
    """`field code`; a flag that is set is just its name."""
    if field.holds == "address":
        store = _store_of(field, known)
        reaches_all = field.address_bits[0] + 1 >= known.machine.stores[store].address_width or store != field.store
        label = known.label_at(store, _target(field, value, address, not reaches_all), address)
        if not label:
            return f"{field.name} 0x{value:X}"
        return f"{field.name} {label}" if reaches_all else f"{field.name} page({label})"
    if field.width == 1 and not field.codes:
        return field.name if value else f"{field.name} 0"
    return f"{field.name} {_code(field, value) or (f'0x{value:X}' if value > 9 else value)}"


def _code(field: Field, value: int) -> str:
    return next((code.name for code in field.codes if code.value == value), "")
