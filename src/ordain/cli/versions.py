"""What `ordain compare` compares: working files, an older revision, a build directory, what is in the sockets."""

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import click

from ordain.cli.manner import find_machine
from ordain.machine.model import Chip
from ordain.pipeline import Built
from ordain.rom.contents import Contents, ImageFile
from ordain.rom.formats import FORMATS, DeviceShape, device_of, read_image
from ordain.rom.ledger import Burn
from ordain.rom.recorded import EarlierBuild
from ordain.text.findings import Finding, Severity, has_errors

BURNED = "burned"


class Version(NamedTuple):
    """`called`: what it is called in the report. `contents` None: not enough is known to say how it behaves.
    `images`: by chip, as far as known. `built`: the compiled build, where these contents are exactly its own.
    `remarks`: what people must know to read the comparison."""

    called: str
    machine_chips: dict[str, Chip]
    contents: Contents | None
    images: dict[str, bytes]
    built: Built | None
    remarks: tuple[str, ...]


def version_of(given: str, machine: Path, out: Path) -> tuple[Version | None, list[Finding]]:
    """The version that `given` names: `burned`, a machine file, a directory, a manifest, or a git revision. What is to
    be said about its texts is said only where they give no build: `ordain build` is the place for the rest.

    Raises click.UsageError when it is none of these."""
    path = Path(given)
    if given == BURNED:
        return burned_version(machine, out)
    if path.is_dir():
        manifests = _manifests(path)
        if len(manifests) == 1:
            return directory_version(manifests[0], machine)
        if manifests:
            raise click.UsageError(f"`{given}` has the manifests of {len(manifests)} builds; name one of them")
        found = find_machine(path)
        return working_version(found, found.parent / "build", given)
    if path.is_file():
        return directory_version(path, machine) if path.suffix == ".json" else working_version(path, out, given)
    return revision_version(given, machine, out)


def sources_named(given: str) -> Path | None:
    """The machine file that `given` names, itself or by its directory; None where it names anything else."""
    path = Path(given)
    if given == BURNED or path.suffix == ".json" or (path.is_dir() and _manifests(path)):
        return None
    return find_machine(path) if path.is_dir() else path if path.is_file() else None


def working_version(path: Path, out: Path, called: str) -> tuple[Version | None, list[Finding]]:
    """The files as they are on the disk."""
    from ordain.pipeline import build_model

    built, findings = build_model(path, out)
    return (None, findings) if built is None else (_of_build(built, called, ()), [])


def _of_build(built: Built, called: str, remarks: tuple[str, ...]) -> Version:
    return Version(called, built.machine.chips, built.contents, built.images, built, remarks)


# ---------------------------------------------------------------- an older revision


def revision_version(given: str, machine: Path, out: Path) -> tuple[Version | None, list[Finding]]:
    """The sources as a git revision has them, built as they would be built now. Raises click.UsageError."""
    from ordain.cli.revisions import GitFailed, RevisionFiles, Texts, find_revision
    from ordain.pipeline import build_texts

    try:
        revision = find_revision(given, machine.parent)
        files = RevisionFiles(revision)
        main = machine.name
        if main not in files:
            found = files.machines()
            if len(found) != 1:
                told = ", ".join(found) or "none"
                raise click.UsageError(f"revision `{given}` has no `{main}` beside it (machine files there: {told})")
            main = found[0]
    except GitFailed as failure:
        raise click.UsageError(f"`{given}` is no file or directory here, and no revision: {failure}") from failure
    built, findings = build_texts(Texts(files), main, out)
    if built is None:
        return None, findings
    remark = "" if not built.machine.chips else (
        f"old images: rebuilt from {given}, not read from the sockets (`ordain compare burned` does that)")
    return _of_build(built, given, (remark,) if remark else ()), []


# ---------------------------------------------------------------- images that were written or burned


def directory_version(manifest: Path, machine: Path) -> tuple[Version | None, list[Finding]]:
    """A build directory by its manifest."""
    from ordain.rom.recorded import read_manifest

    made, findings = read_manifest(manifest)
    if made is None:
        if not findings:
            raise click.UsageError(f"there is no manifest `{manifest}`")
        return None, [finding._replace(severity=Severity.ERROR, help="build it again, or compare with a git revision")
                      for finding in findings]
    images: dict[str, bytes] = {}
    remarks: list[str] = []
    called = str(manifest.parent) if len(_manifests(manifest.parent)) == 1 else str(manifest)
    base, faults = _sources_of(made.sources, machine, manifest.parent)
    if base is None:
        return None, faults
    if dict(base.sources) != made.sources:
        remarks.append(f"the sources of {called} are neither here nor in the history; its images are read by the "
                       "description that the files have now")
    for chip in made.chips.values():
        known = base.machine.chips.get(chip.name)
        image = None if known is None else _image(manifest.parent, chip.files, device_of(known))
        if image is None or hashlib.sha256(image).hexdigest() != chip.sums.sha256:
            remarks.append(f"the image of {chip.name} in {called} is not there or not what the manifest says")
        else:
            images[chip.name] = image
    return _with_images(base, called, images, made, tuple(remarks)), findings


def burned_version(machine: Path, out: Path) -> tuple[Version | None, list[Finding]]:
    """What the ledger says is in the sockets. Raises click.UsageError when nothing was ever recorded."""
    sockets, images, findings = images_in_sockets(machine)
    if has_errors(findings):
        return None, findings
    newest = max(sockets.values(), key=lambda burn: burn.date)
    tried = [_burnt_sources(newest.revision, newest.modified, machine, recorded) for recorded in (out, None)]
    base, remarks, faults = max(tried, key=lambda one: _alike(one[0], images))
    if base is None:
        return None, faults
    missing = [name for name in base.machine.chips if name not in sockets]
    if missing:
        remarks += (f"never recorded: {', '.join(missing)}",)
    return _with_images(base, "the sockets", images, None, remarks), findings


def images_in_sockets(machine: Path) -> tuple[dict[str, Burn], dict[str, bytes], list[Finding]]:
    """What the ledger says of every chip, and its image as far as it was kept. Raises click.UsageError when nothing was
    ever recorded."""
    from ordain.cli.burned import LEDGER, STORE, machine_name
    from ordain.rom.image_store import kept_image
    from ordain.rom.ledger import in_sockets, read_ledger

    ledger, findings = read_ledger(machine.parent / LEDGER, LEDGER)
    sockets = in_sockets(ledger.burns, machine_name(machine))
    if not sockets:
        raise click.UsageError(f"nothing is recorded in `{machine.parent / LEDGER}` for this machine; record chips "
                               "with `ordain burned CHIP...` after burning them")
    images: dict[str, bytes] = {}
    for burn in sockets.values():
        image, more = kept_image(machine.parent / STORE, burn.sha256, f"{burn.chip}, burned on {burn.date[:10]}")
        findings += more
        if image is not None:
            images[burn.chip] = image
    return sockets, images, findings


_Sources = tuple[Built | None, tuple[str, ...], list[Finding]]


def _alike(built: Built | None, images: Mapping[str, bytes]) -> int:
    """How many of the images a build has, too."""
    return -1 if built is None else sum(built.images.get(name) == image for name, image in images.items())


def _burnt_sources(revision: str, modified: bool, machine: Path, out: Path | None) -> _Sources:
    """A build of the sources from which the newest chip was burned, if they can be had; else of the files here."""
    from ordain.cli.revisions import GitFailed, RevisionFiles, Texts, find_revision
    from ordain.pipeline import build_model, build_texts

    if revision:
        try:
            files = RevisionFiles(find_revision(revision, machine.parent))
            built, findings = build_texts(Texts(files), machine.name, out) if machine.name in files else (None, [])
            if built is not None and not has_errors(findings):
                remark = f"read by the description of revision {revision[:10]}" + (
                    ", to which the sources had been changed when they were burned" if modified else "")
                return built, (remark,), []
        except GitFailed:
            pass
    built, findings = build_model(machine, out)
    return built, ("the images are read by the description that the files have now",), findings


def _sources_of(sources: dict[str, str], machine: Path, out: Path) -> tuple[Built | None, list[Finding]]:
    """A build of the sources with these SHA-256, from the disk or from the history; else of the files here."""
    from ordain.cli.revisions import RevisionFiles, Texts, revision_of
    from ordain.pipeline import build_model, build_texts

    def here(name: str) -> str:
        try:
            return hashlib.sha256((machine.parent / name).read_bytes()).hexdigest()
        except OSError:
            return ""

    if any(here(name) != wanted for name, wanted in sources.items()):
        revision = revision_of(sources, machine.parent)
        main = next((name for name in sources if name.endswith(".machine")), machine.name)
        if revision is not None:
            built, findings = build_texts(Texts(RevisionFiles(revision)), main, out)
            if built is not None:
                return built, findings
    return build_model(machine, out)


def _image(directory: Path, files: tuple[ImageFile, ...], device: DeviceShape) -> bytes | None:
    """The first image file of a chip that can be read."""
    for file in files:
        try:
            content = (directory / file.name).read_bytes()
        except OSError:
            continue
        form = next((one for one in FORMATS if one == file.format), None)
        if form is None:
            continue
        image, _ = read_image(form, content, file.name, device)
        if image is not None:
            return image
    return None


def _with_images(base: Built, called: str, images: Mapping[str, bytes], made: EarlierBuild | None,
                 remarks: tuple[str, ...]) -> Version:
    """The version whose chips hold `images`, as the sources of `base` describe the machine."""
    chips = base.machine.chips
    fitting = {name: image for name, image in images.items() if name in chips
               and len(image) == len(base.images[name])}
    if fitting == base.images:
        return Version(called, chips, base.contents, fitting, base, remarks)
    if len(fitting) < len(chips):
        return Version(called, chips, None, fitting, None, remarks)
    return Version(called, chips, read_contents(base, fitting, made), fitting, None, remarks)


def read_contents(base: Built, images: Mapping[str, bytes], made: EarlierBuild | None) -> Contents:
    """What the chips hold, named by the manifest of their build if there is one, else as far as the words are those of
    `base` or can be put into its words."""
    from ordain.rom.decode import decode
    from ordain.rom.readback import unpack

    contents = base.contents
    read = unpack(base.machine, images)
    words = {}
    for name, store in base.machine.stores.items():
        known = read.known[name]
        words[name] = tuple(seen & known | there & ~known for seen, there in zip(read.words[name], contents.words[name])
                            ) if known != (1 << store.bits) - 1 else read.words[name]
    if made is not None:
        return Contents(base.machine, words, made.sites, made.labels, _routines(made))
    decoded = decode(contents, base.stored, base.images, images)
    sites = {store: dict(there) for store, there in contents.sites.items()}
    for word in decoded.words:
        site = sites[word.store].get(word.address)
        if site is not None and (word.word ^ contents.words[word.store][word.address]) & ~site.open:
            sites[word.store][word.address] = site._replace(
                text=", ".join(word.orders), orders=word.orders, span=None, open=0)
    return contents._replace(words=words, sites=sites)


def _routines(made: EarlierBuild) -> dict[str, tuple[str, frozenset[int]]]:
    found: dict[str, tuple[str, set[int]]] = {}
    for store, sites in made.sites.items():
        for address, site in sites.items():
            found.setdefault(site.owner, (store, set()))[1].add(address)
    return {owner: (store, frozenset(addresses)) for owner, (store, addresses) in found.items()}


def _manifests(directory: Path) -> list[Path]:
    """The manifests of builds in a directory."""
    return [path for path in sorted(directory.glob("*.json")) if b'"format":"ordain build"' in path.read_bytes()[:200]]
