"""Every property gets a verdict: the way from questions to answers on one screen.

Properties without monitors share one search. Those with monitors share another as long as their monitors together do
not make it much larger; otherwise they are dealt out over several.
"""

from time import monotonic

from ordain.machine.expression import Node
from ordain.prover.asking import Inquiry
from ordain.prover.holding import hold_dead_bits
from ordain.prover.model import Limits, Property, Report, System, Variable, Verdict, Verdicts
from ordain.prover.places import Places
from ordain.prover.search import Search, run
from ordain.prover.split import Question, Split, Tables, split
from ordain.prover.support import KNOWN
from ordain.prover.system import lower_properties, nodes_of, with_free
from ordain.prover.verdicts import Asked, Conditions, Judge
from ordain.prover.ways import Reopened
from ordain.rom.contents import Contents

GROWTH = 4
"""A search with the monitors of several properties may take so many times the visits of the one without."""
TOGETHER = 1 << 12
"""Most valuations of the surroundings with the monitors of several properties."""


def decide(contents: Contents, system: System, properties: tuple[Property, ...], limits: Limits | None = None,
           report: Report | None = None) -> Verdicts:
    """Verdicts in the order of the properties. `system`: `build_system(contents)`."""
    started = monotonic()
    limits = Limits() if limits is None else limits
    lowered = lower_properties(system, properties)
    asked = tuple(node for prop in lowered for node in nodes_of(prop))
    system = system._replace(free=with_free(system.free, asked))
    plain = [index for index, prop in enumerate(lowered) if not prop.monitors]
    tables: Tables = {}
    base = _Case(system, [lowered[index] for index in plain], limits, tables, True)
    base.search(report, started, None)
    verdicts = dict(zip(plain, base.verdicts()))
    nobody = Property("over-assumed", "", "bad", system.terms.const(0, 1))
    over = base.judge.over_assumed(nobody)
    groups = [_by_monitors(lowered)] if len(plain) < len(lowered) else []
    while groups:
        group = groups.pop()
        members = [index for cluster in group for index in cluster]
        case = _Case(system, [lowered[index] for index in members], limits, tables, False)
        most = GROWTH * sum(map(len, base.found.levels)) + 1024
        if len(group) > 1 and not case.fits(report, started, most):
            groups += [group[:len(group) // 2], group[len(group) // 2:]]
            continue
        if len(group) == 1:
            case.search(report, started, None)
        verdicts.update(zip(members, case.verdicts()))
    answered = tuple(verdicts[index]._replace(property=prop) for index, prop in enumerate(properties))
    none: dict[str, frozenset[int]] = {store: frozenset() for store in contents.machine.stores}
    presented = executed(base.found, base.judge.answers.lively)
    return Verdicts(answered, over, {**none, **presented}, base.judge.states, base.judge.transitions,
                    len(base.found.levels) - 1, base.held, base.found.stopped)


def _by_monitors(properties: tuple[Property, ...]) -> list[list[int]]:
    """The properties that have monitors, by number, those with the same ones together."""
    clusters: dict[frozenset[Node], list[int]] = {}
    for index, prop in enumerate(properties):
        if prop.monitors:
            clusters.setdefault(frozenset(monitor.leaf for monitor in prop.monitors), []).append(index)
    return list(clusters.values())


class _Case:
    """One search for several properties."""

    def __init__(self, system: System, properties: list[Property], limits: Limits, tables: Tables, whole: bool) -> None:
        """`whole`: what is executed is to be found out too."""
        self.system, self.limits, self._tables = system, limits, tables
        self.conditions = Conditions()
        self.asked = [Asked(system, self.conditions, prop) for prop in properties]
        stores = {prop.per_word for prop in properties} - {""}
        if whole:
            stores |= self._followed()
        kept = tuple(_address(system, store) for store in sorted(stores))
        self._question = Question(tuple(self.conditions.lowered), _monitors(properties), kept)
        self._split(frozenset())

    def _split(self, explicit: frozenset[Node]) -> None:
        self._explicit = explicit
        self.shape, self.conditions.searched = split(self.system, self._question, self.limits.reduce, explicit,
                                                     self._tables)
        self.places = Places(self.shape)
        self.inquiry = Inquiry(self.places, self.conditions.searched)
        self.held = hold_dead_bits(self.places, self.inquiry) if self.limits.reduce else 0

    def _followed(self) -> set[str]:
        """The stores of which it is to be found out what is executed. Of the only one every address bit is told apart
        anyway; of several it has to be asked about."""
        declared = self.system.contents.machine.stores.values()
        stores = {store.name for store in declared if store.fill == "microprogram"}
        if len(stores) > 1:
            for store in sorted(stores):
                leaf = _address(self.system, store)
                for bit in range(leaf.width):
                    self.conditions.number(self.system.terms.slice(leaf, bit, bit))
        return stores

    def fits(self, report: Report | None, started: float, most: int) -> bool:
        """Searches, unless the monitors make too much of it."""
        if self.shape.domain.size > TOGETHER:
            return False
        self.search(report, started, most)
        return self.found.stopped != "split"

    def search(self, report: Report | None, started: float, most: int | None) -> None:
        while True:
            try:
                self.found = run(self.places, self.limits, report, started, most)
                break
            except Reopened as again:
                self._split(self._explicit | again.leaves)
        if self.found.stopped != "split":
            self.judge = Judge(self.system, self.found, self.inquiry, self.conditions, self._question.monitors,
                               self.limits)

    def verdicts(self) -> list[Verdict]:
        return [self.judge.verdict(asked) for asked in self.asked]


def _monitors(properties: list[Property]) -> tuple[Variable, ...]:
    """The monitors of all of them, each once."""
    found: dict[Node, Variable] = {}
    for prop in properties:
        for monitor in prop.monitors:
            if found.setdefault(monitor.leaf, monitor).next is not monitor.next:
                raise ValueError(f"two different monitors are both called {monitor.name}")
    return tuple(found.values())


def _address(system: System, store: str) -> Node:
    return system.terms.leaf("address", store, system.contents.machine.stores[store].address_width)


def executed(search: Search, lively: list[tuple[int, int]]) -> dict[str, frozenset[int]]:
    """Per store the addresses that reachable cycles present. Addresses that nothing tells apart, because the same word
    stands in both and nothing asks, count as executed together. Of a store that is not read in a cycle, the address of
    that cycle does not count; nor of one whose address depends on carried bits."""
    places, shape = search.places, search.shape
    found: dict[str, set[int]] = {}
    forming = []
    for store, node in shape.addresses.items():
        found[store] = set()
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
            for alike in _alike(shape, here, mask):
                for addresses, form, reads in forming:
                    if not reads & ~shape.place:
                        addresses.add(form(alike, words))
    return {store: frozenset(addresses) for store, addresses in found.items()}


def _alike(shape: Split, here: int, mask: int) -> list[int]:
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
