"""What an instruction does, as its paths say, in the form in which a meaning is written."""

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from ordain.control.phases import whole_cycles
from ordain.machine.expression import (
    Add,
    Among,
    And,
    Cell,
    Const,
    If,
    Join,
    Leaf,
    Node,
    Not,
    Or,
    Slice,
    Terms,
    postorder,
    substitute,
)
from ordain.machine.model import Machine
from ordain.machine.wording import CodeNames, code_names, words
from ordain.meaning.follow import Course, WrittenWord
from ordain.meaning.following import Following, NotFollowed
from ordain.meaning.lengths import length
from ordain.meaning.model import Telling
from ordain.meaning.said import holder

LONGEST = 1_000_000
SHORT = 14
"""Characters of a value that is written out again rather than given a name."""


class _Way(NamedTuple):
    """A path: what decided on it, bit by bit, what everything holds at its end, and what was written, the first
    first."""

    bits: Mapping[Node, int]
    values: Mapping[str, Node]
    writes: tuple[WrittenWord, ...]


def told(following: Following, title: str) -> Telling:
    """What the words of an instruction do to what is visible."""
    store, addresses = following.contents.labels[title]
    ways: list[_Way] = []
    cycles = 0
    try:
        for address in sorted(addresses):
            course = Course(following, address, store)
            if course.round:
                raise NotFollowed(f"it goes round at `{course.round}` as often as its data say")
            for path in course.paths:
                ways.append(_way(following, course, path.assumed, path.end))
                cycles = max(cycles, length(following, path.end))
        if not ways:
            raise NotFollowed("no path of it comes to a boundary")
    except NotFollowed as undecided:
        return Telling((), str(undecided), len(ways), cycles, ())
    ways = _without_common(ways)
    changes = _changes(following, ways)
    return Telling(tuple(_written_out(following.machine, changes)), "", len(ways),
                   whole_cycles(following.machine, cycles),
                   tuple(_scratch(following.machine, changes)))


def _way(following: Following, course: Course, assumed: Mapping[Node, Node], end: object) -> _Way:
    machine, terms, normal = following.machine, following.terms, following.normal
    path = next(one for one in course.paths if one.end is end)
    under: dict[Node, Node] = {**(course.start or {}), **assumed}
    values = {}
    for name in machine.visible:
        if name not in machine.memories:
            old = holder(machine, name)
            value, before = substitute(terms, (course.value(old, path.end), old), under)
            values[name] = normal.of(old if value is before else value)     # kept, though this path knows its bits
    writes = []
    for one in reversed(path.end.writes):
        if one.memory in machine.visible:
            said = tuple(node for node in (one.when, one.value, one.address) if node is not None)
            nodes = substitute(terms, said, under)
            when, value, *address = [normal.of(node) for node in nodes]
            if when is not terms.const(0, 1):
                writes.append(one._replace(when=when, value=value, address=address[0] if address else None))
    return _Way(_bits(terms, course.start or {}, assumed), values, tuple(writes))


def _bits(terms: Terms, start: Mapping[Node, Node], assumed: Mapping[Node, Node]) -> dict[Node, int]:
    """What decided, in conditions that are made of no others."""
    found: dict[Node, int] = {}
    for leaf, value in start.items():
        parts = value.args if type(value) is Join else (value,)
        top = leaf.width
        for part in parts:
            for bit in range(part.width) if type(part) is Const else ():
                at = top - part.width + bit
                found[terms.slice(leaf, at, at)] = part.value >> bit & 1 if type(part) is Const else 0
            top -= part.width
    for node, value in assumed.items():
        if node.width == 1 and type(value) is Const and type(node) is not Not \
                and not (type(node) is And and value.value) and not (type(node) is Or and not value.value):
            found[node] = value.value
    return found


def _without_common(ways: Sequence[_Way]) -> list[_Way]:
    """The ways without the conditions that all of them have alike."""
    common = {node for node, bit in ways[0].bits.items() if all(way.bits.get(node) == bit for way in ways)}
    return [way._replace(bits={node: bit for node, bit in way.bits.items() if node not in common}) for way in ways]


class _Change(NamedTuple):
    """`place`: the address of a word; `high`, `low`: bits, None for the whole. `value` None: undefined."""

    name: str
    place: Node | None
    bits: tuple[int, int] | None
    value: Node | None
    when: Node


def _changes(following: Following, ways: Sequence[_Way]) -> list[_Change]:
    machine, terms = following.machine, following.terms
    always = terms.const(1, 1)
    found: list[_Change] = []
    for name in machine.visible:
        if name in machine.memories:
            continue
        old = holder(machine, name)
        shown = terms.leaf("register", name, old.width) if name in machine.registers else old
        value = following.normal.of(_chosen(terms, ways, [way.values[name] for way in ways]))
        value = _without_sham_choices(terms, substitute(terms, (value,), {old: shown})[0])
        if value is not shown:
            found += _parts(machine, name, value, always)
    for name in machine.visible:
        if name in machine.memories:
            found += _writes(following, name, ways)
    return found


def _without_sham_choices(terms: Terms, value: Node) -> Node:
    """The same without choices that make no difference: of `0 if acc is 0 else acc` is left `acc`, since paths that
    have asked about a value know it."""
    made: dict[Node, Node] = {}
    for node in postorder((value,)):
        args = tuple([made[arg] for arg in node.args])
        made[node] = node if args == node.args else terms.rebuild(node, args)
        choice = made[node]
        if type(choice) is If:
            condition, yes, no = choice.args
            if substitute(terms, (no,), _holding(terms, condition, 1))[0] is yes:
                made[node] = no
            elif substitute(terms, (yes,), _holding(terms, condition, 0))[0] is no:
                made[node] = yes
    return made[value]


def _holding(terms: Terms, condition: Node, bit: int) -> dict[Node, Node]:
    """What is known where a condition is 1, or 0."""
    if type(condition) is Not:
        return _holding(terms, condition.args[0], 1 - bit)
    known: dict[Node, Node] = {condition: terms.const(bit, 1)}
    if type(condition) is (And if bit else Or):
        for part in condition.args:
            known.update(_holding(terms, part, bit))
    if type(condition) is Among and bit and len(condition.values) == 1:
        (only,) = condition.values
        known[condition.args[0]] = terms.const(only, condition.args[0].width)
    return known


def _parts(machine: Machine, name: str, value: Node, when: Node) -> list[_Change]:
    """The change of a whole register; of its parts where only some of them are known."""
    if _is_told(machine, value):
        return [_Change(name, None, None, value, when)]
    if type(value) is not Join:
        return [_Change(name, None, None, None, when)]
    found = []
    top = value.width
    for part in value.args:
        low = top - part.width
        found.append(_Change(name, None, (top - 1, low), part if _is_told(machine, part) else None, when))
        top = low
    return found


def _is_told(machine: Machine, node: Node) -> bool:
    """Whether a term is made of nothing but old values."""
    for part in postorder((node,)):
        if type(part) is Leaf and (part.kind not in ("register", "state") or (
                part.name not in machine.registers and part.name not in machine.states)):
            return False
        if type(part) is Cell and part.name not in machine.memories:
            return False
    return True


def _chosen(terms: Terms, ways: Sequence[_Way], values: Sequence[Node]) -> Node:
    """One term for what is so on each of the ways."""
    if all(value is values[0] for value in values):
        return values[0]
    for atom in ways[0].bits:
        if all(atom in way.bits for way in ways) and len({way.bits[atom] for way in ways}) == 2:
            chosen = {bit: [index for index, way in enumerate(ways) if way.bits[atom] == bit] for bit in (0, 1)}
            yes, no = (_chosen(terms, [ways[index] for index in chosen[bit]], [values[index] for index in chosen[bit]])
                       for bit in (1, 0))
            return terms.if_(atom, yes, no)
    found = values[-1]
    for way, value in reversed(list(zip(ways[:-1], values[:-1]))):
        found = terms.if_(_all(terms, way), value, found)
    return found


def _all(terms: Terms, way: _Way) -> Node:
    return terms.and_((terms.const(1, 1), *(atom if bit else terms.not_(atom) for atom, bit in way.bits.items())))


def _writes(following: Following, memory: str, ways: Sequence[_Way]) -> list[_Change]:
    machine, terms = following.machine, following.terms
    of_way = [[one for one in way.writes if one.memory == memory] for way in ways]
    alike = all([one[1:4] for one in writes] == [one[1:4] for one in of_way[0]] for writes in of_way)
    found = []
    for way, writes in [(None, of_way[0])] if alike else list(zip(ways, of_way)):
        for one in writes:
            when = one.when if way is None else terms.and_((one.when, _all(terms, way)))
            if one.address is None or not _is_told(machine, one.address) or not _is_told(machine, when):
                return [_Change(memory, None, None, None, terms.const(1, 1))]
            found.append(_Change(memory, one.address, None, one.value if _is_told(machine, one.value) else None, when))
    kept = {terms.leaf("state", f"{name} held", one.width): terms.leaf("register", name, one.width)
            for name, one in machine.registers.items() if one.transparent}
    if kept:
        found = [one._replace(place=None if one.place is None else substitute(terms, (one.place,), dict(kept))[0])
                 for one in found]
    return found


def _scratch(machine: Machine, changes: Iterable[_Change]) -> list[str]:
    nodes = [node for one in changes for node in (one.place, one.value, one.when) if node is not None]
    named = dict.fromkeys(part.name for part in postorder(nodes) if type(part) is Leaf)
    return [name for name in named if name not in machine.visible]


# ---------------------------------------------------------------- as text


def _written_out(machine: Machine, changes: Sequence[_Change]) -> list[str]:
    """Effects in the language; what is long and occurs again has a name."""
    terms, names = machine.terms, code_names(machine)
    changes = [one._replace(place=_plain(terms, one.place), value=_plain(terms, one.value),
                            when=_plain(terms, one.when) or one.when) for one in changes]
    roots = [node for one in changes for node in (one.place, one.value, one.when) if node is not None]
    lets: dict[Node, str] = {}
    for node in _repeated(roots, names):
        lets[node] = _free_name(machine, len(lets))
    said: dict[Node, Node] = {}
    lines = []
    for node, name in lets.items():
        inner = substitute(terms, (node,), {part: one for part, one in said.items() if part is not node})[0]
        lines.append(f"let {name} = {words(inner, names, LONGEST)}")
        said[node] = terms.leaf("register", name, node.width)
    for one in changes:
        place, value, when = (None if node is None else substitute(terms, (node,), said)[0]
                              for node in (one.place, one.value, one.when))
        target = one.name
        if place is not None:
            target += f"[{words(place, {}, LONGEST)}]"
        elif one.bits is not None:
            target += f"[{one.bits[0]}]" if one.bits[0] == one.bits[1] else f"[{one.bits[0]}:{one.bits[1]}]"
        text = f"{target} <- " + ("undefined" if value is None else words(value, names, LONGEST, of=one.name))
        if type(when) is not Const and when is not None:
            text += f" when {words(when, names, LONGEST)}"
        lines.append(text)
    return lines


def _plain(terms: Terms, node: Node | None) -> Node | None:
    """`sp - 1` for `sp + 0xFFFF`."""
    if node is None:
        return None
    made: dict[Node, Node] = {}
    for part in postorder((node,)):
        args = tuple([made[arg] for arg in part.args])
        new = part if args == part.args else terms.rebuild(part, args)
        if type(new) is Add and type(new.args[1]) is Const and new.args[1].value >> (new.width - 1) and new.width > 1:
            new = terms.sub(new.args[0], terms.const((1 << new.width) - new.args[1].value, new.width))
        made[part] = new
    return made[node]


def _repeated(roots: Sequence[Node], names: CodeNames) -> list[Node]:
    """Terms that are long and stand in several places, those first that others are made of."""
    count: dict[Node, int] = dict.fromkeys(roots, 0)
    for root in roots:
        count[root] += 1
    for node in postorder(roots):
        for arg in node.args:
            count[arg] = count.get(arg, 0) + 1
    return [node for node in postorder(roots) if count.get(node, 0) > 1 and type(node) not in (Leaf, Const, Slice, Not)
            and len(words(node, names, SHORT + 4)) > SHORT and not (type(node) is If and node.width == 1)]


def _free_name(machine: Machine, number: int) -> str:
    taken = {*machine.registers, *machine.states, *machine.memories, *machine.signals, *machine.constants,
             *machine.inputs, *machine.conditions, *machine.fields, *machine.stores, *machine.buses, *machine.agents}
    taken |= set() if machine.clock is None else {machine.clock.name, *machine.clock.phases}
    free = [name for name in (f"{letter}{digit}" for digit in ("", *map(str, range(1, 1000))) for letter in "tuvw")
            if name not in taken]
    return free[number]
