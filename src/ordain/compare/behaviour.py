"""What behaves differently: for every way into the microprogram whether it does the same as before.

"The same" is proved: both control graphs are put into one partition (`joint`), and two entrances that end up in one
block do the same under every condition, however their words were moved, renamed, shared or copied.
"""

from collections.abc import Collection, Hashable, Iterable, Mapping
from typing import Literal, NamedTuple

from ordain.compare.computed import computed_unread
from ordain.compare.declared import in_new_codes
from ordain.compare.difference import Difference, effect_text, first_difference
from ordain.compare.joint import JointGraph
from ordain.compare.roots import Root, opcode_of
from ordain.machine.expression import Node, Not, substitute
from ordain.machine.model import Input, Memory, State

Status = Literal["same", "changed", "new", "gone"]


class ComparedUnit(NamedTuple):
    """One instruction (all opcodes of one title), wired place, row, boundary or reset.

    `title`: its present name, or its last one. `was`: the title that it had, or what stood at its opcodes, where that
    is another. `differing`: the opcodes that behave differently; `note` says what is not told by the status.
    `pairs`: nodes of both graphs, old and new, that are one entrance of it; `new_nodes`: all of the new one at which it
    is entered.
    """

    kind: str
    title: str
    store: str
    opcodes: tuple[int, ...]
    status: Status
    was: str
    differing: tuple[int, ...]
    note: str
    difference: Difference | None
    pairs: tuple[tuple[int, int], ...]
    new_nodes: tuple[int, ...]


class Behaviour(NamedTuple):
    """`units` in the order of kinds, then opcodes. `said`: which correspondences of names were used. `machine`: what
    differs about the machine whatever word is executed. `joint`: both graphs, for those who ask further."""

    units: tuple[ComparedUnit, ...]
    said: tuple[str, ...]
    machine: tuple[str, ...]
    joint: JointGraph


def behaviour(joint: JointGraph) -> Behaviour:
    """Compare every entrance of both sides."""
    units = [*_places(joint), *_rows(joint), *_instructions(joint)]
    return Behaviour(tuple(units), joint.common.correspondence.said, _machine_changes(joint), joint)


def _same(joint: JointGraph, old: Root, new: Root) -> bool:
    return joint.old_block[old.node] == joint.new_block[new.node]


# ---------------------------------------------------------------- entrances without an opcode


def _places(joint: JointGraph) -> list[ComparedUnit]:
    """Reset, boundaries and wired places."""
    before, after = (tuple(root for root in side.roots if root.kind == "reset") for side in joint.entered)
    units = [_place("reset", "", before, after, joint)]
    for old, new in joint.paired.places:
        titles = [root.title for root in old.roots]
        was = "" if new.roots[0].title in titles else titles[0]
        units.append(_place(new.roots[0].title, was, old.roots, new.roots, joint))
    for side, entrances in enumerate(joint.paired.alone):
        units += [_one_sided(entrance.roots[0], side) for entrance in entrances]
    return units


def _place(title: str, was: str, old: tuple[Root, ...], new: tuple[Root, ...], joint: JointGraph) -> ComparedUnit:
    """All copies of one side do the same, so the first speaks for all."""
    status: Status = "same" if _same(joint, old[0], new[0]) else "changed"
    return ComparedUnit(new[0].kind, title, "", (), status, was, (), "",
                        first_difference(joint, old[0].node, new[0].node),
                        tuple((ours.node, theirs.node) for ours, theirs in zip(old, new)),
                        tuple(root.node for root in new))


def _one_sided(root: Root, side: int) -> ComparedUnit:
    opcodes = () if root.opcode < 0 else (root.opcode,)
    return ComparedUnit(root.kind, root.title, root.store, opcodes, "new" if side else "gone", "", opcodes, "", None,
                        (), (root.node,) if side else ())


# ---------------------------------------------------------------- rows of mapping stores


def _rows(joint: JointGraph) -> list[ComparedUnit]:
    """Every place that a mapping store other than the instructions' own leads to: its rows are compared one by one."""
    units: list[ComparedUnit] = []
    old, new = _by_opcode(joint, "row")
    met = _by_new_numbers(joint, old, new)
    grouped: dict[tuple[str, str], list[tuple[str, int]]] = {}
    for key, roots in new.items():
        grouped.setdefault((key[0], _title(roots)), []).append(key)
    for (store, title), keys in grouped.items():
        fresh = [key for key in keys if key not in met]
        differing = [key for key in keys if key in met and not _all_same(joint, met[key], new[key])]
        status: Status = "new" if len(fresh) == len(keys) else "changed" if fresh or differing else "same"
        difference = _first_of(joint, [(met[key], new[key]) for key in differing])
        units.append(ComparedUnit("row", title, store, tuple(opcode for _, opcode in keys), status, "",
                                  tuple(opcode for _, opcode in differing), "", difference,
                                  _pairs(met, new, keys), _nodes(new, keys)))
    for key, roots in old.items():
        if key not in new:
            units.append(_one_sided(next(iter(roots.values())), 0))
    return units


Ways = dict[int, Root]
"""The roots of one opcode, by the number of the way to dispatch it."""

Dispatched = dict[tuple[str, int], Ways]
"""(store, opcode) -> its roots."""


def _by_opcode(joint: JointGraph, kind: str) -> tuple[Dispatched, Dispatched]:
    """The roots of one kind on both sides. Of several ways to dispatch an opcode, those that both sides have are
    compared; whoever comes to another one is told as changed by that. Where there is none, all ways count."""
    found: tuple[Dispatched, Dispatched] = ({}, {})
    for side, entered in enumerate(joint.entered):
        rows: Dispatched = {}
        for root in entered.roots:
            if root.kind == kind:
                way = joint.paired.ways[side][root.store, root.way]
                rows.setdefault((root.store, root.opcode), {}).setdefault(way, root)
        for key, ways in rows.items():
            common = sorted(way for way in ways if way >= 0) or sorted(ways)
            found[side][key] = {way: ways[way] for way in common}
    return found


def _by_new_numbers(joint: JointGraph, old: Dispatched, new: Dispatched) -> Dispatched:
    """What the old side does at each opcode of the new one: at the same levels of the same lines. Where fewer lines are
    told apart on one side, several opcodes of one belong to one of the other; of these the first counts that does
    something else. A number that only one side has is on that side alone."""
    lines = _common_lines(joint, dict.fromkeys(store for store, _ in old.keys() & new.keys()))
    meant: dict[Hashable, list[Ways]] = {}
    for key, roots in old.items():
        meant.setdefault(_levels(lines, 0, key), []).append(roots)
    result: Dispatched = {}
    for key, roots in new.items():
        found = meant.get(_levels(lines, 1, key)) if key in old else None
        if found is not None:
            result[key] = next((each for each in found if not _all_same(joint, each, roots)), found[0])
    return result


Lines = dict[str, list[list[tuple[Node, int, int]]]]
"""By store, per side: a line that both sides ask about, which bit of the opcode it is, and 1 where it is turned."""


def _common_lines(joint: JointGraph, stores: Iterable[str]) -> Lines:
    """Of stores of which the opcodes are not numbered alike on both sides."""
    terms, found = joint.common.terms, Lines()
    for store in stores:
        wholes = [opcode_of(side, store, terms) for side in joint.common.sides]
        if wholes[0] is not wholes[1]:
            lines = [[(bit.args[0], at, 1) if type(bit) is Not else (bit, at, 0)
                      for at, bit in enumerate(terms.slice(whole, at, at) for at in range(whole.width))]
                     for whole in wholes]
            both = {line for line, _, _ in lines[0]} & {line for line, _, _ in lines[1]}
            found[store] = [[one for one in row if one[0] in both] for row in lines]
    return found


def _levels(lines: Lines, side: int, key: tuple[str, int]) -> Hashable:
    """The levels of the lines that both sides ask about when they say this opcode of one side."""
    store, opcode = key
    return key if store not in lines else (store, frozenset(
        (line, opcode >> bit & 1 ^ turn) for line, bit, turn in lines[store][side]))


def _all_same(joint: JointGraph, old: Ways, new: Ways) -> bool:
    """Each way by itself: an opcode that only one side dispatches in some way is another there."""
    return old.keys() == new.keys() and all(_same(joint, root, new[way]) for way, root in old.items())


def _first_of(joint: JointGraph, pairs: list[tuple[Ways, Ways]]) -> Difference | None:
    for old, new in pairs:
        for way, root in old.items():
            difference = first_difference(joint, root.node, new[way].node) if way in new else None
            if difference is not None:
                return difference
    return None


def _pairs(met: Dispatched, new: Dispatched, keys: list[tuple[str, int]]) -> tuple[tuple[int, int], ...]:
    return tuple(dict.fromkeys((met[key][way].node, root.node) for key in keys if key in met
                               for way, root in new[key].items() if way in met[key]))


def _nodes(new: Dispatched, keys: list[tuple[str, int]]) -> tuple[int, ...]:
    return tuple(dict.fromkeys(root.node for key in keys for root in new[key].values()))


def _title(roots: Ways) -> str:
    return next(iter(roots.values())).title


# ---------------------------------------------------------------- instructions


def _instructions(joint: JointGraph) -> list[ComparedUnit]:
    """Instructions are known by their titles, and compared opcode by opcode."""
    old, new = _by_opcode(joint, "instruction")
    met = _by_new_numbers(joint, old, new)
    ours, theirs = _by_title(old), _by_title(new)
    was = {title: _title(met[keys[0]]) for title, keys in theirs.items() if title not in ours and keys[0] in met}
    renamed = {before for title, before in was.items() if before not in theirs and all(
        key in met and _title(met[key]) == before and _all_same(joint, met[key], new[key]) for key in theirs[title])}
    units = [_instruction(joint, title, keys, (old, met, new), (ours, theirs, renamed))
             for title, keys in theirs.items()]
    for title, keys in ours.items():
        if title not in theirs and title not in renamed:
            now = sorted({_title(new[key]) for key, roots in met.items() if _title(roots) == title})
            note = f"its opcode is now `{', '.join(now)}`" if now else ""
            units.append(ComparedUnit("instruction", title, keys[0][0], tuple(opcode for _, opcode in keys), "gone", "",
                                      (), note, None, (), ()))
    return sorted(units, key=lambda unit: (unit.store, unit.opcodes[0], unit.status))


def _by_title(dispatched: Dispatched) -> dict[str, list[tuple[str, int]]]:
    titles: dict[str, list[tuple[str, int]]] = {}
    for key, roots in dispatched.items():
        titles.setdefault(_title(roots), []).append(key)
    return titles


def _instruction(joint: JointGraph, title: str, keys: list[tuple[str, int]],
                 sides: tuple[Dispatched, Dispatched, Dispatched],
                 titles: tuple[dict[str, list[tuple[str, int]]], Collection[str], Collection[str]]) -> ComparedUnit:
    """`sides`: the old one by its own opcodes, and by those of the new one; the new one. `titles`: the old ones, the
    new ones, and the old ones that have another name now, so that nobody tells that they are gone."""
    old, met, new = sides
    ours, theirs, renamed = titles
    before = sorted({_title(met[key]) for key in keys if key in met})
    differing = [key for key in keys if key not in met or not _all_same(joint, met[key], new[key])]
    status: Status
    was = note = ""
    if title in ours:                               # an opcode whose instruction is gone is told as gone
        differing = [key for key in differing if key not in met or _title(met[key]) in (*theirs, *renamed)]
        status = "changed" if differing else "same"
        left = [key for key in ours[title] if key not in keys]
        gained = [key for key in differing if key in met and _title(met[key]) != title]
        if gained and left:
            moved = _all_same(joint, old[left[0]], new[gained[0]])
            note = (f"opcode {_hex(left)} is now {_hex(gained)}" + (", where it does the same" if moved else ""))
    elif not differing:
        status = "same"
        was = before[0] if len(before) == 1 and before[0] in renamed else ""
    else:
        status, was = "new", ", ".join(before)
    first = _first_of(joint, [(met[key], new[key]) for key in differing if key in met]) if status != "new" else None
    return ComparedUnit("instruction", title, keys[0][0], tuple(opcode for _, opcode in keys), status, was,
                        tuple(opcode for _, opcode in differing), note, first,
                        _pairs(met, new, keys), _nodes(new, keys))


def _hex(keys: list[tuple[str, int]]) -> str:
    return ", ".join(f"0x{opcode:02X}" for _, opcode in keys[:4]) + (", ..." if len(keys) > 4 else "")


# ---------------------------------------------------------------- the machine itself


def _machine_changes(joint: JointGraph) -> tuple[str, ...]:
    """What differs whatever word is executed."""
    found = [f"{effect_text(key)} has changed, whatever word is executed" for key in joint.common.agreed.machine]
    for side, key in joint.common.agreed.alone:
        found.append(f"{effect_text(key)}: only in the {('old', 'new')[side]} machine; elsewhere words that order "
                     "nothing about it are taken to leave it alone")
    old, new = (side.machine for side in joint.common.sides)
    for kind, ours, theirs in (("state", old.states, new.states), ("register", old.registers, new.registers)):
        for name, item in ours.items():
            other = theirs.get(name)
            if other is not None and item.reset != other.reset and name not in {
                    leaf.name for side in joint.common.sides for leaf in side.sequencing.pointers}:
                found.append(f"{kind} `{name}` starts as {_start(other.reset)}, was {_start(item.reset)}")
    for kind, had, has in (("state", old.states, new.states), ("input", old.inputs, new.inputs)):
        for name, many in _values(had).items():
            if many != _values(has).get(name, many):
                found.append(f"{kind} `{name}` has {_values(has)[name]} values, had {many}")
    for name, condition in old.conditions.items():
        if name in new.conditions and not _alike(joint, condition.value, new.conditions[name].value):
            found.append(f"condition `{name}` means something else; it is taken for the same line")
    computed = computed_unread(joint.common.sides, joint.common.terms)
    for name, ways in computed.both.items():
        if not any(_alike(joint, before, after) for before, after in ways):
            found.append(f"field `{name}` is computed in another way; nothing says where it leads")
    for name, side in computed.alone:
        found.append(f"field `{name}` is computed only in the {('old', 'new')[side]} machine; nothing says where it "
                     "leads")
    for name, memory in old.memories.items():
        its = new.memories.get(name)
        if its is not None and (memory.words, memory.bits) != (its.words, its.bits):
            found.append(f"memory `{name}` has {its.words} words of {its.bits} bits, had {memory.words} of "
                         f"{memory.bits}")
        if its is not None and _held(memory) != _held(its):
            found.append(f"memory `{name}` holds {_held(its)} at power-up, held {_held(memory)}")
    for name, bus in old.buses.items():
        if name in new.buses and bus.width != new.buses[name].width:
            found.append(f"bus `{name}` is {new.buses[name].width} bits wide, was {bus.width}")
        if name in new.buses and bus.undriven != new.buses[name].undriven:
            found.append(f"bus `{name}`: {new.buses[name].undriven.replace('-', ' ')}, "
                         f"was {bus.undriven.replace('-', ' ')}")
    return tuple(found)


def _held(memory: Memory) -> str:
    if isinstance(memory.holds, str):
        return memory.holds or "anything"
    return f'"{memory.holds.text}" from {memory.offset:X} on'


def _values(items: Mapping[str, State | Input]) -> dict[str, int]:
    """How many values each has that it can ever take."""
    return {name: len(item.codes) or 1 << item.width for name, item in items.items()}


def _alike(joint: JointGraph, old: Node | None, new: Node | None) -> bool:
    if old is None or new is None:
        return old is new
    common, machines = joint.common, [side.machine for side in joint.common.sides]
    fields = in_new_codes(machines[0], machines[1], common.correspondence.pairing, common.terms)
    return common.equal_terms.first(substitute(common.terms, (old,), fields)[0]) is common.equal_terms.first(new)


def _start(value: int | None) -> str:
    return "any value" if value is None else str(value)
