"""On which values by chance terms are tried before they are proved to be equal: that decides about effort alone.

Anything in half of the trials; in an eighth 0, 1 or all ones; in an eighth few ones; in a quarter one of two words that
other leaves are, too: so that what is 0 or equal once in a thousand times is so in some.
"""

from collections.abc import Callable, Sequence

WIDEST_SHARED = 64
"""Bits of the words that several leaves are in one trial."""


class Lots:
    """What one leaf is in all trials. `some`: a bit of an integer by chance for every trial; `shared`: per bit, modulo
    their number, two of them for all leaves."""

    def __init__(self, some: Callable[[], int], shared: Sequence[tuple[int, int]]) -> None:
        choice = (some(), some(), some())
        small = choice[0] & choice[1] & choice[2]
        self._some, self._words = some, shared
        self._plain, self._sparse = ~choice[0], choice[0] & choice[1] & ~choice[2]
        self._shared, self._first = choice[0] & ~choice[1], some()
        self._all_ones, self._one = small & some() & some(), small & some()

    def lane(self, bit: int) -> int:
        """The leaf's bit in all trials."""
        some = self._some
        ours, others = self._words[bit % len(self._words)]
        return (self._plain & some() | self._sparse & some() & some() & some() | self._all_ones
                | (0 if bit else self._one) | self._shared & (self._first & ours | ~self._first & others))
