"""What every command shares: how it speaks, which machine it is about, and the exit status of its findings."""

import os
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TextIO, TypeVar

import click

from ordain.text.findings import Finding, Severity, has_errors
from ordain.text.reading import UNREADABLE

if TYPE_CHECKING:
    from ordain.rom.contents import Contents
    from ordain.show.diagram import Glyphs
    from ordain.show.groups import FindingGroup
    from ordain.show.page import Page

WIDE = 140
"""Columns from which on a terminal gets the timing diagram under every trace."""

SHEET = 46
"""Lines of findings that have room on a sheet of paper beside the answer."""

SCHEMA = 1
"""The version of the JSON that commands write, described by docs/output.schema.json."""

Command = TypeVar("Command", bound=Callable[..., Any])


class Manner(NamedTuple):
    """`format`: text, json, sarif or github. `quiet`: only findings and the status. `colour`: auto, always, never."""

    format: str
    quiet: bool
    colour: str


def speaks(*formats: str, colour: bool = True) -> Callable[[Command], Command]:
    """Add the options that every command has; the command gets `form` and `quiet`, and with `colour` also `colour`.
    Where there is but one format there is no option for it."""

    def add(command: Command) -> Command:
        if len(formats) > 1:
            command = click.option("--format", "form", type=click.Choice(formats), default="text", show_default=True,
                                   help="How the result is written.")(command)
        command = click.option("--quiet", "-q", is_flag=True, help="Say nothing but findings.")(command)
        if colour:
            command = click.option("--color", "colour", type=click.Choice(["auto", "always", "never"]), default="auto",
                                   help="Colour; NO_COLOR and FORCE_COLOR are obeyed.")(command)
        return command

    return add


NAMED, BUILD = "ordain.machine", "ordain.build"
"""Where a command's context keeps what -m and --build say."""


def _keep(key: str) -> Callable[[click.Context, click.Parameter, Any], Any]:
    def keep(ctx: click.Context, param: click.Parameter, value: Any) -> Any:
        if value is not None:
            ctx.meta[key] = value
        return value
    return keep


def _machine_named(command: Command, exposed: bool) -> Command:
    return click.option("-m", "--machine", "machine" if exposed else "named", type=click.Path(path_type=Path),
                        expose_value=exposed, is_eager=True, callback=_keep(NAMED), metavar="PATH",
                        help="The machine file, or a directory with one; default: the only one here.")(command)


def machine_option(command: Command) -> Command:
    """Add -m, --machine for a command whose arguments are something else."""
    return _machine_named(command, True)


def machine_argument(command: Command) -> Command:
    """Add the optional argument MACHINE, which -m names as well."""

    def either(ctx: click.Context, param: click.Parameter, value: Path | None) -> Path | None:
        if value is not None and NAMED in ctx.meta:
            raise click.UsageError(f"the machine is named twice: `{value}` and `{ctx.meta[NAMED]}`")
        return value or ctx.meta.get(NAMED)

    command = _machine_named(command, False)
    return click.argument("machine", required=False, type=click.Path(path_type=Path), callback=either)(command)


def build_option(command: Command) -> Command:
    """Add --build, the directory of the build; see `build_directory`."""
    return click.option("--build", "--out", "build", type=click.Path(path_type=Path), expose_value=False, metavar="DIR",
                        callback=_keep(BUILD), help="Directory of the build; default: `build` beside the machine file."
                        )(command)


def build_directory(path: Path) -> Path:
    """Where the build of a machine file is: what --build says, else `build` beside it."""
    context = click.get_current_context(silent=True)
    given = context.meta.get(BUILD) if context is not None else None
    return given if isinstance(given, Path) else path.parent / "build"


def names_of(given: tuple[str, ...]) -> tuple[str, ...]:
    """The names of an option that may be repeated and takes several with commas between."""
    return tuple(name.strip() for part in given for name in part.split(",") if name.strip())


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


def exit_status(findings: list[Finding]) -> int:
    """2 when a file could not be read or written, else 1 for errors and warnings, else 0."""
    if any(finding.name in UNREADABLE for finding in findings):
        return 2
    return int(any(finding.severity is not Severity.NOTE for finding in findings))


def say(manner: Manner, text: str) -> None:
    """A line of the ordinary result: standard output, not when quiet; folded on a terminal."""
    from ordain.show.page import fold
    from ordain.show.paint import printable

    if not manner.quiet:
        for line in fold(printable(text), page_of(manner)):
            click.echo(line)


def show(manner: Manner, lines: Iterable[str]) -> None:
    """Lines of the ordinary result that are made for the page already: printable, folded, perhaps with colour."""
    if not manner.quiet:
        for line in lines:
            print(line)


def page_of(manner: Manner, stream: TextIO | None = None) -> "Page":
    """What is written on: width and colour of standard output (or `stream`)."""
    from ordain.show.page import page_on

    return page_on(stream or sys.stdout, manner.colour)


def tell_findings(findings: list[Finding], manner: Manner, *, beside: Path | None = None,
                  stream: TextIO | None = None, static: Sequence[Finding] = ()) -> None:
    """All findings one by one as text on standard output (or `stream`), then how many there were. `beside`: the machine
    file, so that places are named as they are found from here. `static`: those of them about words, in groups."""
    if not findings:
        return
    from ordain.show.findings import summary_line
    from ordain.show.groups import FindingGroup, grouped

    stream = stream or sys.stdout
    groups = [FindingGroup(finding, (), ()) for finding in findings if finding not in static] + grouped(static)
    for line in finding_lines(groups, page_of(manner, stream), beside=beside):
        print(line, file=stream)
    print(summary_line(findings), file=stream)


def tell_beside(findings: list[Finding], manner: Manner, *, beside: Path, stream: TextIO | None = None) -> None:
    """What the build has to say beside an answer that stands above: a line, for `ordain build` shows it all. Of a quiet
    command findings are all that is wanted, and so is an error."""
    from ordain.show.findings import summary_line
    from ordain.show.page import fold
    from ordain.show.paint import printable

    if manner.quiet or has_errors(findings):
        tell_findings(findings, manner, beside=beside, stream=stream)
    elif findings:
        names = ", ".join(dict.fromkeys(finding.name for finding in findings))
        for line in fold(printable(f"{summary_line(findings)} of the build beside this: {names}; `ordain build` shows "
                                   f"{'it' if len(findings) == 1 else 'them'}"), page_of(manner, stream)):
            print(line, file=stream or sys.stdout)


def finding_lines(groups: "Iterable[FindingGroup]", page: "Page", *, contents: "Contents | None" = None,
                  beside: Path | None = None, diagram: bool = False, everything: bool = True) -> list[str]:
    """Findings as text, an empty line below each. `contents` is needed to draw traces; under a trace stands its timing
    diagram when it was asked for or the terminal is wide. Without `everything` what goes wrong first is shown with its
    sequence, a few others too as far as all has room on a sheet, and of the rest a line each."""
    from ordain.control.phases import cycles_in
    from ordain.show.findings import finding_text, margin_of
    from ordain.show.groups import first_causes, group_lines, rest_lines

    directory = "" if beside is None else from_here(beside.parent)
    shown, rest = (list(groups), []) if everything else first_causes(list(groups))
    lines: list[str] = []
    for group in shown:
        finding, drawn = group.first, []
        others = group_lines(None if contents is None else contents.machine, group, page.indented(margin_of(finding)))
        if contents is not None and finding.trace is not None:
            drawn = _drawn(contents, finding, page, diagram, everything)
        text = finding_text(finding, page, [*drawn, *others], directory).split("\n")
        if (lines and not everything and contents is not None and finding.trace is not None
                and len(lines) + len(text) > SHEET):
            count = cycles_in(contents.machine, finding.trace)
            drawn = [f"how to get there: {count} cycles from reset; --all shows them"]
            text = finding_text(finding._replace(notes=(), help=""), page, [*drawn, *others], directory).split("\n")
        lines += [*text, ""]
    return lines + rest_lines(rest, page)


def _drawn(contents: "Contents", finding: Finding, page: "Page", diagram: bool, everything: bool) -> list[str]:
    from ordain.show.diagram import diagram_lines
    from ordain.show.findings import margin_of
    from ordain.show.traces import trace_lines

    inner = page.indented(margin_of(finding))
    lines = trace_lines(contents, finding.trace, inner, everything=everything)
    if diagram or (sys.stdout.isatty() and page.width >= WIDE):
        lines += ["", *diagram_lines(contents, finding.trace, inner, glyphs())]
    return lines


def glyphs() -> "Glyphs":
    """The characters for levels that standard output has."""
    from ordain.show.diagram import ASCII, UNICODE

    encoding = (getattr(sys.stdout, "encoding", None) or "").lower().replace("-", "")
    return UNICODE if encoding == "utf8" else ASCII


def print_other_format(form: str, findings: list[Finding], contents: "Contents | None" = None, *,
                       beside: Path | None = None, undecided: Sequence[Finding] = ()) -> None:
    """Findings as SARIF 2.1.0 or as workflow annotations; `undecided`: questions without an answer, one each. `beside`:
    the machine file, from whose directory the names of sources are taken."""
    directory = "" if beside is None else from_here(beside.parent)
    if form == "sarif":
        from ordain.show.sarif import sarif_data

        print_json(sarif_data(findings, contents, directory, undecided))
    else:
        from ordain.show.github import annotation_lines

        for line in annotation_lines([*findings, *undecided], directory):
            click.echo(line)


def from_here(directory: Path) -> str:
    """A directory relative to the working directory, with `/`; "" when it is that or does not lie in it: no output
    has absolute paths."""
    relative = Path(os.path.relpath(directory)).as_posix()
    return "" if relative == "." or relative.startswith("..") else relative


def print_json(data: dict[str, Any]) -> None:
    """The result as one JSON document on standard output, all that cannot be seen as `\\uXXXX`. What is our own says
    which version of our schema it keeps."""
    import json

    version = {"schema": SCHEMA} if "command" in data else {}
    text = json.dumps({**version, **data}, indent=2, ensure_ascii=False)
    click.echo("".join(one if one == "\n" or one.isprintable() else json.dumps(one)[1:-1] for one in text))
