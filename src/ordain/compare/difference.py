"""Where two ways first part: the shortest sequence of cycles to a difference, and what differs there."""

from collections.abc import Iterator
from typing import NamedTuple

from ordain.compare.effects import Meaning
from ordain.compare.graph import GraphRow
from ordain.compare.joint import JointGraph
from ordain.compare.places import Addresses, ControlPlace
from ordain.compare.roots import Titles
from ordain.logic.diagrams import Functions
from ordain.machine.expression import Const, Leaf
from ordain.machine.model import Field, Machine


class Assignment(NamedTuple):
    """One thing that must be so in a cycle: bits `high` .. `low` of `name` are `value`. `code`: the value's name."""

    name: str
    width: int
    high: int
    low: int
    value: int
    code: str

    def __str__(self) -> str:
        if self.width == 1:
            return self.name if self.value else f"not {self.name}"
        if self.high - self.low + 1 == self.width:
            return f"{self.name} is {self.code or self.value}"
        bits = f"{self.high}" if self.high == self.low else f"{self.high}:{self.low}"
        return f"{self.name}[{bits}] is {self.value}"


class Passage(NamedTuple):
    """One cycle of the way: the words that act on each side, and what must be so for the way to go on like this."""

    old: Addresses
    new: Addresses
    when: tuple[Assignment, ...]


class Change(NamedTuple):
    """One thing that a cycle does otherwise. `what`: a field's name, or an effect in words; `old`, `new`: its value on
    each side, in the machine's own words; "" where that side has nothing to say."""

    what: str
    old: str
    new: str

    def __str__(self) -> str:
        if not self.old and not self.new:
            return self.what
        return f"{self.what}: {self.old or 'nothing'} -> {self.new or 'nothing'}"


class Difference(NamedTuple):
    """`way`: the cycles that are still alike. `cycle`: the number of the first that is not, from 1. `old`, `new`: the
    words of that cycle, () where that side's way has ended (`old_end`, `new_end`: where). `when`: what must be so in
    it. `changes`: what is done otherwise; empty where only the ways differ."""

    way: tuple[Passage, ...]
    cycle: int
    old: Addresses
    new: Addresses
    when: tuple[Assignment, ...]
    old_end: str
    new_end: str
    changes: tuple[Change, ...]


class Parting(NamedTuple):
    """A pair of nodes at which ways part, with the rows that differ; None where one of them is an end."""

    nodes: tuple[int, int]
    rows: tuple[GraphRow, GraphRow] | None
    guard: int


def first_difference(joint: JointGraph, old_node: int, new_node: int) -> Difference | None:
    """The shortest way to a difference between two nodes; None where they do the same. What an end leaves behind, such
    as where an interrupt goes back to, is told only where nothing shows it at once."""
    if joint.old_block[old_node] == joint.new_block[new_node]:
        return None
    graphs, both = joint.graphs, joint.common.functions.both
    start = (old_node, new_node)
    came: dict[tuple[int, int], tuple[tuple[int, int], GraphRow, GraphRow, int] | None] = {start: None}
    waiting = [start]
    kept: tuple[int, int] | None = None     # two ends that only what is left behind tells apart
    for pair in waiting:
        rows = graphs[0].rows[pair[0]], graphs[1].rows[pair[1]]
        ours_ended, theirs_ended = (joint.ended(side, node) for side, node in enumerate(pair))
        if ours_ended != theirs_ended:
            return _told(joint, came, Parting(pair, None, 1))
        if ours_ended is not None:              # nothing follows
            kept = kept or pair
        meeting = [(guard, ours, theirs) for ours in rows[0] for theirs in rows[1]
                   if (guard := both(ours.guard, theirs.guard))]
        for _, ours, theirs in meeting:
            if ours.does != theirs.does:
                return _told(joint, came, Parting(pair, (ours, theirs), _whenever(joint, meeting, ours, theirs)))
        for guard, ours, theirs in meeting:
            following = (ours.target, theirs.target)
            if following not in came and joint.old_block[ours.target] != joint.new_block[theirs.target]:
                came[following] = (pair, ours, theirs, guard)
                waiting.append(following)
    assert kept is not None, "nodes of two blocks, and no difference between them"
    return _told(joint, came, Parting(kept, None, 1))


def _whenever(joint: JointGraph, meeting: list[tuple[int, GraphRow, GraphRow]], ours: GraphRow,
              theirs: GraphRow) -> int:
    """The function that is 1 whenever just these two things are done, at whatever address, wherever it goes on to."""
    both = 0
    for guard, one, other in meeting:
        if (one.does, other.does) == (ours.does, theirs.does):
            both = joint.common.functions.either(both, guard)
    return both


def _told(joint: JointGraph, came: "dict[tuple[int, int], tuple[tuple[int, int], GraphRow, GraphRow, int] | None]",
          parting: Parting) -> Difference:
    way: list[Passage] = []
    step = came[parting.nodes]
    while step is not None:
        pair, ours, theirs, guard = step
        way.append(Passage(ours.addresses, theirs.addresses, literals(joint, guard)))
        step = came[pair]
    addresses = [row.addresses for row in parting.rows] if parting.rows is not None else [
        _first_words(joint, side, node) for side, node in enumerate(parting.nodes)]
    ends = ["" if words else title for words, title in zip(addresses, _end_titles(joint, parting.nodes))]
    return Difference(tuple(reversed(way)), len(way) + 1, addresses[0], addresses[1],
                      literals(joint, parting.guard), ends[0], ends[1], _changes(joint, parting))


def _end_titles(joint: JointGraph, nodes: tuple[int, int]) -> list[str]:
    """What people call two ends; of two boundaries that are not one, what stands there as well."""
    graphs = joint.graphs
    titles = [Titles(side) for side in joint.common.sides]
    found = [titles[side].of(node, graphs[side]) for side, node in enumerate(nodes)]
    homes = [graph.node(end.where) for graph, node in zip(graphs, nodes)
             if (end := graph.ends.get(node)) is not None and end.kind == "home"]
    if len(homes) == 2 and len({joint.ended(side, node) for side, node in enumerate(nodes)}) == 2:
        found = [f"{found[side]}, {titles[side].of(there, graphs[side])}" for side, there in enumerate(homes)]
    return found


def _first_words(joint: JointGraph, side: int, node: int) -> Addresses:
    rows = joint.graphs[side].rows[node]
    return rows[0].addresses if rows else ()


def literals(joint: JointGraph, guard: int) -> tuple[Assignment, ...]:
    """The fewest conditions under which a guard holds, as people name them."""
    return named(joint.common.functions, joint.common.sides[1].machine, guard)


def named(functions: Functions, machine: Machine, guard: int) -> tuple[Assignment, ...]:
    """The fewest conditions under which a guard holds. Terms that had to stay whole are left out."""
    levels: dict[Leaf, dict[int, int]] = {}
    for (leaf, bit), level in functions.example(guard).items():
        if type(leaf) is Leaf:
            levels.setdefault(leaf, {})[bit] = level
    called = {("state", name): state.codes for name, state in machine.states.items()}
    called.update({("input", name): item.codes for name, item in machine.inputs.items()})
    found: list[Assignment] = []
    for leaf, bits in levels.items():
        codes = called.get((leaf.kind, leaf.name), ())
        for high, low in _runs(sorted(bits, reverse=True)):
            value = sum(bits[bit] << bit - low for bit in range(low, high + 1))
            whole = high - low + 1 == leaf.width
            code = codes[value] if whole and value < len(codes) else ""
            found.append(Assignment(leaf.name, leaf.width, high, low, value, code))
    return tuple(sorted(found))


def _runs(bits: list[int]) -> list[tuple[int, int]]:
    """Neighbouring bits, highest first, as (high, low)."""
    runs: list[tuple[int, int]] = []
    for bit in bits:
        if runs and runs[-1][1] == bit + 1:
            runs[-1] = (runs[-1][0], bit)
        else:
            runs.append((bit, bit))
    return runs


# ---------------------------------------------------------------- what differs in a cycle


def _changes(joint: JointGraph, parting: Parting) -> tuple[Change, ...]:
    if parting.rows is None:
        return tuple(_left_behind(joint, *parting.nodes))
    ours, theirs = (_place(joint, side, node, row)
                    for side, (node, row) in enumerate(zip(parting.nodes, parting.rows)))
    return (*_field_changes(joint, ours, theirs), *_effect_changes(joint, ours, theirs))


def _left_behind(joint: JointGraph, old_node: int, new_node: int) -> Iterator[Change]:
    """What two ends hold otherwise: where somebody may return to, and what is asked about later."""
    ours, theirs = joint.graphs
    if old_node in ours.ends and new_node in theirs.ends:
        before, after = dict(ours.also.get(old_node, ())), dict(theirs.also.get(new_node, ()))
        for name in sorted({*before, *after}):
            old, new = before.get(name), after.get(name)
            if old is None or new is None or joint.old_block[old] != joint.new_block[new]:
                titles = ["" if node is None else Titles(side).of(node, graph)
                          for node, side, graph in zip((old, new), joint.common.sides, joint.graphs)]
                yield Change(name, *titles)
        kept, keeps = dict(ours.ends[old_node].left), dict(theirs.ends[new_node].left)
        for name in sorted({*kept, *keeps}):
            if kept.get(name) != keeps.get(name):
                yield Change(f"what is left in `{name}`", "", "")


def _place(joint: JointGraph, side: int, node: int, row: GraphRow) -> ControlPlace:
    """The place of which a row of a node was made."""
    graph, both = joint.graphs[side], joint.common.functions.both
    found = graph.places.at(graph.vectors[node])
    assert isinstance(found, list)
    return next(place for place in found if both(place.guard, row.guard))       # no two can act at once


def _field_changes(joint: JointGraph, ours: ControlPlace, theirs: ControlPlace) -> list[Change]:
    """Fields that are compared by their codes and have another one."""
    pairing = joint.common.correspondence.pairing
    changes: list[Change] = []
    values = [_values(joint, side, place) for side, place in enumerate((ours, theirs))]
    for name, (other, numbers) in pairing.values.items():
        old, new = joint.common.sides[0].machine.fields[name], joint.common.sides[1].machine.fields[other]
        if name in pairing.places[0]:
            continue
        before, after = values[0].get(name), values[1].get(other)
        ours_counts, theirs_counts = (None if value is None or pairing.left_to_effects(side, called, value) else value
                                      for side, called, value in ((0, name, before), (1, other, after)))
        expected = ours_counts if ours_counts is None or numbers is None else numbers.get(ours_counts, -1)
        if expected != theirs_counts:
            changes.append(Change(other, _code(old, before), _code(new, after)))
    for side, alone in enumerate((pairing.old_alone, pairing.new_alone)):
        for name in alone:
            field = joint.common.sides[side].machine.fields[name]
            value = values[side].get(name)
            if value is not None and value != field.idle and not pairing.left_to_effects(side, name, value):
                shown = _code(field, value)
                changes.append(Change(name, "" if side else shown, shown if side else ""))
    return changes


def _values(joint: JointGraph, side: int, place: ControlPlace) -> dict[str, int | None]:
    """The asserted value of every field of the words of a place; None where it is `idle any` and no order set it."""
    machine, contents = joint.common.sides[side].machine, joint.common.sides[side].contents
    values: dict[str, int | None] = {}
    for store, address in place.addresses:
        site = contents.sites.get(store, {}).get(address)
        open_bits = 0 if site is None else site.open
        for name in machine.stores[store].fields:
            low, mask, turn = joint.common.sides[side].readers[name]
            free = open_bits >> low & mask == mask
            values[name] = None if free else contents.words[store][address] >> low & mask ^ turn
    return values


def _code(field: Field, value: int | None) -> str:
    """A field's value by name, `any` where it does not matter."""
    if value is None:
        return "any"
    return next((code.name for code in field.codes if code.value == value), str(value))


_SAYING = {
    "drives": "`{1}` drives `{0}`", "puts": "what `{1}` puts on `{0}`", "takes": "`{1}` takes `{0}`",
    "strobes": "strobe `{0}`",
    "loads": "what `{0}` loads", "steps": "how `{0}` steps", "says": "what `{0}` says", "shows": "what `{0}` shows",
    "before": "what `{0}` asks of the cycle before",
    "means": "what condition `{0}` is",
    "lines": "what `{0}` shows on lines that nothing reads",
    "reads": "where `{0}` is read", "writes": "memory `{0}` is written",
    "written": "what is written to `{0}`, and where",
}


def effect_text(key: tuple[str, ...]) -> str:
    """An effect in words."""
    return _SAYING[key[0]].format(*key[1:])


def _effect_changes(joint: JointGraph, ours: ControlPlace, theirs: ControlPlace) -> list[Change]:
    """Effects that were evaluated because codes alone do not say them, and that differ."""
    before = joint.graphs[0].observer.one_by_one(ours)
    after = joint.graphs[1].observer.one_by_one(theirs)
    changes: list[Change] = []
    for number in sorted(before):           # both sides evaluate the same ones
        old, new = before[number], after[number]
        if old != new:
            key = joint.common.agreed.effects[number].key
            known = key[0] in ("drives", "takes", "strobes", "writes")
            was, now = (_how_often(old), _how_often(new)) if known else ("", "")
            changes.append(Change(effect_text(key), was, "at other times" if was == now == "at times" else now))
    return changes


def _how_often(meaning: Meaning) -> str:
    """How often something of one bit happens, whatever the conditions."""
    return ("never", "always")[meaning.value] if type(meaning) is Const else "at times"
