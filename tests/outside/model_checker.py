"""Asking Debian's `berkeley-abc` about files in AIGER form. Nothing of this project is used to get its answers."""

import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

PROGRAM = shutil.which("berkeley-abc") or shutil.which("abc")
MISSING = "no berkeley-abc here: install Debian's package `berkeley-abc` to have a model checker's second opinion"

PREPARE = "logic; undc; strash; zero"
"""Latches without a reset value become free at the start."""

FOLD = "fold"
"""Makes the constraints part of each bad state: one after a broken constraint does not count. Where there is none the
command is an error, which ends the script."""


DEEPEST = 80
"""Cycles up to which the shortest way is looked for."""


class Answer(NamedTuple):
    """Of one bad state. `cycles`: how many a shortest way to it has; None when that is more than `DEEPEST`."""

    reachable: bool
    cycles: int | None


def ask(files: Sequence[tuple[Path, int]]) -> list[list[Answer]]:
    """`files`: AIGER files with the number of bad states in each. One process for all: `pdr` decides every bad state,
    and `bmc3` finds how short the way is to those that can be reached (with -x: without it this version crashes)."""
    assert PROGRAM is not None
    commands = []
    for number, (path, _) in enumerate(files):
        header = path.read_bytes().split(b"\n", 1)[0].split()  # aig M I L O A B C
        ready = [f"read_aiger {path}", PREPARE, *([FOLD] if int(header[7]) else [])]
        commands += [f"echo FILE {number} DECIDE", *ready, "pdr -a",
                     f"echo FILE {number} SHORTEST", *ready, f"bmc3 -a -x -F {DEEPEST}"]
    done = subprocess.run([PROGRAM, "-q", "; ".join(commands)], capture_output=True, text=True, timeout=900, check=True)
    parts = re.split(r"FILE (\d+) (DECIDE|SHORTEST)", done.stdout)
    said = {(int(number), step): text for number, step, text in zip(parts[1::3], parts[2::3], parts[3::3], strict=True)}
    return [_answer(said[number, "DECIDE"], said[number, "SHORTEST"], count)
            for number, (_, count) in enumerate(files)]


def _answer(decided: str, searched: str, count: int) -> list[Answer]:
    total = re.search(r"Properties:\s+All = (\d+)\. Proved = (\d+)\. Disproved = (\d+)\. Undecided = (\d+)", decided)
    assert total is not None, decided
    assert int(total[1]) == count and int(total[4]) == 0, decided
    asserted = {int(number) for number, _ in _asserted(decided)}
    assert len(asserted) == int(total[3]), decided
    first = {int(number): int(frame) + 1 for number, frame in _asserted(searched)}
    assert first.keys() <= asserted, (decided, searched)
    return [Answer(number in asserted, first.get(number)) for number in range(count)]


def _asserted(text: str) -> list[tuple[str, str]]:
    """Number of the bad state and of the frame in which it is reached."""
    return re.findall(r"Output +(\d+) was (?:trivially )?asserted in frame +(\d+)", text)
