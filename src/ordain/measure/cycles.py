"""Least and most cycles of each instruction over the paths that can happen.

An instruction runs from its first word to the cycle in which the machine itself, not a word, chooses what comes next:
a dispatch, or a place wired into the sequencer (fetch, an interrupt's entry); or to the boundary that the machine file
calls `home`. Which those are is read off the expressions of the states that make the control address, so it needs no
rule for any kind of machine. What leads from the boundary to the first word (the fetch) is told by itself.

A cycle in which something other than the word sends control away (a reset line, a trap) breaks an instruction off; it
is no end of it.
"""

from collections.abc import Iterable, Sequence
from typing import Literal, NamedTuple

from ordain.control.ending import alternatives, ends_of, steering
from ordain.control.model import Cycle, System
from ordain.control.phases import whole_cycles
from ordain.control.sequencing import Sequencing, origins, sequencing
from ordain.control.system import released, remembering
from ordain.logic.evaluate import evaluate
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Leaf, Node, Terms, leaves, substitute
from ordain.machine.leads import value_leaves
from ordain.machine.model import Machine
from ordain.measure.cycle_counts import Control, Journey, JourneyEnds, Origin, Travelled, soonest, travel
from ordain.measure.unheld import goes_on_while_held
from ordain.rom.contents import Contents, word_name


class Decision(NamedTuple):
    """At the word at `address`, called `where`, control asked about these: (name, value); a name may be `flags[0]`.
    `lines`: those of them that are one bit wide."""

    address: int
    where: str
    values: tuple[tuple[str, int], ...]
    lines: frozenset[str]


class Ring(NamedTuple):
    """Words in which control can go round as long as it likes. `names`: what it depends on. `words`: what people call
    the words, each once, at however many of the addresses it stands."""

    addresses: tuple[int, ...]
    names: tuple[str, ...]
    words: tuple[str, ...] = ()


class Taken(NamedTuple):
    """`kind`: "instruction", "row" (of a mapping store), "fetch" or "round". `least`, `most` in cycles, a part
    of one counted whole; None: it never comes to its end, or never `begins`. With `rings`,
    `most` is without waiting: what goes round is left as soon as it can be. `if_least`, `if_most`: what decides, where
    the two differ. `fetches`: whether it fetches the next one itself, so that no fetch comes between: in no case, in
    each, or now and then; `ahead`: the least where it does."""

    kind: str
    title: str
    least: int | None
    most: int | None
    rings: tuple[Ring, ...]
    if_least: tuple[Decision, ...]
    if_most: tuple[Decision, ...]
    fetches: Literal["never", "always", "sometimes"] = "never"
    ahead: int | None = None
    begins: bool = True

    def with_fetch(self, fetch: "Taken") -> tuple[int, int, bool] | None:
        """Least and most from its first word to that of the next one, and whether it can wait; None: it never comes
        there."""
        if self.least is None or self.most is None or fetch.least is None or fetch.most is None:
            return None
        least = self.least + fetch.least
        return (least if self.ahead is None else min(least, self.ahead),
                self.most + (0 if self.fetches == "always" else fetch.most),
                bool(self.rings) or (self.fetches != "always" and bool(fetch.rings)))


class Cycles(NamedTuple):
    """`fetch`: from the boundary to the first word of what comes next; None when there is no way to tell the boundary,
    or nothing between. `round`: where there is neither an instruction nor a row, from the boundary until control comes
    back to it. `boundary`: what it is called. `taken`: in the order that was asked for, rows last. `unheld`: what goes
    on while the clock is held and has a part in where control goes; what comes of that is not counted."""

    fetch: Taken | None
    round: Taken | None
    boundary: str
    taken: tuple[Taken, ...]
    unheld: tuple[str, ...] = ()


class _Unit(NamedTuple):
    kind: str
    title: str
    start: Node


def cycles_of(system: System, titles: Iterable[str]) -> Cycles | None:
    """Of every instruction, by title, and every row of a mapping store. None when there is no microprogram. Cycles are
    those of the clock, however long it is held in one."""
    unheld = goes_on_while_held(system.contents.machine, system := released(system))
    contents = system.contents
    machine, terms = contents.machine, system.terms
    found = sequencing(machine, terms)
    if not found.control:
        return None
    store = found.control[0]
    instructions = _instructions(contents, titles)
    rows = _rows(contents, found)
    units = [*instructions, *(unit for units in rows.values() for unit in units)]
    last, broken_off = ends_of(machine, found, terms)
    home, boundary = _home(contents, store)
    system = remembering(system, (home,))
    never = terms.const(0, 1)
    over = terms.or_((last, broken_off))
    begins = _any(terms, [unit.start for unit in instructions])
    origins = [Origin(True, over, home, never), Origin(True, over, home, terms.not_(terms.or_((begins, last))))]
    journeys = [Journey(unit.start, 1, 0) for unit in instructions]
    for name, of_store in rows.items():
        dispatch = _dispatch_by(name, found, terms)
        entered = never if dispatch is not never else _any(terms, [unit.start for unit in of_store])
        journeys += [Journey(unit.start, len(origins), 0) for unit in of_store]
        origins.append(Origin(False, dispatch, entered, never))
    starts = _any(terms, [unit.start for unit in units])
    ends = last if units else never     # a dispatch to routines that are no instructions is a part of the round
    courses = [JourneyEnds(ends, never, broken_off, home, True, begins),
               JourneyEnds(ends, starts, broken_off, home, False, never)]
    # where an instruction begins with the boundary itself, nothing is fetched between
    journeys.append(Journey(terms.and_((home, terms.not_(begins))), 0, 1 if units else 0))
    told = _Telling(system, found, store)
    *travelled, from_home = travel(system, told.control(), origins, courses, journeys)
    taken = tuple(told.taken(unit, one) for unit, one in zip(units, travelled, strict=True))
    split = [number for number, one in enumerate(taken) if one.fetches == "sometimes"]
    into_next = JourneyEnds(never, begins, broken_off, home, False, never)
    ahead = soonest(system, told.control(), [into_next], [journeys[number] for number in split], origins) \
        if split else []
    least = dict(zip(split, ahead, strict=True))
    taken = tuple(one._replace(ahead=least.get(number, one.least if one.fetches == "always" else None))
                  for number, one in enumerate(taken))
    whole = told.taken(_Unit("fetch" if units else "round", boundary, home), from_home)
    there = from_home.least is not None or bool(from_home.rings)
    return Cycles(whole if units and there else None, whole if there and not units else None, boundary, taken, unheld)


def _any(terms: Terms, conditions: Sequence[Node]) -> Node:
    return terms.or_(tuple(conditions)) if conditions else terms.const(0, 1)


# ---------------------------------------------------------------- beginnings and ends


def _instructions(contents: Contents, titles: Iterable[str]) -> list[_Unit]:
    machine, units = contents.machine, []
    for title in titles:
        store, addresses = contents.labels[title]
        line = machine.terms.leaf("address", store, machine.stores[store].address_width)
        units.append(_Unit("instruction", title, machine.terms.among(line, addresses)))
    return units


def _rows(contents: Contents, found: Sequencing) -> dict[str, list[_Unit]]:
    """Per mapping store that is filled by hand its rows: control stands at the place that the row names, and the row is
    still addressed."""
    machine, terms = contents.machine, contents.machine.terms
    rows: dict[str, list[_Unit]] = {}
    control = machine.stores[found.control[0]]
    line = terms.leaf("address", control.name, control.address_width)
    sites = contents.sites.get(control.name, {})
    for name in found.mappings:
        store = machine.stores[name]
        if store.fill != "map" or store.bits > control.address_width:
            continue
        for row in sorted(contents.sites.get(name, {})):
            target = contents.words[name][row]
            if target in sites:
                here = terms.leaf("address", name, store.address_width)
                start = terms.and_((terms.among(line, frozenset((target,))), terms.among(here, frozenset((row,)))))
                label = sites[target].label
                rows.setdefault(name, []).append(
                    _Unit("row", f"{name}[0x{row:X}]" + (f" {label}" if label else ""), start))
    return rows


def _dispatch_by(mapping: str, found: Sequencing, terms: Terms) -> Node:
    """The condition that a cycle's next place is taken from a mapping store; never, where that takes a way round."""
    return _any(terms, [path for pointer in steering(found)
                        for value, path, _ in alternatives(found.nexts[pointer], found, terms)
                        if any(leaf.kind == "word" and leaf.name == mapping for leaf in value_leaves(value))])


def _home(contents: Contents, store: str) -> tuple[Node, str]:
    """The boundary of instructions: `home`, else the place where control stands after reset."""
    machine, terms = contents.machine, contents.machine.terms
    if machine.home is not None:
        name = machine.home.name if type(machine.home) is Leaf else "home"
        return machine.home, name
    parts = leaves((machine.stores[store].address,))
    resets: dict[Node, Node] = {}
    for leaf in parts:
        state = machine.states.get(leaf.name) if leaf.kind == "state" else None
        if state is None or state.reset is None:
            return terms.const(0, 1), ""
        resets[leaf] = terms.const(state.reset, leaf.width)
    (address,) = substitute(terms, (machine.stores[store].address,), resets)
    line = terms.leaf("address", store, machine.stores[store].address_width)
    return terms.equal(line, address), "where it stands after reset"


def steering_nexts(system: System, found: Sequencing) -> tuple[Node, ...]:
    """What those are in the next cycle, over the system's leaves."""
    nexts = {variable.leaf: variable.next for variable in system.variables}
    return tuple(nexts[leaf] for leaf in steering(found) if leaf in nexts)


# ---------------------------------------------------------------- what decides


class _Telling:
    """Says what decided on the way of a journey."""

    def __init__(self, system: System, found: Sequencing, store: str) -> None:
        self._system, self._contents = system, system.contents
        self._terms, self._found, self._store = system.terms, found, store
        self._clock = self._contents.machine.clock if self._contents.machine.steps > 1 else None
        self._tables = _tables_on_the_way(self._contents.machine, found)
        on_the_way = {leaf for asked in self._tables.values() for leaf in asked}
        self._by_hand = {*found.pointers, *found.opcodes} - on_the_way
        self._nexts = steering_nexts(system, found)
        self._lines = self._condition_lines()
        self._asked: dict[tuple[tuple[str, int], ...], dict[Leaf, int]] = {}

    def taken(self, unit: _Unit, travelled: Travelled) -> Taken:
        rings = tuple(self._ring(ring) for ring in travelled.rings)
        least, most = (None if steps is None else whole_cycles(self._contents.machine, steps)
                       for steps in (travelled.least, travelled.most))
        onward = travelled.onward
        return Taken(unit.kind, unit.title, least, most, rings,
                     self._decisions(travelled.shortest), self._decisions(travelled.longest),
                     "never" if not onward.following else "sometimes" if onward.home else "always",
                     begins=travelled.begun)

    def control(self) -> Control:
        arms = sum(1 << line for _, _, line in self._lines)
        return Control(self._store, arms, self._nexts)

    def _condition_lines(self) -> list[tuple[Leaf, int, int]]:
        """(leaf, its bit, address bit) for the lines of the control address that are no pointers."""
        found = []
        for bit, origin in enumerate(origins(self._system.addresses[self._store])):
            if isinstance(origin, tuple) and origin[0] not in self._by_hand:
                found.append((*origin, bit))
        return found

    def _decisions(self, cycles: tuple[Cycle, ...]) -> tuple[Decision, ...]:
        found: list[Decision] = []
        for cycle in cycles[:-1]:
            address = cycle.addresses[self._store]
            values: list[tuple[str, int]] = []
            lines: set[str] = set()
            held = {leaf.name: cycle.states[leaf.name] for leaf in self._by_hand if leaf.name in cycle.states}
            for leaf, mask in self._deciding(address, cycle.addresses, cycle.words, self._phase(cycle), held).items():
                told = self._told(leaf, mask, cycle)
                values += told
                lines |= {name for name, _ in told if leaf.width == 1 or name.endswith("]")}
            decision = Decision(address, self._where(address), tuple(dict.fromkeys(values)), frozenset(lines))
            if values and (not found or self._clock is None or decision != found[-1]):
                found.append(decision)
        return tuple(found)

    def _told(self, leaf: Leaf, mask: int, cycle: Cycle | None) -> list[tuple[str, int]]:
        """The bits of a leaf that count. Of an input on the clock, what is read of it, not what is remembered to that
        end: nobody has declared that. Without a cycle the values mean nothing."""
        name, states = leaf.name.removesuffix(" kept"), self._contents.machine.states
        read = states.get(f"{name} kept") if name in self._contents.machine.inputs else None
        if read is not None:
            values: dict[Node, int] = {} if cycle is None else {
                one: cycle.states.get(one.name, cycle.free.get(one.name, 0)) for one in leaves((read.next,))}
            return _spelt(name, leaf.width, mask, 0 if cycle is None else evaluate(read.next, values))
        if leaf.kind == "state" and " moved" in leaf.name:
            return []
        now = 0 if cycle is None else cycle.states.get(leaf.name, cycle.free.get(leaf.name, 0))
        return _spelt(leaf.name, leaf.width, mask, now)

    def _phase(self, cycle: Cycle) -> int:
        return 0 if self._clock is None else cycle.states[self._clock.name]

    def _deciding(self, address: int, addresses: dict[str, int], words: dict[str, int], phase: int,
                  held: dict[str, int]) -> dict[Leaf, int]:
        """What control asks about in a cycle with these words: leaf -> mask of its bits. `held`: what is in the states
        that make the address, such as the word before, in a register of its own."""
        key = (*sorted(addresses.items()), ("", phase), *held.items())
        found = self._asked.get(key)
        if found is None:
            known = self._known(addresses, words, phase)
            known |= {leaf: self._terms.const(held[leaf.name], leaf.width)
                      for leaf in self._by_hand if leaf.name in held}
            rest = substitute(self._terms, self._nexts, known)
            found = {leaf: mask for leaf, mask in bits_read(rest).items()
                     if type(leaf) is Leaf and leaf not in self._by_hand}
            for word in [leaf for leaf in found if leaf.kind == "word" and leaf.name in self._tables]:
                del found[word]
                for leaf, mask in self._tables[word.name].items():
                    found[leaf] = found.get(leaf, 0) | mask
            stored = self._contents.words[self._store]
            for leaf, bit, line in self._lines:
                if stored[address] != stored[address ^ 1 << line]:
                    found[leaf] = found.get(leaf, 0) | 1 << bit
            self._asked[key] = found
        return found

    def _known(self, addresses: dict[str, int], words: dict[str, int], phase: int) -> dict[Node, Node]:
        machine, terms = self._contents.machine, self._terms
        known: dict[Node, Node] = {}
        if self._clock is not None:
            width = machine.states[self._clock.name].width
            known[terms.leaf("state", self._clock.name, width)] = terms.const(phase, width)
        for name, word in words.items():
            if name in self._tables:        # which of its rows it is decides
                continue
            store = machine.stores[name]
            known[terms.leaf("address", name, store.address_width)] = terms.const(addresses[name], store.address_width)
            known[terms.leaf("word", name, store.bits)] = terms.const(word, store.bits)
            for field_name in store.fields:
                field = machine.fields[field_name]
                known[terms.leaf("field", field_name, field.width)] = terms.const(field.read(word), field.width)
        return known

    def _ring(self, ring: frozenset[int]) -> Ring:
        names: dict[str, None] = {}
        for address in sorted(ring):
            word = self._contents.words[self._store][address]
            asked = self._deciding(address, {self._store: address}, {self._store: word},
                                   0 if self._clock is None else self._clock.moves, {})
            for leaf, mask in asked.items():
                names.update((name, None) for name, _ in self._told(leaf, mask, None))
        words = dict.fromkeys(self._where(address) for address in sorted(ring))
        return Ring(tuple(sorted(ring)), tuple(names), tuple(word for word in words if word))

    def _where(self, address: int) -> str:
        return word_name(self._contents, self._store, address)


def _tables_on_the_way(machine: Machine, found: Sequencing) -> dict[str, dict[Leaf, int]]:
    """Per table that is filled by hand what chooses its row beside the opcode, such as the second byte of an
    instruction: leaf -> mask of its bits."""
    addresses = found.stores
    first = {*leaves([*(addresses[name] for name in found.mappings if machine.stores[name].fill == "start"),
                      *(store.address for store in machine.stores.values() if store.instruction is not None),
                      *(store.opcode for store in machine.stores.values() if store.opcode is not None)])}
    tables = {name: {leaf: mask for leaf, mask in bits_read((addresses[name],)).items()
                     if type(leaf) is Leaf and leaf in found.opcodes and leaf not in first}
              for name in found.mappings if machine.stores[name].fill == "map"}
    return {name: asked for name, asked in tables.items() if asked} if first else {}


def _spelt(name: str, width: int, mask: int, value: int) -> list[tuple[str, int]]:
    """The bits that count, as `name` or `name[bit]` with their values."""
    if mask == (1 << width) - 1:
        return [(name, value)]
    return [(f"{name}[{bit}]", value >> bit & 1) for bit in range(width) if mask >> bit & 1]
