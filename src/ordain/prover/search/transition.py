"""A way from spots of one kind to one spot each: whole families of states moved on, or back, at once.

A *spot* is a control state reduced to its explicit bits. By the values of what the carried bits decide, a way says
which parts are to be taken: what becomes of the carried bits, and the step of the surroundings.
"""

from typing import NamedTuple

from ordain.logic.closures import Closure
from ordain.prover.relation.images import Step
from ordain.prover.relation.word_classes import Atom
from ordain.prover.search.state_sets import Families, Pairs


class Later(NamedTuple):
    """Carried bits that are computed from carried bits."""

    shift: int
    mask: int
    atom: Atom


class Part(NamedTuple):
    """The carried bits `held`, those `fixed`, those computed; and the step of the surroundings."""

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


class Way:
    """All parts that lead from spots of one kind to one spot each. `images`: by numbers of families; `befores`:
    by the number of the goal, shifted by 32, with that of the states among which it was asked."""

    __slots__ = ("_families", "_moves", "befores", "blocks", "images", "number")

    def __init__(self, number: int, blocks: tuple[Block, ...], families: Families) -> None:
        self.number, self.blocks, self._families = number, blocks, families
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

    def image(self, family: int) -> int:
        """The states one cycle after those of a family."""
        sets = self._families.sets
        pairs: Pairs = {}
        for carried, inside in self._families.pairs[family].items():
            for after, step in self.moves(carried):
                there = step.images.get(inside)
                if there is None:
                    there = step.images[inside] = sets.number(step.relation.image(sets.sets[inside] & step.guard))
                if there:
                    known = pairs.get(after)
                    pairs[after] = there if known is None else sets.join(known, there)
        number = self.images[family] = self._families.number(pairs)
        return number

    def before(self, goal: int, among: int) -> int:
        """The states of the family `among` with a successor in the family `goal`."""
        key = goal << 32 | among
        result = self.befores.get(key)
        if result is None:
            sets, wanted = self._families.sets, self._families.pairs[goal]
            pairs: Pairs = {}
            for carried, inside in self._families.pairs[among].items():
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
            result = self.befores[key] = self._families.number(pairs)
        return result

    def single(self, carried: int, inside: int) -> list[tuple[int, int]]:
        """The successors of one state: (carried bits, set)."""
        found: dict[int, int] = {}
        for after, step in self.moves(carried):
            there = step.relation.image(1 << inside & step.guard)
            if there:
                found[after] = found.get(after, 0) | there
        return list(found.items())
