"""A cycle as Python code, made for one control word at a time: what the word decides is decided when the code is made.

A word, together with the states that decide who drives what (agents, the phase), leaves little of most expressions:
one driver to each bus, a few sums. That is written out as straight code over plain numbers, for values of which every
bit is known. Where a bit that is read is not known, or something can only be decided as the machine runs (a bus whose
driver depends on an input), the code gives up, and the cycle is worked out by `datapath`, which is slow and obvious.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple, TypeAlias

from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import Ternary
from ordain.data.resolving import Resolving, Undecided, said_by_words
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
    Slice,
    Sub,
    Xor,
    leaves,
    postorder,
)

MOST_CODES = 1 << 14
"""So many pieces of code are kept at most; beyond them cycles are worked out one by one."""

RIPE = 2
"""So often the cycle of a word is worked out by need before code is made, which takes as long as four of these."""

WIDEST_DECIDING = 8
"""Bits of a state for whose every value code of its own may be made."""

Held: TypeAlias = Mapping[Node, Ternary]
Code: TypeAlias = Callable[[Held, Memories, Mapping[str, int]], "tuple[Any, ...] | None"]


class Made(NamedTuple):
    """What a cycle does. `after`: states and registers that it changes. `written`: (memory, address, word). `seen`: the
    watched expressions, in their order."""

    after: list[tuple[Node, Ternary]]
    written: list[tuple[str, int, Ternary]]
    seen: tuple[int, ...]


class Compiled:
    """Code for cycles, made when it is first needed. `watched`: expressions that somebody wants to know in each."""

    def __init__(self, path: Datapath, watched: Iterable[Node]) -> None:
        self.path, self.watched = path, tuple(watched)
        machine, terms = path.machine, path.terms
        self._stores = [store for store in machine.stores.values() if store.fill == "microprogram"]
        whens = [driver.when for bus in machine.buses.values() for driver in bus.drivers]
        whens += [write.when for memory in machine.memories.values() for write in memory.writes]
        whens += [load.when for register in machine.registers.values() for load in register.loads]
        deciding = {leaf for leaf in leaves(whens) if leaf.kind == "state" and leaf.width <= WIDEST_DECIDING}
        addressing = {leaf for store in self._stores for leaf in leaves((store.address,))}
        self._deciding = sorted((leaf for leaf in deciding - addressing if leaf.name in machine.states),
                                key=lambda leaf: leaf.name)
        self._codes: dict[tuple[int, ...], Code | None] = {}
        self._met: dict[tuple[int, ...], int] = {}
        self._terms = terms
        self._address: Code | None
        try:
            self._address = _function(self, [self._plain(store.address) for store in self._stores])
        except Undecided:
            self._address = None

    def cycle(self, held: Held, memories: Memories, outside: Mapping[str, int]) -> Made | None:
        """What the cycle does; None where that has to be worked out in another way."""
        if self._address is None or any(name in self.path.machine.conditions for name in outside):
            return None
        addresses = self._address(held, memories, outside)
        if addresses is None:
            return None
        key = [*addresses]
        for leaf in self._deciding:
            bits = held[leaf]
            if bits.known != (1 << leaf.width) - 1:
                return None
            key.append(bits.value)
        at = tuple(key)
        if at not in self._codes:
            met = self._met.get(at, 0)
            if met < RIPE or len(self._codes) >= MOST_CODES:
                self._met[at] = met + 1
                return None
            self._codes[at] = self._code(at)
        code = self._codes[at]
        found = None if code is None else code(held, memories, outside)
        return None if found is None else Made(*found)

    # ------------------------------------------------------------ from expressions to what a word leaves of them

    def _plain(self, node: Node) -> Node:
        """An address over states and registers: nothing in it may come from a word or a bus."""
        if any(leaf.kind not in ("state", "register", "input") or leaf in self.path.latches
               for leaf in leaves((node,))):
            raise Undecided
        return node

    def _code(self, key: tuple[int, ...]) -> Code | None:
        path, terms = self.path, self._terms
        known = said_by_words(path, zip(self._stores, key))
        for leaf, value in zip(self._deciding, key[len(self._stores):]):
            known[leaf] = terms.const(value, leaf.width)
        try:
            return _Deciding(path, known).code(self)
        except Undecided:
            return None


class _Deciding(Resolving):
    """The cycle of a word in which everything is decided. Raises Undecided where it is not."""

    def code(self, compiled: Compiled) -> Code:
        path, machine = self.path, self.path.machine
        for bus in machine.buses.values():              # a fight has to be told
            if bus.undriven not in ("wired-and", "wired-or") and sum(
                    self._active(driver.when) for driver in bus.drivers) > 1:
                raise Undecided
        changed = [(leaf, node) for leaf, one in self.nexts() if (node := self.resolved(one)) is not leaf]
        written = []
        for memory in machine.memories.values():
            active = [write for write in memory.writes if self._active(write.when)]
            if len(active) > 1:
                raise Undecided
            if active:
                written.append((memory, self.resolved(memory.address), self.resolved(active[0].source)))
        seen = [self.resolved(node) for node in compiled.watched]
        return _cycle(path, changed, [(memory.name, address, word) for memory, address, word in written], seen,
                      self.addresses)

    def _active(self, when: Node) -> bool:
        return self.decided(when) is self.terms.const(1, 1)


# ---------------------------------------------------------------- code


def _function(compiled: Compiled, nodes: list[Node]) -> Code:
    writing = _Writing(compiled.path, {})
    parts = [writing.name(node) for node in nodes]
    return writing.made(f"return ({', '.join(parts)}{',' * (len(parts) == 1)})")


def _cycle(path: Datapath, changed: list[tuple[Node, Node]], written: list[tuple[str, Node, Node]],
           seen: list[Node], addresses: Mapping[Leaf, Node]) -> Code:
    writing = _Writing(path, addresses)
    after = [f"({writing.constant(leaf)}, Ternary({writing.name(node)}, {(1 << node.width) - 1}))"
             for leaf, node in changed]
    stored = [f"({name!r}, {writing.name(address)}, Ternary({writing.name(word)}, {(1 << word.width) - 1}))"
              for name, address, word in written]
    watched = [writing.name(node) for node in seen]
    return writing.made(f"return [{', '.join(after)}], [{', '.join(stored)}], "
                        f"({', '.join(watched)}{',' * (len(watched) == 1)})")


class _Writing:
    """Lines of a function over plain numbers, one for each distinct expression. `addresses`: of memories and tables, by
    the leaf that stands for what is read there."""

    def __init__(self, path: Datapath, addresses: Mapping[Leaf, Node]) -> None:
        self.path, self.addresses = path, addresses
        self.lines: list[str] = []
        self.names: dict[Node, str] = {}
        self.constants: dict[str, Any] = {"Ternary": Ternary}

    def constant(self, value: object) -> str:
        name = f"c{len(self.constants)}"
        self.constants[name] = value
        return name

    def made(self, last: str) -> Code:
        text = "def cycle(held, memories, outside):\n" + "".join(f"    {line}\n" for line in [*self.lines, last])
        exec(compile(text, "<cycle>", "exec"), self.constants)
        code: Code = self.constants["cycle"]
        return code

    def name(self, node: Node) -> str:
        """The variable, or the number, that has the value of an expression."""
        for part in postorder((node,)):
            if part in self.names:
                continue
            if type(part) is Const:
                self.names[part] = str(part.value)
                continue
            text = self._leaf(part) if type(part) is Leaf else \
                operator_text(part, [self.names[arg] for arg in part.args], self.constant)
            name = f"v{len(self.names)}"
            self.lines.append(f"{name} = {text}")
            self.names[part] = name
            if type(part) is Leaf and part.kind not in ("input", "word"):
                self.lines.append(f"if {name} is None or {name}[1] != {(1 << part.width) - 1}: return None")
                self.lines.append(f"{name} = {name}[0]")
        return self.names[node]

    def _leaf(self, leaf: Leaf) -> str:
        match leaf.kind:
            case "input":
                return f"outside.get({leaf.name!r}, 0)"
            case "word":
                words = self.constant(self.path.contents.words[leaf.name])
                return f"{words}[{self.name(self.addresses[leaf])}]"
            case "free":
                return f"memories[{leaf.name!r}].get({self.name(self.addresses[leaf])})"
        return f"held[{self.constant(leaf)}]"


def operator_text(node: Node, args: Sequence[str], constant: Callable[[object], str]) -> str:
    """An operator in Python, over numbers as wide as its arguments. `constant`: makes a name of a value."""
    ones = (1 << node.width) - 1
    match node:
        case Not():
            return f"{args[0]} ^ {ones}"
        case And():
            return " & ".join(args)
        case Or():
            return " | ".join(args)
        case Xor():
            return f"{args[0]} ^ {args[1]}"
        case Add():
            return f"{args[0]} + {args[1]} & {ones}"
        case Sub():
            return f"{args[0]} - {args[1]} & {ones}"
        case Slice(low=low):
            return f"{args[0]} >> {low} & {ones}"
        case Join():
            shift, parts = node.width, []
            for part, arg in zip(node.args, args):
                shift -= part.width
                parts.append(f"{arg} << {shift}" if shift else arg)
            return " | ".join(parts)
        case If():
            return f"{args[1]} if {args[0]} else {args[2]}"
        case Parity():
            return f"{args[0]}.bit_count() & 1"
        case Equal():
            return f"1 if {args[0]} == {args[1]} else 0"
        case Less():
            return f"1 if {args[0]} < {args[1]} else 0"
        case Among(values=values):
            wanted = f"== {next(iter(values))}" if len(values) == 1 else f"in {constant(values)}"
            return f"1 if {args[0]} {wanted} else 0"
    raise TypeError("not an operator")
