"""A map of each store: a row for each word, a sign for each bit, what a wrong bit there comes to."""

from collections.abc import Sequence

from ordain.faults.model import Class, Tried
from ordain.machine.model import Machine

SIGNS: dict[Class, str] = {"noticed": "+", "changed": "c", "harmless": ".", "silent": "#", "undecided": "?"}


def map_lines(machine: Machine, tried: Sequence[Tried]) -> list[str]:
    """Bits that were not tried are blank."""
    rows: dict[str, dict[int, dict[int, Class]]] = {}
    for one in tried:
        if one.fault.kind == "bit":
            of_word = rows.setdefault(one.fault.store, {}).setdefault(one.fault.address, {})
            of_word[one.fault.bit] = one.outcome.kind
    lines: list[str] = []
    for store, words in rows.items():
        declared = machine.stores[store]
        digits = -(-declared.address_width // 4)
        lines += ["", f"{store}: the highest bit first; + noticed, c a changed instruction, . harmless, # silent, "
                  "? undecided"]
        for address, bits in sorted(words.items()):
            signs = "".join(SIGNS[bits[bit]] if bit in bits else " " for bit in range(declared.bits - 1, -1, -1))
            lines.append(f"  {address:0{digits}X}  {signs}".rstrip())
    return lines
