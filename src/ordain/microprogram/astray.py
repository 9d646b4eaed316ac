"""Every finished word held against the hardware: control can go where the text says, to the labels that it holds and on
to the words below it.

What forms the store's address is worked out for the next cycles (`ahead`). Where the field is a part of that, the
address of the label must be among what is left.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice, product

from ordain.machine.expression import Const, Join, Leaf, Node, leaves, substitute
from ordain.machine.leads import choices, leads, value_leaves
from ordain.machine.model import Machine
from ordain.microprogram.ahead import Ahead, may_be, parts
from ordain.microprogram.bodies import is_stepped
from ordain.microprogram.model import Microinstruction, Program, Target
from ordain.text.findings import Finding, Place, error
from ordain.text.source import Span


def astray(machine: Machine, program: Program, addresses: Sequence[tuple[int, ...]],
           words: Mapping[str, Mapping[int, int]], unused: Mapping[str, int | None]) -> list[Finding]:
    """Labels to which a finished word cannot lead, and words from which control cannot go on to the word below, as it
    was understood that it does. `addresses`: of every word; `words`, `unused`: what is to stand in each store."""
    sight = _Sight(machine)
    findings: list[Finding] = []
    for index, word in enumerate(program.words):
        if word.goes_on:
            findings += sight.gone_on(program, addresses, index, words[word.store])
        elif not is_stepped(machine.stores[word.store]) and index + 1 < len(program.words):
            findings += sight.moved_on(program, addresses, index, words[word.store])
        for name, target in word.targets:
            for address in addresses[index]:
                findings += sight.held(program, addresses, word, index, address, words[word.store][address], name,
                                       target)
    findings += _missed_steps(sight, program, addresses)
    findings += _missed_starts(sight, program)
    findings += _misled(sight, program, addresses, words)
    for store, resting in program.unused.items():
        bits = unused.get(store)
        if resting is not None and bits is not None:
            for name, target in resting.targets:
                free = _free_pages(machine, store, words[store], name)
                findings += next((wrong for place in (None, *free) if (wrong := list(sight.held(
                    program, addresses, resting, -1, place, bits, name, target)))), [])
    return list(dict.fromkeys(findings))


def _missed_steps(sight: "_Sight", program: Program, addresses: Sequence[tuple[int, ...]]) -> Iterator[Finding]:
    """Of each store that is addressed by instruction and step, the first step from which no word at all can bring
    control to the next one, though the text has words at both."""
    machine = sight.machine
    passed: dict[tuple[str, int], tuple[int, int]] = {}
    for index, after in program.following.items():
        word = program.words[index]
        step = machine.stores[word.store].step
        if after and step is not None:
            for address in addresses[index][:1]:
                number = (address & (1 << step[0] + 1) - 1) >> step[1]
                steps = machine.stores[word.store].steps
                if number in steps[:-1]:
                    passed.setdefault((word.store, steps.index(number)), (index, after[0]))
    told: set[str] = set()
    for (store, come), (index, after_it) in sorted(passed.items()):
        number, following = machine.stores[store].steps[come:come + 2]
        left = sight.stepped(store, number)
        if store not in told and not may_be(left, following):
            told.add(store)
            ways = sorted({str(way.value) if type(way) is Const else "" for way in choices(left)})
            there = f"on to step {' or '.join(ways)}" if all(ways) else "elsewhere"
            yield error(
                "goes-astray", f"no word brings control from step {number} to step {following}: the hardware goes "
                f"{there}", program.words[after_it].span, f"stands at step {following}",
                places=(Place(machine.stores[store].span, "what says which part of the address is the step"),
                        Place(program.words[index].span, f"stands at step {number}")),
                help="the n-th word of an instruction stands at step n: let the steps go up by one, with the lowest "
                     "bit last, or say in which order they come, `step ring in (0b001, 0b011, 0b111)`")


def _missed_starts(sight: "_Sight", program: Program) -> Iterator[Finding]:
    """Of each store with `starts at` the first instruction that the hardware sends elsewhere."""
    machine = sight.machine
    stores = {body.name: machine.stores[body.store] for body in program.bodies if body.kind == "instruction"}
    spans = {body.name: body.span for body in program.bodies if body.kind == "instruction"}
    told: set[str] = set()
    for use in program.opcodes:
        store = stores.get(use.title)
        if store is None or store.starts_at is None or store.opcode is None or store.name in told:
            continue
        known = parts(machine.terms, store.opcode, use.opcode)
        (leaf,) = leaves((store.starts_at,))
        [start] = substitute(machine.terms, (store.starts_at,), {leaf: machine.terms.const(use.opcode, leaf.width)})
        ways = substitute(machine.terms, sight.dispatches(store.name, leaves((store.opcode,))), known)
        if type(start) is Const and ways and not any(may_be(way, start.value) for way in ways):
            told.add(store.name)
            digits = (store.address_width + 3) // 4
            yield error(
                "goes-astray", f"opcode 0x{use.opcode:X} is said to start at 0x{start.value:0{digits}X}: the hardware "
                f"goes {_whither(ways, digits)}", store.span,
                f"`starts at` sends `{use.title}` to 0x{start.value:0{digits}X}",
                places=(Place(spans[use.title], "this instruction"),),
                help="say `starts at` as the next address has it where an instruction is dispatched")


def _whither(ways: Iterable[Node], digits: int) -> str:
    """Where the hardware goes, as far as that is known."""
    there = [way.value for way in ways if type(way) is Const]
    return f"on to 0x{min(there):0{digits}X}" if there else "elsewhere"


def _misled(sight: "_Sight", program: Program, addresses: Sequence[tuple[int, ...]],
            words: Mapping[str, Mapping[int, int]]) -> Iterator[Finding]:
    """Of each store of start addresses, or of rows of a map, the first cell whose word does not lead to what it is
    for."""
    told: set[str] = set()
    for cell in program.entries:
        first = program.labels[cell.target]
        store = sight.machine.stores[program.words[first].store]
        if cell.store in told:
            continue
        left = sight.sent(cell.store, cell.address, words[cell.store][cell.address], store.name)
        if left and not any(may_be(way, place) for way in left for place in addresses[first]):
            told.add(cell.store)
            digits = (store.address_width + 3) // 4
            yield error(
                "goes-astray", f"`{cell.store}` does not lead to `{cell.target}`: the hardware goes "
                f"{_whither(left, digits)}", cell.span,
                f"it stands at 0x{addresses[first][0]:0{digits}X}",
                places=(Place(sight.machine.stores[cell.store].span, "what leads there"),
                        Place(store.span, "what forms the address")),
                help="join what is wired beside it where the address is formed, `{entry, 0b0}`, and say lines that are "
                     "turned or crossed in the chips' addresses")


def _free_pages(machine: Machine, store: str, taken: Mapping[int, int], field: str) -> Iterator[int]:
    """The first cell in which nothing was placed of each page that a field with some bits of an address tells apart."""
    page = min(machine.fields[field].address_bits[0] + 1, machine.stores[store].address_width)
    for start in range(0, machine.stores[store].words, 1 << page):
        cells = range(start, min(start + (1 << page), machine.stores[store].words))
        yield from islice((address for address in cells if address not in taken), 1)


class _Sight:
    """Looks from words at what forms the address of a store in the next cycles."""

    def __init__(self, machine: Machine) -> None:
        self.machine, self.terms = machine, machine.terms
        self._ahead = Ahead(machine)
        self._leads = leads(machine)
        self._going: dict[object, tuple[Node, Node, bool]] = {}
        self._moving: dict[object, list[Node]] = {}

    def held(self, program: Program, addresses: Sequence[tuple[int, ...]], word: Microinstruction, index: int,
             address: int | None, bits: int, name: str, target: Target) -> Iterator[Finding]:
        named = [program.labels[label] for label in target.labels] or [index + 1]
        into = self._leads.get(name, ())
        for label, one in zip(target.labels, named) if into else ():
            if program.words[one].store not in into:
                yield self._in_another_store(name, into, label, program.words[one].store, target.span)
                return
        store = program.words[named[0]].store
        through = self._ahead.through(word.store, bits, name, store)
        if through is None:
            return
        field = self.machine.fields[name]
        known: dict[Node, Node] = {self._ahead.leaf(name): self.terms.const(field.read(bits), field.width)}
        if address is not None:
            known.update(self._ahead.place(word.store, address))
        [left] = substitute(self.terms, (through.address,), known)
        places = [place for one in named for place in addresses[one]]
        if any(may_be(left, place) for place in places):
            return
        what = f"`{target.labels[0]}`" if target.labels else "the following word"
        digits = (self.machine.stores[store].address_width + 3) // 4
        here = "" if address is None else f" from 0x{address:0{digits}X}"
        part = field.address_bits[1] > 0 or field.address_bits[0] + 1 < self.machine.stores[store].address_width
        yield error(
            "goes-astray", f"`{name}` does not lead to {what}{here}: the hardware goes {_whither((left,), digits)}",
            target.span,
            f"{what} stands at {', '.join(f'0x{place:0{digits}X}' for place in places[:3])}",
            places=(Place(self.machine.stores[store].span, "what forms the address"),),
            help=_way_out(name, part, index < 0, target))

    def _in_another_store(self, name: str, into: Sequence[str], label: str, store: str, span: Span) -> Finding:
        stores = " and ".join(f"`{each}`" for each in into)
        return error(
            "goes-astray", f"`{name}` is a part of the address of {stores}, and `{label}` stands in `{store}`", span,
            "a word of another store", places=(Place(self.machine.fields[name].span, f"`{name}` is declared here"),),
            help=f"name a word of {stores}")

    def gone_on(self, program: Program, addresses: Sequence[tuple[int, ...]], index: int,
                words: Mapping[int, int]) -> Iterator[Finding]:
        """The words below a word, held against the address to which it counts on."""
        word = program.words[index]
        for address, (on_its_way, ahead) in product(addresses[index], word.goes_on):
            below = index + ahead
            place, going, counts = self._going_on(word.store, words[address], on_its_way, ahead - on_its_way)
            if counts or below >= len(addresses) or program.words[below].owner != word.owner:
                continue
            known = self._ahead.place(word.store, address)
            heres = addresses[index + on_its_way] if on_its_way else (address,)
            left = [substitute(self.terms, (going,), {**known, **parts(self.terms, place, here)})[0] for here in heres]
            if not any(may_be(one, there) for one in left for there in addresses[below]):
                yield self._not_below(program, addresses, index + on_its_way, below, heres[0], left[0],
                                      "write what counts as the last part of the address, its lowest bit last, and "
                                      "what counts with its carry before it")
                return

    def moved_on(self, program: Program, addresses: Sequence[tuple[int, ...]], index: int,
                 words: Mapping[int, int]) -> Iterator[Finding]:
        """The same of a word of which it was not understood that it counts on, where what forms the address makes
        another one of it all the same: a shift, lines that are turned. What a field of the word is put to, or what
        only keeps lines as they are, is no going on."""
        word = program.words[index]
        if program.words[index + 1].owner != word.owner or program.words[index + 1].store != word.store:
            return
        for address in addresses[index]:
            for way in self._moves(word.store, words[address]):
                [left] = substitute(self.terms, (way,), self._ahead.place(word.store, address))
                if not any(may_be(left, there) for there in addresses[index + 1]):
                    yield self._not_below(program, addresses, index, index + 1, address, left,
                                          "write the store's address as it is counted up, and turn or swap the lines "
                                          "in the chips' addresses; put each word `at` its address where something "
                                          "else steps")
                    return

    def _moves(self, store: str, bits: int) -> list[Node]:
        """The next addresses that the hardware makes of the one that is presented. Of one that is chosen between states
        nothing is said: what is chosen next is no part of what is presented now."""
        place, node = self._ahead.addresses(store, 1)
        if len(self._ahead.ways(place)) > 1:
            return []
        forming = self._ahead.forming(node)
        known = self._said(bits, [leaf for leaf in self._ahead.decided(store, node) if leaf not in forming])
        key = store, *known.items()
        if key not in self._moving:
            [left] = substitute(self.terms, (node,), known)
            own = {leaf for leaf in leaves((place,)) if leaf.kind in ("state", "register")}
            self._moving[key] = [way for way in self._ahead.ways(left)
                                 if not any(leaf.kind in ("field", "word") for leaf in value_leaves(way))
                                 and self._moved(place, way, own)]
        return self._moving[key]

    def _said(self, bits: int, decided: Iterable[Leaf]) -> dict[Node, Node]:
        """What a word with these bits says of leaves that it decides."""
        fields = self.machine.fields
        return {leaf: self.terms.const(bits if leaf.kind == "word" else fields[leaf.name].read(bits), leaf.width)
                for leaf in decided}

    def _moved(self, place: Node, way: Node, own: set[Leaf]) -> bool:
        at = way.width
        for part in way.args if type(way) is Join else (way,):
            at -= part.width
            if not own.isdisjoint(value_leaves(part)) and part is not self.terms.slice(place, at + part.width - 1, at):
                return True
        return False

    def _not_below(self, program: Program, addresses: Sequence[tuple[int, ...]], index: int, below: int, here: int,
                   left: Node, way_out: str) -> Finding:
        store = self.machine.stores[program.words[index].store]
        digits = (store.address_width + 3) // 4
        return error(
            "goes-astray", f"control does not go on to the word below from 0x{here:0{digits}X}: the hardware goes "
            f"{_whither((left,), digits)}", program.words[index].span,
            f"the word below stands at 0x{addresses[below][0]:0{digits}X}",
            places=(Place(store.span, "what forms the address"),),
            help=f"{way_out}; or let every word name the next one, with a field that is `idle following`")

    def dispatches(self, store: str, opcode: Sequence[Leaf]) -> tuple[Node, ...]:
        """The addresses of which the opcode is a part, in the first cycle ahead in which there are any."""
        for node in self._ahead.addresses(store):
            found = tuple(way for way in choices(node) if not set(value_leaves(way)).isdisjoint(opcode))
            if found:
                return found
        return ()

    def sent(self, mapping: str, address: int, word: int, store: str) -> tuple[Node, ...]:
        """The addresses of a store of which a word of a mapping store is a part, in the first cycle ahead in which
        there are any. `address`: where the word stands."""
        leaf = self.terms.leaf("word", mapping, self.machine.stores[mapping].bits)
        known = {leaf: self.terms.const(word, leaf.width), **self._ahead.place(mapping, address)}
        for node in self._ahead.addresses(store):
            found = tuple(way for way in self._ahead.ways(node) if leaf in value_leaves(way))
            if found:
                return substitute(self.terms, found, known)
        return ()

    def stepped(self, store: str, number: int) -> Node:
        """The step in the cycle after step `number`, whatever the word there says."""
        step = self.machine.stores[store].step
        assert step is not None
        now, later = (self.terms.slice(node, *step) for node in self._ahead.addresses(store, 1))
        return substitute(self.terms, (later,), parts(self.terms, now, number))[0]

    def _going_on(self, store: str, bits: int, delay: int, ahead: int) -> tuple[Node, Node, bool]:
        """The address after so many cycles, and a cycle later, over what the word leaves open now; and whether the
        first one plus `ahead` is among the values of the second as it stands: then places need not be tried."""
        node = self._ahead.addresses(store, delay + 1)[delay + 1]
        known = self._said(bits, self._ahead.decided(store, node))
        key = store, delay, ahead, *known.items()
        if key not in self._going:
            place = self._ahead.addresses(store, delay)[delay]
            [going] = substitute(self.terms, (node,), known)
            added = self.terms.add(place, self.terms.const(ahead, place.width))
            self._going[key] = place, going, type(place) is Leaf and added in choices(going)
        return self._going[key]

def _way_out(name: str, part: bool, unused: bool, target: Target) -> str:
    if part and unused:
        return (f"`unused` is one word for all pages: write a number, `{name} 0`, and place a word there in each page, "
                "or leave no cell free in the others")
    if part and target.rest == "zeros":
        return (f"`{name}` holds only some bits of the address; where the hardware takes the others from the word's "
                "own place, say `page(...)`, and `part(...)` where a register has them")
    return "correct the word, or what the machine file says of the next address"
