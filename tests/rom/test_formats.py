"""Image files: our writers and readers against outside libraries, published records, and damage.

`tests/reference/formats.json` holds the published records, each group with its source, written down from memory; their
checksums were recomputed.
"""

import json
import shutil
import subprocess
from io import StringIO
from pathlib import Path
from typing import Any

import bincopy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intelhex import IntelHex

from ordain.rom.formats import FORMATS, DeviceShape, read_image, recognise, write_image
from ordain.rom.intel_hex import read_intel_hex, write_intel_hex
from ordain.rom.mem import read_mem, write_mem
from ordain.rom.s_record import read_s_records, write_s_records

REFERENCE: dict[str, Any] = json.loads((Path(__file__).parent.parent / "reference" / "formats.json").read_text())
END = ":00000001FF\n"
SOME = write_intel_hex(bytes(range(64)))

segments = st.lists(st.tuples(st.integers(0, 0x40000), st.binary(min_size=1, max_size=70)), min_size=1, max_size=6)


def apart(drawn: list[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
    """The drawn segments without those that touch an earlier one, ascending."""
    taken: set[int] = set()
    kept = []
    for start, data in drawn:
        cells = set(range(start - 1, start + len(data) + 1))
        if not cells & taken:
            taken |= set(range(start, start + len(data)))
            kept.append((start, data))
    return sorted(kept)


# ---------------------------------------------------------------- outside libraries


@given(st.binary(min_size=1, max_size=300))
def test_outside_readers_read_what_we_write(image: bytes) -> None:
    for text in (write_intel_hex(image), write_s_records(image, "heron U21")):
        file = bincopy.BinFile()
        file.add(text)
        assert bytes(file.as_binary()) == image and file.minimum_address == 0
    hexed = IntelHex(StringIO(write_intel_hex(image)))
    assert bytes(hexed.tobinarray()) == image


@pytest.mark.parametrize("start", [1, 0x101, 0x0FFFF])
def test_outside_readers_read_stretches_from_any_byte_on(start: int) -> None:
    image = bytes((at * 7 + (at >> 8)) & 0xFF for at in range(start + 40))
    for text in (write_intel_hex(image, [(start, start + 33)]), write_s_records(image, "", [(start, start + 33)])):
        file = bincopy.BinFile()
        file.add(text)
        assert file.minimum_address == start and bytes(file.as_binary()) == image[start:start + 33]


@pytest.mark.parametrize("size", [0xFFFF, 0x10000, 0x10001, 0x2ABCD])
def test_outside_readers_read_large_images(size: int) -> None:
    image = bytes((at * 7 + (at >> 8)) & 0xFF for at in range(size))
    for text in (write_intel_hex(image), write_s_records(image)):
        file = bincopy.BinFile()
        file.add(text)
        assert bytes(file.as_binary()) == image
        read = read_intel_hex(text, "t") if text[0] == ":" else read_s_records(text, "t")
        assert read == ([(0, image)], [])
    assert bytes(IntelHex(StringIO(write_intel_hex(image))).tobinarray()) == image


@given(segments)
def test_we_read_what_outside_writers_write(drawn: list[tuple[int, bytes]]) -> None:
    wanted = apart(drawn)
    file = bincopy.BinFile(header_encoding="ascii")
    hexed = IntelHex()
    for start, data in wanted:
        file.add_binary(data, start)
        hexed.frombytes(data, start)
    for length in (24, 32):
        assert read_s_records(file.as_srec(16, length), "t") == (wanted, [])
    assert read_intel_hex(file.as_ihex(16, 32), "t") == (wanted, [])
    if all(start >> 16 == start + len(data) - 1 >> 16 for start, data in wanted):
        assert read_intel_hex(file.as_ihex(16, 24), "t") == (wanted, [])    # else it writes records across segments
    out = StringIO()
    hexed.write_hex_file(out)
    assert read_intel_hex(out.getvalue(), "t") == (wanted, [])


@pytest.mark.parametrize("bits", [1, 4, 8, 12, 16, 24])
def test_a_verilog_simulator_reads_our_memory_text(bits: int, tmp_path: Path) -> None:
    if not shutil.which("iverilog"):
        pytest.skip("install iverilog (Icarus Verilog) to have $readmemh files read by a simulator")
    width = (bits + 7) // 8
    words = [(at * 0x9E3779B1 >> 5) & (1 << bits) - 1 for at in range(32)]
    image = b"".join(word.to_bytes(width, "little") for word in words)
    (tmp_path / "u.mem").write_text(write_mem(image, bits, "heron U21"))
    (tmp_path / "t.v").write_text(
        f"module t; reg [{bits - 1}:0] m [0:31]; integer i; initial begin $readmemh(\"u.mem\", m);"
        ' for (i = 0; i < 32; i = i + 1) $display("%h", m[i]); end endmodule')
    subprocess.run(["iverilog", "-Wall", "-o", "t", "t.v"], cwd=tmp_path, check=True)
    shown = subprocess.run(["vvp", "t"], cwd=tmp_path, check=True, capture_output=True, text=True).stdout.split()
    assert [int(word, 16) for word in shown] == words


# ---------------------------------------------------------------- published records


@pytest.mark.parametrize("record", REFERENCE["intel_hex"]["records"])
def test_published_intel_records_are_accepted_and_damaged_ones_not(record: str) -> None:
    end = "" if record[7:9] == "01" else END
    assert read_intel_hex(record + "\n" + end, "t").findings == []
    for position in range(1, len(record)):
        digit = "0" if record[position] != "0" else "8"
        damaged = record[:position] + digit + record[position + 1:]
        read = read_intel_hex(damaged + "\n" + END, "t")
        assert [finding.name for finding in read.findings] in (["bad-record"], ["bad-record"] * 2), damaged
        assert read.segments == []


@pytest.mark.parametrize("record", REFERENCE["s_record"]["records"])
def test_published_s_records_are_accepted_and_damaged_ones_not(record: str) -> None:
    end = "" if record[1] in "789" else "S9030000FC\n"
    assert read_s_records(record + "\n" + end, "t").findings == []
    for position in range(2, len(record)):
        digit = "0" if record[position] != "0" else "8"
        damaged = record[:position] + digit + record[position + 1:]
        read = read_s_records(damaged + "\nS9030000FC\n", "t")
        assert [finding.name for finding in read.findings] in (["bad-record"], ["bad-record"] * 2), damaged


def test_a_published_extended_segment_counts_in_paragraphs() -> None:
    """:020000021200EA sets the base 0x12000 (a record of tests/reference/formats.json, which has its source)."""
    text = ":020000021200EA\n:0100010055A9\n" + END
    assert read_intel_hex(text, "t") == ([(0x12001, b"U")], [])
    last = ":020000021200EA\n:02FFFE001234BB\n" + END
    assert read_intel_hex(last, "t") == ([(0x21FFE, b"\x12\x34")], [])


# ---------------------------------------------------------------- strictness


def line_of(text: str, number: int, new: str | None) -> str:
    lines = text.splitlines()
    lines[number - 1:number] = [] if new is None else [new]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(("text", "line", "says"), [
    (line_of(SOME, 2, ":10001000101112131415161718191A1B1C1D1E1F69"), 2, "checksum is 69 and should be 68"),
    (line_of(SOME, 2, ":0F001000101112131415161718191A1B1C1D1E1F68"), 2, "announces 15 bytes of data and has 16"),
    (line_of(SOME, 2, "10001000101112131415161718191A1B1C1D1E1F68"), 2, "begins with `:`"),
    (line_of(SOME, 2, ":10001000101112131415161718191A1B1C1D1E1G68"), 2, "`G` is not a hexadecimal digit"),
    (line_of(SOME, 2, ":1000100010111213 1415161718191A1B1C1D1E1F68"), 2, "` ` is not a hexadecimal digit"),
    (line_of(SOME, 2, ":10001000101112131415161718191A1B1C1D1E1F6"), 2, "half a byte"),
    (line_of(SOME, 2, ":000010F0"), 2, "too short"),
    (line_of(SOME, 2, ":00000006FA"), 2, "no record type 06"),
    (line_of(SOME, 2, ":0100000400FB"), 2, "type 04 has 2 bytes of data, not 1"),
    (SOME + ":0100000055AA\n", 6, "after the end record"),
    (":020000021200EA\n:02FFFF001234BA\n" + END, 2, "past the end of their segment"),
])
def test_bad_intel_records_are_named_with_their_line(text: str, line: int, says: str) -> None:
    read = read_intel_hex(text, "dump.hex")
    assert [finding.name for finding in read.findings] == ["bad-record"]
    (finding,) = read.findings
    assert finding.span is not None and (finding.span.source.name, finding.span.line) == ("dump.hex", line)
    assert says in finding.message and finding.help and read.segments == []


@pytest.mark.parametrize(("text", "line", "says"), [
    ("S1090100010203040506E1\n", 1, "checksum is E1 and should be E0"),
    ("S1080100010203040506E0\n", 1, "announces 8 bytes and has 9"),
    ("S40500000000FA\n", 1, "no record type `S4`"),
    ("X1090100010203040506E0\n", 1, "begins with `S`"),
    ("S1090100010203040506E0\nS105FFFF0102F9\n", 2, "past the end of the 16-bit addresses"),
    ("S1090100010203040506E0\nS5030002FA\n", 2, "counts 2 data records, and there are 1"),
    ("S1090100010203040506E0\nS9030000FC\nS1090200010203040506DF\n", 3, "after the end record"),
])
def test_bad_s_records_are_named_with_their_line(text: str, line: int, says: str) -> None:
    read = read_s_records(text if "S9" in text else text + "S9030000FC\n", "dump.s19")
    (finding,) = read.findings
    assert finding.name == "bad-record" and says in finding.message
    assert finding.span is not None and finding.span.line == line
    assert finding.span.text == (text if "S9" in text else text + "S9030000FC\n").split("\n")[line - 1]


@pytest.mark.parametrize(("size", "kind"), [(1 << 15, "1"), (1 << 16, "1"), ((1 << 16) + 1, "2"),
                                            (1 << 24, "2"), ((1 << 24) + 1, "3")])
def test_addresses_are_as_short_as_reach_the_end(size: int, kind: str) -> None:
    rows = write_s_records(bytes(size), "", [(size - 16, size)]).splitlines()
    assert {row[:2] for row in rows[1:-2]} == {f"S{kind}"} and rows[-1][:2] == {"1": "S9", "2": "S8",
                                                                                             "3": "S7"}[kind]


@pytest.mark.parametrize(("text", "says"), [
    ("S3091234567801020304D8\nS70500000000FA\n", ""), ("S3091234567801020304D8\nS70512345678E6\n", ""),
    ("S3091234567801020304D8\nS704000000FB\n", "too short"),
    ("S3091234567801020304D8\nS7060000000001F8\n", "has no data"),
    ("S3091234567801020304D8\nS804000000FB\n", ""),
])
def test_an_end_record_with_an_address_of_32_bits(text: str, says: str) -> None:
    """Sums by hand."""
    read = read_s_records(text, "t")
    assert read.segments == ([] if says else [(0x12345678, bytes((1, 2, 3, 4)))])
    assert [says in finding.message for finding in read.findings] == ([True] if says else [])


def test_where_a_processor_would_start_says_nothing_of_the_data() -> None:
    """Sums by hand."""
    for start in (":0400000300003800C1\n", ":040000050000CD2A00\n"):
        assert read_intel_hex(start + SOME, "t") == ([(0, bytes(range(64)))], [])


def test_a_bad_record_is_told_alone() -> None:
    """Whatever it was, it may have been the end."""
    for read, text in ((read_intel_hex, SOME.replace(END, ":00000001FE\n")), (read_s_records, "S9030000FD\n")):
        assert [finding.name for finding in read(text, "t").findings] == ["bad-record"]


def test_a_file_that_is_cut_off_is_refused() -> None:
    for text, read in ((SOME, read_intel_hex), (write_s_records(bytes(64)), read_s_records)):
        cut = "".join(line for line in text.splitlines(keepends=True) if line[:2] not in (":0", "S5", "S9"))
        assert [finding.name for finding in read(cut, "t").findings] == ["end-record-missing"]
        assert [finding.name for finding in read("", "t").findings] == ["end-record-missing"]


def test_a_byte_given_twice_shows_both_lines() -> None:
    text = ":0400000001020304F2\n:0100040055A6\n:0100030055A7\n" + END
    (finding,) = read_intel_hex(text, "t").findings
    assert finding.name == "data-overlap" and "0x3" in finding.message
    assert finding.span is not None and finding.span.line == 3 and finding.places[0].span.line == 1
    (again,) = read_s_records("S1090100010203040506E0\n" * 2 + "S9030000FC\n", "t").findings
    assert again.name == "data-overlap"


def test_every_bad_record_of_a_file_is_reported() -> None:
    text = SOME.replace(":10001000", ":10001001").replace(":10003000", ":10003001")
    assert [finding.span.line for finding in read_intel_hex(text, "t").findings if finding.span] == [2, 4]


def test_line_ends_and_lower_case_do_not_matter() -> None:
    assert read_intel_hex(SOME.lower().replace("\n", "\r\n"), "t") == ([(0, bytes(range(64)))], [])


# ---------------------------------------------------------------- $readmemh text


@pytest.mark.parametrize(("text", "image"), [
    ("1 2 3", "010203FF"),
    ("// a comment 1 2\n@2 /* 5\n6 */ 0_A\n@0\nf", "0FFF0AFF"),
    ("", "FFFFFFFF"),
    ("1_ @0_2 0__5_", "01FF05FF"),                      # IEEE 1364-2005, 2.5.1: anywhere but in front
])
def test_memory_text_is_read_as_the_standard_says(text: str, image: str) -> None:
    assert read_mem(text, "t", 8, b"\xFF" * 4) == (bytes.fromhex(image), [])


def test_addresses_in_memory_text_are_hexadecimal_and_those_of_words() -> None:
    """Of a device of 12 bits, which has two bytes a word."""
    image, findings = read_mem("@10 abc 1", "t", 12, b"\xFF\x0F" * 18)
    assert (image, findings) == (b"\xFF\x0F" * 16 + b"\xBC\x0A\x01\x00", [])
    image, (finding,) = read_mem("@12 abc", "t", 12, b"\xFF\x0F" * 18)
    assert image is None and "has a word for 0x12, and the device ends at 0x11" in finding.message


@pytest.mark.parametrize(("text", "line", "says"), [
    ("1\n100", 2, "does not fit in 8 bits"), ("1 2\n/* \n */ zz", 3, "`zz` is not"), ("1 @0 5", 1, "given twice"),
    ("1\n2\n3 4 5", 3, "word for 0x4"), ("1 / 2", 1, "`/` is not"),
    ("_1", 1, "`_1` is not"), ("0x1", 1, "`0x1` is not"),
])
def test_bad_memory_text_is_named_with_its_line(text: str, line: int, says: str) -> None:
    image, (finding,) = read_mem(text, "t", 8, b"\xFF" * 4)
    assert image is None and says in finding.message and finding.span is not None and finding.span.line == line


# ---------------------------------------------------------------- all kinds


@given(st.integers(1, 40), st.integers(1, 24), st.integers(0, 1), st.data())
def test_every_kind_gives_the_image_back(words: int, bits: int, erased: int, data: st.DataObject) -> None:
    device = DeviceShape("U21", words, bits, erased)
    content = data.draw(st.lists(st.integers(0, (1 << bits) - 1), min_size=words, max_size=words))
    image = b"".join(word.to_bytes((bits + 7) // 8, "little") for word in content)
    for form in FORMATS:
        file = write_image(form, image, device, "heron")
        assert read_image(form, file, f"U21.{form}", device) == (image, [])
        assert recognise(file, f"U21.{form}", device.size) == form


def test_missing_bytes_of_a_hex_file_are_erased() -> None:
    wide = DeviceShape("U21", 4, 12, 1)
    assert read_image("hex", b":02000200AB0A47\n" + END.encode(), "t", wide) == (bytes.fromhex("FF0FAB0AFF0FFF0F"), [])


def test_wrong_sizes_and_no_text_at_all() -> None:
    device = DeviceShape("U21", 4, 8, 1)
    for form, content, name in (("bin", b"123", "image-size"), ("bin", b"12345", "image-size"),
                                ("hex", b":\xff", "not-text"),
                                ("hex", write_intel_hex(bytes(5)).encode(), "image-too-long"),
                                ("s19", write_s_records(bytes(5)).encode(), "image-too-long")):
        image, (finding,) = read_image(form, content, "t", device)  # type: ignore[arg-type]
        assert image is None and finding.name == name
    assert recognise(b":000", "x.bin", 4) == "bin", "raw bytes may look like anything"


# ---------------------------------------------------------------- a store in three chips


def test_the_textbook_store_in_three_chips(mano_words: dict[int, int]) -> None:
    """The textbook's control store (words from memory), right-justified in 24 bits over three byte-wide chips; the
    records of the parts in which words stand are derived by us and checked with bincopy."""
    from ordain.rom.contents import Stored
    from ordain.rom.images import pack
    from tests.rom.boards import Pin, bank, chip, machine, store, straight

    lines = list(straight("control", 0, 0, 7).address)
    high = [Pin(None, False, 0)] * 4 + [Pin(bit, False, 0) for bit in (19, 18, 17, 16)]
    chips = [chip("ROM0", 128, 8, bank("control", high, lines), erased=0),
             chip("ROM1", 128, 8, straight("control", 15, 8, 7), erased=0),
             chip("ROM2", 128, 8, straight("control", 7, 0, 7), erased=0)]
    images = pack(machine([store("control", 7, 20)], chips), {"control": Stored(mano_words, None)})
    demo = REFERENCE["mano_rom_demo"]
    extents = [(0, 16), (0x40, 0x45)]
    for name, image in images.items():
        assert write_intel_hex(image, extents).splitlines() == demo["records"][name]
        assert write_s_records(image, "", extents).splitlines()[1:3] == demo["srec"][name]
        for records in (demo["records"][name], [*demo["srec"][name], "S9030000FC"]):
            outside = bincopy.BinFile()
            outside.add("\n".join(records))
            assert [(start, bytes(data)) for start, data in outside.segments] == [
                (start, image[start:end]) for start, end in extents]


def test_rows_begin_at_multiples_of_sixteen() -> None:
    assert [line[3:7] for line in write_intel_hex(bytes(64), [(5, 40)]).splitlines()[:-1]] == ["0005", "0010", "0020"]
    rows = write_s_records(bytes(64), "", [(5, 40)]).splitlines()
    assert [line[4:8] for line in rows[1:-2]] == ["0005", "0010", "0020"]


def test_an_extended_address_is_said_once_for_each_64_kilobytes() -> None:
    text = write_intel_hex(bytes(0x28000))
    assert [line for line in text.splitlines() if line[7:9] == "04"] == [":020000040001F9", ":020000040002F8"]


def test_the_far_end_of_a_large_device() -> None:
    """Past 16 MB, and past 65535 records; read by `bincopy`."""
    start = 0x101_0000
    image = bytes(start) + bytes(range(1, 100))
    for text in (write_intel_hex(image, [(start, start + 99)]), write_s_records(image, "", [(start, start + 99)])):
        file = bincopy.BinFile()
        file.add(text)
        assert (file.minimum_address, bytes(file.as_binary())) == (start, image[start:])
    long = write_s_records(bytes(1 << 20))
    assert long.splitlines()[-2:] == ["S604010000FA", "S804000000FB"] and not read_s_records(long, "t").findings
    assert write_s_records(bytes((1 << 20) - 16)).splitlines()[-2] == "S503FFFFFE"


@pytest.mark.parametrize(("record", "says"), [
    ("S", "no record type `S`"), ("S1030000FC", ""), ("S904000000FB", "has no data"),
    ("S50400000AF1", "has no data"), ("S10200FD", "too short"),
])
def test_short_and_overfull_s_records(record: str, says: str) -> None:
    findings = read_s_records(f"{record}\nS9030000FC\n", "t").findings
    assert [says in finding.message for finding in findings] == ([True] if says else [])


def test_a_damaged_file_gives_no_image() -> None:
    device = DeviceShape("U1", 64, 8, 1)
    for form, text in (("hex", SOME), ("s19", write_s_records(bytes(range(64))))):
        at = text.index("0F")
        spoilt = text[:at] + "0E" + text[at + 2:]
        image, findings = read_image(form, spoilt.encode(), "U1", device)  # type: ignore[arg-type]
        assert image is None and findings
        assert read_image(form, text.encode(), "U1", device) == (bytes(range(64)), [])  # type: ignore[arg-type]


def test_a_hex_file_with_the_ending_of_a_raw_one() -> None:
    """It counts as what it is, unless it has just the size of the device: then it may be anything."""
    text = END.encode()
    assert recognise(text, "U1.bin", 64) == "hex" and recognise(text, "U1.bin", len(text)) == "bin"
    assert recognise(b"S9030000FC\n", "U1.bin", 64) == "s19" and recognise(bytes(63), "U1.bin", 64) == "bin"
    assert recognise(text, "U1.hex", len(text)) == "hex" and recognise(b"00", "U1.mem", 64) == "mem"


def test_an_empty_data_record_says_nothing() -> None:
    """Even where it names an address that the device has not got."""
    device = DeviceShape("U1", 64, 8, 1)
    text = SOME.replace(END, ":00FFFF0002\n" + END)
    assert read_image("hex", text.encode(), "U1", device) == (bytes(range(64)), [])
    text = "S103FFFFFE\n" + write_s_records(bytes(range(64))).replace("S5030004F8", "S5030005F7")
    assert read_image("s19", text.encode(), "U1", device) == (bytes(range(64)), [])


def test_bytes_that_a_file_does_not_give_are_as_the_device_erases_them() -> None:
    for erased, blank in ((0, b"\x00"), (1, b"\xFF")):
        image, findings = read_image("hex", SOME.encode(), "U1", DeviceShape("U1", 80, 8, erased))
        assert (image, findings) == (bytes(range(64)) + blank * 16, [])


def test_a_digit_that_is_none_is_named() -> None:
    _, (finding,) = read_image("s19", b"S10300G0FC\nS9030000FC\n", "U1", DeviceShape("U1", 64, 8, 1))
    assert "`G` is not a hexadecimal digit" in finding.message


def test_the_header_of_s_records_stands_at_no_address() -> None:
    """Address 0; 05 + 41 + 42 = 88, and its complement is 77 (by hand)."""
    assert write_s_records(b"\1", "AB").split("\n")[0] == "S0050000414277"
    assert write_s_records(b"\1", "A" * 31 + "BC").split("\n")[0][-6:-2] == "4142"    # 32 characters


@pytest.mark.parametrize(("record", "fault"), [
    ("S", "there is no record type `S`"), ("S4", "there is no record type `S4`"), ("S1", "the record is too short"),
    ("S10", "it has half a byte too much"), ("S1030", "it has half a byte too much"),
    ("S103", "the record is too short"), ("S10300", "the record is too short")])
def test_records_that_are_cut_off(record: str, fault: str) -> None:
    (finding, *_) = read_s_records(f"{record}\n", "U1.s19").findings
    assert finding.message == f"not a good record: {fault}"
