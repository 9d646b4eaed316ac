"""Which addresses of a store reachable cycles present.

Where the same word stands at several addresses and nothing asks which of them it is (the first words of every
instruction of a store that is addressed by instruction and step), the bits that tell them apart are held at 0. Such
addresses are *alike*: the search knows that one of them is presented, not which. They are told from one another by a
search that asks for nothing but addresses; so is every address of a store that is formed from more than the entrance.
"""

from collections.abc import Iterable

from ordain.control.model import System
from ordain.machine.expression import Node, Terms
from ordain.prover.answers.answers import Answers, Asking
from ordain.prover.model import Limits
from ordain.prover.relation.partition import Partition, Question
from ordain.prover.search.breadth_first import Search
from ordain.prover.search.conditions import Queries
from ordain.prover.search.explore import explore


def executed(system: System, answers: Answers, stores: Iterable[str], limits: Limits | None,
             started: float) -> dict[str, frozenset[int]]:
    """For each of some stores the addresses that reachable cycles present. Where a limit is reached on the way, there
    may be some among them of which it is not known. `limits` None: no search is to be begun any more."""
    found = {}
    for store in stores:
        certain, doubtful = _at_entrances(system, answers, store)
        if doubtful and limits is not None and not answers.search.stopped:
            doubtful = _told_apart(system, store, doubtful, limits, started)
        found[store] = frozenset(certain | doubtful)
    return found


def _at_entrances(system: System, answers: Answers, store: str) -> tuple[set[int], set[int]]:
    """The addresses of a store that are presented, and those of which the search does not know it."""
    classes, shape = answers.search.classes, answers.search.shape
    if store not in (known for known, _, _ in shape.stores):
        return set(), set(range(1 << system.addresses[store].width))
    form, reads = shape.closures.of(shape.addresses[store]), classes.reads(shape.addresses[store])
    certain, doubtful = set[int](), set[int]()
    for here in dict.fromkeys(here & shape.entrance for _, here in answers.enabled):
        kept, words = classes.kept(here), classes.at(here).words
        if reads & ~kept:
            doubtful.update(form(alike, words) for alike in alike_entrances(shape, here, kept))
        else:
            certain.add(form(here, words))
    return certain, doubtful - certain


def _told_apart(system: System, store: str, doubtful: set[int], limits: Limits, started: float) -> set[int]:
    """Those of some addresses of a store that reachable cycles present, by a search that keeps every bit of them."""
    terms = system.terms
    leaf = terms.leaf("address", store, system.addresses[store].width)
    found = explore(system, Question(bits_of(terms, leaf), (), (leaf,)), limits, started=started)
    if found.search.stopped:
        return doubtful
    certain, still = _at_entrances(system, Answers(found.search, found.queries), store)
    return certain & doubtful | _asked_for(found.search, store, doubtful & still)


def _asked_for(search: Search, store: str, addresses: set[int]) -> set[int]:
    """Those of some addresses that some reachable cycle has; the search keeps all bits of which they are formed."""
    classes, shape = search.classes, search.shape
    among = tuple(shape.terms.among(shape.addresses[store], frozenset((address,))) for address in sorted(addresses))
    asking = Asking(search.state_sets, classes, Queries(classes, among))
    found: set[int] = set()
    for point, state_set in zip(search.points, search.reached) if among else ():
        for here in classes.selections(point):
            found.update(asking.at(here, state_set)[1])
    return {address for number, address in enumerate(sorted(addresses)) if number in found}


def bits_of(terms: Terms, node: Node) -> tuple[Node, ...]:
    """Lowest first."""
    return tuple(terms.slice(node, bit, bit) for bit in range(node.width))


def alike_entrances(shape: Partition, here: int, mask: int) -> list[int]:
    """The classes that differ from this one only in bits outside the mask."""
    found = [here]
    for leaf, values in (*((variable.leaf, variable.values) for variable in shape.control),
                         *((entry.leaf, entry.values) for entry in shape.selectors)):
        shift = shape.shifts[leaf]
        bits = ((1 << leaf.width) - 1) << shift
        if not bits & shape.entrance & ~mask:
            continue
        others = [value << shift for value in range(values) if not (value << shift ^ here) & bits & mask]
        found = [state & ~bits | other for state in found for other in others]
    return found


def alike_addresses(search: Search, store: str, here: int) -> frozenset[int]:
    """The addresses of a store that are alike to the one at an entrance, by which it is told."""
    classes, shape = search.classes, search.shape
    node, words = shape.addresses[store], classes.at(here).words
    form = shape.closures.of(node)
    return frozenset(form(state, words) for state in alike_entrances(shape, here, classes.kept(here)))
