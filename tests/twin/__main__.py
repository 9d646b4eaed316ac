"""`python -m tests.twin --seconds 600`: runs beside Icarus Verilog, machines by chance or the examples.

Every signal, bus, register, word and memory cell is the same in every step, as far as both sides know it. What differs
is written into a directory with its seed. Wants Icarus Verilog (iverilog, vvp).
"""

import argparse
import sys
from collections import Counter
from pathlib import Path
from random import SystemRandom
from time import monotonic

from tests.twin.comparing import Compared
from tests.twin.hunting import EXAMPLES, UNSETTLED, by_chance, example


def main() -> int:
    """Exit status 1 when something differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.twin", description=__doc__)
    parser.add_argument("--seconds", type=float, default=600)
    parser.add_argument("--seed", type=int, default=None, help="the first seed; a fresh one when it is not given")
    parser.add_argument("--machines", type=int, default=0, help="so many machines at most")
    parser.add_argument("--steps", type=int, default=200, help="of each machine")
    parser.add_argument("--examples", action="store_true", help="the examples and heron instead")
    parser.add_argument("--only", default="", help="examples whose name has this in it")
    parser.add_argument("--into", type=Path, default=None, help="a directory for what differs")
    given = parser.parse_args()
    seed = SystemRandom().randrange(1 << 40) if given.seed is None else given.seed
    print(f"first seed {seed}", flush=True)
    began, counts = monotonic(), Counter[str]()
    if given.examples:
        for name in EXAMPLES:
            if given.only in name:
                found = example(name, seed, given.steps)
                _count(counts, found)
                print(f"{name}: {found.steps} steps, {found.both:,} bits that both know, {found.ours:,} only we, "
                      f"{found.theirs:,} only Verilog, {found.fights} fights" + _wrong(found), flush=True)
    else:
        number = 0
        while monotonic() - began < given.seconds and (not given.machines or counts["machines"] < given.machines):
            text, result = by_chance(seed + number, given.steps)
            if isinstance(result, str):
                counts["unsettled" if result == UNSETTLED else "not built"] += 1
            else:
                _count(counts, result)
                if result.wrong:
                    print(f"seed {seed + number}{_wrong(result)}", flush=True)
                    if given.into is not None:
                        given.into.mkdir(parents=True, exist_ok=True)
                        (given.into / f"{seed + number}.machine").write_text(text.machine)
                        (given.into / f"{seed + number}.micro").write_text(text.micro)
            number += 1
    print(", ".join(f"{count:,} {name}" for name, count in counts.items()), f"in {monotonic() - began:.0f} s")
    return 1 if counts["that differ"] else 0


def _count(counts: Counter[str], found: Compared) -> None:
    counts.update({"machines": 1, "steps": found.steps, "bits that both know": found.both, "only we": found.ours,
                   "only Verilog": found.theirs, "fights": found.fights, "that differ": int(bool(found.wrong))})


def _wrong(found: Compared) -> str:
    return "".join(f"\n  {line}" for line in found.wrong[:5])


if __name__ == "__main__":
    sys.exit(main())
