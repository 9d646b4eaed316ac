"""What every command says about every machine of the project, in terminals of 80, 120 and 200 columns.

A page for each machine and width lies in `pages/`. `python -m tests.golden` writes them again, after a change of what
the program says; the difference is there to be read before it is handed in. How many states and transitions a proof
went over is left out: that is tested elsewhere, and changes with the search.
"""

import contextlib
import io
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import NamedTuple

from ordain.cli.main import run

ROOT = Path(__file__).parent.parent.parent
PAGES = Path(__file__).parent / "pages"
WIDTHS = (80, 120, 200)
_SIZE = re.compile(r"[0-9,]+(\s+)states,(\s+)[0-9,]+(\s+)transitions")


class Subject(NamedTuple):
    """A machine: the directory that is copied, or NEW and the kind of machine to be begun; where in it the commands are
    called, and what they are given. `edit`: (file, old, new), a fault put into it. `commands`: arguments; with one
    command alone only that is called."""

    name: str
    copied: str
    inside: str
    commands: tuple[tuple[str, ...], ...]
    edit: tuple[str, str, str] | None = None


_ALWAYS = (("build",), ("build", "--advice"), ("prove", "--no-cache"), ("prove", "--all", "--no-cache"), ("cycles",))
_HERON = (("step", "load a, n", "--diagram"), ("step", "load a, n", "--word"),
          ("step", "go nn if zero", "--from", "flags=1"), ("burned",),
          ("decode", *(f"build/U{chip}.bin" for chip in (31, 32, 33, 34, 35, 36, 37, 38, 21, 22, 11))),
          ("decode", "U32=build/U33.bin", "U33=build/U32.bin", "build/U34.bin"))

SUBJECTS = (
    Subject("heron", "microcode", ".", (*_ALWAYS, *_HERON)),
    Subject("heron-lend", "microcode", ".", (("build",), ("prove", "--no-cache"), ("compare", "OLD"),
                                             ("compare", "OLD", "--all")),
            ("pause.micro", "lend: release, grant_console,", "lend: point pc, grant_console,")),
    Subject("heron-parity", "microcode", ".", (("build",), ("prove", "--no-cache")),
            ("heron.machine", "even parity of control[59:30]", "even parity of control[59:31]")),
    Subject("half-clock-broken", "examples/half-clock", "broken",
            (*_ALWAYS, ("prove", "--diagram", "--no-cache"))),
    Subject("half-clock-mended", "examples/half-clock", "mended",
            (*_ALWAYS, ("compare", "../broken/barograph.machine"), ("cycles", "--all"),
             ("step", "draw [n]", "--diagram"))),
    Subject("late-grant-broken", "examples/late-grant", "broken", _ALWAYS),
    Subject("late-grant-mended", "examples/late-grant", "mended", _ALWAYS),
    Subject("paired", "examples/paired", ".", _ALWAYS),
    Subject("pause-fight-broken", "examples/pause-fight", "broken",
            (*_ALWAYS, ("prove", "--diagram", "--no-cache"), ("step", "refresh", "--diagram"))),
    Subject("pause-fight-silenced", "examples/pause-fight", "silenced", _ALWAYS),
    Subject("pause-fight-mended", "examples/pause-fight", "mended",
            (*_ALWAYS, ("compare", "../broken/flapboard.machine"))),
    Subject("refresh", "examples/refresh", ".", _ALWAYS),
    Subject("slices", "examples/slices", ".", (*_ALWAYS, ("step", "go nn"))),
    Subject("stepper", "examples/stepper", ".", (*_ALWAYS, ("step", "wait"), ("step", "wait", "--from", "beat_2=0"))),
    Subject("two-masters", "examples/two-masters", ".", _ALWAYS),
    Subject("starter-step", "NEW step", ".", (*_ALWAYS, ("step", "store a, [n]", "--diagram"))),
    Subject("starter-slices", "NEW slices", ".", _ALWAYS),
    Subject("starter", "NEW next-address", ".", (*_ALWAYS, ("step", "show"), ("decode", "build/U1.bin", "build/U2.bin"),
                                    ("burned", "U1", "--date", "2026-03-04"), ("burned",),
                                    ("run", "--put", "pointer=E", "--cycles", "12"))),
)


def page(subject: Subject, width: int) -> str:
    """Every command of a subject with what it says and its exit status, if that is not 0."""
    with TemporaryDirectory() as kept:
        place = Path(kept) / "machine"
        if subject.copied.startswith("NEW "):
            _said(("new", "lamps", "--kind", subject.copied.split()[1], "--in", str(place)), Path(kept), width)
        else:
            ignored = shutil.ignore_patterns("build", "burned*")
            shutil.copytree(ROOT / subject.copied, place, ignore=ignored)
            shutil.copytree(ROOT / subject.copied, Path(kept) / "OLD", ignore=ignored)
        if subject.edit is not None:
            file, old, new = subject.edit
            text = (place / subject.inside / file).read_text()
            if text.count(old) != 1:
                raise ValueError(f"{subject.name}: `{old}` stands {text.count(old)} times in {file}")
            (place / subject.inside / file).write_text(text.replace(old, new))
        parts = []
        for arguments in subject.commands:
            status, said = _said(tuple("../OLD" if one == "OLD" else one for one in arguments), place / subject.inside,
                                 width)
            ending = f"[exit status {status}]\n" if status else ""
            parts.append(f"$ ordain {' '.join(_quoted(one) for one in arguments)}\n{said}{ending}")
    return _SIZE.sub(r"#\1states,\2#\3transitions", "\n".join(parts))


def _quoted(argument: str) -> str:
    return f"'{argument}'" if " " in argument else argument


def _said(arguments: tuple[str, ...], directory: Path, width: int) -> tuple[int, str]:
    """The exit status and all that was said, as on a terminal of that width, without colour. The examples are copied
    without the tree around them, of which they name files."""
    out = io.StringIO()
    with _in(directory), _environment(COLUMNS=str(width), SOURCE_DATE_EPOCH=None, NO_COLOR="1",
                                            ORDAIN_READ_FROM=gettempdir()), \
            contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        status = run(list(arguments))
    return status, out.getvalue()


@contextlib.contextmanager
def _in(directory: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(directory)
    try:
        yield
    finally:
        os.chdir(before)


@contextlib.contextmanager
def _environment(**values: str | None) -> Iterator[None]:
    before = dict(os.environ)
    os.environ.update({name: value for name, value in values.items() if value is not None})
    for name, value in values.items():
        if value is None:
            os.environ.pop(name, None)
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)


def path_of(subject: Subject, width: int) -> Path:
    return PAGES / f"{subject.name}.{width}.txt"
