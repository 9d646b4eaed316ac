"""Normal forms of terms: two terms with one normal form are equal for all values of their leaves.

Sums and differences become sums with coefficients, `and`, `or`, `xor` are put in one order, slices go as far inwards as
they can, halves of one value that stand side by side become the value again. Terms that are equal may all the same have
two normal forms; that is for case splits and a solver to find.
"""

from ordain.logic.narrowing import cut
from ordain.machine.expression import (
    Add,
    Among,
    And,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Not,
    Or,
    Slice,
    Sub,
    Terms,
    Xor,
)

MOST_REPEATED = 8
"""A term that stands more often in a sum is left as it is written."""


class Normal:
    """`order`: a number for every part, so that what commutes has one order."""

    def __init__(self, terms: Terms) -> None:
        self.terms = terms
        self._made: dict[Node, Node] = {}
        self._order: dict[Node, int] = {}

    def of(self, root: Node) -> Node:
        stack = [root]
        while stack:
            node = stack[-1]
            if node in self._made:
                stack.pop()
                continue
            missing = [arg for arg in node.args if arg not in self._made]
            if missing:
                stack += missing
                continue
            stack.pop()
            self._made[node] = self._of(node, tuple([self._made[arg] for arg in node.args]))
        return self._made[root]

    def difference(self, one: Node, other: Node) -> int | None:
        """By how much two terms differ, where that is the same for all values."""
        if one is other:
            return 0
        apart = self.of(self.terms.sub(one, other))
        return apart.value if type(apart) is Const else None

    def same(self, one: Node, other: Node) -> Node:
        """Whether two terms are equal, decided where their difference is a number."""
        apart = self.difference(one, other)
        return self.terms.equal(one, other) if apart is None else self.terms.const(int(not apart), 1)

    def _of(self, node: Node, args: tuple[Node, ...]) -> Node:
        terms = self.terms
        made = node if args == node.args else terms.rebuild(node, args)
        match made:
            case Add() | Sub():
                return self._sum(made)
            case Not() if made.width > 1:
                return self._sum(made)
            case And() | Or():
                return terms.rebuild(made, tuple(sorted(made.args, key=self._place)))
            case Xor():
                return self._xor(made)
            case Equal():
                apart = self._sum(terms.sub(*made.args))
                if type(apart) is Const:
                    return terms.const(int(not apart.value), 1)
                return terms.equal(*sorted(made.args, key=self._place))
            case Less():
                return self._less(made)
            case Among(args=(Add(args=(inner, Const(value=more))) | Sub(args=(inner, Const(value=more))),),
                       values=values):
                sign = -1 if type(made.args[0]) is Add else 1
                return terms.among(inner, frozenset(value + sign * more & (1 << inner.width) - 1 for value in values))
            case Slice(high=high, low=low):
                inner = cut(terms, made.args[0], high, low)
                return inner if inner is made else self.of(inner)
            case Join():
                return self._join(made)
        return made

    def _place(self, node: Node) -> int:
        return self._order.setdefault(node, len(self._order))

    def _sum(self, node: Node) -> Node:
        """Its parts are in normal form."""
        terms, ones = self.terms, (1 << node.width) - 1
        counts: dict[Node, int] = {}
        total = 0
        waiting = [(node, 1)]
        while waiting:
            part, sign = waiting.pop()
            match part:
                case Const(value=value):
                    total += sign * value
                case Add(args=(one, other)):
                    waiting += [(one, sign), (other, sign)]
                case Sub(args=(one, other)):
                    waiting += [(one, sign), (other, -sign)]
                case Not(args=(one,)):
                    waiting.append((one, -sign))
                    total -= sign
                case _:
                    counts[part] = counts.get(part, 0) + sign
        plus: list[Node] = []
        minus: list[Node] = []
        for part in sorted(counts, key=lambda part: (type(part) is not Leaf, self._place(part))):
            count = counts[part] & ones
            fewest = min(count, ones + 1 - count)
            if fewest > MOST_REPEATED:
                return node
            (plus if fewest == count else minus).extend([part] * fewest)
        total &= ones
        if not plus and len(minus) == 1 and total == ones:
            return terms.not_(minus[0])
        if not plus:
            found, total = terms.const(total, node.width), 0
        else:
            found = plus[0]
        for part in plus[1:]:
            found = terms.add(found, part)
        for part in minus:
            found = terms.sub(found, part)
        return terms.add(found, terms.const(total, node.width)) if total else found

    def _xor(self, node: Node) -> Node:
        terms, odd, total = self.terms, dict[Node, bool](), 0
        waiting = [node]
        while waiting:
            part = waiting.pop()
            match part:
                case Const(value=value):
                    total ^= value
                case Xor(args=(one, other)):
                    waiting += [one, other]
                case Not(args=(one,)):
                    total ^= (1 << node.width) - 1
                    waiting.append(one)
                case _:
                    odd[part] = not odd.get(part, False)
        parts = sorted((part for part, is_odd in odd.items() if is_odd), key=self._place)
        found = terms.const(total, node.width)
        for part in parts:
            found = terms.xor(found, part)
        return found

    def _less(self, node: Node) -> Node:
        """Against a number only the bits above its last zeros, or its last ones, count."""
        terms, (one, other) = self.terms, node.args
        if type(other) is Const and other.value:
            low = (other.value & -other.value).bit_length() - 1
            if low:
                high = self.of(terms.slice(one, one.width - 1, low))
                return self.of(terms.less(high, terms.const(other.value >> low, other.width - low)))
        if type(one) is Const:
            if one.value == (1 << one.width) - 1:
                return terms.const(0, 1)
            low = (one.value + 1 & -(one.value + 1)).bit_length() - 1
            if low:
                high = self.of(terms.slice(other, other.width - 1, low))
                return self.of(terms.less(terms.const(one.value >> low, one.width - low), high))
        return node

    def _join(self, node: Node) -> Node:
        """Puts a high part of a value and the low part below it together again."""
        terms = self.terms
        parts: list[Node] = []
        for part in reversed(node.args):                # the lowest first
            above = part
            if parts and type(part) is Slice and type(part.args[0]) in (Add, Sub, If):
                whole, low, width = part.args[0], part.low, 0
                for count, below in enumerate(reversed(parts), 1):
                    width += below.width
                    if width == low:
                        rest = terms.join(parts[len(parts) - 1 - index] for index in range(count))
                        if self.of(cut(terms, whole, low - 1, 0)) is rest:
                            del parts[len(parts) - count:]
                            above = self.of(cut(terms, whole, part.high, 0))
                        break
                    if width > low:
                        break
            parts.append(above)
        return terms.join(reversed(parts))
