"""The terms of a model, or of a part of one, found and put in the place of others.

Every term is found by walking named tuples, so no declaration that is added to the model is forgotten.
"""

from collections.abc import Callable, Iterator
from typing import Any, TypeVar, cast, get_args

from ordain.machine.expression import Node, Terms, leaves, substitute
from ordain.machine.model import Machine

Walked = TypeVar("Walked")

_NODES = get_args(Node)


def terms_in(value: object) -> Iterator[Node]:
    """Every term in a model, or in a part of one."""
    if isinstance(value, _NODES):
        yield value
    elif isinstance(value, (tuple, dict)):
        for part in value.values() if isinstance(value, dict) else value:
            yield from terms_in(part)


def with_terms(value: Walked, made: Callable[[Node], Node]) -> Walked:
    """The same model, or part of one, with another term for each."""
    found: Any = value
    if isinstance(found, _NODES):
        found = made(found)
    elif isinstance(found, dict):
        found = {key: with_terms(part, made) for key, part in found.items()}
    elif isinstance(found, tuple):
        parts = [with_terms(part, made) for part in found]
        if any(part is not before for part, before in zip(parts, found)):
            found = type(found)._make(parts) if hasattr(found, "_make") else tuple(parts)
    return cast(Walked, found)


def without_tables(value: Walked, machine: Machine, terms: Terms) -> Walked:
    """What is said by way of a computed store of the machine, said without it: gates and a PROM may say the same."""
    tables: dict[Node, Node] = {terms.leaf("word", store.name, store.bits): store.computed
                                for store in machine.stores.values() if store.computed is not None}
    for _ in tables:                                    # one may be addressed by another
        if not tables.keys().isdisjoint(leaves(terms_in(value))):
            value = with_terms(value, lambda node: substitute(terms, (node,), tables)[0])
    return value


def with_latches_open(node: Node, machine: Machine, terms: Terms) -> Node:
    """A term over what the latches in it load, where they are open; they stand for what they keep else."""
    latches = {terms.leaf("register", latch.name, latch.width): latch
               for latch in machine.registers.values() if latch.transparent}
    shown, kept = dict[Node, Node](), dict[Node, Node]()
    for leaf, latch in latches.items():
        keeps = terms.leaf("free", f"{latch.name}, kept", latch.width)
        kept[keeps] = leaf
        loaded: Node = keeps
        for load in latch.loads:                        # two at once are a fault of their own
            loaded = terms.if_(load.when, leaf if load.source is None else load.source, loaded)
        shown[leaf] = loaded
    for _ in latches:                                   # one may load what another shows
        if shown.keys().isdisjoint(leaves((node,))):
            break
        node = substitute(terms, (node,), shown)[0]
    return substitute(terms, (node,), kept)[0] if kept else node
