"""One hostile input after another: a small machine with everything that belongs to it, one file of it changed, and the
commands that read that file. No command may fail otherwise than with a message, take long, or take much memory, and
nothing may act on the terminal."""

import contextlib
import io
import os
import resource
import shutil
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

from ordain.cli.main import run
from tests.attack import changes
from tests.attack.changes import Choose

ROOT = Path(__file__).parent.parent.parent
LONGEST = 5
"""Seconds of the processor."""
MOST = 1_000_000_000
"""Bytes that a process may come to have."""

SOURCES = {"examples/pause-fight": "mended", "examples/two-masters": ".", "examples/stepper": ".", "microcode": ".",
           "examples/paired": ".", "examples/half-clock": "mended", "examples/refresh": ".", "examples/slices": "."}
"""Directories, and where in them a machine file lies."""


class Kind(NamedTuple):
    """`files`: which files of a machine's directory are changed; `commands`: what then reads them."""

    files: str
    change: Callable[[bytes, Choose], bytes]
    commands: tuple[str, ...]


KINDS = {
    "texts": Kind("**/*.m[ai]c*", changes.text, ("build --out other", "prove --no-cache --limit-seconds 2 --all",
                                            "prove --no-cache --limit-seconds 2 --format json",
                                            "prove --no-cache --limit-seconds 2 --format github")),
    "bytes": Kind("**/*.m[ai]c*", changes.some_bytes, ("build --out other",
                                                  "prove --no-cache --limit-seconds 2 --format sarif")),
    "images": Kind("build/*.bin", changes.some_bytes, ("decode {file}", "decode --all --format json {file}")),
    "hex": Kind("hex/*.[hsm]*", changes.some_bytes, ("decode {chip}={file}", "decode --all {chip}={file}")),
    "manifests": Kind("build/*.json", changes.json_file, ("build", "compare build --no-cache", "decode {image}",
                                                          "prove --no-cache -q")),
    "ledgers": Kind("burned.jsonl", changes.json_file, ("burned", "burned --format json", "burned --restore chips",
                                                       "burned --repair", "decode --format json {image}")),
    "caches": Kind("cache/ordain/*", changes.summed, ("prove", "prove --all", "prove --format json")),
    "certificates": Kind("proof", changes.summed, ("audit proof",)),
}


class Found(NamedTuple):
    """What went wrong. `fault`: in a line."""

    kind: str
    command: str
    fault: str
    data: bytes


class TooLong(BaseException):
    """A command has taken longer than it may."""


@contextlib.contextmanager
def workplace(directory: Path, name: str) -> Iterator[Path]:
    """A copy of an example with a build, hex files, a ledger, a cache and a certificate, in which one stands."""
    home, secret = directory / "home", directory / "secret"
    shutil.rmtree(directory, ignore_errors=True)
    shutil.copytree(ROOT / name, home)
    secret.write_text("nobody reads this")
    before, here = dict(os.environ), Path.cwd()
    os.environ.update(XDG_CACHE_HOME=str(home / SOURCES[name] / "cache"), ORDAIN_READ_FROM=str(home))
    os.chdir(home / SOURCES[name])
    try:
        for command in ("build --also hex --also s19 --also mem", "burned", "prove --keep proof", "prove",
                        "prove --all"):
            _quietly(command.split(), 60)
        chips = [path.stem for path in Path("build").glob("*.bin")]
        _quietly(["burned", *chips, "--date", "2026-11-25"], 60)
        shutil.copytree("build", "hex", ignore=shutil.ignore_patterns("*.bin", "*.json", "*.lst", "*.svg"))
        yield Path.cwd()
    finally:
        os.chdir(here)
        os.environ.clear()
        os.environ.update(before)


def trial(place: Path, kind: str, choose: Choose) -> Found | None:
    """One change of one file; what stood there is put back."""
    what = KINDS[kind]
    files = sorted(path for path in place.glob(what.files) if path.is_file())
    if not files:
        return None
    file = choose(files)
    image = next(iter(sorted(Path("build").glob("*.bin"))), Path("none"))
    whole, build = file.read_bytes(), {path: path.read_bytes() for path in Path("build").iterdir()}
    ledger = Path("burned.jsonl").read_bytes() if Path("burned.jsonl").exists() else None
    data = what.change(whole, choose)
    try:
        for command in what.commands:
            file.write_bytes(data)
            words = command.format(file=file.relative_to(place), chip=file.stem, image=image).split()
            fault = _quietly(words, LONGEST)
            if fault:
                return Found(kind, command, fault, data)
    finally:
        shutil.rmtree("other", ignore_errors=True)
        shutil.rmtree("chips", ignore_errors=True)
        _put_back(build, ledger)
        for path in {*place.glob(what.files)}.difference(files):      # more is kept than before
            path.unlink(missing_ok=True)
        file.write_bytes(whole)
    return None


def _put_back(build: dict[Path, bytes], ledger: bytes | None) -> None:
    for path in Path("build").iterdir():
        if path not in build:
            path.unlink()
    for path, data in build.items():
        path.write_bytes(data)
    if ledger is not None:
        Path("burned.jsonl").write_bytes(ledger)
    Path("burned.torn").unlink(missing_ok=True)


@contextlib.contextmanager
def within(seconds: float) -> Iterator[None]:
    """What takes longer, of the processor, is left with TooLong."""

    def late(*_: object) -> None:
        raise TooLong

    before = signal.signal(signal.SIGPROF, late)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def _quietly(words: list[str], seconds: float) -> str:
    """What is wrong with how a command ends, "" when nothing is."""
    out, err = io.StringIO(), io.StringIO()
    try:
        with within(seconds), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = run(words)
    except TooLong:
        return f"longer than {seconds} s"
    said = out.getvalue() + err.getvalue()
    acting = sorted({letter for letter in said if not letter.isprintable() and letter != "\n"})
    if status not in (0, 1, 2, 3):
        return f"status {status}: {' '.join(said.split())[:300]}"
    if acting:
        return f"{acting} reach the terminal"
    if "nobody reads this" in said:
        return "a file elsewhere is shown"
    if resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 > MOST:
        return "more than 1 GB"
    return ""
