"""The files of a build: images, listing, manifest and labels of what was built, written all or none and read back.

A module of its own, so that who writes none does not load what writes them.
"""

from collections.abc import Sequence
from pathlib import Path

from ordain.pipeline import Built
from ordain.rom.assemble import word_keys
from ordain.rom.contents import ChipRecord, ImageFile
from ordain.rom.formats import Format, device_of, read_image, write_image
from ordain.rom.publish import publish
from ordain.rom.readback import ReadbackFault, read_as_compiled
from ordain.rom.recorded import earlier_files
from ordain.rom.sums import sums_of
from ordain.show.labels import ONE_OF_EACH, Sheet, labels_svg
from ordain.show.listing import listing_text
from ordain.show.manifest import build_data, manifest_text


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
