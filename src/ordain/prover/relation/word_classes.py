"""Entrances with the words read there, and what those words do: the machine boiled down to kinds of cycle.

Words that leave the same residues form a `WordClass`; a class whose deciding terms over control have got their values
is a `CycleClass`, which is taken apart once (`branching`). At an entrance everything that its words and variables
settle is put in, so that masks and shifts are left, but for dispatches and the like.
"""

from collections.abc import Iterator, Sequence
from itertools import product
from typing import NamedTuple

from ordain.control.model import Variable
from ordain.logic.closures import Closure
from ordain.logic.narrowing import bits_read
from ordain.logic.putting import put_in
from ordain.machine.expression import Const, Node
from ordain.prover.relation.branching import Branch, Branching
from ordain.prover.relation.images import Step
from ordain.prover.relation.partition import Partition
from ordain.prover.relation.residues import Residues
from ordain.prover.relation.term_kinds import KNOWN, Support


class Atom(NamedTuple):
    """A known term. `reads`: the bits of control that it reads; `of_words`: whether it reads words, too. `settled`: a
    entrance settles it."""

    node: Node
    closure: Closure
    reads: int
    of_words: bool
    settled: bool


class Computed(NamedTuple):
    """A next value of control that has to be computed; `mask`: the bits of control where it goes."""

    atom: Atom
    shift: int
    mask: int


class Template(NamedTuple):
    """One branch, for all classes: the bits `held`, those `fixed`, and those that are computed."""

    held: int
    fixed: int
    computed: tuple[Computed, ...]
    step: Step


class CycleClass(NamedTuple):
    """A cycle with everything known put in. `allowed`: the environment in which some input satisfies `assumed`."""

    templates: tuple[Template, ...]
    assumed: tuple[Node, ...]
    allowed: int


class Roots(NamedTuple):
    """The next values of control (of `WordClasses.moving`) and of the environment, and the assumptions."""

    control: tuple[Node, ...]
    inside: tuple[Node, ...]
    assumed: tuple[Node, ...]


class EntranceClass:
    """All classes with the same words, as far as these decide anything, and the same values of what else an entrance
    settles. `atoms`: what is still open; `kinds`: by their values."""

    __slots__ = ("atoms", "kinds", "roots")

    def __init__(self, roots: Roots, atoms: tuple[Atom, ...]) -> None:
        self.roots, self.atoms = roots, atoms
        self.kinds: dict[tuple[int, ...], CycleClass] = {}


class WordClass:
    """All words with the same residues. `atoms`: deciding terms that an entrance settles; `settled`: by their
    values."""

    __slots__ = ("atoms", "roots", "settled")

    def __init__(self, roots: Roots, atoms: tuple[Atom, ...]) -> None:
        self.roots, self.atoms = roots, atoms
        self.settled: dict[tuple[int, ...], EntranceClass] = {}


class Entrance:
    """`kind`: where nothing is open."""

    __slots__ = ("kind", "of", "words")

    def __init__(self, words: int, of: EntranceClass, kind: CycleClass | None) -> None:
        self.words, self.of, self.kind = words, of, kind


class WordClasses:
    """Everything that depends on control alone."""

    def __init__(self, shape: Partition, conditions: tuple[Node, ...] = (), whole: "WordClasses | None" = None,
                 running: frozenset[Node] = frozenset()) -> None:
        """With `whole`, the same machine restricted: only cycles with all the conditions are left; what has been worked
        out for the whole is shared. Of the monitors that only look on (`shape.idle`) those in `running` do; the others
        stay 0. `moving`: control without those."""
        self.shape = shape
        terms, table = shape.terms, shape.table
        self.support: Support = Support(shape.known, shape.domain, shape.free) if whole is None else whole.support
        self.branching: Branching = Branching(terms, self.support) if whole is None else whole.branching
        if whole is None:
            self._insides = [table.of(variable.next, False) for variable in shape.environment]
            self._assumed = [table.of(node, False) for node in shape.assumptions]
        else:
            self._insides = whole._insides
            self._assumed = whole._assumed + [table.of(node, False) for node in conditions]
        self.idle = shape.idle - running
        self.moving = tuple(variable for variable in shape.control if variable.leaf not in self.idle)
        self._controls = [table.of(variable.next, True) for variable in self.moving]
        self._step_mask = _joint_mask((*self._controls, *self._insides, *self._assumed))
        self._word_classes: dict[int, WordClass] = {}
        alike = whole if whole is not None and whole.idle == self.idle else None  # roots of the same variables
        self._distinct: dict[Roots, WordClass] = {} if alike is None else alike._distinct
        self._entrance_classes: dict[Roots, EntranceClass] = {} if alike is None else alike._entrance_classes
        self._reads: dict[Node, int] = {} if whole is None else whole._reads
        self._atoms_in: dict[Node, tuple[Atom, ...]] = {}
        self._settled_in: dict[Node, tuple[Atom, ...]] = {}
        self._atoms: dict[Node, Atom] = {} if whole is None else whole._atoms
        self._addresses = [(shape.closures.of(shape.addresses[store]), words, offset)
                           for store, offset, words in shape.stores]
        self._classes_of: dict[int, Entrance] = {}
        self.live: dict[int, int] = {} if whole is None else whole.live

    # ------------------------------------------------------------ classes and kinds

    def at(self, here: int) -> Entrance:
        """The entrance of a control state with its selectors."""
        key = here & self.shape.entrance
        entrance = self._classes_of.get(key)
        if entrance is None:
            entrance = self._classes_of[key] = self._make(key)
        return entrance

    def words_at(self, key: int) -> int:
        words = 0
        for address, table, offset in self._addresses:
            words |= table[address(key, words)] << offset
        return words

    def _make(self, key: int) -> Entrance:
        words = self.words_at(key)
        word_class = self._word_classes.get(words & self._step_mask)
        if word_class is None:
            word_class = self._word_classes[words & self._step_mask] = self._class_of(words)
        values = tuple([atom.closure(key, words) for atom in word_class.atoms])
        of = word_class.settled.get(values)
        if of is None:
            of = word_class.settled[values] = self._settled_class(word_class, values)
        return Entrance(words, of, None if of.atoms else self.kind(of, ()))

    def _class_of(self, words: int) -> WordClass:
        control = tuple(root.under(words) for root in self._controls)
        inside = tuple(root.under(words) for root in self._insides)
        assumed = tuple(node for node in (root.under(words) for root in self._assumed)
                        if type(node) is not Const or not node.value)
        roots = Roots(control, inside, assumed)
        found = self._distinct.get(roots)
        if found is None:
            settled = self.support.deciding(control, (*inside, *assumed), self.is_settled)
            found = self._distinct[roots] = WordClass(roots, tuple(self.atom(node) for node in settled))
        return found

    def _settled_class(self, word_class: WordClass, values: tuple[int, ...]) -> EntranceClass:
        roots = self._with(word_class.roots, word_class.atoms, values)
        found = self._entrance_classes.get(roots)
        if found is None:
            found = self._entrance_classes[roots] = EntranceClass(
                roots, tuple(self.atom(node) for node in self._open_terms(roots)))
        return found

    def _open_terms(self, roots: Roots) -> list[Node]:
        """What an entrance leaves open and what has to be known before the cycle can be taken apart. Next values of
        carried bits need nothing: what is left of them is computed state by state."""
        shape = self.shape
        nexts = [node for variable, node in zip(self.moving, roots.control)
                 if shape.explicit >> shape.shifts[variable.leaf] & 1]
        return self.support.deciding(nexts, (*roots.inside, *roots.assumed), self.is_known)

    def _with(self, roots: Roots, atoms: tuple[Atom, ...], values: tuple[int, ...]) -> Roots:
        """The roots with values put in for atoms."""
        if not atoms:
            return roots
        terms = self.shape.terms
        known = {atom.node: terms.const(value, atom.node.width) for atom, value in zip(atoms, values)}
        first, second = len(roots.control), len(roots.control) + len(roots.inside)
        rest = put_in(terms, (*roots.control, *roots.inside, *roots.assumed), known)
        return Roots(rest[:first], rest[first:second],
                     tuple(node for node in rest[second:] if type(node) is not Const or not node.value))

    def known_in(self, node: Node) -> tuple[Atom, ...]:
        """The largest known terms of a condition."""
        atoms = self._atoms_in.get(node)
        if atoms is None:
            terms = self.support.largest((node,), self.is_known)
            atoms = self._atoms_in[node] = tuple(self.atom(term) for term in terms)
        return atoms

    def settled_in(self, node: Node) -> tuple[Atom, ...]:
        """The largest terms of a condition that an entrance settles."""
        atoms = self._settled_in.get(node)
        if atoms is None:
            terms = self.support.largest((node,), self.is_settled)
            atoms = self._settled_in[node] = tuple(self.atom(term) for term in terms)
        return atoms

    def is_known(self, node: Node) -> bool:
        return self.support.kinds(node) == KNOWN

    def is_settled(self, node: Node) -> bool:
        return self.support.kinds(node) == KNOWN and self.atom(node).settled

    def atom(self, node: Node) -> Atom:
        found = self._atoms.get(node)
        if found is None:
            reads, of_words = self._read_by(node)
            found = self._atoms[node] = Atom(node, self.shape.closures.of(node), reads, of_words,
                                             not reads & ~self.shape.entrance)
        return found

    def reads(self, node: Node) -> int:
        """The bits of control (selectors too) that a term reads."""
        read = self._reads.get(node)
        if read is None:
            read = self._reads[node] = self._read_by(node)[0]
        return read

    def _read_by(self, node: Node) -> tuple[int, bool]:
        shape, mask, of_words = self.shape, 0, False
        pending, seen = [node], set()
        while pending:
            for leaf, bits in bits_read([pending.pop()]).items():
                if leaf in shape.shifts:
                    mask |= bits << shape.shifts[leaf]
                elif leaf in shape.packing.looked_up:
                    if leaf not in seen:
                        seen.add(leaf)
                        pending.append(shape.packing.looked_up[leaf][0])
                else:
                    of_words = of_words or leaf in shape.known
        return mask, of_words

    def kind(self, of: EntranceClass, values: tuple[int, ...]) -> CycleClass:
        """The class with values for all that is open."""
        kind = of.kinds.get(values)
        if kind is None:
            control, inside, assumed = self._with(of.roots, of.atoms, values)
            branches = self.branching.branches(control, inside, assumed)
            kind = of.kinds[values] = CycleClass(tuple(self._template(branch) for branch in branches), assumed,
                                           self.branching.satisfiable(assumed))
        return kind

    def _template(self, branch: Branch) -> Template:
        held, fixed, computed = 0, 0, []
        for variable, node in zip(self.moving, branch.nexts):
            shift = self.shape.shifts[variable.leaf]
            if node is variable.leaf:
                held |= ((1 << node.width) - 1) << shift
            elif type(node) is Const:
                fixed |= node.value << shift
            else:
                computed.append(self.computed(variable, node))
        return Template(held, fixed, tuple(computed), branch.step)

    def computed(self, variable: Variable, node: Node) -> Computed:
        shift = self.shape.shifts[variable.leaf]
        return Computed(self.atom(node), shift, ((1 << node.width) - 1) << shift)

    # ------------------------------------------------------------ what is not kept

    def kept(self, here: int) -> int:
        """The bits of control, selectors among them, that the search tells apart at an entrance. What a term reads
        beside them is not what the machine has there: nothing may be concluded from it. The conditions for which the
        search was made read no such bit; whoever asks for anything else has to look first."""
        return self.live.get(here & self.shape.location, -1)

    # ------------------------------------------------------------ selectors

    def selections(self, state: int) -> list[int]:
        """The control state with every valuation of the selectors that makes a difference here."""
        shape = self.shape
        if not shape.selectors:
            return [state]
        mask = self.kept(state)
        found = {state: None}
        for entry in shape.selectors:
            shift = shape.shifts[entry.leaf]
            values = {value << shift & mask for value in range(entry.values)}
            found = {here | value: None for here in found for value in sorted(values)}
        return list(found)

    # ------------------------------------------------------------ the start

    def scattered(self, most: int) -> frozenset[Node]:
        """The carried variables that begin with any value, where there would be more than so many states to begin with
        for them alone; else none."""
        shape, count, found = self.shape, 1, set[Node]()
        for variable in shape.control:
            shift = shape.shifts[variable.leaf]
            if variable.reset is None and shape.carried >> shift & 1 and variable.leaf not in self.idle:
                kept = max(self.live.get(location, shape.state) >> shift & shape.needed[variable.leaf]
                           for location in start_locations(shape))
                count *= min(variable.values, 1 << kept.bit_count())
                found.add(variable.leaf)
        return frozenset(found) if count > most else frozenset()

    def starts(self) -> Iterator[tuple[int, int]]:
        """Every control state at the start, with the set of the environment at the start."""
        shape = self.shape
        inside = shape.domain.full
        for index, variable in enumerate(shape.environment):
            values = start_values(variable.reset, variable.values, shape.needed[variable.leaf])
            inside &= sum(shape.domain.having(index, value) for value in values)
        for location in start_locations(shape):
            mask = self.live.get(location, shape.state)
            parts = []
            for variable in shape.control:
                shift = shape.shifts[variable.leaf]
                if shape.location >> shift & 1:
                    continue
                wanted = mask >> shift & shape.needed[variable.leaf]
                values = [0] if variable.leaf in self.idle else start_values(variable.reset, variable.values, wanted)
                parts.append((shift, values))
            for choice in _choices(parts):
                yield location | choice, inside


def start_locations(shape: Partition) -> list[int]:
    parts = []
    for variable in shape.control:
        shift = shape.shifts[variable.leaf]
        if shape.location >> shift & 1:
            values = start_values(variable.reset, variable.values, shape.needed[variable.leaf])
            parts.append([value << shift for value in values])
    return [sum(choice) for choice in product(*parts)]


def _choices(parts: Sequence[tuple[int, Sequence[int]]]) -> Iterator[int]:
    """Every choice of a value for each shift, none of the sequences written out."""
    if not parts:
        yield 0
        return
    (shift, values), *others = parts
    for value in values:
        for choice in _choices(others):
            yield value << shift | choice


def start_values(reset: int | None, values: int, mask: int) -> Sequence[int]:
    """The values at the start under a mask."""
    if reset is not None:
        return [reset & mask]
    if mask + 1 == values:
        return range(values)
    if values & values - 1:
        return sorted({value & mask for value in range(values)})
    found = [0]
    for bit in range(values.bit_length() - 1):
        if mask >> bit & 1:
            found += [value | 1 << bit for value in found]
    return found


def _joint_mask(roots: list[Residues] | tuple[Residues, ...]) -> int:
    mask = 0
    for root in roots:
        mask |= root.mask
    return mask
