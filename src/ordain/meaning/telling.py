"""What an instruction does, as its paths say, in the form in which a meaning is written."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import NamedTuple

from ordain.control.phases import whole_cycles
from ordain.machine.expression import (
    Add,
    Cell,
    Const,
    If,
    Join,
    Leaf,
    Node,
    Not,
    Slice,
    Terms,
    postorder,
    substitute,
)
from ordain.machine.model import Machine
from ordain.machine.wording import CodeNames, code_names, words
from ordain.meaning.follow import Course, Path, WrittenWord
from ordain.meaning.following import Following, NotFollowed
from ordain.meaning.lengths import length
from ordain.meaning.model import Telling
from ordain.meaning.said import holder
from ordain.meaning.splitting import implied

LONGEST = 1_000_000
SHORT = 14
"""Characters of a value that is written out again rather than given a name."""


class _Way(NamedTuple):
    """A path: what decided on it, bit by bit, what everything holds at its end, and what was written, the first
    first."""

    bits: Mapping[Node, Node]
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
                ways.append(_way(following, course, path))
                cycles = max(cycles, length(following, path.end))
        if not ways:
            raise NotFollowed("no path of it comes to a boundary")
        changes = _changes(following, _without_common(ways))
    except NotFollowed as undecided:
        return Telling((), str(undecided), 0, 0, ())
    return Telling(tuple(_written_out(following.machine, changes)), "", len(ways),
                   whole_cycles(following.machine, cycles),
                   tuple(_scratch(following.machine, changes)))


def _way(following: Following, course: Course, path: Path) -> _Way:
    machine, terms, normal, names = following.machine, following.terms, following.normal, _names(following.machine)
    under: dict[Node, Node] = {**course.start, **path.assumed}

    def said(nodes: Sequence[Node]) -> list[Node]:
        return [substitute(terms, (normal.of(node),), names)[0] for node in substitute(terms, tuple(nodes), under)]

    values = {}
    for name in machine.visible:
        if name not in machine.memories:
            old = holder(machine, name)
            value, before = said((course.value(old, path.end), old))
            values[name] = names.get(old, old) if value is before else value    # kept, though this path knows its bits
    writes = []
    for one in reversed(path.end.writes):
        when, value, *address = said([node for node in (one.when, one.value, one.address) if node is not None])
        if when is not terms.const(0, 1):
            writes.append(WrittenWord(one.memory, when, address[0] if address else None, value, 0))
    bits = _bits(terms, course.start, path.assumed)
    return _Way({substitute(terms, (atom,), names)[0]: bit for atom, bit in bits.items()}, values, tuple(writes))


def _names(machine: Machine) -> dict[Node, Node]:
    """In a meaning the name of a latch stands for what it has kept."""
    return {holder(machine, name): machine.terms.leaf("register", name, register.width)
            for name, register in machine.registers.items()}


def _bits(terms: Terms, start: Mapping[Node, Node], assumed: Mapping[Node, Node]) -> dict[Node, Node]:
    """What decided, by term; what the address says bit by bit."""
    known = {terms.slice(leaf, bit, bit): terms.slice(value, bit, bit)
             for leaf, value in start.items() for bit in range(leaf.width)}
    return {**known, **assumed}


def _without_common(ways: Sequence[_Way]) -> list[_Way]:
    """The ways without the conditions that all of them have alike."""
    common = {node for node, bit in ways[0].bits.items() if all(way.bits.get(node) is bit for way in ways)}
    return [way._replace(bits={node: bit for node, bit in way.bits.items() if node not in common}) for way in ways]


class _Change(NamedTuple):
    """`place`: of a word its address. `bits`: highest and lowest, None for the whole. `value` None: undefined."""

    name: str
    place: Node | None
    bits: tuple[int, int] | None
    value: Node | None
    when: Node

    def over(self, work: Callable[[Node], Node]) -> "_Change":
        return self._replace(place=None if self.place is None else work(self.place),
                             value=None if self.value is None else work(self.value), when=work(self.when))


def _changes(following: Following, ways: Sequence[_Way]) -> list[_Change]:
    machine, terms, names = following.machine, following.terms, _names(following.machine)
    found: list[_Change] = []
    for name in machine.visible:
        if name in machine.memories:
            continue
        old = holder(machine, name)
        value = following.normal.of(_chosen(terms, [(way, way.values[name]) for way in ways]))
        value = _without_sham_choices(terms, value)
        shown = names.get(old, old)
        if value is not shown:
            found += _parts(machine, name, value, shown)
    for name in machine.visible:
        found += _writes(following, name, ways)
    return found


def _without_sham_choices(terms: Terms, value: Node) -> Node:
    """The same without choices that make no difference: of `0 if acc is 0 else acc` is left `acc`, since paths that
    have asked about a value know it."""
    made: dict[Node, Node] = {}
    for node in postorder((value,)):
        args = tuple([made[arg] for arg in node.args])
        made[node] = terms.rebuild(node, args)
        choice = made[node]
        if type(choice) is If:
            condition, yes, no = choice.args
            if substitute(terms, (no,), dict(implied(terms, condition, 1)))[0] is yes:
                made[node] = no
            elif substitute(terms, (yes,), dict(implied(terms, condition, 0)))[0] is no:
                made[node] = yes
    return made[value]


def _parts(machine: Machine, name: str, value: Node, old: Node) -> list[_Change]:
    """The change of a whole register; of its parts where only some of them are known."""
    when = machine.terms.const(1, 1)
    if _is_told(machine, value):
        return [_Change(name, None, None, value, when)]
    if type(value) is not Join:
        return [_Change(name, None, None, None, when)]
    found = []
    top = value.width
    for part in value.args:
        low = top - part.width
        if part is not machine.terms.slice(old, top - 1, low):
            found.append(_Change(name, None, (top - 1, low), part if _is_told(machine, part) else None, when))
        top = low
    return found


def _is_told(machine: Machine, node: Node) -> bool:
    """Whether a term is made of nothing but old values."""
    return all(part.name in machine.registers or part.name in machine.states or part.name in machine.memories
               for part in postorder((node,)) if isinstance(part, Leaf | Cell))


def _chosen(terms: Terms, found: Sequence[tuple[_Way, Node]]) -> Node:
    """One term for what is so on each of the ways. Raises NotFollowed."""
    if all(value is found[0][1] for _, value in found):
        return found[0][1]
    for atom in found[0][0].bits:
        ways = [[one for one in found if one[0].bits.get(atom) is terms.const(bit, 1)] for bit in (1, 0)]
        if all(ways) and sum(map(len, ways)) == len(found):
            yes, no = (_chosen(terms, some) for some in ways)
            return terms.if_(atom, yes, no)
    raise NotFollowed("it does other things where it begins at another address")


def _all(terms: Terms, way: _Way) -> Node:
    return terms.and_((terms.const(1, 1), *(terms.equal(atom, bit) for atom, bit in way.bits.items())))


def _writes(following: Following, memory: str, ways: Sequence[_Way]) -> list[_Change]:
    machine, terms = following.machine, following.terms
    of_way = [[one for one in way.writes if one.memory == memory] for way in ways]
    alike = all(writes == of_way[0] for writes in of_way)
    found = []
    if not alike:       # each way has to be known from the others
        _chosen(terms, [(way, terms.leaf("free", f"way {number}", 1)) for number, way in enumerate(ways)])
    for way, writes in [(None, of_way[0])] if alike else list(zip(ways, of_way)):
        for one in writes:
            when = one.when if way is None else terms.and_((one.when, _all(terms, way)))
            if one.address is None or not _is_told(machine, one.address) or not _is_told(machine, when):
                return [_Change(memory, None, None, None, terms.const(1, 1))]
            found.append(_Change(memory, one.address, None, one.value if _is_told(machine, one.value) else None, when))
    return found


def _scratch(machine: Machine, changes: Iterable[_Change]) -> list[str]:
    nodes = [node for one in changes for node in (one.place, one.value, one.when) if node is not None]
    named = dict.fromkeys(part.name for part in postorder(nodes) if isinstance(part, Leaf | Cell))
    return [name for name in named if name not in machine.visible]


# ---------------------------------------------------------------- as text


def _written_out(machine: Machine, changes: Sequence[_Change]) -> list[str]:
    """Effects in the language; what is long and occurs again has a name."""
    terms, names = machine.terms, code_names(machine)
    changes = [one.over(partial(_plain, terms)) for one in changes]
    roots = [node for one in changes for node in (one.place, one.value, one.when) if node is not None]
    lets: dict[Node, str] = {}
    for node in _repeated(roots, names):
        lets[node] = _free_name(machine, len(lets))
    said: dict[Node, Node] = {}
    lines = []
    for node, name in lets.items():
        lines.append(f"let {name} = {words(substitute(terms, (node,), said)[0], names, LONGEST)}")
        said[node] = terms.leaf("register", name, node.width)
    for one in changes:
        _, place, _, value, when = one.over(lambda node: substitute(terms, (node,), said)[0])
        target = one.name
        if place is not None:
            target += f"[{words(place, {}, LONGEST)}]"
        elif one.bits is not None:
            target += f"[{one.bits[0]}]" if one.bits[0] == one.bits[1] else f"[{one.bits[0]}:{one.bits[1]}]"
        text = f"{target} <- " + ("undefined" if value is None else words(value, names, LONGEST, of=one.name))
        if type(when) is not Const:
            text += f" when {words(when, names, LONGEST)}"
        lines.append(text)
    return lines


def _plain(terms: Terms, node: Node) -> Node:
    """`sp - 1` for `sp + 0xFFFF`."""
    made: dict[Node, Node] = {}
    for part in postorder((node,)):
        args = tuple([made[arg] for arg in part.args])
        new = terms.rebuild(part, args)
        if type(new) is Add and type(new.args[1]) is Const and new.args[1].value >> (new.width - 1) and new.width > 1:
            new = terms.sub(new.args[0], terms.const((1 << new.width) - new.args[1].value, new.width))
        made[part] = new
    return made[node]


def _repeated(roots: Sequence[Node], names: CodeNames) -> list[Node]:
    """Terms that are long and stand in several places, those first that others are made of."""
    count = Counter(roots)
    for node in postorder(roots):
        count.update(node.args)
    return [node for node in postorder(roots) if count[node] > 1 and type(node) not in (Leaf, Const, Slice, Not)
            and len(words(node, names, SHORT)) > SHORT]


def _free_name(machine: Machine, number: int) -> str:
    taken = {*machine.registers, *machine.states, *machine.memories, *machine.signals, *machine.constants,
             *machine.inputs, *machine.conditions, *machine.fields, *machine.stores, *machine.buses, *machine.agents}
    taken |= set() if machine.clock is None else {machine.clock.name, *machine.clock.phases}
    free = [name for name in (f"{letter}{digit}" for digit in ("", *map(str, range(1, 1000))) for letter in "tuvw")
            if name not in taken]
    return free[number]
