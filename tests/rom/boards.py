"""Machines with nothing but stores and chips, made directly as data, and random ones for hypothesis."""

from hypothesis import strategies as st

from ordain.machine.expression import Terms
from ordain.machine.model import AddressPin, Bank, Chip, Machine, Pin, Store
from ordain.rom.contents import Stored
from ordain.text.source import Source, Span

SPAN = Span(Source("test.machine", "chip\n"), 0, 4)


def store(name: str, address_width: int, bits: int, words: int | None = None) -> Store:
    address = Terms().leaf("state", "upc", address_width)
    return Store(name, words or 1 << address_width, bits, address, address_width, "microprogram", None, None, None, 0,
                 None, None, None, (), SPAN)


def chip(name: str, words: int, bits: int, *banks: Bank, erased: int = 1) -> Chip:
    return Chip(name, words, bits, erased, "", 0, banks, SPAN)


def bank(of: str, pins: list[Pin], address: list[AddressPin], repeats: bool = False) -> Bank:
    return Bank(of, tuple(pins), tuple(address), repeats, SPAN)


def straight(of: str, high: int, low: int, address_width: int, above: int = 0) -> Bank:
    """Bits high .. low on the data pins in order, the address straight on the lowest pins, `above` pins tied to 0."""
    return bank(of, [Pin(bit, False, 0) for bit in range(high, low - 1, -1)],
                [AddressPin(None, False, 0)] * above
                + [AddressPin(bit, False, None) for bit in range(address_width - 1, -1, -1)])


def machine(stores: list[Store], chips: list[Chip], name: str = "bench") -> Machine:
    return Machine(name, "", (), {s.name: s for s in stores}, {}, {c.name: c for c in chips}, {}, {}, {}, {}, {}, {},
                   (), None, {}, (), (), (), {}, (), (), (), (), Terms(), SPAN)


# ---------------------------------------------------------------- a few lines that are obviously right


def shown_at(part: Bank, device_address: int) -> int | None:
    """The store address whose word this part shows at a device address, None when it shows none there."""
    address = 0
    seen = {}
    for position, pin in enumerate(reversed(part.address)):
        level = device_address >> position & 1
        if pin.bit is None:
            if pin.level is not None and pin.level != level:
                return None
        else:
            bit = level ^ pin.inverted
            if seen.setdefault(pin.bit, bit) != bit:
                return None
            address |= bit << pin.bit
    return address


def image_cell_by_cell(part: Chip, stored: dict[str, Stored]) -> bytes:
    width = (part.bits + 7) // 8
    image = bytearray()
    for device_address in range(part.words):
        value = 0
        for position in range(part.bits):           # the highest pin first
            level = part.erased
            for each in part.banks[::-1]:           # the first part decides, but a bit goes before a constant level
                level = tied_level(each, position, device_address, stored, level)
            for each in part.banks:
                level = bit_level(each, position, device_address, stored, level, part.erased)
            value = value << 1 | level
        image += value.to_bytes(width, "little")
    return bytes(image)


def word_at(part: Bank, device_address: int, stored: dict[str, Stored]) -> tuple[bool, int | None]:
    """Whether this part has a cell there, and the word in it, None where nothing is placed."""
    address = shown_at(part, device_address)
    content = stored[part.store]
    return (False, None) if address is None else (True, content.words.get(address, content.unused))


def tied_level(part: Bank, position: int, device_address: int, stored: dict[str, Stored], level: int) -> int:
    pin = part.pins[position]
    _, word = word_at(part, device_address, stored)
    return pin.level if pin.bit is None and word is not None else level


def bit_level(part: Bank, position: int, device_address: int, stored: dict[str, Stored], level: int,
              erased: int) -> int:
    pin = part.pins[position]
    cell, word = word_at(part, device_address, stored)
    if pin.bit is None or not cell:
        return level
    return erased if word is None else (word >> pin.bit & 1) ^ pin.inverted


# ---------------------------------------------------------------- random boards


@st.composite
def boards(draw: st.DrawFn) -> tuple[Machine, dict[str, Stored]]:
    """One to three stores whose bits are dealt over chips with random wiring; some chips hold parts of two stores, some
    repeat bits that stand elsewhere."""
    stores = [store(f"s{number}", draw(st.integers(1, 6)), draw(st.integers(1, 30)))
              for number in range(draw(st.integers(1, 3)))]
    parts: list[tuple[Store, list[int], bool]] = []
    for each in stores:
        bits = draw(st.permutations(range(each.bits)))
        while bits:
            count = draw(st.integers(1, 10))
            parts.append((each, bits[:count], False))
            bits = bits[count:]
        if draw(st.booleans()):
            again = st.lists(st.integers(0, each.bits - 1), min_size=1, max_size=9, unique=True)
            parts.append((each, draw(again), True))
    chips = []
    while parts:
        here = [parts.pop() for _ in range(min(len(parts), draw(st.integers(1, 2))))]
        chips.append(draw(chips_with(f"U{len(chips) + 1}", here)))
    contents = {each.name: draw(contents_of(each)) for each in stores}
    return machine(stores, chips), contents


@st.composite
def chips_with(draw: st.DrawFn, name: str, parts: list[tuple[Store, list[int], bool]]) -> Chip:
    """Two parts share a chip by an address pin, or stand at the same cells on different data pins."""
    beside = len(parts) > 1 and draw(st.booleans())
    select = len(parts) > 1 and not beside
    bits_wide = sum(len(bits) for _, bits, _ in parts) if beside else max(len(bits) for _, bits, _ in parts)
    width = bits_wide + draw(st.integers(0, 3))
    lines = max(each.address_width for each, _, _ in parts) + draw(st.integers(0, 2))
    selector = draw(st.integers(0, lines))
    order = draw(st.permutations(range(width)))     # which pin every wire goes to
    banks = []
    taken = 0
    for number, (each, bits, repeats) in enumerate(parts):
        wires = [Pin(None, False, draw(st.integers(0, 1))) for _ in range(width)]
        for wire, bit in enumerate(bits, taken if beside else 0):
            wires[wire] = Pin(bit, draw(st.booleans()), 0)
        taken += len(bits)
        address = [AddressPin(bit, draw(st.booleans()), None) for bit in range(each.address_width)]
        while len(address) < lines:
            kind = draw(st.sampled_from(["any", "low", "high", "tied"]))
            if kind == "tied":
                address.append(AddressPin(draw(st.integers(0, each.address_width - 1)), draw(st.booleans()), None))
            else:
                address.append(AddressPin(None, False, {"any": None, "low": 0, "high": 1}[kind]))
        if not draw(st.booleans()):                 # else straight: cells move in runs
            address = draw(st.permutations(address))
        else:
            address = [pin._replace(inverted=False) for pin in reversed(address)]
        if select:
            address = [*address[:selector], AddressPin(None, False, number), *address[selector:]]
        banks.append(bank(each.name, [wires[wire] for wire in order], address, repeats))
    return chip(name, 1 << (lines + select), width, *banks, erased=draw(st.integers(0, 1)))


@st.composite
def contents_of(draw: st.DrawFn, each: Store) -> Stored:
    word = st.integers(0, (1 << each.bits) - 1)
    words = draw(st.dictionaries(st.integers(0, (1 << each.address_width) - 1), word))
    return Stored(words, draw(st.none() | word))
