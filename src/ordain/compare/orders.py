"""What a word orders, field by field, so that words of two machines can be told alike.

Fields of one name are compared by the names of their codes: a machine whose decoder was wired anew gives `acc` another
number and means the same. Address fields say where control goes, not what happens, and are left out; so are spare and
derived bits and bits that no order set in a field that is `idle any`. A field of only one machine counts when it is
not idle, unless the machine says by itself what the field drives, loads or strobes: then the effects count.
"""

from typing import NamedTuple

from ordain.compare.side import Side
from ordain.machine.model import Field

Part = tuple[str, int, int]
"""(common name of the field, value in the new machine's codes, bits that no order set). A field that is left open has
none."""


class Pairing(NamedTuple):
    """Which fields are compared. `values[old name]`: (new name, old value -> new value; None: all are as they were).
    `old_alone`, `new_alone`: fields of one side only, with what no effect says; they count when they are not idle."""

    values: dict[str, tuple[str, dict[int, int] | None]]
    old_alone: tuple[str, ...]
    new_alone: tuple[str, ...]


class Orders:
    """Stored words of one side's control stores -> what they order, equal for equal orders on either side."""

    def __init__(self, side: Side, pairing: Pairing, old: bool) -> None:
        self._memo: dict[tuple[str, int, int], tuple[Part, ...]] = {}
        self._fields: dict[str, list[tuple[str, Field, dict[int, int] | None, bool]]] = {}
        machine = side.machine
        common = pairing.values if old else {name: (name, None) for name, _ in pairing.values.values()}
        alone, whose = (pairing.old_alone, "old") if old else (pairing.new_alone, "new")
        for store in side.sequencing.control:
            row = self._fields[store] = []
            for name in machine.stores[store].fields:
                if name in side.sequencing.address_fields:
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
            if left == mask or (alone and value == field.idle):
                continue
            parts.append((common, value & ~left, left) if values is None else
                         (common, values.get(value, -1 - value), 0))
        return parts
