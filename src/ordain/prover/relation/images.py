"""How a set of environment moves on in one clock, factor by factor.

The environment of one step are independent *factors*: variables, each with inputs of its own. A factor takes
valuation number i to i + delta for each of its moves (delta, those valuations in which the move is possible), so the
image of a set under one factor is a few masks and shifts of one big integer, and the image under all is their
composition (the image of a conjunctively partitioned relation: Burch, Clarke, Long, "Symbolic model checking with
partitioned transition relations", 1991, with bit sets in place of decision diagrams).

A factor overwrites its variable; so factors that still read the old value come first. Where variables read one another
in a ring, the set is taken apart by what the others want to know of one of them (whether it owns the bus, not which of
its states it is in); within each part the ring is open.
"""

from collections.abc import Iterator
from typing import NamedTuple, TypeAlias

from ordain.logic.valuations import Domain

Moves = dict[int, int]
"""From the change of the index to the set of valuations in which it is possible."""


class Factor(NamedTuple):
    """One variable, by its number in the domain. `reads`: mask of the numbers of the variables that decide its
    moves. `invalid`: the valuations in which its next value is one that it does not have."""

    variable: int
    moves: Moves
    reads: int
    invalid: int


class Ring(NamedTuple):
    """Parts of a set that move on separately: (the part, what happens to it in order). The parts do not overlap."""

    parts: tuple[tuple[int, "Stages"], ...]


Stages: TypeAlias = "tuple[tuple[tuple[int, int], ...] | Ring, ...]"
"""One after another: the moves (delta, where) of a factor, or a ring."""


class Relation:
    """A composition of factors, in order."""

    __slots__ = ("invalid", "stages")

    def __init__(self, stages: Stages, invalid: int) -> None:
        self.stages, self.invalid = stages, invalid

    def image(self, found: int) -> int:
        """The set of successors of a set. Raises ValueError when a variable would take a value that it does not
        have."""
        if found & self.invalid:
            raise ValueError("a state variable takes a value that it does not have")
        return _image(self.stages, found)

    def preimage(self, found: int) -> int:
        """The set of valuations with a successor in a set."""
        return _preimage(self.stages, found)

    def masks(self) -> Iterator[int]:
        """The sets that decide, together, which moves a valuation has."""
        waiting = [self.stages]
        while waiting:
            for stage in waiting.pop():
                if isinstance(stage, Ring):
                    for where, stages in stage.parts:
                        yield where
                        waiting.append(stages)
                else:
                    for _, where in stage:
                        yield where


def _image(stages: Stages, found: int) -> int:
    for stage in stages:
        after = 0
        if isinstance(stage, Ring):
            for where, inner in stage.parts:
                part = found & where
                if part:
                    after |= _image(inner, part)
        else:
            for delta, where in stage:
                part = found & where
                if part:
                    after |= part << delta if delta >= 0 else part >> -delta
        if not after:
            return 0
        found = after
    return found


def _preimage(stages: Stages, found: int) -> int:
    for stage in reversed(stages):
        before = 0
        if isinstance(stage, Ring):
            for where, inner in stage.parts:
                before |= _preimage(inner, found) & where
        else:
            for delta, where in stage:
                before |= (found >> delta if delta >= 0 else found << -delta) & where
        if not before:
            return 0
        found = before
    return found


class Step:
    """A relation for the environment in `guard`. `images` and `preimages` remember, by numbers of sets."""

    __slots__ = ("guard", "images", "number", "preimages", "relation")

    def __init__(self, number: int, guard: int, relation: Relation) -> None:
        self.number, self.guard, self.relation = number, guard, relation
        self.images: dict[int, int] = {}
        self.preimages: dict[int, int] = {}


def compose(domain: Domain, factors: list[Factor]) -> Relation:
    """The relation of all factors at once; together they say how every variable of the domain moves."""
    invalid = 0
    for factor in factors:
        invalid |= factor.invalid
    return Relation(_stages(domain, factors), invalid)


def _stages(domain: Domain, factors: list[Factor]) -> Stages:
    stages: list[tuple[tuple[int, int], ...] | Ring] = []
    for ring in _rings(factors):
        if len(ring) > 1:
            stages.append(_opened(domain, ring))
        elif ring[0].moves != {0: domain.full}:
            stages.append(tuple(sorted(ring[0].moves.items())))
    return tuple(stages)


def _opened(domain: Domain, ring: list[Factor]) -> Ring:
    """A ring taken apart by the values of a variable of which the others want to know little."""
    first, kinds = ring[0], _told_apart(domain, ring, ring[0])
    for factor in ring[1:]:
        if len(kinds) <= 2:
            break
        others = _told_apart(domain, ring, factor)
        if len(others) < len(kinds):
            first, kinds = factor, others
    parts = []
    for where, left in kinds:
        moves = tuple((delta, part) for delta, there in sorted(first.moves.items()) if (part := there & where))
        parts.append((where, (moves, *_stages(domain, left))))
    return Ring(tuple(parts))


def _told_apart(domain: Domain, ring: list[Factor], first: Factor) -> list[tuple[int, list[Factor]]]:
    """(the valuations in which the variable has certain values, the other factors as they are with these values; they
    no longer read it). Values with which the others are the same are together."""
    variable = 1 << first.variable
    others = [factor for factor in ring if factor is not first]
    found: dict[tuple[tuple[tuple[int, int], ...], ...], int] = {}
    for value in range(domain.radices[first.variable]):
        moves = tuple(tuple([(delta, part) for delta, where in factor.moves.items()
                             if (part := _whatever(domain, first.variable, value, where))])
                      for factor in others if factor.reads & variable)
        found[moves] = found.get(moves, 0) | domain.having(first.variable, value)
    told = []
    for every, where in found.items():
        left = iter(every)
        told.append((where, [factor._replace(moves=dict(next(left)), reads=factor.reads & ~variable)
                             if factor.reads & variable else factor for factor in others]))
    return told


def _whatever(domain: Domain, variable: int, value: int, where: int) -> int:
    """The valuations that would be in a set if the variable had the value."""
    stride = domain.strides[variable]
    part = (where & domain.having(variable, value)) >> stride * value
    found = 0
    for other in range(domain.radices[variable]):
        found |= part << stride * other
    return found


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
