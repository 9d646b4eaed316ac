"""How long a cold `ordain prove` takes on each style, and how much memory, beside berkeley-abc on the export.

    python -m benchmarks.styles.measure               # every style at every size
    python -m benchmarks.styles.measure home chain    # some of them
    python -m benchmarks.styles.measure --keep DIR    # leaves the files there

Seconds are processor seconds (user and system) of a whole process, the least of several runs where they are short;
abc's are those of a process that reads the file and decides every property (`pdr -a`). Each is given
`--patience` seconds.
SPIN is not asked here. Each cycle has 15 to 96 free lines in these models, so that each state has over 32,000 next ones
to go through one by one: two of the smallest, exported and written as Promela, came to no end in a minute. Where it can
be asked `benchmarks/prove.py` does.
`growth`: the power of abc's time and of ours in that of the size, from the smallest to the largest.
"""

import argparse
import math
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from benchmarks.styles.catalogue import STYLES, Style

MEMORY = 6 << 30
"""Bytes that each is given."""
COMPILED = {**os.environ, "PYTHONDONTWRITEBYTECODE": "",
            "PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir()) / "ordain-bytecode")}
"""Python's modules compiled already, as they are where ordain is installed."""


class Run(NamedTuple):
    """Processor seconds, megabytes at most, what was printed, and whether it came to its end."""

    seconds: float
    megabytes: float
    text: str
    ended: bool


def run(command: list[str], directory: Path, patience: int) -> Run:
    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (patience, patience))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))

    with tempfile.TemporaryFile("w+") as told:
        before = time.monotonic()
        process = subprocess.Popen(command, cwd=directory, stdout=told, stderr=subprocess.STDOUT, preexec_fn=limited,
                                   env=COMPILED)
        while True:
            done, status, used = os.wait4(process.pid, os.WNOHANG)
            if done:
                break
            if time.monotonic() - before > 3 * patience:
                process.kill()
            time.sleep(0.002)
        process.returncode = os.waitstatus_to_exitcode(status)
        told.seek(0)
        return Run(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, told.read(), 0 <= process.returncode <= 2)


def ours(directory: Path, ordain: str, patience: int) -> Run:
    command = [ordain, "prove", "bench.machine", "--no-cache"]
    found = run(command, directory, patience)
    for _ in range(2 if found.seconds < 2 else 0):
        found = min(found, run(command, directory, patience))
    return found


def abc(directory: Path, ordain: str, patience: int) -> Run:
    made = run([ordain, "export", "aiger", "bench.machine", "--out", "bench.aig"], directory, patience)
    if not made.ended:
        return made._replace(ended=False)
    command = ["berkeley-abc", "-q", "read_aiger bench.aig; logic; undc; strash; zero; print_stats; "
                                     f"pdr -a -n -c -T {3 * patience}"]
    found = run(command, directory, patience)
    for _ in range(2 if found.seconds < 2 else 0):
        found = min(found, run(command, directory, patience))
    return found._replace(ended=found.ended and "Undecided = 0" in found.text)


def told(found: Run) -> str:
    """The last line: how many states, how deep."""
    lines = [line for line in found.text.splitlines() if " states" in line]
    return lines[-1] if lines else (found.text.splitlines() or ["nothing"])[-1][:60]


def measure(style: Style, ordain: str, keep: Path | None, patience: int) -> list[tuple[Run, Run]]:
    rows = []
    for size in style.sizes:
        with tempfile.TemporaryDirectory() as name:
            directory = Path(name) if keep is None else keep / f"{style.name}-{size}"
            directory.mkdir(parents=True, exist_ok=True)
            source = style.make(size)
            (directory / "bench.machine").write_text(source.machine)
            (directory / "bench.micro").write_text(source.micro)
            mine, theirs = ours(directory, ordain, patience), abc(directory, ordain, patience)
        rows.append((mine, theirs))
        goal = 1.0 * theirs.seconds + 0.2
        print(f"{style.name:9} {size:6,}  {seconds(mine)}  {mine.megabytes:6,.0f}  {seconds(theirs)}  "
              f"{theirs.megabytes:6,.0f}  {mine.seconds / theirs.seconds:7.2f}  "
              f"{'met' if mine.ended and mine.seconds <= goal else 'slower'}  {told(mine)}", flush=True)
    return rows


def seconds(found: Run) -> str:
    return f"{found.seconds:8.2f}" if found.ended else f">{found.seconds:7.1f}"


def growth(style: Style, rows: list[Run]) -> str:
    if len(rows) < 2:
        return ""
    return f"{math.log(rows[-1].seconds / rows[0].seconds) / math.log(style.sizes[-1] / style.sizes[0]):.2f}"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("styles", nargs="*")
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--patience", type=int, default=60)
    given = parser.parse_args()
    ordain = shutil.which("ordain", path=str(Path(sys.executable).parent)) or "ordain"
    print("style       size  ordain s      MB     abc s      MB    ratio  goal    ordain says")
    run([ordain, "--version"], Path(), given.patience)
    ratios = []
    for style in STYLES:
        if given.styles and style.name not in given.styles:
            continue
        rows = measure(style, ordain, given.keep, given.patience)
        ratios += [mine.seconds / theirs.seconds for mine, theirs in rows]
        print(f"    growth with {style.grows}: ordain {growth(style, [mine for mine, _ in rows])}, "
              f"abc {growth(style, [theirs for _, theirs in rows])}" if len(rows) > 1 else "", flush=True)
    print(f"geometric mean of the ratios: {math.exp(sum(map(math.log, ratios)) / len(ratios)):.2f}")


if __name__ == "__main__":
    main()
