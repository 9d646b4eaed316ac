"""Computed fields of which nothing says where they lead, such as the parity of a word: a checker on the board takes
them all the same."""

from ordain.compare.effects import effects_of
from ordain.compare.side import Side
from ordain.logic.narrowing import bits_read
from ordain.machine.expression import Node, Terms, substitute


def computed_unread(sides: tuple[Side, Side], terms: Terms) -> dict[str, list[tuple[Node, Node]]]:
    """The computed fields that both sides have and of which one says nothing. What each is on either side over the
    values of the other fields, and over their stored bits; fields that only one side has are idle."""
    found: dict[str, list[tuple[Node, Node]]] = {}
    old, new = sides
    read = [bits_read([*side.sequencing.nexts.values(), *side.sequencing.stores.values(),
                       *effects_of(side, terms).values()]) for side in sides]
    for name, field in old.machine.fields.items():
        its = new.machine.fields.get(name)
        if its is None or field.derived is None or its.derived is None or field.width != its.width:
            continue
        leaf, ones = terms.leaf("field", name, field.width), (1 << field.width) - 1
        if read[0].get(leaf, 0) & read[1].get(leaf, 0) != ones:
            found[name] = [(_over_fields(old, new, name, stored, terms), _over_fields(new, old, name, stored, terms))
                           for stored in (False, True)]
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
