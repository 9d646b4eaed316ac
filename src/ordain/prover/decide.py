"""Every property gets a verdict: the way from questions to answers on one screen.

Properties without monitors share one search, which decides most of those with monitors, too (`monitors`). What is
left shares further searches with the monitors in them, a few at a time, and fewer where that makes a search much
larger.
"""

from time import monotonic

from ordain.control.model import System, Variable
from ordain.control.system import with_free
from ordain.machine.expression import Node
from ordain.prover.answers.monitors import Watch
from ordain.prover.answers.presented import bits_of, executed
from ordain.prover.answers.verdicts import Asked, Conditions, Judge, watch
from ordain.prover.limits import Clock
from ordain.prover.model import Limits, Property, Report, Verdict, Verdicts
from ordain.prover.questions import lower_properties, nodes_of
from ordain.prover.relation.partition import Question, Tables
from ordain.prover.search.edges import Reopened
from ordain.prover.search.explore import explore
from ordain.rom.contents import Contents

GROWTH = 4
"""A search with the monitors of several properties may take so many times the visits of the one without."""
TOGETHER = 5
"""Most sets of monitors that share a search."""


def decide(contents: Contents, system: System, properties: tuple[Property, ...], limits: Limits | None = None,
           report: Report | None = None) -> Verdicts:
    """Verdicts in the order of the properties. `system`: `build_system(contents)`."""
    started = monotonic()
    limits = Limits() if limits is None else limits
    lowered = lower_properties(system, properties)
    asked = tuple(node for prop in lowered for node in nodes_of(prop))
    system = system._replace(free=with_free(system.free, asked))
    tables: Tables = {}
    base = _Case(system, lowered, limits, tables, True)
    base.search(report, started, None)
    clock = Clock(limits, started, base.ended())
    verdicts = dict(enumerate(base.verdicts(clock)))
    nobody = Property("over-assumed", "", "bad", system.terms.const(0, 1))
    over = base.judge.over_assumed(nobody)
    groups = _groups(lowered, [index for index, verdict in verdicts.items() if verdict is None])
    while groups:
        group = groups.pop()
        members = [index for cluster in group for index in cluster]
        if clock.out():
            verdicts.update((index, base.judge.undecided(lowered[index])) for index in members)
            continue
        case = _Case(system, tuple(lowered[index] for index in members), limits, tables, False)
        most = None if len(group) == 1 else GROWTH * sum(map(len, base.found.levels)) + 1024
        case.search(report, started, most)
        if case.found.stopped == "split":
            groups += [group[:len(group) // 2], group[len(group) // 2:]]
        else:
            clock.ended = clock.ended or case.ended()
            verdicts.update(zip(members, case.verdicts(clock)))
    answered = tuple(verdict._replace(property=prop) for index, prop in enumerate(properties)
                     if (verdict := verdicts[index]) is not None)
    presented = executed(system, base.judge.answers, _followed(system), None if clock.out() else limits, started)
    return Verdicts(answered, over, presented, base.judge.states, base.judge.transitions,
                    len(base.found.levels) - 1, base.held, base.found.stopped, clock.ended)


def _groups(properties: tuple[Property, ...], left: list[int]) -> list[list[list[int]]]:
    """The properties still without a verdict, by number: those with the same monitors together, a few such clusters in
    each group."""
    clusters: dict[frozenset[Node], list[int]] = {}
    for index in left:
        clusters.setdefault(frozenset(monitor.leaf for monitor in properties[index].monitors), []).append(index)
    every = list(clusters.values())
    return [every[start:start + TOGETHER] for start in range(0, len(every), TOGETHER)][::-1]


class _Case:
    """One search for several properties."""

    def __init__(self, system: System, properties: tuple[Property, ...], limits: Limits, tables: Tables,
                 plain: bool) -> None:
        """`plain`: the search is without monitors, and what is executed is to be found out too."""
        self.system, self.limits, self._tables = system, limits, tables
        self.interrupted = False
        self.conditions = Conditions()
        self.asked: list[Asked | Watch | None] = [
            watch(system, self.conditions, prop) if plain and prop.monitors else Asked(system, self.conditions, prop)
            for prop in properties]
        asked = [one.prop for one in self.asked if one is not None]
        self._per_word = {prop.per_word for prop in asked} - {""}
        kept = tuple(_address(system, store) for store in sorted(
            self._per_word.union(_followed(system) if plain else ())))
        self._monitors = () if plain else _monitors(asked)
        self._beside = _monitors([one.prop for one in self.asked if isinstance(one, Watch) and one.in_order])
        idle = _monitors([one.prop for one in self.asked if isinstance(one, Watch) and one.kind == "memory"])
        self._question = Question(tuple(self.conditions.lowered), self._monitors, kept, idle)
        self._explicit: frozenset[Node] = frozenset()

    def search(self, report: Report | None, started: float, most: int | None) -> None:
        self._again = report, started, most
        self.found, self.queries, self.held, self._explicit = explore(
            self.system, self._question, self.limits, tables=self._tables, report=report, started=started, most=most,
            explicit=self._explicit)
        loose = self._per_word - {store for store, _, _ in self.found.shape.stores}
        if loose and self.found.stopped != "split":  # their addresses are not told by entrances, so they are asked for
            self._per_word -= loose
            for store in sorted(loose):
                for bit in bits_of(self.system.terms, _address(self.system, store)):
                    self.conditions.number(bit)
            self._question = self._question._replace(conditions=tuple(self.conditions.lowered))
            self.search(*self._again)
            return
        self.conditions.searched = self.queries.conditions
        if self.found.stopped != "split":
            try:
                self.judge = self._judge()
            except KeyboardInterrupt:  # what the search has found is to be told all the same
                self.interrupted = True
                self.judge = self._judge()

    def _judge(self) -> Judge:
        return Judge(self.system, self.found, self.queries, self.conditions, self._monitors, self.limits, self._beside)

    def ended(self) -> str:
        """Why the search, or what belongs to it, came to an end before its time; else ""."""
        return "interrupted" if self.interrupted else self.found.stopped

    def verdicts(self, clock: Clock) -> list[Verdict | None]:
        """None for what this search cannot decide."""
        while True:
            try:
                return [self._verdict(asked, clock) for asked in self.asked]
            except Reopened as again:  # the cycles of a wait need more explicit bits than the search did
                self._explicit = again.beside(self._explicit)
                self.search(*self._again)

    def _verdict(self, asked: Asked | Watch | None, clock: Clock) -> Verdict | None:
        """Whether something bad was seen is told in any case; what has to be worked out only while there is time."""
        if asked is None:
            return None
        seen = isinstance(asked, Asked) and asked.prop.kind in ("bad", "reach")
        interrupted_since = clock.ended == "interrupted" and not self.found.stopped
        if (interrupted_since or not seen) and clock.out():
            return self.judge.undecided(asked.prop)
        try:
            return self.judge.watched(asked) if isinstance(asked, Watch) else self.judge.verdict(asked)
        except KeyboardInterrupt:
            clock.ended = "interrupted"
            return self.judge.undecided(asked.prop)


def _followed(system: System) -> list[str]:
    """The stores of which it is to be found out what is executed."""
    stores = system.contents.machine.stores
    return [store for store in system.addresses if stores[store].fill == "microprogram"]


def _monitors(properties: list[Property]) -> tuple[Variable, ...]:
    """The monitors of all of them, each once. Raises ValueError where two differ but have the same name."""
    found: dict[Node, Variable] = {}
    for prop in properties:
        for monitor in prop.monitors:
            if found.setdefault(monitor.leaf, monitor).next is not monitor.next:
                raise ValueError(f"two different monitors are both called {monitor.name}")
    return tuple(found.values())


def _address(system: System, store: str) -> Node:
    return system.terms.leaf("address", store, system.contents.machine.stores[store].address_width)
