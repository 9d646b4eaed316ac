"""Reports kept from earlier runs, found again by what they are about and by nothing else.

The key is a SHA-256 over everything that a verdict depends on: this program's own text, the bytes of every source, what
stands in every store and where, and what was asked. Time, paths and names of directories are not in it. Only a report
of a search that came to its end is kept, so limits need no place in the key.

An entry is a file: its own key, the SHA-256 of what follows, and the report as JSON. It is written beside and then
renamed, so two runs at once cannot spoil it; one that is damaged, or is not what its name says, counts as absent and is
written anew. Nothing here can fail a proof: a directory that cannot be used only means that nothing is kept.
"""

import contextlib
import hashlib
import json
import os
import sys
import time
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

from ordain import __version__
from ordain.checks.check import Report
from ordain.checks.kept import report_data, report_from
from ordain.checks.run import Selection
from ordain.rom.contents import Contents

MOST_ENTRIES = 200
MOST_BYTES = 100_000_000
"""When more is kept, what was used longest ago goes."""

DAMAGED = (ValueError, KeyError, IndexError, TypeError, AttributeError, RecursionError)
"""What reading raises of a report that is none."""

_ENDING = ".verdicts"
_ABANDONED = 3600
"""Seconds after which a half-written file belongs to a run that was killed."""


def key_of(contents: Contents, sources: Iterable[tuple[str, str]], selection: Selection) -> str:
    """The key of a proof. `sources`: name and SHA-256 of every file that the contents were compiled from, all of
    them: a file may matter without any place in it being known to the model. They say everything about a word but
    where it was placed, and which of its copies has its label."""
    about = hashlib.sha256(f"{__version__} {sys.version} {own_text()}".encode())
    for name, digest in sources:
        about.update(f"{len(name)} {name} {digest}\n".encode("utf-8", "surrogateescape"))
    for store, words in contents.words.items():
        about.update(f"{store} {words}\n".encode())
        for address, site in sorted(contents.sites.get(store, {}).items()):
            about.update(f"{address} {site.word} {site.label}\n".encode())
    about.update(repr((sorted(selection.only), selection.rule)).encode("utf-8", "surrogateescape"))
    return about.hexdigest()


@cache
def own_text() -> str:
    """SHA-256 of every module of this program, as they are when this is first asked: a verdict of another ordain is
    none, whatever version both call themselves."""
    root = Path(__file__).parent.parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        text = path.read_bytes()
        digest.update(f"{path.relative_to(root).as_posix()} {len(text)}\n".encode())
        digest.update(text)
    return digest.hexdigest()


def load(directory: Path, key: str, contents: Contents) -> Report | None:
    """The report kept under the key; None when there is none, or none that is whole."""
    try:
        return report_from(contents, data_kept(directory, key))
    except DAMAGED:
        return None


def data_kept(directory: Path, key: str) -> Any:
    """What is kept under the key, as it was given; None when there is nothing, or nothing that is whole."""
    path = directory / f"{key}{_ENDING}"
    try:
        head, _, body = path.read_bytes().partition(b"\n")
        if head != _head(key, body):
            return None
        data = json.loads(body)
    except (OSError, ValueError, RecursionError):
        return None
    with contextlib.suppress(OSError):
        os.utime(path)                              # for `prune`: used just now
    return data


def is_there(directory: Path, key: str) -> bool:
    """Whether something is kept under the key: where `load` finds no report all the same, it is damaged."""
    return (directory / f"{key}{_ENDING}").is_file()


def store(directory: Path, key: str, contents: Contents, report: Report) -> None:
    """Keep a report, unless a search was cut short or it would not come back as it is."""
    if report.stopped or any(row.outcome == "undecided" for row in report.rows):
        return
    try:
        data = report_data(contents, report)
        if report_from(contents, json.loads(json.dumps(data))) != report:
            return
    except (ValueError, KeyError, TypeError):
        return
    keep_data(directory, key, data)


def keep_data(directory: Path, key: str, data: Any) -> None:
    """Keep what JSON can say."""
    body = json.dumps(data, separators=(",", ":")).encode()
    beside = directory / f".{key}.{os.getpid()}"
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        beside.write_bytes(_head(key, body) + b"\n" + body)
        os.replace(beside, directory / f"{key}{_ENDING}")
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink()
    prune(directory, MOST_ENTRIES, MOST_BYTES)


def prune(directory: Path, entries: int, size: int) -> None:
    """Keep the `entries` reports used last and not more than `size` bytes of them; clear away what killed runs left.
    Touches only files that are named as ours are."""
    found = []
    with contextlib.suppress(OSError):
        for path in directory.iterdir():
            with contextlib.suppress(OSError):
                status = path.stat()
                if path.name.endswith(_ENDING):
                    found.append((status.st_mtime_ns, path.name, status.st_size, path))
                elif _is_half_written(path.name) and time.time() - status.st_mtime > _ABANDONED:
                    path.unlink()
    total = 0
    for number, (_, _, length, path) in enumerate(sorted(found, reverse=True)):
        total += length
        if number >= entries or total > size:
            with contextlib.suppress(OSError):
                path.unlink()


def _head(key: str, body: bytes) -> bytes:
    return f"ordain verdicts {key} {hashlib.sha256(body).hexdigest()}".encode()


def _is_half_written(name: str) -> bool:
    """`.KEY.PID`"""
    empty, _, rest = name.partition(".")
    key, _, process = rest.partition(".")
    return not empty and len(key) == 64 and process.isdecimal()
