"""The stores whose words a search reads: those known at an entrance, and the others.

An *entrance* is where the control store is read. The words of every store whose address is formed from nothing else are
known there too. Of another store (a mapping store addressed by the opcode) a leaf is looked up by what control holds;
or, where agents or inputs form its address, replaced by comparisons of that address.
"""

from collections import Counter
from typing import NamedTuple

from ordain.control.model import System
from ordain.logic.closures import Spot
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Leaf, Node, substitute
from ordain.prover.relation.cone import stores_read, with_addresses


class Stores(NamedTuple):
    """`fixed`: the stores known at an entrance, each after those that form its address; `offsets`: where each stands in
    the packed words; `spots`: where their leaves do. `addresses`: of every store read. `looked_up`: see `Packing`.
    `replaced`: what else stands for leaves of other stores."""

    fixed: tuple[str, ...]
    offsets: tuple[int, ...]
    spots: dict[Node, Spot]
    addresses: dict[str, Node]
    looked_up: dict[Node, tuple[Node, tuple[int, ...]]]
    replaced: dict[Node, Node]


def find_stores(system: System, roots: tuple[Node, ...], kept: frozenset[str], agents: frozenset[Node]) -> Stores:
    """`roots`: everything the search evaluates; `kept`: stores that belong to it anyway. `agents`: the leaves of
    variables that are never part of control."""
    read = stores_read(system, roots)
    stores = [store for store in system.addresses if store in read or store in kept]
    addresses = dict(zip(stores, with_addresses(system, tuple(system.addresses[store] for store in stores))))
    fixed = _at_entrances(system, stores, addresses, roots)
    looked_up, replaced = _others(system, stores, fixed, addresses, agents)
    addresses = dict(zip(addresses, substitute(system.terms, tuple(addresses.values()), replaced)))
    spots, offsets = _word_spots(system, fixed)
    return Stores(fixed, offsets, spots, addresses, looked_up, replaced)


def is_variable(leaf: Node) -> bool:
    return type(leaf) is Leaf and leaf.kind in ("state", "register")


def store_of(system: System, leaf: Node) -> str:
    """The store whose word a leaf is part of, or ""."""
    if type(leaf) is Leaf and leaf.kind in ("field", "word"):
        return system.contents.machine.fields[leaf.name].store if leaf.kind == "field" else leaf.name
    return ""


def _at_entrances(system: System, stores: list[str], addresses: dict[str, Node],
               roots: tuple[Node, ...]) -> tuple[str, ...]:
    """The store that decides most, those that form its address, and every other whose address needs nothing more."""
    if not stores:
        return ()
    weight = Counter(store_of(system, leaf) for leaf in bits_read(roots))
    main = max(stores, key=lambda store: (weight[store], -stores.index(store)))
    feeding = stores_read(system, (system.terms.leaf("word", main, system.contents.machine.stores[main].bits),))
    known = {leaf for store in feeding for leaf in bits_read([addresses[store]]) if not store_of(system, leaf)}
    fixed = set(feeding)
    for store in stores:
        if all(leaf in known or store_of(system, leaf) in fixed for leaf in bits_read([addresses[store]])):
            fixed.add(store)
    return tuple(store for store in stores if store in fixed)


def _others(system: System, stores: list[str], fixed: tuple[str, ...], addresses: dict[str, Node],
            agents: frozenset[Node]) -> tuple[dict[Node, tuple[Node, tuple[int, ...]]], dict[Node, Node]]:
    looked_up: dict[Node, tuple[Node, tuple[int, ...]]] = {}
    replaced: dict[Node, Node] = {}
    terms, machine = system.terms, system.contents.machine
    for store in stores:
        if store in fixed:
            continue
        (address,) = substitute(terms, (addresses[store],), replaced)
        by_control = all(leaf not in agents and (is_variable(leaf) or leaf in looked_up
                                                 or store_of(system, leaf) in fixed) for leaf in bits_read([address]))
        leaves = [terms.leaf("field", name, machine.fields[name].width) for name in machine.stores[store].fields]
        for leaf in (*leaves, terms.leaf("word", store, machine.stores[store].bits)):
            values = _values(system, leaf, system.contents.words[store])
            if by_control:
                looked_up[leaf] = (address, values)
            else:
                replaced[leaf] = terms.join(
                    terms.among(address, frozenset(at for at, value in enumerate(values) if value >> bit & 1))
                    for bit in reversed(range(leaf.width)))
    return looked_up, replaced


def _values(system: System, leaf: Node, words: tuple[int, ...]) -> tuple[int, ...]:
    """What a field or word leaf is worth at each address."""
    if type(leaf) is not Leaf or leaf.kind == "word":
        return words
    spot = _field_spot(system, leaf.name, 0)
    return tuple((word >> spot.shift & spot.mask) ^ spot.invert for word in words)


def _field_spot(system: System, name: str, offset: int) -> Spot:
    field = system.contents.machine.fields[name]
    ones = (1 << field.width) - 1
    return Spot(True, offset + field.low, ones, ones if field.active_low else 0)


def _word_spots(system: System, fixed: tuple[str, ...]) -> tuple[dict[Node, Spot], tuple[int, ...]]:
    terms, machine = system.terms, system.contents.machine
    spots: dict[Node, Spot] = {}
    offsets, top = [], 0
    for store in fixed:
        bits = machine.stores[store].bits
        spots[terms.leaf("word", store, bits)] = Spot(True, top, (1 << bits) - 1, 0)
        for name in machine.stores[store].fields:
            spots[terms.leaf("field", name, machine.fields[name].width)] = _field_spot(system, name, top)
        offsets.append(top)
        top += bits
    return spots, tuple(offsets)
