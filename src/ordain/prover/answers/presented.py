"""Which addresses of a store reachable cycles present.

Where the same word stands at several addresses and nothing asks which of them it is (the first words of every
instruction of a store that is addressed by instruction and step), the bits that tell them apart are held at 0. Such
addresses are *alike*: the search knows that one of them is presented, not which. They are told from one another by a
search that asks for nothing but addresses; so is every address of a store that is formed from more than the place.
"""

from collections.abc import Iterable

from ordain.control.model import System
from ordain.prover.answers.answers import Answers, Asking
from ordain.prover.model import Limits
from ordain.prover.relation.partition import Question, Split
from ordain.prover.search.breadth_first import Search
from ordain.prover.search.conditions import Inquiry
from ordain.prover.search.explore import explore


def executed(system: System, answers: Answers, stores: Iterable[str], limits: Limits | None,
             started: float) -> dict[str, frozenset[int]]:
    """For each of some stores the addresses that reachable cycles present. Where a limit is reached on the way, there
    may be some among them of which it is not known. `limits` None: no search is to be begun any more."""
    found = {}
    for store in stores:
        certain, doubtful = _at_places(system, answers, store)
        if doubtful and limits is not None and not answers.search.stopped:
            doubtful = _told_apart(system, store, doubtful, limits, started)
        found[store] = frozenset(certain | doubtful)
    return found


def _at_places(system: System, answers: Answers, store: str) -> tuple[set[int], set[int]]:
    """The addresses of a store that are presented, and those of which the search does not know it."""
    places, shape = answers.search.places, answers.search.shape
    if store not in (known for known, _, _ in shape.stores):
        return set(), set(range(1 << system.addresses[store].width))
    form, reads = shape.closures.of(shape.addresses[store]), places.reads(shape.addresses[store])
    certain, doubtful = set[int](), set[int]()
    for here in dict.fromkeys(here & shape.place for _, here in answers.lively):
        kept, words = places.kept(here), places.at(here).words
        if reads & ~kept:
            doubtful.update(form(alike, words) for alike in alike_places(shape, here, kept))
        else:
            certain.add(form(here, words))
    return certain, doubtful - certain


def _told_apart(system: System, store: str, doubtful: set[int], limits: Limits, started: float) -> set[int]:
    """Those of some addresses of a store that reachable cycles present, by a search that keeps every bit of them."""
    terms = system.terms
    leaf = terms.leaf("address", store, system.addresses[store].width)
    bits = tuple(terms.slice(leaf, bit, bit) for bit in range(leaf.width))
    found = explore(system, Question(bits, (), (leaf,)), limits, started=started)
    if found.search.stopped:
        return doubtful
    certain, still = _at_places(system, Answers(found.search, found.inquiry), store)
    return certain & doubtful | _asked_for(found.search, store, doubtful & still)


def _asked_for(search: Search, store: str, addresses: set[int]) -> set[int]:
    """Those of some addresses that some reachable cycle has; the search keeps all bits of which they are formed."""
    places, shape = search.places, search.shape
    among = tuple(shape.terms.among(shape.addresses[store], frozenset((address,))) for address in sorted(addresses))
    asking = Asking(search.families, places, Inquiry(places, among))
    found: set[int] = set()
    for spot, family in zip(search.spots, search.reached) if among else ():
        for here in places.selections(spot):
            found.update(asking.at(here, family)[1])
    return {address for number, address in enumerate(sorted(addresses)) if number in found}


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
    form = shape.closures.of(node)
    if places.reads(node) & ~shape.place:
        return frozenset((form(here, words),))
    return frozenset(form(state, words) for state in alike_places(shape, here, places.kept(here)))
