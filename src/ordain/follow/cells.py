"""Every bit of every word of a store, in one set: machines in each of which one bit of one word reads the other way.

Two variables that no cycle changes say which word it is and which bit of it, so a set has pairs of a machine and a
state, and one image carries all machines on. What was seen cuts away those that it cannot have been. A word that is not
presented before the sound machine breaks takes no work of its own: until then it is that machine, and goes with it.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from oxidd.bdd import BDDFunction

from ordain.capture.sampling import ClockedReading
from ordain.control.model import System, Variable
from ordain.follow.following import Clips
from ordain.follow.model import Hypothesis, Seen
from ordain.follow.states import States
from ordain.machine.expression import Node, Terms, substitute
from ordain.machine.model import Machine
from ordain.prover.symbolic.relation import AND
from ordain.prover.symbolic.space import by_value
from ordain.rom.contents import Contents, word_name

WORD, BIT = "which word", "which bit"
"""The variables' names: no machine file can have one with a space in it."""


class CellFault(NamedTuple):
    """A bit of a word, and how many clocks of a capture are explained if it reads the other way."""

    store: str
    address: int
    bit: int
    clocks: int


LARGEST = 100_000
"""Nodes of a part of the relation: many images of small sets are taken, and each part takes an operation."""
SPLIT = 1_000
"""Machines up to which each is followed by itself, once they can be told from the sound one."""


MOST_WORDS = 1 << 16
"""Words of a store up to which its bits are tried."""
WIDE = 20_000
"""Nodes up to which it is worked out in which cycles something is other."""


class _Now(NamedTuple):
    """`beds`: set of states -> the machines that are there, and asleep: that are no other than the sound one until
    their word is presented. `awake`: a set of pairs of machine and state, those that are too many to be told apart.
    """

    beds: dict[int, BDDFunction]
    awake: int


class _Step(NamedTuple):
    """What becomes of machines in a clock in which something may be other. `left` can be as seen, and `other` are
    not where the sound one goes, but each where `pairs` says."""

    left: BDDFunction
    other: BDDFunction
    pairs: BDDFunction


class Cells:
    """The machines of one store. `sound`: how many clocks a machine without a fault explains, wherever it begins."""

    def __init__(self, system: System, store: str, lines: Sequence[Node], gated: bool) -> None:
        self.store, terms = store, system.terms
        self._bits = system.contents.machine.stores[store].bits
        self._word = terms.leaf("state", WORD, system.addresses[store].width)
        self._bit = terms.leaf("state", BIT, self._bits.bit_length())
        self.states = States(_turning(system, store, self._word, self._bit, self._bits), lines, (), gated,
                             searched=False, largest=LARGEST)
        self.sound = 0

    def found(self, clips: Clips, readings: Sequence[ClockedReading],
              report: Callable[[int], None] | None) -> list[CellFault]:
        """Those that explain more than the sound machine does. `report`: told now and then at which clock it is."""
        space = self.states.space
        if not {self._word, self._bit} <= set(space.atoms.leaves):
            return []                               # nothing that is seen, or follows, depends on a word of it
        cells: list[CellFault] = []
        now = self._start()
        (sound,) = now.beds
        for count, reading in enumerate(readings):
            seen = clips.seen(reading.word, reading.unknown)
            beds: dict[int, BDDFunction] = {}
            awake, dead = space.false, space.false
            if now.awake >= 0:
                awake, dead = self._carried(now.awake, seen, beds, sound)
            for place, machines in now.beds.items():
                to, woken, gone = self._rested(place, seen), machines & self._woken(place), space.false
                if woken.satisfiable():
                    step = self._step(place, seen)
                    gone = woken & ~step.left
                    machines = machines & ~woken | woken & step.left & ~step.other
                    awake = awake | self._split(step.pairs, woken & step.other, beds)
                if to >= 0:
                    _laid(beds, to, machines)
                else:
                    gone = gone | machines
                if sound < 0:
                    dead = dead | gone
            if sound >= 0:
                sound = self._rested(sound, seen)
                if sound < 0:
                    self.sound = count
            elif dead.satisfiable():
                cells += self._cells(dead, count)
            now = _Now(beds, self.states.number(awake) if awake.satisfiable() else -1)
            if not beds and now.awake < 0:
                return cells
            if report is not None and not count & 0xFF:
                report(count)
        if sound >= 0:
            self.sound = len(readings)
            return []
        for machines in now.beds.values():
            cells += self._cells(machines, len(readings))
        return [*cells, *self._cells(self._machines(now.awake), len(readings))]

    def _start(self) -> _Now:
        states, space = self.states, self.states.space
        of_machines = {*space.atoms.of(self._word), *space.atoms.of(self._bit)}
        self._number = space.cube(of_machines)
        self._others = space.cube(atom for atom in range(space.states) if atom not in of_machines)
        self._apart = space.cube(range(space.states, space.atoms.count))
        none = space.of(states.terms.equal(self._bit, states.terms.const(self._bits, self._bit.width))) \
            & space.within(self._word, 1)
        read = states.read(self.store)
        bits = frozenset(bit for bit in range(self._bits) if read >> bit & 1)
        words = len(states.system.contents.words[self.store])
        every = space.of(states.terms.among(self._bit, bits)) & space.within(self._word, words)
        self._plain = states.confined(none, of_machines)
        self._other = every & self._differing(none, of_machines)
        self._count = len(of_machines)
        self._waking: dict[int, BDDFunction] = {}
        self._course: dict[tuple[int, Seen], int] = {}
        self._steps: dict[tuple[int, Seen], _Step] = {}
        anywhere = states.sets[states.anywhere()].exists(self._number)
        return _Now({self._plain.number(anywhere): every | none}, -1)

    def _differing(self, none: BDDFunction, of_machines: set[int]) -> BDDFunction:
        """Cycles in which something may be other than in the sound machine: those in which it is, or where that is a
        large diagram those in which the word is presented."""
        states, found = self.states, self.states.space.false
        for one in states.outcomes(of_machines):
            found = found | one ^ (one & none).exists(self._number)
            if found.node_count() > WIDE:
                return states.space.of(states.terms.equal(self._word, states.system.addresses[self.store]))
        return found

    def _rested(self, place: int, seen: Seen) -> int:
        """Where those go that are no other than the sound one; -1: they cannot be as seen."""
        found = self._course.get((place, seen))
        if found is None:
            found = self._course[place, seen] = self._plain.after(place, seen)
        return found

    def _step(self, place: int, seen: Seen) -> _Step:
        found = self._steps.get((place, seen))
        if found is None:
            states, false = self.states, self.states.space.false
            to = self._rested(place, seen)
            after = states.after(states.number(self._woken(place) & self._plain.sets[place]), seen)
            left, pairs = self._machines(after), states.sets[after] if after >= 0 else false
            if to >= 0:
                pairs = pairs & (pairs ^ left & self._plain.sets[to]).exists(self._others)
            found = self._steps[place, seen] = _Step(left, pairs.exists(self._others), pairs)
        return found

    def _carried(self, awake: int, seen: Seen, beds: dict[int, BDDFunction],
                 sound: int) -> tuple[BDDFunction, BDDFunction]:
        """Those that are still awake after a clock, and the machines of which none is left. `sound`: where the sound
        machine was."""
        states = self.states
        machines, following = self._machines(awake), states.after(awake, seen)
        left, pairs = self._machines(following), states.sets[following] if following >= 0 else states.space.false
        dead, other = machines & ~left, left
        to = self._rested(sound, seen) if sound >= 0 else -1
        if to >= 0:
            other = (pairs ^ left & self._plain.sets[to]).exists(self._others)
            _laid(beds, to, left & ~other)
        return self._split(pairs, other, beds), dead

    def _split(self, pairs: BDDFunction, machines: BDDFunction, beds: dict[int, BDDFunction]) -> BDDFunction:
        """Puts each of some machines into a bed of its own; or they stay awake, where there are too many."""
        space = self.states.space
        if not machines.satisfiable():
            return machines
        if machines.sat_count(space.states) >> space.states - self._count > SPLIT:
            return pairs & machines
        for _, one in by_value(space.bits(self._word), machines):
            for _, single in by_value(space.bits(self._bit), one):
                _laid(beds, self._plain.number((pairs & single).exists(self._number)), single)
        return space.false

    def _machines(self, some: int) -> BDDFunction:
        """Those of a set of pairs."""
        return self.states.sets[some].exists(self._others) if some >= 0 else self.states.space.false

    def _woken(self, place: int) -> BDDFunction:
        """The machines in which something may be other before the next set, whatever is seen."""
        found = self._waking.get(place)
        if found is None:
            every = self.states.space.false
            for some in self._plain.waiting(place):
                every = every | some
            found = every.apply_exists(AND, self._other, self._apart & self._others)
            self._waking[place] = found
        return found

    def _cells(self, machines: BDDFunction, clocks: int) -> Iterator[CellFault]:
        space = self.states.space
        for address, some in by_value(space.bits(self._word), machines):
            for bit, _ in by_value(space.bits(self._bit), some):
                if bit < self._bits:
                    yield CellFault(self.store, address, bit, clocks)


def stores_with_cells(contents: Contents) -> list[str]:
    """The stores of which a chip holds words, or that a microprogram fills."""
    held = {bank.store for chip in contents.machine.chips.values() for bank in chip.banks}
    return [store.name for store in contents.machine.stores.values()
            if (store.name in held or store.fill == "microprogram") and len(contents.words[store.name]) <= MOST_WORDS]


def _laid(beds: dict[int, BDDFunction], place: int, machines: BDDFunction) -> None:
    if machines.satisfiable():
        beds[place] = beds[place] | machines if place in beds else machines


def _turning(system: System, store: str, word: Node, bit: Node, bits: int) -> System:
    """The system of all machines."""
    terms, machine = system.terms, system.contents.machine
    address = terms.leaf("address", store, system.addresses[store].width)
    here = terms.equal(word, address)

    def turned(leaf: Node, low: int) -> Node:
        return terms.xor(leaf, terms.join(terms.and_((here, terms.equal(bit, terms.const(at, bit.width))))
                                          for at in range(low + leaf.width - 1, low - 1, -1)))

    inside = {leaf: turned(leaf, low) for leaf, low in _leaves(terms, machine, store, bits)}
    nexts = _inside(terms, {one.name: one.next for one in system.variables}, inside)
    variables = [one._replace(next=nexts[one.name]) for one in system.variables]
    more = [Variable(WORD, word, 1 << word.width, None, word, "monitor"),
            Variable(BIT, bit, bits + 1, None, bit, "monitor")]
    keys = tuple(system.lowering)
    lowering = dict(zip(keys, substitute(terms, tuple(system.lowering.values()), inside)))
    return system._replace(variables=(*variables, *more), lowering={**inside, **lowering},
                           assumptions=substitute(terms, system.assumptions, inside),
                           addresses=_inside(terms, system.addresses, inside))


def _inside(terms: Terms, nodes: dict[str, Node], inside: dict[Node, Node]) -> dict[str, Node]:
    return dict(zip(nodes, substitute(terms, tuple(nodes.values()), inside)))


def _leaves(terms: Terms, machine: Machine, store: str, bits: int) -> Iterator[tuple[Node, int]]:
    """What reads the store: each leaf, and the bit of the word at its lowest."""
    yield terms.leaf("word", store, bits), 0
    for name in machine.stores[store].fields:
        field = machine.fields[name]
        yield terms.leaf("field", name, field.width), field.low


def cell_fault(contents: Contents, cell: CellFault) -> Hypothesis:
    """The fault of a cell that was found."""
    store, address, bit = cell.store, cell.address, cell.bit
    words = list(contents.words[store])
    words[address] ^= 1 << bit
    return Hypothesis("cell", _told(contents, store, address, bit, words[address] >> bit & 1), {store: tuple(words)})


def _told(contents: Contents, store: str, address: int, bit: int, level: int) -> str:
    """`U1.D7 reads 1 in ring+1 (control 043): over`; the pin's level, which may be the other one than the bit's."""
    machine = contents.machine
    digits = -(-machine.stores[store].address_width // 4)
    pins = [(f"{chip.name}.D{len(bank.pins) - 1 - place}", pin.inverted) for chip in machine.chips.values()
            for bank in chip.banks if bank.store == store for place, pin in enumerate(bank.pins) if pin.bit == bit]
    field = next((machine.fields[name] for name in machine.stores[store].fields
                  if machine.fields[name].low <= bit <= machine.fields[name].high), None)
    line = f"bit {bit}" if field is None or field.holds == "spare" else \
        field.name if field.width == 1 else f"{field.name}[{bit - field.low}]"
    pin = "=".join(dict.fromkeys(name for name, _ in pins))
    if pins and pins[0][1]:
        level = 1 - level
    name = word_name(contents, store, address)
    place = f"{store} {address:0{digits}X}"
    where = f"{name} ({place})" if name else place
    return f"{pin or line} reads {level} in {where}" + (f": {line}" if pin else "")
