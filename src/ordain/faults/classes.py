"""What a fault comes to, from what is proved and compared of the machine with it: the only place that says it.

In this order, the first that holds:

- *harmless*: no sequence of the sound machine ever presents a word that reads otherwise.
- *noticed*: something that the checks and rules say is worse than of the sound machine.
- *changed*: `compare` finds an instruction that behaves differently.
- *silent*: `compare` finds anything else that does.
- *harmless*: `compare` proves that nothing does.

Where a question was not decided within the limits, and none is broken, the fault is *undecided*.
"""

from collections.abc import Collection, Mapping
from typing import NamedTuple

from ordain.checks.check import Row
from ordain.compare.behaviour import ComparedUnit
from ordain.faults.model import Changes, FaultOutcome, Noticed

RANKS = {"proved": 0, "allowed": 0, "vacuous": 1, "broken": 2}
UNDECIDED = -1

Key = tuple[str, str]
"""Check and subject."""


class Spoken(NamedTuple):
    """What the checks say of one machine. `ranks`: of each question, 0 where it holds, 1 where it says nothing, 2 where
    it is broken, -1 where it is undecided. `undefined`: field and address of every code without a name that a sequence
    presents; `idle`: store and first address of every word that none executes; `stale`: allowances, by number, that
    allow nothing. `cycles`: of broken questions, where a sequence shows it, whether it takes more than its last cycle
    to see it, and how many cycles the shortest has."""

    ranks: Mapping[Key, int]
    undefined: frozenset[tuple[str, int]]
    idle: frozenset[tuple[str, int]]
    stale: frozenset[int]
    cycles: Mapping[Key, tuple[bool, int]]


def ranks_of(rows: Collection[Row]) -> dict[Key, int]:
    return {(row.check, row.subject): RANKS.get(row.outcome, UNDECIDED) for row in rows}


def noticed_by(sound: Spoken, faulty: Spoken, instant: Collection[Key]) -> Noticed | None:
    """Who notices first: what a cycle alone shows, the earliest of it; then what a cycle shows of which an earlier one
    is remembered; else what takes a look at more. `instant`: the questions that a sequence answers by its last cycle;
    in the order of their check all the others."""
    worse = [key for key, rank in faulty.ranks.items() if 0 <= sound.ranks.get(key, 0) < rank]
    fields = dict.fromkeys(("undefined-code", field) for field, _ in sorted(faulty.undefined - sound.undefined))
    at_once = [key for key in (*worse, *fields) if key in instant and key in faulty.cycles]
    if at_once:
        first = min(at_once, key=lambda key: faulty.cycles[key])
        return Noticed(*first, faulty.cycles[first][1])
    if fields:
        return Noticed(*next(iter(fields)), None)
    if worse:
        return Noticed(*worse[0], None)
    if faulty.idle - sound.idle:
        store, address = min(faulty.idle - sound.idle)
        return Noticed("unreachable", f"{store} {address:X}", None)
    if faulty.stale - sound.stale:
        return Noticed("stale-allowance", str(min(faulty.stale - sound.stale) + 1), None)
    return None


def undecided(*spoken: Spoken) -> bool:
    """Whether a question was not decided in one of some machines."""
    return any(rank == UNDECIDED for one in spoken for rank in one.ranks.values())


def presented(changes: Changes, executed: Mapping[str, Collection[int]]) -> bool:
    """Whether a sequence can present a word that reads otherwise. `executed`: the addresses that some sequence of the
    sound machine presents, of the stores of which that is known."""
    return any(store not in executed or address in executed[store]
               for store, words in changes.items() for address in words)


def compared(units: Collection[ComparedUnit], machine: Collection[str]) -> FaultOutcome:
    """The class of a fault that nobody notices."""
    differing = [unit for unit in units if unit.status != "same"]
    titles = tuple(dict.fromkeys(unit.title for unit in differing if unit.kind == "instruction"))
    if titles:
        return FaultOutcome("changed", titles=titles)
    if differing or machine:
        return FaultOutcome("silent", titles=(*dict.fromkeys(unit.title for unit in differing), *machine))
    return FaultOutcome("harmless")
