"""Every question that a machine raises, each with a memory of its own: what docs/checks.md says, said once more.

A question looks at one cycle after another. `step` is given what its observer sees of a cycle and what it remembers,
and gives the marks of that cycle and what it remembers then. Nothing here knows the properties that `ordain.checks`
makes, nor how they are answered.
"""

from collections.abc import Callable, Iterator
from itertools import combinations, permutations
from typing import Any, NamedTuple

from ordain.language import tree
from tests.judge.arms import Columns
from tests.judge.cycle import Cycle
from tests.judge.dependence import Dependence
from tests.judge.observer import Observer, Seen
from tests.judge.speech import spelt
from tests.judge.steady import SHARED, Buses

Part = tuple[str, ...]
"""What a fault is about: the names by which an allowance can mean it."""
Memory = Any


class Marks(NamedTuple):
    """Of one cycle. `parts`: the faults in it (for `reach` and `always`: not empty where the target is met).
    `met`: the numbers of those things that occur in it of which each has to occur somewhere, or the question says
    nothing. `trigger`, `response`: of `within`; `still`: something holds the clock, and no time goes by for it."""

    parts: frozenset[Part] = frozenset()
    met: frozenset[int] = frozenset()
    trigger: bool = False
    response: bool = False
    still: bool = False


NOTHING = Marks()
ALL = frozenset((0,))
Step = Callable[[Seen, Memory], tuple[Marks, Memory]]


class Question(NamedTuple):
    """`kind`: bad, reach, always, within. `names`: what allowances may call the whole of it. `needs`: how many
    things have to occur (see `Marks.met`). `cycles`: what a `within` allows; `stands`: on a clock that may be held."""

    check: str
    subject: str
    kind: str
    eye: Observer
    start: Memory
    step: Step
    names: Part = ()
    needs: int = 0
    cycles: int = 0
    stands: bool = False


def questions(cycle: Cycle, context: "Context") -> list[Question]:
    """All of them, in no order that matters."""
    return [*_contention(cycle), *_exclusive(cycle), *_floating(cycle), *_turnaround(cycle, context),
            *_missing_hold(cycle), *_lost_state(cycle), *_double_load(cycle), *_race(cycle),
            *_nowhere(cycle, context), *_torn(cycle, context), *_stuck(cycle), *_occurrences(cycle), *_rules(cycle)]


class Context(NamedTuple):
    """`placed`: per store the addresses at which something was placed. `overlaps`: buses on which an allowance lets
    drivers overlap. `columns`: of the stores addressed by instruction and step."""

    placed: dict[str, frozenset[int]]
    overlaps: frozenset[str]
    columns: dict[str, Columns]


def _now(fault: Callable[[Seen], frozenset[Part]]) -> Step:
    """A question about each cycle by itself."""
    return lambda seen, memory: (Marks(fault(seen)), memory)


def _contention(cycle: Cycle) -> Iterator[Question]:
    for name, bus in cycle.description.buses.items():
        if bus.undriven in SHARED or len(bus.drivers) < 2:
            continue
        eye = Observer(cycle)
        on = [(driver.name.text, eye.see(driver.when)) for driver in bus.drivers]

        def fault(seen: Seen, on: list[tuple[str, int]] = on, bus_name: str = name) -> frozenset[Part]:
            return frozenset((bus_name, a, b) for (a, i), (b, j) in combinations(on, 2) if seen[i] and seen[j])

        yield Question("contention", name, "bad", eye, None, _now(fault), (name,))


def _exclusive(cycle: Cycle) -> Iterator[Question]:
    for line, made in zip(cycle.description.exclusives, cycle.description.machine.exclusives, strict=True):
        eye = Observer(cycle)
        on = [(name, eye.see(signal)) for name, signal in zip(made.names, line.signals, strict=True)]

        def fault(seen: Seen, on: list[tuple[str, int]] = on) -> frozenset[Part]:
            return frozenset((a, b) for (a, i), (b, j) in combinations(on, 2) if seen[i] and seen[j])

        yield Question("conflicting-enables", ", ".join(name for name, _ in on), "bad", eye, None, _now(fault))


def _floating(cycle: Cycle) -> Iterator[Question]:
    """A bus that has no level is taken. The memory: whether anybody has driven it since reset, but with what stood
    there."""
    for name, bus in cycle.description.buses.items():
        if bus.undriven in SHARED:
            continue
        eye = Observer(cycle)
        depends = Dependence(eye)
        on = [eye.see(driver.when) for driver in bus.drivers]

        def step(seen: Seen, driven: bool, name: str = name, on: list[int] = on, depends: Dependence = depends,
                 keeps: bool = bus.undriven == "kept",
                 held: bool = bus.undriven.startswith("pulled")) -> tuple[Marks, Memory]:
            now = any(seen[driver] for driver in on)
            if depends.comes_round(seen, name, sum(seen[driver] for driver in on) == 1):
                now = held = False
            if now or held or (keeps and driven):
                return NOTHING, driven or now
            return Marks(frozenset((name, taker) for taker in depends.takers(seen, name))), driven

        if depends.may_be_taken(name):
            yield Question("floating", name, "bad", eye, False, step, (name,))


def _turnaround(cycle: Cycle, context: Context) -> Iterator[Question]:
    for name, bus in cycle.description.buses.items():
        if not bus.turnaround or len(bus.drivers) < 2:
            continue
        eye = Observer(cycle)
        on = [(driver.name.text, eye.see(driver.when)) for driver in bus.drivers]
        overlaps = name in context.overlaps or bus.undriven in SHARED

        def step(seen: Seen, memory: tuple[frozenset[str], int], on: list[tuple[str, int]] = on, bus_name: str = name,
                 owed: int = bus.turnaround, overlaps: bool = overlaps) -> tuple[Marks, Memory]:
            """The memory: who was on when the bus was last driven, and how many undriven cycles lie since."""
            last, gap = memory
            now = frozenset(driver for driver, number in on if seen[number])
            parts: set[Part] = set()
            if now and gap < owed and (overlaps or len(last) < 2):
                parts = {(bus_name, old, new) for old, new in permutations([driver for driver, _ in on], 2)
                         if old in last and old not in now and new in now and new not in last}
            if now:
                following = (now, 0)
            elif last and gap + 1 < owed:
                following = (last, gap + 1)
            else:
                following = (frozenset(), 0)
            return Marks(frozenset(parts)), following

        yield Question("turnaround", name, "bad", eye, (frozenset(), 0), step, (name,))


def _missing_hold(cycle: Cycle) -> Iterator[Question]:
    for strobe in cycle.description.strobes:
        for need in strobe.needs:
            for side in ("before", "during", "after"):
                if side == "during" or getattr(need, side):
                    yield _held(cycle, strobe, need, side)


def _held(cycle: Cycle, strobe: tree.Strobe, need: tree.SteadyNeed, side: str) -> Question:
    """The memory: the cycle before (None at the start), whether the strobe was active in it, how many edges up to it
    were steady one after another, and how many cycles ago the strobe was last active."""
    eye = Observer(cycle)
    active = eye.see(cycle.description.active(strobe))
    bus, buses = need.bus.text, Buses(eye, need.bus.text)
    found = frozenset([(bus, strobe.name.text)])

    def step(seen: Seen, memory: tuple[Seen | None, bool, int, int]) -> tuple[Marks, Memory]:
        before, was_active, edges, since = memory
        edge = before is not None and buses.steady(bus, before, seen)
        edges = min(need.before, edges + 1) if edge else 0
        since = min(need.after + 1, since + 1)
        now, rests = bool(seen[active]), buses.rests(bus, seen)
        begins = now and not was_active
        match side:
            case "during":
                fault = now and (not rests or (was_active and not edge))
            case "before":
                fault = begins and rests and edges < need.before
            case _:
                judged = not now or (begins and not need.before and rests)
                fault = since <= need.after and judged and not edge
        return Marks(found if fault else frozenset()), (seen, now, edges, 0 if now else since)

    return Question("missing-hold", f"{bus} {side} {strobe.name.text}", "bad", eye, (None, False, 0, need.after + 1),
                    step, (bus, strobe.name.text))


def _lost_state(cycle: Cycle) -> Iterator[Question]:
    for keep, text in zip(cycle.description.keeps, cycle.description.machine.keeps, strict=True):
        eye = Observer(cycle)
        condition = eye.see(keep.condition)
        changes = [(name.text, eye.see_fact(_changes(cycle, name.text))) for name in keep.names]

        def step(seen: Seen, memory: Memory, condition: int = condition,
                 changes: list[tuple[str, int]] = changes) -> tuple[Marks, Memory]:
            if not seen[condition]:
                return NOTHING, memory
            return Marks(frozenset((name,) for name, number in changes if seen[number]), ALL), memory

        names = ", ".join(name.text for name in keep.names)
        yield Question("lost-state", f"{names} while {text.text}", "bad", eye, None, step, (), 1)


def _changes(cycle: Cycle, name: str) -> str:
    if name in cycle.description.registers:
        return f"(1 if {cycle.opened(name)} else 0)"
    agent, state = cycle.description.states[name]
    thing = cycle.description.things[name]
    assert isinstance(state, tree.State) and state.next is not None
    return f"(1 if {cycle.text(state.next, thing.width, thing.codes, agent)} != {cycle.leaf(thing)} else 0)"


def _double_load(cycle: Cycle) -> Iterator[Question]:
    """Two loads that differ, or one of something that is not described beside another."""
    for name, register in cycle.description.registers.items():
        width = cycle.description.things[name].width
        loads = [(None if load.source is None else spelt(load.source, cycle.description, width), load.when)
                 for load in register.loads]
        eye = Observer(cycle)
        pairs = [(eye.see(when), eye.see(other)) for (source, when), (another, other) in combinations(loads, 2)
                 if source is None or source != another]
        if not pairs:
            continue

        def fault(seen: Seen, pairs: list[tuple[int, int]] = pairs, name: str = name) -> frozenset[Part]:
            return frozenset([(name,)]) if any(seen[one] and seen[two] for one, two in pairs) else frozenset()

        yield Question("double-load", name, "bad", eye, None, _now(fault), (name,))


def _race(cycle: Cycle) -> Iterator[Question]:
    """A latch is open, and what it loads or the condition of a load depends on what it shows."""
    for name, latch in cycle.description.registers.items():
        if not latch.transparent:
            continue
        eye = Observer(cycle)
        depends = Dependence(eye)
        loads = [eye.see(load.when) for load in latch.loads]

        def fault(seen: Seen, name: str = name, loads: list[int] = loads,
                  depends: Dependence = depends) -> frozenset[Part]:
            feeds = any(seen[load] for load in loads) and depends.feeds_itself(seen, name)
            return frozenset([(name,)]) if feeds else frozenset()

        yield Question("race", name, "bad", eye, None, _now(fault), (name,))


def _nowhere(cycle: Cycle, context: Context) -> Iterator[Question]:
    for name, store in cycle.description.machine.stores.items():
        placed = context.placed.get(name, frozenset())
        if store.fill == "computed" or (store.fill != "microprogram" and not placed):
            continue
        eye = Observer(cycle)
        depends = Dependence(eye) if store.fill != "microprogram" else None
        outside = eye.see_fact(f"(0 if {cycle.address(name)} in {cycle.table(placed)} else 1)")

        def fault(seen: Seen, outside: int = outside, name: str = name,
                  depends: Dependence | None = depends) -> frozenset[Part]:
            gone = seen[outside] and (depends is None or depends.takers(seen, name))
            return frozenset([(name,)]) if gone else frozenset()

        yield Question("nowhere", name, "bad", eye, None, _now(fault), (name,))


def _torn(cycle: Cycle, context: Context) -> Iterator[Question]:
    """The memory: the address in the cycle before."""
    for name, columns in context.columns.items():
        eye = Observer(cycle)
        address = eye.see_fact(cycle.address(name))

        def step(seen: Seen, before: int | None, name: str = name, address: int = address,
                 columns: Columns = columns) -> tuple[Marks, Memory]:
            now = seen[address]
            torn = before is not None and columns.torn(before, now)
            return Marks(frozenset([(name,)]) if torn else frozenset()), now

        yield Question("torn", name, "bad", eye, None, step, (name,))


def _stuck(cycle: Cycle) -> Iterator[Question]:
    where = cycle.description.home
    if where is not None:
        if isinstance(where, tree.Word) and cycle.description.find(where.text, "") is None:
            where = tree.At(where, where.span)
        yield _target("stuck", "home", "always", cycle, where, ("home",))


def _target(check: str, subject: str, kind: str, cycle: Cycle, expr: tree.Expr | None, names: Part) -> Question:
    eye = Observer(cycle)
    number = eye.see(expr)
    here = frozenset([names])
    return Question(check, subject, kind, eye, None,
                    lambda seen, memory: (Marks(here) if seen[number] else NOTHING, memory), names)


def _occurrences(cycle: Cycle) -> Iterator[Question]:
    """What checks take for granted to happen."""
    description = cycle.description
    for strobe in description.strobes:
        yield _target("vacuous", f"strobe `{strobe.name.text}`", "reach", cycle, description.active(strobe),
                      (strobe.name.text,))
    for name, bus in description.buses.items():
        for sampler in bus.samplers:
            yield _target("vacuous", f"sampling of `{name}` by `{sampler.name.text}`", "reach", cycle, sampler.when,
                          (sampler.name.text, name))
        for driver in bus.drivers:
            if driver.name.text in description.agents:
                yield _target("vacuous", f"`{driver.name.text}` driving `{name}`", "reach", cycle, driver.when,
                              (driver.name.text, name))


# ---------------------------------------------------------------- rules


def _rules(cycle: Cycle) -> Iterator[Question]:
    for rule in cycle.description.rules:
        name, form = rule.text.text, rule.form
        match form:
            case tree.Never(condition=condition):
                yield _never(cycle, name, condition)
            case tree.Reach(condition=condition, always=always):
                yield _target("always-reach" if always else "reach", name, "always" if always else "reach", cycle,
                              condition, ())
            case tree.WhenThen():
                yield _within(cycle, name, form)
            case tree.BetweenNever(start=start, end=end, forbidden=forbidden, after=after):
                yield _window("between-never", name, cycle, (start, end, forbidden), after)
            case tree.AfterNever(start=start, forbidden=forbidden, until=until):
                yield _window("after-never", name, cycle, (start, until, forbidden), None)


def _never(cycle: Cycle, name: str, condition: tree.Expr) -> Question:
    """Each part of `never A and B` has to occur by itself; of one part alone nothing of the kind can be said."""
    eye = Observer(cycle)
    number = eye.see(condition)
    parts = [eye.see(part) for part in _conjuncts(condition)]
    needs = len(parts) if len(parts) > 1 else 0
    here = frozenset([()])

    def step(seen: Seen, memory: Memory) -> tuple[Marks, Memory]:
        met = frozenset(n for n, part in enumerate(parts) if seen[part])
        return Marks(here if seen[number] else frozenset(), met), memory

    return Question("never", name, "bad", eye, None, step, (), needs)


def _conjuncts(expr: tree.Expr) -> list[tree.Expr]:
    if isinstance(expr, tree.Infix) and expr.operator == "and":
        return [*_conjuncts(expr.left), *_conjuncts(expr.right)]
    return [expr]


def _within(cycle: Cycle, name: str, form: tree.WhenThen) -> Question:
    eye = Observer(cycle)
    trigger, response = eye.see(form.trigger), eye.see(form.response)
    unless = None if form.unless is None else eye.see(form.unless)
    goes_on = eye.see(cycle.description.goes_on())

    def step(seen: Seen, memory: Memory) -> tuple[Marks, Memory]:
        answered = bool(seen[response]) or (unless is not None and bool(seen[unless]))
        met = ALL if seen[trigger] else frozenset()
        return Marks(frozenset(), met, bool(seen[trigger]), answered, not seen[goes_on]), memory

    stands = cycle.description.goes_on() is not None
    return Question("when-then", name, "within", eye, None, step, (), 1, form.cycles, stands)


def _window(check: str, name: str, cycle: Cycle, parts: tuple[tree.Expr, tree.Expr, tree.Expr],
            after: tree.Expr | None) -> Question:
    """The memory: whether some earlier cycle has opened the window and nothing has closed it since, and whether
    `after` has held in a cycle since it was opened (that one included)."""
    eye = Observer(cycle)
    start, end, forbidden = (eye.see(part) for part in parts)
    since = eye.see(after)
    here = frozenset([()])

    def step(seen: Seen, memory: tuple[bool, bool]) -> tuple[Marks, Memory]:
        opened, armed = memory
        still = opened and not seen[end]
        judged = still and armed
        marks = Marks(here if judged and seen[forbidden] else frozenset(), ALL if judged else frozenset())
        opened = still or bool(seen[start])
        armed = opened and ((still and armed) or bool(seen[since]))
        return marks, (opened, armed)

    return Question(check, name, "bad", eye, (False, False), step, (), 1)
