"""Who drives a bus in a cycle, as conditions."""

from collections.abc import Sequence

from ordain.machine.expression import Node, Terms
from ordain.machine.model import Bus, Machine

SHARED = ("wired-and", "wired-or")
"""Kinds of bus that several drivers may drive at once."""

RESTING = ("pulled-high", "pulled-low", "kept", "wired-and", "wired-or")
"""Kinds of bus whose value is known, and stays, while nobody drives them."""


LEVELLESS = ("floats", "multiplexed")
"""Kinds of bus that have no level while nobody drives them."""


def several(terms: Terms, conditions: Sequence[Node]) -> Node:
    """At least two of the conditions hold. Linear in their number."""
    some = both = terms.const(0, 1)
    for condition in conditions:
        both = terms.or_((both, terms.and_((some, condition))))
        some = terms.or_((some, condition))
    return both


def none_of(terms: Terms, conditions: Sequence[Node]) -> Node:
    """None of the conditions holds; true of no conditions."""
    return terms.not_(terms.or_((terms.const(0, 1), *conditions)))


def enables(bus: Bus) -> tuple[Node, ...]:
    """When each driver of the bus is enabled, in the order of the text."""
    return tuple(driver.when for driver in bus.drivers)


def alone(terms: Terms, bus: Bus) -> tuple[Node, ...]:
    """For each driver: it drives the bus, and no other does."""
    peace = terms.not_(several(terms, enables(bus)))
    return tuple(terms.and_((driver.when, peace)) for driver in bus.drivers)


def code_of(terms: Terms, conditions: Sequence[Node], width: int) -> Node:
    """1 + the index of the first condition that holds, 0 when none does, as a number of `width` bits."""
    code = terms.const(0, width)
    for index in range(len(conditions), 0, -1):
        code = terms.if_(conditions[index - 1], terms.const(index, width), code)
    return code


def fights_allowed(machine: Machine, bus: Bus) -> bool:
    """An allowance lets drivers of this bus overlap, so that what comes after an overlap has to be judged too."""
    names = ("", bus.name, *(driver.name for driver in bus.drivers))
    return any(allowance.check == "contention" and allowance.on in names for allowance in machine.allowances)


def main_store(machine: Machine) -> str:
    """The store by whose address microinstructions are told apart; "" when no store holds a microprogram."""
    return next((store.name for store in machine.stores.values() if store.fill == "microprogram"), "")
