"""Boolean functions of the bits of leaves, in a canonical form: equal functions are equal numbers.

Two machine texts may say one thing in different words; their terms are then different nodes but the same function. The
form is the reduced ordered binary decision diagram (R. E. Bryant, Graph-Based Algorithms for Boolean Function
Manipulation, IEEE Transactions on Computers C-35(8), 1986). Bit k of all leaves comes before bit k+1 of any, highest
first, so that sums and comparisons of two vectors stay small.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence

from ordain.machine.expression import (
    Add,
    Among,
    And,
    Cell,
    Const,
    Equal,
    If,
    Join,
    Leaf,
    Less,
    Node,
    Not,
    Or,
    Parity,
    Prior,
    Slice,
    Sub,
    Xor,
)

FALSE, TRUE = 0, 1
Bits = tuple[int, ...]
"""One function a bit, lowest first."""

LARGEST = 200_000
"""Diagram nodes that one term may add; beyond it a term is compared by its form only."""


class TooLarge(Exception):
    """The diagram of a term would take more than `LARGEST` nodes; whoever asks falls back to comparing forms."""


class Functions:
    """One table of diagrams. `variables[i]` is (leaf, bit); a smaller index stands nearer to the root.

    Invariants: no node has equal branches, no two nodes are alike, the branches of a node have larger variables.
    """

    __slots__ = ("_bits", "_high", "_ites", "_large", "_largest", "_limit", "_low", "_number", "_unique", "_var",
                 "variables")

    def __init__(self, leaves: Iterable[Leaf], largest: int | None = None) -> None:
        """`largest`: diagram nodes that one term may add, `LARGEST` if it is not said."""
        self._largest = LARGEST if largest is None else largest
        self.variables: list[tuple[Node, int]] = []
        self._number: dict[tuple[Node, int], int] = {}
        last = 1 << 60
        self._var, self._low, self._high = [last, last], [0, 1], [0, 1]
        self._limit = last
        self._unique: dict[tuple[int, int, int], int] = {}
        self._ites: dict[tuple[int, int, int], int] = {}
        self._bits: dict[Node, Bits] = {}
        self._large: set[Node] = set()
        order = ((-bit, leaf.kind, leaf.name, leaf) for leaf in leaves for bit in range(leaf.width))
        for negative, _, _, leaf in sorted(order, key=lambda item: item[:3]):
            self._variable(leaf, -negative)

    def free(self, order: Sequence[tuple[Node, int]]) -> None:
        """Terms that stand for any words here, whatever they are made of: all their bits, in this order."""
        for node, bit in order:
            self._variable(node, bit)
        for node, _ in order:
            self._bits[node] = tuple(self._node(self._variable(node, bit), FALSE, TRUE) for bit in range(node.width))

    def _variable(self, leaf: Node, bit: int) -> int:
        number = self._number.get((leaf, bit))
        if number is None:
            number = self._number[leaf, bit] = len(self.variables)
            self.variables.append((leaf, bit))
        return number

    def _node(self, variable: int, low: int, high: int) -> int:
        if low == high:
            return low
        key = (variable, low, high)
        found = self._unique.get(key)
        if found is None:
            found = len(self._var)
            if found > self._limit:
                raise TooLarge
            self._unique[key] = found
            self._var.append(variable)
            self._low.append(low)
            self._high.append(high)
        return found

    # ------------------------------------------------------------ operations

    def ite(self, condition: int, yes: int, no: int) -> int:
        """`yes` where `condition` holds, else `no`. Worked off on a stack: a diagram may be deep."""
        memo, var = self._ites, self._var
        first = (condition, yes, no)
        stack = [first]
        while stack:
            key = stack[-1]
            if key in memo:
                stack.pop()
                continue
            f, g, h = key
            if f <= 1:
                memo[key] = g if f else h
            elif g == h:
                memo[key] = g
            elif g == 1 and h == 0:
                memo[key] = f
            else:
                top = min(var[f], var[g], var[h])
                below = (self._branch(f, top, 0), self._branch(g, top, 0), self._branch(h, top, 0))
                above = (self._branch(f, top, 1), self._branch(g, top, 1), self._branch(h, top, 1))
                low, high = memo.get(below), memo.get(above)
                if low is None or high is None:
                    if low is None:
                        stack.append(below)
                    if high is None:
                        stack.append(above)
                    continue
                memo[key] = self._node(top, low, high)
            stack.pop()
        return memo[first]

    def _branch(self, function: int, variable: int, level: int) -> int:
        if self._var[function] != variable:
            return function
        return self._high[function] if level else self._low[function]

    def both(self, a: int, b: int) -> int:
        return self.ite(a, b, FALSE)

    def either(self, a: int, b: int) -> int:
        return self.ite(a, TRUE, b)

    def negation(self, a: int) -> int:
        return self.ite(a, FALSE, TRUE)

    def given(self, function: int, levels: Mapping[tuple[Node, int], int]) -> int:
        """The function once some variables have these levels (those that no function has yet are passed over)."""
        known = {self._number[key]: level for key, level in levels.items() if key in self._number}
        memo: dict[int, int] = {FALSE: FALSE, TRUE: TRUE}
        for node in self._below(function):
            if node > 1:
                variable, low, high = self._var[node], memo[self._low[node]], memo[self._high[node]]
                level = known.get(variable)
                memo[node] = self._node(variable, low, high) if level is None else high if level else low
        return memo[function]

    def differ(self, a: int, b: int) -> int:
        return self.ite(a, self.negation(b), b)

    # ------------------------------------------------------------ terms

    def bits(self, term: Node) -> Bits:
        """The functions of a term's bits. Every leaf is free. Raises TooLarge; once it was raised of a term, always of
        it: a second try would go on where the first one ended, and one machine would not be like itself. And of
        whatever is made of a part that alone took most of what a term may take."""
        memo, large = self._bits, self._large
        if term in large:
            raise TooLarge
        if term not in memo:
            missing = self._missing(term)
            if not large.isdisjoint(missing):
                large.add(term)
                raise TooLarge
            begun, self._limit = 0, len(self._var) + self._largest
            try:
                for node in missing:
                    begun = len(self._var)
                    memo[node] = self._bits_of(node, [memo[arg] for arg in node.args])
            except TooLarge:
                large.add(term)
                if node.args and 2 * (len(self._var) - begun) > self._largest:
                    large.add(node)
                raise
            finally:
                self._limit = 1 << 60
        return memo[term]

    def _missing(self, term: Node) -> list[Node]:
        """The parts of a term that have no functions yet, arguments before the nodes that use them."""
        found: dict[Node, None] = {}
        stack = [(term, False)]
        while stack:
            node, ready = stack.pop()
            if ready:
                found[node] = None
            elif node not in self._bits and node not in found:
                stack.append((node, True))
                stack.extend((arg, False) for arg in reversed(node.args))
        return list(found)

    def condition(self, term: Node) -> int:
        """The function of a term of one bit; a term too large for a diagram counts as a condition of its own."""
        try:
            return self.bits(term)[0]
        except TooLarge:
            self._bits[term] = (self._node(self._variable(term, 0), FALSE, TRUE),)
            return self._bits[term][0]

    def _bits_of(self, node: Node, args: list[Bits]) -> Bits:
        match node:
            case Const(value=value, width=width):
                return tuple(value >> bit & 1 for bit in range(width))
            case Leaf() | Prior() | Cell():
                return tuple(self._node(self._variable(node, bit), FALSE, TRUE) for bit in range(node.width))
            case Not():
                return tuple(self.negation(bit) for bit in args[0])
            case And():
                return self._fold(self.both, args)
            case Or():
                return self._fold(self.either, args)
            case Xor():
                return self._fold(self.differ, args)
            case Equal():
                return (self.negation(self._some(self.differ(a, b) for a, b in zip(args[0], args[1], strict=True))),)
            case Among(values=values):
                return (self._some(self._value(args[0], value) for value in sorted(values)),)
            case Less():
                return (self._borrow(args[0], args[1])[1],)
            case Add():
                return self._sum(args[0], args[1])
            case Sub():
                return self._borrow(args[0], args[1])[0]
            case Slice(high=high, low=low):
                return args[0][low:high + 1]
            case Join():
                return tuple(bit for part in reversed(args) for bit in part)
            case If():
                return tuple(self.ite(args[0][0], yes, no) for yes, no in zip(args[1], args[2], strict=True))
            case Parity():
                odd = FALSE
                for bit in args[0]:
                    odd = self.differ(odd, bit)
                return (odd,)

    def _fold(self, join: Callable[[int, int], int], args: list[Bits]) -> Bits:
        result = args[0]
        for other in args[1:]:
            result = tuple(join(a, b) for a, b in zip(result, other, strict=True))
        return result

    def _some(self, parts: Iterable[int]) -> int:
        result = FALSE
        for part in parts:
            result = self.either(result, part)
        return result

    def _value(self, bits: Bits, value: int) -> int:
        """1 where the vector has that value."""
        result = TRUE
        for position, bit in enumerate(bits):
            result = self.both(result, bit if value >> position & 1 else self.negation(bit))
        return result

    def _sum(self, a: Bits, b: Bits) -> Bits:
        carry, result = FALSE, []
        for x, y in zip(a, b, strict=True):
            odd = self.differ(x, y)
            result.append(self.differ(odd, carry))
            carry = self.ite(odd, carry, x)
        return tuple(result)

    def _borrow(self, a: Bits, b: Bits) -> tuple[Bits, int]:
        """The difference, and 1 where a < b."""
        borrow, result = FALSE, []
        for x, y in zip(a, b, strict=True):
            odd = self.differ(x, y)
            result.append(self.differ(odd, borrow))
            borrow = self.ite(odd, y, borrow)
        return tuple(result), borrow

    # ------------------------------------------------------------ reading functions

    def example(self, function: int) -> dict[tuple[Node, int], int]:
        """The fewest variables' values that make the function 1, the earliest such; empty for a constant 1."""
        if function == FALSE:
            raise ValueError("nothing makes it 1")
        best: dict[int, tuple[int, int]] = {TRUE: (0, -1), FALSE: (1 << 60, -1)}
        for node in self._below(function):
            if node > 1:
                low, high = best[self._low[node]][0], best[self._high[node]][0]
                best[node] = (low + 1, 0) if low <= high else (high + 1, 1)
        found: dict[tuple[Node, int], int] = {}
        while function > 1:
            level = best[function][1]
            found[self.variables[self._var[function]]] = level
            function = self._high[function] if level else self._low[function]
        return found

    def support(self, function: int) -> list[tuple[Node, int]]:
        """The variables that the function depends on."""
        return [self.variables[number] for number in sorted({self._var[n] for n in self._below(function) if n > 1})]

    def _below(self, function: int) -> list[int]:
        """Every node of the diagram, branches before what branches to them."""
        done: dict[int, None] = {}
        stack = [(function, False)]
        while stack:
            node, ready = stack.pop()
            if node in done:
                continue
            if node <= 1 or ready:
                done[node] = None
            else:
                stack += [(node, True), (self._low[node], False), (self._high[node], False)]
        return list(done)
