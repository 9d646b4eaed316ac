"""What a word orders, field by field, so that words of two machines can be told alike.

Fields of one name are compared by the names of their codes: a machine whose decoder was wired anew gives `acc` another
number and means the same. Address fields say where control goes, not what happens, and are left out; so are spare and
derived bits and bits that no order set in a field that is `idle any`. A field of only one machine counts when it is
not idle. Where a code has no counterpart, and the machine itself tells it from all others by what it drives, loads or
strobes, the effects count instead.
"""

from typing import NamedTuple

from ordain.compare.side import Side
from ordain.compare.told import Told
from ordain.machine.model import Field

Part = tuple[str, int, int]
"""(common name of the field, value in the new machine's codes, bits that no order set). A field that is left open has
none."""


class Pairing(NamedTuple):
    """Which fields are compared. `values[old name]`: (new name, old value -> new value; None: all are as they were).
    `old_alone`, `new_alone`: fields of one side only; they count when they are not idle. `loose`: old names of fields
    of which some code has no counterpart. `told`: what the old and the new machine say of their fields. `places`: per
    side the fields that only say where control goes, and are no orders."""

    values: dict[str, tuple[str, dict[int, int] | None]]
    old_alone: tuple[str, ...]
    new_alone: tuple[str, ...]
    loose: frozenset[str]
    told: tuple[Told, Told]
    places: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())

    def left_to_effects(self, side: int, name: str, value: int) -> bool:
        """Whether a value of a field, by its name on that side, does not count because what it brings about does. Of
        two that are one on both sides both count, or none."""
        if not self.told[side].tells(name, value):
            return False
        if name in (self.old_alone, self.new_alone)[side]:
            return True
        for old, (new, numbers) in self.values.items():
            if old in self.loose and name == (old, new)[side]:
                its = value if numbers is None else next(
                    (pair[1 - side] for pair in numbers.items() if pair[side] == value), None)
                other, told = (old, new)[1 - side], self.told[1 - side]
                return its is None or not told.names(other, its) or told.tells(other, its)
        return False

    def said_by_effects(self, side: int, name: str) -> bool:
        """Whether no value of a field counts, because the effects say all."""
        told = self.told[side]
        if name in (self.old_alone, self.new_alone)[side]:
            return told.speaks_of(name) and not told.untold(name)
        return any(old in self.loose and name == (old, new)[side]
                   and not self.told[0].untold(old) and not self.told[1].untold(new)
                   for old, (new, _) in self.values.items())


class Orders:
    """Stored words of one side's control stores -> what they order, equal for equal orders on either side."""

    def __init__(self, side: Side, pairing: Pairing, old: bool) -> None:
        self._memo: dict[tuple[str, int, int], tuple[Part, ...]] = {}
        self._pairing, self._mine = pairing, 0 if old else 1
        self._fields: dict[str, list[tuple[str, Field, dict[int, int] | None, bool]]] = {}
        machine = side.machine
        common = pairing.values if old else {name: (name, None) for name, _ in pairing.values.values()}
        alone, whose = (pairing.old_alone, "old") if old else (pairing.new_alone, "new")
        for store in side.sequencing.control:
            row = self._fields[store] = []
            for name in machine.stores[store].fields:
                if name in pairing.places[self._mine]:
                    continue
                if name in alone:
                    row.append((f"{name} of the {whose} machine", machine.fields[name], None, True))
                elif name in common:
                    row.append((common[name][0], machine.fields[name], common[name][1], False))
        self._readers = side.readers

    def of(self, acting: list[tuple[str, int, int]]) -> tuple[Part, ...]:
        """What the words of one cycle order together, of each its store, the word, and the bits that no order set:
        every field that counts, by its name, whatever store it is in."""
        return tuple(sorted([part for one in acting for part in self._fields_of(*one)]))

    def _fields_of(self, store: str, word: int, open_bits: int) -> tuple[Part, ...]:
        key = (store, word, open_bits)
        found = self._memo.get(key)
        if found is None:
            found = self._memo[key] = tuple(self._parts(store, word, open_bits))
        return found

    def _parts(self, store: str, word: int, open_bits: int) -> list[Part]:
        parts: list[Part] = []
        for common, field, values, alone in self._fields[store]:
            low, mask, turn = self._readers[field.name]
            value, left = word >> low & mask ^ turn, open_bits >> low & mask if field.idle == "any" else 0
            if left == mask or (alone and value == field.idle) or self._pairing.left_to_effects(
                    self._mine, field.name, value):
                continue
            parts.append((common, value & ~left, left) if values is None else
                         (common, values.get(value, -1 - value), 0))
        return parts
