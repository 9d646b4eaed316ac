"""`python -m tests.judge --seconds 600`: hunt for disagreements with fresh seeds."""

import argparse
import sys
from collections import Counter
from multiprocessing import Pool
from pathlib import Path
from random import SystemRandom
from time import monotonic

from tests.judge.hunting import hunt


def _hunted(task: tuple[float, int, Path | None, str, int, bool]) -> Counter[str]:
    counts, _ = hunt(*task, say=lambda text: print(text, flush=True))
    return counts


def main() -> int:
    """Exit status 1 when something was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.judge", description=__doc__)
    parser.add_argument("--seconds", type=float, default=600)
    parser.add_argument("--seed", type=int, default=None, help="the first seed; a fresh one when it is not given")
    parser.add_argument("--machines", type=int, default=0, help="so many seeds at most")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--only", default="",
                        choices=("", "questions", "report", "alone", "shuffled", "pairs", "wires", "several", "cycles",
                                 "clocks", "commands"))
    parser.add_argument("--low", action="store_true", help="with limits of effort that small machines come to")
    parser.add_argument("--into", type=Path, default=None, help="a directory for what is found, made small")
    given = parser.parse_args()
    seed = SystemRandom().randrange(1 << 40) if given.seed is None else given.seed
    print(f"first seed {seed}", flush=True)
    began = monotonic()
    apart = 1 << 44
    tasks = [(given.seconds, seed + job * apart, given.into, given.only, given.machines, given.low)
             for job in range(given.jobs)]
    if given.jobs == 1:
        counts = _hunted(tasks[0])
    else:
        with Pool(given.jobs) as pool:
            counts = sum(pool.map(_hunted, tasks), Counter())
    print(", ".join(f"{count} {name}" for name, count in sorted(counts.items())), f"in {monotonic() - began:.0f} s")
    return 1 if counts["disagreeing"] else 0


if __name__ == "__main__":
    sys.exit(main())
