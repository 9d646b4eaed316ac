"""Counting that is not understood: the address comes from a state that is counted up by itself, and what is presented
is another one, as where two states move in different phases; or it is presented with something put to it.

Such words stand one behind the other as they are written. One that names a label as well stands anywhere: it is told.
"""

from collections.abc import Iterator
from typing import NamedTuple

from ordain.machine.driving import put
from ordain.machine.expression import Const, Join, Leaf, Node, Slice, leaves, substitute
from ordain.machine.leads import choices, value_leaves
from ordain.machine.model import Machine, Store
from ordain.microprogram.layout import Layout
from ordain.microprogram.model import Microinstruction
from ordain.microprogram.stepping import Counter, becomes
from ordain.microprogram.sums import carriers, counted
from ordain.microprogram.survey import written_in_fields


class Unread(NamedTuple):
    """`nexts`: by state and register what it becomes. `read`: those of which it is understood how they count."""

    nexts: dict[Leaf, Node]
    read: frozenset[Node]


def unread(machine: Machine, store: Store, layout: Layout, counter: Counter | None) -> Unread | None:
    """What may count on the way to the address of a store; None where the counter is understood."""
    terms = machine.terms
    if machine.broken or (counter is not None and counted(terms, counter.following, counter.place)):
        return None
    read = frozenset((*carriers(store.address), *(counter.place if counter is not None else ()),
                      *_apart(store.address)))
    found: dict[Leaf, Node] = {}
    waiting = _whole(machine, store, store.address)
    while waiting:
        leaf = waiting.pop()
        if leaf not in found:
            found[leaf] = written_in_fields(machine, layout.fields, becomes(machine, leaf))
            waiting += _whole(machine, store, found[leaf])
    result = Unread(found, read)
    return result if _counting(machine, store, result, {}) is not None else None


def counts_on(machine: Machine, layout: Layout, found: Unread, word: Microinstruction) -> Leaf | None:
    """What may count on from a word, in a way that is not understood."""
    terms, aimed = machine.terms, word.open
    for name, _ in word.targets:
        aimed |= layout.fields[name].mask
    return _counting(machine, layout.store, found, {
        terms.leaf("field", field.name, field.width): terms.const(field.read(word.bits), field.width)
        for field in layout.fields.values() if not field.mask & aimed})


def _counting(machine: Machine, store: Store, found: Unread, known: dict[Node, Node]) -> Leaf | None:
    """A state or register that the address comes from, and that becomes something made of itself, a sum or by gates."""
    nexts: dict[Leaf, Node] = {}
    waiting = _whole(machine, store, store.address)
    while waiting:
        leaf = waiting.pop()
        if leaf not in nexts:
            [nexts[leaf]] = substitute(machine.terms, (found.nexts[leaf],), known)
            waiting += _whole(machine, store, nexts[leaf])
    others = [leaf for leaf in nexts if leaf not in found.read]
    for leaf in others:
        if counted(machine.terms, (nexts[leaf],), others) or any(
                way is not leaf and leaf in value_leaves(way) and not _of_a_word(way) for way in choices(nexts[leaf])):
            return leaf
    return None


def _of_a_word(way: Node) -> bool:
    return any(leaf.kind in ("field", "word") for leaf in value_leaves(way))


def _whole(machine: Machine, store: Store, node: Node) -> list[Leaf]:
    """The states and registers that a term takes over, in some case or other; from a bus as well, if it is as wide as
    an address. What is put into an address that a word holds, or that is wired, only says which of several is meant."""
    found: list[Leaf] = []
    todo, seen = [*choices(node)], set[Node]()
    while todo:
        way = todo.pop()
        if way in seen or _of_a_word(way) or (type(way) is Join and any(type(part) is Const for part in way.args)):
            continue
        seen.add(way)
        for leaf in value_leaves(way):
            if leaf.kind in ("state", "register"):
                found.append(leaf)
            elif leaf.kind == "bus" and leaf.width == store.address_width:
                todo += [each for driver in machine.buses[leaf.name].drivers
                         if (value := put(machine, driver, leaf.width)) is not None for each in choices(value)]
    return found


def _apart(address: Node) -> Iterator[Leaf]:
    """What is presented on lines of its own: if it is counted there, that may be meant, and is told as such."""
    lines = address.args if type(address) is Join else (address,)
    for line in lines:
        whole = line.args[0] if type(line) is Slice else line
        if type(whole) is Leaf and sum(whole in leaves((other,)) for other in lines) == 1:
            yield whole
