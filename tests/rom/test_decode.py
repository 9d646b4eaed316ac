"""Dumps of real chips: which words differ, in which chip and pin, and what happened to a chip as a whole."""

import random
from pathlib import Path

import pytest

from ordain.machine.model import AddressPin, Machine, Pin
from ordain.rom.contents import Contents, Site, Stored
from ordain.rom.decode import Decoded, decode, read_dumps
from ordain.rom.images import pack
from ordain.rom.intel_hex import write_intel_hex
from ordain.rom.readback import unpack
from ordain.rom.s_record import write_s_records
from ordain.rom.suspect import suspicions
from tests import workshop
from tests.rom.boards import bank, chip, image_cell_by_cell, machine, store, straight
from tests.rom.byte_order import swapped

WIDTH = 8


def lines(*order: int) -> list[AddressPin]:
    return [AddressPin(None, False, None), *(AddressPin(bit, False, None) for bit in order)]


def byte(high: int) -> list[Pin]:
    return [Pin(bit, False, 0) for bit in range(high, high - 8, -1)]


def board() -> Machine:
    """40 bits in three 512 x 8 chips, one of them with crossed wires, and one 512 x 16."""
    crossed = [Pin(bit, bit % 3 == 0, 0) for bit in (17, 23, 16, 20, 22, 18, 21, 19)]
    return machine([store("control", WIDTH, 40)], [
        chip("U1", 512, 8, bank("control", byte(39), lines(*range(7, -1, -1)))),
        chip("U2", 512, 8, bank("control", byte(31), lines(*range(7, -1, -1)))),
        chip("U3", 512, 8, bank("control", crossed, lines(0, 2, 4, 6, 1, 3, 5, 7))),
        chip("U4", 512, 16, bank("control", [*byte(15), *byte(7)], lines(*range(7, -1, -1)))),
    ])


def words(seed: int = 5, count: int = 180) -> dict[int, int]:
    rng = random.Random(seed)
    return {address: rng.getrandbits(40) for address in rng.sample(range(1 << WIDTH), count)}


def contents_of(made: Machine, stored: dict[str, Stored], images: dict[str, bytes]) -> Contents:
    sites = {"control": {address: Site("control", address, "", "main", "some order", ("some order",), None, word)
                         for address, word in stored["control"].words.items()}}
    return Contents(made, unpack(made, images).words, sites, {"main": ("control", frozenset((7,)))}, {})


MACHINE = board()
STORED = {"control": Stored(words(), 0x1234567890)}
IMAGES = pack(MACHINE, STORED)
CONTENTS = contents_of(MACHINE, STORED, IMAGES)


def decoded(dumps: dict[str, bytes]) -> Decoded:
    return decode(CONTENTS, STORED, IMAGES, dumps)


def test_images_of_the_build_differ_in_nothing() -> None:
    result = decoded(dict(IMAGES))
    assert {word.address: word.word for word in result.words} == STORED["control"].words
    assert (result.differing, result.assumed, result.conflicts, result.suspicions) == ((), (), (), ())


@pytest.mark.parametrize("name", list(MACHINE.chips))
def test_a_changed_bit_is_named_with_word_chip_and_pin(name: str) -> None:
    part = MACHINE.chips[name]
    address = sorted(STORED["control"].words)[11]
    pin = 5
    wired = part.banks[0].pins[part.bits - 1 - pin]
    assert wired.bit is not None
    changed = dict(STORED["control"].words)
    changed[address] ^= 1 << wired.bit
    dump = image_cell_by_cell(part, {"control": Stored(changed, STORED["control"].unused)})
    result = decoded({name: dump})
    (word,) = result.differing
    assert (word.address, word.word, word.built) == (address, changed[address], STORED["control"].words[address])
    (found,) = word.pins
    assert (found.chip, found.pin) == (name, pin)
    width = part.bits // 8
    cell = slice(found.cell * width, (found.cell + 1) * width)
    read, built = (int.from_bytes(image[cell], "little") >> pin & 1 for image in (dump, IMAGES[name]))
    assert found.read == read != built
    assert result.assumed == tuple(other for other in MACHINE.chips if other != name)
    assert result.suspicions == () and result.words[11].built_text == "some order"


def test_a_bad_cell_in_one_of_two_copies_is_a_conflict() -> None:
    broken = bytearray(IMAGES["U1"])
    address = min(STORED["control"].words)
    broken[256 + address] ^= 0x40
    result = decoded({"U1": bytes(broken)})
    (conflict,) = result.conflicts
    assert (conflict.address, conflict.mask, conflict.one, conflict.other) == (
        address, 1 << 38, ("U1", address), ("U1", 256 + address))
    assert result.differing == ()


def test_a_word_where_the_build_has_none_is_shown() -> None:
    empty = next(address for address in range(1 << WIDTH) if address not in STORED["control"].words)
    more = {"control": Stored({**STORED["control"].words, empty: 0}, STORED["control"].unused)}
    result = decoded(pack(MACHINE, more))
    (word,) = (word for word in result.words if word.pins)
    assert (word.address, word.word, word.built, word.built_text) == (empty, 0, None, "")
    assert result.differing == (), "it is no word of the build"
    assert [(stray.chip, stray.unused, stray.others) for stray in result.strays] == [
        (name, 2, 0) for name in MACHINE.chips], "both copies of the cell"


# ---------------------------------------------------------------- whole chips


def permuted(image: bytes, move: "list[int]") -> bytes:
    """A chip whose address line i goes to pin `move[i]`."""
    out = bytearray(len(image))
    for address in range(len(image)):
        out[address] = image[sum((address >> move[line] & 1) << line for line in range(9))]
    return bytes(out)


def data_permuted(image: bytes, move: "list[int]") -> bytes:
    return bytes(sum((byte >> line & 1) << move[line] for line in range(8)) for byte in image)


def exchanged(one: int, other: int, count: int) -> "list[int]":
    order = list(range(count))
    order[one], order[other] = other, one
    return order


U3 = IMAGES["U3"]
WHOLE = {
    "holds what belongs in U2": IMAGES["U2"],
    "is inverted": bytes(byte ^ 0xFF for byte in U3),
    "has its data lines in the opposite order": data_permuted(U3, list(range(7, -1, -1))),
    "has its data lines rotated by 3": data_permuted(U3, [(line + 3) % 8 for line in range(8)]),
    "has data lines D2 and D6 exchanged": data_permuted(U3, exchanged(2, 6, 8)),
    "has its data lines rotated by 1": data_permuted(U3, [(line + 1) % 8 for line in range(8)]),
    "has its data lines rotated by 7": data_permuted(U3, [(line + 7) % 8 for line in range(8)]),
    "has data lines D3 and D4 exchanged": data_permuted(U3, exchanged(3, 4, 8)),
    "has data lines D0 and D7 exchanged": data_permuted(U3, exchanged(0, 7, 8)),
    "data line D0 is stuck at 1": bytes(byte | 1 for byte in U3),
    "data line D7 is stuck at 0": bytes(byte & 0x7F for byte in U3),
    "data line D4 is stuck at 1": bytes(byte | 0x10 for byte in U3),
    "data line D4 is stuck at 0": bytes(byte & ~0x10 for byte in U3),
    "has address line A3 inverted": bytes(U3[address ^ 8] for address in range(512)),
    "has address lines A1 and A5 exchanged": permuted(U3, exchanged(1, 5, 9)),
    "has its address lines in the opposite order": permuted(U3, list(range(8, -1, -1))),
    "has address line A0 inverted": bytes(U3[address ^ 1] for address in range(512)),
    "has address lines A0 and A1 exchanged": permuted(U3, exchanged(0, 1, 9)),
    "has address lines A6 and A7 exchanged": permuted(U3, exchanged(6, 7, 9)),
    "has its address lines rotated by 2": permuted(U3, [(line - 2) % 9 for line in range(9)]),
    "has its address lines rotated by 1": permuted(U3, [(line - 1) % 9 for line in range(9)]),
    "has address lines A7 and A8 exchanged": permuted(U3, exchanged(7, 8, 9)),
    "address line A7 is stuck at 1": bytes(U3[address | 0x80] for address in range(512)),
    "address line A0 is stuck at 1": bytes(U3[address | 1] for address in range(512)),
    "address line A6 is stuck at 0": bytes(U3[address & ~0x40] for address in range(512)),
    "address line A2 is stuck at 1": bytes(U3[address | 4] for address in range(512)),
    "address line A2 is stuck at 0": bytes(U3[address & ~4] for address in range(512)),
    "holds its first 0x80 words over and over: programmed as a smaller part, or its upper address lines are not "
    "connected": U3[:128] * 4,
    "holds every word twice: its address lines are one too high, A0 not used": bytes(
        U3[address >> 1] for address in range(512)),
    "holds only every second word: its address lines are one too low": bytes(
        U3[address << 1 & 511] for address in range(512)),
    "was programmed from a wrong address on: every word stands 0x23 too high": b"\xFF" * 0x23 + U3[:-0x23],
    "was programmed from a wrong address on: every word stands 0x23 too low, going round at the end":
        U3[0x23:] + U3[:0x23],
    "was programmed only up to 0xFF: it reads erased from 0x100 on": U3[:256] + b"\xFF" * 256,
    "was programmed only from 0x100 on: it reads erased below": b"\xFF" * 256 + U3[256:],
    "reads erased from 0x60 to 0x13F: that part was not programmed": U3[:0x60] + b"\xFF" * 0xE0 + U3[0x140:],
    "reads all ones: blank, not powered, or not seated": b"\xFF" * 512,
    "reads all zeros: blank, not powered, or not seated": bytes(512),
}


@pytest.mark.parametrize("text", WHOLE)
def test_what_happened_to_a_chip_is_told(text: str) -> None:
    dump = bytearray(WHOLE[text])
    first = decoded({"U3": bytes(dump)}).suspicions[0]
    assert (first.chip, first.text, first.agree) == ("U3", text, first.cells)
    assert first.before < first.cells * 0.8
    places = [cell for cell, byte in enumerate(dump)]
    for cell in random.Random(1).sample(places, 4):
        dump[cell] ^= 0x21
    best = decoded({"U3": bytes(dump)}).suspicions[0]
    assert best.text == text and best.cells - 4 <= best.agree <= best.cells, "a few bad cells do not hide it"


def test_halves_exchanged_and_bytes_exchanged() -> None:
    """Word-wide, and with an address that is not mirrored."""
    made = machine([store("control", 8, 16)], [chip("U9", 256, 16, straight("control", 15, 0, 8))])
    stored = {"control": Stored({address: word & 0xFFFF for address, word in words().items()}, None)}
    images = pack(made, stored)
    found = suspicions(made, stored, images, {"U9": swapped(images["U9"])})
    assert [each.text for each in found] == ["has its two bytes exchanged"]
    full = {"control": Stored({address: address * 0x9E37 & 0xFFFF for address in range(256)}, None)}
    images = pack(made, full)
    halves = images["U9"][256:] + images["U9"][:256]
    found = suspicions(made, full, images, {"U9": halves})
    assert found[0].text == "has its two halves exchanged (the highest address line inverted)"


def test_chips_exchanged_are_both_told() -> None:
    found = decoded({"U1": IMAGES["U2"], "U2": IMAGES["U1"]}).suspicions
    assert [(each.chip, each.text) for each in found] == [
        ("U1", "holds what belongs in U2"), ("U2", "holds what belongs in U1")]


@pytest.mark.parametrize(("unused", "told"), [(None, []), (0x55, [
    "was programmed only up to 0x3F: it reads erased from 0x40 on"])])
def test_a_part_without_words_was_not_programmed(unused: int | None, told: list[str]) -> None:
    """All words stand in the lower half: the upper one matters where it was to get the word of unused places."""
    made = machine([store("control", 7, 8)], [chip("U9", 128, 8, straight("control", 7, 0, 7))])
    stored = {"control": Stored({address: address * 37 & 0xFF for address in range(50)}, unused)}
    images = pack(made, stored)
    dumps = {"U9": images["U9"][:64] + b"\xFF" * 64}
    result = decode(contents_of(made, stored, images), stored, images, dumps)
    assert [each.text for each in result.suspicions] == told and result.differing == ()
    assert [(stray.chip, stray.unused) for stray in result.strays] == ([("U9", 64)] if told else [])


def test_lines_without_a_bit_and_free_cells_are_no_words() -> None:
    made = machine([store("control", 4, 7)], [chip("U9", 16, 8, bank(
        "control", [Pin(None, False, 1), *(Pin(bit, False, 0) for bit in range(6, -1, -1))],
        [AddressPin(bit, False, None) for bit in range(3, -1, -1)]))])
    stored = {"control": Stored({address: 3 * address for address in range(12)}, None)}
    images = pack(made, stored)
    for dump, others in ((images["U9"], []),
                         (bytes([images["U9"][0] ^ 0x80, *images["U9"][1:]]), [("U9", 0, 1, 0)]),
                         (images["U9"][:14] + b"\0" + images["U9"][15:], [("U9", 0, 1, 14)])):
        result = decode(contents_of(made, stored, images), stored, images, {"U9": dump})
        assert result.differing == () and [tuple(stray) for stray in result.strays] == others
    changed = decode(contents_of(made, stored, images), stored, images, {"U9": b"\x81" + images["U9"][1:]})
    assert [word.address for word in changed.differing] == [0] and changed.strays == ()


def test_a_blank_chip_is_blank_even_if_another_one_is_to_hold_nothing_but_ones() -> None:
    made = machine([store("control", 4, 16)], [chip("U8", 16, 8, straight("control", 15, 8, 4)),
                                               chip("U9", 16, 8, straight("control", 7, 0, 4))])
    stored = {"control": Stored({address: 0xFF00 | address for address in range(16)}, None)}
    images = pack(made, stored)
    found = suspicions(made, stored, images, {"U9": b"\xFF" * 16})
    assert [each.text for each in found][:2] == [
        "reads all ones: blank, not powered, or not seated", "holds what belongs in U8"]


def test_noise_is_not_explained_away() -> None:
    noise = random.Random(2).randbytes(512)
    result = decoded({"U3": noise})
    assert result.suspicions == () and len(result.differing) > 150


def test_an_edited_microprogram_is_no_broken_wire() -> None:
    edited = dict(STORED["control"].words)
    for address in sorted(edited)[:20]:
        edited[address] ^= 0xFF << 16
    assert decoded(pack(MACHINE, {"control": Stored(edited, STORED["control"].unused)})).suspicions == ()


# ---------------------------------------------------------------- files


def test_files_are_told_apart_by_content_and_belong_by_name(tmp_path: Path) -> None:
    (tmp_path / "u1.BIN").write_bytes(IMAGES["U1"])
    (tmp_path / "dump").write_text(write_intel_hex(IMAGES["U2"]))
    (tmp_path / "U3.txt").write_text(write_s_records(IMAGES["U3"]))
    (tmp_path / "U4.mem").write_text("".join(
        f"{int.from_bytes(IMAGES['U4'][at:at + 2], 'little'):04X}\n" for at in range(0, 1024, 2)))
    named = [("", tmp_path / "u1.BIN"), ("U2", tmp_path / "dump"), ("", tmp_path / "U3.txt"), ("", tmp_path / "U4.mem")]
    assert read_dumps(named, MACHINE) == (IMAGES, [])


def test_files_that_cannot_be_used_are_findings(tmp_path: Path) -> None:
    (tmp_path / "U1.bin").write_bytes(IMAGES["U1"])
    (tmp_path / "U2.bin").write_bytes(IMAGES["U2"][:-1])
    (tmp_path / "U7.bin").write_bytes(b"")
    named = [("", tmp_path / "U1.bin"), ("U1", tmp_path / "U2.bin"), ("", tmp_path / "U2.bin"),
             ("", tmp_path / "U7.bin"), ("U3", tmp_path / "absent.bin"), ("U4", tmp_path)]
    dumps, findings = read_dumps(named, MACHINE)
    assert list(dumps) == ["U1"]
    assert [finding.name for finding in findings] == [
        "chip-given-twice", "image-size", "unknown-chip", "missing-file", "not-a-file"]
    assert "CHIP=U7.bin" in findings[2].help


@pytest.mark.parametrize("bits", [4, 7, 9, 12, 18])
def test_bits_that_a_narrow_device_lacks_do_not_matter(bits: int, tmp_path: Path) -> None:
    made = machine([store("control", 4, bits)], [chip("U5", 16, bits, straight("control", bits - 1, 0, 4))])
    size, ones = (bits + 7) // 8, (1 << bits) - 1
    content = [0x3579BF * (cell + 1) & ones for cell in range(16)]
    filled = [word | ~ones & (1 << 8 * size) - 1 for word in content]
    (tmp_path / "U5.bin").write_bytes(b"".join(word.to_bytes(size, "little") for word in filled))
    assert read_dumps([("", tmp_path / "U5.bin")], made) == (
        {"U5": b"".join(word.to_bytes(size, "little") for word in content)}, [])


def test_how_much_has_to_be_explained_before_anything_is_suspected() -> None:
    """Three differing cells at least; and a tenth of them at most may stay unexplained."""
    made = machine([store("control", 6, 8)], [chip("U9", 64, 8, straight("control", 7, 0, 6))])
    for count, told in ((2, False), (3, True)):
        stored = {"control": Stored({address: 17 + address for address in range(count)}, None)}
        images = pack(made, stored)
        found = suspicions(made, stored, images, {"U9": bytes(byte ^ 0xFF for byte in images["U9"])})
        assert ("is inverted" in [each.text for each in found]) == told
    for count, spoilt, told in ((40, 4, True), (40, 5, False), (49, 4, True), (49, 5, False)):
        stored = {"control": Stored({address: 3 * address + 1 for address in range(count)}, None)}
        images = pack(made, stored)
        dump = bytearray(byte ^ 0xFF for byte in images["U9"])
        for cell in range(spoilt):
            dump[cell * 7] ^= 0x5A
        assert ("is inverted" in [each.text for each in suspicions(made, stored, images, {"U9": bytes(dump)})]) == told


def test_a_chip_of_another_size_is_no_candidate() -> None:
    made = machine([store("control", 6, 8), store("small", 3, 8)], [
        chip("U9", 64, 8, straight("control", 7, 0, 6)), chip("U8", 8, 8, straight("small", 7, 0, 3))])
    stored = {"control": Stored({address: 3 * address for address in range(64)}, None),
              "small": Stored({address: 3 * address for address in range(8)}, None)}
    images = pack(made, stored)
    found = suspicions(made, stored, images, {"U9": bytes(64)})
    assert [each.text for each in found] == ["reads all zeros: blank, not powered, or not seated"]


def test_only_stores_of_chips_that_were_read_are_told() -> None:
    made = machine([store("control", 4, 8), store("small", 3, 8)], [
        chip("U1", 16, 8, straight("control", 7, 0, 4)), chip("U2", 8, 8, straight("small", 7, 0, 3))])
    stored = {name: Stored({0: 0x11, 1: 0x22}, 0) for name in made.stores}
    images = pack(made, stored)
    sites = {name: {at: Site(name, at, "", "main", "an order", ("an order",), None, word)
                    for at, word in stored[name].words.items()} for name in made.stores}
    contents = Contents(made, unpack(made, images).words, sites, {}, {})
    for name, of in (("U1", "control"), ("U2", "small")):
        assert {word.store for word in decode(contents, stored, images, {name: images[name]}).words} == {of}
    assert [word.store for word in decode(contents, stored, images, images).words] == ["control"] * 2 + ["small"] * 2


def test_a_part_that_was_not_programmed_leaves_a_tenth_unexplained_at_most() -> None:
    """Of 19 cells that are wrong, 17 stand at the erased end: the other two are too many. Of 20 they are not."""
    made = machine([store("control", 6, 8)], [chip("U9", 64, 8, straight("control", 7, 0, 6))])
    stored = {"control": Stored({address: 3 * address + 1 & 0x7F for address in range(64)}, 0)}
    images = pack(made, stored)
    for erased, told in ((17, False), (18, True)):
        dump = bytearray(images["U9"][:64 - erased] + b"\xFF" * erased)
        dump[3] ^= 0x5A
        dump[9] ^= 0x5A
        texts = [each.text for each in suspicions(made, stored, images, {"U9": bytes(dump)})]
        assert any(text.startswith("was programmed only up to") for text in texts) == told


MAPPED = ("""machine kite
microprogram "m.micro"
store control 16 words of 8 bits
    address upc
field go 1 bit
field target 4 bits address, idle 0
spare 3 bits
store side 16 words of 8 bits
    address lower
field leave 1 bit
field aim 4 bits address, idle 0
spare 3 bits
store entry 4 words of 4 bits
    address wind
state upc 4 bits, reset 0
    next target if go else entry
state lower 4 bits, reset 0
    next aim if leave else lower + 1
input wind 2 bits
order away: go, target tail
chip U1 16 x 8
    holds control
    address upc
chip U2 16 x 8
    holds side
    address lower
chip U3 4 x 4
    holds entry
    address wind
""", """\
routine rise in control at 2
        go, target rise
routine zoom in control at 5
  alpha: go, target rise
routine near in control at 7
        go, target zoom
routine tail in side at 5
        leave, aim tail
map entry
        0: rise
        1: zoom.alpha
        2, 3: zoom
""")


def test_places_are_called_as_the_source_calls_them() -> None:
    """A label stands for its word in its own store alone; in a table the name that was written there."""
    built = workshop.contents_of(*MAPPED)
    stored = {name: Stored({at: built.words[name][at] for at in sites}, None) for name, sites in built.sites.items()}
    images = pack(built.machine, stored)
    told = {(word.store, word.address): word.orders for word in decode(built, stored, images, images).words}
    assert [told["entry", at] for at in range(4)] == [("rise",), ("zoom.alpha",), ("zoom",), ("zoom",)]
    assert told["control", 7] == ("go", "target zoom")
    assert told["control", 5] == ("go", "target rise") and told["side", 5] == ("leave", "aim tail")


def test_a_place_without_a_name_is_called_by_its_address() -> None:
    built = workshop.contents_of(*MAPPED)
    stored = {name: Stored({at: built.words[name][at] for at in sites}, None) for name, sites in built.sites.items()}
    images = pack(built.machine, stored)
    other = pack(built.machine, {**stored, "control": Stored({**stored["control"].words, 7: (
        built.machine.fields["go"].write(1) | built.machine.fields["target"].write(9))}, None)})
    (word,) = decode(built, stored, images, other).differing
    assert (word.address, word.orders) == (7, ("go", "target 0x9"))


def test_from_where_nothing_was_placed_places_are_called_in_full() -> None:
    built = workshop.contents_of(*MAPPED)
    stored = {name: Stored({at: built.words[name][at] for at in sites}, None) for name, sites in built.sites.items()}
    (alpha,) = built.labels["alpha"][1]
    strayed = built.machine.fields["go"].write(1) | built.machine.fields["target"].write(alpha)
    other = pack(built.machine, {**stored, "control": Stored({**stored["control"].words, 14: strayed}, None)})
    (word,) = [each for each in decode(built, stored, pack(built.machine, stored), other).words if each.built is None]
    assert (word.address, word.orders) == (14, ("go", "target zoom"))


def test_a_label_of_the_same_routine_is_called_by_itself() -> None:
    """As people write it there; another routine has one of that name, too."""
    built = workshop.contents_of(MAPPED[0], MAPPED[1].replace(
        "        go, target zoom\n", "  home: go, target zoom\n        go, target home\n").replace(
        "  alpha: go, target rise\n", "  alpha: go, target near.home\n  home: go, target alpha\n"))
    stored = {name: Stored({at: built.words[name][at] for at in sites}, None) for name, sites in built.sites.items()}
    images = pack(built.machine, stored)
    told = {word.built_text: word.orders for word in decode(built, stored, images, images).words}
    assert told["go, target home"] == ("go", "target home")
    assert told["go, target near.home"] == ("go", "target near")       # shorter, and the same word
    assert told["go, target alpha"] == ("go", "target alpha")


def test_bits_that_mean_nothing_may_be_read_either_way() -> None:
    """A field that no order sets and that is `idle any` differs in no pin."""
    target = "field target 4 bits address, idle 0\n"
    texts = (MAPPED[0].replace(f"{target}spare 3 bits", f"{target}field hue 2 bits, idle any\nspare 1 bit"), MAPPED[1])
    built = workshop.contents_of(*texts)
    stored = {name: Stored({at: built.words[name][at] for at in sites}, None) for name, sites in built.sites.items()}
    images = pack(built.machine, stored)
    hue, spare = built.machine.fields["hue"].mask, 1
    for turned, pins in ((hue, 0), (spare, 1), (hue | spare, 3)):
        dump = bytearray(images["U1"])
        dump[7] ^= turned
        (word,) = [word for word in decode(built, stored, images, {"U1": bytes(dump)}).words if word.address == 7]
        assert len(word.pins) == pins


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    _, findings = read_dumps([("", tmp_path / "U77.bin")], MACHINE)
    assert [finding.name for finding in findings] == ["missing-file"] and "U77.bin" in findings[0].message
    _, findings = read_dumps([("U3", tmp_path / "U78.bin")], MACHINE)
    assert [finding.message for finding in findings] == ["there is no file `U78.bin`"]
    (tmp_path / "U79.bin").write_bytes(bytes(512))
    assert [finding.name for finding in read_dumps([("", tmp_path / "U79.bin")], MACHINE)[1]] == ["unknown-chip"]


def test_a_bad_file_of_a_narrow_device(tmp_path: Path) -> None:
    made = machine([store("control", 4, 4)], [chip("U5", 16, 4, straight("control", 3, 0, 4))])
    (tmp_path / "U5.bin").write_bytes(bytes(15))
    dumps, findings = read_dumps([("", tmp_path / "U5.bin")], made)
    assert dumps == {} and [finding.name for finding in findings] == ["image-size"]


def test_a_conflict_with_a_chip_that_repeats_another() -> None:
    """Whichever of the two was read."""
    lines_of = lines(*range(2, -1, -1))[1:]
    made = machine([store("control", 3, 8)], [chip("U1", 8, 8, bank("control", byte(7), lines_of)),
                                              chip("U2", 8, 8, bank("control", byte(7), lines_of, repeats=True))])
    stored = {"control": Stored({address: 3 * address for address in range(8)}, None)}
    images = pack(made, stored)
    contents = Contents(made, unpack(made, images).words, {"control": {}}, {}, {})
    for name in ("U1", "U2"):
        dump = bytearray(images[name])
        dump[5] ^= 0x10
        (conflict,) = decode(contents, stored, images, {name: bytes(dump)}).conflicts
        assert (conflict.address, conflict.mask) == (5, 0x10)
    (word,) = decode(contents, stored, images, {"U1": bytes(dump), "U2": bytes(dump)}).differing
    assert [(pin.chip, pin.cell, pin.pin) for pin in word.pins] == [("U1", 5, 4)], "the one that holds the bit"


def test_erased_cells_of_unlike_devices_are_no_conflict() -> None:
    """One device of a word reads ones where nothing is programmed, the one that repeats it zeros: as it was built."""
    lines_of = lines(*range(2, -1, -1))[1:]
    made = machine([store("control", 3, 8), store("side", 3, 8)], [
        chip("U1", 8, 8, bank("control", byte(7), lines_of)),
        chip("U2", 8, 8, bank("control", byte(7), lines_of, repeats=True), erased=0),
        chip("U3", 8, 8, bank("side", byte(7), lines_of))])
    stored = {"control": Stored({0: 1, 1: 2, 2: 4}, None), "side": Stored({0: 1}, None)}
    images = pack(made, stored)
    contents = Contents(made, unpack(made, images).words, {"control": {}, "side": {}}, {}, {})
    for names in (["U1", "U2", "U3"], ["U1"], ["U2"], ["U3"]):
        assert decode(contents, stored, images, {name: images[name] for name in names}).conflicts == ()
    spoilt = bytearray(images["U2"])
    spoilt[5], spoilt[1] = 0x10, 0x12
    assert {(conflict.address, conflict.mask) for conflict in decode(
        contents, stored, images, {"U2": bytes(spoilt)}).conflicts} == {(1, 0x10), (5, 0xEF)}


def test_a_whole_chip_explains_what_differs_on_it_alone() -> None:
    """U1 is inverted; in one word a bit of U2 differs as well, and another word is as built on all chips but U1."""
    first, *others = sorted(STORED["control"].words)
    spoilt = bytearray(IMAGES["U2"])
    spoilt[first] ^= 1
    spoilt[256 + first] ^= 1
    result = decoded({"U1": bytes(0xFF ^ each for each in IMAGES["U1"]), "U2": bytes(spoilt)})
    assert {word.address: word.explained for word in result.words if word.built is not None} == {
        first: False, **dict.fromkeys(others, True)}
    assert [guess.text for guess in result.guesses] == ["is inverted"]
    assert not any(word.explained for word in decoded({"U2": bytes(spoilt)}).words)


def test_the_best_guess_of_each_chip() -> None:
    """Chips that read the same everywhere read like several things."""
    made = machine([store("control", 4, 16)], [chip("U8", 16, 8, straight("control", 15, 8, 4)),
                                               chip("U9", 16, 8, straight("control", 7, 0, 4))])
    stored = {"control": Stored({address: 0xFF00 | address for address in range(16)}, None)}
    images = pack(made, stored)
    contents = Contents(made, unpack(made, images).words, {"control": {}}, {}, {})
    result = decode(contents, stored, images, {"U9": b"\xFF" * 16, "U8": bytes(16)})
    assert [chip for chip, *_ in result.suspicions].count("U9") > 1
    assert [(guess.chip, guess.text) for guess in result.guesses] == [
        ("U9", "reads all ones: blank, not powered, or not seated"),
        ("U8", "reads all zeros: blank, not powered, or not seated")]


def test_what_pins_read_through_inverters() -> None:
    """All pins of one cell of U3, some of whose lines are inverted, at the other level."""
    dump = bytes(each ^ 0xFF for each in IMAGES["U3"])
    for word in decoded({"U3": dump}).differing[:3]:
        assert {pin.pin: pin.read for pin in word.pins} == {
            pin: dump[word.pins[0].cell] >> pin & 1 for pin in range(8)}


def test_strays_of_two_words_side_by_side_and_of_free_lines() -> None:
    """Two stores share every cell, one above the other, seen twice; line D0 and the upper four cells carry nothing."""
    lines_of = [AddressPin(None, False, None), AddressPin(None, False, 0),
                *(AddressPin(bit, False, None) for bit in (1, 0))]
    none = Pin(None, False, 0)
    made = machine([store("control", 2, 4), store("side", 2, 3)], [chip("U9", 16, 8, bank(
        "control", [*(Pin(bit, False, 0) for bit in range(3, -1, -1)), *[none] * 4], lines_of), bank(
        "side", [*[none] * 4, *(Pin(bit, False, 0) for bit in range(2, -1, -1)), none], lines_of))])
    stored = {"control": Stored(dict.fromkeys(range(4), 5), None), "side": Stored(dict.fromkeys(range(4), 3), None)}
    image = pack(made, stored)["U9"]
    contents = Contents(made, unpack(made, {"U9": image}).words, {"control": {}, "side": {}}, {}, {})
    for cells, told in (({1: 0xFE, 9: 0x30}, ()), ({1: 1}, (("U9", 0, 1, 1),)), ({0: 1, 6: 1}, (("U9", 0, 2, 0),)),
                        ({6: 1}, (("U9", 0, 1, 6),)), ({6: 0x80, 15: 1, 9: 2}, (("U9", 0, 2, 6),))):
        dump = bytearray(image)
        for cell, turned in cells.items():
            dump[cell] ^= turned
        assert tuple(tuple(stray) for stray in decode(contents, stored, {"U9": image},
                                                      {"U9": bytes(dump)}).strays) == told


def test_the_names_of_one_place() -> None:
    """A plain name before a title, then the shorter, then by the alphabet; a title stands in quotes."""
    built = workshop.contents_of(*MAPPED)
    stored = {name: Stored({at: built.words[name][at] for at in sites}, None) for name, sites in built.sites.items()}
    images = pack(built.machine, stored)
    for names, label, said in ((["a b", "plainer"], "plainer", "plainer"), (["bb", "aaa"], "bb", "bb"),
                               (["ab", "aa"], "aa", "aa"), (["b c", "a b c"], "b c", '"b c"')):
        contents = built._replace(labels={name: ("control", frozenset((2,))) for name in names})
        told = {word.address: word for word in decode(contents, stored, images, images).words
                if word.store == "control"}
        assert told[2].label == label and told[5].orders == ("go", f"target {said}")


def test_a_table_of_addresses_is_told_by_the_names_that_stand_there() -> None:
    """As the source has it where that is still true."""
    built = workshop.contents_of(MAPPED[0], MAPPED[1].replace("2, 3: zoom\n", "2: zoom\n"))
    stored = {name: Stored({at: built.words[name][at] for at in sites}, None) for name, sites in built.sites.items()}
    images = pack(built.machine, stored)
    dumps = {"U3": bytes((2, 2, 9, 5))}
    told = {word.address: word.orders for word in decode(built, stored, images, dumps).words}
    assert told == {0: ("rise",), 1: ("rise",), 2: ("0x9",), 3: ("alpha",)}
    assert len({word.address for word in decode(built, stored, images, dumps).differing}) == 2


def test_a_computed_store_has_no_orders() -> None:
    decoder = ("store decoder 4 words of 4 bits\n    address wind\n    word {wind is 0, wind is 1, wind}\n"
               "chip U4 4 x 4\n    holds decoder\n    address wind\n")
    text = MAPPED[0].replace("store entry", f"{decoder}store entry")
    built = workshop.contents_of(text, MAPPED[1])
    stored = {name: Stored(dict(enumerate(words)), None) for name, words in built.words.items()}
    images = pack(built.machine, stored)
    assert {word.orders for word in decode(built, stored, images, {"U4": images["U4"]}).words} == {()}
