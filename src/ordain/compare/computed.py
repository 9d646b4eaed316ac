"""Computed fields of which nothing says where they lead, such as the parity of a word: a checker on the board takes
them all the same."""

from typing import NamedTuple

from ordain.compare.effects import effects_of
from ordain.compare.side import Side
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Node, Terms, substitute


class LeadingNowhere(NamedTuple):
    """Computed fields of which nothing says where they lead. `both`: those that both sides have, with what each is on
    either side over the values of the other fields, and over their stored bits; fields that only one side has are idle.
    `alone`: those that one side has, or as wide, and which side that is."""

    both: dict[str, list[tuple[Node, Node]]]
    alone: list[tuple[str, int]]


def computed_unread(sides: tuple[Side, Side], terms: Terms) -> LeadingNowhere:
    """The computed fields of which one side does not read every bit."""
    found = LeadingNowhere({}, [])
    old, new = sides
    read = [bits_read([*side.sequencing.nexts.values(), *side.sequencing.stores.values(),
                       *effects_of(side, terms).values()]) for side in sides]
    computed = [{name: field for name, field in side.machine.fields.items() if field.derived is not None}
                for side in sides]
    for name, field in computed[0].items():
        its = computed[1].get(name)
        bits = [each.get(terms.leaf("field", name, field.width), 0) for each in read]
        if its is not None and its.width == field.width and bits[0] & bits[1] != (1 << field.width) - 1:
            found.both[name] = [(_over_fields(old, new, name, stored, terms),
                                 _over_fields(new, old, name, stored, terms)) for stored in (False, True)]
    for number, (ours, theirs) in enumerate((computed, computed[::-1])):
        for name, field in ours.items():
            bits_of_it = read[number].get(terms.leaf("field", name, field.width), 0)
            if (name not in theirs or theirs[name].width != field.width) and bits_of_it != (1 << field.width) - 1:
                found.alone.append((name, number))
    return found


def _over_fields(side: Side, other: Side, name: str, stored: bool, terms: Terms) -> Node:
    """What a computed field holds, with fields for the bits of the word. `stored`: one that is active low stands for
    its bits as the chips hold them."""
    machine, field = side.machine, side.machine.fields[name]
    parts: list[Node] = []
    for part in sorted((one for one in machine.fields.values() if one.store == field.store), key=lambda one: -one.low):
        value: Node = terms.leaf("field", part.name, part.width)
        turned = part.active_low and not stored
        if isinstance(part.idle, int) and (part.holds == "spare" or part.name not in other.machine.fields):
            value, turned = terms.const(part.idle, part.width), part.active_low
        parts.append(terms.not_(value) if turned else value)
    word = terms.leaf("word", field.store, machine.stores[field.store].bits)
    assert field.derived is not None
    return substitute(terms, (field.derived,), {word: terms.join(parts)})[0]
