"""`ordain prove`: every check and every rule over all that can happen."""

import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ordain.cli import completing
from ordain.cli.manner import (
    Manner,
    build_directory,
    build_option,
    exit_status,
    find_machine,
    finding_lines,
    machine_argument,
    names_of,
    page_of,
    print_json,
    print_other_format,
    show,
    speaks,
    tell_findings,
)
from ordain.cli.progress import BUILDING, waiting
from ordain.text.findings import Finding, Severity

if TYPE_CHECKING:
    from ordain.checks.check import Report
    from ordain.cli.answers import ProofAsked
    from ordain.pipeline import Built
    from ordain.rom.contents import Contents


@click.command("prove")
@machine_argument
@build_option
@click.option("--only", "only", multiple=True, metavar="NAME,...", shell_complete=completing.checks,
              help="Only these checks; may be repeated.")
@click.option("--rule", metavar="TEXT", default="", help="Only rules whose text has TEXT in it.")
@click.option("--limit-states", type=click.IntRange(1), metavar="N", help="Stop after N states: undecided, status 3.")
@click.option("--limit-memory", type=click.IntRange(1), metavar="MB", help="Stop at MB megabytes of memory.")
@click.option("--limit-seconds", type=click.FloatRange(0, min_open=True), metavar="S",
              help="Stop S seconds after the start.")
@click.option("--plain", is_flag=True, help="State by state, without any shortcut: for small machines.")
@click.option("--diagram", is_flag=True, help="Draw each trace as a timing diagram too, in any terminal.")
@click.option("--all", "everything", is_flag=True, help="Every cycle of long traces, every verdict, every witness.")
@click.option("--keep", type=click.Path(path_type=Path), metavar="FILE",
              help="Write what was found as a certificate, for `ordain audit`.")
@click.option("--no-cache", is_flag=True, help="Neither use nor keep verdicts of earlier runs.")
@click.option("--prune-cache", is_flag=True, help="First forget the kept verdicts of every machine.")
@speaks("text", "json", "sarif", "github")
def command(machine: Path | None, only: tuple[str, ...], rule: str, limit_states: int | None, limit_memory: int | None,
            limit_seconds: float | None, plain: bool, diagram: bool, everything: bool, keep: Path | None,
            no_cache: bool, prune_cache: bool, form: str, quiet: bool, colour: str) -> int:
    """Prove every check and rule of MACHINE over the images as they would be burned, or show the shortest sequence
    that breaks it.

    The verdicts of a proof are kept, and found again when sources, chips and questions are the same byte for byte.

    Exit status 0: all proved. 1: findings. 3: a limit was reached first and nothing was found before it.
    """
    started = time.monotonic()
    from ordain.cli.answers import answer_to, asked_of
    from ordain.cli.proving import cache_directory, prune_all

    if prune_cache:
        prune_all()
    manner = Manner(form, quiet, colour)
    only, path = names_of(only), find_machine(machine)
    limited = any(limit is not None for limit in (limit_states, limit_memory, limit_seconds))
    directory = None if limited or plain or no_cache or keep is not None or form != "text" else cache_directory()
    question = asked_of(path, build_directory(path), only, rule, everything, page_of(manner))
    answer = None if directory is None else answer_to(directory, question)
    if answer is not None:
        show(manner, answer)
        return 0
    from ordain.checks.catalogue import provable
    from ordain.checks.run import Selection
    from ordain.cli.proving import keep_proof, prove_built
    from ordain.pipeline import build_model
    from ordain.prover.model import Limits
    from ordain.prover.plain import TooManyCycles

    for name in only:
        if name not in provable():
            raise click.BadParameter(f"no check is called `{name}`; there are: {', '.join(provable())}",
                                     param_hint="--only")
    with waiting(quiet, BUILDING):
        built, findings = build_model(path, build_directory(path))
    if built is None:
        return _end(manner, path, findings, None, None, diagram, everything)
    if rule and not any(rule.casefold() in one.text.casefold() for one in built.machine.rules):
        raise click.BadParameter(f"no rule of {built.machine.name} has `{rule}` in its text", param_hint="--rule")
    limits = Limits(states=limit_states, memory=None if limit_memory is None else limit_memory * 1_000_000,
                    seconds=None if limit_seconds is None else max(0.0, limit_seconds - (time.monotonic() - started)))
    try:
        report = prove_built(built, Selection(frozenset(only), rule), limits, quiet=quiet, keep=not no_cache,
                             plain=plain)
    except TooManyCycles as large:
        raise click.UsageError(f"{built.machine.name} is too large for --plain: {large}") from None
    wanting = False
    if keep is not None:
        claims, why = keep_proof(built, report, keep, quiet)
        wanting = not claims
        click.echo(f"wrote {keep}: {claims} claims" if claims else f"no certificate was written: {why}", err=True)
    if directory is not None:
        _keep_answer(directory, question, built, findings, report)
    return _end(manner, path, findings, built.contents, report, diagram, everything) or (2 if wanting else 0)


def _keep_answer(directory: Path, question: "ProofAsked", built: "Built", findings: list[Finding],
                 report: "Report") -> None:
    """Keep what is said of a machine of which everything is proved and nothing else has to be told."""
    from ordain.cli.answers import keep_answer
    from ordain.show.verdicts import answer_lines, report_lines

    if status_of([*findings, *report.findings], report) == 0 and not findings and not report.findings:
        again = report._replace(kept=True)
        keep_answer(directory, question, built.sources,
                    [*answer_lines(built.contents, again, [], question.page),
                     *report_lines(built.contents, again, question.everything, question.page)])


def status_of(findings: list[Finding], report: "Report | None") -> int:
    """As for any command, but 130 when it was interrupted, and 3 when nothing was found and not everything was
    decided."""
    if report is not None and report.ended == "interrupted":
        return 130
    status = exit_status(findings)
    if status == 0 and report is not None and any(row.outcome == "undecided" for row in report.rows):
        return 3
    return status


def _undecided(report: "Report | None") -> list[Finding]:
    """The questions that have no answer, for formats that know only findings."""
    rows = [] if report is None else [row for row in report.rows if row.outcome == "undecided"]
    return [Finding(row.check, Severity.WARNING, f"undecided: {row.subject}", row.span, "not decided within the limits",
                    help="give it more room: raise the limit, or ask with --only and --rule for less at a time")
            for row in rows]


def _end(manner: Manner, path: Path, findings: list[Finding], contents: "Contents | None", report: "Report | None",
         diagram: bool, everything: bool) -> int:
    from ordain.show import verdicts
    from ordain.show.groups import FindingGroup, grouped

    every = [*findings, *(report.findings if report is not None else ())]
    status = status_of(every, report)
    if manner.format == "json":
        print_json(_as_data(every, contents, report, status))
        return status
    if manner.format != "text":
        print_other_format(manner.format, every, contents, beside=path, undecided=_undecided(report))
        return status
    if contents is None or report is None:
        tell_findings(every, manner, beside=path)
        return status
    groups = [FindingGroup(finding, (), ()) for finding in every] if everything else grouped(every)
    page = page_of(manner)
    answer = verdicts.answer_lines(contents, report, groups, page)
    show(manner, answer if not groups else [*answer, ""])
    for line in finding_lines(groups, page, contents=contents, beside=path, diagram=diagram, everything=everything):
        print(line)
    show(manner, verdicts.report_lines(contents, report, everything, page))
    if groups:
        show(manner, answer)
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
