"""From a path of the search to a trace of the real machine, cycle by cycle, with inputs that replay it.

The path is over the reduced state: dead bits are 0, what no property depends on is missing. Here the machine runs in
full, by plain evaluation of its expressions; inputs are solved so that in every cycle it follows the path as far as
the path says anything. That it does, that the assumptions hold, and that the property's condition holds where it has
to, is checked again on the values themselves; if not, the search is wrong, and that is raised.
"""

from collections.abc import Iterable
from typing import NamedTuple

from ordain.control.cycle import Running
from ordain.control.model import Cycle, System, Trace, Variable
from ordain.logic.evaluate import evaluate
from ordain.logic.narrowing import cut, runs
from ordain.logic.putting import put_in
from ordain.machine.expression import Const, Node
from ordain.prover.answers.answers import State
from ordain.prover.answers.input_solving import Solution, solve
from ordain.prover.relation.partition import Partition
from ordain.prover.search.breadth_first import Search


class Demand(NamedTuple):
    """A condition that a cycle has to satisfy: over the system's leaves, and as it is in the search."""

    lowered: Node
    searched: Node


class Script(NamedTuple):
    """`states`: the path; `demands`: what each cycle has to satisfy."""

    states: list[State]
    demands: list[tuple[Demand, ...]]


class Stage:
    """Runs the machine of one search."""

    def __init__(self, system: System, search: Search, monitors: tuple[Variable, ...]) -> None:
        self.system, self.search, self.shape = system, search, search.classes.shape
        self._running = Running(system, monitors)
        self.variables = self._running.variables
        self._moving = search.classes.moving
        self._every = (*self._moving, *self.shape.environment)
        self._open = tuple(variable for variable in self._every if search.classes.support.free_leaves(variable.next))
        self._known: dict[object, tuple[dict[Node, int], frozenset[str], dict[Node, int]]] = {}

    def play(self, script: Script, events: dict[str, Node], shown: Iterable[Variable]) -> Trace:
        """`events`: conditions whose truth is noted in every cycle, by name. `shown`: the monitors whose values belong
        in the trace."""
        names = [monitor.name for monitor in shown]
        states = self._start(script.states[0])
        cycles: list[Cycle] = []
        remembered = self._running.before_reset()
        for index, state in enumerate(script.states):
            following = script.states[index + 1] if index + 1 < len(script.states) else None
            values, matters, after = self._step(states, state, following, script.demands[index])
            cycles.append(self._running.shown(values, matters, remembered, names, events))
            remembered = self._running.remembered({**values, **remembered})
            states = after
        return Trace(tuple(cycles), None, False, {variable.name: states[variable.leaf] for variable in self.variables
                                                  if variable.origin != "monitor" or variable.name in names})

    # ------------------------------------------------------------ states

    def _start(self, state: State) -> dict[Node, int]:
        """A start state of the whole machine that looks like the state."""
        shape = self.shape
        control = self._control(state)
        inside = dict(zip(shape.domain.leaves, shape.domain.values_of(state[2])))
        states = {}
        for variable in self.variables:
            leaf = variable.leaf
            if variable.reset is not None:
                states[leaf] = variable.reset
            elif leaf in inside:
                states[leaf] = inside[leaf]
            else:
                shift = shape.shifts.get(leaf)
                states[leaf] = 0 if shift is None else control >> shift & (1 << leaf.width) - 1
        return states

    def _next(self, values: dict[Node, int], following: State | None) -> dict[Node, int]:
        states = self._running.next(values)
        if following is not None and not self._agree(states, following):
            raise AssertionError("a trace leaves its path")
        return states

    def _agree(self, states: dict[Node, int], state: State) -> bool:
        shape = self.shape
        control = self._control(state)
        mask = self._mask(control)
        for variable in self._moving:
            shift = shape.shifts[variable.leaf]
            if (states[variable.leaf] << shift ^ control) & mask & ((1 << variable.leaf.width) - 1) << shift:
                return False
        return all(states[leaf] & shape.needed[leaf] == value
                   for leaf, value in zip(shape.domain.leaves, shape.domain.values_of(state[2])))

    def _control(self, state: State) -> int:
        """All bits of control in a state of the path."""
        return self.search.points[state[0]] | state[1]

    def _mask(self, control: int) -> int:
        """The bits that count in a control state."""
        shape = self.shape
        live = self.search.classes.live.get(control & shape.location, shape.state)
        return live & sum(shape.needed[variable.leaf] << shape.shifts[variable.leaf] for variable in self._moving)

    # ------------------------------------------------------------ one cycle

    def _step(self, states: dict[Node, int], state: State, following: State | None,
              demands: tuple[Demand, ...]) -> tuple[dict[Node, int], frozenset[str], dict[Node, int]]:
        """The values of a cycle, what matters of them, and the states after it. Paths to different ends begin alike, so
        all this is remembered."""
        key = (tuple(states.values()), state, following, demands)
        found = self._known.get(key)
        if found is None:
            values, matters = self._cycle(states, state, following, demands)
            found = self._known[key] = values, matters, self._next(values, following)
        return found

    def _cycle(self, states: dict[Node, int], state: State, following: State | None,
               demands: tuple[Demand, ...]) -> tuple[dict[Node, int], frozenset[str]]:
        """Values of all leaves in a cycle from these states along the path, and the names of what matters of them."""
        selections = self.search.classes.selections(self.search.points[state[0]])
        for here in selections:
            moving = () if following is None else self._open if len(selections) == 1 else self._every
            solution = self._solve(states, here, following, demands, moving)
            if solution is None:
                continue
            chosen = self._selectors(here)
            free = {entry.leaf: solution.values.get(entry.leaf, chosen.get(entry.leaf, 0))
                    for entry in self.system.free}
            values = self._running.values({**states, **free})
            memo: dict[Node, int] = {}
            asked = (*self.system.assumptions, *(demand.lowered for demand in demands))
            if not all(evaluate(node, values, memo) for node in asked):
                raise AssertionError("a trace does not satisfy what it has to")
            matters = set(solution.matters) | (set(chosen) if len(selections) > 1 else set())
            return values, frozenset(entry.name for entry in self.system.free if entry.leaf in matters)
        raise AssertionError("no inputs follow the path")

    def _selectors(self, here: int) -> dict[Node, int]:
        shape = self.shape
        return {entry.leaf: here >> shape.shifts[entry.leaf] & (1 << entry.leaf.width) - 1 for entry in shape.selectors}

    def _solve(self, states: dict[Node, int], here: int, following: State | None, demands: tuple[Demand, ...],
               moving: tuple[Variable, ...]) -> Solution | None:
        """Free values with which the cycle follows the path. `moving`: the variables that could go astray."""
        shape = self.shape
        asked = (*shape.assumptions, *(demand.searched for demand in demands))
        rest = put_in(shape.terms, (*asked, *(variable.next for variable in moving)), self._known_leaves(states, here))
        conditions = list(rest[:len(asked)])
        if following is not None:
            control = self._control(following)
            mask = self._mask(control)
            inside = dict(zip(shape.domain.leaves, shape.domain.values_of(following[2])))
            for variable, node in zip(moving, rest[len(asked):]):
                if variable.leaf in inside:
                    conditions += _equal(shape, node, inside[variable.leaf], (1 << node.width) - 1)
                else:
                    shift = shape.shifts[variable.leaf]
                    conditions += _equal(shape, node, control >> shift, mask >> shift & (1 << node.width) - 1)
        return solve(shape.terms, conditions, shape.free)

    def _known_leaves(self, states: dict[Node, int], here: int) -> dict[Node, Node]:
        """Everything that control and its words say, with all bits of the state as they really are."""
        shape, classes = self.shape, self.search.classes
        full = here & shape.selecting
        for variable in self._moving:
            full |= states[variable.leaf] << shape.shifts[variable.leaf]
        words = classes.words_at(full & shape.entrance)
        values = {leaf: shape.closures.of(leaf)(full, words) for leaf in shape.known}
        values.update((leaf, states[leaf]) for leaf in shape.domain.leaves)
        return {leaf: shape.terms.const(value, leaf.width) for leaf, value in values.items()}


def _equal(shape: Partition, node: Node, value: int, mask: int) -> list[Node]:
    """That the bits of a node under a mask are those of a value."""
    terms = shape.terms
    if type(node) is Const:
        return [terms.const(int(not (node.value ^ value) & mask), 1)]
    return [terms.among(cut(terms, node, high, low), frozenset((value >> low & (1 << high - low + 1) - 1,)))
            for high, low in runs(mask)]
