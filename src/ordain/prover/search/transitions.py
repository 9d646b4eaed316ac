"""From one explicit control state to the next: the ways that lead on from a spot.

All that leads from a spot to another in one cycle is a `Way`, with a block for each choice of selectors. Ways that say
the same are one object, with one memory of images, wherever in the microprogram they occur.
"""

from itertools import product
from typing import NamedTuple

from ordain.machine.expression import Node
from ordain.prover.relation.word_classes import Atom, Computed, Kind, Place, Places, Template
from ordain.prover.search.state_sets import Families
from ordain.prover.search.transition import Block, Later, Part, Way

OPEN_BITS = 8
"""Most bits of what the carried bits decide at one spot that are listed in advance."""


class Reopened(Exception):
    """Some variables should have been explicit: the split has to be made again with them."""

    def __init__(self, leaves: frozenset[Node]) -> None:
        super().__init__("to be split again")
        self._leaves = leaves

    def beside(self, explicit: frozenset[Node]) -> frozenset[Node]:
        """These and those that have been made explicit so far; always more of them, so that this comes to an end."""
        if self._leaves <= explicit:
            raise AssertionError("what is explicit has been asked for once more")
        return explicit | self._leaves


class _Exit(NamedTuple):
    """The templates of a kind that do the same with the explicit bits. `parts`: what they do with the carried bits;
    `alike`: that does not depend on the spot. `reads`: the bits of control that decide what is done."""

    held: int
    fixed: int
    computed: tuple[Computed, ...]
    parts: tuple[Template, ...]
    alike: bool
    reads: int


class _Bundle(NamedTuple):
    """Distinct parts, known by their number; what their closures read."""

    number: int
    parts: tuple[Part, ...]
    reads: int
    of_words: bool


class _Move(NamedTuple):
    """A way from any spot at a place: to the spot that keeps the bits `held` and has those `fixed`."""

    held: int
    fixed: int
    way: Way


class Ways:
    """Finds the ways of a spot."""

    def __init__(self, places: Places, families: Families) -> None:
        self.places, self.shape, self.families = places, places.shape, families
        self._distinct: dict[object, Way] = {}
        self._exits: dict[int, list[_Exit]] = {}
        self._bundles: dict[tuple[Part, ...], _Bundle] = {}
        self._masked: dict[tuple[int, int], _Bundle] = {}
        self._moves: dict[int, list[_Move]] = {}
        self._plain: dict[int, Way] = {}

    def of(self, spot: int) -> list[tuple[Way, int]]:
        """(way, the spot it leads to). Raises Reopened."""
        here = spot
        if self.shape.selectors:
            selections = self.places.selections(spot)
            if len(selections) > 1:
                return self._of_all(selections)
            (here,) = selections
        moves = self._moves.get(here & self.shape.place)
        if moves is not None:
            found = [(way, here & held | fixed) for held, fixed, way in moves]
            if len(found) == 1 or len({target for _, target in found}) == len(found):
                return found
        place = self.places.at(here)
        if place.kind is None:
            return [(self._way([entry]), target) for target, entry in self._blocks(here, place).items()]
        exits = self._exits_of(place.kind)
        apart = self._taken(here, place, exits)
        found = [(self._way_of(bundle, here, place.words), target)
                 for target, bundle in self._joined(here, apart).items()]
        beyond = ~(self.shape.place | self.shape.carried)
        if len(found) == len(apart) and not any(way.reads & beyond for way in exits):
            self._moves[here & self.shape.place] = [_Move(held, fixed, way)
                                                    for (held, fixed, _), (way, _) in zip(apart, found)]
        return found

    def _of_all(self, selections: list[int]) -> list[tuple[Way, int]]:
        """The ways of a spot with several choices of selectors."""
        targets: dict[int, list[tuple[object, Block]]] = {}
        for here in selections:
            for target, entry in self._blocks(here, self.places.at(here)).items():
                targets.setdefault(target, []).append(entry)
        return [(self._way(entries), target) for target, entries in targets.items()]

    def _way_of(self, bundle: _Bundle, here: int, words: int) -> Way:
        if bundle.reads or bundle.of_words:
            return self._way([_block((), {(): bundle}, here, words)])
        way = self._plain.get(bundle.number)
        if way is None:
            way = self._plain[bundle.number] = self._way([_block((), {(): bundle}, here, words)])
        return way

    def _way(self, entries: list[tuple[object, Block]]) -> Way:
        key = tuple([key for key, _ in entries])
        way = self._distinct.get(key)
        if way is None:
            way = self._distinct[key] = Way(len(self._distinct), tuple(block for _, block in entries), self.families)
        return way

    def _blocks(self, here: int, place: Place) -> dict[int, tuple[object, Block]]:
        """Per target the block of this choice of selectors, with a key that tells blocks apart."""
        if place.kind is not None:
            return {target: _block((), {(): bundle}, here, place.words)
                    for target, bundle in self._targets(here, place, place.kind).items()}
        atoms = place.of.atoms
        carried = tuple([atom for atom in atoms if atom.reads & self.shape.carried])
        if sum(atom.node.width for atom in carried) > OPEN_BITS:
            raise Reopened(self._leaves(carried))
        options = [range(1 << atom.node.width) if atom.reads & self.shape.carried
                   else (atom.closure(here, place.words),) for atom in atoms]
        targets: dict[int, dict[tuple[int, ...], _Bundle]] = {}
        every = list(product(*options))
        for values in every:
            opened = tuple([value for atom, value in zip(atoms, values) if atom.reads & self.shape.carried])
            for target, bundle in self._targets(here, place, self.places.kind(place.of, values)).items():
                targets.setdefault(target, {})[opened] = bundle
        found = {}
        for target, rows in targets.items():
            same = {bundle.number for bundle in rows.values()}
            if len(rows) == len(every) and len(same) == 1:  # whatever the carried bits are
                found[target] = _block((), {(): next(iter(rows.values()))}, here, place.words)
            else:
                found[target] = _block(carried, rows, here, place.words)
        return found

    # ------------------------------------------------------------ the parts of one kind of cycle

    def _exits_of(self, kind: Kind) -> list[_Exit]:
        exits = self._exits.get(id(kind))
        if exits is None:
            exits = self._exits[id(kind)] = self._found_exits(kind)
        return exits

    def _taken(self, here: int, place: Place, exits: list[_Exit]) -> list[tuple[int, int, _Bundle]]:
        """For each exit, what it does to the bits of a spot: (those held, those fixed), and the parts that do it."""
        shape, words = self.shape, place.words
        found = []
        for way in exits:
            fixed = way.fixed
            for part in way.computed:
                fixed |= part.atom.closure(here, words) << part.shift
            mask = self.places.live.get((here & way.held | fixed) & shape.location, shape.state)
            bundle = self._masked.get((id(way), mask)) if way.alike else None
            if bundle is None:
                bundle = self._bundle([self._part(template, mask, here, words) for template in way.parts])
                if way.alike:
                    self._masked[id(way), mask] = bundle
            found.append((way.held & mask & shape.explicit, fixed & mask & shape.explicit, bundle))
        return found

    def _joined(self, here: int, apart: list[tuple[int, int, _Bundle]]) -> dict[int, _Bundle]:
        """By the spots that a cycle leads to, the parts that do."""
        found: dict[int, _Bundle] = {}
        for held, fixed, bundle in apart:
            target = here & held | fixed
            known = found.get(target)
            found[target] = bundle if known is None else self._bundle([*known.parts, *bundle.parts])
        return found

    def _targets(self, here: int, place: Place, kind: Kind) -> dict[int, _Bundle]:
        """The same of a cycle of a kind."""
        return self._joined(here, self._taken(here, place, self._exits_of(kind)))

    def _found_exits(self, kind: Kind) -> list[_Exit]:
        """Raises Reopened where carried bits decide about explicit ones."""
        shape = self.shape
        groups: dict[tuple[int, int, tuple[Computed, ...]], list[Template]] = {}
        for held, fixed, computed, step in kind.templates:
            moving = tuple([part for part in computed if part.mask & shape.explicit])
            for part in moving:
                if part.atom.reads & shape.carried:
                    raise Reopened(self._leaves((part.atom,)))
            rest = Template(held & shape.carried, fixed & shape.carried,
                            tuple([part for part in computed if part.mask & shape.carried]), step)
            groups.setdefault((held & shape.explicit, fixed & shape.explicit, moving), []).append(rest)
        found = []
        for (held, fixed, moving), parts in groups.items():
            carrying = [part.atom.reads for template in parts for part in template.computed]
            reads = 0
            for bits in (*carrying, *(part.atom.reads for part in moving)):
                reads |= bits
            alike = all(bits & shape.carried for bits in carrying)
            found.append(_Exit(held, fixed, moving, tuple(parts), alike, reads))
        return found

    def _part(self, template: Template, mask: int, here: int, words: int) -> Part:
        held, fixed, computed, step = template
        later = []
        for part in computed:
            if not part.atom.reads & self.shape.carried:
                fixed |= part.atom.closure(here, words) << part.shift
            elif part.mask & mask:
                later.append(Later(part.shift, part.mask & mask, part.atom))
        return Part(held & mask, fixed & mask, tuple(later), step)

    def _bundle(self, parts: list[Part]) -> _Bundle:
        distinct = tuple(dict.fromkeys(parts))
        bundle = self._bundles.get(distinct)
        if bundle is None:
            atoms = [later.atom for part in distinct for later in part.later]
            reads = 0
            for atom in atoms:
                reads |= atom.reads
            bundle = self._bundles[distinct] = _Bundle(len(self._bundles), distinct, reads,
                                                       any(atom.of_words for atom in atoms))
        return bundle

    def _leaves(self, atoms: tuple[Atom, ...]) -> frozenset[Node]:
        """The carried variables that the atoms read."""
        reads = 0
        for atom in atoms:
            reads |= atom.reads
        shape = self.shape
        return frozenset(variable.leaf for variable in shape.control
                         if (reads & shape.carried) >> shape.shifts[variable.leaf] & (1 << variable.leaf.width) - 1)


def _block(atoms: tuple[Atom, ...], rows: dict[tuple[int, ...], _Bundle], here: int,
           words: int) -> tuple[object, Block]:
    """The block, with a key that tells it apart; of place and words only what its closures read is part of it."""
    reads, of_words = 0, False
    for atom in atoms:
        reads, of_words = reads | atom.reads, of_words or atom.of_words
    for bundle in rows.values():
        reads, of_words = reads | bundle.reads, of_words or bundle.of_words
    here = here & reads
    words = words if of_words else 0
    key = here, words, atoms, tuple([(values, bundle.number) for values, bundle in rows.items()])
    return key, Block(here, words, tuple([atom.closure for atom in atoms]),
                      {values: bundle.parts for values, bundle in rows.items()})
