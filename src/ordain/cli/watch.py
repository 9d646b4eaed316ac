"""`ordain watch`: the machine is checked again at every save; what that changed is said first."""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from ordain.cli.manner import Manner, find_machine, machine_argument, say, speaks, tell_findings
from ordain.cli.polling import PAUSE, Snapshot, changed_names, snapshot, wait_for_change
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from ordain.checks.check import Report
    from ordain.pipeline import Built

CLEAR = "\x1b[2J\x1b[H"


class Seen(NamedTuple):
    """What the next save is compared with: the last build that came about, the last proof that came to its end, and
    what was last found wrong in the texts."""

    built: "Built | None" = None
    report: "Report | None" = None
    findings: tuple[Finding, ...] = ()


@click.command("watch")
@machine_argument
@click.option("--no-prove", is_flag=True, help="Only compile and look at the words: no search.")
@click.option("--no-cache", is_flag=True, help="Neither use nor keep verdicts of earlier runs.")
@click.option("--rounds", type=click.IntRange(1), hidden=True, help="End after so many checks.")
@speaks("text")
def command(machine: Path | None, no_prove: bool, no_cache: bool, rounds: int | None, form: str, quiet: bool,
            colour: str) -> int:
    """Check MACHINE, and again whenever one of its files is saved, until Ctrl-C.

    First comes what the save changed: instructions, chips, verdicts; then what is wrong now. A proof that is
    under way when the next save comes is given up. Nothing is written; `ordain build` does that.
    """
    path = find_machine(machine)
    watcher = Watcher(path, Manner(form, quiet, colour), prove=not no_prove, keep=not no_cache)
    try:
        watcher.check()
        while rounds is None or rounds > 1:
            rounds = None if rounds is None else rounds - 1
            watcher.wait()
            watcher.check()
    except KeyboardInterrupt:
        return 130
    return 0


class Watcher:
    """The state between two saves. `known`: the content of the files at the last check."""

    def __init__(self, path: Path, manner: Manner, *, prove: bool, keep: bool) -> None:
        self.path, self.manner, self.prove, self.keep = path, manner, prove, keep
        self.seen = Seen()
        self.known: Snapshot = {}
        self.saved: list[str] = []
        self.overtaken = False
        self.screen = sys.stdout.isatty() and os.environ.get("TERM") != "dumb"

    def wait(self) -> None:
        """Until a file has other content than at the last check, or at once when that check was not carried through:
        what made it give up may have been taken back since."""
        now = wait_for_change({} if self.overtaken else self.known, lambda: snapshot(self.path))
        self.overtaken = False
        self.saved = changed_names(self.known, now)

    def check(self) -> None:
        """One round: compile, say what is different, prove, say what is different about that. A fault of our own ends
        the round, not the watch."""
        from ordain.cli.main import own_fault

        self.known = snapshot(self.path)
        try:
            self._check()
        except (KeyboardInterrupt, BrokenPipeError):
            raise
        except OSError as failure:
            say(self.manner, f"error: {failure.filename or self.path}: {failure.strerror or failure}")
        except Exception as fault:          # told as a fault of ours; the next save gets its check all the same
            own_fault(fault)
        sys.stdout.flush()

    # ------------------------------------------------------------ one round

    def _check(self) -> None:
        from ordain.pipeline import build_model

        built, texts = build_model(self.path, self.path.parent / "build")
        lines = self._finding_lines(texts)
        self.seen = self.seen._replace(findings=tuple(texts))
        if built is None:
            self._show(["it does not compile, so there is nothing to compare", *lines], texts)
            return
        from ordain.checks.run import static_pass

        findings = [*texts, *static_pass(built.contents)]
        lines += self._built_lines(built)
        self.seen = self.seen._replace(built=built)
        report = self._kept(built) if self.prove else None
        again = report is None
        if again:
            self._show(lines, findings, built)
        if again and self.prove:
            say(self.manner, "proving ...")
            sys.stdout.flush()
            report = self._proved(built)
        if report is not None:
            self._show_proof(built, lines, report, findings, again)
        elif self.overtaken:
            say(self.manner, "a file was saved: this proof is given up")

    def _show_proof(self, built: "Built", lines: list[str], report: "Report", findings: list[Finding],
                    again: bool) -> None:
        """`again`: the screen shows this round already, without the proof."""
        from ordain.cli.since import finding_changes, verdict_changes
        from ordain.show.verdicts import report_lines

        before = self.seen.report
        changes = [] if before is None else verdict_changes(before, report) + finding_changes(before.findings,
                                                                                              report.findings)
        every = _each_once([*findings, *report.findings])
        if self.screen or not again:
            self._show([*changes, *lines], every, built)
        else:
            for line in changes:
                say(self.manner, f"  {line}")
            tell_findings(list(report.findings), self.manner, contents=built.contents, beside=self.path)
        for line in report_lines(built.contents, report, False):
            say(self.manner, line)
        if not report.stopped:
            self.seen = self.seen._replace(report=report)

    def _built_lines(self, built: "Built") -> list[str]:
        """What is different about instructions and chips since the last build that came about."""
        from ordain.cli.since import chip_changes, instruction_changes

        before = self.seen.built
        if before is None:
            return []
        return [*instruction_changes(before.contents, built.contents),
                *chip_changes(built.machine, before.images, built.images)]

    def _finding_lines(self, now: list[Finding]) -> list[str]:
        """What is different about the texts since the last save."""
        from ordain.cli.since import finding_changes

        return finding_changes(self.seen.findings, now) if self.saved else []

    # ------------------------------------------------------------ the proof

    def _kept(self, built: "Built") -> "Report | None":
        from ordain.cli.proving import kept_report

        return kept_report(built) if self.keep else None

    def _proved(self, built: "Built") -> "Report | None":
        """None when a file was saved meanwhile: then the proof is given up at once."""
        from ordain.cli.background import ProofAside

        proof = ProofAside(built, quiet=self.manner.quiet, keep=self.keep)
        try:
            while not proof.done(PAUSE):
                if snapshot(self.path) != self.known:
                    self.overtaken = True
                    return None
            return proof.report()
        finally:
            proof.end()

    # ------------------------------------------------------------ the screen

    def _show(self, changes: list[str], findings: list[Finding], built: "Built | None" = None) -> None:
        """A heading, what has changed, what is wrong."""
        if self.screen:
            sys.stdout.write(CLEAR)
        saved = f"saved: {', '.join(self.saved)}" if self.saved else "watching; Ctrl-C ends it"
        say(self.manner, f"{self.path.name}, {saved}")
        for line in changes:
            say(self.manner, f"  {line}")
        say(self.manner, "")
        tell_findings(findings, self.manner, contents=built.contents if built is not None else None, beside=self.path)
        sys.stdout.flush()


def _each_once(findings: list[Finding]) -> list[Finding]:
    """What the words alone say is found again by the proof, with a trace: then only that is shown."""
    shown: dict[tuple[object, ...], Finding] = {}
    for finding in findings:
        place = None if finding.span is None else (finding.span.source.name, finding.span.start, finding.span.end)
        key = (finding.name, place, finding.message)
        if key not in shown or finding.trace is not None:
            shown[key] = finding
    return list(shown.values())
