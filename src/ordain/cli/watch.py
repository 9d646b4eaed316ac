"""`ordain watch`: the machine is checked again at every save; what that changed is said first."""

import os
import shutil
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from ordain.cli.manner import Manner, find_machine, finding_lines, machine_argument, page_of, say, speaks
from ordain.cli.polling import PAUSE, Snapshot, changed_names, snapshot, wait_for_change
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from ordain.checks.check import Report
    from ordain.pipeline import Built
    from ordain.show.groups import FindingGroup

CLEAR = "\x1b[2J\x1b[H"


class LastSeen(NamedTuple):
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
def command(machine: Path | None, no_prove: bool, no_cache: bool, rounds: int | None, quiet: bool,
            colour: str) -> int:
    """Check MACHINE, and again whenever one of its files is saved, until Ctrl-C.

    First comes whether all is well, then what the save changed: instructions, chips, verdicts; then what is wrong now.
    On a terminal as much is shown as it has lines; `ordain prove` shows all. A proof that is under way when the next
    save comes is given up. Nothing is written; `ordain build` does that.
    """
    path = find_machine(machine)
    if not path.exists():
        raise click.UsageError(f"there is no file `{path}`; nothing to watch")
    watcher = Watcher(path, Manner("text", quiet, colour), prove=not no_prove, keep=not no_cache)
    try:
        watcher.check()
        while rounds is None or rounds > 1:
            rounds = None if rounds is None else rounds - 1
            watcher.wait()
            watcher.check()
    except KeyboardInterrupt:
        if watcher.screen:
            click.echo()            # the prompt comes on a line of its own, below the ^C
        return 130
    return 0


class Watcher:
    """The state between two saves. `known`: the content of the files at the last check."""

    def __init__(self, path: Path, manner: Manner, *, prove: bool, keep: bool) -> None:
        self.path, self.manner, self.prove, self.keep = path, manner, prove, keep
        self.seen = LastSeen()
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
        from ordain.show.findings import summary_line
        from ordain.show.groups import FindingGroup

        built, texts = build_model(self.path, self.path.parent / "build")
        changes = self._finding_lines(texts)
        self.seen = self.seen._replace(findings=tuple(texts))
        if built is None:
            self._show([f"{self.path.stem}: it does not compile: {summary_line(texts)}"], changes,
                       [FindingGroup(finding, (), ()) for finding in texts], None)
            return
        from ordain.checks.run import static_pass
        from ordain.show.groups import grouped

        findings = [*texts, *static_pass(built.contents)]
        changes += self._built_lines(built)
        self.seen = self.seen._replace(built=built)
        report = self._kept(built) if self.prove else None
        if report is None:
            answer = f"{built.machine.name}: {summary_line(findings) or 'nothing found'} in the words alone"
            self._show([answer + (", proving ..." if self.prove else "")], changes, grouped(findings), built)
        if report is None and self.prove:
            report = self._proved(built)
        if report is not None:
            self._show_proof(built, changes, report, findings)
        elif self.overtaken:
            say(self.manner, "a file was saved: this proof is given up")

    def _show_proof(self, built: "Built", changes: list[str], report: "Report", findings: list[Finding]) -> None:
        from ordain.cli.since import finding_changes, verdict_changes
        from ordain.show.groups import grouped
        from ordain.show.verdicts import answer_lines, report_lines

        before = self.seen.report
        page = page_of(self.manner)
        moved = [] if before is None else [*verdict_changes(before, report, page.indented(2)),
                                           *finding_changes(before.findings, report.findings)]
        groups = grouped(_each_once([*report.findings, *findings]))
        self._show(answer_lines(built.contents, report, groups, page), [*moved, *changes], groups, built,
                   report_lines(built.contents, report, False, page))
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

    def _show(self, answer: list[str], changes: list[str], groups: "list[FindingGroup]", built: "Built | None",
              below: Iterable[str] = ()) -> None:
        """A heading, the answer, what has changed (printable already), what is wrong: as much as the terminal has
        lines."""
        from ordain.show.page import fold
        from ordain.show.paint import printable

        page = page_of(self.manner)
        saved = f"saved: {', '.join(self.saved)}" if self.saved else "watching; Ctrl-C ends it"
        now = f" ({time.strftime('%H:%M:%S')})" if self.screen else ""
        head = [line for text in (printable(f"{self.path.name}, {saved}{now}"), *(f"  {change}" for change in changes))
                for line in fold(text, page)]
        lines = [head[0], *(line for text in answer for line in fold(text, page)), *head[1:], ""]
        lines += finding_lines(groups, page, contents=None if built is None else built.contents, beside=self.path,
                               everything=built is None)
        lines += below
        if self.screen:
            rows = shutil.get_terminal_size().lines - 1
            sys.stdout.write(CLEAR)
            if len(lines) > rows > 4:
                left = len(lines) - rows + 1
                lines = [*lines[:rows - 1], f"... {left} more lines: `ordain prove` shows them"]
        if not self.manner.quiet:
            print("\n".join(lines))
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
