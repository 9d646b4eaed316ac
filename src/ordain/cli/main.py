"""The `ordain` command: commands are loaded when they are called, and every ending has one exit status.

0 nothing found; 1 findings; 2 the command line, or a file that cannot be read or written; 3 undecided; 70 a fault of
our own (EX_SOFTWARE of the BSD header sysexits.h, from memory); 130 interrupted (128 + SIGINT); 141 the reader of our
output has gone (128 + SIGPIPE, as shells say it): that ends quietly, but never with 0, which would mean that something
was proved.
"""

import errno
import gc
import importlib
import io
import os
import signal
import sys

import click

from ordain import __version__

CLOSED_PIPE = 141

COMMANDS = {
    "new": "A small working machine to start from.",
    "build": "Compile, check, write the chip images, read them back.",
    "prove": "Prove every check and rule over all that can happen, or show how it breaks.",
    "audit": "Check what `prove --keep` wrote, by other code than the prover's.",
    "compare": "What a change touched: instructions, verdicts, cycles, chips.",
    "burned": "The burn ledger: what is in the sockets.",
    "cycles": "Least and most cycles of every instruction.",
    "step": "The control sequence of one instruction, cycle by cycle.",
    "run": "Machine code on the microprogram, values and all.",
    "card": "A card to step the machine by hand: lamps, switches, boxes to tick.",
    "follow": "What an analyzer has captured, in the machine's own words, up to what cannot be.",
    "meaning": "What each instruction does, to be pasted in as its meaning.",
    "diagnose": "Which single fault explains a capture that a sound machine does not.",
    "faults": "Every single fault of the stores: who notices it, and what nobody does.",
    "decode": "Chip images back to microinstructions, and what differs from the build.",
    "watch": "Check again at every save.",
    "explain": "What a finding means, an example, the usual repair.",
    "export": "Open formats for other tools: aiger, vcd, verilog, wires.",
}


class CommandsOnDemand(click.Group):
    """A group whose commands are modules of `ordain.cli`, imported only when called: `--help` imports none."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"ordain.cli.{cmd_name}")
        command = module.command
        return command if isinstance(command, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[:1] == ["help"]:
            args = [*args[1:], "--help"] if args[1:] else ["--help"]
            if args == ["--help"]:
                click.echo(ctx.get_help())
                ctx.exit()
        if args and not args[0].startswith("-") and args[0] not in COMMANDS:
            from difflib import get_close_matches

            near = get_close_matches(args[0], COMMANDS, 1)
            ctx.fail(f"no command `{args[0]}`." + (f" Did you mean `{near[0]}`?" if near else ""))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


EPILOG = """\b
Exit status: 0 nothing found; 1 findings; 2 the command line, or a file
that cannot be read or written; 3 undecided; 70 a fault of our own;
130 interrupted; 141 the reader of a pipe went away.

\b
`ordain help COMMAND` is `ordain COMMAND --help`. For completion in bash:
eval "$(_ORDAIN_COMPLETE=bash_source ordain)"; zsh and fish alike.
"""


def _say_version(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    """What a report of a fault needs: our version, that of Python and of what we are made with, and where we are."""
    if not value or ctx.resilient_parsing:
        return
    from importlib.metadata import version
    from pathlib import Path

    made_with = ", ".join(f"{name} {version(name)}" for name in ("click", "pyparsing", "bitarray", "oxidd"))
    python = ".".join(map(str, sys.version_info[:3]))
    click.echo(f"ordain {__version__} (Python {python}, {Path(__file__).parent.parent})\nmade with {made_with}")
    ctx.exit()


@click.group(cls=CommandsOnDemand, epilog=EPILOG,
             context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.option("-V", "--version", is_flag=True, expose_value=False, is_eager=True, callback=_say_version,
              help="Say the version and leave.")
def ordain() -> None:
    """Control stores compiled, proved and compared.

    MACHINE is a machine file or a directory with one, named as an argument or by -m; it defaults to the only
    *.machine file of the current directory. A build goes to `build` beside it, or where --build says.
    """


_ROOM = "make room on that disk, or write elsewhere; what stood there is as it was"
_LEAVE = "check the permissions there, or write elsewhere; what stood there is as it was"
WAYS_OUT = {errno.ENOSPC: _ROOM, errno.EFBIG: _ROOM, errno.EDQUOT: _ROOM, errno.EACCES: _LEAVE, errno.EPERM: _LEAVE,
            errno.EROFS: _LEAVE}
"""What helps when something cannot be written, by errno."""


def main() -> None:
    """Run the command line and leave with its exit status, without looking for garbage once more at the very end (see
    `ordain.cli`)."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")   # sources and file names may hold what the terminal cannot
    status = run(sys.argv[1:])
    signal.signal(signal.SIGINT, signal.SIG_IGN)            # all is said and done
    gc.freeze()
    status = _flushed(status)
    if status == 130:
        # Interrupted within an `exec` of the standard library the interpreter would end itself by the signal, whoever
        # has caught the exception since.
        sys.stderr.flush()
        os._exit(status)
    sys.exit(status)


def _flushed(status: int) -> int:
    """The status, unless the last of the output cannot be written (a full disk): that must not go unseen."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _drop_output()
        return CLOSED_PIPE
    except OSError as failure:
        _drop_output()
        print(f"error: standard output: {failure.strerror or failure}", file=sys.stderr)
        return 2
    return status


def run(arguments: list[str]) -> int:
    """Run the command line `arguments`; the exit status comes back, messages go to standard error."""
    try:
        result = ordain.main(arguments, prog_name="ordain", standalone_mode=False)
    except click.exceptions.Exit as ending:
        return ending.exit_code
    except click.ClickException as complaint:
        complaint.show()
        return 2
    except (click.Abort, KeyboardInterrupt):
        print("interrupted", file=sys.stderr)
        return 130
    except (BrokenPipeError, SystemExit):       # click makes SystemExit of a closed pipe, and of nothing else
        _drop_output()
        return CLOSED_PIPE
    except OSError as failure:
        place = f"{failure.filename}: " if failure.filename else ""
        print(f"error: {place}{failure.strerror or failure}", file=sys.stderr)
        if failure.errno in WAYS_OUT:
            print(f"  help: {WAYS_OUT[failure.errno]}", file=sys.stderr)
        return 2
    except Exception as fault:                      # nobody at a bench gets a traceback: status 70 and what to report
        return own_fault(fault)
    return result if isinstance(result, int) else 0


def own_fault(fault: Exception) -> int:
    """Say that it was us, and what to report. The traceback is kept for those who ask for it."""
    import traceback

    last = traceback.extract_tb(fault.__traceback__)[-1]
    where = f"{os.path.basename(last.filename)}:{last.lineno} in {last.name}"
    print(
        "error[own-fault]: ordain itself has failed; this is our mistake, not yours.\n"
        f"  {type(fault).__name__}: {fault}\n  at {where}, ordain {__version__}\n"
        "  Nothing was written. Please report these lines with the machine's files that led here;\n"
        "  with ORDAIN_TRACEBACK=1 in the environment the whole traceback is printed.",
        file=sys.stderr,
    )
    if os.environ.get("ORDAIN_TRACEBACK"):
        traceback.print_exception(fault)
    return 70


def _drop_output() -> None:
    """After the reader has closed the pipe: no complaint from the interpreter's own flush at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
