"""What a table shows at an address that is known only as the machine runs: a term over that address.

It is read from the chips. Where these hold what the machine file computes, its own expression is taken, so that a sum
is still a sum; else it is a choice by one line of the address after the other.
"""

from collections.abc import Sequence

from ordain.logic.diagrams import Functions, TooLarge
from ordain.machine.expression import Node, Terms
from ordain.machine.lines import computed_by_lines
from ordain.rom.contents import Contents

MOST_CHOICES = 8192


def shown(contents: Contents, store: str) -> Node | None:
    """What a store with a word for every address shows, over its `address` leaf; None where that takes more choices
    than can be followed."""
    machine, terms = contents.machine, contents.machine.terms
    model, words = machine.stores[store], contents.words[store]
    address = terms.leaf("address", store, model.address_width)
    read = _read(terms, address, words, model.bits)
    said = None if model.computed is None else computed_by_lines(terms, model.name, model.address, model.computed)[0]
    if said is None or read is None:
        return read
    functions = Functions(())
    try:
        return said if functions.bits(said) == functions.bits(read) else read
    except TooLarge:
        return read


def _read(terms: Terms, address: Node, words: Sequence[int], bits: int) -> Node | None:
    rows: list[Node] = [terms.const(word, bits) for word in words]
    choices = 0
    for line in range(address.width):
        asked = terms.slice(address, line, line)
        made: dict[tuple[Node, Node], Node] = {}
        for pair in zip(rows[::2], rows[1::2]):
            if pair not in made:
                made[pair] = terms.if_(asked, pair[1], pair[0])
        choices += sum(low is not high for low, high in made)
        if choices > MOST_CHOICES:
            return None
        rows = [made[pair] for pair in zip(rows[::2], rows[1::2])]
    return rows[0]
