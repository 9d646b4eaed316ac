"""What the text of a meaning says that everything holds afterwards, over what was before."""

from typing import NamedTuple

from ordain.machine.expression import Cell, Leaf, Node, Terms, postorder
from ordain.machine.model import Effect, Machine, Meaning, Memory
from ordain.meaning.follow import WrittenWord, read
from ordain.meaning.normal import Normal
from ordain.text.source import Span


class Said(NamedTuple):
    """`value`: what is said of it, where `defined` has ones; `span`: of the effect, that of the meaning for what it
    does not name."""

    value: Node
    defined: Node
    span: Span


def named(machine: Machine, meaning: Meaning) -> dict[str, None]:
    """What is visible or named. Of rounds also what they read: each begins with what the one before has left of it."""
    rounds = meaning.rounds
    effects = meaning.effects if rounds is None else (*rounds.effects, *(rounds.stopped or ()))
    read = () if rounds is None else postorder([rounds.when, *(
        node for one in effects for node in (one.address, one.value, one.when) if node is not None)])
    names = (part.name.removesuffix(" held") for part in read if isinstance(part, Leaf | Cell))
    return dict.fromkeys([*machine.visible, *(effect.name for effect in effects), *(
        name for name in names if name in machine.registers or name in machine.states or name in machine.memories)])


def holders(machine: Machine, meaning: Meaning) -> dict[str, Leaf]:
    """The registers and states among them, by name: the leaves that stand for what they hold."""
    return {name: holder(machine, name) for name in named(machine, meaning) if name not in machine.memories}


def holder(machine: Machine, name: str) -> Leaf:
    """What stands for the value that a register or state keeps."""
    register = machine.registers.get(name)
    if register is not None and register.transparent:
        leaf = machine.terms.leaf("state", f"{name} held", register.width)
    elif register is not None:
        leaf = machine.terms.leaf("register", name, register.width)
    else:
        leaf = machine.terms.leaf("state", name, machine.states[name].width)
    return _leaf(leaf)


def place(memory: Memory, terms: Terms) -> Leaf:
    """What stands for any address of a memory."""
    return _leaf(terms.leaf("free", f"a place in `{memory.name}`", memory.address.width))


def _leaf(node: Node) -> Leaf:
    if type(node) is not Leaf:
        raise TypeError("it is a leaf")
    return node


def memories(machine: Machine, meaning: Meaning) -> list[str]:
    return [name for name in named(machine, meaning) if name in machine.memories]


def of_holder(terms: Terms, leaf: Leaf, name: str, meaning: Meaning) -> Said:
    """What is said of a register or state."""
    value: Node = leaf
    ones = terms.const((1 << leaf.width) - 1, leaf.width)
    defined, span = ones, meaning.span
    for effect in meaning.effects:
        if effect.name == name:
            new = terms.const(0, effect.high - effect.low + 1) if effect.value is None else effect.value
            known = terms.const(0 if effect.value is None else (1 << new.width) - 1, new.width)
            value = terms.if_(effect.when, _replaced(terms, value, effect, new), value)
            defined = terms.if_(effect.when, _replaced(terms, defined, effect, known), defined)
            span = effect.span
    return Said(value, defined, span)


def _replaced(terms: Terms, whole: Node, effect: Effect, new: Node) -> Node:
    parts = [terms.slice(whole, whole.width - 1, effect.high + 1)] if effect.high + 1 < whole.width else []
    parts.append(new)
    parts += [terms.slice(whole, effect.low - 1, 0)] if effect.low else []
    return terms.join(parts)


def of_word(normal: Normal, memory: str, address: Node, width: int, meaning: Meaning) -> Said:
    """What is said of the word of a memory at an address."""
    terms = normal.terms
    writes: list[WrittenWord] = []
    defined, span = terms.const((1 << width) - 1, width), meaning.span
    none, ones = terms.const(0, width), terms.const((1 << width) - 1, width)
    for number, effect in enumerate(meaning.effects):
        if effect.name == memory:
            here = effect.when if effect.address is None else \
                terms.and_((effect.when, normal.same(address, effect.address)))
            defined = terms.if_(here, none if effect.value is None else ones, defined)
            if effect.address is not None and effect.value is not None:
                writes.insert(0, WrittenWord(memory, effect.when, effect.address, effect.value, number))
            span = effect.span
    return Said(read(normal, memory, address, width, writes), defined, span)
