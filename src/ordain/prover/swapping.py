"""Opcodes that nothing tells apart: values of a register that select equal words and of which no question speaks.

Let two values be swapped in the register and, where it is loaded, in what it is loaded from. If

1. every other expression of the machine and of the questions looks at the register by conditions alone, and these are
   the same for both values,
2. lines of the register stand in the address of a store as they are, the same ones in all such stores; there the same
   words stand in the column of either value, and conditions over the address are the same in both columns,
3. while the register is loaded, nothing else depends on what it is loaded from,
4. the register begins with neither value, or with any; and neither is loaded as a number,

then each sequence of the machine is, so swapped, one of the machine, with the same conditions in each cycle; whatever
the words are, for 1 and 3 are asked of all words. And if a word in the column of one value is another, each sequence is
one of the machine in which the word at that place in the other's column is just so. So a question is broken in both,
after the same number of cycles, or in neither.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from ordain.control.model import System, Variable
from ordain.control.sequencing import origins
from ordain.logic.diagrams import FALSE, Functions, TooLarge
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Const, If, Node, Slice, leaves, postorder, substitute
from ordain.prover.model import Property
from ordain.prover.questions import nodes_of

MOST = 1 << 18
"""Addresses times conditions that are looked at for one store."""


class SwappedColumns(NamedTuple):
    """A store in whose address lines of a register stand. `places`: the addresses with 0 in these; `lines`: per bit of
    the register that stands there, which bit of the address it is."""

    store: str
    places: tuple[int, ...]
    lines: Mapping[int, int]

    def column(self, value: int) -> int:
        """The address lines of a value."""
        return sum((value >> bit & 1) << line for bit, line in self.lines.items())

    def value(self, address: int) -> int:
        """The value with this column that has 0 in all other bits."""
        return sum((address >> line & 1) << bit for bit, line in self.lines.items())


class Swapped(NamedTuple):
    """`like[value]`: of a value with 0 in the bits that stand in no address, the least one whose column nothing tells
    from its own, whatever those bits are."""

    stores: Mapping[str, SwappedColumns]
    like: Mapping[int, int]

    def place_of(self, changes: Mapping[str, Mapping[int, int]],
                 words: Mapping[str, Sequence[int]]) -> tuple[object, ...] | None:
        """Equal for faults that are one if opcodes are swapped: of words in one column of one store; None of others."""
        if len(changes) != 1:
            return None
        (store, changed), = changes.items()
        columns = self.stores.get(store)
        if columns is None:
            return None
        values = {columns.value(address) for address in changed}
        if len(values) != 1:
            return None
        (value,) = values
        return store, self.like[value], frozenset(
            (address & ~columns.column(-1), word ^ words[store][address]) for address, word in changed.items())


def swapped(system: System, properties: Iterable[Property]) -> Iterator[Swapped]:
    """For each register or state whose values may be swapped, which. `properties`: lowered."""
    asked = [node for prop in properties for node in nodes_of(prop)]
    free = {one.leaf for one in system.free if one.values == 1 << one.leaf.width}
    for variable in system.variables:
        following = variable.next
        if type(following) is If and following.args[2] is variable.leaf \
                and variable.values == 1 << variable.leaf.width and variable.leaf.width > 1:
            load = _load(system, *following.args[:2])
            if _all_free(load.source, free):
                roots = [*load.conditions, *asked, *system.assumptions,
                         *(other.next for other in system.variables if other is not variable)]
                found = _swapped(system, variable, roots, load)
                if found is not None:
                    yield found


class _Load(NamedTuple):
    """`when`: what is loaded is `source`; else one of some `numbers`. `conditions`: of which that is made."""

    when: Node
    source: Node
    numbers: frozenset[int]
    conditions: tuple[Node, ...]


def _load(system: System, when: Node, source: Node) -> _Load:
    """A bus that is pulled has a number on it while nobody drives it."""
    terms, numbers, conditions = system.terms, set[int](), [when]
    if type(source) is Slice and type(source.args[0]) is If:
        condition, *arms = source.args[0].args
        source = terms.if_(condition, *(terms.slice(arm, source.high, source.low) for arm in arms))
    while type(source) is If and any(type(arm) is Const for arm in source.args[1:]):
        condition, yes, no = source.args
        conditions.append(condition)
        if type(no) is Const:
            when, source = terms.and_((when, condition)), yes
            numbers.add(no.value)
        else:
            assert type(yes) is Const
            when, source = terms.and_((when, terms.not_(condition))), no
            numbers.add(yes.value)
    return _Load(when, source, frozenset(numbers), tuple(conditions))


def _all_free(source: Node, free: Collection[Node]) -> bool:
    """Whether what is loaded is some lines of what has any value, each once."""
    lines = [origin for origin in origins(source) if isinstance(origin, tuple) and origin[0] in free]
    return len({*lines}) == source.width


def _swapped(system: System, variable: Variable, roots: list[Node], load: _Load) -> Swapped | None:
    columns = _columns(system, variable.leaf)
    if not columns:
        return None
    for store, address in system.addresses.items():
        fixed = [*columns[store].lines.values()] if store in columns else []
        roots = roots + [system.terms.slice(address, line, line) for line in range(address.width)
                         if line not in fixed]
    conditions = _conditions(roots, variable.leaf)
    if conditions is None or len(conditions) << variable.leaf.width > MOST or not _alone(system, roots, load):
        return None
    told: list[list[object]] = [[evaluate(node, {variable.leaf: value}) for node in conditions]
                                for value in range(variable.values)]
    for one in columns.values():
        leaf = system.terms.leaf("address", one.store, system.addresses[one.store].width)
        over = _conditions(roots, leaf)
        if over is None or len(over) << leaf.width > MOST:
            return None
        words = system.contents.words[one.store]
        for value, signs in enumerate(told):
            cells = [place | one.column(value) for place in one.places]
            signs.append([(words[cell], *(evaluate(node, {leaf: cell}) for node in over)) for cell in cells])
    own = sum(1 << bit for bit in next(iter(columns.values())).lines)
    beside = [value for value in range(variable.values) if not value & own]
    given = {number & own for number in (*load.numbers, *(() if variable.reset is None else (variable.reset,)))}
    like: dict[int, int] = {}
    first: dict[str, int] = {}
    for value in range(variable.values):
        if not value & ~own:
            every = repr([told[value | rest] for rest in beside])
            like[value] = value if value in given else first.setdefault(every, value)
    return Swapped(columns, like)


def _columns(system: System, leaf: Node) -> dict[str, SwappedColumns] | None:
    """The stores in whose address lines of the register stand as they are, in all the same ones; None where they do
    otherwise."""
    found: dict[str, SwappedColumns] = {}
    for store, address in system.addresses.items():
        if leaf not in leaves((address,)):
            continue
        where: dict[int, int] = {}
        for line, origin in enumerate(origins(address)):
            if isinstance(origin, tuple) and origin[0] is leaf:
                if origin[1] in where:
                    return None
                where[origin[1]] = line
            elif leaf in leaves((system.terms.slice(address, line, line),)):
                return None
        if any(one.lines.keys() != where.keys() for one in found.values()):
            return None
        own = sum(1 << line for line in where.values())
        found[store] = SwappedColumns(store, tuple(at for at in range(1 << address.width) if not at & own), where)
    return found


def _conditions(roots: Sequence[Node], leaf: Node) -> list[Node] | None:
    """The conditions by which some expressions look at a leaf; None where they do otherwise."""
    within, only = set[Node](), set[Node]()
    for node in postorder(roots):
        if node is leaf or any(arg in within for arg in node.args):
            within.add(node)
        if node is leaf or type(node) is Const or (node.args and all(arg in only for arg in node.args)):
            only.add(node)
    found, waiting = dict[Node, None](), list(roots)
    while waiting:
        node = waiting.pop()
        if node not in within:
            continue
        within.discard(node)
        if node not in only:
            waiting += node.args
        elif node.width > 1:
            return None
        else:
            found[node] = None
    return list(found)


def _alone(system: System, roots: Sequence[Node], load: _Load) -> bool:
    """Whether nothing else depends on what is loaded while it is loaded, whatever the words say."""
    terms = system.terms
    lines = {origin for origin in origins(load.source) if isinstance(origin, tuple)}
    free = {leaf for leaf, _ in lines}
    reading = [node for node in roots if not free.isdisjoint(leaves((node,)))]
    if not free.isdisjoint(leaves(load.conditions)):
        return False
    other: dict[Node, Node] = {}
    for leaf in free:
        anew = terms.leaf("free", f"something else on {leaf.name}", leaf.width)
        other[leaf] = terms.join(terms.slice(anew if (leaf, bit) in lines else leaf, bit, bit)
                                 for bit in reversed(range(leaf.width)))
    for node, instead in zip(reading, substitute(terms, tuple(reading), other)):
        differs = terms.and_((load.when, terms.not_(terms.equal(node, instead))))
        try:
            if Functions(leaves((differs,))).condition(differs) != FALSE:
                return False
        except TooLarge:
            return False
    return True
