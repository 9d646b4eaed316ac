"""What a cycle does, one term an effect: who drives, who takes, what strobes, what every register and state becomes.

An effect is known by what it is about (`("drives", "data", "acc")`), not by the fields that bring it about: so two
machines with different fields can be compared. Where only one side has an effect, the other is taken to do what a word
does that orders nothing. Effects that no word can change are no matter of an instruction; they are compared once, as
changes of the machine.
"""

from typing import NamedTuple

from ordain.compare.equal_terms import EqualTerms
from ordain.compare.orders import Pairing
from ordain.compare.side import Side, holds_place
from ordain.control.registers import after_loads
from ordain.logic.narrowing import bits_read
from ordain.machine.driving import put
from ordain.machine.expression import Leaf, Node, Prior, Terms, leaves, postorder, substitute
from ordain.machine.model import Driver, Machine, Memory

Key = tuple[str, ...]
Meaning = Node
"""One term for all that are known to be equal."""


class CycleEffect(NamedTuple):
    """`covered`: on both sides the same term over fields that are compared code by code anyway."""

    key: Key
    covered: bool


class Agreed(NamedTuple):
    """`terms[side]`: per effect that words can change, its term on that side. `machine`: keys of the effects that no
    word can change and that differ. `alone`: (side, key) of those that only one side has."""

    effects: tuple[CycleEffect, ...]
    terms: tuple[tuple[Node, ...], tuple[Node, ...]]
    machine: tuple[Key, ...]
    alone: tuple[tuple[int, Key], ...]


class Meanings:
    """Terms of one side -> meanings. A pointer that holds a place and stays unknown is unlike any of the other side
    (`mark`)."""

    def __init__(self, terms: Terms, equal_terms: EqualTerms, side: Side, mark: str) -> None:
        self._terms, self._equal_terms = terms, equal_terms
        self._memo: dict[Node, tuple[Meaning, frozenset[Leaf]]] = {}
        self._marks: dict[Node, Node] = {leaf: terms.leaf("free", f"{leaf.name} {mark}", leaf.width)
                                         for leaf in side.sequencing.pointers if holds_place(side, leaf)}
        self._held = frozenset((*side.sequencing.opcodes, *side.sequencing.pointers, *side.flags))

    def of(self, term: Node) -> tuple[Meaning, frozenset[Leaf]]:
        """The meaning, and the pointers, opcodes and flags that it depends on."""
        found = self._memo.get(term)
        if found is None:
            meaning = self.shown(term)
            found = self._memo[term] = (meaning, frozenset(leaf for leaf in leaves((term,)) if leaf in self._held))
        return found

    def shown(self, term: Node) -> Node:
        """The term that stands for all that are known to be equal, so that also what is too large for a diagram is one
        condition on both sides."""
        return self._equal_terms.first(self.marked(term))

    def marked(self, term: Node) -> Node:
        """The term with the mark on every pointer of which it is not known what place it holds."""
        return substitute(self._terms, (term,), self._marks)[0] if self._marks else term


def effects_of(side: Side, terms: Terms) -> dict[Key, Node]:
    """Every effect of a side, but for what words beside say. A driver that follows a bus, a latch: what differs in kind
    has another key."""
    machine = side.machine
    pointers = set(side.sequencing.pointers)
    found: dict[Key, Node] = {}

    def note(key: Key, term: Node) -> None:
        """What a strobe asks of the cycle before is not known in this one: it has a name here, and is compared in every
        cycle by itself."""
        assert key not in found, key            # two things under one name would hide one another
        before: dict[Node, Node] = {}
        for node in postorder((term,)):
            if type(node) is Prior:
                asked = ("before", *key[1:], str(len(before)))
                before[node] = terms.leaf("free", " ".join(asked), node.width)
                note(asked, terms.join(node.args))
        found[key] = substitute(terms, (term,), before)[0]

    for bus in machine.buses.values():
        for driver in bus.drivers:
            note(("drives", bus.name, driver.name, driver.follows), driver.when)
            value = put(machine, driver, bus.width)
            if value is not None and (value in pointers or not _holds_itself(machine, driver)):
                note(("puts", bus.name, driver.name), terms.if_(driver.when, value, terms.const(0, value.width)))
        for sampler in bus.samplers:
            note(("takes", bus.name, sampler.name), sampler.when)
    for memory in machine.memories.values():
        note(("writes", memory.name), terms.or_((terms.const(0, 1), *(write.when for write in memory.writes))))
        note(("written", memory.name), _written(memory, terms))
    for strobe in machine.strobes:
        note(("strobes", strobe.name), strobe.active)
    for register in machine.registers.values():
        leaf = terms.leaf("register", register.name, register.width)
        if leaf not in pointers:
            kind = "latch" if register.transparent else "register"
            note(("loads", register.name, kind), after_loads(register, leaf, terms))
    for state in machine.states.values():
        if terms.leaf("state", state.name, state.width) not in pointers:
            note(("steps", state.name), state.next)
    asked = leaves((*(term for key, term in found.items() if key[0] != "puts"),
                    *side.sequencing.nexts.values(), *side.sequencing.stores.values(),
                    *(memory.address for memory in machine.memories.values()),
                    *(condition.value for condition in machine.conditions.values() if condition.value is not None)))
    for memory in machine.memories.values():
        word = terms.leaf("free", memory.name, memory.bits)
        note(("reads", memory.name), _read(memory, machine, word, word in asked, terms))
    return found


def said_beside(sides: tuple[Side, Side], pairing: Pairing, terms: Terms) -> tuple[dict[Key, Node], dict[Key, Node]]:
    """What the fields of a store say that the microprogram fills and that is not executed, such as a decoder of the
    opcode: per side, by the new names and in the new codes. And what stores show on lines of which nothing is said;
    where nobody can say which line is which, it is another on both sides. And what conditions are where a store
    says it, or a place: that may be another though it is said in the same words."""
    found: tuple[dict[Key, Node], dict[Key, Node]] = ({}, {})
    new_names = {other for other, _ in pairing.values.values()}
    for mine, (side, counts) in enumerate(zip(sides, ({*pairing.values, *pairing.old_alone},
                                                      {*new_names, *pairing.new_alone}))):
        for name, field in side.machine.fields.items():
            if name not in counts or pairing.said_by_effects(mine, name) or field.store in side.sequencing.control or \
                    side.machine.stores[field.store].fill != "microprogram":
                continue
            other, numbers = (name, None) if mine else pairing.values.get(name, (name, None))
            leaf = terms.leaf("field", name, field.width)
            found[mine]["says", other] = leaf if numbers is None else _in_new_codes(
                leaf, name, sides[1].machine.fields[other].width, numbers, terms)
    for name, condition in sides[0].machine.conditions.items():
        its = sides[1].machine.conditions.get(name)
        if condition.value is None or its is None or its.value is None:
            continue
        if any(_said_elsewhere(side, leaf) for side in sides for leaf in leaves((condition.value, its.value))):
            found[0]["means", name], found[1]["means", name] = condition.value, its.value
    shown, untold = _unread_lines(sides, terms)
    for number, each in enumerate(found):
        each.update({("shows", name): terms.join(lines) for name, lines in shown.items()})
        each.update({("lines", name): terms.const(number, 1) for name in untold})
    return found


def _said_elsewhere(side: Side, leaf: Leaf) -> bool:
    """A place, or what is not in the words that are executed, but in other stores."""
    if leaf.kind == "field":
        return leaf.name in side.machine.fields and side.machine.fields[leaf.name].store not in side.sequencing.control
    return leaf in side.sequencing.pointers or (leaf.kind == "word" and leaf.name not in side.sequencing.control)


def _unread_lines(sides: tuple[Side, Side], terms: Terms) -> tuple[dict[str, list[Node]], list[str]]:
    """The lines of computed stores of which one side reads nothing: they lead somewhere all the same. And the stores of
    which nobody can say which of these lines is which: only one side has them, or they have as many on neither."""
    unread: dict[str, int] = {}
    for side in sides:
        read = bits_read([*side.sequencing.nexts.values(), *side.sequencing.stores.values(),
                          *effects_of(side, terms).values()])
        for name, store in side.machine.stores.items():
            lines = (1 << store.bits) - 1 & ~read.get(terms.leaf("word", name, store.bits), 0)
            if store.fill == "computed" and lines:
                unread[name] = unread.get(name, 0) | lines
    found: dict[str, list[Node]] = {}
    untold: list[str] = []
    for name, lines in unread.items():
        ours, theirs = (side.machine.stores.get(name) for side in sides)
        if ours is None or theirs is None or ours.fill != theirs.fill or ours.bits != theirs.bits:
            untold.append(name)
        else:
            leaf = terms.leaf("word", name, ours.bits)
            found[name] = [terms.slice(leaf, bit, bit) for bit in range(ours.bits - 1, -1, -1) if lines >> bit & 1]
    return found, untold


def _in_new_codes(leaf: Node, name: str, width: int, numbers: dict[int, int], terms: Terms) -> Node:
    """The value of a field of the old machine in the new one's codes; what has no counterpart is unlike all of them."""
    value: Node = terms.leaf("free", f"{name} of the old machine", width)
    for before, after in numbers.items():
        value = terms.if_(terms.among(leaf, frozenset((before,))), terms.const(after, width), value)
    return value


def _put_by_itself(machine: Machine, key: Key, terms: Terms) -> Node | None:
    """What a driver puts on a bus that is called as what that is, where the other side says it in a value of its
    own."""
    bus = machine.buses.get(key[1]) if key[0] == "puts" else None
    if bus is None:
        return None
    for driver in bus.drivers:
        value = put(machine, driver, bus.width) if driver.name == key[2] else None
        if value is not None:
            return terms.if_(driver.when, value, terms.const(0, value.width))
    return None


def _holds_itself(machine: Machine, driver: Driver) -> bool:
    """What is put there is what is called so, and what that holds is compared where it is loaded."""
    return driver.value is None and any(driver.name in named for named in (
        machine.registers, machine.states, machine.memories, machine.inputs))


def _read(memory: Memory, machine: Machine, word: Node, always: bool, terms: Terms) -> Node:
    """The address while a bus shows what stands there or is made of it, or `always`, where a term asks what that is;
    else 0."""
    shown = [driver.when for bus in machine.buses.values() for driver in bus.drivers
             if (value := put(machine, driver, bus.width)) is not None and word in leaves((value,))]
    nothing = terms.const(0, memory.address.width)
    return terms.if_(terms.or_((terms.const(int(always), 1), *shown)), memory.address, nothing)


def _written(memory: Memory, terms: Terms) -> Node:
    """The address and what is written there, 0 while nothing is; what two different sources leave is anything."""
    nothing, unknown = terms.const(0, memory.bits), terms.leaf("free", f"{memory.name} written twice", memory.bits)
    word, active = nothing, terms.const(0, 1)
    for number, write in enumerate(memory.writes):
        word = terms.if_(write.when, write.source, word)
        for other in memory.writes[:number]:
            if other.source is not write.source:
                word = terms.if_(terms.and_((write.when, other.when)), unknown, word)
        active = terms.or_((active, write.when))
    return terms.join((terms.if_(active, memory.address, terms.const(0, memory.address.width)), word))


def agree(old: Side, new: Side, terms: Terms, meanings: tuple[Meanings, Meanings],
          plain: frozenset[str], beside: tuple[dict[Key, Node], dict[Key, Node]]) -> Agreed:
    """Pair the effects of both sides. `plain`: fields of control words that are compared code by code, of one name on
    both. `beside`: of `said_beside`."""
    both = ({**effects_of(old, terms), **beside[0]}, {**effects_of(new, terms), **beside[1]})
    open_leaves = (_word_leaves(old, terms), _word_leaves(new, terms))
    effects: list[CycleEffect] = []
    rows: tuple[list[Node], list[Node]] = ([], [])
    machine: list[Key] = []
    alone: list[tuple[int, Key]] = []
    for key in sorted({*both[0], *both[1]}):
        found = [mine.get(key) or _put_by_itself(side.machine, key, terms) for mine, side in zip(both, (old, new))]
        for mine in (0, 1):
            if found[mine] is None:
                alone.append((1 - mine, key))
                other = found[1 - mine]
                assert other is not None
                found[mine] = _ordering_nothing((old, new)[1 - mine], other, terms, plain)
        first, second = found
        assert first is not None and second is not None
        fixed = [not (set(leaves((term,))) & open_) for term, open_ in zip((first, second), open_leaves, strict=True)]
        if all(fixed):
            before, after = (means.shown(term) for means, term in zip(meanings, (first, second)))
            if before is not after:
                machine.append(key)
            continue
        covered = first is second and all(_only_plain(first, open_, plain) for open_ in open_leaves)
        effects.append(CycleEffect(key, covered))
        rows[0].append(first)
        rows[1].append(second)
    return Agreed(tuple(effects), (tuple(rows[0]), tuple(rows[1])), tuple(machine), tuple(alone))


def _word_leaves(side: Side, terms: Terms) -> frozenset[Node]:
    """Leaves whose value depends on where control is."""
    machine = side.machine
    found: set[Node] = {*side.sequencing.pointers, *side.sequencing.opcodes}
    for name, store in machine.stores.items():
        found.add(terms.leaf("word", name, store.bits))
        for field in store.fields:
            found.add(terms.leaf("field", field, machine.fields[field].width))
    return frozenset(found)


def _only_plain(term: Node, open_: frozenset[Node], plain: frozenset[str]) -> bool:
    return all(leaf.name in plain for leaf in leaves((term,)) if leaf in open_)


def _ordering_nothing(side: Side, term: Node, terms: Terms, known: frozenset[str]) -> Node:
    """The effect's term in a word that leaves idle every field that the other side has not got (`known`: both have it).
    Fields without an idle code stay open."""
    values: dict[Node, Node] = {}
    for field in side.machine.fields.values():
        if isinstance(field.idle, int) and field.store in side.sequencing.control and field.name not in known:
            values[terms.leaf("field", field.name, field.width)] = terms.const(field.idle, field.width)
    return substitute(terms, (term,), values)[0]
