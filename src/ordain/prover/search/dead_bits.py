"""Which bits of control some path reads, location by location; the others are held at 0 during the search.

The graph is over locations, every branch taken as possible whatever the environment says, so it has at least the edges
that the search will find. A dispatch fans out to all its targets; what follows it hangs on a node of its own, made
once. Where a fan-out is too wide to list, everything counts as read.
"""

from itertools import product
from typing import NamedTuple

from ordain.control.model import Variable
from ordain.logic.liveness import Flow, live_bits
from ordain.logic.narrowing import bits_read
from ordain.logic.putting import put_in
from ordain.machine.expression import Const, If, Join, Leaf, Node, Slice
from ordain.prover.relation.word_classes import Computed, Entrance, EntranceClass, WordClasses, start_locations
from ordain.prover.search.conditions import Queries

FAN_OUT = 1 << 12
"""Most targets of one dispatch, and most classes of one location, that are listed."""
OPEN_BITS = 6
"""Most bits of terms that decide about the next location and whose every valuation is followed."""


class _Exit(NamedTuple):
    """One way for the location to move on: its bits `held`, those `fixed`, those computed."""

    held: int
    fixed: int
    computed: tuple[Computed, ...]


class _Effect(NamedTuple):
    """What the cycles of a class of classes do, as far as liveness is concerned: the bits that they read in any case,
    the exits, and of bits outside the location those that may be held and (target, source) of those computed."""

    reads: int
    exits: tuple[_Exit, ...]
    held: int
    moves: tuple[tuple[int, int], ...]


def hold_dead_bits(classes: WordClasses, queries: Queries) -> int:
    """Fills `classes.live`: location -> the bits of control worth keeping there, for the conditions of the queries.
    Returns how many bits of variables were found dead, summed over the locations."""
    graph = _Graph(classes, queries)
    graph.explore()
    live = live_bits(graph.reads, graph.flows)
    shape = classes.shape
    idle = sum(((1 << leaf.width) - 1) << shape.shifts[leaf] for leaf in shape.idle)  # whenever they are set running
    classes.live.update((location, live[node] | shape.location | idle) for location, node in graph.nodes.items())
    queries.covered = True
    kept = sum(shape.needed[variable.leaf] << shape.shifts[variable.leaf] for variable in shape.control)
    return sum((kept & ~mask).bit_count() for mask in classes.live.values())


class _Graph:
    """Locations and fan-outs by number: `reads` and `flows` are what `live_bits` takes."""

    def __init__(self, classes: WordClasses, queries: Queries) -> None:
        self.classes, self.shape, self._queries = classes, classes.shape, queries
        self.nodes: dict[int, int] = {}
        self.reads: list[int] = []
        self.flows: list[list[Flow]] = []
        self._waiting: list[int] = []
        self._everything = -1
        self._fans: dict[object, int] = {}
        self._effects: dict[EntranceClass, _Effect | None] = {}
        self._fields = [variable for variable in self.shape.control
                        if self.shape.entrance & ~self.shape.location & self._mask(variable.leaf)]
        self._others = self._beside()

    def explore(self) -> None:
        for location in start_locations(self.shape):
            self._node(location)
        while self._waiting:
            location = self._waiting.pop()
            self._visit(location, self.nodes[location])

    def _mask(self, leaf: Node) -> int:
        return ((1 << leaf.width) - 1) << self.shape.shifts[leaf]

    def _node(self, location: int) -> int:
        node = self.nodes.get(location)
        if node is None:
            node = self.nodes[location] = self._new(0)
            self._waiting.append(location)
        return node

    def _new(self, reads: int) -> int:
        self.reads.append(reads)
        self.flows.append([])
        return len(self.reads) - 1

    def _anywhere(self) -> int:
        """The node for what cannot be listed: everything is read there."""
        if self._everything < 0:
            self._everything = self._new(self.shape.state)
        return self._everything

    # ------------------------------------------------------------ one location

    def _visit(self, location: int, node: int) -> None:
        if self._others is None:
            self.reads[node] = self.shape.state | self.shape.selecting
            self.flows[node].append(Flow(0, (), self._anywhere()))
            return
        here = [location | other for other in self._others]
        flows: dict[Flow, None] = {}
        reads = self._relevant(here) if len(here) > 1 else 0
        for state in here:
            entrance = self.classes.at(state)
            effect = self._effect(entrance.of)
            reads |= self._queries.at(state, entrance).reads
            if effect is None:
                reads = self.shape.state | self.shape.selecting
                flows[Flow(0, (), self._anywhere())] = None
                break
            reads |= effect.reads
            for edge in effect.exits:
                flows[Flow(effect.held, effect.moves, self._after(state, entrance, edge))] = None
        self.reads[node] |= reads
        self.flows[node] = list(flows)

    def _beside(self) -> list[int] | None:
        """Every valuation of what else, beside the location, decides the words; None when there are too many."""
        parts = [[value << self.shape.shifts[variable.leaf] for value in range(variable.values)]
                 for variable in self._fields]
        parts += [[value << self.shape.shifts[entry.leaf] for value in range(entry.values)]
                  for entry in self.shape.selectors]
        size = 1
        for part in parts:
            size *= len(part)
        return None if size > FAN_OUT else [sum(choice) for choice in product(*parts)]

    def _relevant(self, here: list[int]) -> int:
        """The bits, beside the location, on which it depends which words are read and what they settle."""
        marks: dict[object, int] = {}
        marked = {}
        for state in here:
            entrance = self.classes.at(state)
            mark = (entrance.words, id(entrance.of), id(self._queries.at(state, entrance)))
            marked[state] = marks.setdefault(mark, len(marks))
        relevant, bits = 0, self.shape.entrance & ~self.shape.location
        while bits:
            bit = bits & -bits
            bits ^= bit
            if any(marked[state] != marked.get(state ^ bit, marked[state]) for state in here):
                relevant |= bit
        return relevant

    # ------------------------------------------------------------ classes of classes

    def _effect(self, of: EntranceClass) -> _Effect | None:
        """None when there are too many ways for the location to move on."""
        if of not in self._effects:
            self._effects[of] = self._found_effect(of)
        return self._effects[of]

    def _found_effect(self, of: EntranceClass) -> _Effect | None:
        shape = self.shape
        moving = self.classes.moving
        variables = [variable for variable in moving if self._moves_location(variable)]
        roots = tuple(node for variable, node in zip(moving, of.roots.control) if self._moves_location(variable))
        exits = self._exits(variables, roots)
        if exits is None:
            return None
        reads, held, moves = 0, 0, []
        for atom in of.atoms:
            reads |= atom.reads
        for edge in exits:
            for part in edge.computed:
                reads |= part.atom.reads
        for variable, node in zip(moving, of.roots.control):
            if not self._moves_location(variable):
                kept, found = _pieces(self.classes, node, shape.shifts[variable.leaf])
                held |= kept
                moves += found
        return _Effect(reads, exits, held, tuple(moves))

    def _moves_location(self, variable: Variable) -> bool:
        return bool(self.shape.location >> self.shape.shifts[variable.leaf] & 1)

    def _exits(self, variables: list[Variable], roots: tuple[Node, ...]) -> tuple[_Exit, ...] | None:
        """The distinct next locations, for every valuation of what decides about them."""
        classes, terms = self.classes, self.shape.terms
        atoms = classes.support.deciding(roots, (), classes.is_known)
        if sum(atom.width for atom in atoms) > OPEN_BITS:
            return None
        distinct: dict[tuple[Node, ...], None] = {}
        for values in product(*(range(1 << atom.width) for atom in atoms)):
            known = {atom: terms.const(value, atom.width) for atom, value in zip(atoms, values)}
            rest = put_in(terms, roots, known) if known else roots
            distinct.update(dict.fromkeys(classes.branching.control(rest, (), self.shape.domain.full)))
        return tuple(dict.fromkeys(self._exit(variables, nexts) for nexts in distinct))

    def _exit(self, variables: list[Variable], nexts: tuple[Node, ...]) -> _Exit:
        held, fixed, computed = 0, 0, []
        for variable, node in zip(variables, nexts):
            if node is variable.leaf:
                held |= self._mask(variable.leaf)
            elif type(node) is Const:
                fixed |= node.value << self.shape.shifts[variable.leaf]
            else:
                computed.append(self.classes.computed(variable, node))
        return _Exit(held, fixed, tuple(computed))

    # ------------------------------------------------------------ where it goes on

    def _after(self, state: int, entrance: Entrance, edge: _Exit) -> int:
        """The node that an exit leads to."""
        after = state & edge.held | edge.fixed
        later: list[Computed] = []
        for part in edge.computed:
            if part.atom.settled:
                after |= part.atom.closure(state, entrance.words) << part.shift
            else:
                later.append(part)
        return self._fan(state, entrance, after, later) if later else self._node(after)

    def _fan(self, state: int, entrance: Entrance, after: int, later: list[Computed]) -> int:
        """The node that stands for every location that the open parts can lead to."""
        open_bits = 0
        for part in later:
            open_bits |= part.atom.reads
        settled = self._settled(state, entrance, later)
        open_bits &= ~self.shape.entrance
        key = (after, tuple(part.atom.node for part in later), settled)
        fan = self._fans.get(key)
        if fan is not None:
            return fan
        if 1 << open_bits.bit_count() > FAN_OUT:
            fan = self._anywhere()
        else:
            fan = self._new(0)
            targets = set()
            for choice in _valuations(open_bits):
                found = after
                for part in later:
                    found |= part.atom.closure(state & self.shape.entrance | choice, entrance.words) << part.shift
                targets.add(found)
            self.flows[fan] = [Flow(self.shape.state, (), self._node(target)) for target in sorted(targets)]
        self._fans[key] = fan
        return fan

    def _settled(self, state: int, entrance: Entrance, later: list[Computed]) -> tuple[int, int]:
        """What an entrance contributes to the open parts: its own bits that they read, and its words if they read
        any."""
        reads, words = 0, 0
        for part in later:
            reads |= part.atom.reads
            if any(leaf in self.shape.packing.spots and self.shape.packing.spots[leaf].in_words
                   for leaf in bits_read([part.atom.node])):
                words = entrance.words
        return state & self.shape.entrance & reads, words


def _valuations(mask: int) -> list[int]:
    found = [0]
    while mask:
        bit = mask & -mask
        mask ^= bit
        found += [value | bit for value in found]
    return found


def _pieces(classes: WordClasses, root: Node, shift: int) -> tuple[int, list[tuple[int, int]]]:
    """Of a next value whose lowest bit stands at `shift`: the bits that stay where they are, and for the others
    (target bits, the bits they are computed from)."""
    shifts = classes.shape.shifts
    held, moves = 0, []
    waiting: list[tuple[Node, int]] = [(root, shift)]
    while waiting:
        node, at = waiting.pop()
        whole = ((1 << node.width) - 1) << at
        leaf = node.args[0] if type(node) is Slice else node
        if type(node) is Const:
            continue
        if type(leaf) is Leaf and leaf in shifts:
            source = ((1 << node.width) - 1) << (shifts[leaf] + (node.low if type(node) is Slice else 0))
            if source == whole:
                held |= whole
            else:
                moves.append((whole, source))
        elif type(node) is If:
            moves.append((whole, classes.reads(node.args[0])))
            waiting += [(node.args[1], at), (node.args[2], at)]
        elif type(node) is Join:
            for part in reversed(node.args):
                waiting.append((part, at))
                at += part.width
        else:
            moves.append((whole, classes.reads(node)))
    return held, moves

