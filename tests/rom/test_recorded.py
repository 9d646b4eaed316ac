"""What a manifest may say, part by part: it comes from a file that anything may have happened to."""

import json
from pathlib import Path
from typing import Any

import pytest

from ordain.rom.contents import MANIFEST_FORMAT
from ordain.rom.recorded import (
    _address,
    _digits,
    _file_name,
    _number,
    earlier_files,
    read_manifest,
    read_recorded,
)


@pytest.mark.parametrize("name", ["", ".", "..", "a/b", "/etc", "a\\b", "a\0b", None, 3])
def test_what_is_no_file_name(name: object) -> None:
    with pytest.raises(ValueError, match="`files`"):
        _file_name(name, "`files`")


@pytest.mark.parametrize("digits", ["", "-1", "+1", "0x1", " 1", "1 ", "1_0", "g", "1g", "FF", None, 1])
def test_what_is_no_hexadecimal_number(digits: object) -> None:
    """Most of these are one for `int`."""
    with pytest.raises(ValueError, match="`word`"):
        _digits(digits, "`word`")


@pytest.mark.parametrize("number", [-1, True, 1.0, "1", None])
def test_what_is_no_number(number: object) -> None:
    with pytest.raises(ValueError, match="`size`"):
        _number(number, "`size`")


def test_what_is_one() -> None:
    assert (_file_name("U1.bin", "x"), _file_name("...", "x")) == ("U1.bin", "...")
    assert (_digits("0", "x"), _digits("00ff", "x"), _number(0, "x"), _address(0xFFFFFF, "x")) == (0, 255, 0, 0xFFFFFF)
    with pytest.raises(ValueError, match="no address is that high"):
        _address(0x1000000, "x")


def manifest(**changed: object) -> dict[str, Any]:
    """As docs/manifest.schema.json has it, with one word, one chip, one label and one source."""
    chip = {"name": "U1", "words": 16, "bits": 8, "erased": 1, "technology": "uv", "sha256": "00", "crc32": "0a",
            "sum8": "0b", "sum16": "0c", "sum32": "0d", "word_sum": "0e", "files": {"bin": "U1.bin"}}
    word = {"at": 3, "word": "1f", "key": "fetch/0", "orders": ["go", "mark 1"], "label": "fetch", "owner": "routine",
            "open": "6", "place": "m.micro:2"}
    return {"format": MANIFEST_FORMAT, "version": 1, "machine": {"name": "m"}, "files": ["U1.bin", "m.json"],
            "words": {"control": [word]}, "chips": [chip], "labels": [
                {"name": "fetch", "store": "control", "addresses": [3]}],
            "sources": [{"file": "m.machine", "sha256": "0f"}], **changed}


def read(path: Path, data: object) -> str:
    """What is told of a manifest, "" where it is a good one."""
    path.write_text(json.dumps(data))
    build, findings = read_manifest(path)
    assert (build is None) == bool(findings)
    return findings[0].message.partition(": ")[2] if findings else ""


def test_what_a_good_manifest_says(tmp_path: Path) -> None:
    (tmp_path / "m.json").write_text(json.dumps(manifest()))
    build, findings = read_manifest(tmp_path / "m.json")
    assert build is not None and not findings
    assert (build.machine, build.files, build.sources) == ("m", {"U1.bin", "m.json"}, {"m.machine": "0f"})
    assert build.labels == {"fetch": ("control", {3})} and build.places == {"control": {3: "m.micro:2"}}
    assert build.placed.words == {"control": {3: 0x1F}}
    site, chip = build.sites["control"][3], build.chips["U1"]
    assert (site.address, site.label, site.owner, site.text, site.orders, site.open) == (
        3, "fetch", "routine", "go, mark 1", ("go", "mark 1"), 6)
    assert (chip.words, chip.bits, chip.erased, chip.technology) == (16, 8, 1, "uv")
    assert chip.files == (("bin", "U1.bin"),)
    assert tuple(chip.sums) == ("00", 10, 11, 12, 13, 14)


def test_a_manifest_of_another_form(tmp_path: Path) -> None:
    path = tmp_path / "m.json"
    assert read(path, manifest()) == "" and read(path, manifest(more=1)) == ""
    assert read(path, manifest(version=2)) == "version 2 of its form is not known"
    assert read(path, manifest(format="a build")) == f'`format` is not "{MANIFEST_FORMAT}"'
    assert read(path, []) == "the manifest is not an object"
    for key in ("machine", "files", "words", "chips", "labels", "sources"):
        left = manifest()
        del left[key]
        assert read(path, left) == f"`{key}` is missing"
        assert f"`{key}`" in read(path, manifest(**{key: 7}))


@pytest.mark.parametrize(("part", "key"), [
    *(("chips", key) for key in ("name", "words", "bits", "erased", "technology", "sha256", "crc32", "sum8", "sum16",
                                 "sum32", "files")),
    *(("labels", key) for key in ("name", "store", "addresses")), *(("sources", key) for key in ("file", "sha256")),
    *(("words", key) for key in ("at", "word"))])
def test_a_part_of_a_manifest_that_is_missing_or_of_another_kind(part: str, key: str, tmp_path: Path) -> None:
    for value in (None, -1.5):
        data = manifest()
        own = data[part]["control"][0] if part == "words" else data[part][0]
        own[key] = value
        if value is None:
            del own[key]
        assert f"`{key}`" in read(tmp_path / "m.json", data)


def test_where_words_of_an_earlier_build_stood(tmp_path: Path) -> None:
    """Copies behind the word that has the label; rows of a table have no key, and no orders."""
    rows = [{"at": 9, "word": "1", "key": "fetch/0", "copy": True, "orders": ["go"]},
            {"at": 3, "word": "1", "key": "fetch/0"},
            {"at": 4, "word": "2", "key": "fetch/1"}, {"at": 5, "word": "2", "key": "rest/0", "copy": True}]
    path = tmp_path / "m.json"
    path.write_text(json.dumps(manifest(words={"control": rows, "entry": [{"at": 0, "word": "3"}]})))
    recorded, findings = read_recorded(path)
    assert not findings and recorded is not None
    assert recorded.addresses == {"control": {"fetch/0": (3, 9), "fetch/1": (4,), "rest/0": (5,)}}
    assert recorded.words == {"control": {9: 1, 3: 1, 4: 2, 5: 2}, "entry": {0: 3}}
    build, _ = read_manifest(path)
    assert build is not None and set(build.sites["control"]) == {9} and build.sites["entry"] == {}


def test_a_chip_of_bytes_has_no_sum_of_words(tmp_path: Path) -> None:
    data = manifest()
    del data["chips"][0]["word_sum"]
    (tmp_path / "m.json").write_text(json.dumps(data))
    build, _ = read_manifest(tmp_path / "m.json")
    assert build is not None and build.chips["U1"].sums.word_sum is None


def test_no_manifest_and_none_that_can_be_read(tmp_path: Path) -> None:
    path = tmp_path / "m.json"
    assert read_recorded(path) == (None, []) and read_manifest(path) == (None, [])
    path.mkdir()
    recorded, (finding,) = read_recorded(path)
    assert recorded is None and finding.message.endswith(": Is a directory")
    path.rmdir()
    path.write_text("[" * 100_000 + "]" * 100_000)
    recorded, (finding,) = read_recorded(path)
    assert recorded is None and finding.message.endswith(": it is nested too deeply")


def test_a_directory_is_known_by_the_beginning_of_its_manifest(tmp_path: Path) -> None:
    """Also where the rest is cut off; not by that of another machine, nor by files that would stand elsewhere."""
    head = (f'{{"format":"{MANIFEST_FORMAT}", "version":1, "made_by":"x", "files":["U1.bin","U2.bin"], '
            '"machine":{"name":"m"')
    assert earlier_files(tmp_path, "m") is None
    (tmp_path / "m.json").write_text(head)
    assert earlier_files(tmp_path, "m") == {"U1.bin", "U2.bin", "m.json"}
    assert earlier_files(tmp_path, "n") is None
    for old, new in (('"m"', '"n"'), ("U2.bin", "../U2.bin"), ("U2.bin", ""), (MANIFEST_FORMAT, "a build"),
                     ("[", "[3,")):
        (tmp_path / "m.json").write_text(head.replace(old, new))
        assert earlier_files(tmp_path, "m") is None
