"""More than what is reached with some monitors: all that follows from any reached state with the monitors as they are
at the start. That is found in as many cycles as the monitors remember, and what does not occur in it does not occur.

What occurs whatever the monitors hold, and what occurs in the first few cycles, is known before all of that is found.
"""

from functools import cached_property

from oxidd.bdd import BDDFunction

from ordain.control.model import Variable
from ordain.machine.expression import Node
from ordain.prover.symbolic.cases import SearchCase, beside, start_of
from ordain.prover.symbolic.relation import Graph

SOON = 4
"""Cycles after which it is seen whether something has occurred, before all of the outline is found."""


class Outline:
    def __init__(self, base: SearchCase, monitors: tuple[Variable, ...]) -> None:
        self._base, self._monitors = base, monitors
        self.relation = beside(base, monitors)
        self._of_monitors = self.relation.over & ~base.atoms
        self._start = base.layers.reached & start_of(base.model, self._of_monitors)

    @cached_property
    def graph(self) -> Graph:
        return self.relation.graph(self._base.layers.reached, self._base.space.true, 0)

    @cached_property
    def _all(self) -> BDDFunction:
        return self._base.closed(self._start, self.graph.after, self._base.space.true)

    @cached_property
    def _soon(self) -> BDDFunction:
        found = now = self._start
        for _ in range(SOON):
            now = self.relation.after(now) & ~found
            found = found | now
        return found

    def occurs(self, node: Node) -> bool:
        """Whether a condition occurs here: False means that it does not occur in the machine."""
        holding = self._base.having_node(node)
        return (self._base.layers.reached & holding).satisfiable() and (self._all & holding).satisfiable()

    def surely_occurs(self, node: Node) -> bool:
        """Whether a condition certainly occurs in the machine, as far as can be told.

        Where one bit opens a window, and what opens it also keeps it open, it does not matter whether the window was
        open before: all states here with the window open are reached with it open."""
        space, base = self._base.space, self._base
        holding = base.having_node(node)
        if not self._of_monitors & space.read_by(node):
            return (base.layers.reached & holding).satisfiable()
        if len(self._monitors) > 1 or self._monitors[0].leaf.width > 1 or self._monitors[0].reset != 0:
            return False
        (atom,) = space.atoms.of(self._monitors[0].leaf)
        opens, stays = _under(space.function(atom), space.number[atom])
        if (opens & ~stays & base.model.required.holds & base.layers.reached).satisfiable():
            return False
        open_ = space.now[atom] & holding
        return (self._soon & open_).satisfiable() or (self._all & open_).satisfiable()


def _under(function: BDDFunction, number: int) -> tuple[BDDFunction, BDDFunction]:
    """A function with a variable put at 0, and at 1."""
    manager = function.manager
    zero, one = (function.substitute(BDDFunction.make_substitution([(number, value)]))
                 for value in (manager.false(), manager.true()))
    return zero, one
