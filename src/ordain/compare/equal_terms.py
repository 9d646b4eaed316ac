"""Which terms are equal for all values of their leaves: each term -> the first one of its kind that was asked about.

Terms are interned, so what two machines say in the same words is one node and needs no work. Other terms are first
tried on values taken by chance: most of those that differ do so there. Only what looks alike is proved alike, by
diagrams: above the parts that both have, which stand for any words; from the leaves upwards, part for part; and over
the leaves. The idea of A. Kuehlmann, F. Krohm, Equivalence checking using cuts and heaps (Design Automation Conference,
1997). What cannot be proved alike counts as different.
"""

from collections.abc import Sequence
from random import Random

from ordain.compare.trials import WIDEST_SHARED, Lots
from ordain.logic.diagrams import Bits, Functions, TooLarge
from ordain.logic.gates import evaluate, table
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Cell, Const, Join, Node, Not, Prior, Slice, Terms, leaves, postorder

TRIALS = 1024
"""Values by chance that a term is tried on, a bit of a Python integer each."""

MOST_ABOVE = 2_000
"""Diagram nodes above the parts that two terms have in common."""

MOST_TRIED = 8
"""Terms that look like another one with which it is compared."""

FEW = 12
"""Bits of leaves: a part over so few stands for itself, not for any word."""

SMALL = 32
"""Bits of leaves of a term whose diagram is made before its parts are looked at one by one."""

Looks = tuple[int, ...]
"""Per bit, highest first, the values in all trials."""


class EqualTerms:
    """Over one table of terms and one of diagrams."""

    def __init__(self, terms: Terms, functions: Functions) -> None:
        self._terms, self._functions = terms, functions
        self._first: dict[Node, Node] = {}
        self._kinds: dict[Looks, list[Node]] = {}
        self._rebuilt: dict[Node, Node] = {}
        self._parts: dict[Looks, list[Node]] = {}
        self._trials = _Trials()

    def looks(self, term: Node) -> Looks:
        """What the term is in all trials: terms that look otherwise are surely not equal."""
        return self._trials.of(term)

    def first(self, term: Node) -> Node:
        """The term that stands for all that are known to be equal to this one; a constant for what is constant."""
        found = self._first.get(term)
        if found is None:
            found = self._first[term] = self._found(term)
        return found

    def _found(self, term: Node) -> Node:
        if type(term) is Const:
            return term
        kind = self._like(term, self._kinds)
        same = self._among(term, kind)
        if same is None:
            kind.append(term)
        return same or term

    def _like(self, term: Node, kinds: dict[Looks, list[Node]]) -> list[Node]:
        """The terms of a table that had the same values in all trials, the constant among them where that is one."""
        looks = self._trials.of(term)
        kind = kinds.get(looks)
        if kind is None:
            always = _constant(looks)
            kind = kinds[looks] = [] if always is None else [self._terms.const(always, term.width)]
        return kind

    def _among(self, term: Node, kind: Sequence[Node]) -> Node | None:
        """The one of a kind that is equal to the term."""
        if not kind:
            return None
        tried = kind[:MOST_TRIED]
        same = next((other for other in tried if equal_above(term, other)), None)
        if same is None and _bits_below(term) > SMALL:
            same = next((other for other in tried if self._from_below(term) is self._from_below(other)), None)
        return same or self._equal_throughout(term, kind)

    def _equal_throughout(self, term: Node, kind: Sequence[Node]) -> Node | None:
        bits = self._bits(term)
        return None if bits is None else next((other for other in kind if self._bits(other) == bits), None)

    def _bits(self, term: Node) -> Bits | None:
        try:
            return self._functions.bits(term)
        except TooLarge:
            return None

    def _from_below(self, root: Node) -> Node:
        """The term made of parts of which each stands for all that are known to be equal to it."""
        made = self._rebuilt
        for node in postorder((root,)):
            if node not in made:
                made[node] = self._part(self._terms.rebuild(node, tuple([made[arg] for arg in node.args])))
        return made[root]

    def _part(self, node: Node) -> Node:
        if not node.args:
            return node
        known = self._like(node, self._parts)
        same = next((other for other in known[:MOST_TRIED] if equal_above(node, other)), None)
        if same is None:
            known.append(node)
        return same or node


def equal_above(one: Node, other: Node) -> bool:
    """Whether two terms are equal whatever the parts are that both have; False where that is not known."""
    above = Functions((), MOST_ABOVE)
    above.free(_common(one, other))
    try:
        return above.bits(one) == above.bits(other)
    except TooLarge:
        return False


def _common(one: Node, other: Node) -> list[tuple[Node, int]]:
    """The largest parts that both terms have and that are not made of a few bits, and the leaves of the rest, bit by
    bit: first what is asked about, then all others side by side."""
    both = set(postorder((one,))) & set(postorder((other,)))
    asked: dict[Node, None] = {}
    found: dict[Node, None] = {}
    seen: set[Node] = set()
    stack = [other, one]
    while stack:
        node = stack.pop()
        if node in seen:
            continue
        seen.add(node)
        if not node.args or type(node) in (Prior, Cell) or (
                node in both and type(node) not in (Slice, Join, Not) and _bits_below(node) > FEW):
            if type(node) is not Const:
                found[node] = None
            continue
        if node.width == 1 and _bits_below(node) <= FEW:
            asked.update(dict.fromkeys(leaves((node,))))
        stack.extend(reversed(node.args))
    first = [node for node in found if node.width == 1 or node in asked]
    rest = [node for node in found if not (node.width == 1 or node in asked)]
    widest = max((node.width for node in rest), default=0)
    return [*((node, bit) for node in first for bit in range(node.width)),
            *((node, bit) for bit in range(widest - 1, -1, -1) for node in rest if bit < node.width)]


def _bits_below(node: Node) -> int:
    return sum(mask.bit_count() for mask in bits_read((node,)).values())


def _constant(looks: Looks) -> int | None:
    """The value that was shown in all trials."""
    value = 0
    for bit in looks:
        if bit not in (0, _ALL):
            return None
        value = value << 1 | bit & 1
    return value


# ---------------------------------------------------------------- trials

_ALL = (1 << TRIALS) - 1


class _Trials:
    """A circuit whose bits are integers, one bit of it a trial. What leaves are is the same in every run."""

    def __init__(self) -> None:
        self._known: dict[Node, list[int]] = {}
        self._tables: dict[tuple[int, tuple[int, ...]], int] = {}
        self._random = Random(1)
        self._shared = [(self._some(), self._some()) for _ in range(WIDEST_SHARED)]

    def of(self, term: Node) -> Looks:
        for node in postorder((term,)):
            if type(node) in (Prior, Cell) and node not in self._known:
                self._known[node] = self._values(node)
        evaluate(self, (term,), self._values, self._known)
        return tuple(self._known[term])

    def _some(self) -> int:
        return self._random.getrandbits(TRIALS)

    def _values(self, node: Node) -> list[int]:
        lots = Lots(self._some, self._shared)
        return [lots.lane(bit) & _ALL for bit in range(node.width - 1, -1, -1)]

    def constant(self, value: int) -> int:
        return _ALL if value else 0

    def inverse(self, a: int) -> int:
        return a ^ _ALL

    def both(self, a: int, b: int) -> int:
        return a & b

    def either(self, a: int, b: int) -> int:
        return a | b

    def differ(self, a: int, b: int) -> int:
        return a ^ b

    def choose(self, condition: int, yes: int, no: int) -> int:
        return condition & yes | (condition ^ _ALL) & no

    def table(self, column: int, address: Sequence[int]) -> int:
        return table(self, self._tables, column, address)
