"""`python -m tests.outside --machines 2000`: machines on a clock, by chance, beside `berkeley-abc` on the export."""

import argparse
import random
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from random import SystemRandom
from time import monotonic

from tests.judge.clocks import clocked
from tests.judge.machines import machine
from tests.judge.tool import build
from tests.outside.beside import Case, disagreements, safety
from tests.outside.model_checker import MISSING, PROGRAM


def main() -> int:
    """Exit status 1 when something was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.outside", description=__doc__)
    parser.add_argument("--machines", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=None, help="the first seed; a fresh one when it is not given")
    parser.add_argument("--patience", type=float, default=60, metavar="S",
                        help="seconds that the model checker is given for a machine, of which some are too hard for it")
    given = parser.parse_args()
    if PROGRAM is None:
        print(MISSING)
        return 2
    seed = SystemRandom().randrange(1 << 40) if given.seed is None else given.seed
    print(f"first seed {seed}", flush=True)
    began, counts = monotonic(), Counter[str]()
    while counts["machines"] < given.machines:
        built, _ = build(clocked(random.Random(seed + 1).choice, machine(random.Random(seed).choice)))
        case = None if built is None else Case(f"seed {seed}", built.contents)
        seed += 1
        if case is None:
            continue
        try:
            with tempfile.TemporaryDirectory() as place:
                found = disagreements([case], Path(place), given.patience)
        except subprocess.TimeoutExpired:
            counts["too hard for the model checker"] += 1
            continue
        except subprocess.CalledProcessError as ended:
            if ended.returncode >= 0:
                raise
            counts["on which the model checker crashed"] += 1
            continue
        counts["machines"] += 1
        for each in found:
            print(each, flush=True)
        counts["properties"] += len(safety(case.contents))
        counts["disagreeing"] += len(found)
    print(", ".join(f"{count} {name}" for name, count in sorted(counts.items())), f"in {monotonic() - began:.0f} s")
    return 1 if counts["disagreeing"] else 0


if __name__ == "__main__":
    sys.exit(main())
