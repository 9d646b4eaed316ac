"""One of the two builds, made ready for comparing: its terms in the common table, its fields cut out of its words."""

from typing import NamedTuple

from ordain.compare.translation import SAME_NAMES, Renames, translate, with_places
from ordain.control.sequencing import Sequencing, sequencing, taken_values
from ordain.machine.expression import Const, Leaf, Node, Terms, leaves
from ordain.machine.model import Field, Machine
from ordain.rom.contents import Contents

WIDEST_CHOICE = 4
"""A pointer of so few bits counts something; a wider one that is not known holds a place, and places may move."""


class Side(NamedTuple):
    """`contents` over the common terms, under common names: what the hardware is. `declared`: all that the machine file
    says, with `at` and `in` as they are written.

    `home`: the instruction boundary as a condition over pointers and conditions, or None.
    `readers`: per field (lowest bit, mask, bits to turn). `flags`: narrow data that control asks about and that words
    can give a value; what is known of them is remembered from word to word.
    """

    contents: Contents
    declared: Machine
    sequencing: Sequencing
    home: Node | None
    readers: dict[str, tuple[int, int, int]]
    flags: tuple[Leaf, ...]

    @property
    def machine(self) -> Machine:
        return self.contents.machine


def make_side(contents: Contents, terms: Terms, renames: Renames = SAME_NAMES) -> Side:
    """Bring contents into the common terms. `at` and `in` become comparisons of the control address."""
    translated = translate(contents, terms, renames)
    moved = with_places(translated)
    home = moved.machine.home
    readers = {name: reader(field) for name, field in moved.machine.fields.items()}
    steps = sequencing(moved.machine, terms)
    steps = steps._replace(pointers=tuple(sorted(steps.pointers, key=_name)),  # in an order that both sides have
                           opcodes=tuple(sorted(steps.opcodes, key=_name)))
    return Side(moved, translated.machine, steps, home, readers, _flags(moved.machine, steps))


def _name(leaf: Leaf) -> tuple[str, str]:
    return leaf.kind, leaf.name


def holds_place(side: Side, pointer: Leaf) -> bool:
    """True for a pointer whose values are places in a control store, which may move, and are not counted."""
    widths = [side.sequencing.stores[store].width for store in side.sequencing.control]
    return pointer.width > WIDEST_CHOICE or pointer.width >= min(widths)


def _flags(machine: Machine, steps: Sequencing) -> tuple[Leaf, ...]:
    """States and registers of few bits, neither places nor opcodes, that an address or the next place depends on, and
    whose next value a word can say."""
    placed = {*steps.pointers, *steps.opcodes}
    open_latches = {register.name for register in machine.registers.values() if register.transparent}
    asked = leaves([*steps.stores.values(), *(steps.nexts[pointer] for pointer in steps.pointers)])
    return tuple(leaf for leaf in steps.nexts
                 if leaf in asked and leaf not in placed and leaf.width <= WIDEST_CHOICE
                 and leaf.name not in open_latches and _can_be_given(steps.nexts[leaf]))


def _can_be_given(next_: Node) -> bool:
    """True when a word can say the value: as a field, or by choosing a number."""
    return any(node.width == next_.width and (type(node) is Const or (type(node) is Leaf
                                                                      and node.kind in ("field", "word")))
               for node in taken_values(next_))


def reader(field: Field) -> tuple[int, int, int]:
    """How the asserted value of a field is got out of a stored word: `word >> low & mask ^ turn`."""
    mask = (1 << field.width) - 1
    return field.low, mask, mask if field.active_low else 0
