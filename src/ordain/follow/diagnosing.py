"""Which single fault explains a capture: the machine with each of them is followed through the same readings."""

from collections.abc import Callable, Iterable, Sequence

from ordain.capture.sampling import Reading
from ordain.follow.following import Clips, follow
from ordain.follow.model import Apart, Clock, Fault, Suspect
from ordain.follow.states import States
from ordain.machine.expression import Node

ALIKE = 12
"""Suspects that are told apart, at most."""
LOOKED_AT = 60
"""Clocks in which it is looked for what tells them apart, the last ones."""


def suspects(states: States, clips: Clips, readings: Sequence[Reading], every: Iterable[Fault],
             report: Callable[[int], None] | None = None) -> list[Suspect]:
    """Those that explain more than the sound machine does, the best first. Faults with the same words are one."""
    groups: dict[tuple[object, ...], list[Fault]] = {}
    for fault in every:
        key = (tuple(sorted(fault.words.items())), fault.state, fault.bit, fault.level, fault.inside, fault.clips)
        groups.setdefault(key, []).append(fault)
    sound = follow(states, clips, readings, states.running()).clocks
    found = []
    for number, group in enumerate(groups.values(), 1):
        if report is not None:
            report(number)
        first = group[0]
        faulty = states.changed(first)
        clocks = follow(faulty, clips.put(first), readings, faulty.running()).clocks
        if clocks > sound:
            found.append(Suspect(tuple(group), clocks))
    return sorted(found, key=lambda one: -one.clocks)


def told_apart(states: States, clips: Clips, readings: Sequence[Reading], some: Sequence[Suspect],
               lines: dict[str, Node], store: str) -> Apart | None:
    """The line and the clock that divide some suspects best; None where none of the lines does. `lines`: those
    that were not captured, by their names; they have to be among what `states` was made to be asked about. `store`:
    the one whose address says where control is."""
    some = some[:ALIKE]
    levels: dict[tuple[str, int], dict[int, bool]] = {}
    places: dict[int, int] = {}
    for number, suspect in enumerate(some):
        fault = suspect.faults[0]
        faulty = states.changed(fault)
        clocks: list[Clock] = []
        follow(faulty, clips.put(fault), readings, faulty.running(), None, clocks.append)
        for clock in clocks[-LOOKED_AT:]:
            cycles = faulty.cycles(clock.states, clock.seen)
            addresses = faulty.addresses(store, cycles)
            if len(addresses) == 1:
                places.setdefault(clock.number, *addresses)
            for name, node in lines.items():
                off, on = faulty.may(node, cycles)
                if off != on:
                    levels.setdefault((name, clock.number), {})[number] = on
    best: tuple[tuple[int, bool, int], Apart] | None = None
    for (name, clock_number), found in levels.items():
        ones = tuple(number for number, level in found.items() if level)
        zeros = tuple(number for number, level in found.items() if not level)
        worth = min(len(ones), len(zeros)), clock_number in places, clock_number
        if worth[0] and (best is None or worth > best[0]):
            best = worth, Apart(name, clock_number, places.get(clock_number), ones, zeros)
    return None if best is None else best[1]
