"""`ordain build`: from a machine file to chip images that have been read back."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_argument,
    print_json,
    print_other_format,
    say,
    speaks,
    tell_findings,
)
from ordain.cli.progress import BUILDING, waiting
from ordain.text.findings import Finding, has_errors

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from ordain.pipeline import Built
    from ordain.placement.fewest import Fewest


@click.command("build")
@machine_argument
@build_option
@click.option("--also", "also", multiple=True, type=click.Choice(["hex", "s19", "mem"]),
              help="A further kind of image file beside the raw one: Intel HEX, S-record, $readmemh. May be repeated.")
@click.option("--date", default="", metavar="TEXT", help="Text printed on the labels as the date.")
@click.option("--copies", default=1, metavar="N", type=click.IntRange(1, 50), help="Print each label N times.")
@click.option("--paper", default="a4", type=click.Choice(["a4", "letter"]), help="Paper for the labels.")
@click.option("--advice", "advised", is_flag=True,
              help="Also say what could be shared, what is not used, what is left; never an error.")
@click.option("--touch-fewest", is_flag=True, help="Place words so that the fewest of the chips in the sockets (see "
              "`ordain burned`) have to be burned, and of these the fewest erased.")
@speaks("text", "json", "sarif", "github")
def command(machine: Path | None, also: tuple[str, ...], date: str, copies: int, paper: str, advised: bool,
            touch_fewest: bool, form: str, quiet: bool, colour: str) -> int:
    """Compile MACHINE and its microprogram into chip images, a listing, a manifest and labels.

    Every image is read back from the disk and compared before the build counts. Nothing is written when there is an
    error; all files appear together or not at all.
    """
    from ordain.checks.run import static_pass
    from ordain.machine.print import machine_lines
    from ordain.pipeline import build_model
    from ordain.publishing import build_files, publish_build
    from ordain.rom.formats import FORMATS
    from ordain.show.labels import Sheet

    path = find_machine(machine)
    place = build_directory(path)
    manner = Manner(form, quiet, colour)
    told: list[Fewest] = []
    with waiting(quiet, BUILDING):
        built, findings = _touching_fewest(path, place, told) if touch_fewest else build_model(path, place)
    if built is None:
        return _end(manner, path, findings, None, place)
    static = static_pass(built.contents)
    findings = [*findings, *static]
    if has_errors(findings):
        return _end(manner, path, findings, None, place, static=static)
    formats = [kind for kind in FORMATS if kind == "bin" or kind in also]
    earlier = _earlier_images(place, built)
    files = build_files(built, formats, "\n".join(machine_lines(built.machine)),
                        Sheet(date_of_sources(date), copies, paper))
    publish_build(built, place, files, formats)
    if advised:
        from ordain.cli.advising import advice_of

        findings = [*findings, *advice_of(built)]
    return _end(manner, path, findings, built, place, files, told, earlier, static)


def _earlier_images(place: Path, built: "Built") -> dict[str, bytes]:
    """What the build directory holds of the chips before it is written to."""
    found = {}
    for chip in built.images:
        try:
            found[chip] = (place / f"{chip}.bin").read_bytes()
        except OSError:
            continue
    return found


def _touching_fewest(path: Path, place: Path, told: "list[Fewest]") -> "tuple[Built | None, list[Finding]]":
    """Build against what is in the sockets. Raises click.UsageError when nothing was ever recorded."""
    from ordain.cli.versions import images_in_sockets
    from ordain.pipeline import build_model
    from ordain.sockets import touching_fewest

    _, images, findings = images_in_sockets(path)
    if has_errors(findings):
        return None, findings
    built, more = build_model(path, place, touching_fewest(images, told.append))
    return built, [*findings, *more]


def date_of_sources(given: str) -> str:
    """The date for the stickers: the one given, else SOURCE_DATE_EPOCH (reproducible-builds.org) as YYYY-MM-DD, else
    nothing. Never today's, nor that of a commit: a build of the same sources is the same on every day and machine."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if given or not epoch.isdecimal():
        return given
    from datetime import UTC, datetime

    return datetime.fromtimestamp(int(epoch), UTC).strftime("%Y-%m-%d")


def _end(manner: Manner, path: Path, findings: list[Finding], built: "Built | None", place: Path,
         files: dict[str, bytes] | None = None, told: "Sequence[Fewest]" = (),
         earlier: "Mapping[str, bytes] | None" = None, static: "Sequence[Finding]" = ()) -> int:
    status = exit_status(findings)
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        print_json({
            "command": "build", "status": status, "findings": [finding_data(finding) for finding in findings],
            "out": str(place) if files else None, "files": sorted(files or ()),
            **({"touched": _touched_data(told[0])} if told else {}),
        })
        return status
    if manner.format != "text":
        print_other_format(manner.format, findings, beside=path)
        return status
    tell_findings(findings, manner, beside=path, static=static)
    if built is None or files is None:
        say(manner, f"nothing was written{'; the earlier build is as it was' if place.is_dir() else ''}")
        return status
    for line in _what_was_built(built, place, files, earlier or {}):
        say(manner, line)
    for found in told:
        say(manner, _touched_line(found))
    return status


def _touched_line(found: "Fewest") -> str:
    """What the search for the fewest chips has come to."""
    burns, erasures = found.touched.cost
    if not burns:
        return "touched: no chip, the sockets hold this build"
    plain = "the usual placement needs as many" if found.plain.cost == found.touched.cost else (
        f"the usual placement: {found.plain.cost[0]}, {found.plain.cost[1]} after erasing")
    bound = "no placement needs fewer" if found.exact else f"every placement needs at least {found.at_least}"
    after = "all" if erasures == burns else str(erasures)
    chips = f"{burns} chip{'s' if burns != 1 else ''} ({' '.join(sorted(found.touched.burned))})"
    return f"to burn: {chips}, {after} after erasing; {bound}; {plain}"


def _touched_data(found: "Fewest") -> dict[str, Any]:
    return {"burn": sorted(found.touched.burned), "erase": sorted(found.touched.erased),
            "plain_burn": sorted(found.plain.burned), "plain_erase": sorted(found.plain.erased),
            "at_least": found.at_least, "exact": found.exact}


def _what_was_built(built: "Built", place: Path, files: dict[str, bytes], earlier: "Mapping[str, bytes]") -> list[str]:
    """How much it is, and which images are not those of the last build, as far as that is still there."""
    from ordain.rom.sums import sums_of

    machine = built.machine
    sizes = [f"{_many(len(sites), 'word' if machine.stores[store].fill == 'microprogram' else 'row')} of {store}"
             for store, sites in built.contents.sites.items() if sites]
    titles = {use.title for use in built.program.opcodes}
    said = (f"{_many(len(titles), 'instruction')} in " if titles else "") + ", ".join(sizes)
    wrote = f"wrote {_many(len(files), 'file')} to {place}{os.sep}"
    if earlier:
        changed = [f"{chip} (sum {sums_of(earlier[chip], 8).sum16:04X} -> {sums_of(image, 8).sum16:04X})"
                   if chip in earlier else f"{chip} (new)"
                   for chip, image in built.images.items() if earlier.get(chip) != image]
        wrote += f"; not as in the last build: {', '.join(changed)}" if changed else "; all images as in the last build"
    images = f"{_many(len(built.images), 'image')} read back and compared"
    return [f"{machine.name}: {said}; {images}" if built.images else f"{machine.name}: {said}; no chips", wrote]


def _many(count: int, what: str) -> str:
    return f"{count} {what}" + ("s" if count != 1 else "")
