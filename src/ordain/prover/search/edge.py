"""An edge from points of one kind to one point each: whole sets of states moved on, or back, at once.

A *point* is a control state reduced to its explicit bits. By the values of what the carried bits decide, an edge says
which parts are to be taken: what becomes of the carried bits, and the step of the environment.
"""

from typing import NamedTuple

from ordain.logic.closures import Closure
from ordain.prover.relation.images import Step
from ordain.prover.relation.word_classes import Atom
from ordain.prover.search.state_sets import Pairs, StateSets


class Later(NamedTuple):
    """Carried bits that are computed from carried bits."""

    shift: int
    mask: int
    atom: Atom


class Part(NamedTuple):
    """The carried bits `held`, those `fixed`, those computed; and the step of the environment."""

    held: int
    fixed: int
    later: tuple[Later, ...]
    step: Step


class Block(NamedTuple):
    """`here` and `words`: what else the closures read. `rows`: parts by the values of the atoms."""

    here: int
    words: int
    atoms: tuple[Closure, ...]
    rows: dict[tuple[int, ...], tuple[Part, ...]]

    def parts(self, carried: int) -> tuple[Part, ...]:
        here, words = self.here | carried, self.words
        return self.rows.get(tuple([atom(here, words) for atom in self.atoms]), ())


class Edge:
    """All parts that lead from points of one kind to one point each. `images`: by numbers of state sets; `befores`:
    by the number of the goal, shifted by 32, with that of the states among which it was asked."""

    __slots__ = ("_moves", "_state_sets", "befores", "blocks", "images", "number")

    def __init__(self, number: int, blocks: tuple[Block, ...], state_sets: StateSets) -> None:
        self.number, self.blocks, self._state_sets = number, blocks, state_sets
        self.images: dict[int, int] = {}
        self.befores: dict[int, int] = {}
        self._moves: dict[int, list[tuple[int, Step]]] = {}

    def moves(self, carried: int) -> list[tuple[int, Step]]:
        """(the carried bits afterwards, the step), for each part."""
        found = self._moves.get(carried)
        if found is None:
            distinct: dict[tuple[int, Step], None] = {}
            for block in self.blocks:
                for held, fixed, later, step in block.parts(carried):
                    after = carried & held | fixed
                    for shift, mask, atom in later:
                        after |= atom.closure(block.here | carried, block.words) << shift & mask
                    distinct[after, step] = None
            found = self._moves[carried] = list(distinct)
        return found

    def image(self, state_set: int) -> int:
        """The states one cycle after those of a state set."""
        sets = self._state_sets.sets
        pairs: Pairs = {}
        for carried, inside in self._state_sets.pairs[state_set].items():
            for after, step in self.moves(carried):
                there = step.images.get(inside)
                if there is None:
                    there = step.images[inside] = sets.number(step.relation.image(sets.sets[inside] & step.guard))
                if there:
                    known = pairs.get(after)
                    pairs[after] = there if known is None else sets.join(known, there)
        number = self.images[state_set] = self._state_sets.number(pairs)
        return number

    def before(self, goal: int, among: int) -> int:
        """The states of the set `among` with a successor in the state set `goal`."""
        key = goal << 32 | among
        result = self.befores.get(key)
        if result is None:
            sets, wanted = self._state_sets.sets, self._state_sets.pairs[goal]
            pairs: Pairs = {}
            for carried, inside in self._state_sets.pairs[among].items():
                found = 0
                for after, step in self.moves(carried):
                    there = wanted.get(after)
                    if there is not None:
                        before = step.preimages.get(there)
                        if before is None:
                            before = step.relation.preimage(sets.sets[there]) & step.guard
                            before = step.preimages[there] = sets.number(before)
                        found = sets.join(found, before)
                found = sets.meet(inside, found)
                if found:
                    pairs[carried] = found
            result = self.befores[key] = self._state_sets.number(pairs)
        return result

    def single(self, carried: int, inside: int) -> list[tuple[int, int]]:
        """The successors of one state: (carried bits, set)."""
        found: dict[int, int] = {}
        for after, step in self.moves(carried):
            there = step.relation.image(1 << inside & step.guard)
            if there:
                found[after] = found.get(after, 0) | there
        return list(found.items())
