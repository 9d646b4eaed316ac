"""What the fields of a word can do for a condition: a decision diagram over their values.

A condition reads fields of the word, and things that the word cannot set: states, inputs, other stores. For every
choice of values there is the set of outside circumstances in which the condition holds, its *reach*: one whole number
with a bit for each circumstance. The diagram asks for the fields one after the other and ends in reaches. As it always
asks in one order and drops questions without effect, equal functions have equal diagrams.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from itertools import accumulate
from typing import Any, NamedTuple, TypeAlias

from ordain.machine.expression import (
    Among,
    And,
    Const,
    Leaf,
    Node,
    Not,
    Or,
    Terms,
    leaves,
    postorder,
    substitute,
)
from ordain.machine.model import Field, Machine
from ordain.microprogram.tables import address_columns, work_out

_WIDEST_TRIED = 8
"""A field that is not only compared with numbers is tried value by value, up to this width."""

_MOST_BITS = 12
"""By how many bits circumstances are told apart."""

_MOST_PARTS = 20_000
"""How many partly decided conditions one survey may go through."""

Diagram: TypeAlias = "Node | int | tuple[int, tuple[Diagram, ...]]"
"""What a condition comes to (a term while the survey is being made, then a reach or a truth value); or the number of a
field, and the diagram for each of its choices."""


class Asked(NamedTuple):
    """A field that a condition reads. Its choices are each of `values` by itself, and last, if there are any, all
    others: its codes in `rest`, or of a number the first of them; the condition sees no difference between these."""

    field: Field
    values: tuple[int, ...]
    rest: tuple[int, ...]

    @property
    def choices(self) -> tuple[int, ...]:
        """A value for each choice."""
        return (*self.values, *self.rest[:1])

    def choice_of(self, value: int) -> int:
        return self.values.index(value) if value in self.values else len(self.values)

    def only(self, choices: Collection[int]) -> int | None:
        """The value that is left, if these choices leave one."""
        choice = next(iter(choices)) if len(choices) == 1 else None
        if choice is None or (choice == len(self.values) and (len(self.rest) > 1 or not self.field.codes)):
            return None
        return self.choices[choice]


class Survey(NamedTuple):
    """`most`: the circumstances in which some values make the condition hold; `always`: those in which all values do,
    so that it does not hold through the word."""

    asked: tuple[Asked, ...]
    diagram: Diagram
    most: int
    always: int

    def through(self) -> Diagram:
        """1 for the choices that make the condition hold where others do not, else 0."""
        return mapped(self.diagram, lambda reach: int(bool(reach & ~self.always)))

    def sure(self) -> Diagram:
        """1 for the choices under which the condition holds whenever it can hold at all, else 0."""
        return mapped(self.diagram, lambda reach: int(reach == self.most))

    def numbered(self, values: Mapping[str, int]) -> dict[int, int]:
        """Values of fields by name as choices by number, as far as the condition reads them."""
        return {number: asked.choice_of(values[asked.field.name]) for number, asked in enumerate(self.asked)
                if asked.field.name in values}


class TooManyFields(Exception):
    """A condition over more fields than can be gone through."""


def survey(machine: Machine, fields: Mapping[str, Field], condition: Node) -> Survey:
    """What these fields can do for a condition of one bit, and what is computed from them. Raises `TooManyFields`."""
    terms = machine.terms
    node = written_in_fields(machine, fields, condition)
    read = [(leaf, _asked(node, leaf, fields[leaf.name])) for leaf in leaves((node,))
            if leaf.kind == "field" and leaf.name in fields]
    asked = [(leaf, about) for leaf, about in read if about is not None]
    found: dict[tuple[Node, int], Diagram] = {}

    def ask(part: Node, number: int) -> Diagram:
        """Recursion ends with the fields."""
        if number == len(asked):
            return part
        if (part, number) not in found:
            if len(found) >= _MOST_PARTS:
                raise TooManyFields
            leaf, about = asked[number]
            found[part, number] = joined(number, tuple([
                ask(substitute(terms, (part,), {leaf: terms.const(value, leaf.width)})[0], number + 1)
                for value in about.choices]))
        return found[part, number]

    shape = ask(node, 0)
    left = [end for end in ends(shape) if not isinstance(end, int | tuple)]
    reach = dict(zip(left, reaches(terms, left)))
    most, always = 0, -1
    for where in reach.values():
        most, always = most | where, always & where
    diagram = mapped(shape, lambda end: reach[end])
    return Survey(tuple([about for _, about in asked]), diagram, most, always)


def written_in_fields(machine: Machine, fields: Mapping[str, Field], condition: Node) -> Node:
    """A condition with the words of computed stores, and the bits and computed fields of the word itself, replaced by
    what they are made of."""
    terms, node = machine.terms, condition
    store = next(iter(fields.values())).store if fields else ""
    while True:
        known: dict[Node, Node] = {}
        for leaf in leaves((node,)):
            if leaf.kind == "word" and leaf.name == store:
                known[leaf] = _word(machine, store)
            elif leaf.kind == "word" and (computed := machine.stores[leaf.name].computed) is not None:
                known[leaf] = computed
            elif leaf.kind == "field" and machine.fields[leaf.name].store == store and (
                    derived := machine.fields[leaf.name].derived) is not None:
                known[leaf] = derived
        if not known:
            return node
        (node,) = substitute(terms, (node,), known)


def _word(machine: Machine, store: str) -> Node:
    """The stored word as a join of its fields. That no computed field reads itself was seen to with the machine."""
    terms, parts = machine.terms, []
    for field in sorted([machine.fields[name] for name in machine.stores[store].fields], key=lambda field: -field.low):
        leaf = terms.leaf("field", field.name, field.width)
        part = terms.const(int(field.idle), field.width) if field.holds == "spare" else leaf
        parts.append(terms.not_(part) if field.active_low else part)
    return terms.join(parts)


def _asked(node: Node, leaf: Leaf, field: Field) -> Asked | None:
    """A field with its values parted as far as a condition tells them apart at first sight. None where there are too
    many: then the field is a circumstance like others."""
    codes = [code.value for code in field.codes] if field.holds == "code" else []
    if codes and isinstance(field.idle, int) and field.idle not in codes:
        codes.append(field.idle)
    readers = [part for part in postorder((node,)) if leaf in part.args]
    if node is leaf or not all(type(part) is Among for part in readers):
        every = tuple(codes) or tuple(range(1 << min(field.width, _WIDEST_TRIED + 1)))
        return Asked(field, every, ()) if len(every) <= 1 << _WIDEST_TRIED else None
    named = frozenset().union(*[part.values for part in readers if type(part) is Among])
    if codes:
        return Asked(field, tuple([value for value in codes if value in named]),
                     tuple([value for value in codes if value not in named]))
    other = next((value for value in range(1 << field.width) if value not in named), None)
    if other is None or len(named) == (1 << field.width) - 1:
        return Asked(field, tuple(range(1 << field.width)), ())
    return Asked(field, tuple(sorted(named)), (other,))


# ---------------------------------------------------------------- diagrams


def joined(number: int, below: tuple[Diagram, ...]) -> Diagram:
    """A diagram that asks for a field, unless that makes no difference."""
    return below[0] if all(part == below[0] for part in below) else (number, below)


def ends(diagram: Diagram) -> Iterator[Diagram]:
    """What a diagram comes to, each once."""
    seen: set[Diagram] = set()
    todo = [diagram]
    while todo:
        part = todo.pop()
        if part not in seen:
            seen.add(part)
            if isinstance(part, tuple):
                todo.extend(part[1])
            else:
                yield part


def mapped(diagram: Diagram, value: Callable[[Any], Diagram]) -> Diagram:
    """The diagram with other ends."""
    known: dict[Diagram, Diagram] = {}

    def of(part: Diagram) -> Diagram:
        """Recursion ends with the fields."""
        if part not in known:
            known[part] = joined(part[0], tuple([of(below) for below in part[1]])) if isinstance(part, tuple) else (
                value(part))
        return known[part]

    return of(diagram)


def decided(diagram: Diagram, choices: Mapping[int, int]) -> Diagram:
    """What is left of a diagram when some fields are chosen."""
    if not isinstance(diagram, tuple):
        return diagram
    number, below = diagram
    if number in choices:
        return decided(below[choices[number]], choices)
    return joined(number, tuple([decided(part, choices) for part in below]))


def asked_by(diagram: Diagram) -> set[int]:
    """The fields on which a diagram depends."""
    if not isinstance(diagram, tuple):
        return set()
    return {diagram[0]}.union(*[asked_by(below) for below in diagram[1]])


def allowed(diagram: Diagram) -> dict[int, set[int]] | None:
    """For each field the choices with which a diagram can come to 1, where those are not all; None if it cannot."""
    if not isinstance(diagram, tuple):
        return {} if diagram else None
    number, below = diagram
    parts = {choice: found for choice, part in enumerate(below) if (found := allowed(part)) is not None}
    if not parts:
        return None
    first, *others = parts.values()
    common = {other: first[other].union(*[found[other] for found in others]) for other in first
              if all(other in found for found in others)}
    return common if len(parts) == len(below) else {number: set(parts), **common}


def paths(diagram: Diagram) -> Iterator[dict[int, set[int]]]:
    """Ways to bring a diagram to 1, which leave nothing out; of each field the choices."""
    if not isinstance(diagram, tuple):
        if diagram:
            yield {}
        return
    number, below = diagram
    for part in dict.fromkeys(below):
        for path in paths(part):
            yield {number: {choice for choice, other in enumerate(below) if other == part}, **path}


def shortened(diagram: Diagram, path: Mapping[int, set[int]]) -> dict[int, set[int]]:
    """A way to bring a diagram to 1 without the choices that it can do without."""
    kept = dict(path)
    for number in path:
        without = {other: choices for other, choices in kept.items() if other != number}
        if _always(diagram, without):
            kept = without
    return kept


def _always(diagram: Diagram, within: Mapping[int, set[int]]) -> bool:
    """Whether a diagram comes to 1 whatever is chosen within these choices."""
    if not isinstance(diagram, tuple):
        return bool(diagram)
    number, below = diagram
    return all(_always(part, within) for choice, part in enumerate(below) if choice in within.get(number, (choice,)))


# ---------------------------------------------------------------- circumstances


def reaches(terms: Terms, conditions: Sequence[Node]) -> list[int]:
    """The sets of circumstances in which conditions hold: by the bits that they read; where those are too many by
    their comparisons and flags, as if any of these could go with any other; else each a circumstance of its own."""
    for parts in (leaves(conditions), _atoms(conditions)):
        width = sum(part.width for part in parts)
        if width <= _MOST_BITS:
            columns, full = address_columns(width), (1 << (1 << width)) - 1
            free: dict[Node, Node] = {}
            values: dict[Leaf, tuple[int, ...]] = {}
            for at, part in zip(accumulate((part.width for part in parts), initial=0), parts):
                leaf = terms.leaf("free", f"circumstance {at}", part.width)
                assert type(leaf) is Leaf
                free[part], values[leaf] = leaf, columns[at:at + part.width]
            return [work_out(node, values, full)[0] for node in substitute(terms, tuple(conditions), free)]
    full = (1 << (len(conditions) + 1)) - 1
    return [full * node.value if type(node) is Const else 1 << at for at, node in enumerate(conditions)]


def _atoms(conditions: Sequence[Node]) -> list[Node]:
    """The parts of one bit that conditions join with `and`, `or` and `not`."""
    found: dict[Node, None] = {}
    todo = list(conditions)
    while todo:
        part = todo.pop()
        if type(part) in (And, Or, Not):
            todo.extend(part.args)
        elif type(part) is not Const:
            found[part] = None
    return list(found)
