"""What forms the address of a store in the next cycles, as far as a word and the place where it stands decide it.

It shares nothing with what chose the places and filled the fields but the machine's expressions.
"""

from functools import reduce
from operator import or_
from typing import NamedTuple

from ordain.machine.expression import (
    Add,
    And,
    Const,
    If,
    Join,
    Leaf,
    Node,
    Not,
    Or,
    Slice,
    Sub,
    Terms,
    leaves,
    substitute,
)
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine, Register
from ordain.machine.rewriting import with_latches_open

AHEAD = 2
"""Cycles after a word in which its address is looked for: with a register behind the counter it takes two."""


MOST_WAYS = 64
"""Terms; a choice between more is taken as it stands."""


class Through(NamedTuple):
    """The address of a store so many cycles after a word, over one of its fields and what the word leaves open."""

    address: Node
    cycles: int


class Ahead:
    """What forms the address of each store, now and in the next cycles."""

    def __init__(self, machine: Machine) -> None:
        self.machine, self.terms = machine, machine.terms
        self._ahead: dict[str, list[Node]] = {}
        self._reading: dict[tuple[str, str, int, str, int], Node | None] = {}
        self._others: dict[tuple[str, Node, str], tuple[int, tuple[Leaf, ...] | None]] = {}
        self._fields: dict[tuple[str, Node], tuple[Leaf, ...]] = {}
        self._forming: dict[Node, set[Leaf]] = {}
        self._ways: dict[Node, list[Node]] = {}
        self.of_other_words: set[Node] = set()
        """What stands for fields and words of the next cycles, of which nothing is known."""

    def through(self, own: str, bits: int, name: str, store: str) -> Through | None:
        """The first address ahead of which the field is a part; None where it is part of none. `own`, `bits`: the word
        that has the field, and the store in which it stands; `store`: whose address is looked for."""
        for cycles, node in enumerate(self.addresses(store)):
            said, others = self._deciding(own, node, name)
            if others is None:
                return None                             # the field is read as a part of the whole word
            if (key := (own, store, cycles, name, bits & said)) not in self._reading:
                [left] = substitute(self.terms, (node,), {
                    leaf: self.terms.const(self.machine.fields[leaf.name].read(bits), leaf.width) for leaf in others})
                self._reading[key] = left if self.leaf(name) in value_leaves(left) else None
            found = self._reading[key]
            if found is not None:
                return Through(found, cycles)
        return None

    def _deciding(self, own: str, node: Node, name: str) -> tuple[int, tuple[Leaf, ...] | None]:
        """The bits by which a word of the store decides over a term, but for the field of this name, and their fields;
        None where the term is made of the whole word."""
        if (own, node, name) not in self._others:
            decided = self.decided(own, node)
            others = tuple(leaf for leaf in decided if leaf.name != name)
            mask = reduce(or_, (self.machine.fields[leaf.name].mask for leaf in others if leaf.kind == "field"), 0)
            whole = any(leaf.kind == "word" for leaf in decided)
            self._others[own, node, name] = mask, None if whole else others
        return self._others[own, node, name]

    def decided(self, store: str, node: Node) -> tuple[Leaf, ...]:
        """The leaves of a term that a word of the store decides: its fields, and itself."""
        found = self._fields.get((store, node))
        if found is None:
            found = self._fields[store, node] = tuple(
                leaf for leaf in leaves((node,)) if (leaf.kind == "word" and leaf.name == store)
                or (leaf.kind == "field" and self.machine.fields[leaf.name].store == store))
        return found

    def forming(self, node: Node) -> set[Leaf]:
        """The leaves that become a part of the value of a term; see `values`."""
        if node not in self._forming:
            self._forming[node] = set(value_leaves(node))
        return self._forming[node]

    def ways(self, node: Node) -> list[Node]:
        """The terms between which a term chooses, in each of its parts: where a counter goes on unless it is loaded,
        and a page stands beside it, the address of the next word is one, and it has nothing of the field. What chooses
        in several parts, gates among them, chooses in all of them at once."""
        if node not in self._ways:
            found, pending = list[Node](), [node]
            while pending and len(found) + len(pending) <= MOST_WAYS:
                way = pending.pop()
                chooses = _condition(way)
                if chooses is None:
                    found.append(way)
                else:
                    for level in (0, 1):
                        pending += substitute(self.terms, (way,), {chooses: self.terms.const(level, 1)})
            self._ways[node] = [node] if pending else list(dict.fromkeys(found))
        return self._ways[node]

    def leaf(self, field: str) -> Node:
        return self.terms.leaf("field", field, self.machine.fields[field].width)

    def addresses(self, store: str, ahead: int = AHEAD) -> list[Node]:
        """The address now and in so many next cycles."""
        found = self._ahead.setdefault(store, [
            with_latches_open(self.machine.stores[store].address, self.machine, self.terms)])
        while len(found) <= ahead:
            found.append(self._a_cycle_later(found[-1]))
        return found[:ahead + 1]

    def _a_cycle_later(self, node: Node) -> Node:
        """Over what stands at the end of the cycle before; of other words than this one nothing is known."""
        later: dict[Node, Node] = {}
        for leaf in leaves((node,)):
            register = self.machine.registers.get(leaf.name) if leaf.kind == "register" else None
            if leaf.kind == "state" and leaf.name in self.machine.states:
                later[leaf] = self.machine.states[leaf.name].next
            elif register is not None:
                later[leaf] = _loaded(self.terms, leaf, register)
            else:
                later[leaf] = anything(self.terms, leaf)
                if leaf.kind in ("field", "word"):
                    self.of_other_words.add(later[leaf])
        return with_latches_open(substitute(self.terms, (node,), later)[0], self.machine, self.terms)

    def place(self, store: str, address: int) -> dict[Node, Node]:
        """What is known of states and registers while this address is presented."""
        return parts(self.terms, self.machine.stores[store].address, address)


def _condition(node: Node) -> Node | None:
    """By what a term chooses first of all, in one of its parts; None where it does not."""
    pending = [node]
    while pending:
        part = pending.pop()
        match part:
            case If(args=(condition, _, _)):
                return condition
            case Join() | Not() | Slice() | Add() | Sub():
                pending += reversed(part.args)
    return None


def parts(terms: Terms, node: Node, value: int) -> dict[Node, Node]:
    """What is known of the parts of a term when it has this value."""
    found: dict[Node, Node] = {}
    low = 0
    for part in reversed(node.args if type(node) is Join else (node,)):
        bits = value >> low & (1 << part.width) - 1
        low += part.width
        if type(part) is Not:
            part, bits = part.args[0], bits ^ (1 << part.width) - 1
        if type(part) is Leaf:
            found[part] = terms.const(bits, part.width)
        elif type(part) is Slice and type(whole := part.args[0]) is Leaf:
            before = found.get(whole, anything(terms, whole))
            found[whole] = terms.join([*([terms.slice(before, whole.width - 1, part.high + 1)]
                                         if part.high + 1 < whole.width else []),
                                       terms.const(bits, part.width),
                                       *([terms.slice(before, part.low - 1, 0)] if part.low else [])])
    return found


def anything(terms: Terms, leaf: Leaf) -> Node:
    return terms.leaf("input", f"{leaf.kind} {leaf.name}, later", leaf.width)


def _loaded(terms: Terms, leaf: Leaf, register: Register) -> Node:
    """What it holds in the next cycle. Two loads at once are a fault of their own."""
    node: Node = leaf
    for load in register.loads:
        source = load.source if load.source is not None else anything(terms, leaf)
        node = terms.if_(load.when, source, node)
    return node


def may_be(node: Node, value: int) -> bool:
    """Whether nothing that is known of a term rules the value out."""
    while type(node) is If:
        if may_be(node.args[1], value):
            return True
        node = node.args[2]
    match node:
        case Const():
            return node.value == value
        case Join(args=parts):
            for part in reversed(parts):
                if not may_be(part, value & (1 << part.width) - 1):
                    return False
                value >>= part.width
        case And(args=parts):
            return not any(type(part) is Const and value & ~part.value for part in parts)
        case Or(args=parts):
            return not any(type(part) is Const and part.value & ~value for part in parts)
        case Not(args=(turned,)):
            return may_be(turned, value ^ (1 << node.width) - 1)
        case Slice(args=(whole,), high=high, low=low):
            return _slice_may_be(whole, high, low, value)
    return True


def _slice_may_be(node: Node, high: int, low: int, value: int) -> bool:
    """The same of a slice of what is chosen."""
    mask = (1 << high - low + 1) - 1
    while type(node) is If:
        if _slice_may_be(node.args[1], high, low, value):
            return True
        node = node.args[2]
    return type(node) is not Const or node.value >> low & mask == value
