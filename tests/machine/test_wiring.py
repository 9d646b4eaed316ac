"""Pins in any order: random wirings, read back from the model pin by pin."""

from hypothesis import given
from hypothesis import strategies as st

from ordain.machine.model import AddressPin
from tests.machine.described import FRAME, sound

Wire = tuple[int, bool]
FIELDS = [("branch", 7, 6), ("target", 5, 2), ("go", 1, 1), ("halt", 0, 0)]


def named(bit: int, way: int) -> str:
    """One of the ways to name a bit of the frame's word."""
    if way == 0:
        return f"control[{bit}]"
    if way == 1:
        return f"control.word[{bit}]"
    name, high, low = next(field for field in FIELDS if field[2] <= bit <= field[1])
    return name if high == low else f"{name}[{bit - low}]"


def written(wires: list[Wire], ways: list[int], names: bool) -> str:
    parts = [named(bit, way) if names else (f"upc[{bit}]", f"address[{bit}]", f"{{upc[{bit}]}}")[way]
             for (bit, _), way in zip(wires, ways)]
    return ", ".join(f"not {part}" if inverted else part for part, (_, inverted) in zip(parts, wires))


@given(st.permutations(range(8)), st.lists(st.booleans(), min_size=8, max_size=8),
       st.lists(st.integers(0, 2), min_size=8, max_size=8), st.permutations(range(4)),
       st.lists(st.booleans(), min_size=4, max_size=4), st.lists(st.integers(0, 2), min_size=4, max_size=4))
def test_any_wiring_is_understood(bits: list[int], turned: list[bool], ways: list[int], lines: list[int],
                                  crossed: list[bool], kinds: list[int]) -> None:
    data = list(zip(bits, turned))
    address = list(zip(lines, crossed))
    # An inverted pin of the active-low field gives a note; what is asked here is the wiring.
    data = [(bit, inverted and bit != 0) for bit, inverted in data]
    machine = sound(f"{FRAME}chip U1 16 x 8\n    holds {written(data, ways, True)}\n"
                    f"    address {{{written(address, kinds, False)}}}\n")
    bank, = machine.chips["U1"].banks
    assert [(pin.bit, pin.inverted) for pin in bank.pins] == data
    assert list(bank.address) == [AddressPin(bit, inverted, None) for bit, inverted in address]


@given(st.permutations(range(8)), st.integers(1, 7))
def test_bits_may_be_spread_over_chips(bits: list[int], cut: int) -> None:
    parts = [bits[:cut], bits[cut:]]
    text = "".join(f"chip U{number} 16 x {len(part)}\n    holds {', '.join(f'control[{bit}]' for bit in part)}\n"
                   "    address upc\n" for number, part in enumerate(parts))
    machine = sound(FRAME + text)
    held = [pin.bit for chip in machine.chips.values() for bank in chip.banks for pin in bank.pins]
    assert sorted(bit for bit in held if bit is not None) == list(range(8))


@given(st.lists(st.sampled_from(["0", "1", "any"]), max_size=6), st.integers(0, 6))
def test_a_larger_chip_has_its_other_lines_tied(tied: list[str], at: int) -> None:
    at = min(at, len(tied))
    pins = [*tied[:at], "upc", *tied[at:]]
    machine = sound(f"{FRAME}chip U1 {16 << len(tied)} x 8\n    holds control\n    address {{{', '.join(pins)}}}\n")
    bank, = machine.chips["U1"].banks
    levels = {"0": 0, "1": 1, "any": None}
    assert [pin.level for pin in bank.address if pin.bit is None] == [levels[name] for name in tied]
    assert [pin.bit for pin in bank.address if pin.bit is not None] == [3, 2, 1, 0]


def test_a_line_that_is_inverted_before_the_store_is_inverted_once() -> None:
    """The store is addressed by `not upc`; a pin wired to `upc` carries the inverse of the store's address line."""
    text = FRAME.replace("    address upc\n", "    address not upc\n") + "chip U1 16 x 8\n    holds control\n"
    by_name = sound(text + "    address upc\n").chips["U1"].banks[0].address
    assert by_name == tuple(AddressPin(bit, True, None) for bit in (3, 2, 1, 0))
    as_is = sound(text + "    address not upc\n").chips["U1"].banks[0].address
    assert as_is == tuple(AddressPin(bit, False, None) for bit in (3, 2, 1, 0))
    assert sound(text + "    address address\n").chips["U1"].banks[0].address == as_is


def test_a_mirrored_line_may_stand_at_two_pins() -> None:
    machine = sound(f"{FRAME}chip U1 32 x 8\n    holds control\n    address {{upc[3], upc}}\n")
    assert [pin.bit for pin in machine.chips["U1"].banks[0].address] == [3, 3, 2, 1, 0]


def test_a_bus_called_address_does_not_hide_the_address() -> None:
    text = FRAME + "bus address 16 bits, floats\n    driven by upc\n"
    machine = sound(text + "chip U1 16 x 8\n    holds control\n    address address\n")
    assert [pin.bit for pin in machine.chips["U1"].banks[0].address] == [3, 2, 1, 0]
