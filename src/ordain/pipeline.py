"""The passes in their order: the only place where they meet.

Machine file -> machine -> microprogram -> placed words -> images -> contents (`build_model`), and from there the files
of a build, checked by reading them back, all or none (`publish_build`).
"""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from ordain.language.machine_file import parse_machine, read_machine, shown_name
from ordain.language.micro_file import parse_microprogram, read_microprogram
from ordain.language.tree import MachineFile, MicroFile, SourceFile, Text
from ordain.machine.model import Machine
from ordain.machine.redrawn import redrawn
from ordain.machine.resolve import resolve
from ordain.microprogram.astray import astray
from ordain.microprogram.compile import compile_program
from ordain.microprogram.dispatching import dispatches
from ordain.microprogram.held import broken_transfers
from ordain.microprogram.model import Program
from ordain.microprogram.strays import strays
from ordain.placement.model import Placement, Recorded
from ordain.placement.place import place
from ordain.rom.assemble import make_contents, stored_words, word_keys
from ordain.rom.contents import ChipRecord, Contents, ImageFile, Stored
from ordain.rom.formats import Format, device_of, read_image, write_image
from ordain.rom.images import pack
from ordain.rom.publish import publish
from ordain.rom.readback import ReadbackFault, read_as_compiled
from ordain.rom.recorded import earlier_files, read_recorded
from ordain.rom.sums import sums_of
from ordain.show.labels import ONE_OF_EACH, Sheet, labels_svg
from ordain.show.listing import listing_text
from ordain.show.manifest import build_data, manifest_text
from ordain.text.findings import Finding, has_errors


class Built(NamedTuple):
    """One build in memory. `stored`: what was compiled; `images`: what the chips hold of it; `contents`: what they give
    back, for the prover."""

    machine: Machine
    program: Program
    placement: Placement
    stored: dict[str, Stored]
    images: dict[str, bytes]
    contents: Contents
    sources: tuple[SourceFile, ...]


Arrange = Callable[[Machine, Program, Recorded | None], tuple[Placement | None, list[Finding]]]
"""Finds a place for every word."""


def build_model(path: Path, out: Path | None = None, arrange: Arrange = place) -> tuple[Built | None, list[Finding]]:
    """Everything from the machine file at `path` to the contents of its chips; None when a finding is an error.

    Words keep the addresses that they have in the build in directory `out`, where there is one.
    """
    file, findings = read_machine(path)
    return _build(file, findings, lambda files: read_microprogram(path.parent, files), out, arrange)


def build_texts(texts: Mapping[str, str], main: str, out: Path | None = None) -> tuple[Built | None, list[Finding]]:
    """The same from texts by file name, of which `main` is the machine file: an older revision."""
    file, findings = parse_machine(texts, main)
    return _build(file, findings, lambda files: parse_microprogram(texts, [shown_name(each)[0] for each in files]), out)


Reader = Callable[[tuple[Text, ...]], tuple[MicroFile | None, list[Finding]]]
"""Reads the files that a machine names as its microprogram."""


def _build(file: MachineFile | None, findings: list[Finding], read: Reader, out: Path | None,
           arrange: Arrange = place) -> tuple[Built | None, list[Finding]]:
    if file is None:
        return None, findings
    machine, more = resolve(file, findings)
    findings += more
    if machine is None:
        return None, findings
    texts, more = read(machine.microprogram)
    findings += more
    if texts is None:
        return None, findings
    drawn = redrawn(machine)
    program, more = compile_program(drawn, texts, findings)
    findings += more
    if program is None or has_errors(findings):
        return None, findings
    recorded, more = (None, []) if out is None else read_recorded(out / f"{machine.name}.json")
    findings += more
    placement, more = arrange(drawn, program, recorded)
    findings += more
    if placement is None or has_errors(findings):
        return None, findings
    finished = placement.addresses, placement.words, placement.unused
    findings += [*broken_transfers(machine, program, *finished), *astray(drawn, program, *finished)]
    if has_errors(findings):
        return None, findings
    stored = stored_words(machine, placement)
    images = pack(machine, stored)
    contents = make_contents(machine, program, placement, stored, images,
                             strays(drawn, program, placement.addresses, placement.words),
                             dispatches(drawn, program, placement.addresses, placement.words))
    return Built(machine, program, placement, stored, images, contents, (*file.sources, *texts.sources)), findings


# ---------------------------------------------------------------- the files


def build_files(built: Built, formats: Sequence[Format], machine_tables: str,
                sheet: Sheet = ONE_OF_EACH) -> dict[str, bytes]:
    """The content of every file of the build by name: images, listing, manifest, labels."""
    machine = built.machine
    files: dict[str, bytes] = {}
    chips = []
    for chip in machine.chips.values():
        names = tuple(ImageFile(form, f"{chip.name}.{form}") for form in formats)
        for form, name in zip(formats, names):
            files[name.name] = write_image(form, built.images[chip.name], device_of(chip), machine.name)
        chips.append(ChipRecord(chip.name, chip.words, chip.bits, chip.erased, chip.technology,
                                sums_of(built.images[chip.name], chip.bits), names))
    data = build_data(built.contents, built.program, built.placement, built.sources, chips, word_keys(built.program))
    files[f"{machine.name}.lst"] = listing_text(data, machine_tables).encode()
    if chips:
        files["labels.svg"] = labels_svg(machine, chips, built.sources, sheet).encode()
    manifest = f"{machine.name}.json"
    files[manifest] = manifest_text(data, [*files, manifest]).encode()
    return files


def publish_build(built: Built, out: Path, files: dict[str, bytes], formats: Sequence[Format]) -> None:
    """Write the files into `out`, all or none, after every image has been read back from the disk and compared.

    Raises OSError when that cannot be (see `rom.publish`), ReadbackFault when we have made a mistake."""
    publish(out, files, lambda place: earlier_files(place, built.machine.name),
            lambda place: check_files(built, place, formats))


def check_files(built: Built, place: Path, formats: Sequence[Format]) -> None:
    """Raise ReadbackFault unless the image files in `place` give back the compiled words, format by format."""
    for form in formats:
        images = {}
        for chip in built.machine.chips.values():
            name = f"{chip.name}.{form}"
            image, findings = read_image(form, (place / name).read_bytes(), name, device_of(chip))
            if image is None:
                raise ReadbackFault(findings[0].message)
            images[chip.name] = image
        read_as_compiled(built.machine, built.stored, images)
