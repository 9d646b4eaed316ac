"""More than what is reached with some monitors: all that follows from any reached state with the monitors as they are
at the start. That is found in as many cycles as the monitors remember, and what does not occur in it does not occur.
"""

from oxidd.bdd import BDDFunction

from ordain.control.model import Variable
from ordain.machine.expression import Node
from ordain.prover.symbolic.cases import Case, beside, start_of


class Outline:
    def __init__(self, base: Case, monitors: tuple[Variable, ...]) -> None:
        self._base, self._monitors = base, monitors
        self.relation = beside(base, monitors)
        self.graph = self.relation.graph(base.layers.reached, base.space.true, 0)
        self._of_monitors = self.relation.over & ~base.atoms
        start = base.layers.reached & start_of(base.model, self._of_monitors)
        self._all = base.closed(start, self.graph.after, base.space.true)

    def occurs(self, node: Node) -> bool:
        """Whether a condition occurs here: False means that it does not occur in the machine."""
        return (self._all & self._base.having_node(node)).satisfiable()

    def surely_occurs(self, node: Node) -> bool:
        """Whether a condition certainly occurs in the machine, as far as can be told.

        Where one bit opens a window, and what opens it also keeps it open, it does not matter whether the window was
        open before: all states here with the window open are reached with it open."""
        space, base = self._base.space, self._base
        if not self._of_monitors & space.read_by(node):
            return (base.layers.reached & base.having_node(node)).satisfiable()
        if len(self._monitors) > 1 or self._monitors[0].leaf.width > 1 or self._monitors[0].reset != 0:
            return False
        (atom,) = space.atoms.of(self._monitors[0].leaf)
        opens, stays = _under(space.function(atom), space.number[atom])
        crooked = opens & ~stays & base.model.required.holds & base.layers.reached
        return not crooked.satisfiable() and (self._all & space.now[atom] & base.having_node(node)).satisfiable()


def _under(function: BDDFunction, number: int) -> tuple[BDDFunction, BDDFunction]:
    """A function with a variable put at 0, and at 1."""
    manager = function.manager
    zero, one = (function.substitute(BDDFunction.make_substitution([(number, value)]))
                 for value in (manager.false(), manager.true()))
    return zero, one
