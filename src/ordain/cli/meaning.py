"""`ordain meaning`: what each instruction does, computed from its words."""

from pathlib import Path
from typing import TYPE_CHECKING

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
    tell_beside,
)
from ordain.text.findings import error, has_errors

if TYPE_CHECKING:
    from ordain.meaning.model import Telling
    from ordain.pipeline import Built


@click.command("meaning")
@click.argument("instruction", required=False, default="", shell_complete=completing.instructions)
@machine_option
@build_option
@speaks("text", "json")
def command(instruction: str, machine: Path | None, form: str, quiet: bool, colour: str) -> int:
    """Print what INSTRUCTION does, or every instruction, as lines that can be pasted into the microprogram.

    INSTRUCTION is a title ("load a, n") or the beginning of titles in whole words. Its words are followed with terms
    for what registers and memories hold, from the first one to the next boundary, over every path. Such a line says
    what the words do, not what they should: read it before you paste it, then `ordain prove` holds the words to it.

    Exit status 3: of some instruction it cannot be told.
    """
    from ordain.pipeline import build_model

    manner = Manner(form, quiet, colour)
    path = find_machine(machine)
    built, findings = build_model(path, build_directory(path))
    told: dict[str, Telling] = {}
    if built is not None and not has_errors(findings):
        if built.machine.visible:
            told = _told(built, _titles(built, instruction), quiet)
        else:
            findings.append(error(
                "no-visible", "nothing says what a programmer sees", built.machine.span, "no `visible` line in it",
                help="add a line such as `visible acc, flags, pc, memory`"))
    status = exit_status(findings) or 3 * any(one.why for one in told.values())
    if form == "json":
        from ordain.show.findings_json import finding_data
        from ordain.show.meanings import meaning_data

        print_json({"command": "meaning", "status": status, "instructions": meaning_data(told),
                    "findings": [finding_data(finding) for finding in findings]})
        return status
    if told:
        from ordain.show.meanings import meaning_lines

        show(manner, meaning_lines(told, page_of(manner)))
    elif built is not None and not has_errors(findings):
        say(manner, f"{built.machine.name} has no instructions, so there is nothing to tell")
    tell_beside(findings, manner, beside=path)
    return status


def _titles(built: "Built", wanted: str) -> list[str]:
    """The instructions that are meant. Raises click.BadParameter."""
    titles = list(dict.fromkeys(use.title for use in built.program.opcodes))
    if not wanted or wanted in titles:
        return [wanted] if wanted else titles
    begun = [title for title in titles if title.startswith(f"{wanted} ")]
    if not begun:
        from ordain.text.spelling import nearest

        near = nearest(wanted, titles)
        raise click.BadParameter(f"no instruction is called `{wanted}`" + (f". Did you mean `{near}`?" if near else ""),
                                 param_hint="INSTRUCTION")
    return begun


def _told(built: "Built", titles: list[str], quiet: bool) -> "dict[str, Telling]":
    from ordain.cli.progress import ProgressLine
    from ordain.control.system import build_system
    from ordain.meaning.guessing import under_guesses
    from ordain.meaning.telling import told
    from ordain.prover.decide import ProofRounds

    line = ProgressLine(quiet)
    rounds = ProofRounds(build_system(built.contents), line)
    try:
        found, unsure, _ = under_guesses(built.contents, rounds.decide, titles, told)
    finally:
        line.clear()
    return {title: one._replace(effects=(), why="the prover did not come to an end") if title in unsure else one
            for title, one in found.items()}
