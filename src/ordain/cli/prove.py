"""`ordain prove`: every check and every rule over all that can happen."""

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ordain.cli.manner import (
    Manner,
    exit_status,
    find_machine,
    machine_argument,
    print_json,
    print_other_format,
    say,
    speaks,
    tell_findings,
)
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from ordain.checks.check import Report
    from ordain.checks.run import Selection
    from ordain.prover.model import Limits, Progress
    from ordain.rom.contents import Contents


@click.command("prove")
@machine_argument
@click.option("--only", "only", multiple=True, metavar="NAME", help="Only the check NAME; may be repeated.")
@click.option("--rule", metavar="TEXT", default="", help="Only rules whose text has TEXT in it.")
@click.option("--limit-states", type=click.IntRange(1), metavar="N", help="Stop after N states: undecided, status 3.")
@click.option("--limit-memory", type=click.IntRange(1), metavar="MB", help="Stop at MB megabytes of memory.")
@click.option("--limit-seconds", type=click.FloatRange(0, min_open=True), metavar="S", help="Stop after S seconds.")
@click.option("--diagram", is_flag=True, help="Draw each trace as a timing diagram too, in any terminal.")
@click.option("--all", "everything", is_flag=True, help="Every cycle of long traces, every verdict, every witness.")
@speaks("text", "json", "sarif", "github")
def command(machine: Path | None, only: tuple[str, ...], rule: str, limit_states: int | None, limit_memory: int | None,
            limit_seconds: float | None, diagram: bool, everything: bool, form: str, quiet: bool, colour: str) -> int:
    """Prove every check and rule of MACHINE over the images as they would be burnt, or show the shortest sequence that
    breaks it.

    Exit status 0: all proved. 1: findings. 3: a limit was reached first and nothing was found before it.
    """
    from ordain.checks.catalogue import provable
    from ordain.checks.run import Selection
    from ordain.pipeline import build_model
    from ordain.prover.model import Limits

    for name in only:
        if name not in provable():
            raise click.BadParameter(f"no check is called `{name}`; there are: {', '.join(provable())}",
                                     param_hint="--only")
    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, path.parent / "build")
    if built is None:
        return _end(manner, findings, None, None, diagram, everything)
    if rule and not any(rule.casefold() in one.text.casefold() for one in built.machine.rules):
        raise click.BadParameter(f"no rule of {built.machine.name} has `{rule}` in its text", param_hint="--rule")
    limits = Limits(states=limit_states, memory=None if limit_memory is None else limit_memory * 1_000_000,
                    seconds=limit_seconds)
    report = run(built.contents, Selection(frozenset(only), rule), limits, quiet)
    return _end(manner, findings, built.contents, report, diagram, everything)


def run(contents: "Contents", selection: "Selection", limits: "Limits", quiet: bool) -> "Report":
    """All checks over the contents, with a progress line on a terminal's standard error after half a second."""
    from ordain.checks.run import prove
    from ordain.prover.decide import decide
    from ordain.prover.system import build_system

    system = build_system(contents)
    line = ProgressLine(quiet)
    try:
        return prove(contents, lambda asked: decide(contents, system, asked, limits, line), selection)
    finally:
        line.clear()


class ProgressLine:
    """States, level and rate on standard error; only on a terminal and only for what takes over half a second."""

    def __init__(self, quiet: bool) -> None:
        self.start = time.monotonic()
        self.on = sys.stderr.isatty() and not quiet
        self.shown = False

    def __call__(self, progress: "Progress") -> None:
        if self.on and time.monotonic() - self.start > 0.5:
            figures = f"{progress.states:,} states, cycle {progress.level}, {progress.rate:,.0f} states/s"
            sys.stderr.write(f"\r\x1b[K{figures}")
            sys.stderr.flush()
            self.shown = True

    def clear(self) -> None:
        if self.shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()


def status_of(findings: list[Finding], report: "Report | None") -> int:
    """As for any command, but 3 when nothing was found and not everything was decided."""
    status = exit_status(findings)
    if status == 0 and report is not None and any(row.outcome == "undecided" for row in report.rows):
        return 130 if report.stopped == "interrupted" else 3
    return status


def _end(manner: Manner, findings: list[Finding], contents: "Contents | None", report: "Report | None", diagram: bool,
         everything: bool) -> int:
    from ordain.show import verdicts

    every = [*findings, *(report.findings if report is not None else ())]
    status = status_of(every, report)
    if manner.format == "json":
        print_json(_as_data(every, contents, report, status))
        return status
    if manner.format != "text":
        print_other_format(manner.format, every, contents)
        return status
    tell_findings(every, manner, contents=contents, diagram=diagram, everything=everything)
    if contents is not None and report is not None:
        for text in verdicts.report_lines(contents, report, everything):
            say(manner, text)
    return status


def _as_data(findings: list[Finding], contents: "Contents | None", report: "Report | None",
             status: int) -> dict[str, Any]:
    from ordain.show.findings_json import finding_data
    from ordain.show.verdicts import report_data

    data: dict[str, Any] = {"command": "prove", "status": status}
    if contents is not None and report is not None:
        data.update(report_data(contents, report))
    data["findings"] = [finding_data(finding, contents) for finding in findings]
    return data
