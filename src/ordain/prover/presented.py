"""Which addresses of a store reachable cycles present.

Where the same word stands at several addresses and nothing asks which of them it is (the first words of every
instruction of a store that is addressed by instruction and step), the bits that tell them apart are held at 0. Such
addresses are *alike*: none is presented without, as far as anybody can tell, all being.
"""

from ordain.prover.search import Search
from ordain.prover.split import Split
from ordain.prover.support import KNOWN


def executed(search: Search, lively: list[tuple[int, int]], stores: frozenset[str]) -> dict[str, frozenset[int]]:
    """For each of `stores`, which hold microprograms, the addresses that reachable cycles present. Addresses that
    nothing tells apart, because the same word stands in both and nothing asks, count as executed together."""
    places, shape = search.places, search.shape
    found: dict[str, set[int]] = {store: set() for store in sorted(stores)}
    forming = []
    for store, node in shape.addresses.items():
        if store not in stores:
            continue
        if places.support.kinds(node) in (0, KNOWN):
            forming.append((found[store], shape.closures.of(node), places.reads(node)))
    seen: set[tuple[int, int]] = set()
    for number, here in lively:
        mask = places.live.get(search.spots[number] & shape.location, -1)
        words = places.at(here).words
        for addresses, form, reads in forming:
            if reads & ~shape.place and not reads & (~mask | shape.carried):
                addresses.add(form(here, words))
        if (here & shape.place, mask) not in seen:
            seen.add((here & shape.place, mask))
            for alike in alike_places(shape, here, mask):
                for addresses, form, reads in forming:
                    if not reads & ~shape.place:
                        addresses.add(form(alike, words))
    return {store: frozenset(addresses) for store, addresses in found.items()}


def alike_places(shape: Split, here: int, mask: int) -> list[int]:
    """The places that differ from this one only in bits outside the mask."""
    found = [here]
    for leaf, values in (*((variable.leaf, variable.values) for variable in shape.control),
                         *((entry.leaf, entry.values) for entry in shape.selectors)):
        shift = shape.shifts[leaf]
        bits = ((1 << leaf.width) - 1) << shift
        if not bits & shape.place & ~mask:
            continue
        others = [value << shift for value in range(values) if not (value << shift ^ here) & bits & mask]
        found = [state & ~bits | other for state in found for other in others]
    return found


def alike_addresses(search: Search, store: str, here: int) -> frozenset[int]:
    """The addresses of a store that are alike to the one at a place."""
    places, shape = search.places, search.shape
    node, words = shape.addresses[store], places.at(here).words
    form, mask = shape.closures.of(node), places.live.get(here & shape.location, -1)
    if places.reads(node) & ~shape.place:
        return frozenset((form(here, words),))
    return frozenset(form(state, words) for state in alike_places(shape, here, mask))
