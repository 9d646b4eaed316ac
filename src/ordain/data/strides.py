"""Over the cycles in which nothing happens that anybody waits for, in blocks of code.

Before every cycle that a run works out, `Strides` goes on as far as blocks lead. Where one gives up, it goes back by as
many steps as people want to see before an event: those and the event are worked out one by one, as if nothing had been
left out. So all that is told comes from one place, and a fault of a block can be found by running without.
"""

import contextlib
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from ordain.data.blocks import Blocks, Journal, Slots, Stretch
from ordain.data.datapath import Datapath
from ordain.data.model import Memories
from ordain.data.partial import Ternary, exactly
from ordain.data.resolving import Undecided
from ordain.machine.expression import Node

OFTEN = 8
"""So many times a state of control has been there before code is made from it on."""

MOST_BLOCKS = 1 << 13
LARGEST = 1 << 20
"""Words of a memory beyond which no second copy of it is kept."""

AT_ONCE = 1 << 14
"""Steps after which a step is worked out, so that somebody can see how far it is."""


STANDING = 64
"""Steps in one cycle, while something holds the clock, after which a step is worked out."""


class _Place(NamedTuple):
    """Where the run stood before a block. `journal`: how much had been written by then."""

    control: tuple[int, ...]
    slots: Slots
    journal: int
    steps: int
    cycle: int
    begun: int
    last: int


class Strides:
    """`events`: expressions that hold in no cycle that is gone over. `starts`: addresses with which an instruction
    begins. `margin`: how many steps before an event are left. `most`: the last cycle; `limit`: how many instructions
    may begin; `steady`: the cycle from which on inputs do not change any more.

    `begun`, `last`: how many instructions have begun, and the address that was presented last; who works steps out goes
    on counting there. `steps`: how many it has gone over in all."""

    def __init__(self, path: Datapath, memories: Memories, events: Sequence[Node], starts: frozenset[int], *,
                 margin: int, most: int, limit: int | None = None, steady: int = 0) -> None:
        self.path, self.memories = path, memories
        self.begun = self.steps = 0
        self.last = -1
        self.interrupted = False
        self._starts, self._margin, self._most, self._limit, self._steady = starts, margin, most, limit, steady
        self._made: dict[tuple[int, ...], Stretch | None] = {}
        self._visits: dict[tuple[int, ...], int] = {}
        self._following: dict[tuple[int, tuple[int, ...]], tuple[int, ...]] = {}
        self._starting: dict[int, tuple[bool, int]] = {}
        self._cells: list[list[int]] = []
        self._inputs: dict[Node, Node] = {}
        self._wait = 0
        self._blocks: Blocks | None = None
        if all(memory.words <= LARGEST for memory in path.machine.memories.values()):
            with contextlib.suppress(Undecided):
                self._blocks = Blocks(path, events)

    def written(self, memory: str, address: int | None) -> None:
        """A step that was worked out has written there; None: nobody knows where."""
        if self._blocks is not None and self._cells:
            cells = self._cells[self._blocks.memories[memory]]
            for at in range(len(cells)) if address is None else (address,):
                cells[at] = self._known(memory, at)

    def ahead(self, held: Mapping[Node, Ternary], cycle: int,
              outside: Callable[[int], Mapping[str, int]]) -> tuple[Mapping[Node, Ternary], int]:
        """What is held, and the number of the cycle, as far ahead as blocks lead."""
        blocks = self._blocks
        if blocks is None or cycle < self._steady:
            return held, cycle
        if self._wait:
            self._wait -= 1
            return held, cycle
        known = [held[leaf] for leaf in blocks.control]
        if any(bits.known != (1 << leaf.width) - 1 for leaf, bits in zip(blocks.control, known)):
            return held, cycle
        control = tuple(bits.value for bits in known)
        self._visits[control] = self._visits.get(control, 0) + 1
        if self._visits[control] < OFTEN:
            return held, cycle
        self._prepare(outside(cycle))
        if self._block(blocks, control) is None:
            return held, cycle
        slots: Slots = [bits.value if bits.known == (1 << leaf.width) - 1 else None
                        for leaf, bits in ((leaf, held[leaf]) for leaf in blocks.data)]
        place = self._gone(blocks, _Place(control, slots, 0, 0, cycle, self.begun, self.last))
        self.begun, self.last = place.begun, place.last
        self.steps += place.steps
        if not place.steps:
            return held, cycle
        after = {leaf: exactly(value, leaf.width) for leaf, value in zip(blocks.control, place.control)}
        after.update((leaf, held[leaf] if value is None else exactly(value, leaf.width))
                     for leaf, value in zip(blocks.data, place.slots))
        return after, place.cycle

    def _prepare(self, given: Mapping[str, int]) -> None:
        """Memories as numbers, what is set from outside as constants; made once."""
        machine, terms = self.path.machine, self.path.terms
        if not self._cells:
            self._cells = [[self._known(name, address) for address in range(memory.words)]
                           for name, memory in machine.memories.items()]
        if not self._inputs:
            self._inputs.update((terms.leaf("input", name, one.width), terms.const(given.get(name, 0), one.width))
                                for name, one in machine.inputs.items())
            self._inputs.update((terms.leaf("condition", name, one.width), terms.const(given[name], one.width))
                                for name, one in machine.conditions.items() if name in given)

    def _known(self, memory: str, address: int) -> int:
        """A word of a memory, -1 where some bit of it is not known."""
        bits = self.memories[memory].get(address)
        return -1 if bits is None or bits.known != (1 << self.path.machine.memories[memory].bits) - 1 else bits.value

    # ------------------------------------------------------------ going

    def _gone(self, blocks: Blocks, here: _Place) -> _Place:
        """As far as blocks lead from a place, and back again by the margin."""
        journal: Journal = []
        past: deque[_Place] = deque()
        slots = here.slots
        beyond, moved = 1, (here.cycle, 0)
        try:
            while True:
                here = here._replace(slots=list(slots), journal=len(journal))
                while len(past) > 1 and here.steps - past[1].steps >= self._margin:
                    past.popleft()
                past.append(here)
                block = self._block(blocks, here.control)
                if here.cycle > moved[0]:
                    moved = here.cycle, here.steps
                if block is None or here.steps > AT_ONCE or here.cycle + block.cycles > self._most \
                        or here.steps - moved[1] > STANDING:
                    break
                begun = here.begun + self._begun_in(block, here.last)
                if self._limit is not None and begun >= self._limit:
                    break
                found = block.code(slots, self._cells, journal)
                if found is None:
                    beyond = block.steps
                    break
                here = _Place(self._after(block, found), slots, 0, here.steps + block.steps,
                              here.cycle + block.cycles, begun, block.addresses[-1])
            back = past[0]
        except KeyboardInterrupt:
            self.interrupted = True
            back = past[-1]
        while len(journal) > back.journal:
            number, address, word = journal.pop()
            self._cells[number][address] = word
        names = list(self.path.machine.memories)
        for number, address, _ in journal:
            bits = self.path.machine.memories[names[number]].bits
            self.memories[names[number]][address] = exactly(self._cells[number][address], bits)
        self._wait = past[-1].steps - back.steps + beyond - 1
        return back

    def _block(self, blocks: Blocks, control: tuple[int, ...]) -> Stretch | None:
        """Code from this state of control on, made when it has been there often enough."""
        if control not in self._made:
            self._visits[control] = self._visits.get(control, 0) + 1
            if self._visits[control] < OFTEN or len(self._made) >= MOST_BLOCKS:
                return None
            block = self._made[control] = blocks.block(control, self._inputs)
            if block is not None:
                addresses = block.addresses
                self._starting[id(block)] = addresses[0] in self._starts, sum(
                    one in self._starts and one != before for before, one in pairwise(addresses))
        return self._made[control]

    def _begun_in(self, block: Stretch, last: int) -> int:
        first, inside = self._starting[id(block)]
        return inside + (first and block.addresses[0] != last)

    def _after(self, block: Stretch, found: tuple[int, ...]) -> tuple[int, ...]:
        """The state of control after a block that has decided so."""
        if not found:
            return block.after
        key = id(block), found
        if key not in self._following:
            values = list(block.after)
            for at, value in zip(block.open, found):
                values[at] = value
            self._following[key] = tuple(values)
        return self._following[key]
