"""Which addresses of a store reachable cycles present.

Where the same word stands at several addresses and nothing asks which of them it is (the first words of every
instruction of a store that is addressed by instruction and step), the bits that tell them apart are held at 0. Such
addresses are *alike*: none is presented without, as far as anybody can tell, all being.
"""

from ordain.logic.closures import Closure
from ordain.prover.relation.partition import Split
from ordain.prover.relation.term_kinds import KNOWN
from ordain.prover.search.breadth_first import Search


def executed(search: Search, lively: list[tuple[int, int]], stores: frozenset[str]) -> dict[str, frozenset[int]]:
    """For each of `stores`, which hold microprograms, the addresses that reachable cycles present. Addresses that
    nothing tells apart, because the same word stands in both and nothing asks, count as executed together."""
    places, shape = search.places, search.shape
    found: dict[str, set[int]] = {store: set() for store in sorted(stores)}
    at_place: list[tuple[set[int], Closure, int]] = []
    beside: list[tuple[set[int], Closure, int]] = []
    for store, node in shape.addresses.items():
        if store in stores and places.support.kinds(node) in (0, KNOWN):
            reads = places.reads(node)
            (beside if reads & ~shape.place else at_place).append((found[store], shape.closures.of(node), reads))
    seen: set[int] = set()
    for _, here in lively:
        if beside:
            mask, words = places.live.get(here & shape.location, -1), places.at(here).words
            for addresses, form, reads in beside:
                if not reads & (~mask | shape.carried):
                    addresses.add(form(here, words))
        key = here & shape.place
        if key not in seen:
            seen.add(key)
            mask, words = places.live.get(here & shape.location, -1), places.at(here).words
            for alike in alike_places(shape, here, mask) if shape.place & ~mask else (here,):
                for addresses, form, _ in at_place:
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
