"""The states that a machine can be in, cut by what is seen and carried on by what a cycle does.

What a cycle is, is said in `control`; here sets of states are met with what stands on the lines in a cycle, and their
image is taken with the prover's partitioned relation. Nothing is guessed: every state that some sequence leads to while
it shows what was seen is in the set, and no other.
"""

from collections.abc import Iterable, Sequence
from time import monotonic

from oxidd.bdd import BDDFunction

from ordain.control.model import System
from ordain.control.system import with_free
from ordain.follow.model import Seen
from ordain.machine.expression import Node
from ordain.prover.model import Limits, Property
from ordain.prover.questions import lower_properties
from ordain.prover.symbolic.cases import Case, Watch, model_of
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import Part, Relation
from ordain.prover.symbolic.space import by_value


class States:
    """Sets of states under observation. `lines`: the level of each, over the machine's leaves. `asked`: what else will
    be asked of cycles (`may`). Of a machine with phases a cycle is a phase, and nothing may hold its clock. Sets are
    numbers, from 0."""

    def __init__(self, system: System, lines: Sequence[Node], asked: Iterable[Node]) -> None:
        terms = system.terms
        every = tuple(dict.fromkeys((*lines, *asked)))
        lowered = {node: prop.node for node, prop in zip(every, lower_properties(system, tuple(
            Property("reach", "", "reach", node) for node in every)))}
        self.lines = [lowered[node] for node in lines]
        self._lowered = lowered
        properties = tuple(Property("reach", "", "reach", node) for node in lowered.values())
        system = system._replace(free=with_free(system.free, tuple(lowered.values())))
        limits = Limits()
        self.case = Case(model_of(system, properties, limits), (), Watch(limits, None, monotonic()))
        self.system, self.space, self.terms = system, self.case.space, terms
        space = self.space
        self._seen = [space.of(node) for node in self.lines]
        required = self.case.model.required
        reads = required.reads
        for node in self.lines:
            reads |= space.read_by(node)
        parts = self.case.model.parts(self.case.atoms, _no_limit)
        self._relation = Relation(space, parts, self.case.atoms, Part(required.holds, reads, 0), _no_limit)
        self._free = space.cube(range(space.states, space.atoms.count))
        self._numbers: dict[BDDFunction, int] = {}
        self.sets: list[BDDFunction] = []
        self._observed: dict[Seen, BDDFunction] = {}
        self._conditions: dict[Node, BDDFunction] = {}

    def number(self, states: BDDFunction) -> int:
        found = self._numbers.get(states)
        if found is None:
            found = self._numbers[states] = len(self.sets)
            self.sets.append(states)
        return found

    def at_reset(self) -> int:
        return self.number(self.case.start)

    def running(self) -> int:
        """Wherever a machine can be that has run for any time since its reset."""
        return self.number(self.case.layers.reached)

    # ------------------------------------------------------------ one cycle

    def observed(self, seen: Seen) -> BDDFunction:
        found = self._observed.get(seen)
        if found is None:
            found = self.space.true
            for line, condition in enumerate(self._seen):
                if seen.known >> line & 1:
                    found = found & (condition if seen.word >> line & 1 else ~condition)
            self._observed[seen] = found
        return found

    def cycles(self, number: int, seen: Seen) -> BDDFunction:
        """The cycles, states with inputs, that begin in a set and show what was seen."""
        return self.sets[number] & self.observed(seen) & self.case.model.required.holds

    def after(self, number: int, seen: Seen) -> int:
        """The set after a cycle; -1 where nothing in it can show what was seen."""
        self.space.tidy()
        cut = self.sets[number] & self.observed(seen)
        following = self._relation.after(cut)
        return self.number(following) if following.satisfiable() else -1

    def states(self, number: int) -> int:
        """How many states a set has, as far as they are told apart here."""
        return self.case.count(self.sets[number])

    # ------------------------------------------------------------ what is asked of cycles

    def addresses(self, store: str, cycles: BDDFunction) -> set[int]:
        """The addresses of a store in some cycles."""
        space, address = self.space, self.system.addresses[store]
        others = (1 << space.atoms.count) - 1 & ~space.read_by(address)
        wanted = cycles.exists(space.cube(members(others)))
        return {value for value, _ in by_value(space.bits(address), wanted)}

    def at(self, store: str, address: int) -> BDDFunction:
        """The cycles in which a store is addressed so."""
        space = self.space
        found = space.true
        for bit, condition in enumerate(reversed(space.bits(self.system.addresses[store]))):
            found = found & (condition if address >> bit & 1 else ~condition)
        return found

    def presenting(self, number: int, store: str, address: int) -> BDDFunction:
        """The states of a set from which some cycle presents an address."""
        return (self.cycles(number, Seen(0, 0)) & self.at(store, address)).exists(self._free)

    def may(self, node: Node, cycles: BDDFunction) -> tuple[bool, bool]:
        """Whether a condition, one of those asked for, can be 0 and can be 1 in some cycles."""
        condition = self._conditions.get(node)
        if condition is None:
            condition = self._conditions[node] = self.space.of(self._lowered[node])
        return (cycles & ~condition).satisfiable(), (cycles & condition).satisfiable()

    def line_may(self, line: int, cycles: BDDFunction) -> tuple[bool, bool]:
        return (cycles & ~self._seen[line]).satisfiable(), (cycles & self._seen[line]).satisfiable()

    def before(self, number: int, seen: Seen, state: BDDFunction) -> BDDFunction:
        """The states of a set from which a cycle that shows what was seen leads to one state."""
        return self._relation.into(self.sets[number] & self.observed(seen), state)

    def demands(self, seen: Seen) -> tuple[Node, ...]:
        return tuple(node if seen.word >> line & 1 else self.terms.not_(node)
                     for line, node in enumerate(self.lines) if seen.known >> line & 1)


def _no_limit() -> None:
    return None
