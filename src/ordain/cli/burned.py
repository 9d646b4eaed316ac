"""`ordain burned`: what is in the sockets, and the record of what was put there."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from ordain.cli import completing
from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_option,
    page_of,
    print_json,
    say,
    show,
    speaks,
    tell_findings,
)
from ordain.text.findings import Finding, error, has_errors, note, warning

if TYPE_CHECKING:
    from ordain.rom.contents import ChipRecord
    from ordain.rom.ledger import Burn
    from ordain.rom.recorded import EarlierBuild
    from ordain.show.page import Page

LEDGER, TORN, STORE = "burned.jsonl", "burned.torn", "burned"
"""Beside the machine file: the ledger, what a repair took out of it, the images."""


class BurnSite(NamedTuple):
    """Where everything is. `machine`: its name; `build`: the directory of the build that is meant."""

    path: Path
    machine: str
    build: Path

    @property
    def home(self) -> Path:
        return self.path.parent


@click.command("burned")
@click.argument("chips", nargs=-1, metavar="[CHIP]...", shell_complete=completing.chips)
@machine_option
@build_option
@click.option("--note", default="", metavar="TEXT", help="A remark that is kept with the record.")
@click.option("--date", metavar="DATE", help="When it was burned, YYYY-MM-DD or with THH:MM:SSZ (UTC); default: now.")
@click.option("--repair", is_flag=True, help="Take lines that are no records out of the ledger, into burned.torn.")
@click.option("--restore", type=click.Path(path_type=Path), metavar="DIR",
              help="Write the images that are in the sockets into DIR, for burning them again.")
@speaks("text", "json")
def command(chips: tuple[str, ...], machine: Path | None, note: str, date: str | None,
            repair: bool, restore: Path | None, form: str, quiet: bool, colour: str) -> int:
    """Record that each CHIP now holds its image of the build; without CHIP: list what is in every socket, and which
    chips are not those of the build.

    The ledger is burned.jsonl beside the machine file; the images are kept in burned/ there. Both belong under version
    control.
    """
    if chips and (repair or restore):
        raise click.UsageError("chips are recorded, or the ledger is repaired or restored from: one at a time")
    if not chips and (note or date):
        raise click.UsageError("--note and --date are about a chip that was burned; name it")
    path = find_machine(machine)
    site = BurnSite(path, machine_name(path), build_directory(path))
    manner = Manner(form, quiet, colour)
    if repair:
        _mend(manner, site)
    if restore is not None:
        return _restore(manner, site, restore)
    findings = _record(manner, site, chips, note, _moment(date)) if chips else []
    return _list(manner, site, findings, bool(chips))


def machine_name(path: Path) -> str:
    """The machine's name as its file says it. Raises OSError."""
    text = path.read_text(encoding="utf-8", errors="replace")
    found = re.search(r"^machine[ ]+(\w+)", text, re.MULTILINE)
    if found is None:
        raise click.UsageError(f"`{path}` has no `machine NAME` line; name the file of the whole machine")
    return found[1]


def _moment(date: str | None) -> str:
    """A time in UTC as the ledger writes it. Raises click.BadParameter."""
    from datetime import UTC, datetime

    if date is None:
        return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    full = f"{date}T00:00:00Z" if re.fullmatch(r"\d{4}-\d\d-\d\d", date) else date
    try:
        if re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", full):
            datetime.fromisoformat(full)
            return full
    except ValueError:
        pass
    raise click.BadParameter(f"`{date}` is no day or time like 2026-11-25 or 2026-11-25T10:07:48Z",
                             param_hint="--date")


# ---------------------------------------------------------------- recording


def _record(manner: Manner, site: BurnSite, chips: tuple[str, ...], remark: str, date: str) -> list[Finding]:
    """Keeps the images, then adds the lines: a kill between the two leaves an image too many, never one too few."""
    from ordain.rom.image_store import keep_image
    from ordain.rom.ledger import Burn, append, in_sockets, read_ledger
    from ordain.rom.recorded import read_manifest

    manifest = site.build / f"{site.machine}.json"
    made, findings = read_manifest(manifest)
    if made is None:
        if findings:
            return [finding._replace(name="damaged-build", help="build again, burn that, and record it")
                    for finding in findings]
        raise click.UsageError(f"there is no build of {site.machine} in `{site.build}`; run `ordain build`, or name "
                               "its directory with --build")
    for chip in chips:
        if chip not in made.chips:
            raise click.BadParameter(_no_such(chip, made), param_hint="CHIP")
    wanted = [made.chips[chip] for chip in dict.fromkeys(chips)]
    images = {chip.name: _image(site.build, chip) for chip in wanted}
    damaged = [_not_its_own(chip) for chip in wanted if images[chip.name] is None]
    if damaged:
        return damaged
    changed = _changed_sources(site, made)
    revision, modified = _revision(site.home, sorted(made.sources))
    for image in images.values():
        if image is not None:
            keep_image(site.home / STORE, image)
    burns = [Burn(chip.name, chip.sums.sha256, chip.sums.crc32, chip.sums.sum16, len(images[chip.name] or b""), date,
                  revision, modified or bool(changed), site.machine, remark) for chip in wanted]
    earlier = in_sockets(read_ledger(site.home / LEDGER, LEDGER)[0].burns, site.machine)
    append(site.home / LEDGER, burns, LEDGER)
    if manner.format == "text":
        for burn in burns:
            say(manner, f"recorded: {burn.chip} holds sum {burn.sum16:04X}, CRC-32 {burn.crc32:08X}")
    return [*_about_sources(changed), *_about_dates(burns, earlier)]


def _no_such(chip: str, made: "EarlierBuild") -> str:
    from ordain.text.spelling import nearest

    near = nearest(chip, list(made.chips))
    return (f"the build of {made.machine} has no chip `{chip}`."
            + (f" Did you mean `{near}`?" if near else f" It has: {', '.join(made.chips)}"))


def _image(build: Path, chip: "ChipRecord") -> bytes | None:
    """The image that the build holds for a chip; None when it is not the one that the manifest describes."""
    import hashlib

    name = next((file.name for file in chip.files if file.format == "bin"), "")
    if not name:
        return None
    try:
        image = (build / name).read_bytes()
    except FileNotFoundError:
        return None
    return image if hashlib.sha256(image).hexdigest() == chip.sums.sha256 else None


def _not_its_own(chip: "ChipRecord") -> Finding:
    return error("damaged-build", f"the image file of {chip.name} is not the one that the build wrote; nothing was "
                 "recorded", None, help="find out which of them went into the programmer; else build again, burn that")


def _changed_sources(site: BurnSite, made: "EarlierBuild") -> list[str]:
    """The sources that are not, byte for byte, those of the build."""
    import hashlib

    def now(name: str) -> str:
        try:
            return hashlib.sha256((site.home / name).read_bytes()).hexdigest()
        except OSError:
            return ""

    return sorted(name for name, sha256 in made.sources.items() if now(name) != sha256)


def _about_sources(changed: list[str]) -> list[Finding]:
    if not changed:
        return []
    named = ", ".join(changed[:3]) + (f" and {len(changed) - 3} more" if len(changed) > 3 else "")
    return [warning("sources-changed", f"the build is not of the sources as they are now: {named} changed since; what "
                    "was recorded is what the build holds", None,
                    help="if the chip was burned from this build, all is well; else build, burn and record again")]


def _about_dates(burns: "list[Burn]", earlier: "dict[str, Burn]") -> list[Finding]:
    return [warning("earlier-date", f"{burn.chip} has a record of {earlier[burn.chip].date}, later than this one of "
                    f"{burn.date}: the later one counts", None,
                    help="set the clock of this computer, or give the day with --date, and record it again")
            for burn in burns if burn.chip in earlier and earlier[burn.chip].date > burn.date]


def _revision(directory: Path, names: list[str]) -> tuple[str, bool]:
    """The commit that is checked out, and whether the sources are changed against it; ("", False) where there is no
    git."""
    import subprocess

    def git(*arguments: str) -> str | None:
        try:
            told = subprocess.run(["git", "-C", str(directory.resolve()), *arguments], capture_output=True, text=True,
                                  check=True, timeout=10)
        except (OSError, subprocess.SubprocessError):
            return None
        return told.stdout.strip()

    revision = git("rev-parse", "--verify", "HEAD")
    if not revision:
        return "", False
    return revision, git("status", "--porcelain", "--", *names) != ""


# ---------------------------------------------------------------- mending, restoring


def _mend(manner: Manner, site: BurnSite) -> None:
    from ordain.rom.ledger import repair

    mended = repair(site.home / LEDGER, site.home / TORN)
    if manner.format != "text":
        return
    if mended.moved:
        say(manner, f"moved {len(mended.moved)} line{'s' if len(mended.moved) > 1 else ''} into {TORN}:")
        for line in mended.moved:
            say(manner, f"  {line[:100]}")
    if mended.ended:
        say(manner, "the last line has its end now")
    if not mended.moved and not mended.ended:
        say(manner, "nothing to repair")


def _restore(manner: Manner, site: BurnSite, directory: Path) -> int:
    from ordain.rom.image_store import kept_image
    from ordain.rom.ledger import in_sockets, read_ledger
    from ordain.rom.publish import publish

    ledger, findings = read_ledger(site.home / LEDGER, LEDGER)
    sockets = in_sockets(ledger.burns, site.machine)
    files: dict[str, bytes] = {}
    for burn in sockets.values():
        image, more = kept_image(site.home / STORE, burn.sha256, f"{burn.chip}, burned on {burn.date[:10]}")
        findings += more
        if image is not None:
            files[f"{burn.chip}.bin"] = image
    if not sockets:
        findings.append(note("nothing-recorded", f"the ledger has no chip of {site.machine}; nothing was written", None,
                             help="record chips with `ordain burned CHIP...` after burning them"))
    written = bool(files) and not has_errors(findings)
    if written:
        publish(directory, files, lambda _: None, lambda _: None)
    status = exit_status(findings)
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "burned", "status": status, "restored": sorted(files) if written else [],
                    "findings": [finding_data(finding) for finding in findings]})
        return status
    tell_findings(findings, manner, beside=site.path)
    say(manner, f"wrote {len(files)} images to {directory}" if written else "nothing was written")
    return status


# ---------------------------------------------------------------- listing


class Socket(NamedTuple):
    """`state`: "same", "differs", "unrecorded" (nothing is known of it), "gone" (no chip of the build), "unbuilt" (no
    build to compare with)."""

    chip: str
    burned: "Burn | None"
    build: "ChipRecord | None"
    state: str


TOLD = {"same": "as the build", "differs": "not as the build: burn it", "unrecorded": "nothing recorded: burn it",
        "gone": "no chip of the build any more", "unbuilt": "no build to compare with"}


def sockets_of(sockets: "dict[str, Burn]", made: "EarlierBuild | None") -> list[Socket]:
    """Every chip of the build, then those that only the ledger knows."""
    chips = {} if made is None else made.chips
    found = []
    for name in [*chips, *(name for name in sockets if name not in chips)]:
        burned, chip = sockets.get(name), chips.get(name)
        if chip is None:
            state = "unbuilt" if made is None else "gone"
        elif burned is None:
            state = "unrecorded"
        else:
            state = "same" if burned.sha256 == chip.sums.sha256 else "differs"
        found.append(Socket(name, burned, chip, state))
    return found


def _list(manner: Manner, site: BurnSite, findings: list[Finding], recorded: bool) -> int:
    from ordain.rom.ledger import in_sockets, read_ledger
    from ordain.rom.recorded import read_manifest

    ledger, more = read_ledger(site.home / LEDGER, LEDGER)
    made, damaged = read_manifest(site.build / f"{site.machine}.json")
    findings = [*findings, *more, *([] if recorded else damaged)]
    sockets = sockets_of(in_sockets(ledger.burns, site.machine), made)
    status = exit_status(findings)
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "burned", "status": status, "machine": site.machine,
                    "chips": [_socket_data(socket) for socket in sockets],
                    "findings": [finding_data(finding) for finding in findings]})
        return status
    tell_findings(findings, manner, beside=site.path)
    if sockets and made is not None:
        due = [socket.chip for socket in sockets if socket.state in ("differs", "unrecorded")]
        say(manner, f"to burn: {len(due)} of {len(sockets)}: {' '.join(due)}" if due
            else "every socket holds its chip of this build")
    elif not sockets:
        say(manner, f"nothing is recorded, and there is no build of {site.machine}; start with `ordain build`")
    if not recorded:
        show(manner, _socket_lines(sockets, page_of(manner)))
    return status


def _socket_lines(sockets: list[Socket], page: "Page") -> list[str]:
    from ordain.show.page import table
    from ordain.show.paint import printable

    rows = []
    for chip, burned, _, state in sockets:
        said = page.paint("good" if state == "same" else "doubt", TOLD[state])
        if burned is None:
            rows.append((chip, "-", "-", "-", said, ""))
        else:
            revision = (printable(burned.revision[:10]) or "-") + (" and changes" if burned.modified else "")
            rows.append((printable(chip), burned.date[:10], f"{burned.sum16:04X}", revision, said,
                         printable(burned.note)))
    return table(rows, page, heads=("chip", "burned", "sum", "revision", "state", "note"))


def _socket_data(socket: Socket) -> dict[str, Any]:
    burned, build = socket.burned, socket.build
    data: dict[str, Any] = {"chip": socket.chip, "state": socket.state, "burned": None, "build": None}
    if burned is not None:
        data["burned"] = {**burned._asdict(), "crc32": f"{burned.crc32:08X}", "sum16": f"{burned.sum16:04X}"}
        del data["burned"]["chip"], data["burned"]["machine"]
    if build is not None:
        data["build"] = {"sha256": build.sums.sha256, "crc32": f"{build.sums.crc32:08X}",
                         "sum16": f"{build.sums.sum16:04X}"}
    return data
