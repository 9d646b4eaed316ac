"""docs/commands.md and the manual page docs/ordain.1, made from the commands themselves.

`python -m tests.docs.commands` writes both, after a change of a command or an option."""

import re
import textwrap
from collections.abc import Iterator
from pathlib import Path

import click

from ordain import __version__
from ordain.cli.main import COMMANDS, EPILOG, ordain

DOCS = Path(__file__).parent.parent.parent / "docs"
PAGE, MANUAL = DOCS / "commands.md", DOCS / "ordain.1"
OPENING = """\
# Commands

Made from the commands by `python -m tests.docs.commands`; a test holds it to them. `ordain help COMMAND` says the same.

MACHINE is a machine file or a directory with one, named as an argument or by `-m`; it defaults to the only `*.machine`
file of the current directory. A build goes to `build` beside it, or where `--build` says.

| exit status | |
| --- | --- |
| 0 | nothing found |
| 1 | findings |
| 2 | the command line, or a file that cannot be read or written |
| 3 | undecided |
| 70 | a fault of our own |
| 130 | interrupted |
| 141 | the reader of a pipe went away |

Text is folded to the terminal, or to `COLUMNS` where that is set; a pipe gets whole lines. `NO_COLOR` and `FORCE_COLOR`
are obeyed. `--format json` is described by [output.schema.json](output.schema.json).

Completion of commands, options, checks, chips and instructions, in bash; zsh and fish alike:

```sh
eval "$(_ORDAIN_COMPLETE=bash_source ordain)"
```
"""


def commands() -> Iterator[tuple[str, click.Command, click.Context]]:
    """Every command under its full name, those of groups after their group."""
    top = click.Context(ordain, info_name="ordain", help_option_names=["-h", "--help"])
    for name in COMMANDS:
        command = ordain.get_command(top, name)
        assert command is not None
        context = click.Context(command, top, info_name=name)
        yield f"ordain {name}", command, context
        if isinstance(command, click.Group):
            for inner in command.list_commands(context):
                below = command.get_command(context, inner)
                assert below is not None
                yield f"ordain {name} {inner}", below, click.Context(below, context, info_name=inner)


def options(command: click.Command, context: click.Context) -> list[tuple[str, str]]:
    found = [param.get_help_record(context) for param in command.get_params(context) if isinstance(param, click.Option)]
    return [record for record in found if record is not None]


def paragraphs(command: click.Command) -> list[str]:
    return [" ".join(part.split()) for part in (command.help or "").split("\n\n")]


def usage(command: click.Command, context: click.Context) -> str:
    return " ".join([context.command_path, *command.collect_usage_pieces(context)])


def page() -> str:
    parts = [OPENING]
    for name, command, context in commands():
        rows = "\n".join(f"| `{_cell(said)}` | {_cell(what)} |" for said, what in options(command, context))
        text = "\n\n".join(textwrap.fill(part, 120, break_on_hyphens=False, break_long_words=False)
                           for part in paragraphs(command))
        table = f"| option | |\n| --- | --- |\n{rows}\n"
        parts.append(f"## {name}\n\n```text\n{usage(command, context)}\n```\n\n{text}\n\n{table}")
    return "\n".join(parts)


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def manual() -> str:
    """The same as a page for `man`, in the macros of man(7)."""
    lines = [f'.TH ORDAIN 1 "" "ordain {__version__}"', ".SH NAME",
             r"ordain \- control stores compiled, proved and compared",
             ".SH SYNOPSIS", ".B ordain", "COMMAND [OPTIONS] [ARGS]...", ".SH COMMANDS"]
    for _, command, context in commands():
        lines += [f".SS {_roff(usage(command, context))}", *(line for part in paragraphs(command)
                                                             for line in (".PP", _roff(part)))]
        for said, what in options(command, context):
            lines += [".TP", f".B {_roff(said)}", _roff(what)]
    status = re.sub(r"\s+", " ", EPILOG.split("\n\n")[0].replace("\b", "")).strip().removeprefix("Exit status: ")
    return "\n".join([*lines, ".SH EXIT STATUS", _roff(status), ""])


def _roff(text: str) -> str:
    escaped = text.replace("\\", r"\e").replace("-", r"\-")
    return rf"\&{escaped}" if escaped[:1] in (".", "'") else escaped


if __name__ == "__main__":
    PAGE.write_text(page())
    MANUAL.write_text(manual())
