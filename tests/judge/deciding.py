"""The answer to one question alone: a plain search through the states of the machine and what the question remembers.

Nothing is shared between questions but the list of the machine's own states and cycles.
"""

from collections import deque
from typing import Any, NamedTuple

from tests.judge.cycle import Facts
from tests.judge.questions import Marks, Part, Question
from tests.judge.search import Graph, TooLarge

Where = tuple[int, ...]
"""The addresses of a cycle, one for each store in the order of the text."""


class Answer(NamedTuple):
    """`faults`: for each part and place of a fault the fewest cycles of a sequence that ends in it (for `reach`: of one
    that ends in the target). `lost`: for `always`, the fewest cycles before a state from which there is no way, and how
    many such states; None where there is none. `worst`: of `within`, None also where it has no end (`endless`).
    `met`: see `Marks`.
    `states`, `transitions`: of the machine with what is remembered."""

    question: Question
    faults: dict[tuple[Part, Where], int]
    lost: tuple[int, int] | None
    worst: int | None
    endless: bool
    met: frozenset[int]
    states: int
    transitions: int


class Step(NamedTuple):
    """One cycle of the product: to which node, at which addresses, with which marks."""

    after: int
    where: Where
    marks: Marks


class Product(NamedTuple):
    level: list[int]
    steps: list[list[Step]]


def unfolded(graph: Graph, question: Question, limit: int = 200_000) -> Product:
    """All pairs of a state of the machine and what the question remembers, with their cycles."""
    pick, look = question.eye.compiled()
    start = (question.eye.start(), question.start)
    number: dict[tuple[int, Any], int] = {}
    nodes: list[tuple[int, Any]] = []
    level: list[int] = []

    def enter(state: int, memory: Any, depth: int) -> int:
        found = number.setdefault((state, memory), len(nodes))
        if found == len(nodes):
            nodes.append((state, memory))
            level.append(depth)
            waiting.append(found)
        return found

    waiting: deque[int] = deque()
    for state in graph.starts:
        enter(state, start, 0)
    distinct: dict[Facts, int] = {}
    local = [distinct.setdefault(pick(facts), len(distinct)) for facts in graph.facts]
    picked = list(distinct)
    cycles: dict[int, set[tuple[int, int, int]]] = {}
    known: dict[Any, tuple[Marks, Any]] = {}
    steps: list[list[Step]] = []
    spent = 0
    while waiting:
        here = waiting.popleft()
        state, memory = nodes[here]
        if state not in cycles:
            cycles[state] = {(after, where, local[facts]) for after, where, facts in graph.edges[state]}
        spent += len(cycles[state])
        if spent > limit:
            raise TooLarge
        own = []
        for after, where, facts in cycles[state]:
            key = (facts, memory)
            found = known.get(key)
            if found is None:
                seen, priors = look(picked[facts], memory[0])
                marks, following = question.step(seen, memory[1])
                found = known[key] = (marks, (priors, following))
            own.append(Step(enter(after, found[1], level[here] + 1), graph.where[where], found[0]))
        steps.append(own)
    return Product(level, steps)


def answer(graph: Graph, question: Question) -> Answer:
    product = unfolded(graph, question)
    faults: dict[tuple[Part, Where], int] = {}
    met: frozenset[int] = frozenset()
    for level, own in zip(product.level, product.steps, strict=True):  # in the order of levels
        for _, where, marks in own:
            met |= marks.met
            for part in marks.parts:
                faults.setdefault((part, where), level + 1)
    lost = _lost(product, frozenset()) if question.kind == "always" else None
    worst, endless = None, False
    if question.kind == "within":
        worst, endless = (None, _late(product, question.cycles)) if question.stands else _longest(product)
    return Answer(question, faults, lost, worst, endless, met, len(product.level),
                  sum(len({step.after for step in own}) for own in product.steps))


def lost_but_for(graph: Graph, question: Question, home: frozenset[tuple[int, int]]) -> tuple[int, int] | None:
    """The same as `Answer.lost`, where the places (number of the store, address) count as reached too."""
    return _lost(unfolded(graph, question), home)


def _lost(product: Product, home: frozenset[tuple[int, int]]) -> tuple[int, int] | None:
    before: list[set[int]] = [set() for _ in product.level]
    able: set[int] = set()
    for here, own in enumerate(product.steps):
        for after, where, marks in own:
            before[after].add(here)
            if marks.parts or any(place in home for place in enumerate(where)):
                able.add(here)
    waiting = list(able)
    while waiting:
        for earlier in before[waiting.pop()]:
            if earlier not in able:
                able.add(earlier)
                waiting.append(earlier)
    lost = [level for here, level in enumerate(product.level) if here not in able]
    return (min(lost), len(lost)) if lost else None


def _longest(product: Product) -> tuple[int | None, bool]:
    """The longest wait after a trigger, and whether one has no end. A wait goes on in cycles without a response."""
    going = [sorted({step.after for step in own if not step.marks.response}) for own in product.steps]
    endless = _on_or_before_a_round(going)
    waits: dict[int, int] = {}

    def wait(root: int) -> int:
        stack = [root]
        while stack:
            here = stack[-1]
            open_ = [after for after in going[here] if after not in waits]
            if open_:
                stack.extend(open_)
            else:
                waits[here] = 1 + max(waits[after] for after in going[here]) if going[here] else 0
                stack.pop()
        return waits[root]

    worst: int | None = None
    for own in product.steps:
        for after, _, marks in own:
            if not marks.trigger:
                continue
            if marks.response:
                worst = max(worst or 0, 0)
            elif after in endless:
                return None, True
            else:
                worst = max(worst or 0, 1 + wait(after))
    return worst, False


def _late(product: Product, cycles: int) -> bool:
    """Whether some wait goes on in more than so many cycles that end. One in which the clock stands has not ended: the
    response may still come in it."""
    waiting = [(after, int(not marks.still)) for own in product.steps for after, _, marks in own
               if marks.trigger and not marks.response]
    seen = set(waiting)
    while waiting:
        here, gone = waiting.pop()
        if gone > cycles:
            return True
        for after, _, marks in product.steps[here]:
            there = after, gone + (not marks.still)
            if not marks.response and there not in seen:
                seen.add(there)
                waiting.append(there)
    return False


def _on_or_before_a_round(going: list[list[int]]) -> set[int]:
    """The nodes from which one can go on for ever: what is left when everything that has an end is taken away."""
    before: list[list[int]] = [[] for _ in going]
    left = [len(own) for own in going]
    for here, own in enumerate(going):
        for after in own:
            before[after].append(here)
    waiting = [here for here, count in enumerate(left) if not count]
    ended = set(waiting)
    while waiting:
        for earlier in before[waiting.pop()]:
            left[earlier] -= 1
            if not left[earlier]:
                ended.add(earlier)
                waiting.append(earlier)
    return set(range(len(going))) - ended
