"""What may have happened to a whole chip: from which address on it was programmed, how far, as how small a part."""

import pytest

from ordain.machine.model import AddressPin, Machine, Pin
from ordain.rom import suspect
from ordain.rom.contents import Stored
from ordain.rom.images import pack
from ordain.rom.suspect import suspicions
from tests.rom.boards import bank, chip, machine, store, straight


@pytest.mark.parametrize("erased", [0, 1])
@pytest.mark.parametrize("ahead", [1, 2, -1, -2])
def test_by_how_much_a_start_address_was_wrong(ahead: int, erased: int) -> None:
    made = machine([store("control", 6, 8)], [chip("U9", 64, 8, straight("control", 7, 0, 6), erased=erased)])
    stored = {"control": Stored({address: address * address + 3 * address & 0xFF for address in range(64)}, None)}
    images = pack(made, stored)
    image = images["U9"]
    blank = bytes([0xFF * erased] * abs(ahead))
    dump = blank + image[:-ahead] if ahead > 0 else image[-ahead:] + blank
    found = suspicions(made, stored, images, {"U9": dump})
    way = f"every word stands 0x{abs(ahead):X} too {'high' if ahead > 0 else 'low'}"
    (told,) = [each for each in found if each.text == f"was programmed from a wrong address on: {way}"]
    assert told.agree == told.cells == 64


def of_64(words: dict[int, int]) -> tuple[Machine, dict[str, Stored], bytes]:
    """One chip of 64 bytes, straight, with these words."""
    made = machine([store("control", 6, 8)], [chip("U9", 64, 8, straight("control", 7, 0, 6))])
    stored = {"control": Stored(words, None)}
    return made, stored, pack(made, stored)["U9"]


def told_of(made: Machine, stored: dict[str, Stored], image: bytes, dump: bytes) -> list[str]:
    return [each.text for each in suspicions(made, stored, {"U9": image}, {"U9": dump})]


def too_high(image: bytes, ahead: int) -> tuple[str, bytes]:
    return (f"was programmed from a wrong address on: every word stands 0x{ahead:X} too high",
            b"\xFF" * ahead + image[:-ahead])


def test_one_row_that_is_still_whole_says_where_the_words_stand() -> None:
    """Of three words that stand alone: beside two of them a cell that nobody placed is spoilt."""
    made, stored, image = of_64({10: 0x31, 20: 0x52, 30: 0x74})
    for whole in (10, 20, 30):
        text, dump = too_high(image, 9)
        spoilt = bytearray(dump)
        for place in {10, 20, 30} - {whole}:
            spoilt[place + 9 + 4] = 0
        assert text in told_of(made, stored, image, bytes(spoilt))


def test_rows_that_stand_everywhere_do_not_say_where_the_words_stand() -> None:
    """Erased cells, which eight words are like; two words in turns, in all the chip but four cells."""
    made, stored, image = of_64({10: 0x31, 20: 0x52, 30: 0x74, **dict.fromkeys(range(51, 59), 0xFF)})
    text, dump = too_high(image, 9)
    assert text in told_of(made, stored, image, dump)
    made, stored, image = of_64({at: at if 30 <= at < 34 else (0x55, 0xA6)[at & 1] for at in range(64)})
    text, dump = too_high(image, 10)
    assert text in told_of(made, stored, image, dump[:64])


@pytest.mark.parametrize(("most", "told"), [(64, True), (63, False)])
def test_in_a_chip_that_is_too_large_no_start_is_looked_for(most: int, told: bool,
                                                            monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(suspect, "MOST_CELLS", most)
    made, stored, image = of_64({at: at * at + 3 * at & 0xFF for at in range(64)})
    text, dump = too_high(image, 9)
    assert (text in told_of(made, stored, image, dump)) == told


def test_one_erased_cell_is_no_part_of_the_stretch_that_was_not_programmed() -> None:
    """A cell that lost its content, a good one, then nothing more."""
    made, stored, image = of_64({at: 3 * at + 1 for at in range(64)})
    dump = image[:30] + b"\xFF" + image[31:32] + b"\xFF" * 32
    assert told_of(made, stored, image, dump) == ["was programmed only up to 0x1F: it reads erased from 0x20 on"]


@pytest.mark.parametrize("size", [2, 4, 8, 16, 32])
def test_programmed_as_a_smaller_part(size: int) -> None:
    made, stored, image = of_64({at: 3 * at + 1 for at in range(64)})
    (text,) = (text for text in told_of(made, stored, image, image[:size] * (64 // size)) if "over and over" in text)
    assert text.startswith(f"holds its first 0x{size:X} words over and over")


def test_one_word_in_all_cells_is_no_part_of_one_cell() -> None:
    made, stored, image = of_64({at: 3 * at + 1 for at in range(64)})
    assert not [text for text in told_of(made, stored, image, image[:1] * 64) if "over and over" in text]


@pytest.mark.parametrize(("low", "high"), [(5, 9), (5, 7), (3, 4), (33, 40), (20, 40), (3, 3), (32, 32), (47, 49)])
def test_where_a_stretch_that_was_not_programmed_may_begin_and_end_it_does_so_at_a_round_address(
        low: int, high: int) -> None:
    """In the cells from `low` up to `high` nothing was placed, so they say nothing."""
    made, stored, image = of_64({at: 3 * at + 1 for at in range(64) if not low <= at < high})
    round_one = max(range(low, high + 1), key=lambda at: at & -at)
    assert f"was programmed only up to 0x{round_one - 1:X}: it reads erased from 0x{round_one:X} on" in told_of(
        made, stored, image, image[:low] + b"\xFF" * (64 - low))
    assert f"was programmed only from 0x{round_one:X} on: it reads erased below" in told_of(
        made, stored, image, b"\xFF" * high + image[high:])


def test_a_stretch_in_the_middle_that_was_not_programmed() -> None:
    """Cells 9 to 15 and 40 to 43 hold nothing anyway."""
    made, stored, image = of_64({at: 3 * at + 1 for at in range(64) if not (9 <= at < 16 or 40 <= at < 44)})
    told = told_of(made, stored, image, image[:9] + b"\xFF" * 35 + image[44:])
    assert "reads erased from 0x10 to 0x27: that part was not programmed" in told


@pytest.mark.parametrize("pages", [1, 2])
def test_a_part_without_words_is_looked_at_in_every_copy(pages: int) -> None:
    """The unused word stands twice in a chip whose highest line means nothing: erased in the second alone it shows."""
    made = machine([store("control", 6, 8)], [chip("U9", 64 * pages, 8, bank(
        "control", [Pin(bit, False, 0) for bit in range(7, -1, -1)],
        [AddressPin(None, False, None)] * (pages - 1) + [AddressPin(bit, False, None) for bit in range(5, -1, -1)]))])
    stored = {"control": Stored({at: at + 1 for at in range(20)}, 0x55)}
    image = pack(made, stored)["U9"]
    end = 64 * pages
    assert told_of(made, stored, image, image[:end - 32] + b"\xFF" * 32) == [
        f"was programmed only up to 0x{end - 33:X}: it reads erased from 0x{end - 32:X} on"]


def test_three_cells_that_are_not_as_built_are_enough() -> None:
    """Of those of placed words alone; the unused word is not counted."""
    made, stored, image = of_64({at: 3 * at + 1 for at in range(20)})
    dump = image[:17] + b"\xFF" * 47
    (told,) = [each for each in suspicions(made, stored, {"U9": image}, {"U9": dump}) if "only up to" in each.text]
    assert (told.before, told.agree, told.cells) == (17, 20, 20)
    filled = {"control": Stored(stored["control"].words, 0x55)}
    image = pack(made, filled)["U9"]
    (told,) = [each for each in suspicions(made, filled, {"U9": image}, {"U9": dump}) if "only up to" in each.text]
    assert (told.before, told.agree, told.cells) == (17, 20, 20)


@pytest.mark.parametrize(("cells", "text"), [
    ({**dict.fromkeys(range(5, 8), 0xFF), 8: 0, **dict.fromkeys(range(9, 64), 0xFF)},      # 5 to 8 hold no word
     "was programmed only up to 0x8: it reads erased from 0x9 on"),
    (dict.fromkeys(range(32, 64), 0xFF), "was programmed only up to 0x1F: it reads erased from 0x20 on"),
    (dict.fromkeys((*range(20, 32), 33), 0xFF), "reads erased from 0x14 to 0x1F: that part was not programmed"),
    ({0: 0, 1: 0, **dict.fromkeys(range(2, 32), 0xFF)}, "reads erased from 0x2 to 0x1F: that part was not programmed"),
])
@pytest.mark.parametrize("erased", [0xFF, 0])
def test_where_a_stretch_ends_beside_cells_that_are_not_erased(cells: dict[int, int], text: str, erased: int) -> None:
    """Cells 0 and 1, 5 to 8, and 61 to 63 hold no word."""
    made = machine([store("control", 6, 8)],
                   [chip("U9", 64, 8, straight("control", 7, 0, 6), erased=int(erased > 0))])
    stored = {"control": Stored({at: 3 * at + 1 for at in range(2, 61) if not 5 <= at < 9}, None)}
    image = pack(made, stored)["U9"]
    dump = bytes(cells.get(at, held) ^ (0xFF ^ erased if at in cells else 0) for at, held in enumerate(image))
    assert text in told_of(made, stored, image, dump)
