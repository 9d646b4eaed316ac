"""`ordain audit FILE`: what `ordain prove --keep` wrote, checked by code that shares nothing with the prover."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    machine_argument,
    page_of,
    say,
    show,
    speaks,
    tell_findings,
)
from ordain.cli.progress import ProgressLine

if TYPE_CHECKING:
    from ordain.audit.audit import ClaimVerdict
    from ordain.audit.certificate import Certificate
    from ordain.pipeline import Built


@click.command("audit")
@click.argument("file", type=click.Path(path_type=Path))
@machine_argument
@build_option
@click.option("--all", "everything", is_flag=True, help="Every claim, also those that are confirmed.")
@click.option("--aiger", type=click.Path(path_type=Path, file_okay=False), metavar="DIR",
              help="Write models and witness circuits there in AIGER 1.9, for solvers.")
@speaks("text")
def command(file: Path, machine: Path | None, aiger: Path | None, everything: bool, quiet: bool, colour: str) -> int:
    """Check a certificate that `ordain prove --keep FILE` wrote against MACHINE and its images, without a search and
    without any code of the prover.

    Each claim is confirmed, refused, or not audited: then nothing is said of it. Exit status 0: nothing refused. 1:
    something refused, or the certificate is of other sources or images. 2: no certificate, or no sources.
    """
    from ordain.audit.audit import audit, differs
    from ordain.audit.certificate import Damaged, read
    from ordain.pipeline import build_model
    from ordain.text.reading import read_bytes

    manner = Manner("text", quiet, colour)
    data, findings = read_bytes(file, str(file))
    if data is None:
        tell_findings(findings, manner)
        return 2
    try:
        certificate = read(data)
    except Damaged as fault:
        raise click.UsageError(f"`{file}` cannot be audited: {fault}") from None
    path = find_machine(machine)
    built, findings = build_model(path, build_directory(path))
    if built is None:
        tell_findings(findings, manner, beside=path)
        return exit_status(findings)
    other = differs(built.contents, [(each.name, each.sha256) for each in built.sources], certificate) or \
        _other_image(built, build_directory(path))
    if other:
        say(Manner("text", False, colour), f"refused: {other}")
        return 1
    if aiger is not None:
        return _write_circuits(manner, built, certificate, aiger)
    line = ProgressLine(quiet)
    count = 0

    def told(finding: "ClaimVerdict") -> None:
        nonlocal count
        count += 1
        line.say(f"{count} of {len(certificate.claims)} claims")

    try:
        result = audit(built.contents, certificate, told)
    finally:
        line.clear()
    return _tell(manner, certificate, result, everything)


def _write_circuits(manner: Manner, built: "Built", certificate: "Certificate", place: Path) -> int:
    """Instead of an audit: what a solver can check."""
    from ordain.audit.audit import Audit, Refused
    from ordain.audit.board import NotAudited
    from ordain.audit.witness import circuits
    from ordain.cli.writing import write_file

    try:
        audit = Audit(built.contents, certificate)
        audit.read()
        pairs = list(circuits(audit, built.machine.name))
    except (Refused, NotAudited) as fault:
        say(manner._replace(quiet=False), f"no circuits: {fault}")
        return 1
    place.mkdir(parents=True, exist_ok=True)
    for name, model, witness in pairs:
        write_file(place / name, model)
        write_file(place / name.replace(".aig", "-witness.aig"), witness)
    models = f"{len(pairs)} model{'s' if len(pairs) != 1 else ''} and a witness for each"
    say(manner, f"wrote {models} to {place}/: no bad state of a witness can be reached, by induction alone")
    return 0


def _other_image(built: "Built", place: Path) -> str:
    """Which image of the build is not what the sources make."""
    for chip, image in built.images.items():
        written = place / f"{chip}.bin"
        if written.is_file() and written.read_bytes() != image:
            return f"`{written.name}` of the build is not what the sources make"
    return ""


def _tell(manner: Manner, certificate: "Certificate", result: "list[ClaimVerdict]", everything: bool) -> int:
    from ordain.show.page import table
    from ordain.show.paint import printable

    rows = {outcome: [one for one in result if one.outcome == outcome]
            for outcome in ("refused", "confirmed", "not audited")}
    said = f"{certificate.machine}: {len(rows['confirmed'])} of {len(result)} claims confirmed"
    said += f", {len(rows['refused'])} refused" if rows["refused"] else ""
    said += f", {len(rows['not audited'])} not audited" if rows["not audited"] else ""
    say(manner, f"{said} (the certificate is of {certificate.made_by})")
    page = page_of(manner)
    roles = {"refused": "bad", "confirmed": "good", "not audited": "doubt"}
    shown = [*rows["refused"], *(() if manner.quiet else rows["not audited"] if everything else
                                 _few(rows["not audited"])), *(rows["confirmed"] if everything else ())]
    lines = table([(page.paint(roles[one.outcome], one.outcome), one.check, printable(one.subject), one.why)
                   for one in shown], page)
    show(manner._replace(quiet=False), lines)
    return int(bool(rows["refused"]))


def _few(findings: "list[ClaimVerdict]") -> "list[ClaimVerdict]":
    """What is said of many claims of one check in the same words is said once."""
    groups: dict[tuple[str, str], list[ClaimVerdict]] = {}
    for one in findings:
        groups.setdefault((one.check, one.why), []).append(one)
    return [group[0] if len(group) == 1 else group[0]._replace(subject=f"{len(group)} claims")
            for group in groups.values()]
