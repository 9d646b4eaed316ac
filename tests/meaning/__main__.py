"""`python -m tests.meaning --seconds 300`: machines by chance, whose instructions are run and held against what
they are said to do."""

import argparse
import sys
from random import SystemRandom

from tests.meaning.hunting import hunt


def main() -> int:
    """Exit status 1 when something was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.meaning", description=__doc__)
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--seed", type=int, default=None, help="the first seed; a fresh one when it is not given")
    given = parser.parse_args()
    seed = SystemRandom().randrange(1 << 40) if given.seed is None else given.seed
    print(f"first seed {seed}", flush=True)
    counts = hunt(given.seconds, seed)
    print(", ".join(f"{count} {name}" for name, count in sorted(counts.items())))
    return 1 if counts["disagreeing"] else 0


if __name__ == "__main__":
    sys.exit(main())
