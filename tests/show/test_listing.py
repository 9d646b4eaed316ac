"""The listing of a small build, as it is printed."""

from pathlib import Path

import pytest

from ordain.pipeline import build_model
from ordain.publishing import build_files
from ordain.show.listing import listing_text
from tests.show.builds import windmill

ROOT = Path(__file__).parent.parent.parent


def section(text: str, head: str) -> str:
    """What stands below a heading, up to the next one."""
    lines = text.splitlines()
    at = lines.index(head)
    below = lines[at + 2:]
    end = next((number for number, line in enumerate(below) if line and set(line) == {"-"}), len(below) + 1)
    return "\n".join(below[:end - 1]).rstrip()


TEXT = listing_text(windmill(), "tables of the machine")


def test_its_parts_in_their_order() -> None:
    assert TEXT.startswith("windmill: pumps & grinds <slowly>\n=================================\n")
    heads = [line for line, after in zip(TEXT.splitlines(), TEXT.splitlines()[1:]) if after and set(after) == {"-"}]
    assert heads == ["Sources", "Chips", "The machine as understood: hold this against the schematic", "Opcodes",
                     "Store control: 32 words of 12 bits", "Store entry: 16 words of 5 bits",
                     "Store control, chip by chip: the levels of the data pins, highest first",
                     "Store entry, chip by chip: the levels of the data pins, highest first"]
    assert section(TEXT, heads[2]) == "tables of the machine"
    assert all(line == line.rstrip() for line in TEXT.splitlines()) and TEXT.endswith("\n")


def test_chips_with_their_sums() -> None:
    build = windmill()
    rows = section(TEXT, "Chips").splitlines()
    assert rows[0].split() == ["chip", "size", "holds", "bits", "of", "sum", "sum", "of", "words", "CRC-32", "files"]
    sums = build.chips[0].sums
    assert rows[1].split() == ["U1", "64", "x", "8", "control", f"{sums.sum16:04X}", f"{sums.crc32:08X}", "U1.bin"]
    assert f"{build.chips[2].sums.word_sum:08X}" in rows[3]


def test_opcodes_of_one_instruction_are_one_row() -> None:
    assert section(TEXT, "Opcodes").splitlines()[1].split() == ["3-4", "TURN", "{n}", "10", "1"]


def test_every_word_grouped_by_field_with_label_text_and_place() -> None:
    """The bits of a word, held against its fields: branch, target, brake (active low), sail, spare."""
    shown = section(TEXT, "Store control: 32 words of 12 bits").splitlines()
    assert shown[0] == "placed 4, free 28: 1-3, 5-8, A-F, 11-1F"
    rows = {line.split()[0]: line for line in shown[1:] if "windmill.micro" in line}
    assert list(rows) == ["00", "04", "09", "10"]
    assert rows["00"].split() == ["00", "01", "01001", "0", "000", "0", "520", "furl.top", "brake,", "goto", "set",
                                  "windmill.micro:2"]
    assert rows["09"].split()[1:7] == ["00", "00000", "1", "101", "0", "01A"]
    assert "furl.set" in rows["09"] and "furl.set" not in rows["04"]
    assert "TURN {n}" in rows["10"]
    assert shown[-1] == "04 is a copy of 09 (the pair of furl)"


def test_field_names_stand_above_their_first_digit() -> None:
    shown = section(TEXT, "Store control: 32 words of 12 bits").splitlines()
    head = shown[2:8]
    columns = [index for index, letter in enumerate(head[-1]) if letter != " "]
    names = ["".join(row[column] if column < len(row) else " " for row in head).strip() for column in columns]
    assert names == ["branch", "target", "brake", "sail", "spare"]
    word = next(line for line in shown if line.startswith("00 "))
    assert columns == [start for start in range(4, 22) if word[start - 1] == " " and word[start] != " "][:5]


def test_an_early_design_without_chips() -> None:
    build = windmill()._replace(chips=())
    assert section(listing_text(build, ""), "Chips") == "none: an early design, of which there are no images"


@pytest.mark.parametrize("name", ["microcode/heron.machine", *sorted(
    str(path.relative_to(ROOT)) for path in ROOT.glob("examples/*/*.machine") if "\nmachine " in path.read_text())])
def test_the_levels_of_the_pins_are_those_in_the_images(name: str) -> None:
    """Every word of every chip, against the bytes that a programmer is given."""
    built = build_model(ROOT / name)[0]
    assert built is not None
    compared = 0
    for chip in built.machine.chips.values():
        wide = (chip.bits + 7) // 8
        for bank in chip.banks:
            for address, word in built.stored[bank.store].words.items():
                at = bank.cell(address) * wide
                found = int.from_bytes(built.images[chip.name][at:at + wide], "little")
                assert bank.levels(word) == f"{found:0{chip.bits}b}"
                compared += 1
    assert compared > 10


def test_equal_rows_of_a_table_are_one(tmp_path: Path) -> None:
    """A decoder of eight rows: those from 2 on drive no line, and 0 and 1 one each."""
    (tmp_path / "m.machine").write_text("""\
machine small
store control 2 words of 1 bit
    address odd
field on 1 bit
store decoder 8 words of 2 bits
    address pick
    word {pick is 1, pick is 0}
input pick 3 bits
state odd 1 bit, reset 0
    next not odd
chip U1 8 x 4
    holds decoder[1:0], spare, spare
    address pick
chip U2 2 x 4
    holds control[0], spare, spare, spare
    address odd
microprogram "m.micro"
""")
    (tmp_path / "m.micro").write_text("routine main\n    on\n    on\n")
    built, findings = build_model(tmp_path / "m.machine")
    assert built is not None, findings
    text = build_files(built, ["bin"], "")["small.lst"].decode()
    assert section(text, "Store decoder: 8 words of 2 bits").splitlines()[-3:] == [
        "00     01  1", "01     10  2", "02-07  00  0"]
    chip = section(text, "Store decoder, chip by chip: the levels of the data pins, highest first").splitlines()
    assert chip[1:] == ["00     0111", "01     1011", "02-07  0011"]
    words = section(text, "Store control: 2 words of 1 bit").splitlines()
    assert [row.split()[0] for row in words[-2:]] == ["00", "01"], "words of a microprogram are never folded"
