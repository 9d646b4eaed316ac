"""Looking at one line more than once: which clocks or words together leave the fewest suspects.

A clip is at a line for longer than one clock. Where it tells but one of many from the others in each clock, what it
shows in several of them may tell all apart.
"""

from collections.abc import Iterable, Sequence

from ordain.follow.model import Apart

MOST_LOOKS = 4
"""At one line; each makes what a person has to compare longer."""


def by_line(every: Iterable[Apart]) -> list[list[Apart]]:
    """Those at the same line together; of several that tell the same the last."""
    found: dict[str, dict[object, Apart]] = {}
    for one in sorted(every, key=_when):
        found.setdefault(one.line, {})[one.ones, one.zeros, one.values] = one
    return [list(looks.values()) for looks in found.values()]


def at_one_line(looks: Sequence[Apart], among: int) -> Apart:
    """The look that leaves the fewest of so many suspects, with others that together leave fewer still, in their order.
    One of them at least has to tell something."""
    chosen: tuple[Apart, ...] = ()
    left = among
    while left > 1 and len(chosen) < MOST_LOOKS:
        least, best = min(((_all(sorted((*chosen, one), key=_when)).left(among), -number)
                           for number, one in enumerate(looks)), default=(left, 0))
        if least >= left:
            break
        left, chosen = least, (*chosen, looks[-best])
    return _all(sorted(chosen, key=_when))


def _all(looks: Sequence[Apart]) -> Apart:
    return looks[0]._replace(then=tuple(looks[1:]))


def _when(one: Apart) -> tuple[int, int]:
    return one.clock, one.address or 0
