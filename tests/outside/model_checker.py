"""Asking Debian's `berkeley-abc` about files in AIGER form. Nothing of this project is used to get its answers."""

import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Literal, NamedTuple

PROGRAM = shutil.which("berkeley-abc") or shutil.which("abc")
MISSING = "no berkeley-abc here: install Debian's package `berkeley-abc` to have a model checker's second opinion"

PREPARE = "logic; undc; strash; zero"
"""Latches without a reset value become free at the start."""

FOLD = "fold"
"""Makes the constraints part of each bad state: one after a broken constraint does not count. Where there is none the
command is an error, which ends the script."""


UNREACHABLE = "The miter is proved unreachable"


class Task(NamedTuple):
    """A file with `count` bad states. "decide": is each of them reachable at all (`reach`, which goes through all
    states at once and is done soonest where none is; else `pdr`); "shortest": in how many cycles at the earliest, if in
    no more than `deepest` (`bmc3`)."""

    path: Path
    count: int
    job: Literal["decide", "shortest"]
    deepest: int = 0


def ask(tasks: Sequence[Task], patience: float) -> list[dict[int, int]]:
    """For each task the bad states that can be reached, each with the number of cycles of the way that was found;
    with "shortest" that is a shortest one. One process for all, and one more for what is left open. Raises
    subprocess.TimeoutExpired after `patience` seconds of one."""
    # without -x this version of bmc3 crashes
    said = _run(tasks, patience, [f"bmc3 -a -x -F {task.deepest + 1}" if task.job == "shortest" else
                                  "reach -B 20000000 -F 100000" for task in tasks])
    found = [{} if UNREACHABLE in text else None if task.job == "decide" else _reached(task, text)
             for task, text in zip(tasks, said, strict=True)]
    left = [task for task, known in zip(tasks, found, strict=True) if known is None]
    more = iter(_run(left, patience, ["pdr -a -n -c"] * len(left)) if left else [])  # -n and -c: the quickest here
    return [_reached(task, next(more)) if known is None else known for task, known in zip(tasks, found, strict=True)]


def _run(tasks: Sequence[Task], patience: float, engines: Sequence[str]) -> list[str]:
    """What is printed about each task."""
    assert PROGRAM is not None
    commands = []
    for number, (task, engine) in enumerate(zip(tasks, engines, strict=True)):
        header = task.path.read_bytes().split(b"\n", 1)[0].split()  # aig M I L O A B C
        commands += [f"echo TASK {number}", f"read_aiger {task.path}", PREPARE, *([FOLD] if int(header[7]) else []),
                     engine]
    done = subprocess.run([PROGRAM, "-q", "; ".join(commands)], capture_output=True, text=True, timeout=patience,
                          check=True)
    said = re.split(r"TASK \d+", done.stdout)[1:]
    assert len(said) == len(tasks), done.stdout
    return said


def _reached(task: Task, text: str) -> dict[int, int]:
    found = {int(number): int(frame) + 1 for number, frame in
             re.findall(r"Output +(\d+) was (?:trivially )?asserted in frame +(\d+)", text)}
    if task.job == "decide":
        total = re.search(r"All = (\d+)\. Proved = (\d+)\. Disproved = (\d+)\. Undecided = (\d+)", text)
        assert total is not None and int(total[1]) == task.count and int(total[4]) == 0, text
        assert int(total[3]) == len(found), text
    return found
