"""Expressions: immutable bit-vector terms of known width, one node per distinct term.

Nodes are made only by a `Terms`, which keeps the table that makes equality identity; two nodes of one `Terms` are
equal exactly when they are the same object. `choose` is lowered to `If` over `Among`; field and state codes are plain
numbers here. All numbers are unsigned. Walks are iterative (`postorder`), so depth is bounded by memory only.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Literal, TypeAlias, Union

LeafKind: TypeAlias = Literal[
    "state", "input", "condition", "field", "word", "address", "bus", "register", "opcode", "at", "in", "free",
]
"""What a leaf stands for; see `Leaf`."""


class _Node:
    __slots__ = ("args", "width")
    args: "tuple[Node, ...]"
    width: int


class Const(_Node):
    """A number of `width` bits."""

    __slots__ = ("value",)
    __match_args__ = ("value", "width")

    def __init__(self, value: int, width: int) -> None:
        self.args, self.value, self.width = (), value, width


class Leaf(_Node):
    """Something whose value comes from outside the expression.

    kind       name                     value
    state      `upc`, `console.mode`    the state's present value
    input      `console.want`           free in every cycle
    condition  `zero`                   free in every cycle (in proofs)
    field      `source`                 the field's value in its store's word, *asserted* sense (active low undone)
    word       `control`                the whole stored word of that store, as it stands in the chips
    address    `control`                the address presented to that store
    bus        `data`                   what stands on the bus: free in every cycle (in proofs)
    register   `ir`                     the register's or latch's present value
    opcode     `ir`                     only in `Store.starts_at`: the instruction's opcode
    at         label or instruction     1 when the store's address is that of the label (needs the placement)
    in         routine or instruction   1 when the store's address is one of the routine's words
    free       any                      free in every cycle
    """

    __slots__ = ("kind", "name")
    __match_args__ = ("kind", "name", "width")

    def __init__(self, kind: LeafKind, name: str, width: int) -> None:
        self.args, self.kind, self.name, self.width = (), kind, name, width


class Not(_Node):
    """Bitwise complement."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class And(_Node):
    """Bitwise and of two or more terms of equal width."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Or(_Node):
    """Bitwise or of two or more terms of equal width."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Xor(_Node):
    """Bitwise exclusive or of two terms of equal width."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Equal(_Node):
    """1 when two terms of equal width, neither of them constant, are equal."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Among(_Node):
    """1 when the term's value is in `values`. Equality with a constant is this, with one value."""

    __slots__ = ("values",)
    __match_args__ = ("args", "values")

    def __init__(self, args: "tuple[Node, ...]", values: frozenset[int]) -> None:
        self.args, self.values, self.width = args, values, 1


class Less(_Node):
    """1 when the first term is less than the second, unsigned."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Add(_Node):
    """Sum modulo the width."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Sub(_Node):
    """Difference modulo the width."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Slice(_Node):
    """Bits `high` down to `low`, low bits numbered from 0."""

    __slots__ = ("high", "low")
    __match_args__ = ("args", "high", "low")

    def __init__(self, args: "tuple[Node, ...]", high: int, low: int) -> None:
        self.args, self.high, self.low, self.width = args, high, low, high - low + 1


class Join(_Node):
    """Concatenation; the first term is the highest."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class If(_Node):
    """args = (condition of 1 bit, value when 1, value when 0)."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Parity(_Node):
    """The sum of the bits modulo 2."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Prior(_Node):
    """The term one step before; 0 in the first one. With a second argument: in the last step before in which that
    condition held, 0 where none has."""

    __slots__ = ()
    __match_args__ = ("args",)

    def __init__(self, args: "tuple[Node, ...]", width: int) -> None:
        self.args, self.width = args, width


class Cell(_Node):
    """The word of the memory `name` at an address. Only meanings of instructions have it: there it is the word before
    the instruction begins. In a machine's own expressions what a memory shows is a `free` leaf."""

    __slots__ = ("name",)
    __match_args__ = ("args", "name")

    def __init__(self, args: "tuple[Node, ...]", name: str, width: int) -> None:
        self.args, self.name, self.width = args, name, width


Node: TypeAlias = Union[Const, Leaf, Not, And, Or, Xor, Equal, Among, Less, Add, Sub, Slice, Join, If, Parity, Prior,
                        Cell]


class Terms:
    """The table of distinct terms, and the only maker of nodes.

    The makers simplify as they go (constants folded, `x and x`, `not not x`, an `If` with equal arms, slices of joins),
    so substituting constants with them is partial evaluation. They trust their caller on widths and raise ValueError
    where they can see a mistake; that is a fault of ours, user errors are found before.
    """

    __slots__ = ("_table",)

    def __init__(self) -> None:
        self._table: dict[object, Node] = {}

    def const(self, value: int, width: int) -> Node:
        if value < 0 or value >> width:
            raise ValueError(f"{value} does not fit in {width} bits")
        key = (Const, value, width)
        node = self._table.get(key)
        if node is None:
            node = self._table[key] = Const(int(value), width)     # a truth value is no number where it is written out
        return node

    def leaf(self, kind: LeafKind, name: str, width: int) -> Node:
        key = (Leaf, kind, name, width)
        node = self._table.get(key)
        if node is None:
            node = self._table[key] = Leaf(kind, name, width)
        return node

    def not_(self, x: "Node") -> Node:
        if type(x) is Const:
            return self.const(x.value ^ ((1 << x.width) - 1), x.width)
        if type(x) is Not:
            return x.args[0]
        return self._make(Not, (x,), x.width)

    def and_(self, parts: "Iterable[Node]") -> Node:
        return self._gather(And, tuple(parts))

    def or_(self, parts: "Iterable[Node]") -> Node:
        return self._gather(Or, tuple(parts))

    def _gather(self, kind: "type[And] | type[Or]", parts: "tuple[Node, ...]") -> Node:
        if not parts:
            raise ValueError("and/or of nothing has no width")
        width = parts[0].width
        ones = (1 << width) - 1
        neutral, absorbing = (ones, 0) if kind is And else (0, ones)
        constant = neutral
        seen: dict[Node, None] = {}
        for part in parts:
            if part.width != width:
                raise ValueError(f"widths {width} and {part.width} mixed")
            for term in part.args if type(part) is kind else (part,):
                if type(term) is Const:
                    constant = constant & term.value if kind is And else constant | term.value
                else:
                    seen[term] = None
        if constant == absorbing:
            return self.const(absorbing, width)
        if any(type(term) is Not and term.args[0] in seen for term in seen):
            return self.const(absorbing, width)
        terms = tuple(seen)
        if constant != neutral:
            terms = (*terms, self.const(constant, width))
        if not terms:
            return self.const(neutral, width)
        if len(terms) == 1:
            return terms[0]
        return self._make(kind, terms, width)

    def xor(self, a: "Node", b: "Node") -> Node:
        if a.width != b.width:
            raise ValueError(f"widths {a.width} and {b.width} mixed")
        if type(a) is Const and type(b) is Const:
            return self.const(a.value ^ b.value, a.width)
        if a is b:
            return self.const(0, a.width)
        if type(a) is Const:
            a, b = b, a
        if type(b) is Const:
            if b.value == 0:
                return a
            if b.value == (1 << b.width) - 1:
                return self.not_(a)
        return self._make(Xor, (a, b), a.width)

    def equal(self, a: "Node", b: "Node") -> Node:
        if a.width != b.width:
            raise ValueError(f"widths {a.width} and {b.width} mixed")
        if a is b:
            return self.const(1, 1)
        if type(b) is Const:
            return self.among(a, frozenset((b.value,)))
        if type(a) is Const:
            return self.among(b, frozenset((a.value,)))
        return self._make(Equal, (a, b), 1)

    def among(self, x: "Node", values: frozenset[int]) -> Node:
        if type(x) is Const:
            return self.const(int(x.value in values), 1)
        if not values:
            return self.const(0, 1)
        if min(values) < 0 or max(values) >> x.width:
            raise ValueError(f"values that do not fit in {x.width} bits")
        if len(values) == 1 << x.width:
            return self.const(1, 1)
        if x.width == 1:
            return x if 1 in values else self.not_(x)
        if type(x) is If and type(x.args[1]) is Const and type(x.args[2]) is Const:
            yes, no = x.args[1].value in values, x.args[2].value in values
            if yes == no:
                return self.const(int(yes), 1)
            return x.args[0] if yes else self.not_(x.args[0])
        key = (Among, x, values)
        node = self._table.get(key)
        if node is None:
            node = self._table[key] = Among((x,), values)
        return node

    def less(self, a: "Node", b: "Node") -> Node:
        if a.width != b.width:
            raise ValueError(f"widths {a.width} and {b.width} mixed")
        if type(a) is Const and type(b) is Const:
            return self.const(int(a.value < b.value), 1)
        if a is b or (type(b) is Const and b.value == 0):
            return self.const(0, 1)
        return self._make(Less, (a, b), 1)

    def add(self, a: "Node", b: "Node") -> Node:
        if a.width != b.width:
            raise ValueError(f"widths {a.width} and {b.width} mixed")
        if type(a) is Const:
            a, b = b, a
        if type(b) is Const:
            if b.value == 0:
                return a
            if type(a) is Const:
                return self.const((a.value + b.value) & ((1 << a.width) - 1), a.width)
            if type(a) is Add and type(a.args[1]) is Const:
                return self.add(a.args[0], self.add(a.args[1], b))
        return self._make(Add, (a, b), a.width)

    def sub(self, a: "Node", b: "Node") -> Node:
        if a.width != b.width:
            raise ValueError(f"widths {a.width} and {b.width} mixed")
        if a is b:
            return self.const(0, a.width)
        if type(b) is Const:
            if b.value == 0:
                return a
            if type(a) is Const:
                return self.const((a.value - b.value) & ((1 << a.width) - 1), a.width)
        return self._make(Sub, (a, b), a.width)

    def slice(self, x: "Node", high: int, low: int) -> Node:
        if not 0 <= low <= high < x.width:
            raise ValueError(f"[{high}:{low}] of {x.width} bits")
        if low == 0 and high == x.width - 1:
            return x
        if type(x) is Const:
            return self.const((x.value >> low) & ((1 << (high - low + 1)) - 1), high - low + 1)
        if type(x) is Slice:
            return self.slice(x.args[0], high + x.low, low + x.low)
        if type(x) is Not:
            return self.not_(self.slice(x.args[0], high, low))
        if type(x) is Join:
            parts: list[Node] = []
            top = x.width
            for part in x.args:
                base = top - part.width
                if base <= high and top > low:
                    parts.append(self.slice(part, min(high, top - 1) - base, max(low, base) - base))
                top = base
            return self.join(parts)
        key = (Slice, x, high, low)
        node = self._table.get(key)
        if node is None:
            node = self._table[key] = Slice((x,), high, low)
        return node

    def join(self, parts: "Iterable[Node]") -> Node:
        flat: list[Node] = []
        for part in parts:
            for term in part.args if type(part) is Join else (part,):
                last = flat[-1] if flat else None
                if type(term) is Const and type(last) is Const:
                    flat[-1] = self.const(last.value << term.width | term.value, last.width + term.width)
                elif (type(term) is Slice and type(last) is Slice and term.args[0] is last.args[0]
                        and last.low == term.high + 1):
                    flat[-1] = self.slice(term.args[0], last.high, term.low)
                else:
                    flat.append(term)
        if not flat:
            raise ValueError("a join of nothing has no width")
        if len(flat) == 1:
            return flat[0]
        return self._make(Join, tuple(flat), sum(term.width for term in flat))

    def if_(self, condition: "Node", yes: "Node", no: "Node") -> Node:
        if condition.width != 1 or yes.width != no.width:
            raise ValueError(f"if of widths {condition.width}, {yes.width}, {no.width}")
        if type(condition) is Const:
            return yes if condition.value else no
        if yes is no:
            return yes
        if type(condition) is Not:
            return self.if_(condition.args[0], no, yes)
        if yes.width == 1:
            if type(yes) is Const:
                return self.or_((condition, no)) if yes.value else self.and_((self.not_(condition), no))
            if type(no) is Const:
                return self.or_((self.not_(condition), yes)) if no.value else self.and_((condition, yes))
        return self._make(If, (condition, yes, no), yes.width)

    def parity(self, x: "Node") -> Node:
        if type(x) is Const:
            return self.const(x.value.bit_count() & 1, 1)
        if x.width == 1:
            return x
        return self._make(Parity, (x,), 1)

    def prior(self, x: "Node", counted: "Node | None" = None) -> Node:
        if type(x) is Const and x.value == 0:
            return x
        return self._make(Prior, (x,) if counted is None else (x, counted), x.width)

    def cell(self, name: str, address: "Node", width: int) -> Node:
        key = (Cell, name, address, width)
        node = self._table.get(key)
        if node is None:
            node = self._table[key] = Cell((address,), name, width)
        return node

    def rebuild(self, node: "Node", args: "tuple[Node, ...]") -> Node:
        """The same operator over other arguments, simplified; for substitution. A Const or Leaf comes back as it is."""
        match node:
            case Const() | Leaf():
                return node
            case Not():
                return self.not_(args[0])
            case And():
                return self.and_(args)
            case Or():
                return self.or_(args)
            case Xor():
                return self.xor(args[0], args[1])
            case Equal():
                return self.equal(args[0], args[1])
            case Among(values=values):
                return self.among(args[0], values)
            case Less():
                return self.less(args[0], args[1])
            case Add():
                return self.add(args[0], args[1])
            case Sub():
                return self.sub(args[0], args[1])
            case Slice(high=high, low=low):
                return self.slice(args[0], high, low)
            case Join():
                return self.join(args)
            case If():
                return self.if_(args[0], args[1], args[2])
            case Parity():
                return self.parity(args[0])
            case Prior():
                return self.prior(*args)
            case Cell(name=name):
                return self.cell(name, args[0], node.width)

    def _make(self, kind: type, args: "tuple[Node, ...]", width: int) -> Node:
        key = (kind, args)
        node = self._table.get(key)
        if node is None:
            node = self._table[key] = kind(args, width)
        return node


def postorder(roots: "Iterable[Node]") -> "Iterator[Node]":
    """Every distinct node below the roots, arguments before the nodes that use them."""
    done: set[Node] = set()
    stack: list[tuple[Node, bool]] = [(root, False) for root in reversed(tuple(roots))]
    while stack:
        node, ready = stack.pop()
        if node in done:
            continue
        if ready or not node.args:
            done.add(node)
            yield node
        else:
            stack.append((node, True))
            stack.extend((arg, False) for arg in reversed(node.args) if arg not in done)


def leaves(roots: "Iterable[Node]") -> "list[Leaf]":
    """The distinct leaves below the roots, from left to right."""
    found: list[Leaf] = []
    seen: set[Node] = set()
    stack = [*roots][::-1]
    while stack:                                    # `postorder` without the nodes between: this is asked often
        node = stack.pop()
        if node not in seen:
            seen.add(node)
            if type(node) is Leaf:
                found.append(node)
            stack += node.args[::-1]
    return found


def substitute(terms: Terms, roots: "tuple[Node, ...]", values: "Mapping[Node, Node]") -> "tuple[Node, ...]":
    """The roots with each node that is a key of `values` replaced, simplified on the way.

    What cannot make a difference is not looked at: what is below a replaced node, the branch that a choice does not
    take, the rest of an `and` of which one part is 0."""
    return substitute_on(terms, roots, dict(values))


def substitute_on(terms: Terms, roots: "tuple[Node, ...]", made: "dict[Node, Node]") -> "tuple[Node, ...]":
    """As `substitute`. `made`: what nodes are replaced by, and what came of others before, to which more is added."""
    stack = list(reversed(roots))
    while stack:
        node = stack[-1]
        if node in made:
            stack.pop()
            continue
        kind, args = type(node), node.args
        if kind is If:
            chosen = made.get(args[0])
            if chosen is None:
                stack.append(args[0])
                continue
            if type(chosen) is Const:
                branch = args[1] if chosen.value else args[2]
                if branch in made:
                    made[node] = made[branch]
                else:
                    stack.append(branch)
                continue
        elif kind is And or kind is Or:
            decided = _decided(node, made)
            if decided is not None:
                made[node] = decided
                continue
        if missing := [arg for arg in args if arg not in made]:
            stack += reversed(missing)
            continue
        after = tuple([made[arg] for arg in args])
        made[node] = node if after == args else terms.rebuild(node, after)
    return tuple([made[root] for root in roots])


def _decided(node: "Node", made: "dict[Node, Node]") -> "Node | None":
    """An `and` of which some part is 0, an `or` of which some part is all ones."""
    deciding = 0 if type(node) is And else (1 << node.width) - 1
    for arg in node.args:
        part = made.get(arg)
        if type(part) is Const and part.value == deciding:
            return part
    return None
