"""The command line of what goes on with fresh seeds for as long as it is given."""

import argparse
from collections import Counter
from collections.abc import Callable
from random import SystemRandom


def hunted(name: str, description: str | None, hunt: Callable[[float, int], Counter[str]]) -> int:
    """Exit status 1 when something was found. `hunt`: seconds, first seed; it counts what is `disagreeing`."""
    parser = argparse.ArgumentParser(prog=f"python -m {name}", description=description)
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--seed", type=int, default=None, help="the first seed; a fresh one when it is not given")
    given = parser.parse_args()
    seed = SystemRandom().randrange(1 << 40) if given.seed is None else given.seed
    print(f"first seed {seed}", flush=True)
    counts = hunt(given.seconds, seed)
    print(", ".join(f"{count} {kind}" for kind, count in sorted(counts.items())))
    return 1 if counts["disagreeing"] else 0
