"""How a set of surroundings moves on in one clock, factor by factor.

The surroundings of one step are independent *factors*: variables, each with inputs of its own. A factor takes
valuation number i to i + delta for each of its moves (delta, those valuations in which the move is possible), so the
image of a set under one factor is a few masks and shifts of one big integer, and the image under all is their
composition (the image of a conjunctively partitioned relation: Burch, Clarke, Long, "Symbolic model checking with
partitioned transition relations", 1991, with bit sets in place of decision diagrams).

A factor overwrites its variable; so factors that still read the old value come first, and variables that read one
another in a ring are one factor.
"""

from typing import NamedTuple

from ordain.prover.domain import Domain

Moves = dict[int, int]
"""From the change of the index to the set of valuations in which it is possible."""


class Factor(NamedTuple):
    """One variable, by its number in the domain. `reads`: mask of the numbers of the variables that decide its
    moves. `invalid`: the valuations in which its next value is one that it does not have."""

    variable: int
    moves: Moves
    reads: int
    invalid: int


class Relation:
    """A composition of factors, in order."""

    __slots__ = ("invalid", "steps")

    def __init__(self, steps: tuple[tuple[tuple[int, int], ...], ...], invalid: int) -> None:
        self.steps, self.invalid = steps, invalid

    def image(self, found: int) -> int:
        """The set of successors of a set. Raises ValueError when a variable would take a value that it does not
        have."""
        if found & self.invalid:
            raise ValueError("a state variable takes a value that it does not have")
        for moves in self.steps:
            after = 0
            for delta, where in moves:
                part = found & where
                if part:
                    after |= part << delta if delta >= 0 else part >> -delta
            if not after:
                return 0
            found = after
        return found

    def preimage(self, found: int) -> int:
        """The set of valuations with a successor in a set."""
        for moves in reversed(self.steps):
            before = 0
            for delta, where in moves:
                before |= (found >> delta if delta >= 0 else found << -delta) & where
            if not before:
                return 0
            found = before
        return found


class Step:
    """A relation for the surroundings in `guard`. `images` and `preimages` remember, by numbers of sets."""

    __slots__ = ("guard", "images", "number", "preimages", "relation")

    def __init__(self, number: int, guard: int, relation: Relation) -> None:
        self.number, self.guard, self.relation = number, guard, relation
        self.images: dict[int, int] = {}
        self.preimages: dict[int, int] = {}


def compose(domain: Domain, factors: list[Factor]) -> Relation:
    """The relation of all factors at once; together they say how every variable of the domain moves."""
    steps, invalid = [], 0
    for factor in factors:
        invalid |= factor.invalid
    for ring in _rings(factors):
        moves = {0: domain.full}
        for factor in ring:
            moves = _both(moves, factor.moves)
        if moves != {0: domain.full}:
            steps.append(tuple(sorted(moves.items())))
    return Relation(tuple(steps), invalid)


def _both(first: Moves, second: Moves) -> Moves:
    joint: Moves = {}
    for delta, where in first.items():
        for other, there in second.items():
            both = where & there
            if both:
                joint[delta + other] = joint.get(delta + other, 0) | both
    return joint


def _rings(factors: list[Factor]) -> list[list[Factor]]:
    """Groups of factors that read one another in a ring, readers before what they read."""
    waiting = {factor.variable: factor for factor in factors}
    reach = {variable: factor.reads & ~(1 << variable) for variable, factor in waiting.items()}
    for middle in waiting:
        for variable in waiting:
            if reach[variable] >> middle & 1:
                reach[variable] |= reach[middle]
    rings: list[list[Factor]] = []
    placed = 0
    readers = {variable: sum(1 << other for other in waiting if reach[other] >> variable & 1) for variable in waiting}
    while waiting:
        for variable in waiting:
            ring = [other for other in waiting
                    if other == variable or (reach[other] >> variable & 1 and reach[variable] >> other & 1)]
            members = sum(1 << other for other in ring)
            if not readers[variable] & ~placed & ~members:
                rings.append([waiting.pop(other) for other in ring])
                placed |= members
                break
    return rings


def index_changes(domain: Domain, variable: int, planes: tuple[int, ...], where: int) -> tuple[Moves, int]:
    """The moves of a variable whose next value has these planes, for the valuations of `where`; and the valuations in
    which it is a value that the variable does not have."""
    stride, radix = domain.strides[variable], domain.radices[variable]
    values, invalid = _spelt(planes, where, radix)
    moves: Moves = {}
    for old in range(radix):
        mask = domain.having(variable, old)
        for new, there in values:
            part = mask & there
            if part:
                delta = (new - old) * stride
                moves[delta] = moves.get(delta, 0) | part
    return moves, invalid


def _spelt(planes: tuple[int, ...], where: int, radix: int) -> tuple[list[tuple[int, int]], int]:
    parts = [(0, where)] if where else []
    for bit, plane in enumerate(planes):
        split = []
        for value, part in parts:
            ones = part & plane
            if ones:
                split.append((value | 1 << bit, ones))
            if ones != part:
                split.append((value, part ^ ones))
        parts = split
    invalid = 0
    for value, part in parts:
        if value >= radix:
            invalid |= part
    return [(value, part) for value, part in parts if value < radix], invalid
