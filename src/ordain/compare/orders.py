"""What a word orders, field by field, so that words of two machines can be told alike.

Fields of one name are compared by the names of their codes: a machine whose decoder was wired anew gives `acc` another
number and means the same. Address fields say where control goes, not what happens, and are left out; so are spare and
derived bits and bits that no order set in a field that is `idle any`. A field of only one machine counts when it is
not idle, unless the machine says by itself what the field drives, loads or strobes: then the effects count.
"""

from typing import NamedTuple

from ordain.compare.side import Side
from ordain.machine.model import Field

Part = tuple[str, int]
"""(common name of the field, value in the new machine's codes). A field that is left open has none."""


class Pairing(NamedTuple):
    """Which fields are compared. `values[old name]`: (new name, old value -> new value; None: all are as they were).
    `old_alone`, `new_alone`: fields of one side only, with what no effect says; they count when they are not idle.
    `alike`: every control store is divided into the same fields with the same codes; then whole words are compared."""

    values: dict[str, tuple[str, dict[int, int] | None]]
    old_alone: tuple[str, ...]
    new_alone: tuple[str, ...]
    alike: bool


class Orders:
    """Stored words of one side's control stores -> what they order, equal for equal orders on either side."""

    def __init__(self, side: Side, pairing: Pairing, old: bool) -> None:
        self._memo: dict[tuple[str, int, int], tuple[Part, ...]] = {}
        self._masks = {store: _mask(side, store) for store in side.sequencing.control} if pairing.alike else {}
        self._fields: dict[str, list[tuple[str, Field, dict[int, int] | None, bool]]] = {}
        machine = side.machine
        for store in side.sequencing.control:
            row = self._fields[store] = []
            for name in machine.stores[store].fields:
                field = machine.fields[name]
                if field.holds in ("derived", "spare") or name in side.sequencing.address_fields:
                    continue
                if name in (pairing.old_alone if old else pairing.new_alone):
                    row.append((f"{name} of the {'old' if old else 'new'} machine", field, None, True))
                elif old and name in pairing.values:
                    row.append((pairing.values[name][0], field, pairing.values[name][1], False))
                elif not old and any(name == common for common, _ in pairing.values.values()):
                    row.append((name, field, None, False))
        self._readers = side.readers

    def of(self, acting: list[tuple[str, int, int]]) -> tuple[object, ...]:
        """What the words of one cycle order together, of each its store, the word, and the bits that no order set:
        every field that counts, by its name, whatever store it is in; or all their bits at once, where words are
        divided alike."""
        if self._masks:
            return tuple([self._bits(*one) for one in acting])
        return tuple(sorted([part for one in acting for part in self._fields_of(*one)]))

    def _bits(self, store: str, word: int, open_bits: int) -> tuple[str, int, int]:
        mask, may_be_open = self._masks[store]
        ignored = open_bits & may_be_open
        return store, word & mask & ~ignored, ignored

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
            value = word >> low & mask ^ turn
            if (field.idle == "any" and open_bits >> low & mask == mask) or (alone and value == field.idle):
                continue
            parts.append((common, value if values is None else values.get(value, -1 - value)))
        return parts


def _mask(side: Side, store: str) -> tuple[int, int]:
    """The bits of fields that are compared, and those of them that may be left open."""
    mask = may_be_open = 0
    for name in side.machine.stores[store].fields:
        field = side.machine.fields[name]
        if field.holds in ("code", "number") and name not in side.sequencing.address_fields:
            bits = (1 << field.width) - 1 << field.low
            mask |= bits
            may_be_open |= bits if field.idle == "any" else 0
    return mask, may_be_open
