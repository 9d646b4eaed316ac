"""What each check and rule asks, said a second time: `docs/checks.md`, one paragraph there a few lines here.

A question is about cycles. `never`: no cycle has it. `reach`: some cycle has it. `always`: from everywhere a cycle with
it can come. What a question looks back to is in the memory of the board, so that every question is about one cycle.
"""

from collections.abc import Iterable, Iterator
from itertools import combinations, permutations
from typing import Literal, NamedTuple

from oxidd.bdd import BDDFunction

from ordain.audit.board import Board, NotAudited
from ordain.audit.dependence import feeding_itself, floating, outside
from ordain.audit.steadiness import needs
from ordain.audit.straying import strays
from ordain.audit.tearing import torn
from ordain.machine.model import AfterNever, BetweenNever, Bus, Never, Reach, Rule, WhenThen

_FORMS = {Never: "never", WhenThen: "when-then", BetweenNever: "between-never", AfterNever: "after-never"}


class ClaimQuestion(NamedTuple):
    """`check` and `subject` as a report names them. `cycles`: what is asked, allowed cycles taken out (for `always`:
    put in)."""

    check: str
    subject: str
    kind: Literal["never", "reach", "always"]
    cycles: BDDFunction


Part = tuple[tuple[str, ...], BDDFunction]
"""Cycles with a fault, and what the fault is about, for allowances."""


def questions(board: Board, bounds: dict[str, int]) -> dict[tuple[str, str], ClaimQuestion]:
    """Everything of which this audit knows the meaning, by check and subject: what has one name is one question, as in
    a report. `bounds`: what is said of the longest wait, by rule."""
    found: dict[tuple[str, str], ClaimQuestion] = {}
    for one in _every(board, bounds):
        before = found.get((one.check, one.subject))
        if before is not None and {before.kind, one.kind} != {"never"}:
            raise NotAudited(f"two questions that are both called `{one.subject}`")
        found[one.check, one.subject] = one if before is None else one._replace(cycles=before.cycles | one.cycles)
    return found


def _every(board: Board, bounds: dict[str, int]) -> Iterator[ClaimQuestion]:
    machine = board.machine
    for bus in machine.buses.values():
        if bus.undriven not in ("wired-and", "wired-or") and len(bus.drivers) > 1:
            yield _never(board, "contention", bus.name, (
                ((bus.name, a.name, b.name), board.holds(a.when) & board.holds(b.when))
                for a, b in combinations(bus.drivers, 2)))
        yield _never(board, "floating", bus.name, (
            ((bus.name, taker), faulty) for taker, faulty in floating(board, bus)))
        if bus.turnaround and len(bus.drivers) > 1:
            yield _never(board, "turnaround", bus.name, _handed_over(board, bus))
    for line in machine.exclusives:
        pairs = combinations(zip(line.names, line.signals, strict=True), 2)
        yield _never(board, "conflicting-enables", ", ".join(line.names), (
            ((a, b), board.holds(first) & board.holds(second)) for (a, first), (b, second) in pairs))
    for keep in machine.keeps:
        yield _never(board, "lost-state", f"{', '.join(keep.names)} while {keep.text}", (
            ((name,), board.holds(keep.condition) & _changes(board, name)) for name in keep.names))
    for strobe in machine.strobes:
        for need in strobe.needs:
            for part, faulty in needs(board, strobe, need):
                yield _never(board, "missing-hold", f"{need.bus} {part} {strobe.name}",
                             [((need.bus, strobe.name), faulty)])
    for register in machine.registers.values():
        twice = [board.holds(a.when) & board.holds(b.when) for a, b in combinations(register.loads, 2)
                 if a.source is None or a.source is not b.source]
        if register.transparent:
            yield _never(board, "race", register.name, [((register.name,), feeding_itself(board, register))])
        if twice:
            yield _never(board, "double-load", register.name, [((register.name,), board.any_of(twice))])
    for store in machine.stores.values():
        straying = strays(board, store)
        if straying is not None:
            yield _never(board, "strays", store.name, [((store.name,), straying)])
        if store.fill == "microprogram":
            placed = board.at(store.name, board.contents.sites.get(store.name, {}))
            yield _never(board, "nowhere", store.name, [((store.name,), ~placed)])
            if store.step is not None:
                yield _never(board, "torn", store.name, [((store.name,), torn(board, store))])
        elif store.fill != "computed":
            yield _never(board, "nowhere", store.name, [((store.name,), outside(board, store))])
    yield ClaimQuestion("over-assumed", "assumptions", "always", board.true)
    if machine.home is not None:
        excused = list(_excused(board, "stuck", ("home",)))
        yield ClaimQuestion("stuck", "home", "never", board.false) if board.true in excused else \
            ClaimQuestion("stuck", "home", "always", board.any_of([board.holds(machine.home), *excused]))
    for number, rule in enumerate(machine.rules, 1):
        yield _rule(board, f"rule {number}", rule, bounds)


def _never(board: Board, check: str, subject: str, parts: Iterable[Part]) -> ClaimQuestion:
    return ClaimQuestion(check, subject, "never", board.any_of(
        faulty & ~board.any_of(_excused(board, check, names)) for names, faulty in parts))


def _excused(board: Board, check: str, names: tuple[str, ...]) -> Iterator[BDDFunction]:
    """The cycles that allowances take out of a question about these names."""
    for allowance in board.machine.allowances:
        if allowance.check == check and allowance.on in ("", *names):
            named = board.contents.routines if allowance.at in board.contents.routines else board.contents.labels
            yield board.at(*named[allowance.at]) if allowance.at else board.true


def _changes(board: Board, name: str) -> BDDFunction:
    """A register loads, a latch is open, a state will have another value."""
    if name in board.machine.registers:
        return board.any_of(board.holds(load.when) for load in board.machine.registers[name].loads)
    state = board.machine.states[name]
    return board.any_of(old ^ new for old, new in zip(board.held(name, state.width), board.bits(state.next)))


def _handed_over(board: Board, bus: Bus) -> Iterator[Part]:
    """`last`: who was on when the bus was last driven. `idle`: the undriven cycles since, as far as they count; before
    the first cycle nobody was on. What follows an overlap is judged only where overlaps are in order."""
    on = board.driven(bus)
    somebody, owed = board.any_of(on), bus.turnaround
    overlaps = bus.undriven in ("wired-and", "wired-or") or any(
        allowance.check == "contention" and allowance.on in ("", bus.name, *(one.name for one in bus.drivers))
        for allowance in board.machine.allowances)
    fights = board.any_of(a & b for a, b in combinations(on, 2))
    counted = [one if overlaps else one & ~fights for one in on]
    last = board.remember(f"last on {bus.name}", counted, somebody)
    idle = board.held(f"idle {bus.name}", owed.bit_length())
    board.memory[f"idle {bus.name}"] = [bit & ~somebody for bit in board.one_more(idle, owed)]
    early = ~board.among(idle, (owed,))
    for (old, was_old), (new, was_new) in permutations(zip(range(len(on)), last), 2):
        yield ((bus.name, bus.drivers[old].name, bus.drivers[new].name),
               early & was_old & ~on[old] & on[new] & ~was_new)


def _rule(board: Board, name: str, rule: Rule, bounds: dict[str, int]) -> ClaimQuestion:
    """`name`: under which it remembers."""
    match rule.form:
        case Never(condition=condition):
            return _never(board, "never", rule.text, [((), board.holds(condition))])
        case Reach(condition=condition, always=always):
            return ClaimQuestion("always-reach" if always else "reach", rule.text, "always" if always else "reach",
                                 board.holds(condition))
        case WhenThen():
            return _never(board, "when-then", rule.text, [((), _late(board, name, rule, rule.form, bounds))])
        case BetweenNever(start=start, end=end, forbidden=forbidden, after=after):
            found = _inside(board, name, *map(board.holds, (start, end, after)))
        case AfterNever(start=start, forbidden=forbidden, until=until):
            found = _inside(board, name, board.holds(start), board.holds(until), board.true)
    return _never(board, _FORMS[type(rule.form)], rule.text, [((), found & board.holds(forbidden))])


def _inside(board: Board, name: str, start: BDDFunction, end: BDDFunction, after: BDDFunction) -> BDDFunction:
    """Cycles strictly inside a window, later than one of it with `after`. `open`: an earlier cycle had `start`, and
    none since had `end`; `armed`: one since, that one too, had `after`."""
    (opened,), (armed,) = board.held(f"{name} open", 1), board.held(f"{name} armed", 1)
    judged = opened & armed & ~end
    board.memory[f"{name} open"] = [start | (opened & ~end)]
    board.memory[f"{name} armed"] = [judged | ((start | (opened & ~end)) & after)]
    return judged


def _late(board: Board, name: str, rule: Rule, form: WhenThen, bounds: dict[str, int]) -> BDDFunction:
    """`waits`: how many cycles have gone by since the oldest trigger that has no response yet, and that one; 0 where
    there is none. Cycles in which the clock is held do not count and are not late."""
    limit = min(form.cycles, bounds.get(rule.text, form.cycles))
    clock = board.machine.clock
    goes_on = board.true if clock is None or clock.held is None else ~board.holds(clock.held)
    waits = board.held(f"{name} waits", (limit + 1).bit_length())
    nothing = board.among(waits, (0,))
    missing = ~(board.holds(form.response) | board.holds(form.unless)) & (board.holds(form.trigger) | ~nothing)
    begun = [nothing.ite(first, bit) for first, bit in zip(board.number(1, len(waits)), waits)]
    board.memory[f"{name} waits"] = [missing & goes_on.ite(new, old)
                                     for new, old in zip(board.one_more(begun, limit + 1), begun)]
    return missing & goes_on & board.among(waits if limit else begun, (limit + 1,))
