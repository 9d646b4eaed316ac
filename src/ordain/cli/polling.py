"""Which files a machine is read from, and when one of them has other content than before.

Content decides, not the time of a file: a copy with an old date counts as a change, a `touch` does not.
"""

import hashlib
import re
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypeAlias

Snapshot: TypeAlias = dict[Path, str]
"""The SHA-256 of each file; "" of one that is not there or cannot be read."""

PAUSE = 0.1
"""Seconds between two looks."""
SETTLE = 0.02
"""Seconds for which nothing may change before a save counts as finished."""
VANISHED = 0.15
"""Seconds within which a file that is gone may come back: some editors save by removing and renaming."""

_NAMING = re.compile(r"^[ ]*(?:include|microprogram)\b((?:[^\n#]*,[ \t]*(?:#[^\n]*)?\n)*[^\n]*)", re.MULTILINE)
_QUOTED = re.compile(r'"([^"\n]+)"')


def source_files(machine: Path) -> frozenset[Path]:
    """The machine file and every file that it or an included one names, whether it is there or not. Reads only the
    lines that name files, so that a file that is broken elsewhere, or half saved, still says which others matter."""
    found: set[Path] = set()
    waiting = [machine]
    while waiting:
        path = waiting.pop()
        if path in found:
            continue
        found.add(path)
        try:
            text = path.read_text(encoding="utf-8", errors="replace")
        except (OSError, ValueError):
            continue
        named = [name for said in _NAMING.findall(text) for name in _QUOTED.findall(said) if "\0" not in name]
        waiting += [machine.parent / name.replace("\\", "/") for name in named]
    return frozenset(found)


def snapshot(machine: Path) -> Snapshot:
    """The content of everything that the machine is read from."""
    return {path: _digest(path) for path in source_files(machine)}


def _digest(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
    except OSError:
        return ""


def changed_names(before: Snapshot, now: Snapshot) -> list[str]:
    """The names of the files that differ, in alphabetical order."""
    return sorted({path.name for path in before.keys() | now.keys() if before.get(path, "") != now.get(path, "")})


def wait_for_change(known: Snapshot, take: Callable[[], Snapshot],
                    sleep: Callable[[float], object] = time.sleep) -> Snapshot:
    """Looks again and again until something differs from `known` and then stays as it is."""
    while (now := take()) == known:
        sleep(PAUSE)
    waited = 0.0
    while True:
        sleep(SETTLE)
        waited += SETTLE
        again = take()
        if again == now and (waited >= VANISHED or not _vanished(known, now)):
            return now
        now = again


def _vanished(known: Snapshot, now: Snapshot) -> Iterable[Path]:
    return [path for path, digest in now.items() if not digest and known.get(path)]
