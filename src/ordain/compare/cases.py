"""What values a term can have, and when: conditions taken apart, places left whole.

The next address of a word is a term like `target if zero else upc + 1`. Its *cases* are the values between which
conditions decide, each with the function of the conditions under which it is taken. Values may stay symbolic
(`upc + 1`): they are made definite later, once per word. Guards of one call are disjoint and cover everything.
"""

from collections.abc import Callable
from itertools import product

from ordain.logic.diagrams import TRUE, Functions
from ordain.machine.expression import Among, Const, Equal, If, Leaf, Less, Node, Parity, Terms, leaves, postorder

FEW = 8
"""Bits that together decide a value; of more it is not taken apart."""

WIDEST = 4
"""Leaves of more bits stay whole where they are part of a value: an opcode, a bus, a return address."""

MOST = 4096
"""Cases of one term; more are left whole."""

Case = tuple[int, tuple[Node, ...]]
"""(guard, values)"""


class Cases:
    """Case analysis over one table of terms and one of functions.

    `open(leaf)`: not known yet, never taken apart. `whole(leaf)`: taken apart in conditions, but not in values.
    `shown(condition)`: the condition with what has a meaning of its own (a table's word) in place of its name.
    """

    __slots__ = ("_functions", "_memo", "_open", "_shown", "_terms", "_whole")

    def __init__(self, terms: Terms, functions: Functions, open: Callable[[Leaf], bool],
                 whole: Callable[[Leaf], bool], shown: Callable[[Node], Node]) -> None:
        self._terms, self._functions, self._open, self._whole = terms, functions, open, whole
        self._shown = shown
        self._memo: dict[Node, dict[Node, int]] = {}

    def of(self, values: tuple[Node, ...]) -> list[Case]:
        """The joint cases of several terms."""
        if all(type(value) is Const for value in values):
            return [(TRUE, values)]
        both = self._functions.both
        result: list[Case] = [(TRUE, ())]
        for value in values:
            parts = self.of_one(value)
            result = [(guard, (*before, part)) for before_guard, before in result for part, part_guard in parts.items()
                      if (guard := both(before_guard, part_guard))]
        return result

    def of_one(self, value: Node) -> dict[Node, int]:
        """value -> guard, for one term."""
        memo = self._memo
        if value not in memo:
            closed: dict[Node, bool] = {}
            plain: dict[Node, bool] = {}
            for node in postorder((value,)):
                if type(node) is Leaf:
                    closed[node] = not self._open(node)
                    plain[node] = closed[node] and not self._whole(node)
                else:
                    closed[node] = all(closed[arg] for arg in node.args)
                    plain[node] = all(plain[arg] for arg in node.args)
                if node not in memo:
                    memo[node] = self._split(node, closed, plain)
        return memo[value]

    def _split(self, node: Node, closed: dict[Node, bool], plain: dict[Node, bool]) -> dict[Node, int]:
        """`closed`: no leaf below is open; `plain`: nor is one that stays whole."""
        if type(node) is If:
            return self._choice(node) if closed[node.args[0]] else self._combined(node)
        decided = plain[node] or (closed[node] and type(node) in (Among, Equal, Less, Parity))
        if decided and _by_few_bits(node):
            return self._values(node)
        return self._combined(node)

    def _choice(self, node: Node) -> dict[Node, int]:
        functions = self._functions
        condition = functions.condition(self._shown(node.args[0]))
        result: dict[Node, int] = {}
        for value, guard in self._memo[node.args[1]].items():
            taken = functions.both(condition, guard)
            if taken:
                result[value] = taken
        otherwise = functions.negation(condition)
        for value, guard in self._memo[node.args[2]].items():
            taken = functions.both(otherwise, guard)
            if taken:
                result[value] = functions.either(result.get(value, 0), taken)
        return result

    def _values(self, node: Node) -> dict[Node, int]:
        """All constants that a term over few bits can be."""
        functions = self._functions
        parts: dict[int, int] = {0: TRUE}
        shown = self._shown(node)
        bits = (functions.condition(shown),) if shown.width == 1 else functions.bits(shown)
        for position, bit in enumerate(bits):
            split: dict[int, int] = {}
            for value, guard in parts.items():
                for level, function in ((0, functions.negation(bit)), (1, bit)):
                    taken = functions.both(guard, function)
                    if taken:
                        split[value | level << position] = taken
            parts = split
        return {self._terms.const(value, node.width): guard for value, guard in parts.items()}

    def _combined(self, node: Node) -> dict[Node, int]:
        """The operator over every combination of its arguments' cases."""
        functions = self._functions
        arguments = [self._memo[arg] for arg in node.args]
        count = 1
        for argument in arguments:
            count *= len(argument)
        if count == 1 or count > MOST:
            return {node: TRUE}
        result: dict[Node, int] = {}
        for combination in product(*(argument.items() for argument in arguments)):
            guard = TRUE
            for _, part in combination:
                guard = functions.both(guard, part)
            if guard:
                value = self._terms.rebuild(node, tuple(part for part, _ in combination))
                result[value] = functions.either(result.get(value, 0), guard)
        return result


def _by_few_bits(node: Node) -> bool:
    """Whether the values are few: it is one bit, or few bits decide it and no wide leaf is among them."""
    widths = [leaf.width for leaf in leaves((node,))]
    return node.width == 1 or (sum(widths) <= FEW and max(widths, default=0) <= WIDEST)
