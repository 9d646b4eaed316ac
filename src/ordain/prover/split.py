"""The state taken apart: control, which is kept explicit, and its surroundings, of which whole sets are kept.

*Control*: what forms the addresses of the control store, what follows from it (counters, flags, the opcode, return
addresses). *Surroundings*: what moves by itself whatever the word says: agents, synchronisers, pending requests.
A *place* is a valuation of the control variables (and free address lines, the *selectors*) that decide which words are
read; a *location* the part of it that moves on in most words (a micro-address, a step counter), as opposed to what is
mostly held (an opcode, flags). Where the line is drawn changes no verdict, only speed.
"""

from collections import Counter
from typing import NamedTuple

from ordain.logic.closures import Closures, Packing, Spot
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import And, Leaf, Node, Terms, substitute
from ordain.prover.cone import cone, stores_read, with_addresses
from ordain.prover.domain import Domain
from ordain.prover.model import Free, System, Variable
from ordain.prover.words import Residues, data_leaves

SET_LIMIT = 1 << 16
"""Most valuations of the surroundings, in bits of a set. Beyond it the widest variables are made explicit."""
SAMPLE = 1 << 14
"""Words looked at to judge what is held and what moves."""


class Split(NamedTuple):
    """`control` stand packed in one integer, `shifts` by leaf; `selectors` above them. Masks are over that integer:
    `location` within `place`, `state` all of control, `selecting` the selectors. `domain` is over the surroundings'
    leaves. `stores`: those whose words are known at a place, in order, with the offset of each in the packed words.
    `needed`: the bits of each variable that matter. `known`: leaves that control and words give a value."""

    terms: Terms
    control: tuple[Variable, ...]
    shifts: dict[Node, int]
    surroundings: tuple[Variable, ...]
    domain: Domain
    selectors: tuple[Free, ...]
    free: dict[Node, int]
    stores: tuple[tuple[str, int], ...]
    addresses: dict[str, Node]
    tables: dict[str, tuple[int, ...]]
    packing: Packing
    closures: Closures
    assumptions: tuple[Node, ...]
    location: int
    place: int
    state: int
    selecting: int
    needed: dict[Node, int]
    known: frozenset[Node]


class Question(NamedTuple):
    """What a search is to be able to answer: conditions by number, and the monitors that they need. `kept`: what has to
    stay in the model beside them."""

    conditions: tuple[Node, ...]
    monitors: tuple[Variable, ...]
    kept: tuple[Node, ...] = ()


def split(system: System, question: Question, reduce: bool) -> tuple[Split, tuple[Node, ...]]:
    """The split, and the question's conditions over its leaves."""
    terms = system.terms
    conditions = with_addresses(system, question.conditions)
    kept = with_addresses(system, question.kept)
    assumptions = _conjuncts(with_addresses(system, system.assumptions))
    variables = (*system.variables, *question.monitors)
    nexts = with_addresses(system, tuple(variable.next for variable in variables))
    variables = tuple(variable._replace(next=node) for variable, node in zip(variables, nexts))
    everything = () if reduce else (*nexts, *(variable.leaf for variable in variables))
    variables, needed = cone(system, variables, (*conditions, *kept, *everything, *assumptions))
    asked = tuple(leaf for leaf in question.kept if type(leaf) is Leaf and leaf.kind == "address")
    stores = stores_read(system, (*conditions, *kept, *assumptions, *(variable.next for variable in variables)))
    stores = [store for store in system.addresses if store in stores or any(leaf.name == store for leaf in asked)]
    addresses = dict(zip(stores, with_addresses(system, tuple(system.addresses[store] for store in stores))))
    fixed = _stores_at_places(system, stores, addresses, (*assumptions, *(variable.next for variable in variables)))
    agents = {variable.leaf for variable in variables if _is_agents(system, variable)}
    looked_up, replaced = _other_stores(system, stores, fixed, addresses, agents)
    nexts = substitute(terms, tuple(variable.next for variable in variables), replaced)
    variables = tuple(variable._replace(next=node) for variable, node in zip(variables, nexts))
    conditions = substitute(terms, conditions, replaced)
    assumptions = substitute(terms, assumptions, replaced)
    addresses = dict(zip(addresses, substitute(terms, tuple(addresses.values()), replaced)))

    words, offsets = _word_spots(system, fixed)
    forming = bits_read([addresses[store] for store in fixed])
    known_to = [address for address, _ in looked_up.values()]
    explicit = {leaf for leaf in (*forming, *bits_read(known_to)) if _is_variable(leaf)}
    habits = _habits(system, variables, words, fixed, addresses)
    inside = _surroundings(variables, habits, explicit, agents)
    location = _location(variables, habits, set(forming), inside)
    selectors = tuple(entry for entry in system.free if entry.leaf in forming)
    order = [*(v for v in variables if v.leaf in location),
             *(v for v in variables if v.leaf in forming and v.leaf not in location),
             *(v for v in variables if v.leaf not in forming and v.leaf not in location and v.leaf not in inside)]
    spots, shifts, top = dict(words), {}, 0
    for leaf in (*(variable.leaf for variable in order), *(entry.leaf for entry in selectors)):
        shifts[leaf] = top
        spots[leaf] = Spot(False, top, (1 << leaf.width) - 1, 0)
        top += leaf.width
    outside = tuple(variable for variable in variables if variable.leaf in inside)
    domain = Domain(tuple(variable.leaf for variable in outside), tuple(variable.values for variable in outside))
    packing = Packing(spots, looked_up)
    masks = {leaf: ((1 << leaf.width) - 1) << shift for leaf, shift in shifts.items()}
    selecting = sum(masks[entry.leaf] for entry in selectors)
    location_mask = sum(masks[leaf] for leaf in location)
    place_mask = location_mask | sum(mask for leaf, mask in masks.items() if leaf in forming)
    return Split(
        terms, tuple(order), shifts, outside, domain, selectors, {entry.leaf: entry.values for entry in system.free},
        tuple(zip(fixed, offsets)), addresses, {store: system.contents.words[store] for store in fixed}, packing,
        Closures(packing), assumptions, location_mask, place_mask, sum(masks.values()) - selecting, selecting, needed,
        frozenset((*spots, *looked_up))), conditions


def _conjuncts(conditions: tuple[Node, ...]) -> tuple[Node, ...]:
    return tuple(part for condition in conditions
                 for part in (condition.args if type(condition) is And else (condition,)))


def _is_variable(leaf: Node) -> bool:
    return type(leaf) is Leaf and leaf.kind in ("state", "register")


def _is_agents(system: System, variable: Variable) -> bool:
    state = system.contents.machine.states.get(variable.name)
    return variable.origin == "state" and state is not None and state.agent != ""


def _stores_at_places(system: System, stores: list[str], addresses: dict[str, Node],
                      roots: tuple[Node, ...]) -> list[str]:
    """The stores whose words are known at a place: the one that decides most, those that form its address, and every
    other whose address needs nothing more."""
    if not stores:
        return []
    fields = system.contents.machine.fields
    weight = Counter(fields[leaf.name].store if leaf.kind == "field" else leaf.name for leaf in bits_read(roots)
                     if type(leaf) is Leaf and leaf.kind in ("field", "word"))
    main = max(stores, key=lambda store: (weight[store], -stores.index(store)))
    feeding = stores_read(system, (system.terms.leaf("word", main, system.contents.machine.stores[main].bits),))
    known = {leaf for store in feeding for leaf in bits_read([addresses[store]]) if not _word_of(system, leaf)}
    fixed = set(feeding)
    for store in stores:
        needs = bits_read([addresses[store]])
        if all(leaf in known or _word_of(system, leaf) in fixed for leaf in needs):
            fixed.add(store)
    return [store for store in stores if store in fixed]


def _word_of(system: System, leaf: Node) -> str:
    if type(leaf) is Leaf and leaf.kind in ("field", "word"):
        return system.contents.machine.fields[leaf.name].store if leaf.kind == "field" else leaf.name
    return ""


def _other_stores(system: System, stores: list[str], fixed: list[str], addresses: dict[str, Node],
                  agents: set[Node]) -> tuple[dict[Node, tuple[Node, tuple[int, ...]]], dict[Node, Node]]:
    """Stores that are not known at a place. Where their address is formed by control, their leaves are looked up;
    otherwise each bit of a leaf is replaced by a comparison of the address with the addresses that have it."""
    looked_up: dict[Node, tuple[Node, tuple[int, ...]]] = {}
    replaced: dict[Node, Node] = {}
    terms, machine = system.terms, system.contents.machine
    for store in stores:
        if store in fixed:
            continue
        (address,) = substitute(terms, (addresses[store],), replaced)
        outside = any(leaf in agents or not (_is_variable(leaf) or leaf in looked_up or _word_of(system, leaf) in fixed)
                      for leaf in bits_read([address]))
        words = system.contents.words[store]
        leaves = [terms.leaf("field", name, machine.fields[name].width) for name in machine.stores[store].fields]
        for leaf in (*leaves, terms.leaf("word", store, machine.stores[store].bits)):
            values = _values(system, leaf, words)
            if outside:
                replaced[leaf] = terms.join(
                    terms.among(address, frozenset(at for at, value in enumerate(values) if value >> bit & 1))
                    for bit in reversed(range(leaf.width)))
            else:
                looked_up[leaf] = (address, values)
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


def _word_spots(system: System, fixed: list[str]) -> tuple[dict[Node, Spot], list[int]]:
    """Where the fields of the stores at places stand in the packed words, and the offset of each store."""
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
    return spots, offsets


class _Habit(NamedTuple):
    """How a variable behaves over a sample of words: (what its next value reads, how often), how often it is held, and
    what it ever takes as data."""

    leaf: Node
    reads: tuple[tuple[frozenset[Node], int], ...]
    held: float
    data: frozenset[Node]

    def share_reading(self, outside: set[Node]) -> float:
        """How often it depends on something free or on one of `outside`, other than itself."""
        reading = sum(times for read, times in self.reads
                      if any(not _is_variable(leaf) or (leaf in outside and leaf is not self.leaf) for leaf in read))
        return reading / sum(times for _, times in self.reads)


def _habits(system: System, variables: tuple[Variable, ...], spots: dict[Node, Spot], fixed: list[str],
            addresses: dict[str, Node]) -> dict[Node, _Habit]:
    sample = _sample(system, spots, fixed, addresses)
    habits = {}
    for variable in variables:
        residues = Residues(system.terms, variable.next, spots, True)
        cases: Counter[Node] = Counter()
        for words, times in Counter(map(residues.mask.__and__, sample)).items():
            cases[residues.under(words)] += times
        reads = tuple((frozenset(leaf for leaf in bits_read([residue]) if not _word_of(system, leaf)), times)
                      for residue, times in cases.items())
        habits[variable.leaf] = _Habit(variable.leaf, reads, cases[variable.leaf] / len(sample), data_leaves(cases))
    return habits


def _sample(system: System, spots: dict[Node, Spot], fixed: list[str], addresses: dict[str, Node]) -> list[int]:
    """Packed words as they may occur: the placed words of the first store, each with the words that follow from it."""
    if not fixed:
        return [0]
    first = system.contents.words[fixed[0]]
    placed = [first[address] for address in sorted(system.contents.sites.get(fixed[0], ()))] or first
    sample = list(placed[::max(1, len(placed) // SAMPLE)])
    for store in fixed[1:]:
        leaf = system.terms.leaf("word", store, system.contents.machine.stores[store].bits)
        words, shift = system.contents.words[store], spots[leaf].shift
        if all(_is_variable(read) for read in bits_read([addresses[store]])):
            sample = [word | words[index % len(words)] << shift for index, word in enumerate(sample)]
        else:
            form = Closures(Packing({**spots, **_nothing(addresses[store])}, {})).of(addresses[store])
            sample = [word | words[form(0, word)] << shift for word in sample]
    return sample


def _nothing(root: Node) -> dict[Node, Spot]:
    return {leaf: Spot(False, 0, 0, 0) for leaf in bits_read([root])
            if type(leaf) is Leaf and leaf.kind not in ("field", "word")}


def _surroundings(variables: tuple[Variable, ...], habits: dict[Node, _Habit], explicit: set[Node],
                  agents: set[Node]) -> set[Node]:
    """Agents, and whatever in most words depends on something free or on the surroundings themselves."""
    inside = agents - explicit
    while True:
        more = {leaf for leaf, habit in habits.items()
                if leaf not in inside and leaf not in explicit and habit.share_reading(inside) > 0.5}
        if not more:
            break
        inside |= more
    values = {variable.leaf: variable.values for variable in variables}
    kept = [variable.leaf for variable in variables if variable.leaf in inside]
    size = 1
    for leaf in kept:
        size *= values[leaf]
    while size > SET_LIMIT:
        widest = max(kept, key=lambda leaf: values[leaf])
        kept.remove(widest)
        size //= values[widest]
    return set(kept)


def _location(variables: tuple[Variable, ...], habits: dict[Node, _Habit], forming: set[Node],
              inside: set[Node]) -> set[Node]:
    """Of what forms the address, the part that is not mostly held; and what that is computed from, likewise."""
    moving = {variable.leaf for variable in variables
              if variable.leaf not in inside and habits[variable.leaf].held < 0.5}
    location = forming & moving or {leaf for leaf in forming if leaf in habits}
    while True:
        feeding = {leaf for found in location for leaf in habits[found].data} & moving
        if feeding <= location:
            return location
        location |= feeding
