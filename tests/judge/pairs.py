"""Two versions of a machine run side by side under the same inputs, state by state, beside what `ordain compare` says.

Where the comparison says that everything is the same, no sequence from reset may tell the two apart. Where a change is
of a kind that keeps what a machine does, and no sequence tells the two apart, the comparison has to say so.
"""

import re
import traceback
from collections import Counter
from itertools import product
from random import Random
from typing import NamedTuple

from ordain.compare.behaviour import behaviour
from ordain.compare.joint import join
from tests.judge.changes import Change, change
from tests.judge.clocks import described
from tests.judge.cycle import Cycle, State, Unsupported
from tests.judge.search import TooLarge, explore
from tests.judge.tool import Built, Text, build

HOLD_ADDRESSES = ("upc", "ret", "below", "active", "spot", "u0", "u1", "u2")
"""States of the machines made here that hold places in the store."""
OTHER_PARTS = "other parts"
"""What differs where two versions do not call the same things alike."""
MOST_VALUES = 256
MOST_CYCLES = 40_000


class Side(NamedTuple):
    """`seen`: what is compared, by its old name, with the number of the fact. `frees`: old names."""

    built: Built
    cycle: Cycle
    seen: dict[str, int]
    frees: dict[str, range]
    names: dict[str, str]


def side(built: Built, names: dict[str, str]) -> Side:
    """`names`: this side's names -> the names that both go by."""
    description = described(built)
    cycle = Cycle(description, built.contents)
    seen: dict[str, int] = {}

    def called(name: str) -> str:
        """What is free may be called by more than a name: "late loaded"."""
        agent, dot, own = name.rpartition(".")
        first, space, more = own.partition(" ")
        return agent + dot + names.get(first, first) + space + more

    def see(what: str, name: str, text: str) -> None:
        seen[f"{what} {called(name)}"] = cycle.fact_of(text)

    for name, bus in description.buses.items():
        for driver in bus.drivers:
            when = cycle.bit(driver.when)
            see(f"driver of {name}", driver.name.text, when)
            thing = description.things.get(driver.name.text)
            if driver.value is None and thing is not None and thing.kind in ("signal", "constant", "field", "store"):
                value = cycle.text(thing.expr, description.things[name].width) if thing.expr else cycle.leaf(thing)
                see(f"put on {name} by", driver.name.text, f"({value} if {when} else 0)")
        for sampler in bus.samplers:
            see(f"sampler of {name}", sampler.name.text, cycle.bit(sampler.when))
    for strobe in description.strobes:
        see("strobe", strobe.name.text, cycle.text(description.active(strobe), 1))
    for name in description.registers:
        see("load of", name, f"(1 if {cycle.opened(name)} else 0)")
    for name, thing in description.things.items():
        if thing.kind == "state" and name not in HOLD_ADDRESSES:
            see("state", name, cycle.leaf(thing))
        if thing.kind == "field" and built.contents.machine.fields[name].holds not in ("address", "spare", "derived"):
            see("field", name, cycle.leaf(thing))
    cycle.compiled()
    return Side(built, cycle, seen, {called(name): range(values) for name, (_, values) in cycle.frees.items()}, names)


def told_apart(old: Side, new: Side) -> str:
    """What differs in the first cycle that differs; "" when no sequence from reset tells the two apart, whatever is
    assumed: a comparison is about what the machines do, and not about what their surroundings promise."""
    if old.seen.keys() != new.seen.keys():
        return OTHER_PARTS
    frees = {**old.frees, **new.frees}
    values = [dict(zip(frees, each, strict=True)) for each in _all(frees)]
    ours, theirs = ([tuple(each[name] for name in one.frees) for each in values] for one in (old, new))
    evaluations = old.cycle.compiled(), new.cycle.compiled()
    starts = _starts(old, new)
    seen = set(starts)
    waiting = list(starts)
    spent = 0
    while waiting:
        one, two = waiting.pop(0)
        spent += len(values)
        if spent > MOST_CYCLES:
            raise TooLarge
        for mine, other in zip(ours, theirs, strict=True):
            _, after, _, facts = evaluations[0](one, mine)
            _, after_too, _, facts_too = evaluations[1](two, other)
            for what, number in old.seen.items():
                if facts[number] != facts_too[new.seen[what]]:
                    return what
            pair = (after, after_too)
            if pair not in seen:
                seen.add(pair)
                waiting.append(pair)
    return ""


def _all(frees: dict[str, range]) -> list[tuple[int, ...]]:
    size = 1
    for domain in frees.values():
        size *= len(domain)
    if size > MOST_VALUES:
        raise TooLarge
    return list(product(*frees.values()))


def _starts(old: Side, new: Side) -> list[tuple[State, State]]:
    """Start states of equal values, as far as both have the same variables; other ones start on their own."""
    def named(one: Side, state: State) -> dict[str, int]:
        return {one.names.get(slot.shown, slot.shown): value
                for slot, value in zip(one.cycle.slots, state, strict=True)}

    found = []
    theirs = [(state, named(new, state)) for state in new.cycle.starts()]
    for state in old.cycle.starts():
        ours = named(old, state)
        free = {old.names.get(slot.shown, slot.shown) for slot in old.cycle.slots if slot.reset is None}
        found += [(state, other) for other, values in theirs
                  if all(values.get(name, ours[name]) == ours[name] for name in free)]
    return found


# ---------------------------------------------------------------- beside the tool


def changed(text: Text, seed: int) -> Change:
    """The change that goes with a seed; of a text that was cut down too far, none."""
    try:
        return change(text, Random(f"pair {seed}"))
    except IndexError:
        return Change("as it was", text, {}, False, True)


def compared(text: Text, made: Change, counts: Counter[str]) -> list[str]:
    built, _ = build(text)
    new, _ = build(made.text) if built is not None else (None, [])
    if built is None or new is None:
        counts["not built"] += 1
        return []
    try:
        ours, theirs = side(built, {}), side(new, made.names)
        explore(ours.cycle, MOST_CYCLES)
        apart = told_apart(ours, theirs)
    except TooLarge:
        counts["too large"] += 1
        return []
    except Unsupported:
        counts["not judged"] += 1
        return []
    if apart == OTHER_PARTS and "exchanged" in made.kind:   # whether they are called otherwise is not said
        counts["not judged"] += 1
        return []
    counts["pairs"] += 1
    counts[f"pairs {'kept' if made.keeps else 'edited'}"] += 1
    counts["pairs told apart"] += bool(apart)
    try:
        found = behaviour(join(built.contents, new.contents))
    except Exception:
        return [f"{made.kind}: crash: " + traceback.format_exc().splitlines()[-1]]
    said = [*(f"{unit.kind} {unit.title} {unit.status}" for unit in found.units if unit.status != "same"),
            *found.machine]
    if apart and not said:
        return [f"{made.kind}: all the same; {apart} differs"]
    if made.moves:  # of opcodes that are nobody's it is said what stands where they lead
        titled = re.findall(r'^instruction .*"(.*)"$', text.micro, re.MULTILINE)
        nobody = {f"instruction {unit.title} {unit.status}" for unit in found.units if unit.title not in titled}
        said = [each for each in said if each not in nobody]
    if made.keeps and not apart and said:
        return [f"{made.kind}: {said[:4]}; no sequence tells the two apart"]
    return []

