"""The states that a machine can be in, cut by what is seen and carried on by what a cycle does.

What a cycle is, is said in `control`; here sets of states are met with what stands on the lines in a cycle, and their
image is taken with the prover's partitioned relation. Nothing is guessed: every state that some sequence leads to while
it shows what was seen is in the set, and no other.
"""

from collections.abc import Collection, Iterable, Sequence
from copy import copy
from time import monotonic

from oxidd.bdd import BDDFunction

from ordain.control.model import System
from ordain.control.system import with_free
from ordain.follow.model import Hypothesis, Seen, with_bit
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Leaf, Node, Not, Slice, substitute
from ordain.prover.limits import memory_taken
from ordain.prover.model import Limits, Property
from ordain.prover.questions import lower_properties, nodes_of
from ordain.prover.symbolic.cases import SearchCase, SearchWatch, model_of, required_of
from ordain.prover.symbolic.paths import one_of
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import LARGEST, Conjunct, Relation
from ordain.prover.symbolic.space import by_value

SECONDS, MEMORY = 60.0, 2_000_000_000
"""Of the search for all that a running machine can come to: so many bytes more than are taken already."""


class States:
    """Sets of states under observation. `lines`: the level of each, over the machine's leaves. `asked`: what else will
    be asked of cycles (`may`). Of a machine with phases a cycle is a phase. `gated`: what is seen is one cycle for each
    edge of a clock that something may hold, and the cycles in which it was held are not seen. Sets are numbers, from
    0. `stopped`: "" where everything is known that a running machine can come to; else which limit ended the search
    for it, after which any state is taken for possible. Without `searched` nobody looks for it."""

    def __init__(self, system: System, lines: Sequence[Node], asked: Iterable[Node], gated: bool = False,
                 limits: Limits | None = None, searched: bool = True, largest: int = LARGEST) -> None:
        limits = limits or Limits(seconds=SECONDS, memory=memory_taken() + MEMORY)
        terms, clock = system.terms, system.contents.machine.clock
        held = clock.held if gated and clock is not None else None
        every = tuple(dict.fromkeys((*lines, *asked, *(() if held is None else (held,)))))
        properties = lower_properties(system, tuple(Property("reach", "", "reach", node) for node in every))
        lowered = {node: prop.node for node, prop in zip(every, properties)}
        self.lines = [lowered[node] for node in lines]
        self._lowered = lowered
        nodes = tuple(node for prop in properties for node in nodes_of(prop))
        system = system._replace(free=with_free(system.free, nodes))
        monitors = tuple(dict.fromkeys(monitor for prop in properties for monitor in prop.monitors))
        self.case = SearchCase(model_of(system, properties, limits), monitors, SearchWatch(limits, None, monotonic()),
                               ended="" if searched else "not searched")
        self.system, self.space, self.terms, self.start = system, self.case.space, terms, self.case.start
        space, self.stopped = self.space, self.case.layers.stopped
        if self.stopped == "interrupted":
            raise KeyboardInterrupt
        self._seen = [space.of(node) for node in self.lines]
        self._held = None if held is None else space.of(lowered[held])
        self.held = None if held is None else lowered[held]
        self._waited: dict[int, list[BDDFunction]] = {}
        self._any = space.true
        for variable in space.variables:
            self._any = self._any & space.within(variable.leaf, variable.values)
        required = self.case.model.required
        reads = required.reads
        for node in (*self.lines, *(() if held is None else (lowered[held],))):
            reads |= space.read_by(node)
        parts = self.case.model._replace(largest=largest).parts(self.case.atoms, _no_limit)
        self._relation = Relation(space, parts, self.case.atoms, Conjunct(required.holds, reads, 0), _no_limit)
        self._free = space.cube(range(space.states, space.atoms.count))
        self._numbers: dict[BDDFunction, int] = {}
        self.sets: list[BDDFunction] = []
        self._observed: dict[Seen, BDDFunction] = {}
        self._conditions: dict[Node, BDDFunction] = {}

    def changed(self, fault: Hypothesis) -> "States":
        """The same for a machine with a fault in it. Where it is at first nobody knows: any state is taken."""
        if fault.clips:
            return self
        contents = self.system.contents._replace(words={**self.system.contents.words, **fault.words})
        system = self.system._replace(contents=contents, addresses=self._inside(fault, self.system.addresses),
                                      assumptions=tuple(self._behind(fault, one) for one in self.system.assumptions))
        nexts = self._inside(fault, {one.name: one.next for one in self.space.variables})
        if fault.state in nexts:
            level = self.terms.const(fault.level, 1)
            nexts[fault.state] = with_bit(self.terms, nexts[fault.state], fault.bit, level)
        variables = [one._replace(next=nexts[one.name]) for one in self.space.variables]
        other = copy(self)
        other.system, other.space = system, self.space.changed(system, variables)
        required = required_of(system, other.space)
        model = self.case.model._replace(system=system, space=other.space, required=required)
        other._lowered = {node: self._behind(fault, one) for node, one in self._lowered.items()}
        other.lines = [self._behind(fault, node) for node in self.lines]
        other._seen = [other.space.of(node) for node in other.lines]
        reads = required.reads
        other.held = None if self.held is None else self._behind(fault, self.held)
        for node in (*other.lines, *(() if other.held is None else (other.held,))):
            reads |= other.space.read_by(node)
        other._held = None if other.held is None else other.space.of(other.held)
        parts = model.parts(self.case.atoms, _no_limit)
        other._relation = Relation(other.space, parts, self.case.atoms, Conjunct(required.holds, reads, 0), _no_limit)
        other._numbers, other.sets, other._observed, other._conditions, other._waited = {}, [], {}, {}, {}
        other.stopped = "changed"
        if not fault.state:
            return other
        other.start, other._any = self._stuck(fault, self.start), self._stuck(fault, self._any)
        return other

    def _stuck(self, fault: Hypothesis, states: BDDFunction) -> BDDFunction:
        """States with a bit at a level, whatever it was before."""
        for variable in self.space.variables:
            if variable.name == fault.state:
                atom = self.space.atoms.of(variable.leaf)[fault.bit]
                level = self.space.now[atom] if fault.level else ~self.space.now[atom]
                return states.exists(self.space.cube((atom,))) & level
        return states

    def confined(self, condition: BDDFunction, atoms: Collection[int]) -> "States":
        """The same over cycles with a condition that speaks of some atoms alone, and without these."""
        other, without = copy(self), self.space.cube(atoms)
        either = without & self.space.next_cube(atoms)
        parts = [part._replace(holds=(part.holds & condition).exists(either)) for part in self._relation.parts]
        required = self._relation.required
        other._relation = Relation(self.space, parts, self._relation.over, required._replace(
            holds=(required.holds & condition).exists(without)), _no_limit)
        other._seen = [(one & condition).exists(without) for one in self._seen]
        other._held = None if self._held is None else (self._held & condition).exists(without)
        other._numbers, other.sets, other._observed, other._conditions, other._waited = {}, [], {}, {}, {}
        return other

    def _inside(self, fault: Hypothesis, nodes: dict[str, Node]) -> dict[str, Node]:
        """What the machine makes of them, given what it gets."""
        if not fault.inside:
            return nodes
        return dict(zip(nodes, substitute(self.terms, tuple(nodes.values()), dict(fault.inside))))

    def _behind(self, fault: Hypothesis, node: Node) -> Node:
        """A line of the machine that gets something else. What stands at an input itself is what comes in."""
        inner = node
        while isinstance(inner, Not | Slice):
            inner = inner.args[0]
        if not fault.inside or (fault.kind == "input" and inner in dict(fault.inside)):
            return node
        return substitute(self.terms, (node,), dict(fault.inside))[0]

    def number(self, states: BDDFunction) -> int:
        found = self._numbers.get(states)
        if found is None:
            found = self._numbers[states] = len(self.sets)
            self.sets.append(states)
        return found

    def at_reset(self) -> int:
        return self.number(self.start)

    def following(self, states: BDDFunction) -> BDDFunction:
        """The states that follow those of a set, whatever is seen."""
        self.space.tidy()
        return self._relation.after(states)

    @property
    def required(self) -> BDDFunction:
        """What holds in every cycle."""
        return self._relation.required.holds

    def reached(self, until: float) -> BDDFunction | None:
        """What is reached from reset; None: that was not known at a time of `monotonic`."""
        found = now = self.start
        while now.satisfiable():
            if monotonic() > until:
                return None
            now = self.following(now) & ~found
            found = found | now
        return found

    def condition(self, node: Node) -> BDDFunction:
        """A condition, one of those asked for."""
        found = self._conditions.get(node)
        if found is None:
            found = self._conditions[node] = self.space.of(self._lowered[node])
        return found

    def running(self) -> int:
        """Wherever a machine can be that has run for any time since its reset."""
        if not self.stopped:
            return self.number(self.case.layers.reached)
        return self.anywhere()

    def anywhere(self) -> int:
        """Every state, whether anything leads to it or not."""
        return self.number(self._any)

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

    def waiting(self, number: int) -> list[BDDFunction]:
        """The states of a set; those that come after one cycle in which the clock is held, after two, and so on, each
        where it first appears. Only the first where nothing holds the clock, or where such cycles are seen."""
        if self._held is None:
            return [self.sets[number]]
        found = self._waited.get(number)
        if found is None:
            found, every = [self.sets[number]], self.sets[number]
            while (new := self._relation.after(found[-1] & self._held) & ~every).satisfiable():
                found.append(new)
                every = every | new
            self._waited[number] = found
        return found

    def _begins(self, number: int) -> BDDFunction:
        """The states in which the cycle can begin that is seen, with that the clock goes on in it."""
        if self._held is None:
            return self.sets[number]
        every = self.space.false
        for some in self.waiting(number):
            every = every | some
        return every & ~self._held

    def cycles(self, number: int, seen: Seen) -> BDDFunction:
        """The cycles, states with inputs, that begin in a set and show what was seen."""
        return self._begins(number) & self.observed(seen) & self.required

    def after(self, number: int, seen: Seen) -> int:
        """The set after a cycle; -1 where nothing in it can show what was seen."""
        self.space.tidy()
        cut = self._begins(number) & self.observed(seen)
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

    def read(self, store: str) -> int:
        """The bits of a store's words on which anything depends that is seen or follows, as the bits of a number."""
        system, found = self.system, 0
        machine = system.contents.machine
        roots = (*self.lines, *self._lowered.values(), *(one.next for one in self.space.variables),
                 *system.assumptions, *system.addresses.values())
        for leaf, mask in bits_read(roots).items():
            if isinstance(leaf, Leaf) and leaf.kind == "word" and leaf.name == store:
                found |= mask
            elif isinstance(leaf, Leaf) and leaf.kind == "field" and machine.fields[leaf.name].store == store:
                found |= mask << machine.fields[leaf.name].low
        return found

    def outcomes(self, besides: Collection[int]) -> list[BDDFunction]:
        """All that a cycle comes to: what is required of it, whether it is held, what is seen, what follows on atoms of
        the states but for some."""
        return [self._relation.required.holds, *([] if self._held is None else [self._held]), *self._seen,
                *(self.space.function(atom) for atom in range(self.space.states) if atom not in besides)]

    def presented(self, number: int, store: str) -> int:
        """The addresses of a store that a set may present before the next set, as the bits of a number; whatever is
        seen, and in cycles in which the clock is held, too."""
        every = self.space.false
        for some in self.waiting(number):
            every = every | some
        found = 0
        for address in self.addresses(store, every & self.required):
            found |= 1 << address
        return found

    def presenting(self, number: int, store: str, address: int) -> BDDFunction:
        """The states of a set from which some cycle presents an address."""
        return (self.cycles(number, Seen(0, 0)) & self.at(store, address)).exists(self._free)

    def may(self, node: Node, cycles: BDDFunction) -> tuple[bool, bool]:
        """Whether a condition, one of those asked for, can be 0 and can be 1 in some cycles."""
        condition = self.condition(node)
        return (cycles & ~condition).satisfiable(), (cycles & condition).satisfiable()

    def line_may(self, line: int, cycles: BDDFunction) -> tuple[bool, bool]:
        return (cycles & ~self._seen[line]).satisfiable(), (cycles & self._seen[line]).satisfiable()

    def before(self, number: int, seen: Seen, state: BDDFunction) -> BDDFunction:
        """The states from which a cycle that shows what was seen leads to one state."""
        return self._relation.into(self._begins(number) & self.observed(seen), state)

    def waited(self, number: int, state: BDDFunction) -> list[BDDFunction]:
        """From a state of a set to one in which the cycle that is seen begins: the states on the way, that one last."""
        layers = self.waiting(number)
        way = [state]
        for layer in reversed(layers[:next(at for at, some in enumerate(layers) if (some & state).satisfiable())]):
            if self._held is not None:
                way.append(one_of(self.case, self._relation.into(layer & self._held, way[-1])))
        return way[::-1]

    def demands(self, seen: Seen) -> tuple[Node, ...]:
        going = () if self.held is None else (self.terms.not_(self.held),)
        return (*going, *(node if seen.word >> line & 1 else self.terms.not_(node)
                          for line, node in enumerate(self.lines) if seen.known >> line & 1))


def _no_limit() -> None:
    return None
