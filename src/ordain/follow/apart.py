"""What a person can look at next, so that fewer faults are left; or that no line of the board can tell them apart.

What divides best comes first: a line in the clocks of the capture; a bit of the word at an address, where the faults
make it another; a line in the clock after a word that is reached from reset, with some levels at the inputs.
Everything that has a name is looked at, so two machines that go through the same states and words from reset on,
whatever comes in, are the same to every clip: then only a chip in a programmer, or another in its place, says more.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations
from time import monotonic

from oxidd.bdd import BDDFunction

from ordain.capture.sampling import ClockedReading
from ordain.follow.following import Clips, follow
from ordain.follow.looks import at_one_line, by_line
from ordain.follow.model import Apart, ClockCycle, Looked, Suspect
from ordain.follow.states import States
from ordain.machine.expression import Cell, Leaf, Node, Prior, postorder
from ordain.machine.model import Machine

ALIKE = 16
"""Suspects that are told apart, at most."""
LOOKED_AT = 120
"""Clocks in which it is looked for what tells them apart, the last ones."""
SECONDS = 20.0
"""For a search of what the machines can come to."""
FURTHER = 5.0
"""For a better look than one that leaves more than half of them."""


def look(states: States, clips: Clips, readings: Sequence[ClockedReading], some: Sequence[Suspect],
         lines: Mapping[str, Node], store: str) -> Looked:
    """`lines`: all at which a clip can be, by their names; they have to be among what `states` was made to
    be asked about. `store`: the one whose address says where control is."""
    looking = _Looking(states, some[:ALIKE], lines, store)
    found = [looking.in_capture(clips, readings), looking.in_words()]
    apart = max((one for one in found if one is not None), key=looking.worth, default=None)
    if apart is not None:
        if not looking.halves(apart):
            apart = max((apart, *looking.partings()), key=looking.worth)
        return Looked(apart, (), True, len(some[:ALIKE]))
    apart, alike = looking.from_reset()
    return Looked(apart, alike, looking.known, len(some[:ALIKE]))


def lines_of(machine: Machine) -> dict[str, Node]:
    """Lines at which a clip can be: bits of fields and states, and of signals that do not hang on data."""
    terms = machine.terms
    leaves: dict[str, Node] = {name: terms.leaf("field", name, field.width) for name, field in machine.fields.items()
                               if field.holds != "spare"}
    leaves.update((name, terms.leaf("state", name, state.width)) for name, state in machine.states.items())
    leaves.update((name, signal.value) for name, signal in machine.signals.items() if _of_control(signal.value))
    found: dict[str, Node] = {}
    for name, leaf in leaves.items():
        for bit in range(leaf.width):
            level = terms.slice(leaf, bit, bit)
            low = name in machine.fields and machine.fields[name].active_low
            found[f"{name}[{bit}]" if leaf.width > 1 else name] = terms.not_(level) if low else level
    return found


def _of_control(node: Node) -> bool:
    return not any(isinstance(one, Prior | Cell) or
                   (isinstance(one, Leaf) and one.kind not in ("state", "field", "input", "at", "in"))
                   for one in postorder((node,)))


class _Looking:
    """`known`: whether nothing was left out for want of time."""

    def __init__(self, states: States, some: Sequence[Suspect], lines: Mapping[str, Node], store: str) -> None:
        self.states, self.store, self._lines, self._some = states, store, dict(lines), some
        self._machines = [states.changed(one.faults[0]) for one in some]
        self._until, self._atoms = monotonic() + SECONDS, _bits_of_states(states)
        self._widths = Counter(name.partition("[")[0] for name in lines if "[" in name)
        self.known = True

    # ------------------------------------------------------------ in the clocks that were seen

    def in_capture(self, clips: Clips, readings: Sequence[ClockedReading]) -> Apart | None:
        levels: dict[tuple[str, int], dict[int, bool]] = {}
        places: dict[int, int] = {}
        for number, (suspect, faulty) in enumerate(zip(self._some, self._machines)):
            clocks: list[ClockCycle] = []
            follow(faulty, clips.put(suspect.faults[0]), readings, faulty.running(), None, clocks.append)
            told: dict[tuple[int, object], tuple[int | None, dict[str, bool]]] = {}
            for clock in clocks[-LOOKED_AT:]:
                key = clock.states, clock.seen
                if key not in told:
                    told[key] = self._sure(faulty, faulty.cycles(clock.states, clock.seen))
                address, sure = told[key]
                if address is not None:
                    places.setdefault(clock.number, address)
                for name, on in sure.items():
                    levels.setdefault((name, clock.number), {})[number] = on
        every = [Apart(name, at, places.get(at), *_divided(found)) for (name, at), found in levels.items()]
        whole: dict[tuple[str, int], dict[int, dict[int, bool]]] = {}
        for (name, at), found in levels.items():
            title, bracket, bit = name.partition("[")
            if bracket:
                for number, level in found.items():
                    whole.setdefault((title, at), {}).setdefault(number, {})[int(bit.rstrip("]"))] = level
        for (title, at), by_number in whole.items():
            values = {number: sum(level << bit for bit, level in bits.items()) for number, bits in by_number.items()
                      if len(bits) == self._widths[title]}
            every.append(Apart(title, at, places.get(at), (), (), values=_by_value(values)))
        return self._best(every)

    def _best(self, every: Iterable[Apart]) -> Apart | None:
        """The best line, looked at as often as it needs, if it tells anything."""
        some = [one for one in every if one.left(len(self._some)) < len(self._some)]
        return max((at_one_line(looks, len(self._some)) for looks in by_line(some)),
                   key=lambda one: (self.worth(one), one.clock), default=None)

    def worth(self, one: Apart) -> tuple[int, int, int, bool, bool, bool]:
        """What halves them in clocks of the capture is best: nothing has to be stepped to. Then, the fewer it leaves
        the better; one look is better than several, one line than several."""
        halves = self.halves(one)
        return (halves + (halves and one.clock > 0), -one.left(len(self._some)), -len(one.then),
                not one.values, one.clock > 0, one.address is not None)

    def halves(self, one: Apart) -> bool:
        return 2 * one.left(len(self._some)) <= len(self._some) + 1

    def _sure(self, faulty: States, cycles: BDDFunction) -> tuple[int | None, dict[str, bool]]:
        """The address, and the lines of which the level is sure, in some cycles."""
        addresses = faulty.addresses(self.store, cycles)
        found: dict[str, bool] = {}
        for name, node in self._lines.items():
            off, on = faulty.may(node, cycles)
            if off != on:
                found[name] = on
        return (next(iter(addresses)) if len(addresses) == 1 else None), found

    # ------------------------------------------------------------ in words that other ways lead to

    def in_words(self) -> Apart | None:
        """Where the words of some are others. Of faults of clips the board is sound."""
        machine = self.states.system.contents.machine
        words = [one.system.contents.words[self.store] for one in self._machines]
        if len({*words}) < 2:
            return None
        reached = [self._presented(faulty) for faulty in self._machines]
        every: list[Apart] = []
        for address in range(len(words[0])):
            here = [number for number in range(len(words)) if reached[number] >> address & 1]
            if len({words[number][address] for number in here}) < 2:
                continue
            for name in machine.stores[self.store].fields:
                field = machine.fields[name]
                values = {number: words[number][address] >> field.low & (1 << field.width) - 1 for number in here}
                if field.width > 1 and field.holds != "spare":
                    every.append(Apart(name, 0, address, (), (), values=_by_value(values)))
                for bit in range(field.width) if field.holds != "spare" else ():
                    at = field.low + bit
                    levels = {number: bool(words[number][address] >> at & 1) for number in here}
                    title = f"{name}[{bit}]" if field.width > 1 else name
                    every.append(Apart(title, 0, address, *_divided(levels)))
        return self._best(every)

    def _presented(self, faulty: States) -> int:
        """The addresses that a machine comes to from its reset, as the bits of a number."""
        reached = faulty.reached(self._until)
        if reached is None:
            self.known = False
            return 0
        found = 0
        for address in faulty.addresses(self.store, reached & faulty.required):
            found |= 1 << address
        return found

    # ------------------------------------------------------------ from reset on

    def from_reset(self) -> tuple[Apart | None, tuple[tuple[int, ...], ...]]:
        """The first line by which two of them differ, and what it is with others; else the groups that are alike."""
        groups: list[list[int]] = []
        for number, faulty in enumerate(self._machines):
            for group in groups:
                apart = next(self._parting(self._machines[group[0]], faulty), None)
                if apart is None:
                    group.append(number)
                    break
                return apart, ()
            else:
                groups.append([number])
        return None, tuple(tuple(group) for group in groups)

    def partings(self) -> Iterator[Apart]:
        """Where two of them part, line by line, until one of these halves them all or the time is over."""
        until = min(self._until, monotonic() + FURTHER)
        for one, other in combinations(self._machines, 2):
            for apart in self._parting(one, other):
                yield apart
                if self.halves(apart) or monotonic() > until:
                    return

    def _parting(self, one: States, other: States) -> Iterator[Apart]:
        """The lines that are others in two machines that begin together, in the first cycle in which some are."""
        required = one.required & other.required
        shown = [(name, False, self._line(one, name, False), self._line(other, name, False)) for name in self._lines]
        shown += [(name, True, self._line(one, name, True), self._line(other, name, True)) for name in self._atoms]
        parts = [(name, after, first, (first ^ second) & required) for name, after, first, second in shown
                 if first != second]
        found = now = one.start & other.start
        if one.start != other.start and not now.satisfiable():
            yield from self._at_reset(one, other)
            return
        steps, parted = 1, False
        while parts and now.satisfiable() and not parted:
            for name, after, first, differ in parts:
                cycles = differ & now
                if cycles.satisfiable():
                    high = cycles & first
                    yield self._told((one, other), name, after, high if high.satisfiable() else cycles, steps)
                    parted = True
            if monotonic() > self._until:
                self.known = parted
                return
            now = one.following(now & required) & ~found
            found = found | now
            steps += 1

    def _line(self, machine: States, name: str, after: bool) -> BDDFunction:
        """The level of a line in a cycle, or of a bit of a state in the one after it."""
        return machine.space.function(self._atoms[name]) if after else machine.condition(self._lines[name])

    def _at_reset(self, one: States, other: States) -> Iterator[Apart]:
        """The bits of states that are not the same in two machines after reset."""
        now = self.states.space.now
        for name, atom in self._atoms.items():
            first, second = (machine.start & now[atom] for machine in (one, other))
            if first.satisfiable() != second.satisfiable():
                levels = {number: (machine.start & now[atom]).satisfiable()
                          for number, machine in enumerate(self._machines)
                          if (machine.start & now[atom]).satisfiable() != (machine.start & ~now[atom]).satisfiable()}
                yield Apart(name, 0, None, *_divided(levels))

    def _told(self, pair: tuple[States, States], name: str, after: bool, cycles: BDDFunction, steps: int) -> Apart:
        """A line by which a pair differs in some cycles; of one of these it is told with which of all it is what, and
        of what is given in it only that without which it would not be so."""
        space = self.states.space
        cube = cycles.pick_cube()
        assert cube is not None
        levels = {leaf: {bit: cube[space.number[atom]] for bit, atom in enumerate(space.atoms.of(leaf))}
                  for leaf in space.atoms.leaves if isinstance(leaf, Leaf)}
        place = space.read_by(self.states.system.addresses[self.store])
        for leaf in [leaf for leaf in levels if not any(place >> atom & 1 for atom in space.atoms.of(leaf))]:
            without = {**levels, leaf: dict.fromkeys(levels[leaf])}
            if all(self._sure_at(machine, without, name, after) is not None for machine in pair):
                levels = without
        found = {number: level for number, machine in enumerate(self._machines)
                 if (level := self._sure_at(machine, levels, name, after)) is not None}
        addresses = self.states.addresses(self.store, self._at(levels) & self.states.required)
        given = [one for leaf, bits in levels.items() for one in _named(leaf, bits)
                 if len(addresses) != 1 or not any(place >> atom & 1 for atom in space.atoms.of(leaf))]
        return Apart(name, 0, next(iter(addresses)) if len(addresses) == 1 else None, *_divided(found),
                     tuple(given), after, steps)

    def _at(self, levels: Mapping[Leaf, Mapping[int, bool | None]]) -> BDDFunction:
        space = self.states.space
        found = space.true
        for leaf, bits in levels.items():
            for bit, level in bits.items():
                if level is not None:
                    now = space.now[space.atoms.of(leaf)[bit]]
                    found = found & (now if level else ~now)
        return found

    def _sure_at(self, machine: States, levels: Mapping[Leaf, Mapping[int, bool | None]], name: str,
                 after: bool) -> bool | None:
        """The level of a line in all cycles in which some levels are given; None: it is not sure."""
        here, line = self._at(levels) & machine.required, self._line(machine, name, after)
        off, on = (here & ~line).satisfiable(), (here & line).satisfiable()
        return on if on != off else None


def _bits_of_states(states: States) -> dict[str, int]:
    """Each bit of what is remembered from clock to clock: its name, its atom."""
    return {f"{one.name}[{bit}]" if one.leaf.width > 1 else one.name: atom for one in states.space.variables
            for bit, atom in enumerate(states.space.atoms.of(one.leaf))}


def _named(leaf: Leaf, bits: Mapping[int, bool | None]) -> list[tuple[str, int]]:
    """Levels by name, a whole value where every bit is given."""
    if None not in bits.values():
        return [(leaf.name, sum(1 << bit for bit, level in bits.items() if level))]
    return [(f"{leaf.name}[{bit}]", int(level)) for bit, level in bits.items() if level is not None]


def _divided(levels: Mapping[int, bool]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    return (tuple(number for number, level in levels.items() if level),
            tuple(number for number, level in levels.items() if not level))


def _by_value(values: Mapping[int, int]) -> tuple[tuple[int, tuple[int, ...]], ...]:
    return tuple((value, tuple(number for number, other in values.items() if other == value))
                 for value in sorted(set(values.values())))
