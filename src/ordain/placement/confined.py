"""Addresses for words such that only some chips change: a search that asks a part of what placement asks.

Rows of words that must follow each other move as one. A row may stand where every bit outside the allowed chips is
already what its words need there; the addresses that its words name, and those that mapping stores hold, tie rows
together; addresses that hold something else than an unused word must be taken. What could be refuted wrongly is not
asked: where a word may stand twice, nobody who names it is looked at.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from ordain.machine.model import Machine
from ordain.microprogram.model import Microinstruction, Program
from ordain.placement.demands import ends_of_runs, everyone, reach_of, target_words
from ordain.placement.mapped import Mapped, mapped
from ordain.placement.space import members

MOST_STEPS = 20_000
"""Steps of one search."""

WIDEST_TIE = 60_000
"""Pairs of places looked at to narrow one tie down."""


class Allowed(NamedTuple):
    """`touched`: chips that may change; of these only `erased` may lose programmed bits. `erased` is within
    `touched`."""

    touched: frozenset[str]
    erased: frozenset[str]


_Index = dict[tuple[str, int], dict[int, int]]


class Unsettled(Exception):
    """The search was given up before it knew."""


class _Row(NamedTuple):
    """Words `first` .. `first` + `length` - 1 of the program, in a row."""

    store: str
    first: int
    length: int


class _Tie(NamedTuple):
    """Word `at` of row `row` names word `target_at` of row `target`, in an address field: `shift` (low address bit
    that it holds), `low`, `mask` (bits in the word), `turn` (active low)."""

    row: int
    at: int
    target: int
    target_at: int
    shift: int
    low: int
    mask: int
    turn: int

    def bits(self, address: int) -> int:
        """The stored bits of the field, in their place, when the target stands at `address`."""
        return (address >> self.shift & self.mask ^ self.turn) << self.low


class _Masks(NamedTuple):
    """Bits of a store's word: that must stay, that may only go from 1 to 0, that may only go from 0 to 1."""

    stay: int
    fall: int
    rise: int

    def fits(self, burned: int, wanted: int, over: int) -> bool:
        """True when `wanted` can come of `burned`, as far as the bits `over` are concerned."""
        change = (burned ^ wanted) & over
        return not (change & self.stay or change & self.fall & wanted or change & self.rise & burned)


class Confined:
    """One program over what is in the sockets; `search` may be called for many sets of chips."""

    def __init__(self, machine: Machine, program: Program, in_sockets: Mapping[str, tuple[int, ...]],
                 near: Sequence[int]) -> None:
        """`near`: for every word the address that is tried first."""
        self._machine, self._program, self._burnt = machine, program, in_sockets
        self.near = near
        self._columns = {name: _columns(in_sockets[name], store.bits) for name, store in machine.stores.items()}
        self._derived = {name: sum(machine.fields[field].mask for field in store.fields
                                   if machine.fields[field].holds == "derived")
                         for name, store in machine.stores.items()}
        leading = {(entry.store, program.words[program.labels[entry.target]].store) for entry in program.entries}
        self._ways = {(of, to): mapped(machine, of, machine.stores[to].address_width) for of, to in leading}
        self._rows: list[_Row] = []
        self._row_of: dict[int, tuple[int, int]] = {}
        self._find_rows()
        self._copied = _may_be_copied(machine, program, self._rows, self._ways)
        self._ties = self._find_ties()
        self._by_row: dict[int, list[_Tie]] = {}
        for tie in self._ties:
            for row in {tie.row, tie.target}:
                self._by_row.setdefault(row, []).append(tie)

    def _find_rows(self) -> None:
        """Rows by what must follow what."""
        words = self._program.words
        ends = ends_of_runs(words)
        start = 0
        while start < len(words):
            end = ends[start]
            self._row_of.update((index, (len(self._rows), index - start)) for index in range(start, end))
            self._rows.append(_Row(words[start].store, start, end - start))
            start = end

    def _find_ties(self) -> list[_Tie]:
        ties: list[_Tie] = []
        for index, (row, at) in self._row_of.items():
            for name, target in self._program.words[index].targets:
                field = self._machine.fields[name]
                named = target_words(self._program, index, target)[0]
                if named not in self._copied:
                    _, shift = field.address_bits
                    mask = (1 << field.width) - 1
                    turn = mask if field.active_low else 0
                    ties.append(_Tie(row, at, *self._row_of[named], shift, field.low, mask, turn))
        return ties

    # ------------------------------------------------------------ one set of chips

    def search(self, allowed: Allowed) -> dict[int, int] | None:
        """Word -> address with nothing touched but what is allowed; None when there is no such thing. Raises
        Unsettled."""
        masks = {store: self._masks(store, allowed) for store in self._machine.stores}
        for store, computed in self._program.computed.items():
            both = zip(self._burnt[store], computed)
            if not all(masks[store].fits(there, word, -1) for there, word in both):
                return None
        index: _Index = {}
        domains = [self._domain(row, masks[row.store], index) for row in self._rows]
        self._lead(domains, masks)
        self._narrow(domains, masks)
        wanted = {store: self._must_be_taken(store, masks[store]) for store in self._machine.stores}
        for store, places in wanted.items():
            covered = 0
            for row, domain in zip(self._rows, domains):
                if row.store == store:
                    for at in range(row.length):
                        covered |= domain << at
            if places & ~covered:
                return None
        return _Assigning(self, domains, masks, wanted).run()

    def _must_be_taken(self, store: str, masks: _Masks) -> int:
        """The addresses at which what is burned cannot become an unused word."""
        unused = self._program.unused.get(store)
        if unused is None or self._copied:
            return 0
        over = self.over(unused)
        burned = self._burnt[store]
        return sum(1 << address for address in range(self._machine.stores[store].words)
                   if not masks.fits(burned[address], unused.bits, over))

    def _masks(self, store: str, allowed: Allowed) -> _Masks:
        stay = fall = rise = 0
        for chip in self._machine.chips.values():
            bits = sum(1 << pin.bit for bank in chip.banks if bank.store == store
                       for pin in bank.pins if pin.bit is not None)
            turned = sum(1 << pin.bit for bank in chip.banks if bank.store == store
                         for pin in bank.pins if pin.bit is not None and pin.inverted)
            if chip.name not in allowed.touched:
                stay |= bits
            elif chip.name not in allowed.erased and chip.technology != "eeprom":
                falling = bits & ~turned if chip.erased else bits & turned
                fall |= falling
                rise |= bits & ~falling
        return _Masks(stay, fall, rise)

    def over(self, word: Microinstruction) -> int:
        """The bits of a word that are known before anything has an address."""
        blind = word.open | self._derived[word.store]
        for name, _ in word.targets:
            blind |= self._machine.fields[name].mask
        return ~blind

    def _domain(self, row: _Row, masks: _Masks, index: _Index) -> int:
        """The addresses at which a row may begin, as a set of bits."""
        size = self._machine.stores[row.store].words
        found = -1
        for at in range(row.length):
            word = self._program.words[row.first + at]
            over, bits = self.over(word), word.bits
            places = self._where(row.store, size, masks.stay & over, index).get(bits & masks.stay & over, 0)
            for bit in members(bits & masks.fall & over):         # a bit that cannot rise must be 1 already
                places &= self._columns[row.store][bit]
            for bit in members(~bits & masks.rise & over):        # one that cannot fall must be 0
                places &= ~self._columns[row.store][bit]
            if any(not places >> address & 1 for address in word.fixed):
                return 0
            if word.fixed and not at:           # a later one that is fixed may stand there beside its row
                places = 1 << word.fixed[0]
            found &= places >> at
        return found

    def _where(self, store: str, size: int, mask: int, index: _Index) -> dict[int, int]:
        """Burnt bits under a mask -> the addresses that have them."""
        found = index.get((store, mask))
        if found is None:
            found = index[store, mask] = {}
            for address, word in enumerate(self._burnt[store][:size]):
                found[word & mask] = found.get(word & mask, 0) | 1 << address
        return found

    def _lead(self, domains: list[int], masks: dict[str, _Masks]) -> None:
        """Mapping stores say where instructions begin."""
        for entry in self._program.entries:
            named = self._program.labels[entry.target]
            if named in self._copied:
                continue
            row, at = self._row_of[named]
            mask, burned = masks[entry.store], self._burnt[entry.store][entry.address]
            way = self._ways[entry.store, self._rows[row].store]
            if way.zeros | way.ones or mask.stay | mask.fall | mask.rise:
                domains[row] = sum(1 << base for base in members(domains[row])
                                   if (value := way.value(base + at)) is not None
                                   and mask.fits(burned, value, -1))

    def tie_holds(self, tie: _Tie, base: int, target_base: int, masks: dict[str, _Masks]) -> bool:
        store = self._rows[tie.row].store
        burned = self._burnt[store][base + tie.at]
        return masks[store].fits(burned, tie.bits(target_base + tie.target_at), tie.mask << tie.low)

    def _narrow(self, domains: list[int], masks: dict[str, _Masks]) -> None:
        """Take places away that no place of the other row of a tie goes with, until nothing more goes."""
        waiting = dict.fromkeys(self._ties)
        while waiting:
            tie, _ = waiting.popitem()
            mask = masks[self._rows[tie.row].store]
            sources, targets = domains[tie.row], domains[tie.target]
            if not (mask.stay | mask.fall | mask.rise) & tie.mask << tie.low or tie.row == tie.target or (
                    sources.bit_count() * targets.bit_count() > WIDEST_TIE):
                continue
            kept, kept_targets, others = 0, 0, list(members(targets))
            for base in members(sources):
                for other in others:
                    if self.tie_holds(tie, base, other, masks):
                        kept |= 1 << base
                        kept_targets |= 1 << other
            for row, left in ((tie.row, kept), (tie.target, kept_targets)):
                if left != domains[row]:
                    domains[row] = left
                    waiting.update(dict.fromkeys(self._by_row[row]))


def _may_be_copied(machine: Machine, program: Program, rows: Sequence[_Row],
                   ways: Mapping[tuple[str, str], Mapped]) -> frozenset[int]:
    """Words that may stand more often than their row does: what is asked of a place asks for a word and for what
    follows it, and one place may not be enough for a row of which two things are asked."""
    asked: dict[int, set[object]] = {}
    for index, source, target in [(index, word, target) for index, word in everyone(program)
                                  for _, target in word.targets]:
        named = target_words(program, index, target)
        width = machine.stores[program.words[named[0]].store].address_width
        zeros = reach_of(machine.fields, source, target, width).zeros
        if zeros:
            for value, word in enumerate(named):
                asked.setdefault(word, set()).add((named, zeros, value))
    for entry in program.entries:
        word = program.labels[entry.target]
        way = ways[entry.store, program.words[word].store]
        if way.zeros | way.ones:
            asked.setdefault(word, set()).add((way.zeros, way.ones))
    for body in program.bodies:
        if body.align:
            asked.setdefault(body.first, set()).add(body.align)
    found: set[int] = set()
    for row in rows:
        here = [word for word in range(row.first, row.first + row.length)
                for _ in [*asked.get(word, ()), *_fixed_by_itself(program, row, word)]]
        if len(here) > 1 or (here and here[0] > row.first):
            found.update(range(here[0], row.first + row.length))
    return frozenset(found)


def _fixed_by_itself(program: Program, row: _Row, word: int) -> tuple[int, ...]:
    """The addresses of a fixed word; none where it stands there anyway, because the first of its row is fixed."""
    own = program.words[word].fixed
    behind = tuple([address + word - row.first for address in program.words[row.first].fixed])
    return () if word != row.first and own == behind else own


def _columns(words: Sequence[int], bits: int) -> list[int]:
    """For each bit the set of addresses at which it is 1."""
    return [int("".join("1" if word >> bit & 1 else "0" for word in reversed(words)), 2) for bit in range(bits)]


class _Assigning:
    """Rows get places, those with the fewest first; places where nothing changes at all before others."""

    def __init__(self, confined: Confined, domains: list[int], masks: dict[str, _Masks],
                 wanted: dict[str, int]) -> None:
        self._confined, self._domains, self._masks, self._wanted = confined, domains, masks, wanted
        self._rows, self._ties = confined._rows, confined._by_row
        self._taken: set[tuple[str, int]] = set()
        self._bases: dict[int, int] = {}
        self._steps = 0

    def run(self) -> dict[int, int] | None:
        order = sorted(range(len(self._rows)), key=lambda row: (self._domains[row].bit_count(), row))
        if not order:
            return {}
        choices = [self._candidates(order[0])]
        while choices:
            number = order[len(choices) - 1]
            self._free(number)
            base = next((base for base in choices[-1] if self._may(number, base)), None)
            if base is None:
                choices.pop()
                continue
            self._take(number, base)
            if len(choices) < len(order):
                choices.append(self._candidates(order[len(choices)]))
            elif self._all_taken():
                return {row.first + at: self._bases[number] + at for number, row in enumerate(self._rows)
                        for at in range(row.length)}
        return None

    def _all_taken(self) -> bool:
        return all((store, address) in self._taken for store, places in self._wanted.items()
                   for address in members(places))

    def _candidates(self, number: int) -> Iterator[int]:
        """Places of a row: where it stands already, then what must be taken, then from the lowest up."""
        row, domain = self._rows[number], self._domains[number]
        near, wanted = 1 << self._confined.near[row.first], self._wanted[row.store]
        yield from members(domain & near)
        yield from members(domain & ~near & wanted)
        yield from members(domain & ~near & ~wanted)

    def _may(self, number: int, base: int) -> bool:
        self._steps += 1
        if self._steps > MOST_STEPS:
            raise Unsettled
        row = self._rows[number]
        if any((row.store, base + at) in self._taken for at in range(row.length)):
            return False
        return all(self._holds(tie, number, base) for tie in self._ties.get(number, ()))

    def _holds(self, tie: _Tie, number: int, base: int) -> bool:
        source = base if tie.row == number else self._bases.get(tie.row)
        target = base if tie.target == number else self._bases.get(tie.target)
        return source is None or target is None or self._confined.tie_holds(tie, source, target, self._masks)

    def _take(self, number: int, base: int) -> None:
        row = self._rows[number]
        self._bases[number] = base
        for at in range(row.length):
            self._taken.add((row.store, base + at))

    def _free(self, number: int) -> None:
        base = self._bases.pop(number, None)
        if base is not None:
            row = self._rows[number]
            self._taken.difference_update((row.store, base + at) for at in range(row.length))
