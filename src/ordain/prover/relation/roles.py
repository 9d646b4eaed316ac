"""How variables behave from word to word: held, moved on, or moving by themselves. This is what the split goes by.

It is judged over the placed words. A misjudgement costs speed, never soundness.
"""

from collections import Counter
from math import prod
from typing import NamedTuple

from ordain.control.model import System, Variable
from ordain.logic.closures import Closures, Packing, Spot
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Node
from ordain.prover.relation.residues import WordTable, data_leaves
from ordain.prover.relation.stores import Stores, is_variable, store_of

SAMPLE = 1 << 14
"""Words looked at."""
SET_LIMIT = 1 << 16
"""Most valuations of the environment, in bits of a set."""


class Role(NamedTuple):
    """`reads`: (what the next value reads, in how many words). `held`: the share of words that hold the variable.
    `data`: what its next value ever takes over."""

    leaf: Node
    reads: tuple[tuple[frozenset[Node], int], ...]
    held: float
    data: frozenset[Node]

    def share_reading(self, outside: set[Node]) -> float:
        """In which share of words it depends on something free or on one of `outside`, other than itself."""
        reading = sum(times for read, times in self.reads
                      if any(not is_variable(leaf) or (leaf in outside and leaf is not self.leaf) for leaf in read))
        return reading / sum(times for _, times in self.reads)


def roles_of(system: System, variables: tuple[Variable, ...], stores: Stores, table: WordTable) -> dict[Node, Role]:
    """Of everything but monitors."""
    sample = _sample(system, stores)
    roles = {}
    for variable in variables:
        if variable.origin == "monitor":
            continue
        residues = table.of(variable.next, True)
        cases: Counter[Node] = Counter()
        for words, times in Counter(map(residues.mask.__and__, sample)).items():
            cases[residues.under(words)] += times
        reads = tuple((frozenset(leaf for leaf in bits_read([residue]) if not store_of(system, leaf)), times)
                      for residue, times in cases.items())
        roles[variable.leaf] = Role(variable.leaf, reads, cases[variable.leaf] / len(sample), data_leaves(cases))
    return roles


def _sample(system: System, stores: Stores) -> list[int]:
    """Packed words as they may occur: the placed words of the first store, each with what follows from it."""
    contents, fixed = system.contents, stores.fixed
    if not fixed:
        return [0]
    first = contents.words[fixed[0]]
    placed = [first[address] for address in sorted(contents.sites.get(fixed[0], ()))] or first
    sample = list(placed[::max(1, len(placed) // SAMPLE)])
    for store, shift in zip(fixed[1:], stores.offsets[1:]):
        words, address = contents.words[store], stores.addresses[store]
        if all(is_variable(leaf) for leaf in bits_read([address])):
            sample = [word | words[index % len(words)] << shift for index, word in enumerate(sample)]
        else:
            nothing = {leaf: Spot(False, 0, 0, 0) for leaf in bits_read([address]) if not store_of(system, leaf)}
            form = Closures(Packing({**stores.spots, **nothing}, {})).of(address)
            sample = [word | words[form(0, word)] << shift for word in sample]
    return sample


def environment(variables: tuple[Variable, ...], roles: dict[Node, Role], explicit: set[Node],
                 agents: frozenset[Node]) -> set[Node]:
    """Agents, and whatever in most words depends on something free or on the environment themselves; as many of them
    as sets can hold. Monitors are none: they follow control or the environment, and are carried along."""
    inside = set(agents) - explicit
    while True:
        more = {leaf for leaf, role in roles.items()
                if leaf not in inside and leaf not in explicit and role.share_reading(inside) > 0.5}
        if not more:
            break
        inside |= more
    kept = [variable for variable in variables if variable.leaf in inside]
    size = 1
    for variable in kept:
        size *= variable.values
    read = {leaf for variable in kept for cases, _ in roles[variable.leaf].reads for leaf in cases - {variable.leaf}}
    while size > SET_LIMIT:  # what the others do not look at goes first
        last = max(kept, key=lambda variable: (variable.leaf not in read, variable.values))
        kept.remove(last)
        size //= last.values
    return {variable.leaf for variable in kept}


def gathered(variables: tuple[Variable, ...], roles: dict[Node, Role], inside: set[Node],
             scattered: frozenset[Node]) -> set[Node]:
    """Of variables that begin with any value, as many as sets can hold beside the environment. Not what control takes
    over as data: it would have to be told apart by value."""
    found: set[Node] = set()
    size = prod(variable.values for variable in variables if variable.leaf in inside)
    for variable in sorted(variables, key=lambda variable: variable.values):
        if variable.leaf in scattered and variable.leaf in roles and size * variable.values <= SET_LIMIT:
            found.add(variable.leaf)
            size *= variable.values
    while taken := {leaf for role in roles.values() if role.leaf not in found | inside for leaf in role.data & found}:
        found -= taken
    return found


def location_of(variables: tuple[Variable, ...], roles: dict[Node, Role], forming: set[Node],
                inside: set[Node]) -> set[Node]:
    """Of what forms the address, the part that is not mostly held; and what that is computed from, likewise."""
    moving = {variable.leaf for variable in variables
              if variable.leaf in roles and variable.leaf not in inside and roles[variable.leaf].held < 0.5}
    location = forming & moving or {leaf for leaf in forming if leaf in roles}
    while True:
        feeding = {leaf for found in location for leaf in roles[found].data} & moving
        if feeding <= location:
            return location
        location |= feeding


def computed_from(roles: dict[Node, Role], start: set[Node], stores: Stores, inside: set[Node]) -> set[Node]:
    """The control variables that the ones at the start ever take over, through the words of stores too."""
    found = set(start)
    waiting = list(start)
    while waiting:
        for leaf in roles[waiting.pop()].data:
            known = bits_read([stores.looked_up[leaf][0]]) if leaf in stores.looked_up else (leaf,)
            for part in known:
                if part in roles and part not in inside and part not in found:
                    found.add(part)
                    waiting.append(part)
    return found


def is_agents(system: System, variable: Variable) -> bool:
    state = system.contents.machine.states.get(variable.name)
    return variable.origin == "state" and state is not None and state.agent != ""

