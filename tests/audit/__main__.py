"""`python -m tests.audit --seconds 600`: certificates of machines by chance, with fresh seeds."""

import argparse
import sys
from collections import Counter
from random import SystemRandom
from time import monotonic

from tests.audit.chance import tried


def main() -> int:
    """Exit status 1 when something false is confirmed, or something true refused."""
    parser = argparse.ArgumentParser(prog="python -m tests.audit", description=__doc__)
    parser.add_argument("--seconds", type=float, default=600)
    parser.add_argument("--seed", type=int, default=None, help="the first seed; a fresh one when it is not given")
    given = parser.parse_args()
    seed = SystemRandom().randrange(1 << 40) if given.seed is None else given.seed
    print(f"first seed {seed}", flush=True)
    counts: Counter[str] = Counter()
    began = monotonic()
    while monotonic() - began < given.seconds:
        more, wrong = tried(seed // 2, bool(seed % 2))
        counts += more
        counts["WRONG"] += len(wrong)
        for line in wrong:
            print(line, flush=True)
        seed += 1
    print(", ".join(f"{count} {name}" for name, count in sorted(counts.items())), f"in {monotonic() - began:.0f} s")
    return 1 if counts["WRONG"] else 0


if __name__ == "__main__":
    sys.exit(main())
