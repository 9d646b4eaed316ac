"""A single fault, and what comes of it, as data."""

from collections.abc import Mapping
from typing import Literal, NamedTuple, TypeAlias

from ordain.machine.expression import Node
from ordain.rom.contents import Contents

Kind: TypeAlias = Literal["bit", "erased", "pin", "bridge", "chip", "exchange", "driver", "synchroniser"]
KINDS: dict[Kind, str] = {
    "bit": "a bit of a word reads the other way", "erased": "a word reads erased",
    "pin": "a data or address pin stays at a level", "bridge": "two neighbouring pins touch",
    "chip": "a chip is missing or blank", "exchange": "two chips of one size are exchanged",
    "driver": "a driver of a bus is always on, or never", "synchroniser": "a flip-flop that delays a line is left out",
}
"""Every kind of fault, in the order in which they are told."""

Changes: TypeAlias = Mapping[str, Mapping[int, int]]
"""store -> address -> the word that is read there instead."""


class BoardFault(NamedTuple):
    """What is otherwise beside the stores. `bus`, `driver`: of a driver, by its number in the bus, that is on where
    `level` is 1 and off where it is 0; "" where it is none. `inside`: a leaf, and what takes its place."""

    bus: str = ""
    driver: int = 0
    level: int = 0
    inside: tuple[tuple[Node, Node], ...] = ()


class Fault(NamedTuple):
    """`text`: what people call it. `names`: by what it can be chosen: chips, stores, fields, routines. `changes`: the
    words that read otherwise. `store`, `address`, `bit`: of a fault in one word; "" and -1 of others, `bit` -1
    too where the whole word is meant."""

    kind: Kind
    text: str
    names: tuple[str, ...]
    changes: Changes
    store: str = ""
    address: int = -1
    bit: int = -1
    board: BoardFault | None = None


Class: TypeAlias = Literal["noticed", "changed", "harmless", "silent", "undecided"]
CLASSES: dict[Class, str] = {
    "noticed": "noticed by a check or rule", "changed": "show only as a changed instruction",
    "harmless": "harmless, proved", "silent": "silent", "undecided": "undecided",
}


class Noticed(NamedTuple):
    """Who speaks. `cycles`: how many the shortest sequence has that shows it; None where something is missing, which no
    sequence shows."""

    check: str
    subject: str
    cycles: int | None


class FaultOutcome(NamedTuple):
    """What a fault comes to. `noticed`: who notices it. `titles`: the instructions that are changed, or what else is in
    a silent one. `why`: of an undecided one the reason. `meanings`: of changed instructions those that no longer do
    what their text says."""

    kind: Class
    noticed: Noticed | None = None
    titles: tuple[str, ...] = ()
    why: str = ""
    meanings: tuple[str, ...] = ()


class Tried(NamedTuple):
    fault: Fault
    outcome: FaultOutcome


def with_changes(contents: Contents, changes: Changes) -> Contents:
    """The contents of the faulty machine."""
    words = dict(contents.words)
    for store, changed in changes.items():
        row = list(words[store])
        for address, word in changed.items():
            row[address] = word
        words[store] = tuple(row)
    return contents._replace(words=words)
