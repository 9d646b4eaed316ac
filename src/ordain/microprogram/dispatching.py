"""Where an instruction that is begun can come to a word that is not its own.

A start PROM, a row of a map and `starts at` say where the hardware goes on. Where it makes something else of that on
the way (a line is put to it, one of two addresses is taken), more words can come of it, for the proof to say whether
they do.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence

from ordain.machine.expression import Leaf, Node, leaves, substitute
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine
from ordain.microprogram.ahead import Ahead, may_be, parts
from ordain.microprogram.bodies import is_stepped
from ordain.microprogram.model import Dispatch, Program
from ordain.microprogram.strays import on_purpose, settled


def dispatches(machine: Machine, program: Program, addresses: Sequence[tuple[int, ...]],
               words: Mapping[str, Mapping[int, int]]) -> tuple[Dispatch, ...]:
    """What can come of each start, where that is more than its own words. `addresses`: of every word; `words`: what is
    to stand in each store."""
    ahead = Ahead(machine)
    bodies = {index: body for body in program.bodies for index in range(body.first, body.end)}
    placed = {name: [address for word, there in zip(program.words, addresses) if word.store == name
                     for address in there] for name in machine.stores}
    meant = {name: frozenset(start for body in program.bodies if body.store == name
                             for start in on_purpose(program, addresses, body)) for name in machine.stores}

    def own(first: int, wired: bool) -> frozenset[int]:
        """The words that a start may lead to: its first, and those behind it to which control is sure to go on from
        there. `wired`: it stays a part of the address, or the text says where it stands: then all of its body."""
        end = first + 1
        while end < bodies[first].end and (wired or program.words[end - 1].goes_on):
            end += 1
        return frozenset(start + number - first for start in addresses[first] for number in range(first, end)
                         if start + number - first in addresses[number]) | meant[program.words[first].store]

    found: list[Dispatch] = []
    for name, mapping in machine.stores.items():
        cells = {cell.address: program.labels[cell.target] for cell in program.entries if cell.store == name}
        word = machine.terms.leaf("word", name, mapping.bits)
        known = {cell: {word: machine.terms.const(words[name][cell], mapping.bits), **ahead.place(name, cell)}
                 for cell in cells}
        for store in dict.fromkeys(program.words[first].store for first in cells.values()):
            if not is_stepped(machine.stores[store]):
                stays = not set(leaves((word,))).isdisjoint(value_leaves(machine.stores[store].address))
                starts = {cell: own(first, wired=stays) for cell, first in cells.items()
                          if program.words[first].store == store}
                found += _dispatches(ahead, store, name, starts, leaves((word,)), known, placed[store])
    for name, store_ in machine.stores.items():
        if store_.opcode is not None:                   # then `starts at` says where it begins
            firsts = {use.opcode: program.labels[use.title] for use in program.opcodes
                      if program.words[program.labels[use.title]].store == name}
            known = {opcode: parts(machine.terms, store_.opcode, opcode) for opcode in firsts}
            starts = {opcode: own(first, wired=True) for opcode, first in firsts.items()}
            found += _dispatches(ahead, name, name, starts, leaves((store_.opcode,)), known, placed[name])
    return tuple(found)


def _dispatches(ahead: Ahead, store: str, by: str, right: Mapping[int, frozenset[int]], begun: Sequence[Leaf],
                known: Mapping[int, Mapping[Node, Node]], placed: Collection[int]) -> Iterator[Dispatch]:
    """Of the first cycle in which what an instruction is begun with is a part of the address. `right`: the addresses
    that are meant, `known`: what else is known, both by the value that it is begun with."""
    for cycles, node in enumerate(ahead.addresses(store)):
        ways = tuple(way for way in ahead.ways(node) if not set(begun).isdisjoint(value_leaves(way)))
        if len(ways) == 1 and set(leaves(ways)) <= set(begun):
            return                                      # `astray` has held it against every start
        if ways:
            wrong = {}
            for value, named in right.items():
                left = [(way, *settled(way)) for way in substitute(ahead.terms, ways, known[value])]
                others = frozenset(there for there in placed if there not in named and any(
                    (there ^ bits) & mask == 0 and may_be(way, there) for way, mask, bits in left))
                if others:
                    wrong[value] = others
            if wrong:
                yield Dispatch(store, by, cycles, wrong)
            return
