"""What every command shares: how it speaks, which machine it is about, and the exit status of its findings."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import click

from ordain.text.findings import Finding, Severity

Command = TypeVar("Command", bound=Callable[..., Any])


class Manner(NamedTuple):
    """`format`: text, json, sarif or github. `quiet`: only findings and the status. `colour`: auto, always, never."""

    format: str
    quiet: bool
    colour: str


def speaks(*formats: str) -> Callable[[Command], Command]:
    """Add the options that every command has; the command gets `format`, `quiet` and `colour`."""

    def add(command: Command) -> Command:
        command = click.option("--format", "form", type=click.Choice(formats), default="text", show_default=True,
                               help="How the result is written.")(command)
        command = click.option("--quiet", "-q", is_flag=True, help="Say nothing but findings.")(command)
        return click.option("--color", "colour", type=click.Choice(["auto", "always", "never"]), default="auto",
                            help="Colour; NO_COLOR and FORCE_COLOR are obeyed.")(command)

    return add


def machine_argument(command: Command) -> Command:
    """Add the optional MACHINE argument."""
    return click.argument("machine", required=False, type=click.Path(path_type=Path))(command)


def find_machine(given: Path | None) -> Path:
    """The machine file: the one given (a directory stands for the only *.machine in it), else the only one here.

    Raises click.UsageError with a way out when there is none or more than one.
    """
    if given is not None and not given.is_dir():
        return given
    directory = given or Path(".")
    found = sorted(directory.glob("*.machine"))
    if len(found) == 1:
        return found[0]
    where = "this directory" if given is None else f"`{given}`"
    if not found:
        raise click.UsageError(f"no *.machine file in {where}; name one, or start with `ordain new NAME`")
    mains = [path for path in found if _declares_machine(path)]
    if len(mains) == 1:
        return mains[0]
    names = ", ".join(path.name for path in mains or found)
    raise click.UsageError(f"more than one machine in {where} ({names}); name the one that is meant")


def _declares_machine(path: Path) -> bool:
    """True when a line of the file begins with `machine`: included parts do not have one."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return False
    return any(line.startswith("machine ") for line in text.splitlines())


def exit_status(findings: list[Finding], unreadable: bool = False) -> int:
    """2 when a file could not be read or written, else 1 for errors and warnings, else 0."""
    if unreadable:
        return 2
    return int(any(finding.severity is not Severity.NOTE for finding in findings))


def say(manner: Manner, text: str) -> None:
    """A line of the ordinary result: standard output, not when quiet."""
    if not manner.quiet:
        click.echo(text)


def tell_findings(findings: list[Finding], manner: Manner, stream: Any = None) -> None:
    """All findings as text, errors last so that they stand next to the prompt, then how many there were."""
    from ordain.show.findings import finding_text, summary_line
    from ordain.show.paint import Paint, wants_colour

    out = stream or sys.stdout
    paint = Paint(wants_colour(manner.colour, out))
    for finding in findings:
        print(finding_text(finding, paint), end="\n\n", file=out)
    if findings:
        print(summary_line(findings), file=out)


def print_json(data: dict[str, Any]) -> None:
    """The result as one JSON document on standard output."""
    import json

    click.echo(json.dumps(data, indent=2, ensure_ascii=False))
