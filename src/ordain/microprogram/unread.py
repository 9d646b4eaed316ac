"""Counting that is not understood: the address comes from a state that is counted up by itself, and what is presented
is another one, as where two states move in different phases; or it is presented with something put to it.

Such words stand one behind the other as they are written. One that names a label as well stands anywhere: it is told.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from ordain.machine.expression import If, Join, Leaf, Node, Slice, leaves, substitute
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine, Store
from ordain.microprogram.layout import Layout
from ordain.microprogram.model import Microinstruction
from ordain.microprogram.stepping import Counter, becomes
from ordain.microprogram.sums import carriers, counted
from ordain.microprogram.survey import written_in_fields


class Unread(NamedTuple):
    """`counting`: states and registers that the address comes from, some of them counted up. `nexts`: what they become.
    """

    counting: tuple[Leaf, ...]
    nexts: tuple[Node, ...]


def unread(machine: Machine, store: Store, layout: Layout, counter: Counter | None) -> Unread | None:
    """What counts on the way to the address of a store; None where nothing does, or the counter is understood."""
    terms = machine.terms
    if machine.broken or (counter is not None and counted(terms, counter.following, counter.place)):
        return None
    read = {*carriers(store.address), *(counter.place if counter is not None else ()), *_apart(store.address)}
    found: dict[Leaf, Node] = {}
    waiting = [leaf for leaf in value_leaves(store.address) if leaf.kind in ("state", "register")]
    while waiting:
        leaf = waiting.pop()
        if leaf not in found:
            found[leaf] = written_in_fields(machine, layout.fields, becomes(machine, leaf))
            waiting += _whole(found[leaf])
    others = tuple(leaf for leaf in found if leaf not in read)
    nexts = tuple(found[leaf] for leaf in others)
    return Unread(others, nexts) if counted(terms, nexts, others) else None


def goes_on(machine: Machine, layout: Layout, found: Unread, word: Microinstruction) -> bool:
    """Whether the hardware can count on from a word."""
    terms, aimed = machine.terms, word.open
    for name, _ in word.targets:
        aimed |= layout.fields[name].mask
    known: dict[Node, Node] = {
        terms.leaf("field", field.name, field.width): terms.const(field.read(word.bits), field.width)
        for field in layout.fields.values() if not field.mask & aimed}
    return counted(terms, substitute(terms, found.nexts, known), found.counting)


def _apart(address: Node) -> Iterator[Leaf]:
    """What is presented on lines of its own: if it is counted there, that may be meant, and is told as such."""
    lines = address.args if type(address) is Join else (address,)
    for line in lines:
        whole = line.args[0] if type(line) is Slice else line
        if type(whole) is Leaf and sum(whole in leaves((other,)) for other in lines) == 1:
            yield whole


def _whole(node: Node) -> Sequence[Leaf]:
    """The states and registers that a term takes over as they are, in some case or other. What is put into an address
    that a word holds only says which of several words is meant."""
    found: list[Leaf] = []
    todo = [node]
    while todo:
        part = todo.pop()
        match part:
            case Leaf(kind="state" | "register"):
                found.append(part)
            case If(args=(_, yes, no)):
                todo += [yes, no]
            case Join(args=args) if not any(leaf.kind in ("field", "word") for leaf in value_leaves(part)):
                todo += args
    return found
