"""The manifest: against its published schema, and read back."""

import copy
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from ordain.rom.assemble import record
from ordain.rom.recorded import earlier_files, read_manifest, read_recorded
from ordain.show.manifest import manifest_text
from tests.show.builds import windmill

SCHEMA = json.loads((Path(__file__).parents[2] / "docs" / "manifest.schema.json").read_text())
FILES = ["U1.bin", "U2.bin", "U3.bin", "labels.svg", "windmill.lst", "windmill.json"]


@pytest.fixture
def text() -> str:
    return manifest_text(windmill(), FILES)


def valid(data: Any) -> bool:
    return jsonschema.Draft202012Validator(SCHEMA).is_valid(data)


def test_the_schema_is_one_and_the_manifest_keeps_to_it(text: str) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(text))


@pytest.mark.parametrize("damage", [
    lambda data: data.pop("chips"), lambda data: data.update(version=2), lambda data: data.update(other=1),
    lambda data: data["chips"][0].update(crc32="12"), lambda data: data["words"]["control"][0].update(at=-1),
    lambda data: data["words"]["control"][0].update(word="0xff"), lambda data: data["files"].append("../x"),
    lambda data: data["chips"][0]["files"].update(exe="x"), lambda data: data["sources"][0].pop("sha256"),
])
def test_the_schema_refuses_what_is_wrong(damage: Any, text: str) -> None:
    data = json.loads(text)
    damage(data)
    assert not valid(data)


def test_it_is_the_same_every_time_and_has_a_line_for_each_thing(text: str) -> None:
    assert list(json.loads(text)) == list(SCHEMA["properties"]), "and in the order of the schema"
    assert text == manifest_text(windmill(), reversed(FILES)), "the same bytes every time"
    assert text.count("\n") >= 4 + 2 + 3 + 2 + 1 + 6 + 6


def test_what_stands_in_it(text: str) -> None:
    data = json.loads(text)
    assert data["machine"] == {"name": "windmill", "title": "pumps & grinds <slowly>"}
    assert data["sources"][1] == {"file": "windmill.micro", "sha256": "b" * 64}
    assert data["instructions"] == [
        {"title": "TURN {n}", "opcodes": [3, 4], "store": "control", "starts": [16], "words": 1}]
    assert {"name": "furl.set", "store": "control", "addresses": [4, 9]} in data["labels"]
    control = {row["at"]: row for row in data["words"]["control"]}
    assert control[0] == {"at": 0, "word": f"{0b01_01001_0_000_0:03x}", "key": "furl/0", "owner": "furl",
                          "label": "top", "orders": ["brake", "goto set"], "open": "00e", "place": "windmill.micro:2"}
    assert control[4]["copy"] == "the pair of furl" and "label" not in control[4] and "copy" not in control[9]
    assert control[9]["orders"] == ["sail 5", 'a "quoted" é word']
    assert data["words"]["entry"][0] == {"at": 3, "word": "10", "orders": ["TURN {n}"], "place": "windmill.micro:4"}
    chips = {chip["name"]: chip for chip in data["chips"]}
    assert "word_sum" in chips["U3"] and "word_sum" not in chips["U1"] and chips["U2"]["technology"] == "once"
    assert chips["U1"]["files"] == {"bin": "U1.bin"}


def test_reading_it_back(text: str, tmp_path: Path) -> None:
    path = tmp_path / "windmill.json"
    path.write_text(text)
    build = windmill()
    read, findings = read_manifest(path)
    assert read is not None and findings == []
    assert read.placed == record(build.program, build.placement), "the place of the label first, its copies after it"
    assert read.placed.addresses["control"]["furl/1"] == (9, 4)
    assert read.labels == build.contents.labels
    assert list(read.chips.values()) == list(build.chips)
    assert read.files == frozenset(FILES) and read.machine == "windmill"
    assert read.sources == {"windmill.machine": "a" * 64, "windmill.micro": "b" * 64}
    for address, site in build.contents.sites["control"].items():
        assert read.sites["control"][address] == site._replace(span=None, word=-1, name="")
        assert site.span is not None
        assert read.places["control"][address] == f"windmill.micro:{site.span.line}"
    assert earlier_files(tmp_path, "windmill") == frozenset(FILES)


def test_no_manifest_is_no_finding(tmp_path: Path) -> None:
    assert read_recorded(tmp_path / "windmill.json") == (None, [])
    assert earlier_files(tmp_path, "windmill") is None


def test_a_cut_off_manifest_is_a_warning_and_still_names_its_files(text: str, tmp_path: Path) -> None:
    path = tmp_path / "windmill.json"
    for length in range(0, len(text) - 2, 7):
        path.write_text(text[:length])
        recorded, (finding,) = read_recorded(path)
        assert recorded is None and finding.name == "damaged-record" and finding.severity.value == "warning"
    path.write_text(text[:len(text) // 2])
    assert earlier_files(tmp_path, "windmill") == frozenset(FILES)
    assert earlier_files(tmp_path, "treadmill") is None


def test_any_damaged_value_is_a_warning_never_a_crash(text: str, tmp_path: Path) -> None:
    path = tmp_path / "windmill.json"
    whole = json.loads(text)
    spoilt = 0
    for where in places_in(whole):
        for value in (None, True, -1, 1.5, "", "zz", [], {}, [[]], 1 << 80):
            data = copy.deepcopy(whole)
            inside = data
            for key in where[:-1]:
                inside = inside[key]
            inside[where[-1]] = value
            path.write_text(json.dumps(data))
            build, findings = read_manifest(path)
            assert (build is None) == (len(findings) == 1)
            spoilt += build is None
    assert spoilt > 500


def places_in(data: Any) -> list[tuple[Any, ...]]:
    """The ways to every value, of lists only the first two entries."""
    found: list[tuple[Any, ...]] = []
    pending: list[tuple[tuple[Any, ...], Any]] = [((), data)]
    while pending:
        way, value = pending.pop()
        inner = list(value.items()) if isinstance(value, dict) else list(enumerate(value))[:2] if isinstance(
            value, list) else []
        for key, part in inner:
            found.append((*way, key))
            pending.append(((*way, key), part))
    return found


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"[]", b"null", b"[" * 100_000, b'{"format":"other"}', b"\0"])
def test_no_manifest_at_all_is_a_warning(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "windmill.json"
    path.write_bytes(content)
    build, (finding,) = read_manifest(path)
    assert build is None and finding.name == "damaged-record" and finding.help
    assert earlier_files(tmp_path, "windmill") is None


def test_a_directory_of_that_name_is_a_warning(tmp_path: Path) -> None:
    (tmp_path / "windmill.json").mkdir()
    assert read_recorded(tmp_path / "windmill.json")[0] is None
    assert earlier_files(tmp_path, "windmill") is None


def test_the_place_of_a_page_that_names_files_outside_is_not_believed(text: str, tmp_path: Path) -> None:
    (tmp_path / "windmill.json").write_text(text.replace('"labels.svg"', '"../labels.svg"'))
    assert earlier_files(tmp_path, "windmill") is None
