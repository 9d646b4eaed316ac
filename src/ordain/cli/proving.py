"""Proving from the command line: with a progress line, and with the verdicts of earlier runs."""

import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from ordain.cli.progress import ProgressLine

if TYPE_CHECKING:
    from ordain.checks.check import Report
    from ordain.checks.run import Selection
    from ordain.pipeline import Built
    from ordain.prover.model import Limits, Property, Verdicts
    from ordain.rom.contents import Contents


def prove_built(built: "Built", selection: "Selection", limits: "Limits", *, quiet: bool, keep: bool,
                plain: bool = False) -> "Report":
    """The report on a build: a kept one, if there is one about exactly this, else a new one, which is kept.

    With a limit nothing kept is used, so that what a limit leaves undecided does not depend on earlier runs; nor by the
    plain engine, which raises `prover.plain.TooManyCycles`.
    """
    from ordain.checks.cache import key_of, load, store
    from ordain.text.entries import is_there

    directory = cache_directory() if keep else None
    limited = any(limit is not None for limit in (limits.states, limits.memory, limits.seconds))
    if directory is None or limited or plain:
        return run(built.contents, selection, limits, quiet, plain)
    key = key_of(built.contents, built.sources, selection)
    report = load(directory, key, built.contents)
    if report is not None:
        return report._replace(kept=True)
    if is_there(directory, key) and not quiet:
        print("the kept verdicts were damaged and are thrown away: proved anew", file=sys.stderr)
    report = run(built.contents, selection, limits, quiet)
    store(directory, key, built.contents, report)
    return report


def kept_report(built: "Built") -> "Report | None":
    """The kept report on everything about a build, if there is one."""
    from ordain.checks.cache import key_of, load
    from ordain.checks.run import EVERYTHING

    directory = cache_directory()
    if directory is None:
        return None
    report = load(directory, key_of(built.contents, built.sources, EVERYTHING), built.contents)
    return None if report is None else report._replace(kept=True)


def cache_directory() -> Path | None:
    """Where verdicts are kept: `ordain` in XDG_CACHE_HOME (XDG Base Directory Specification: only an absolute path
    counts) or in `~/.cache`; None where there is no such place."""
    given = os.environ.get("XDG_CACHE_HOME", "")
    if os.path.isabs(given):
        return Path(given) / "ordain"
    try:
        return Path.home() / ".cache" / "ordain"
    except RuntimeError:
        return None


def keep_proof(built: "Built", report: "Report", file: Path, quiet: bool) -> tuple[int, str]:
    """Write the certificate of a report; how many claims it makes, or 0 and why there is none. Raises OSError."""
    from ordain.audit.certificate import written
    from ordain.certifying import NotKept, certificate_of
    from ordain.cli.writing import write_file

    line, sources = ProgressLine(quiet), [(each.name, each.sha256) for each in built.sources]
    try:
        certificate = certificate_of(built.contents, sources, report,
                                     lambda done: line.say(f"certificate: {done} of {len(report.rows)} claims"))
    except NotKept as fault:
        return 0, str(fault)
    finally:
        line.clear()
    write_file(file, written(certificate))
    return len(certificate.claims), ""


def prune_all() -> None:
    """Forget everything that is kept."""
    from ordain.text.entries import prune

    directory = cache_directory()
    if directory is not None:
        prune(directory, 0, 0)


def run(contents: "Contents", selection: "Selection", limits: "Limits", quiet: bool, plain: bool = False) -> "Report":
    """All checks over the contents, with a progress line on a terminal's standard error after half a second."""
    from ordain.checks.run import prove
    from ordain.control.system import build_system
    from ordain.prover.decide import ProofRounds
    from ordain.prover.limits import Deadline

    started = time.monotonic()
    clock = Deadline(limits, started, "")
    system = build_system(contents)
    line = ProgressLine(quiet)
    rounds = ProofRounds(system, line)

    def within(asked: "tuple[Property, ...]") -> "Verdicts":
        """A second round has what the first has left of the time."""
        left = None if limits.seconds is None else max(0.0, limits.seconds - (time.monotonic() - started))
        if plain:
            from ordain.prover.plain import decide_plainly

            return decide_plainly(system, asked, limits._replace(seconds=left))
        return rounds.decide(asked, limits._replace(seconds=left))

    try:
        report = prove(contents, within, selection)
        if contents.meanings and selection.takes("meaning") and report.ended != "interrupted":
            from ordain.meaning.run import with_meanings

            report = with_meanings(contents, within, report, clock.out)
            report = report._replace(ended=report.ended or clock.ended)
        return report
    finally:
        line.clear()
