"""Packing into chips, against a cell-by-cell model of a few lines and against reading back."""

import contextlib
import random

import pytest
from hypothesis import given

from ordain.machine.model import AddressPin, Machine, Pin
from ordain.rom.contents import Stored
from ordain.rom.images import pack
from ordain.rom.readback import ReadbackFault, Unpacked, read_as_compiled, unpack, words_expected
from tests.rom.boards import bank, boards, chip, image_cell_by_cell, machine, store, straight


@given(boards())
def test_images_are_those_of_the_plain_model(board: tuple[Machine, dict[str, Stored]]) -> None:
    made, stored = board
    images = pack(made, stored)
    assert images == {name: image_cell_by_cell(each, stored) for name, each in made.chips.items()}


@given(boards())
def test_reading_back_is_the_identity(board: tuple[Machine, dict[str, Stored]]) -> None:
    made, stored = board
    images = pack(made, stored)
    read_as_compiled(made, stored, images)
    read = unpack(made, images)
    for name, each in made.stores.items():
        assert read.known[name] == (1 << each.bits) - 1
        for address, word in stored[name].words.items():
            assert read.words[name][address] == word
        assert read.words[name] == words_expected(made, each, stored[name])


def small_board(*chips: object) -> Machine:
    return machine([store("control", 4, 8)], list(chips))  # type: ignore[arg-type]


WORDS = {"control": Stored({address: (address * 37 + 5) & 0xFF for address in range(16)}, None)}


def test_of_a_store_without_an_image_nothing_is_known() -> None:
    """Of each of its 16 words."""
    made = small_board(chip("U1", 16, 8, straight("control", 7, 0, 4)))
    assert unpack(made, {}) == Unpacked({"control": (0,) * 16}, {"control": 0}, ())


def test_a_device_of_three_bytes_with_every_pin_inverted() -> None:
    made_of = straight("wide", 23, 0, 2)
    part = made_of._replace(pins=tuple([pin._replace(inverted=True) for pin in made_of.pins]))
    made = machine([store("wide", 2, 24)], [chip("U1", 4, 24, part)])
    words = {0: 0x123456, 1: 0xFEDCBA, 2: 0, 3: 0xFFFFFF}
    images = pack(made, {"wide": Stored(words, None)})
    assert images["U1"] == b"".join((0xFFFFFF ^ word).to_bytes(3, "little") for word in words.values())
    assert unpack(made, images).words == {"wide": tuple(words.values())}


def test_a_bit_without_a_chip_is_0_where_nothing_stands() -> None:
    """The others are as erased cells show them: 1, and 0 behind an inverter."""
    part = straight("control", 7, 1, 2)
    part = part._replace(pins=(part.pins[0]._replace(inverted=True), *part.pins[1:]))
    made = machine([store("control", 2, 8)], [chip("U1", 4, 7, part)])
    assert words_expected(made, made.stores["control"], Stored({2: 0x55}, None)) == (0x7E, 0x7E, 0x55, 0x7E)


def test_a_single_wrong_bit_in_an_image_is_a_fault_of_ours() -> None:
    made = small_board(chip("U1", 16, 8, straight("control", 7, 0, 4)))
    images = pack(made, WORDS)
    read_as_compiled(made, WORDS, images)
    for position in range(16):
        broken = bytearray(images["U1"])
        broken[position] ^= 0x10
        with pytest.raises(ReadbackFault, match=f"word 0x{position:X} of control"):
            read_as_compiled(made, WORDS, {"U1": bytes(broken)})


def test_a_wrong_bit_in_a_mirrored_copy_is_a_conflict() -> None:
    part = straight("control", 7, 0, 4)
    made = small_board(chip("U1", 32, 8, part._replace(address=(AddressPin(None, False, None), *part.address))))
    images = pack(made, WORDS)
    assert images["U1"][:16] == images["U1"][16:]
    broken = bytearray(images["U1"])
    broken[16 + 3] ^= 0x81
    (conflict,) = unpack(made, {"U1": bytes(broken)}).conflicts
    assert conflict == ("control", 3, 0x81, ("U1", 3), ("U1", 19))
    with pytest.raises(ReadbackFault):
        read_as_compiled(made, WORDS, {"U1": bytes(broken)})


def test_a_chip_that_repeats_another_must_agree_with_it() -> None:
    lines = list(straight("control", 0, 0, 4).address)
    again = bank("control", [Pin(2, True, 0), Pin(7, False, 0)], lines, repeats=True)
    made = small_board(chip("U2", 16, 2, again), chip("U1", 16, 8, straight("control", 7, 0, 4)))
    images = pack(made, WORDS)
    assert unpack(made, images).conflicts == ()
    broken = bytearray(images["U2"])
    broken[9] ^= 0b10                                # the inverted bit 2
    read = unpack(made, {**images, "U2": bytes(broken)})
    assert read.conflicts == (("control", 9, 1 << 2, ("U1", 9), ("U2", 9)),)
    assert read.words["control"] == tuple(WORDS["control"].words.values()), "the chip that holds the bits decides"


def test_bits_of_absent_images_are_not_known() -> None:
    made = small_board(chip("U1", 16, 4, straight("control", 7, 4, 4)), chip("U2", 16, 4, straight("control", 3, 0, 4)))
    images = pack(made, WORDS)
    read = unpack(made, {"U2": images["U2"]})
    assert read.known == {"control": 0x0F}
    assert read.words["control"] == tuple(word & 0x0F for word in WORDS["control"].words.values())
    with pytest.raises(ReadbackFault, match="U1"):
        read_as_compiled(made, WORDS, {"U2": images["U2"]})


def test_a_four_bit_prom_has_one_byte_a_cell_and_a_wide_device_its_low_byte_first() -> None:
    made = machine([store("control", 2, 20)],
                   [chip("U1", 4, 4, straight("control", 19, 16, 2)),
                    chip("U2", 8, 16, straight("control", 15, 0, 2, above=1))])
    images = pack(made, {"control": Stored({0: 0xA1234, 2: 0x5BEEF}, None)})
    assert images["U1"] == bytes.fromhex("0A 0F 05 0F")
    assert images["U2"] == bytes.fromhex("3412 FFFF EFBE FFFF FFFF FFFF FFFF FFFF")


def test_the_unused_word_fills_every_other_address_and_erased_cells_show_without_it() -> None:
    made = machine([store("control", 3, 8, words=5)],
                   [chip("U1", 16, 8, straight("control", 7, 0, 3, 1), erased=0)])
    assert pack(made, {"control": Stored({1: 0x11}, 0x77)})["U1"].hex() == "7711777777777777" + "00" * 8
    assert pack(made, {"control": Stored({1: 0x11}, None)})["U1"].hex() == "0011000000000000" + "00" * 8


def test_two_stores_on_different_data_pins_of_the_same_cells() -> None:
    lines = list(straight("a", 0, 0, 2).address)
    low, none = [Pin(bit, False, 0) for bit in (3, 2, 1, 0)], [Pin(None, False, 1)] * 4
    made = machine([store("a", 2, 4), store("b", 2, 4)],
                   [chip("U1", 4, 8, bank("a", low + none, lines), bank("b", none + low, lines))])
    stored = {"a": Stored({0: 1, 1: 2, 2: 3}, None), "b": Stored({1: 0xA, 2: 0xB, 3: 0xC}, 0)}
    images = pack(made, stored)
    assert images["U1"].hex() == "102a3bfc"
    read_as_compiled(made, stored, images)


def test_one_bit_on_two_pins() -> None:
    """The one on the lowest pin, and others; one of them inverted."""
    pins = [Pin(bit, inverted, 0) for bit, inverted in (
        (7, False), (2, True), (3, False), (1, False), (0, False), (3, True), (3, False), (2, False))]
    made = small_board(chip("U1", 16, 8, bank("control", pins, list(straight("control", 7, 0, 4).address))))
    assert pack(made, WORDS) == {"U1": image_cell_by_cell(made.chips["U1"], WORDS)}


def test_a_wide_store_in_many_chips() -> None:
    rng = random.Random(3)
    bits = list(range(108))
    rng.shuffle(bits)
    parts = []
    for number in range(14):
        pins = [Pin(bit, rng.random() < 0.5, 0) for bit in bits[8 * number:8 * number + 8]]
        pins += [Pin(None, False, 1)] * (8 - len(pins))
        lines = [AddressPin(bit, rng.random() < 0.5, None) for bit in range(10)]
        rng.shuffle(lines)
        parts.append(chip(f"U{number + 1}", 1024, 8, bank("control", pins, lines)))
    made = machine([store("control", 10, 108)], parts)
    stored = {"control": Stored({address: rng.getrandbits(108) for address in range(900)}, None)}
    images = pack(made, stored)
    assert images == {each.name: image_cell_by_cell(each, stored) for each in parts}
    read_as_compiled(made, stored, images)


@pytest.mark.parametrize(("unused", "refused"), [(None, False), (0x2A, True)])
def test_cells_that_no_word_takes_agree_where_they_get_the_unused_word(unused: int | None, refused: bool) -> None:
    """Two chips hold the same bits; in one of them the cell of an unused place reads otherwise."""
    made = machine([store("control", 3, 8)], [chip("U1", 8, 8, straight("control", 7, 0, 3)), chip(
        "U2", 8, 8, straight("control", 7, 0, 3)._replace(repeats=True))])
    stored = {"control": Stored({0: 1, 1: 2}, unused)}
    images = pack(made, stored)
    spoilt = bytearray(images["U2"])
    spoilt[5] ^= 4
    with pytest.raises(ReadbackFault, match="disagree on word 0x5") if refused else contextlib.nullcontext():
        read_as_compiled(made, stored, {**images, "U2": bytes(spoilt)})
