"""From source files to published files, and back to the words of the source."""

import json
import os
import re
import shutil
from collections.abc import Sequence
from pathlib import Path

import pytest

from ordain.language.micro_file import parse_microprogram
from ordain.microprogram.compile import compile_program
from ordain.pipeline import Built, build_model, build_texts
from ordain.placement.place import place
from ordain.publishing import build_files, check_files, publish_build
from ordain.rom.assemble import record
from ordain.rom.decode import decode, read_dumps
from ordain.rom.formats import FORMATS, Format
from ordain.rom.publish import PublishRefused
from ordain.rom.readback import ReadbackFault
from ordain.text.findings import Severity, has_errors

ROOT = Path(__file__).parent.parent
MACHINES = sorted([*ROOT.glob("microcode/*.machine"), *ROOT.glob("examples/*/*.machine")])
MAINS = [path for path in MACHINES if any(line.startswith("machine ") for line in path.read_text().splitlines())]


def built_from(path: Path, out: Path | None = None) -> Built:
    built, findings = build_model(path, out)
    assert built is not None and not has_errors(findings), [(found.message, str(found.span)) for found in findings]
    return built


def publish_all(path: Path, out: Path, formats: Sequence[Format] = FORMATS) -> Built:
    built = built_from(path, out)
    publish_build(built, out, build_files(built, formats, ""), formats)
    return built


def content(place: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in place.iterdir()}


@pytest.fixture
def loom(tmp_path: Path) -> Path:
    """A copy of heron's sources that a test may change."""
    shutil.copytree(ROOT / "microcode", tmp_path / "microcode", ignore=shutil.ignore_patterns("build"))
    return tmp_path / "microcode" / "heron.machine"


@pytest.mark.parametrize("path", MAINS, ids=lambda path: path.stem)
def test_every_machine_of_ours_builds_the_same_bytes_twice(path: Path, tmp_path: Path) -> None:
    built = publish_all(path, tmp_path / "one")
    publish_all(path, tmp_path / "two")
    files = content(tmp_path / "one")
    assert files == content(tmp_path / "two")
    manifest = json.loads(files[f"{built.machine.name}.json"])
    assert sorted(files) == manifest["files"]
    assert not any(os.fsencode(tmp_path) in data or b"/work" in data for data in files.values())
    publish_all(path, tmp_path / "one")
    assert content(tmp_path / "one") == files, "built again over itself"
    for form in FORMATS if built.machine.chips else ():
        dumps, findings = read_dumps([(chip, tmp_path / "one" / f"{chip}.{form}") for chip in built.machine.chips],
                                     built.machine)
        assert dumps == built.images and findings == []


PLAIN = [path for path in MAINS if not re.search(r"^    instruction ", path.read_text(), re.MULTILINE)]
"""Those without instruction and step addressing: words in `when` arms have no place in a plain body."""


@pytest.mark.parametrize("path", PLAIN, ids=lambda path: path.stem)
def test_decoded_words_compile_to_the_same_words(path: Path) -> None:
    """The microprogram is written anew from what `decode` makes of the images, and compiled."""
    built = built_from(path)
    decoded = decode(built.contents, built.stored, built.images, built.images)
    texts = {(word.store, word.address): ", ".join(word.orders) for word in decoded.words}
    again = compiled_again(built, texts)
    for store in built.machine.stores.values():
        if store.fill == "microprogram" and (store.name, min(built.stored[store.name].words)) in texts:
            for address, word in built.stored[store.name].words.items():
                site = built.contents.sites[store.name][address]
                assert (again[store.name][address] ^ word) & ~site.open == 0, (site.text, texts[store.name, address])


def compiled_again(built: Built, texts: dict[tuple[str, int], str]) -> dict[str, dict[int, int]]:
    """The words, at the same addresses, of a microprogram with the same bodies and labels and these texts."""
    source, findings = parse_microprogram({"again.micro": source_with(built, texts)}, ["again.micro"])
    assert source is not None and not has_errors(findings), findings
    program, findings = compile_program(built.machine, source)
    assert program is not None, [(found.message, found.span and found.span.text) for found in findings]
    placement, more = place(built.machine, program, record(built.program, built.placement))
    assert placement is not None, [found.message for found in more]
    return placement.words


def source_with(built: Built, texts: dict[tuple[str, int], str]) -> str:
    program, placement = built.program, built.placement
    opcodes: dict[str, list[str]] = {}
    for use in program.opcodes:
        opcodes.setdefault(use.title, []).append("others" if use.others else f"{use.opcode:#x}")
    lines = []
    for body in program.bodies:
        fixed = program.words[body.first].fixed
        where = f" at {fixed[0]:#x}" if fixed else ""
        if body.kind == "instruction":
            of = "others" if "others" in opcodes[body.name] else ", ".join(opcodes[body.name])
            lines.append(f'instruction {of} "{body.name}"{where}')
        else:
            store = f" in {body.store}" if body.kind == "routine" else ""
            lines.append(f"{body.kind} {body.name}{store}{where}")
        for index in range(body.first, body.end):
            label = "".join(f"{name}: " for name in program.words[index].labels)
            text = texts.get((body.store, placement.addresses[index][0])) or program.words[index].text
            lines.append(f"    {label}{text}")
    maps: dict[str, list[str]] = {}
    for entry in program.entries:
        if built.machine.stores[entry.store].fill == "map":
            maps.setdefault(entry.store, []).append(f"    {entry.address:#x}: {entry.target}")
    return "\n".join([*lines, *(line for name, rows in maps.items() for line in (f"map {name}", *rows))]) + "\n"


def test_a_damaged_image_on_the_disk_is_found_and_nothing_published(loom: Path, tmp_path: Path) -> None:
    built = built_from(loom)
    for form in FORMATS:
        files = build_files(built, [form], "")
        name = f"{next(iter(built.machine.chips))}.{form}"
        digit = len(files[name]) // 2
        damaged = files | {name: files[name][:digit] + bytes((files[name][digit] ^ 1,)) + files[name][digit + 1:]}
        with pytest.raises(ReadbackFault):
            publish_build(built, tmp_path / "out", damaged, [form])
        assert not (tmp_path / "out").exists()
        publish_build(built, tmp_path / "out", files, [form])
        check_files(built, tmp_path / "out", [form])
        shutil.rmtree(tmp_path / "out")


def test_a_small_change_moves_little(loom: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    before = publish_all(loom, out)
    flow = loom.parent / "flow.micro"
    flow.write_text(flow.read_text() + '\nroutine added_at_the_end\n        goto fetch\n')
    after = publish_all(loom, out)
    old, new = before.stored["control"].words, after.stored["control"].words
    assert len(new) == len(old) + 1
    assert {address: word for address, word in new.items() if address in old} == dict(old)


def test_a_damaged_record_is_a_warning_and_the_build_goes_on(loom: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    publish_all(loom, out)
    whole = content(out)
    (out / "heron.json").write_bytes(whole["heron.json"][:5000])
    built, findings = build_model(loom, out)
    assert built is not None and [finding.name for finding in findings if finding.name == "damaged-record"]
    publish_build(built, out, build_files(built, FORMATS, ""), FORMATS)
    assert content(out) == whole


def test_a_build_of_another_machine_is_not_replaced(loom: Path, tmp_path: Path) -> None:
    other = next(path for path in MAINS if path.stem != "heron")
    publish_all(other, tmp_path / "out")
    before = content(tmp_path / "out")
    with pytest.raises(PublishRefused):
        publish_all(loom, tmp_path / "out")
    assert content(tmp_path / "out") == before


def test_with_an_error_there_is_no_build(loom: Path) -> None:
    flow = loom.parent / "flow.micro"
    flow.write_text(flow.read_text() + "\nroutine wrong\n        no such order\n")
    built, findings = build_model(loom)
    assert built is None and has_errors(findings)
    built, (finding,) = build_model(loom.parent / "absent.machine")
    assert built is None and finding.name == "missing-file"


MACHINE = """\
machine small "one register"
microprogram "small.micro"
store control 4 words of 4 bits
    address upc
field target 2 bits address, idle 0
field load 1 bit
field out 1 bit
state upc 2 bits, reset 0
    next target
register acc 8 bits
    loads data when load
bus data 8 bits, floats
    driven by acc when out
    sampled by acc when load
home first
order go <there> : target <there>
"""
MICRO = """\
routine first at 0
        acc <- acc, go first
"""


@pytest.mark.parametrize(("machine", "micro", "names"), [
    (MACHINE, MICRO, []),
    (MACHINE.replace("field load 1 bit", "field load 1 bitt"), MICRO, ["syntax"]),
    (MACHINE.replace("state upc 2 bits, reset 0", "state upc 2 bits; reset 0"), MICRO, ["syntax"]),
    (MACHINE.replace("order go <there> :", "order go <there> ;"), MICRO, ["syntax"]),
    (MACHINE, MICRO.replace("routine first at 0", "routine first att 0"), ["syntax"]),
])
def test_a_line_that_cannot_be_read_is_told_once_whatever_was_declared_in_it(
        machine: str, micro: str, names: list[str]) -> None:
    _, findings = build_texts({"small.machine": machine, "small.micro": micro}, "small.machine")
    assert [finding.name for finding in findings if finding.severity is not Severity.NOTE] == names
