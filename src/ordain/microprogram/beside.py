"""What flip-flops beside the counter hold when a word is obeyed, and what the row says that it picks in another store,
where these have a part in whether control goes on.

A word that skips sets a flip-flop, and the next one does nothing; a jump is taken a word later than it is read; of two
rows that make one microinstruction the second one decides. Whether control can go on past the last word of a body is
then not said by that word alone. Here the words of a store are gone through as control does, with what the flip-flops
hold. Wherever control may come from elsewhere, they hold whatever any word leaves in them that sends it elsewhere.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate, product
from typing import NamedTuple

from ordain.machine.expression import Cell, If, Join, Leaf, Node, Slice, leaves, postorder, substitute
from ordain.machine.leads import choices, value_leaves
from ordain.machine.model import Machine
from ordain.microprogram.bodies import BodyPlan
from ordain.microprogram.layout import Layout
from ordain.microprogram.model import Microinstruction
from ordain.microprogram.stepping import Counter, becomes, steps_of
from ordain.microprogram.sums import offsets, sums
from ordain.microprogram.survey import written_in_fields
from ordain.microprogram.tables import address_columns, numbers, work_out
from ordain.text.source import Span

_MOST_BITS = 8
"""Of flip-flops that are followed, and of what else has a part in it and is tried."""


class Beside(NamedTuple):
    """`held`: the flip-flops. `picking`: the fields that pick a row of another store by its whole address, with that
    store. `following`: the next address; `later`: what they hold then, joined. `resting`: at power-up. `kept`: what
    else may keep an address, to come back to."""

    held: tuple[Leaf, ...]
    picking: dict[str, str]
    following: Node
    later: Node
    resting: frozenset[int]
    kept: tuple[Node, ...]

    def parts(self, machine: Machine) -> dict[str, Span]:
        """What has a part in the next address, with where it is declared."""
        names = {leaf.name for leaf in self.held}
        asked = {leaf.name for leaf in _asked(self.following) if leaf.kind == "field"}
        found = {state.name: state.span for state in machine.states.values() if state.name in names}
        found |= {register.name: register.span for register in machine.registers.values() if register.name in names}
        return found | {field.name: field.span for field in machine.fields.values()
                        if field.name in asked and field.store in self.picking.values()}


class _Way(NamedTuple):
    """One way on. `further`: so many words; 0 is the same one, None elsewhere. `held`: by the flip-flops then."""

    further: int | None
    held: frozenset[int]


def beside(machine: Machine, layout: Layout, counter: Counter) -> Beside | None:
    """The flip-flops of a store; None where there are none, or the address is formed in a way that is not followed."""
    terms = machine.terms
    [place, *more] = counter.place
    if counter.delay or more or type(place) is not Leaf or not place.name:
        return None
    next_address = counter.following[0] if place.kind == "state" else becomes(machine, place)
    following = written_in_fields(machine, layout.fields, next_address)
    found: dict[Leaf, Node] = {}
    waiting = list(_asked(following))
    while waiting:
        leaf = waiting.pop()
        if leaf is not place and leaf not in found and leaf.kind in ("state", "register"):
            if sum(each.width for each in found) + leaf.width > _MOST_BITS:
                continue                            # it may be anything
            found[leaf] = written_in_fields(machine, layout.fields, becomes(machine, leaf))
            waiting += leaves((found[leaf],))
    picking = {store.address.name: store.name for store in machine.stores.values()
               if store.fill == "microprogram" and type(store.address) is Leaf and store.address.kind == "field"
               and store.address.name in layout.fields}
    read = {machine.fields[leaf.name].store for leaf in leaves((following, *found.values())) if leaf.kind == "field"}
    if not found and read.isdisjoint(picking.values()):
        return None
    held = tuple(found)
    resets = [_resting(machine, leaf) for leaf in held]
    resting = frozenset(_joined(held, values) for values in product(*resets))
    kept = tuple(node for leaf in _keeping(machine) if leaf is not place and leaf not in found
                 if place in value_leaves(node := becomes(machine, leaf)))
    later = terms.join([found[leaf] for leaf in held]) if held else terms.const(0, 1)
    return Beside(held, picking, following, later, resting, kept)


def never_past(machine: Machine, layout: Layout, counter: Counter, found: Beside, plans: Sequence[BodyPlan],
               words: Sequence[Microinstruction], labels: Mapping[str, int]) -> frozenset[int]:
    """The words, of all bodies of a store, from which control does not go on past the end of their body. `words`,
    `labels`: of all stores."""
    walk = _Walk(machine, layout, counter, found, words, labels)
    elsewhere = set(found.resting)
    entries = {index for plan in plans for index in _entries(walk, plan, words)}
    bodies = {index: plan for plan in plans for index in range(plan.first, plan.end)}
    past: set[int] = set()
    seen: set[tuple[int, int]] = set()
    todo = list(product(sorted(entries), sorted(elsewhere)))
    while todo:
        index, held = todo.pop()
        if (index, held) in seen:
            continue
        seen.add((index, held))
        plan = bodies[index]
        for way in walk.ways(index, held):
            if way.further is None:
                new = way.held - elsewhere
                elsewhere |= new
                todo += product(sorted(entries), sorted(new))
            elif plan.first <= index + way.further < plan.end:
                todo += product((index + way.further,), sorted(way.held))
            elif way.further:
                past.add(index)
        for further in walk.kept(index, held):
            if index + further >= plan.end:
                past.add(index)
            elif index + further >= plan.first and index + further not in entries:
                entries.add(index + further)
                todo += product((index + further,), sorted(elsewhere))
    return frozenset({index for index, _ in seen} - past)


def _entries(walk: "_Walk", plan: BodyPlan, words: Sequence[Microinstruction]) -> Iterator[int]:
    """The words of a body to which control can come from elsewhere. Where one stands can be known without a label if
    the body stands at an address that is said, or is aligned, and hardware or a number makes such an address."""
    every = walk.makes_addresses and (plan.at is not None or plan.align > 1 or bool(words[plan.first].fixed))
    yield from (plan.first + number for number, word in enumerate(plan.words)
                if every or not number or word.label is not None)


class _Walk:
    """Where control goes from a word, by what the flip-flops hold."""

    def __init__(self, machine: Machine, layout: Layout, counter: Counter, found: Beside,
                 words: Sequence[Microinstruction], labels: Mapping[str, int]) -> None:
        self.machine, self.words, self.labels = machine, words, labels
        self.terms, self.layout, self.counter, self.found = machine.terms, layout, counter, found
        (place,) = counter.place
        assert type(place) is Leaf
        self.place = place
        self.makes_addresses = not all(self._as_labelled(way) for way in choices(found.following))
        self._known: dict[tuple[Node, ...], tuple[tuple[_Way, ...], tuple[int, ...]]] = {}
        # Many words say the same of control, and there are as many questions of each as values of the flip-flops.
        self._under: dict[int, tuple[Node, ...]] = {}
        self._held: dict[tuple[tuple[Node, ...], int], tuple[tuple[_Way, ...], tuple[int, ...]]] = {}
        self._steps: dict[int, tuple[int, ...]] = {}

    def ways(self, index: int, held: int) -> tuple[_Way, ...]:
        return self._of(index, held)[0]

    def kept(self, index: int, held: int) -> tuple[int, ...]:
        """How many words further an address may be that is kept to come back to."""
        if index not in self._steps:
            word = self.words[index]
            self._steps[index] = tuple(steps_of(self.terms, self.layout, self.counter, word.bits, word.open).kept)
        return (*self._steps[index], *self._of(index, held)[1])

    def _of(self, index: int, held: int) -> tuple[tuple[_Way, ...], tuple[int, ...]]:
        asked = self._under.get(index)
        if asked is None:
            asked = self._under[index] = substitute(
                self.terms, (self.found.following, self.found.later, *self.found.kept), self._said(self.words[index]))
        found = self._held.get((asked, held))
        if found is None:
            found = self._held[asked, held] = self._told(substitute(self.terms, asked, self._flip_flops(held)))
        return found

    def _told(self, key: tuple[Node, ...]) -> tuple[tuple[_Way, ...], tuple[int, ...]]:
        if key not in self._known:
            following, later, *kept = key
            ways = dict.fromkeys(way for one, other in self._cases(following, later) for way in self._ways(one, other))
            back = {further for node in kept for way in choices(node) for further in self._exactly(way)}
            self._known[key] = tuple(ways), tuple(sorted(back))
        return self._known[key]

    def _said(self, word: Microinstruction) -> dict[Node, Node]:
        """What the word and the rows that it picks say."""
        known = self._fields(word)
        for field, store in self.found.picking.items():
            row = self._row(word, field, store)
            if row is not None:
                known.update(self._fields(row))
        return known

    def _flip_flops(self, held: int) -> dict[Node, Node]:
        known: dict[Node, Node] = {}
        low = sum(leaf.width for leaf in self.found.held)
        for leaf in self.found.held:
            low -= leaf.width
            known[leaf] = self.terms.const(held >> low & (1 << leaf.width) - 1, leaf.width)
        return known

    def _fields(self, word: Microinstruction) -> dict[Node, Node]:
        """What a word says; nothing of labels, and of bits that are left open."""
        aimed = word.open
        for name, _ in word.targets:
            aimed |= self.machine.fields[name].mask
        fields = [self.machine.fields[name] for name in self.machine.stores[word.store].fields]
        return {self.terms.leaf("field", field.name, field.width): self.terms.const(
                    field.read(word.bits), field.width)
                for field in fields if field.holds not in ("derived", "spare") and not field.mask & aimed}

    def _row(self, word: Microinstruction, field: str, store: str) -> Microinstruction | None:
        """The word of another store that one picks, by a label or by the number at which it is said to stand."""
        aims = [target for name, target in word.targets if name == field]
        if aims:
            row = self.words[self.labels[aims[0].labels[0]]] if len(aims[0].labels) == 1 else None
            return row if row is not None and row.store == store else None
        number = self.machine.fields[field].read(word.bits)
        if self.machine.fields[field].mask & word.open:
            return None
        return next((row for row in self.words if row.store == store and number in row.fixed), None)

    def _cases(self, following: Node, later: Node) -> Iterator[tuple[Node, Node]]:
        """Both for all values of what else decides, where that is little: it decides about both at once."""
        free = [leaf for leaf in _asked(following) if leaf is not self.place]
        if sum(leaf.width for leaf in free) > _MOST_BITS:
            yield following, later
            return
        for values in product(*(range(1 << leaf.width) for leaf in free)):
            known: dict[Node, Node] = {leaf: self.terms.const(value, leaf.width) for leaf, value in zip(free, values)}
            one, other = substitute(self.terms, (following, later), known)
            yield one, other

    def _ways(self, following: Node, later: Node) -> Iterator[_Way]:
        held = _values(later)
        for way in choices(following):
            exactly = self._exactly(way)
            for further in exactly or sums(self.terms, (way,), (self.place,)):
                yield _Way(further, held)
            if not exactly and not self._beside_page(way):
                yield _Way(None, held)

    def _exactly(self, node: Node) -> frozenset[int]:
        """How many words further an address is, below 0 where it is one before; none of any other address."""
        half = 1 << node.width - 1
        return frozenset(one if one <= half else one - 2 * half for one in offsets(self.terms, node, self.place))

    def _beside_page(self, way: Node) -> bool:
        """Whether it is counted on in a page that stays."""
        return type(way) is Join and bool(sums(self.terms, way.args[-1:], (self.place,))) and all(
            type(part) is Slice and part.args[0] is self.place for part in way.args[:-1])

    def _as_labelled(self, way: Node) -> bool:
        """Whether an address is one that a label has, as it stands, or is counted on or kept."""
        if self._exactly(way) or self._beside_page(way):
            return True
        return all(type(part) is Leaf or (type(part) is Slice and part.args[0] is self.place)
                   for part in (way.args if type(way) is Join else (way,)))


def _asked(node: Node) -> list[Leaf]:
    """The leaves that decide between the values of a term, and are no part of these alone."""
    conditions = [part.args[0] for part in postorder((node,)) if type(part) is If]
    return leaves(conditions)


def _values(node: Node) -> frozenset[int]:
    """The values of a term, whatever its leaves are; of one over too many, all."""
    read = leaves((node,))
    width = sum(leaf.width for leaf in read)
    if width > _MOST_BITS or any(type(part) is Cell for part in postorder((node,))):
        return frozenset(range(1 << node.width))
    columns = address_columns(width)
    lines = {leaf: columns[at:at + leaf.width]
             for at, leaf in zip(accumulate((leaf.width for leaf in read), initial=0), read)}
    return frozenset(numbers(work_out(node, lines, (1 << (1 << width)) - 1), 1 << width))


def _joined(held: Sequence[Leaf], values: Sequence[int]) -> int:
    found = 0
    for leaf, value in zip(held, values):
        found = found << leaf.width | value
    return found


def _resting(machine: Machine, leaf: Leaf) -> Sequence[int]:
    reset = (machine.states[leaf.name] if leaf.kind == "state" else machine.registers[leaf.name]).reset
    return range(1 << leaf.width) if reset is None else (reset,)


def _keeping(machine: Machine) -> Iterator[Leaf]:
    nodes = [machine.terms.leaf("state", each.name, each.width) for each in machine.states.values()]
    nodes += [machine.terms.leaf("register", each.name, each.width) for each in machine.registers.values()]
    yield from (node for node in nodes if type(node) is Leaf)
