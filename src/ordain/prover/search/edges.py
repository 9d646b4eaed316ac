"""From one explicit control state to the next: the edges that lead on from a point.

All that leads from a point to another in one cycle is an `Edge`, with a block for each choice of selectors. Edges that
say the same are one object, with one memory of images, wherever in the microprogram they occur. """

from itertools import product
from typing import NamedTuple

from ordain.machine.expression import Node
from ordain.prover.relation.word_classes import Atom, Computed, CycleClass, Entrance, Template, WordClasses
from ordain.prover.search.edge import Block, Edge, Later, Part
from ordain.prover.search.state_sets import StateSets

OPEN_BITS = 8
"""Most bits of what the carried bits decide at one point that are listed in advance."""


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
    `alike`: that does not depend on the point. `reads`: the bits of control that decide what is done."""

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
    """An edge from any point at an entrance: to the point that keeps the bits `held` and has those `fixed`."""

    held: int
    fixed: int
    edge: Edge


class Edges:
    """Finds the edges of a point."""

    def __init__(self, classes: WordClasses, state_sets: StateSets) -> None:
        self.classes, self.shape, self.state_sets = classes, classes.shape, state_sets
        self._distinct: dict[object, Edge] = {}
        self._exits: dict[int, list[_Exit]] = {}
        self._bundles: dict[tuple[Part, ...], _Bundle] = {}
        self._masked: dict[tuple[int, int], _Bundle] = {}
        self._moves: dict[int, list[_Move]] = {}
        self._plain: dict[int, Edge] = {}

    def of(self, point: int) -> list[tuple[Edge, int]]:
        """(edge, the point it leads to). Raises Reopened."""
        here = point
        if self.shape.selectors:
            selections = self.classes.selections(point)
            if len(selections) > 1:
                return self._of_all(selections)
            (here,) = selections
        moves = self._moves.get(here & self.shape.entrance)
        if moves is not None:
            found = [(edge, here & held | fixed) for held, fixed, edge in moves]
            if len(found) == 1 or len({target for _, target in found}) == len(found):
                return found
        entrance = self.classes.at(here)
        if entrance.kind is None:
            return [(self._edge([entry]), target) for target, entry in self._blocks(here, entrance).items()]
        exits = self._exits_of(entrance.kind)
        apart = self._taken(here, entrance, exits)
        found = [(self._edge_of(bundle, here, entrance.words), target)
                 for target, bundle in self._joined(here, apart).items()]
        beyond = ~(self.shape.entrance | self.shape.carried)
        if len(found) == len(apart) and not any(edge.reads & beyond for edge in exits):
            self._moves[here & self.shape.entrance] = [_Move(held, fixed, edge)
                                                    for (held, fixed, _), (edge, _) in zip(apart, found)]
        return found

    def _of_all(self, selections: list[int]) -> list[tuple[Edge, int]]:
        """The edges of a point with several choices of selectors."""
        targets: dict[int, list[tuple[object, Block]]] = {}
        for here in selections:
            for target, entry in self._blocks(here, self.classes.at(here)).items():
                targets.setdefault(target, []).append(entry)
        return [(self._edge(entries), target) for target, entries in targets.items()]

    def _edge_of(self, bundle: _Bundle, here: int, words: int) -> Edge:
        if bundle.reads or bundle.of_words:
            return self._edge([_block((), {(): bundle}, here, words)])
        edge = self._plain.get(bundle.number)
        if edge is None:
            edge = self._plain[bundle.number] = self._edge([_block((), {(): bundle}, here, words)])
        return edge

    def _edge(self, entries: list[tuple[object, Block]]) -> Edge:
        key = tuple([key for key, _ in entries])
        edge = self._distinct.get(key)
        if edge is None:
            blocks = tuple(block for _, block in entries)
            edge = self._distinct[key] = Edge(len(self._distinct), blocks, self.state_sets)
        return edge

    def _blocks(self, here: int, entrance: Entrance) -> dict[int, tuple[object, Block]]:
        """Per target the block of this choice of selectors, with a key that tells blocks apart."""
        if entrance.kind is not None:
            return {target: _block((), {(): bundle}, here, entrance.words)
                    for target, bundle in self._targets(here, entrance, entrance.kind).items()}
        atoms = entrance.of.atoms
        carried = tuple([atom for atom in atoms if atom.reads & self.shape.carried])
        if sum(atom.node.width for atom in carried) > OPEN_BITS:
            raise Reopened(self._leaves(carried))
        options = [range(1 << atom.node.width) if atom.reads & self.shape.carried
                   else (atom.closure(here, entrance.words),) for atom in atoms]
        targets: dict[int, dict[tuple[int, ...], _Bundle]] = {}
        every = list(product(*options))
        for values in every:
            opened = tuple([value for atom, value in zip(atoms, values) if atom.reads & self.shape.carried])
            for target, bundle in self._targets(here, entrance, self.classes.kind(entrance.of, values)).items():
                targets.setdefault(target, {})[opened] = bundle
        found = {}
        for target, rows in targets.items():
            same = {bundle.number for bundle in rows.values()}
            if len(rows) == len(every) and len(same) == 1:  # whatever the carried bits are
                found[target] = _block((), {(): next(iter(rows.values()))}, here, entrance.words)
            else:
                found[target] = _block(carried, rows, here, entrance.words)
        return found

    # ------------------------------------------------------------ the parts of one kind of cycle

    def _exits_of(self, kind: CycleClass) -> list[_Exit]:
        exits = self._exits.get(id(kind))
        if exits is None:
            exits = self._exits[id(kind)] = self._found_exits(kind)
        return exits

    def _taken(self, here: int, entrance: Entrance, exits: list[_Exit]) -> list[tuple[int, int, _Bundle]]:
        """For each exit, what it does to the bits of a point: (those held, those fixed), and the parts that do it."""
        shape, words = self.shape, entrance.words
        found = []
        for edge in exits:
            fixed = edge.fixed
            for part in edge.computed:
                fixed |= part.atom.closure(here, words) << part.shift
            mask = self.classes.live.get((here & edge.held | fixed) & shape.location, shape.state)
            bundle = self._masked.get((id(edge), mask)) if edge.alike else None
            if bundle is None:
                bundle = self._bundle([self._part(template, mask, here, words) for template in edge.parts])
                if edge.alike:
                    self._masked[id(edge), mask] = bundle
            found.append((edge.held & mask & shape.explicit, fixed & mask & shape.explicit, bundle))
        return found

    def _joined(self, here: int, apart: list[tuple[int, int, _Bundle]]) -> dict[int, _Bundle]:
        """By the points that a cycle leads to, the parts that do."""
        found: dict[int, _Bundle] = {}
        for held, fixed, bundle in apart:
            target = here & held | fixed
            known = found.get(target)
            found[target] = bundle if known is None else self._bundle([*known.parts, *bundle.parts])
        return found

    def _targets(self, here: int, entrance: Entrance, kind: CycleClass) -> dict[int, _Bundle]:
        """The same of a cycle of a kind."""
        return self._joined(here, self._taken(here, entrance, self._exits_of(kind)))

    def _found_exits(self, kind: CycleClass) -> list[_Exit]:
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
    """The block, with a key that tells it apart; of entrance and words only what its closures read is part of it."""
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
