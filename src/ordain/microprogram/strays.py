"""Where the hardware can send control from a word by way of an address that the word holds, though the word does not
name what stands there.

A jump whose low bit a condition replaces leads to two words, and one that is joined with a page register to one in each
page. A word that jumps and has forgotten its label goes where the idle code of the field leads. Words mean what they
name: the labels in their address fields. What else can come of such a field is noted, for the proof to say whether it
does.
"""

from collections.abc import Collection, Container, Iterator, Mapping, Sequence
from functools import reduce
from operator import and_, or_

from ordain.machine.expression import And, Const, If, Join, Node, Not, Or, Slice, substitute
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine
from ordain.microprogram.ahead import Ahead, may_be
from ordain.microprogram.bodies import is_stepped
from ordain.microprogram.model import Body, Microinstruction, Program, Unnamed
from ordain.microprogram.neighbours import Neighbours

MOST = 1024
"""Addresses. Of a field that leaves more open nothing is said: it is one part of a sum, say."""

Strays = Mapping[tuple[int, int], tuple[Unnamed, ...]]
"""By word and address."""


def strays(machine: Machine, program: Program, addresses: Sequence[tuple[int, ...]],
           words: Mapping[str, Mapping[int, int]]) -> Strays:
    """What each word can lead to and does not name, where that is anything. `addresses`: of every word; `words`: what
    is to stand in each store.

    A word that was put on purpose where it stands is meant by whoever can come there: the first of a routine `at` an
    address or with `align`, and in such a routine those that stand right behind the one that is named; and the first of
    an instruction in a store with `starts at`."""
    ahead = Ahead(machine)
    meant = {name: frozenset(start for body in program.bodies if body.store == name
                             for start in (addresses[body.first] if _wired(machine, body) else
                                           on_purpose(program, addresses, body))) for name in machine.stores}
    bodies = {index: body for body in program.bodies for index in range(body.first, body.end)}
    placed = {name: {address: index for index, word in enumerate(program.words) if word.store == name
                     for address in addresses[index]} for name in machine.stores}
    near = Neighbours(ahead, program, addresses, placed)
    found: dict[tuple[int, int], tuple[Unnamed, ...]] = {}
    for index, word in enumerate(program.words):
        named = _named(machine, program, addresses, word, index, bodies)
        stepped = is_stepped(machine.stores[word.store])
        for address in addresses[index]:
            bits = words[word.store][address]
            others = list(dict.fromkeys(_strays(ahead, word, address, bits, named, meant, placed)))
            own = meant[word.store].union(*(every.get(word.store, ()) for every in named.values()))
            if not stepped and (unlike := near.unlike(index, bodies[index], address, bits, own)):
                others.append(Unnamed(word.store, 1, frozenset(unlike)))
            if others:
                found[index, address] = tuple(others)
    return found


def _strays(ahead: Ahead, word: Microinstruction, address: int, bits: int, named: Mapping[str, Mapping[str, set[int]]],
            meant: Mapping[str, frozenset[int]], placed: Mapping[str, Mapping[int, int]]) -> Iterator[Unnamed]:
    machine, terms = ahead.machine, ahead.terms
    for field, store in _leading(machine, word, named):
        through = ahead.through(word.store, bits, field, store)
        leaf = ahead.leaf(field)
        if through is None:
            continue
        every = ahead.ways(through.address)
        ways = [way for way in every if leaf in value_leaves(way)]
        if field in named and all(way is leaf for way in ways):     # `astray` holds it against the label
            continue
        value = terms.const(machine.fields[field].read(bits), leaf.width)
        known = {leaf: value, **ahead.place(word.store, address)}
        own = set().union(*(all_named.get(store, ()) for all_named in named.values()))
        if field in named or machine.fields[field].idle != "any":
            own |= meant[store]                         # what a field holds that does not matter, nobody means
        left = {there for way in substitute(terms, tuple(ways), known)
                for there in _possible(way, placed[store]) if there not in own}
        if left:
            other = substitute(terms, tuple(way for way in every if way not in ways), known)
            left = {there for there in left if not any(may_be(way, there) for way in other)}
        if left:
            yield Unnamed(store, through.cycles, frozenset(left), "" if field in named else field)


def _leading(machine: Machine, word: Microinstruction,
             named: Mapping[str, Collection[str]]) -> Iterator[tuple[str, str]]:
    """The address fields of a word with the stores to whose words they can lead: those where its labels stand; where it
    sets no label, all."""
    for field in machine.fields.values():
        if field.store == word.store and field.holds == "address":
            yield from ((field.name, store) for store in named.get(field.name, machine.stores))


def _named(machine: Machine, program: Program, addresses: Sequence[tuple[int, ...]], word: Microinstruction, index: int,
           bodies: Mapping[int, Body]) -> dict[str, dict[str, set[int]]]:
    """By field and store the addresses that a word names with its labels; in a store that something else steps, those
    of the other steps, too."""
    found: dict[str, dict[str, set[int]]] = {}
    for field, target in word.targets:
        labels = [program.labels[label] for label in target.labels] or [index + 1]
        stores = found.setdefault(field, {})
        for label in labels:
            store = machine.stores[program.words[label].store]
            there = stores.setdefault(store.name, set())
            there.update(addresses[label])
            if store.step is not None:
                same = ~((2 << store.step[0]) - (1 << store.step[1]))
                there.update(at for number in range(bodies[label].first, bodies[label].end) for at in addresses[number]
                             if any((at ^ start) & same == 0 for start in addresses[label]))
            for start in on_purpose(program, addresses, bodies[label]):
                there.update(start + number - bodies[label].first for number in range(label, bodies[label].end)
                             if start + number - bodies[label].first in addresses[number])
    return found


def _wired(machine: Machine, body: Body) -> bool:
    """An instruction that the hardware begins where it says: a label may be the base to which it puts the opcode."""
    return body.kind == "instruction" and body.first < body.end and machine.stores[body.store].starts_at is not None


def on_purpose(program: Program, addresses: Sequence[tuple[int, ...]], body: Body) -> tuple[int, ...]:
    """Where a routine begins because the text says so."""
    if body.kind != "routine" or body.first == body.end:
        return ()
    said = program.words[body.first].fixed
    return tuple(at for at in addresses[body.first] if at in said or (body.align > 1 and at % body.align == 0))


def _possible(node: Node, placed: Container[int]) -> set[int]:
    """The addresses with a word that a term can have; none where that are too many."""
    mask, value = settled(node)
    spare = (1 << node.width) - 1 & ~mask
    if spare.bit_count() > MOST.bit_length() - 1:
        return set()
    found, more = set(), 0
    while True:                                     # every value of the bits that are open
        if value | more in placed and may_be(node, value | more):
            found.add(value | more)
        if more == spare:
            return found
        more = (more - spare) & spare


def settled(node: Node) -> tuple[int, int]:
    """Which bits of a term are known whatever its leaves are, and those bits."""
    every = (1 << node.width) - 1
    match node:
        case Const():
            return every, node.value
        case Join(args=args):
            mask = value = 0
            for part in args:
                known, bits = settled(part)
                mask, value = mask << part.width | known, value << part.width | bits
            return mask, value
        case And(args=args) | Or(args=args):
            sides = [settled(part) for part in args]
            some, all_ = (or_, and_) if type(node) is And else (and_, or_)
            zeros = reduce(some, (mask & ~value for mask, value in sides))
            ones = reduce(all_, (mask & value for mask, value in sides))
            return zeros | ones, ones
        case Not(args=(turned,)):
            mask, value = settled(turned)
            return mask, ~value & mask
        case If(args=(_, one, other)):
            (mask, value), (known, bits) = settled(one), settled(other)
            mask &= known & ~(value ^ bits)
            return mask, value & mask
        case Slice(args=(whole,), low=low):
            mask, value = settled(whole)
            return mask >> low & every, value >> low & every
    return 0, 0
