"""Every property gets a verdict: the way from questions to answers on one screen.

Questions without monitors share one search, which decides those whose monitors only remember, too. Those with other
monitors are asked of an outline of what is reached with them; what is left gets a search with its monitors.
"""

from collections.abc import Callable
from functools import partial
from time import monotonic

from oxidd.util import DDMemoryError

from ordain.control.model import System, Variable
from ordain.control.system import with_free
from ordain.prover.limits import Deadline, LimitReached
from ordain.prover.model import Limits, Property, Report, Verdict, Verdicts, not_asked
from ordain.prover.questions import lower_properties, nodes_of
from ordain.prover.symbolic.cases import SearchCase, SearchWatch, covers, model_of, wide_model_of
from ordain.prover.symbolic.cone import within_cone
from ordain.prover.symbolic.outline import Outline
from ordain.prover.symbolic.remembered import Remembered, depth_of
from ordain.prover.symbolic.verdicts import Judge


def decide(system: System, properties: tuple[Property, ...], limits: Limits | None = None,
           report: Report | None = None) -> Verdicts:
    """Verdicts in the order of the properties. `system`: from `build_system`."""
    return ProofRounds(system, report).decide(properties, limits)


class ProofRounds:
    """Questions about one machine, asked in several rounds: the search of the first serves later ones where it can."""

    def __init__(self, system: System, report: Report | None = None) -> None:
        self._system, self._report = system, report
        self._base: SearchCase | None = None

    def decide(self, properties: tuple[Property, ...], limits: Limits | None = None) -> Verdicts:
        """As `decide`."""
        started = monotonic()
        limits = Limits() if limits is None else limits
        every = lower_properties(self._system, properties)
        fits = within_cone(self._system, every)
        lowered = tuple(prop for prop, asked in zip(every, fits) if asked)
        nodes = tuple(node for prop in lowered for node in nodes_of(prop))
        system = self._system._replace(free=with_free(self._system.free, nodes))
        known = self._base if self._base is not None and covers(self._base, system, lowered, limits) else None
        self._base = None  # what is of no use is given back first: diagrams set aside gigabytes of addresses
        found = _Deciding(system, lowered, limits, self._report, started, known)
        self._base = found.base
        answers = iter(found.every())
        verdicts = [(next(answers) if asked else not_asked(prop))._replace(property=prop)
                    for prop, asked in zip(properties, fits, strict=True)]
        over = found.safely(lambda: found.judge.over_assumed(found.nobody), found.nobody)
        base = found.base.layers
        return Verdicts(tuple(verdicts), over, found.executed(), found.base.states, found.base.transitions,
                        len(base.new) - 1, base.stopped, found.clock.ended)


def reached(system: System, properties: tuple[Property, ...], report: Report | None = None) -> SearchCase:
    """The search without monitors that answers some questions, as far as it came."""
    lowered = lower_properties(system, properties)
    nodes = tuple(node for prop in lowered for node in nodes_of(prop))
    whole = system._replace(free=with_free(system.free, nodes))
    return _Deciding(whole, lowered, Limits(), report, monotonic(), None).base


def _nothing() -> None:
    pass


_ENDINGS = LimitReached, DDMemoryError, KeyboardInterrupt


def _why(ending: BaseException) -> str:
    """What is told of an end that comes before the answer."""
    match ending:
        case KeyboardInterrupt():
            return "interrupted"
        case DDMemoryError():
            return "memory"
        case _:
            return str(ending)


class _Deciding:
    """`known`: a search without monitors that serves these questions."""

    def __init__(self, system: System, properties: tuple[Property, ...], limits: Limits, report: Report | None,
                 started: float, known: SearchCase | None) -> None:
        self._system, self._properties, self._limits = system, properties, limits
        self.nobody = Property("over-assumed", "", "bad", system.terms.const(0, 1))
        self._left_out: frozenset[int] = frozenset()
        self._watch = SearchWatch(limits, report, started)
        self._model = model_of(system, properties, limits) if known is None else known.model
        self._watch.tidy = self._model.space.tidy
        self.base = self._search() if known is None else known
        self.judge = Judge(self.base, limits)
        self.clock = Deadline(limits, started, self.base.layers.stopped)
        self._remembered: dict[tuple[Variable, ...], Remembered] = {}

    def _search(self) -> SearchCase:
        """The search without monitors: once more, with dead bits held at 0, if sets of states become large."""
        case = SearchCase(self._model, (), self._watch, wide=not self._limits.reduce)
        if case.layers.stopped != "width":
            return case
        del case, self._model  # given back first, as in `ProofRounds`
        self._left_out = frozenset(number for number, prop in enumerate(self._properties) if prop.aside)
        properties = tuple(prop for prop in self._properties if not prop.aside)
        self._watch.tidy = _nothing
        ended = ""
        try:
            self._model = wide_model_of(self._system, properties, self._limits, self._watch.look)
        except _ENDINGS as ending:
            ended = _why(ending)
        if ended:
            self._model = model_of(self._system, properties, self._limits)
        self._watch.tidy = self._model.space.tidy
        return SearchCase(self._model, (), self._watch, ended=ended)

    def every(self) -> list[Verdict]:
        found: dict[int, Verdict] = {}
        self._watch.asked = len(self._properties)
        later: dict[tuple[Variable, ...], list[int]] = {}
        for number, prop in enumerate(self._properties):
            verdict = not_asked(prop) if number in self._left_out else self._on_base(prop)
            if verdict is None:
                later.setdefault(prop.monitors, []).append(number)
            else:
                found[number] = verdict
            self._watch.decided = len(found)
        for monitors, numbers in later.items():
            found.update(zip(numbers, self._with_monitors(monitors, [self._properties[number] for number in numbers])))
            self._watch.decided = len(found)
        return [found[number] for number in range(len(self._properties))]

    def _on_base(self, prop: Property) -> Verdict | None:
        """The verdict of the search without monitors; None where it takes one with them, or time that is not left."""
        seen = prop.kind in ("bad", "reach")
        if prop.monitors:
            depth = depth_of(prop.monitors)
            if depth is None or not seen or self.clock.out() or self.base.layers.stopped:
                return None
            return self.safely_or_none(lambda: self._of_remembered(prop, depth), prop)
        if not seen and self.clock.out():
            return None
        return self.safely(lambda: self.judge.verdict(prop), prop)

    def _of_remembered(self, prop: Property, depth: int) -> Verdict | None:
        beside = self._remembered.get(prop.monitors)
        if beside is None:
            beside = self._remembered[prop.monitors] = Remembered(self.base, prop.monitors, depth)
        occurs = beside.occurs(prop.node)
        if not occurs and prop.kind == "reach":
            return self.judge.made(prop, "broken")
        if occurs and (prop.kind == "bad" or prop.shown):
            return None
        given = prop.vacuity is None or beside.occurs(prop.vacuity)
        return self.judge.made(prop, "proved" if given else "vacuous")

    def _with_monitors(self, monitors: tuple[Variable, ...], properties: list[Property]) -> list[Verdict]:
        if self.clock.out():
            return [self.judge.made(prop, "undecided") for prop in properties]
        if self.base.layers.stopped:
            return self._searched(monitors, properties, None)
        try:
            outline = Outline(self.base, monitors)
        except _ENDINGS as ending:
            self._end(ending)
            return [self.judge.made(prop, "undecided") for prop in properties]
        found = [self.safely_or_none(partial(self._outlined, outline, prop), prop) for prop in properties]
        left = [prop for prop, verdict in zip(properties, found) if verdict is None]
        rest = iter(self._searched(monitors, left, outline) if left else ())
        return [next(rest) if verdict is None else verdict for verdict in found]

    def _outlined(self, outline: Outline, prop: Property) -> Verdict | None:
        """The verdict on a question of which the outline of what is reached says enough."""
        if prop.kind not in ("bad", "reach") or outline.occurs(prop.node):
            return None
        if prop.kind == "reach":
            return self.judge.made(prop, "broken")
        if prop.vacuity is None or outline.surely_occurs(prop.vacuity):
            return self.judge.made(prop, "proved")
        return None if outline.occurs(prop.vacuity) else self.judge.made(prop, "vacuous")

    def _searched(self, monitors: tuple[Variable, ...], properties: list[Property],
                  outline: Outline | None) -> list[Verdict]:
        case = SearchCase(self._model, monitors, self._watch) if outline is None else \
            SearchCase(self._model, monitors, self._watch, outline.relation, outline.graph)
        self.clock.ended = self.clock.ended or case.layers.stopped
        judge = Judge(case, self._limits)
        return [self.safely(partial(judge.verdict, prop), prop) for prop in properties]

    def safely(self, answer: Callable[[], Verdict], prop: Property) -> Verdict:
        """An answer, or undecided where a limit is reached on the way."""
        found = self.safely_or_none(answer, prop)
        assert found is not None
        return found

    def safely_or_none(self, answer: Callable[[], Verdict | None], prop: Property) -> Verdict | None:
        try:
            return answer()
        except _ENDINGS as ending:
            self._end(ending)
        return self.judge.made(prop, "undecided")

    def _end(self, ending: BaseException) -> None:
        """The first reason counts, but whoever interrupts a search is told so."""
        if not self.clock.ended or isinstance(ending, KeyboardInterrupt):
            self.clock.ended = _why(ending)

    def executed(self) -> dict[str, frozenset[int]]:
        """The addresses that reachable cycles present, for each store that holds a microprogram."""
        stores = self._system.contents.machine.stores
        reached = self.base.layers.reached
        return {store: frozenset(self.base.presented(store, reached)) for store in self._system.addresses
                if stores[store].fill == "microprogram"}
