"""Rules of the language that would notice silent faults: `never A and B` over what the words say.

A is what a wrong bit makes a field say; B is what another field says, or that control is in a routine. Such a rule may
be offered where no word that the sound machine executes has both, and it notices a fault where the wrong word has. What
is offered is to be tried by a proof first.
"""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

from ordain.faults.model import Fault
from ordain.machine.expression import Node
from ordain.rom.contents import Contents

WORDS = frozenset(("and", "or", "not", "xor", "in", "is", "at", "if", "else", "when", "prior", "parity", "choose"))
"""Names that would be read otherwise in a condition."""


class RuleLiteral(NamedTuple):
    """A part of a condition: that a field has one of some values, or, `field` being "", that control is at one of some
    addresses. `holds`: over the machine's leaves."""

    text: str
    field: str
    values: frozenset[int]
    holds: Node


class Offer(NamedTuple):
    """`rule`: as it is written behind its name. `condition`: what it forbids. `expected`: the faults, by their numbers,
    that it should notice."""

    rule: str
    condition: Node
    expected: tuple[int, ...]


def offers(contents: Contents, executed: Mapping[str, Collection[int]], faults: Sequence[Fault]) -> list[Offer]:
    """For faults in one field of a microprogram, the rules that would notice most of them, the best first; at most one
    for each wrong value of the field. `executed`: as in `prover.model.Verdicts`."""
    store = faults[0].store
    if any(fault.store != store or fault.kind != "bit" for fault in faults) or store not in executed:
        return []
    place = {address: number for number, address in enumerate(sorted(executed[store]))}
    words = contents.words[store]
    field = next((contents.machine.fields[name] for name in contents.machine.stores[store].fields
                  if contents.machine.fields[name].low <= faults[0].bit <= contents.machine.fields[name].high), None)
    if field is None:
        return []
    every = list(_literals(contents, store))
    known = {one: sum(1 << number for address, number in place.items() if _says(contents, one, words[address], address))
             for one in every}
    found = []
    for wrong in (one for one in every if one.field == field.name):
        hit = [number for number, fault in enumerate(faults) if fault.address in place
               and _says(contents, wrong, fault.changes[store][fault.address], fault.address)
               and not _says(contents, wrong, words[fault.address], fault.address)]
        best: tuple[int, RuleLiteral] | None = None
        for other in every:
            if hit and other.field != field.name and not known[wrong] & known[other]:
                count = sum(known[other] >> place[faults[number].address] & 1 for number in hit)
                if count and (best is None or count > best[0]):
                    best = count, other
        if best is not None:
            other = best[1]
            found.append(Offer(f"never {wrong.text} and {other.text}",
                               contents.machine.terms.and_((wrong.holds, other.holds)),
                               tuple(number for number in hit if known[other] >> place[faults[number].address] & 1)))
    return sorted(found, key=lambda one: -len(one.expected))


def _literals(contents: Contents, store: str) -> Iterator[RuleLiteral]:
    """What can be said of a word in one term: of every field, then of every routine."""
    terms = contents.machine.terms
    for name in contents.machine.stores[store].fields:
        field = contents.machine.fields[name]
        leaf = terms.leaf("field", name, field.width)
        if not _sayable(name):
            continue
        if field.holds == "code" and field.codes:
            for code in field.codes:
                if _sayable(code.name):
                    only = frozenset((code.value,))
                    yield RuleLiteral(f"{name} is {code.name}", name, only, terms.among(leaf, only))
        elif field.width == 1 and field.holds in ("code", "number"):
            yield RuleLiteral(name, name, frozenset((1,)), leaf)
            yield RuleLiteral(f"not {name}", name, frozenset((0,)), terms.not_(leaf))
    for name, (where, addresses) in contents.routines.items():
        if where == store and '"' not in name:
            text = name if _sayable(name) else f'"{name}"'
            yield RuleLiteral(f"in {text}", "", addresses, terms.among(
                terms.leaf("address", store, contents.machine.stores[store].address_width), addresses))


def _sayable(name: str) -> bool:
    return re.fullmatch(r"[A-Za-z_]\w*", name) is not None and name not in WORDS


def _says(contents: Contents, literal: RuleLiteral, word: int, address: int) -> bool:
    said = contents.machine.fields[literal.field].read(word) if literal.field else address
    return said in literal.values
