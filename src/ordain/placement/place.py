"""Placement from end to end: demands, units, the quick way, the exact way, final words."""

from typing import NamedTuple

from ordain.machine.model import Machine
from ordain.microprogram.model import Program
from ordain.placement import clusters, demands, exact, explain, fill, pages, quick, remember
from ordain.placement.bins import Budget, Spent
from ordain.placement.clusters import Units
from ordain.placement.demands import Task
from ordain.placement.met import met
from ordain.placement.model import Placement, Recorded
from ordain.placement.pages import Pages
from ordain.placement.quick import Arrangement, Stuck, Wishes
from ordain.placement.space import AddressSpace, gather, members, room
from ordain.text.findings import Finding, has_errors

_STATES = 60_000
"""How many states the exact way looks at before it gives up: some ten seconds."""
_ROUNDS = 12
"""How often recorded words make room for a piece that found none, before all of them are free to move."""


_FOLLOWS = "for the word before it, which counts on"


class Seats(NamedTuple):
    """Word -> its addresses, the label's first; and (word, address, why) of those that are copies."""

    of_word: dict[int, tuple[int, ...]]
    copies: tuple[tuple[int, int, str], ...]


def place(machine: Machine, program: Program, recorded: Recorded | None) -> tuple[Placement | None, list[Finding]]:
    """An address for every word and the final words; no placement with an error among the findings.

    Words that have an address in `recorded` keep it where that leaves room for all."""
    tasks, findings = demands.collect(machine, program)
    if has_errors(findings):
        return None, findings
    recalled = remember.recall(machine, program, recorded) if recorded is not None else {}
    addresses: list[tuple[int, ...]] = [()] * len(program.words)
    copies: list[tuple[int, int, str]] = []
    for task in tasks:
        settled = _settle(task, recalled)
        if isinstance(settled, Seats):
            if not met(task, settled.of_word):
                raise AssertionError(f"words of `{task.store}` do not stand as they have to")
            for word, places in settled.of_word.items():
                addresses[word] = places
            copies.extend(settled.copies)
        else:
            findings.extend(settled)
    if has_errors(findings):
        return None, findings
    words, unused = fill.fill(machine, program, addresses, recorded.words if recorded is not None else {})
    return Placement(tuple(addresses), words, tuple(copies), unused), findings


def _settle(task: Task, recalled: dict[int, tuple[int, ...]]) -> Seats | list[Finding]:
    """The seats of one store's words, or why there are none."""
    space = AddressSpace(task.size, task.width)
    bonded = frozenset(word for bond in task.bonds for word in bond.words)
    units = clusters.join(space, task, bonded, merge=True)
    grouped = pages.group(task.bonds, units)
    wishes = remember.wishes(units, recalled) if recalled else None
    layout = _quickly(task, space, units, grouped, wishes)
    if isinstance(layout, Arrangement):
        return _seats(task, units, layout)
    return _exactly(task, space, units, grouped, wishes, layout, bonded)


def _quickly(task: Task, space: AddressSpace, units: Units, grouped: Pages,
             wishes: Wishes | None) -> Arrangement | Stuck:
    """The quick way, first with all that was recorded kept, then with less and less of it."""
    for _ in range(_ROUNDS):
        if wishes is None:
            break
        layout = quick.lay(space, units, grouped, task.counting, wishes, task.heads)
        if isinstance(layout, Arrangement) and _bonds_kept(task, units, grouped, layout):
            return layout
        wishes = _made_room(space, units, task.counting, wishes, layout) if isinstance(layout, Stuck) else None
    layout = quick.lay(space, units, grouped, task.counting, None, task.heads)
    if isinstance(layout, Arrangement) and not _bonds_kept(task, units, grouped, layout):
        return Stuck(None, None)
    return layout


def _bonds_kept(task: Task, units: Units, grouped: Pages, layout: Arrangement) -> bool:
    if any(group.split for group in grouped.groups):
        return False
    seats = _seats(task, units, layout).of_word
    return all(pages.kept(bond, seats) for bond in grouped.late)


def _made_room(space: AddressSpace, units: Units, counting: int, wishes: Wishes, stuck: Stuck) -> Wishes | None:
    """Wishes in which the piece that was stuck stands where the fewest recorded words have to give way to it."""
    if stuck.unit is not None:
        unit, kind, number = units.units[stuck.unit], "unit", stuck.unit
        length, domain = len(unit.words), unit.domain
    elif stuck.run is not None:
        length, kind, number = units.runs[stuck.run][1], "run", stuck.run
        domain = space.rows(length, counting)
    else:
        return None
    pieces = [("unit", at, base, len(units.units[at].words)) for at, base in enumerate(wishes.units)
              if base is not None]
    pieces += [("run", at, base, units.runs[at][1]) for at, base in enumerate(wishes.runs) if base is not None]
    weight = [0] * space.size
    for _, _, base, own in pieces:
        for address in range(base, min(base + own, space.size)):
            weight[address] = own
    unfixed = space.full & ~gather(units.fixed, space.size)
    best = min(((sum(weight[base:base + length]), base) for base in members(domain & room(unfixed, length))),
               default=None)
    if best is None:
        return None
    bases = {"unit": list(wishes.units), "run": list(wishes.runs)}
    for other, at, base, own in pieces:
        if base < best[1] + length and best[1] < base + own:
            bases[other][at] = None
    bases[kind][number] = best[1]
    return Wishes(tuple(bases["unit"]), tuple(bases["run"]), wishes.firm | {(kind, number)})


def _exactly(task: Task, space: AddressSpace, units: Units, grouped: Pages, wishes: Wishes | None, stuck: Stuck,
             bonded: frozenset[int]) -> Seats | list[Finding]:
    """The exact way: with the units as they were joined, then, where a word might also stand twice, with every demand
    on its own."""
    plain = not units.shared and not units.settled and all(len(unit.parts) == 1 for unit in units.units)
    broken = explain.contradictions(task, units, grouped)
    crowded, left = explain.crowded(task), explain.no_room(task, units, stuck)
    short = explain.shortage(task, space, units, grouped)
    if plain and broken:
        return broken
    if crowded is not None:
        return [crowded]
    if plain and short is not None:
        return [short]
    budget = Budget(_STATES)
    layout = None
    try:
        if not broken:
            liked = wishes.units if wishes is not None else (None,) * len(units.units)
            layout = exact.search(space, units, grouped, task.counting, liked, budget)
        if layout is None and not plain:
            units = clusters.join(space, task, bonded, merge=False)
            grouped = pages.group(task.bonds, units)
            broken = explain.contradictions(task, units, grouped)
            if not broken:
                layout = exact.search(space, units, grouped, task.counting, (None,) * len(units.units), budget)
    except Spent:
        return [explain.undecided(units, task.store, left, _STATES)]
    if layout is not None:
        return _seats(task, units, layout)
    return broken or [short or explain.nothing_fits(task, units, grouped, left)]


def _seats(task: Task, units: Units, layout: Arrangement) -> Seats:
    """Where every word stands by a layout: fixed places first, then the demands in their order, then rows."""
    seats: dict[int, dict[int, str]] = {}
    own: dict[int, frozenset[int]] = {}
    for address, word in sorted(task.fixed.items()):
        if word not in own:
            own[word] = frozenset(task.program.words[word].fixed)
        seats.setdefault(word, {})[address] = "" if address in own[word] else _FOLLOWS
    bases = dict(units.settled)
    for unit, base in zip(units.units, layout.units):
        bases.update((number, base + offset) for number, offset in unit.parts)
    for number, base in sorted(bases.items()):
        demand = units.demands[number]
        for offset, word in demand.cells:
            seats.setdefault(word, {}).setdefault(base + offset, demand.why)
    copies: list[tuple[int, int, str]] = []
    for word, places in seats.items():
        copies.extend((word, address, why) for at, (address, why) in enumerate(places.items()) if at and why)
    found = {word: tuple(places) for word, places in seats.items()}
    for (first, length), base in zip(units.runs, layout.runs):
        for at in range(length):
            found[first + at] = (base + at,)
    return Seats(found, tuple(copies))


