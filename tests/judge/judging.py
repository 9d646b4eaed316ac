"""The tool's answers about a machine beside those of the plain search."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from ordain.prover.model import Property, Verdict, Verdicts
from tests.judge.arms import Columns
from tests.judge.clocks import described
from tests.judge.cycle import Cycle
from tests.judge.deciding import Answer, answer
from tests.judge.description import Description
from tests.judge.questions import Context, Question, questions
from tests.judge.replaying import Display, replayed
from tests.judge.search import Graph, explore
from tests.judge.tool import Built, asked, decided

MOST_CYCLES = 30_000
"""Evaluations of a cycle that a machine may cost; larger ones are passed over."""


class Judged(NamedTuple):
    built: Built
    description: Description
    cycle: Cycle
    display: Display
    graph: Graph
    answers: dict[tuple[str, str], Answer]


def judged(built: Built, limit: int = MOST_CYCLES) -> Judged:
    """Raises `search.TooLarge`, `cycle.Unsupported`."""
    contents = built.contents
    description = described(built)
    cycle = Cycle(description, contents)
    context = Context({store: frozenset(sites) for store, sites in contents.sites.items()}, _overlaps(description),
                      {name: Columns(contents, store, built.micro)
                       for name, store in contents.machine.stores.items() if store.step is not None})
    wanted: list[Question] = questions(cycle, context)
    for question in wanted:
        question.eye.compiled()  # it may ask the cycle for one thing more: whether the clock goes on
    display = Display(cycle)
    graph = explore(cycle, limit)
    answers = {(question.check, question.subject): answer(graph, question) for question in wanted}
    return Judged(built, description, cycle, display, graph, answers)


def _overlaps(description: Description) -> frozenset[str]:
    """Buses of which an allowance lets drivers overlap."""
    found = set()
    for allow in description.allows:
        if allow.check.text == "contention":
            on = allow.on.text if allow.on else ""
            found |= {name for name, bus in description.buses.items()
                      if on in ("", name, *(driver.name.text for driver in bus.drivers))}
    return frozenset(found)


# ---------------------------------------------------------------- question by question


OF_LABELS = ("strays", "proved")
"""Asked of labels, which this judge does not know; of programs that name wherever they lead, it has to be proved."""


def disagreements(one: Judged, reduce: bool) -> list[str]:
    """Every coarse question: its verdict, where and how early it breaks, its worst case; what is executed, and how
    many states and transitions there are (where nothing is left out)."""
    return judged_verdicts(one, decided(one.built.contents, asked(one.built.contents), reduce), reduce)


def judged_verdicts(one: Judged, found: Verdicts, reduce: bool) -> list[str]:
    """The same of verdicts that are there already."""
    wrong = _whole(one, found, reduce)
    told = {(verdict.property.check, verdict.property.subject) for verdict in found.verdicts}
    wrong += [f"not asked: {key}" for key in one.answers.keys() - told if outcome(one.answers[key]) != "proved"]
    for verdict in found.verdicts:
        key = (verdict.property.check, verdict.property.subject)
        if key not in one.answers:
            if (key[0], verdict.outcome) != OF_LABELS:
                wrong.append(f"asked, and nobody knows why: {key}")
        else:
            wrong += [f"{key[0]}: {key[1]}: {text}" for text in against(one, verdict, one.answers[key])]
    return wrong


def alone(one: Judged, choose: Callable[[Sequence[Property]], Property]) -> list[str]:
    """Some questions asked by themselves, as a user does with `--only`: each with the verdict that it should have."""
    properties = [prop for prop in asked(one.built.contents) if (prop.check, prop.subject) in one.answers]
    wrong = []
    for prop in {choose(properties) for _ in range(3)}:
        verdict = decided(one.built.contents, [prop]).verdicts[0]
        key = (prop.check, prop.subject)
        wrong += [f"{key[0]}: {key[1]}: asked alone: {text}" for text in against(one, verdict, one.answers[key])]
    return wrong


def _whole(one: Judged, found: Verdicts, reduce: bool) -> list[str]:
    wrong = []
    graph = one.graph
    transitions = sum(len({edge.after for edge in own}) for own in graph.edges)
    counted = len(graph.states), transitions
    if not reduce and not one.cycle.remembers_more() and (found.states, found.transitions) != counted:
        wrong.append(f"states and transitions: {found.states}, {found.transitions}; {len(graph.states)}, {transitions}")
    for store, addresses in found.executed.items():
        plain, words = executed(one, store), one.built.contents.words[store]
        same = {words[address] for address in addresses} == {words[address] for address in plain}
        if not (plain <= addresses and same) if reduce else addresses != plain:
            wrong.append(f"executed in {store}: {sorted(addresses)}; {sorted(plain)}")
    dead = [graph.level[n] for n, own in enumerate(graph.edges) if not own]
    mine = ("broken", min(dead)) if dead else ("proved", None)
    theirs = (found.over_assumed.outcome, found.over_assumed.breaks[0].cycles if found.over_assumed.breaks else None)
    if mine != theirs:
        wrong.append(f"over-assumed: {theirs}; {mine}")
    return wrong


def executed(one: Judged, store: str) -> frozenset[int]:
    number = list(one.description.stores).index(store)
    return frozenset(where[number] for where in one.graph.where)


def outcome(found: Answer) -> str:
    """Allowances left aside."""
    question = found.question
    match question.kind:
        case "bad":
            broken = bool(found.faults)
        case "reach":
            broken = not found.faults
        case "always":
            broken = found.lost is not None
        case _:
            broken = found.endless or (found.worst is not None and found.worst > question.cycles)
    idle = question.check != "never" and len(found.met) < question.needs  # parts of a `never` are told by the report
    return "broken" if broken else "vacuous" if idle else "proved"


def against(one: Judged, verdict: Verdict, mine: Answer) -> list[str]:
    wrong = []
    if (verdict.outcome, verdict.worst) != (outcome(mine), mine.worst):
        return [f"{verdict.outcome} {verdict.worst}; {outcome(mine)} {mine.worst}"]
    if verdict.outcome == "broken" and mine.question.kind == "bad":
        theirs = {(each.address, each.cycles) for each in verdict.breaks}
        plain = by_address(one, mine, verdict.property)
        if not theirs <= plain or _words(one, verdict.property, theirs) != _words(one, verdict.property, plain):
            wrong.append(f"breaks {sorted(theirs, key=str)}; {sorted(plain, key=str)}")
    if mine.question.kind == "always" and mine.lost is not None and verdict.breaks[0].cycles != mine.lost[0]:
        wrong.append(f"lost after {verdict.breaks[0].cycles}; {mine.lost[0]}")
    if verdict.outcome == "proved" and mine.question.kind == "reach" and verdict.witness is not None:
        shortest = min(mine.faults.values())
        if len(verdict.witness.cycles) != shortest:
            wrong.append(f"reached in {len(verdict.witness.cycles)}; {shortest}")
    for each in verdict.breaks:
        if each.trace is not None:
            if mine.question.kind == "bad" and len(each.trace.cycles) != each.cycles:
                wrong.append(f"a trace of {len(each.trace.cycles)} cycles for {each.cycles}")
            wrong += replayed(one.cycle, one.display, mine.question, each.trace)
    if verdict.witness is not None:
        wrong += replayed(one.cycle, one.display, mine.question, verdict.witness)
    return wrong


def by_address(one: Judged, mine: Answer, prop: Property) -> set[tuple[int | None, int]]:
    first: dict[int | None, int] = {}
    number = list(one.description.stores).index(prop.per_word) if prop.per_word else None
    for (_, where), cycles in mine.faults.items():
        address = None if number is None else where[number]
        first[address] = min(cycles, first.get(address, cycles))
    return set(first.items())


def _words(one: Judged, prop: Property, breaks: set[tuple[int | None, int]]) -> set[tuple[int | None, int]]:
    """Of addresses that hold the same word and that nothing tells apart, the tool tells one."""
    if not prop.per_word:
        return breaks
    words = one.built.contents.words[prop.per_word]
    first: dict[int | None, int] = {}
    for address, cycles in breaks:
        word = None if address is None else words[address]
        first[word] = min(cycles, first.get(word, cycles))
    return set(first.items())
