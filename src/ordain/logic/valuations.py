"""Sets of valuations as one Python integer, and expressions evaluated over all valuations at once.

A `Domain` numbers every valuation of a few leaves in mixed radix: valuation (v1, v2, ...) has the index
v1*stride1 + v2*stride2 + ... with stride1 = 1 and each stride the product of the radices before it. A *set* is an
integer whose bit i says whether valuation i belongs to it. An expression of w bits is evaluated to w sets, its
*planes*, lowest bit first: plane j holds the valuations for which bit j of the expression is 1. So one big-integer
operation does the work of `size` evaluations (bit slicing; Knuth, TAOCP 4A, 7.1.3).
"""

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
    Parity,
    Prior,
    Slice,
    Sub,
    Xor,
)

Planes = tuple[int, ...]
FEW = 8
"""Values of a leaf that are looked for one by one."""


class Domain:
    """`leaves[i]` takes the values 0 .. `radices[i]` - 1. `size` valuations; `full` is the set of all of them."""

    __slots__ = ("_planes", "_values", "full", "leaves", "position", "radices", "size", "strides")

    def __init__(self, leaves: tuple[Node, ...], radices: tuple[int, ...]) -> None:
        self.leaves, self.radices = leaves, radices
        self.position = {leaf: index for index, leaf in enumerate(leaves)}
        strides, size = [], 1
        for radix in radices:
            strides.append(size)
            size *= radix
        self.strides, self.size, self.full = tuple(strides), size, (1 << size) - 1
        self._values: dict[tuple[int, int], int] = {}
        self._planes: dict[Node, Planes] = {}

    def having(self, index: int, value: int) -> int:
        """The set of valuations in which leaf number `index` has this value."""
        mask = self._values.get((index, value))
        if mask is None:
            stride = self.strides[index]
            if (index, 0) not in self._values:
                self._values[index, 0] = self._repeated((1 << stride) - 1, index)
            mask = self._values[index, value] = self._values[index, 0] << stride * value
        return mask

    def _repeated(self, pattern: int, index: int) -> int:
        """A pattern over all values of a leaf, for every choice of the leaves after it."""
        return self.full // ((1 << self.strides[index] * self.radices[index]) - 1) * pattern

    def index_of(self, values: tuple[int, ...]) -> int:
        return sum(value * stride for value, stride in zip(values, self.strides))

    def values_of(self, index: int) -> tuple[int, ...]:
        return tuple(index // stride % radix for stride, radix in zip(self.strides, self.radices))

    def planes(self, root: Node) -> Planes:
        """The planes of an expression over the domain's leaves alone; kept, so that shared parts are done once."""
        known = self._planes
        if root in known:
            return known[root]
        stack = [root]
        while stack:
            node = stack[-1]
            if node in known:
                stack.pop()
                continue
            missing = [arg for arg in node.args if arg not in known]
            if missing:
                stack.extend(missing)
            else:
                known[node] = self._of(node, [known[arg] for arg in node.args])
                stack.pop()
        return known[root]

    def true(self, condition: Node) -> int:
        """The set of valuations for which an expression of one bit is 1."""
        return self.planes(condition)[0]

    def by_value(self, root: Node, within: int) -> list[tuple[int, int]]:
        """(value, the valuations of `within` that give it), for every value that occurs, in ascending order."""
        parts = [(0, within)] if within else []
        for number, plane in reversed(list(enumerate(self.planes(root)))):
            split = []
            for value, part in parts:
                ones = part & plane
                if ones != part:
                    split.append((value, part ^ ones))
                if ones:
                    split.append((value | 1 << number, ones))
            parts = split
        return parts

    def _of(self, node: Node, args: list[Planes]) -> Planes:
        full = self.full
        match node:
            case Const(value=value, width=width):
                return tuple(full if value >> bit & 1 else 0 for bit in range(width))
            case Leaf():
                return self._leaf(self.position[node], node.width)
            case Not():
                return tuple(full ^ plane for plane in args[0])
            case And():
                result = args[0]
                for other in args[1:]:
                    result = tuple(a & b for a, b in zip(result, other))
                return result
            case Or():
                result = args[0]
                for other in args[1:]:
                    result = tuple(a | b for a, b in zip(result, other))
                return result
            case Xor():
                return tuple(a ^ b for a, b in zip(args[0], args[1]))
            case Equal():
                differ = 0
                for a, b in zip(args[0], args[1]):
                    differ |= a ^ b
                return (full ^ differ,)
            case Among(values=values):
                return (self._among(node.args[0], args[0], values),)
            case Less():
                less = 0
                for a, b in zip(args[0], args[1]):
                    less = (full ^ a) & b | (full ^ a ^ b) & less
                return (less,)
            case Add():
                return self._sum(args[0], args[1], 0)
            case Sub():
                return self._sum(args[0], tuple(full ^ plane for plane in args[1]), full)
            case Slice(high=high, low=low):
                return args[0][low:high + 1]
            case Join():
                return tuple(plane for part in reversed(args) for plane in part)
            case If():
                (condition,) = args[0]
                return tuple(condition & a | (full ^ condition) & b for a, b in zip(args[1], args[2]))
            case Parity():
                odd = 0
                for plane in args[0]:
                    odd ^= plane
                return (odd,)
            case Prior():
                raise ValueError("a term of the cycle before has no value here")

    def _leaf(self, index: int, width: int) -> Planes:
        stride, radix = self.strides[index], self.radices[index]
        bits = (radix - 1).bit_length()
        every, existing = (1 << (stride << bits)) - 1, (1 << stride * radix) - 1
        planes = []
        for bit in range(width):
            run = stride << bit     # so many zeros, then so many ones, and again
            alternating = every // ((1 << 2 * run) - 1) * ((1 << run) - 1 << run) if bit < bits else 0
            planes.append(self._repeated(alternating & existing, index))
        return tuple(planes)

    def _among(self, term: Node, planes: Planes, values: frozenset[int]) -> int:
        index = self.position.get(term)
        if index is None or len(values) > FEW:
            return _among_planes(planes, values, self.full)
        found = 0
        for value in values:
            if value < self.radices[index]:
                found |= self.having(index, value)
        return found

    def _sum(self, a: Planes, b: Planes, carry: int) -> Planes:
        total = []
        for x, y in zip(a, b):
            half = x ^ y
            total.append(half ^ carry)
            carry = x & y | half & carry
        return tuple(total)


def _among_planes(planes: Planes, values: frozenset[int], full: int) -> int:
    """Where the value spelt by the planes is one of `values`: splitting by the highest bit, the values with it."""
    found = 0
    work = [(len(planes) - 1, full, sorted(values))]
    while work:
        bit, where, left = work.pop()
        if not where or not left:
            continue
        if bit < 0 or len(left) == 2 << bit:
            found |= where
            continue
        plane = planes[bit]
        work.append((bit - 1, where & plane, [value for value in left if value >> bit & 1]))
        work.append((bit - 1, where & ~plane, [value for value in left if not value >> bit & 1]))
    return found
