"""Sets of addresses as whole numbers: bit `a` is set when address `a` belongs to the set.

A store of 4,096 words is a number of 4,096 bits, and "every base at which these five cells are free" is five shifts
and five ands of such numbers, well under a microsecond each.
"""

import re
from collections.abc import Iterable, Iterator

_ONES = re.compile("1+")


class AddressSpace:
    """The addresses 0 .. size - 1 of a store whose address has `width` bits."""

    __slots__ = ("_zeros", "full", "size", "width")

    def __init__(self, size: int, width: int) -> None:
        self.size, self.width, self.full = size, width, (1 << size) - 1
        self._zeros: dict[int, int] = {}

    def zeros(self, bits: int) -> int:
        """The addresses in which every one of `bits` is 0."""
        found = self._zeros.get(bits)
        if found is None:
            found = 1
            for place in range(self.width):
                if not bits >> place & 1:
                    found |= found << (1 << place)
            found = self._zeros[bits] = found & self.full
        return found

    def ones(self, bits: int) -> int:
        """The addresses in which every one of `bits` is 1."""
        return self.zeros(bits) << bits & self.full

    def page(self, page: int, number: int) -> int:
        """The addresses of page `number`, pages having 2**page words."""
        return (((1 << (1 << page)) - 1) << (number << page)) & self.full

    def pages(self, page: int) -> range:
        """The numbers of all pages of 2**page words, the last of which may be cut off."""
        return range(-(-self.size >> page))

    def reach(self, zeros: int) -> int:
        """The end of the addresses in which the highest of `zeros` are 0: a power of two."""
        return 1 << ((1 << self.width) - 1 & ~zeros).bit_length()

    def rows(self, length: int, counting: int) -> int:
        """The bases from which `length` words stand in one lap of a counter of `counting` bits."""
        found, lap = (1 << max(0, (1 << counting) - length + 1)) - 1, 1 << counting
        while lap < self.size:
            found |= found << lap
            lap *= 2
        return found & self.below(self.size - length + 1)

    def below(self, end: int) -> int:
        """The addresses 0 .. end - 1."""
        return (1 << max(0, min(end, self.size))) - 1


def gather(addresses: Iterable[int], size: int) -> int:
    """The set of the given addresses. Linear, where or-ing single bits together would be quadratic."""
    digits = bytearray(b"0") * size
    for address in addresses:
        digits[-1 - address] = 49
    return int(digits, 2) if size else 0


def room(free: int, length: int) -> int:
    """Every base from which `length` addresses in a row are free."""
    found, have = free, 1
    while have < length:
        step = min(have, length - have)
        found &= found >> step
        have += step
    return found


def lowest(addresses: int) -> int:
    """The lowest address of a set that is not empty."""
    return (addresses & -addresses).bit_length() - 1


def members(addresses: int) -> Iterator[int]:
    """The addresses of a set, ascending."""
    for match in _ONES.finditer(bin(addresses)[:1:-1]):
        yield from range(*match.span())


def segments(addresses: int) -> list[tuple[int, int]]:
    """The maximal runs (start, end) of a set, ascending; `end` is the address after the last."""
    return [match.span() for match in _ONES.finditer(bin(addresses)[:1:-1])]


def cells(base: int, length: int) -> int:
    """The `length` addresses from a base on."""
    return ((1 << length) - 1) << base
