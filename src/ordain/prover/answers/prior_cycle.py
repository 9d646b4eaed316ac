"""Conditions over a cycle and the one before it, decided on the edges that the search has found.

What is remembered of a cycle mostly follows from its word and its state alone. Then the states at a point are told
apart by what will be remembered of them, each part moves on along the edges already known, and what is asked one cycle
later is the condition with the remembered values put in. Only where inputs decide what is remembered does the cycle
have to be taken apart with the monitors in it (`monitors`). """

from itertools import islice, product

from ordain.control.model import Variable
from ordain.logic.putting import put_in
from ordain.machine.expression import Const, Node
from ordain.prover.answers.answers import Answers, Region, cut, occurs
from ordain.prover.relation.term_kinds import FREE
from ordain.prover.relation.word_classes import Atom, start_values

Values = tuple[int, ...]
"""What all monitors remember."""
FEW = 8
"""Spots whose successors are looked at before all others: what occurs at all mostly occurs at once."""


class PriorCycle:
    """Monitors that each remember something of the cycle before, and nothing of one another.

    `undecided`: states with which inputs decide what is remembered. `passed_over`: some states were left out, because
    the search does not keep what the monitors or the condition look at there."""

    def __init__(self, answers: Answers, monitors: tuple[Variable, ...]) -> None:
        self._search, self._state_sets = answers.search, answers.search.state_sets
        self._classes_of, self._shape = answers.search.classes, answers.search.shape
        self._leaves = tuple(monitor.leaf for monitor in monitors)
        self._at_start = tuple(start_values(monitor.reset, monitor.values, -1) for monitor in monitors)
        nexts = {variable.leaf: variable.next for variable in self._shape.control}
        self._residues = [self._shape.table.of(nexts[leaf], True) for leaf in self._leaves]
        self._mask = 0
        for residues in self._residues:
            self._mask |= residues.mask
        self._left: dict[int, tuple[tuple[Node, ...], tuple[Atom, ...], int, bool]] = {}
        self._told_apart: dict[tuple[Node, ...], list[tuple[Values, int]] | None] = {}
        self._parts: dict[tuple[object, ...], list[tuple[Values, int]] | None] = {}
        self.undecided: Region = {}
        self.passed_over = False

    def occurs(self, condition: Node, now: Region, goal: set[int]) -> bool:
        """Whether a condition over the monitors occurs at a point of `goal`, at the start or one cycle after states of
        `now`. False says nothing about those undecided or passed over."""
        asked: dict[Values, Node] = {}
        starts = {number: state_set for number, state_set in self._search.levels[0].items() if number in goal}
        if any(self._holds(self._under(condition, values, asked), starts) for values in product(*self._at_start)):
            return True
        points = iter(now.items())
        for some in (dict(islice(points, FEW)), dict(points)):
            for left, region in self._after(some, goal, condition, asked).items():
                if self._holds(left, region):
                    return True
        return False

    def _under(self, condition: Node, values: Values, asked: dict[Values, Node]) -> Node:
        """The condition with what is remembered put in."""
        node = asked.get(values)
        if node is None:
            terms = self._shape.terms
            known = {leaf: terms.const(value, leaf.width) for leaf, value in zip(self._leaves, values)}
            node = asked[values] = put_in(terms, (condition,), known)[0]
        return node

    def _after(self, now: Region, goal: set[int], condition: Node, asked: dict[Values, Node]) -> dict[Node, Region]:
        """The states at points of `goal` one cycle on, by what is left of the condition with what is remembered."""
        state_sets, found = self._state_sets, dict[Node, Region]()
        for number, state_set in now.items():
            parts = self._remembered(number, state_set)
            if parts is None:
                self.undecided[number] = state_set
                continue
            for values, some in parts:
                left = self._under(condition, values, asked)
                if type(left) is Const and not left.value:
                    continue
                region = found.setdefault(left, {})
                for edge, to in self._search.from_here(number):
                    if to in goal and (image := edge.images.get(some) or edge.image(some)):
                        region[to] = state_sets.join(region.get(to, 0), image)
        return found

    def _holds(self, condition: Node, region: Region) -> bool:
        """Whether some input makes a condition of the search's own leaves true in a state of the region."""
        if not region or (type(condition) is Const and not condition.value):
            return False
        found = occurs(self._search, self._classes_of, region, condition)
        if found is None:
            self.passed_over = True
        return found is True

    # ------------------------------------------------------------ what is remembered of a cycle

    def _remembered(self, number: int, state_set: int) -> list[tuple[Values, int]] | None:
        """The state set taken apart by what is remembered of a cycle of its states; None where inputs decide that."""
        classes, point = self._classes_of, self._search.points[number]
        selections = classes.selections(point)
        if len(selections) > 1:
            return None
        (here,) = selections
        words = classes.at(here).words
        left = self._left.get(words & self._mask)
        if left is None:
            left = self._left[words & self._mask] = self._left_under(words)
        nodes, atoms, reads, of_words = left
        if reads & ~classes.kept(point):
            self.passed_over = True
            return []
        key = (nodes, here & reads & ~self._shape.carried, words if of_words else -1, state_set)
        if key not in self._parts:
            self._parts[key] = self._apart(here, words, nodes, atoms, state_set)
        return self._parts[key]

    def _left_under(self, words: int) -> tuple[tuple[Node, ...], tuple[Atom, ...], int, bool]:
        """What the monitors remember under some words: what is left of it, the known terms in that, the bits of control
        that these read, and whether they read words."""
        nodes = tuple(residues.under(words) for residues in self._residues)
        atoms = tuple(dict.fromkeys(atom for node in nodes for atom in self._classes_of.known_in(node)))
        reads = 0
        for atom in atoms:
            reads |= atom.reads
        return nodes, atoms, reads, any(atom.of_words for atom in atoms)

    def _apart(self, here: int, words: int, nodes: tuple[Node, ...], atoms: tuple[Atom, ...],
               state_set: int) -> list[tuple[Values, int]] | None:
        terms, state_sets = self._shape.terms, self._state_sets
        found: dict[Values, int] = {}
        for known, some in cut(state_sets, self._shape.carried, here, words, atoms, state_set):
            put = {atom.node: terms.const(value, atom.node.width) for atom, value in zip(atoms, known)}
            parts = self._by_surroundings(put_in(terms, nodes, put))
            if parts is None:
                return None
            for values, where in parts:
                part = state_sets.within(some, where)
                if part:
                    found[values] = state_sets.join(found.get(values, 0), part)
        return list(found.items())

    def _by_surroundings(self, nodes: tuple[Node, ...]) -> list[tuple[Values, int]] | None:
        """(values, the set, by number, in which the nodes have these), None where they depend on inputs."""
        if nodes not in self._told_apart:
            domain = self._shape.domain
            parts: list[tuple[Values, int]] = [((), domain.full)]
            if any(self._classes_of.support.kinds(node) & FREE for node in nodes):
                self._told_apart[nodes] = None
            else:
                for node in nodes:
                    parts = [((*values, value), there) for values, where in parts
                             for value, there in domain.by_value(node, where)]
                self._told_apart[nodes] = [(values, self._state_sets.sets.number(where)) for values, where in parts]
        return self._told_apart[nodes]
