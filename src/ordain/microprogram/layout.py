"""The word of a store as seen by someone who fills it in: which bits rest at what, which must be set."""

from typing import NamedTuple

from ordain.machine.model import Field, Machine, Store


class Layout(NamedTuple):
    """`fields`: those that an order can set. `rest`: the stored word in which no order sets anything. `must`: the bits
    of fields that some order has to set; `matters_not`: those of `idle any`; `follows`: (bits, field) of `idle
    following`."""

    store: Store
    fields: dict[str, Field]
    rest: int
    must: int
    matters_not: int
    follows: tuple[tuple[int, str], ...]


def layout_of(machine: Machine, store: Store) -> Layout:
    fields = [machine.fields[name] for name in store.fields]
    rest = must = matters_not = 0
    follows = []
    for field in fields:
        if field.holds == "derived" or field.idle == "following":
            if field.idle == "following":
                follows.append((field.mask, field.name))
        elif field.idle == "none":
            must |= field.mask
        elif field.idle == "any":
            matters_not |= field.mask
        else:
            rest |= field.write(int(field.idle))
    settable = {field.name: field for field in fields if field.holds not in ("derived", "spare")}
    return Layout(store, settable, rest, must, matters_not, tuple(follows))


def is_flag(field: Field) -> bool:
    """Whether the name of a field alone asserts it."""
    return field.width == 1 and field.holds == "code" and not field.codes
