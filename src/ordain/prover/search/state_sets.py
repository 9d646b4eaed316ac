"""Sets of states in two layers, everything distinct kept once and known by its number.

A *set* is a set of environment: an integer, one bit for each valuation. A *state set* belongs to one explicit control
state and says for each value of the carried bits which set of environment goes with it; it stands for a set of states
there. There are few distinct sets and few distinct state sets, so every operation on them is done once for each pair of
numbers and remembered. Number 0 is empty, in both layers.

This is a decision diagram of two fixed layers (in the sense of Bryant, "Graph-based algorithms for Boolean function
manipulation", 1986: unique table and computed table), with a whole bit set in place of the lower levels.
"""

Pairs = dict[int, int]
"""A state set as it is built: value of the carried bits -> number of a set; no empty sets."""


class Sets:
    """Sets of environment by number."""

    __slots__ = ("_joined", "_met", "_numbers", "_without", "sets")

    def __init__(self) -> None:
        self.sets: list[int] = [0]
        self._numbers: dict[int, int] = {0: 0}
        self._joined: dict[int, int] = {}
        self._met: dict[int, int] = {}
        self._without: dict[int, int] = {}

    def number(self, found: int) -> int:
        number = self._numbers.get(found)
        if number is None:
            number = self._numbers[found] = len(self.sets)
            self.sets.append(found)
        return number

    def join(self, a: int, b: int) -> int:
        """In a or in b."""
        if a == b or not b:
            return a
        key = a << 32 | b
        result = self._joined.get(key)
        if result is None:
            result = self._joined[key] = self.number(self.sets[a] | self.sets[b])
        return result

    def meet(self, a: int, b: int) -> int:
        """In both."""
        if a == b:
            return a
        key = a << 32 | b
        result = self._met.get(key)
        if result is None:
            result = self._met[key] = self.number(self.sets[a] & self.sets[b])
        return result

    def without(self, a: int, b: int) -> int:
        """In a, not in b."""
        if a == b:
            return 0
        key = a << 32 | b
        result = self._without.get(key)
        if result is None:
            result = self._without[key] = self.number(self.sets[a] & ~self.sets[b])
        return result


class StateSets:
    """StateSets by number. `pairs[f]` must not be changed."""

    __slots__ = ("_grown", "_joined", "_met", "_numbers", "_sizes", "_within", "_without", "pairs", "sets")

    def __init__(self) -> None:
        self.sets = Sets()
        self.pairs: list[Pairs] = [{}]
        self._numbers: dict[object, int] = {(): 0}
        self._grown: dict[int, tuple[int, int]] = {}
        self._joined: dict[int, int] = {}
        self._met: dict[int, int] = {}
        self._within: dict[int, int] = {}
        self._without: dict[int, int] = {}
        self._sizes: dict[int, int] = {}

    def number(self, pairs: Pairs) -> int:
        key: object = tuple(pairs.items()) if len(pairs) < 2 else frozenset(pairs.items())
        number = self._numbers.get(key)
        if number is None:
            number = self._numbers[key] = len(self.pairs)
            self.pairs.append(pairs)
        return number

    def one(self, carried: int, inside: int) -> int:
        """The state set of a single state."""
        return self.number({carried: self.sets.number(1 << inside)})

    def grow(self, old: int, more: int) -> tuple[int, int]:
        """(what `more` adds to `old`, both together)."""
        key = old << 32 | more
        result = self._grown.get(key)
        if result is None:
            new = self.without(more, old)
            result = self._grown[key] = new, self.join(old, new) if new else old
        return result

    def join(self, a: int, b: int) -> int:
        if a == b or not b:
            return a
        if not a:
            return b
        key = a << 32 | b
        result = self._joined.get(key)
        if result is None:
            pairs, join = dict(self.pairs[a]), self.sets.join
            for carried, there in self.pairs[b].items():
                pairs[carried] = join(pairs.get(carried, 0), there)
            result = self._joined[key] = self.number(pairs)
        return result

    def meet(self, a: int, b: int) -> int:
        if a == b:
            return a
        key = a << 32 | b
        result = self._met.get(key)
        if result is None:
            other, meet = self.pairs[b], self.sets.meet
            pairs = {carried: both for carried, here in self.pairs[a].items()
                     if (both := meet(here, other.get(carried, 0)))}
            result = self._met[key] = self.number(pairs)
        return result

    def without(self, a: int, b: int) -> int:
        if a == b or not b:
            return 0 if a == b else a
        key = a << 32 | b
        result = self._without.get(key)
        if result is None:
            other, without = self.pairs[b], self.sets.without
            pairs = {carried: rest for carried, here in self.pairs[a].items()
                     if (rest := without(here, other.get(carried, 0)))}
            result = self._without[key] = self.number(pairs)
        return result

    def within(self, a: int, inside: int) -> int:
        """The states of a whose environment are in a set, given by number."""
        key = a << 32 | inside
        result = self._within.get(key)
        if result is None:
            meet = self.sets.meet
            pairs = {carried: both for carried, here in self.pairs[a].items() if (both := meet(here, inside))}
            result = self._within[key] = self.number(pairs)
        return result

    def size(self, a: int) -> int:
        """How many states."""
        size = self._sizes.get(a)
        if size is None:
            sets = self.sets.sets
            size = self._sizes[a] = sum(sets[inside].bit_count() for inside in self.pairs[a].values())
        return size

    def lowest(self, a: int) -> tuple[int, int]:
        """The state with the lowest numbers, as (carried bits, environment), of a state set that is not empty."""
        carried = min(self.pairs[a])
        found = self.sets.sets[self.pairs[a][carried]]
        return carried, (found & -found).bit_length() - 1
