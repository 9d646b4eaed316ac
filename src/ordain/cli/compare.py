"""`ordain compare OLD`: what a change touched."""

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
    print_json,
    print_other_format,
    say,
    show,
    speaks,
    tell_findings,
)
from ordain.cli.progress import BUILDING, waiting
from ordain.text.findings import Finding

if TYPE_CHECKING:
    from ordain.checks.check import Report
    from ordain.cli.versions import Version
    from ordain.compare.comparison import Comparison, CycleChange
    from ordain.compare.verdicts import VerdictChanges

PARTS = ("behaviour", "verdicts", "cycles", "chips")


@click.command("compare")
@click.argument("old")
@machine_argument
@build_option
@click.option("--to", "other", metavar="NEW", help="Compare OLD with NEW instead of with the working files.")
@click.option("--expect", multiple=True, metavar="TITLE", help="An instruction or routine that is meant to behave "
              "differently; `machine` for the machine itself. May be repeated.")
@click.option("--only", multiple=True, type=click.Choice(PARTS), help="Only this part; may be repeated.")
@click.option("--all", "everything", is_flag=True, help="Everything that differs, every way, every cell.")
@click.option("--no-cache", is_flag=True, help="Neither use nor keep verdicts of earlier runs.")
@speaks("text", "json", "sarif", "github")
def command(old: str, machine: Path | None, other: str | None, expect: tuple[str, ...], only: tuple[str, ...],
            everything: bool, no_cache: bool, form: str, quiet: bool, colour: str) -> int:
    """What a change touched: which instructions behave differently, which verdicts and cycle counts moved, which chips
    to burn.

    OLD is `burned` (what the ledger says is in the sockets), a machine file, a build directory or its manifest, or a
    git revision (HEAD~1). It is compared with the working files.

    Exit status 1: behaviour other than that of the titles in --expect differs, or a verdict got worse. 3: chips differ,
    and too little is known to say what that does.
    """
    from ordain.cli.versions import sources_named, version_of, working_version

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    parts = only or PARTS
    with waiting(quiet, BUILDING):
        before, findings = version_of(old, path, build_directory(path))
    if before is None:
        return _unreadable(manner, path, findings, old)
    if other is None and (same := sources_named(old)) is not None and same.samefile(path):
        before = before._replace(called=f"{old} (the working files themselves)")
    with waiting(quiet, BUILDING):
        now, more = (working_version(path, build_directory(path), "working files") if other is None
                     else version_of(other, path, build_directory(path)))
    if now is None:
        return _unreadable(manner, path, more, other or "working files")
    found = _compared(before, now, frozenset(expect), parts, quiet, not no_cache)
    return _end(manner, path, [*findings, *more], found, everything, untold="behaviour" in parts and _untold(found))


def _untold(found: "Comparison") -> bool:
    """Whether chips may differ, and what that does cannot be told: no guard may take that for "the same"."""
    return found.behaviour is None and (found.chips is None or any(one.action != "nothing" for one in found.chips))


def _unreadable(manner: Manner, path: Path, findings: list[Finding], called: str) -> int:
    """One of the versions does not come about."""
    status = exit_status(findings)
    if manner.format == "json":
        from ordain.show.findings_json import finding_data

        print_json({"command": "compare", "status": status, "findings": [finding_data(one) for one in findings]})
    elif manner.format != "text":
        print_other_format(manner.format, findings, beside=path)
    else:
        tell_findings(findings, manner, beside=path)
        say(manner, f"nothing to compare: {called} {'do' if called.endswith('files') else 'does'} not compile")
    return status


# ---------------------------------------------------------------- the parts


def _compared(old: "Version", new: "Version", expected: frozenset[str], parts: tuple[str, ...], quiet: bool,
              keep: bool) -> "Comparison":
    from ordain.compare.behaviour import behaviour
    from ordain.compare.comparison import Comparison, unchanged_though_expected
    from ordain.compare.joint import join
    from ordain.compare.reach import reach_of_change
    from ordain.rom.burn_plan import chip_changes

    remarks = [*old.remarks, *new.remarks] if "chips" in parts else []
    acts = reach = verdicts = cycles = None
    if old.contents is None or new.contents is None:
        remarks.append("not every chip is known, so what behaves differently cannot be told")
    else:
        if "behaviour" in parts:
            with waiting(quiet, "behaviour is compared"):
                acts = behaviour(join(old.contents, new.contents))
                reach = reach_of_change(acts)
        if "verdicts" in parts:
            verdicts, said = _verdicts(old, new, quiet, keep)
            remarks += said
        if "cycles" in parts:
            with waiting(quiet, "cycles are counted"):
                cycles = _cycles(old, new)
    chips = None
    if "chips" in parts:
        chips = chip_changes(new.machine_chips, old.machine_chips, old.images, new.images)
    found = Comparison(old.called, new.called, acts, reach, verdicts, cycles, chips, expected, ())
    remarks += [f"`{title}` was expected to change, and did not" for title in unchanged_though_expected(found)]
    return found._replace(remarks=tuple(remarks))


def _verdicts(old: "Version", new: "Version", quiet: bool, keep: bool) -> "tuple[VerdictChanges, tuple[str, ...]]":
    """And what is to be remarked about what is asked."""
    from ordain.compare.correspondence import correspond
    from ordain.compare.declared import demands
    from ordain.compare.verdicts import verdict_changes
    from ordain.meaning.strength import other_meanings

    assert old.contents is not None and new.contents is not None
    asked = demands(old.contents, new.contents, correspond(old.contents, new.contents), other_meanings)
    return verdict_changes(_report(old, quiet, keep), _report(new, quiet, keep), asked), asked.remarks


def _report(version: "Version", quiet: bool, keep: bool) -> "Report":
    from ordain.checks.run import EVERYTHING
    from ordain.cli.proving import prove_built, run
    from ordain.prover.model import Limits

    if version.built is not None:
        return prove_built(version.built, EVERYTHING, Limits(), quiet=quiet, keep=keep)
    assert version.contents is not None
    return run(version.contents, EVERYTHING, Limits(), quiet)


def _cycles(old: "Version", new: "Version") -> "tuple[CycleChange, ...] | None":
    from ordain.cli.cycles import count
    from ordain.compare.comparison import cycle_changes

    if old.built is None or new.built is None:
        return None
    return cycle_changes(count(old.built), count(new.built))


# ---------------------------------------------------------------- the end


def _end(manner: Manner, path: Path, findings: list[Finding], found: "Comparison", everything: bool, *,
         untold: bool) -> int:
    from ordain.compare.comparison import findings_of
    from ordain.show.comparison import comparison_lines

    guarded = findings_of(found)
    status = exit_status([*findings, *guarded]) or (3 if untold else 0)
    if manner.format == "json":
        from ordain.show.comparison_json import comparison_data
        from ordain.show.findings_json import finding_data

        print_json({"command": "compare", "status": status, **comparison_data(found),
                    "findings": [finding_data(one) for one in [*findings, *guarded]]})
        return status
    if manner.format != "text":
        print_other_format(manner.format, [*findings, *guarded], beside=path)
        return status
    tell_findings(findings, manner, beside=path)
    if manner.quiet:
        tell_findings(guarded, manner, beside=path)
    show(manner, comparison_lines(found, everything, page_of(manner)))
    if not manner.quiet and guarded:
        say(manner, f"not expected: {len(guarded)} (see above; --expect TITLE names what is meant to change)")
    return status
