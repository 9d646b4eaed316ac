"""Data kept in files from one run to the next, each entry under a key that says all that it follows from.

An entry is a file: its own key, the SHA-256 of what follows, and the data as JSON. It is written beside and then
renamed, so two runs at once cannot spoil it; one that is damaged, or is not what its name says, counts as absent and is
written anew. Nothing here can fail a command: a directory that cannot be used only means that nothing is kept.
"""

import contextlib
import hashlib
import json
import os
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

MOST_ENTRIES = 200
MOST_BYTES = 100_000_000
"""When more is kept, what was used longest ago goes."""

_ENDING = ".verdicts"
_ABANDONED = 3600
"""Seconds after which a half-written file belongs to a run that was killed."""


@cache
def own_text() -> str:
    """SHA-256 of every module of this program, as they are when this is first asked: a verdict of another ordain is
    none, whatever version both call themselves."""
    root = Path(__file__).parent.parent
    digest = hashlib.sha256()
    for path in sorted(_modules(str(root))):
        with open(path, "rb") as module:
            text = module.read()
        digest.update(f"{Path(path).relative_to(root).as_posix()} {len(text)}\n".encode())
        digest.update(text)
    return digest.hexdigest()


def _modules(directory: str) -> Iterator[str]:
    with os.scandir(directory) as entries:
        for entry in entries:
            if entry.name.endswith(".py"):
                yield entry.path
            elif entry.is_dir():
                yield from _modules(entry.path)


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
