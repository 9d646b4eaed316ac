"""Limits of effort put so low that small machines take the ways of large ones: searches that become wide, parts of the
relation that are not joined, choices that are not tried out. No answer may hang on them."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from random import Random

LIMITS: dict[str, tuple[int, ...]] = {
    "prover.symbolic.traces.CLOSING": (1, 3, 256), "prover.symbolic.order.PLAIN": (0, 1, 2),
    "prover.symbolic.outline.FEW": (1, 4), "prover.symbolic.dead.OFTEN": (1, 2, 100),
    "prover.symbolic.dead.SELDOM": (1, 2, 4), "prover.symbolic.space.UNTIDY": (1 << 10, 1 << 21),
    "prover.symbolic.cases.WIDE": (1, 5, 20, 60, 8192), "prover.symbolic.cases.WIDE_PARTS": (1, 20, 200, 15_000),
    "prover.ground.LARGEST": (20, 100, 1000, 200_000), "prover.family.MANY": (0, 1, 4, 12),
    "prover.family.FEW": (0, 1, 2, 8), "prover.swapping.MOST": (1, 4, 1 << 18),
    "compare.shown.WIDEST_TABLE": (1, 3, 14), "compare.shown.WRITTEN_OUT": (1, 3, 10),
    "compare.roots.MOST_COMBINATIONS": (1, 4, 65_536), "checks.static._MOST_STEPS": (1, 2, 64),
}
"""By module and name the values to be tried. What only makes `compare` tell two terms apart that are the same is not
here: it tells a change then where there is none."""


@contextmanager
def lowered(random: Random) -> Iterator[dict[str, int]]:
    """One value of each, for as long as it lasts."""
    chosen = {name: random.choice(values) for name, values in LIMITS.items()}
    before = {name: _set(name, value) for name, value in chosen.items()}
    try:
        yield chosen
    finally:
        for name, value in before.items():
            _set(name, value)


def _set(name: str, value: int) -> int:
    """What it was."""
    module, _, constant = name.rpartition(".")
    home = import_module(f"ordain.{module}")
    was: int = getattr(home, constant)
    setattr(home, constant, value)
    return was
