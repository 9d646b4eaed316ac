"""More than what is reached with some monitors: all that follows from any reached state with the monitors as they are
at the start. That is found in as many cycles as the monitors remember, and what does not occur in it does not occur.

What occurs in it does occur in the machine where more only comes of more: where the values of a monitor can be put in
an order, the one at the start lowest, in which whatever the cycle a higher value is followed by one that is no lower,
and what occurs with a value occurs with every higher one. A window is so: closed, open, judged. Each state that this
begins with is reached, with some value, which is no lower than the lowest; whatever leads on from here leads on from
there, to a value that is again no lower.
"""

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise, permutations

from oxidd.bdd import BDDFunction

from ordain.control.model import Variable
from ordain.machine.expression import Node
from ordain.prover.symbolic.cases import SearchCase, beside, start_of
from ordain.prover.symbolic.relation import Graph

FEW = 4
"""Values of a monitor up to which an order is looked for: a window has two or three."""


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

    def occurs(self, node: Node) -> bool:
        """Whether a condition occurs here: False means that it does not occur in the machine."""
        holding = self._base.having_node(node)
        return (self._base.layers.reached & holding).satisfiable() and (self._all & holding).satisfiable()

    def surely_occurs(self, node: Node) -> bool:
        """Whether a condition certainly occurs in the machine, as far as can be told."""
        holding = self._base.having_node(node)
        if not self._of_monitors & self._base.space.read_by(node):
            return (self._base.layers.reached & holding).satisfiable()
        told = {value: self._under(value, self._base.space.of(node)) for value in self._values}
        if not any(self._rising([told[value] for value in order]) for order in self._orders):
            return False
        return (self._all & holding).satisfiable()

    @property
    def _values(self) -> range:
        """Of the only monitor, if it has few; else none."""
        few = len(self._monitors) == 1 and self._monitors[0].values <= FEW
        return range(self._monitors[0].values if few else 0)

    @cached_property
    def _orders(self) -> list[Sequence[int]]:
        """In which of its orders the values of the monitor are followed by values that rise with them."""
        if not self._values or self._of_monitors & self._base.model.required.reads:
            return []
        first, space = self._monitors[0].reset, self._base.space
        atoms = space.atoms.of(self._monitors[0].leaf)
        following = {value: [self._under(value, space.function(atom)) for atom in atoms] for value in self._values}

        def above(value: int, some: Sequence[int]) -> BDDFunction:
            """The cycles in which a value is followed by one of some."""
            found = space.false
            for each in some:
                same = space.true
                for place, bit in enumerate(following[value]):
                    same = same & (bit if each >> place & 1 else ~bit)
                found = found | same
            return found

        return [order for order in permutations(self._values) if order[0] == first
                and all(self._rising([above(value, order[rank:]) for value in order]) for rank in range(1, len(order)))]

    def _rising(self, cycles: Sequence[BDDFunction]) -> bool:
        """Whether each of some sets of cycles has all that can be of the one before."""
        can_be = self._base.layers.reached & self._base.model.required.holds
        return not any((can_be & fewer & ~more).satisfiable() for fewer, more in pairwise(cycles))

    def _under(self, value: int, function: BDDFunction) -> BDDFunction:
        """A function of a cycle in which the monitor has a value."""
        space = self._base.space
        return function.substitute(BDDFunction.make_substitution(
            [(space.number[atom], space.true if value >> place & 1 else space.false)
             for place, atom in enumerate(space.atoms.of(self._monitors[0].leaf))]))
