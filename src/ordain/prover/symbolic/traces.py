"""From sets of states, one after another, to a trace of the real machine, cycle by cycle.

The machine runs in full, by plain evaluation of its expressions; inputs are chosen with the diagrams so that it goes
from set to set. That it does, that the assumptions hold, and that the question's condition holds where it has to, is
checked again on the values themselves; if not, the search is wrong, and that is raised.
"""

from collections.abc import Iterable
from typing import NamedTuple

from oxidd.bdd import BDDFunction

from ordain.control.cycle import Running
from ordain.control.model import Cycle, Trace, Variable
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node
from ordain.prover.symbolic.cases import SearchCase
from ordain.prover.symbolic.reads import members

CLOSING = 256
"""Most cycles by which a loop is prolonged until the whole machine, not only what matters, is where it was."""


class TraceScript(NamedTuple):
    """`sets`: where the machine is, cycle after cycle; `demands`: what each cycle has to satisfy. After the last state:
    `back`, the number of the one to which it returns; or, with `dead_end`, no cycle at all; or anything. Unless
    `from_reset` the first state is one that is reached later; what does not matter of it is as after reset."""

    sets: list[BDDFunction]
    demands: list[tuple[Node, ...]]
    back: int | None = None
    dead_end: bool = False
    from_reset: bool = True


class Stage:
    """Runs the machine of one case, with its monitors."""

    def __init__(self, case: SearchCase) -> None:
        self._case, self._space, self._system = case, case.space, case.model.system
        self._running = Running(self._system, case.monitors)
        self._variables = self._running.variables
        self._atoms = members(case.atoms)

    def play(self, script: TraceScript, events: dict[str, Node], shown: Iterable[Variable]) -> Trace:
        """`events`: conditions whose truth is noted in every cycle, by name. `shown`: the monitors whose values belong
        in the trace."""
        script = script._replace(sets=[self._of_any_dead(one) for one in script.sets])
        names = [monitor.name for monitor in shown]
        states = self._start(script.sets[0], script.from_reset)
        cycles: list[Cycle] = []
        remembered = self._running.before_reset()
        last = len(script.sets) - 1
        entered: list[dict[Node, int]] = []
        index = 0
        while not (script.dead_end and index == last):
            entered.append(states)
            following = script.sets[index + 1] if index < last else \
                script.sets[script.back] if script.back is not None else None
            values, matters = self._cycle(states, following, script.demands[index])
            cycles.append(self._running.shown(values, matters, remembered, names, events))
            remembered = self._running.remembered({**values, **remembered})
            states = self._running.next(values)
            if following is not None and not self._is_in(states, following):
                raise AssertionError("a trace leaves its path")
            index += 1
            if index > last:
                if script.back is None or states in entered[script.back:] or len(cycles) > last + CLOSING:
                    break
                index = script.back
        ending = {variable.name: states[variable.leaf] for variable in self._variables
                  if variable.origin != "monitor" or variable.name in names}
        if script.back is None:
            return Trace(tuple(cycles), None, script.dead_end, ending)
        return _closed(self._variables, cycles, entered, states, script.back, ending)

    def _of_any_dead(self, one: BDDFunction) -> BDDFunction:
        """A state with all that differ from it in dead bits: the machine itself does not hold them at 0."""
        dead = [atom for atom, live in self._case.model.dead.live.items() if not (one & live).satisfiable()]
        return one.exists(self._space.cube(dead))

    def _start(self, wanted: BDDFunction, from_reset: bool) -> dict[Node, int]:
        """A state of the whole machine that is in a set."""
        chosen = self._space.lowest(wanted & self._case.start if from_reset else wanted, self._atoms)
        states = {}
        for variable in self._variables:
            states[variable.leaf] = variable.reset or 0
            if variable.leaf in self._space.atoms.first:
                states[variable.leaf] &= ~self._case.model.needed[variable.leaf]
                states[variable.leaf] |= sum(chosen[atom] << bit
                                             for bit, atom in enumerate(self._space.atoms.of(variable.leaf)))
        assert self._is_in(states, wanted), "a trace does not begin where it should"
        return states

    def _is_in(self, states: dict[Node, int], wanted: BDDFunction) -> bool:
        return wanted.eval((self._space.number[atom], bool(value)) for atom, value in self._bits(states).items())

    def _bits(self, states: dict[Node, int]) -> dict[int, int]:
        """The atoms of a state, of all variables that are kept, those at 0 that do not count."""
        found = {}
        for variable in self._variables:
            needed = self._case.model.needed.get(variable.leaf, 0)
            if needed:
                for bit, atom in enumerate(self._space.atoms.of(variable.leaf)):
                    found[atom] = (states[variable.leaf] & needed) >> bit & 1
        return found

    # ------------------------------------------------------------ one cycle

    def _cycle(self, states: dict[Node, int], following: BDDFunction | None,
               demands: tuple[Node, ...]) -> tuple[dict[Node, int], frozenset[str]]:
        """Values of all leaves in a cycle that leads from a state into a set, and the names of what matters of them."""
        space, here = self._space, _Here(self._space.number, self._bits(states))
        wanted = here.of(self._case.model.required.holds)
        for node in demands:
            wanted = wanted & here.of(space.of(node))
        if following is not None:
            wanted = wanted & following.substitute(BDDFunction.make_substitution(
                (space.number[atom], here.of(space.function(atom))) for atom in self._atoms))
        chosen = space.lowest(wanted, range(space.states, space.atoms.count))
        matters = self._matters(wanted, chosen)
        free = {one.leaf: 0 for one in self._system.free}
        for one in space.free:
            free[one.leaf] = sum(chosen[atom] << bit for bit, atom in enumerate(space.atoms.of(one.leaf)))
        values = self._running.values({**states, **free})
        memo: dict[Node, int] = {}
        if not all(evaluate(node, values, memo) for node in (*self._system.assumptions, *demands)):
            raise AssertionError("a trace does not satisfy what it has to")
        return values, matters

    def _matters(self, wanted: BDDFunction, chosen: dict[int, int]) -> frozenset[str]:
        """Of what is free, what cannot be let go: with it and the others that were let go at any value, the cycle might
        lead elsewhere."""
        space, kept, possible = self._space, dict.fromkeys(self._space.free), self._space.true
        for one in space.free:
            possible = possible & space.within(one.leaf, one.values)
        for one in space.free:
            cube = space.true
            for other in kept:
                if other is not one:
                    for atom in space.atoms.of(other.leaf):
                        cube = cube & (space.now[atom] if chosen[atom] else ~space.now[atom])
            if not (cube & possible & ~wanted).satisfiable():
                del kept[one]
        return frozenset(one.name for one in kept)


class _Here:
    """What is left of diagrams in one state."""

    def __init__(self, number: list[int], bits: dict[int, int]) -> None:
        self._bits = {number[atom]: value for atom, value in bits.items()}
        self._known: dict[BDDFunction, BDDFunction] = {}

    def of(self, function: BDDFunction) -> BDDFunction:
        found = self._known.get(function)
        if found is None:
            rest = function
            while (number := rest.node_var()) is not None and (parts := rest.cofactors()) is not None:
                high, low = parts
                if number not in self._bits:
                    rest = rest.manager.var(number).ite(self.of(high), self.of(low))
                    break
                rest = high if self._bits[number] else low
            found = self._known[function] = rest
        return found


def _closed(variables: tuple[Variable, ...], cycles: list[Cycle], entered: list[dict[Node, int]],
            states: dict[Node, int], back: int, after: dict[str, int]) -> Trace:
    """A trace that goes round. Where the machine never comes back to quite the same state, what differs is of no
    consequence, and is left out of the cycle that follows the last one."""
    loop = next((index for index in range(back, len(cycles)) if entered[index] == states), back)
    same = {variable.name for variable in variables if entered[loop][variable.leaf] == states[variable.leaf]}
    entry = cycles[loop]
    cycles[loop] = entry._replace(
        states={name: value for name, value in entry.states.items() if name in same},
        monitors={name: value for name, value in entry.monitors.items() if name in same})
    return Trace(tuple(cycles), loop, False, after)
