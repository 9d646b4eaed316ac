"""Questions with monitors that remember something of earlier cycles and nothing of themselves: whether what they ask
occurs. Such monitors only look on, so a search without them is enough: what they hold is what a few cycles leave in
them, from any reachable state, or from the start.
"""

from oxidd.bdd import BDDFunction

from ordain.control.model import Variable
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Node
from ordain.prover.symbolic.cases import SearchCase, atoms_of, start_of
from ordain.prover.symbolic.relation import Relation


class Remembered:
    """Some monitors beside the states of a complete search. `depth`: how many cycles back they reach, at least 1."""

    def __init__(self, case: SearchCase, monitors: tuple[Variable, ...], depth: int) -> None:
        self._case, self._space = case, case.space
        self._over = case.atoms | atoms_of(case.model, monitors)
        early: list[BDDFunction] = []
        now = start_of(case.model, self._over)
        self._before = case.layers.reached
        if depth > 1:
            every = self._relation(self._over)
            for _ in range(depth - 1):
                early.append(now)
                now, self._before = every.after(now), every.after(self._before)
        self._early = [*early, now]
        self._last: dict[int, BDDFunction] = {}

    def _relation(self, sets: int) -> Relation:
        look = self._case.relation.look
        return Relation(self._space, self._case.model.parts(sets, look), self._over, self._case.model.required, look)

    def occurs(self, node: Node) -> bool:
        """Whether a condition over the monitors holds in some cycle."""
        holding = self._case.having_node(node)
        if any((states & holding).satisfiable() for states in self._early):
            return True
        looks_at = (self._space.read_by(node) | self._case.model.required.reads) & self._over
        after = self._last.get(looks_at)
        if after is None:
            after = self._last[looks_at] = self._relation(looks_at).after(self._before)
        return (after & holding).satisfiable()


def depth_of(monitors: tuple[Variable, ...]) -> int | None:
    """How many cycles back some monitors reach; None when one of them looks at itself."""
    leaves = {monitor.leaf for monitor in monitors}
    reads = {monitor.leaf: leaves & bits_read([monitor.next]).keys() for monitor in monitors}
    depth: dict[Node, int] = {}
    while len(depth) < len(reads):
        ready = [leaf for leaf in reads if leaf not in depth and all(read in depth for read in reads[leaf])]
        if not ready:
            return None
        for leaf in ready:
            depth[leaf] = 1 + max((depth[read] for read in reads[leaf]), default=0)
    return max(depth.values())
