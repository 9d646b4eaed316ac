"""Many machines in one search, each beside a search of its own: what is broken first, what occurs in which, and which
of them never go another way than the sound one."""

from collections.abc import Mapping
from random import Random
from typing import NamedTuple

import pytest

from ordain.control.system import build_system
from ordain.machine.expression import Node, Terms
from ordain.prover import family
from ordain.prover.decide import decide
from ordain.prover.family import Broken, MachineFamily
from ordain.prover.ground import Ground, Words
from ordain.prover.model import Limits, Property, Verdicts
from ordain.prover.questions import lower_properties
from ordain.rom.contents import Contents
from tests.prover.by_hand import random_comparisons, random_contents, random_journeys, random_successions

Changes = dict[str, dict[int, int]]
LIMITS = Limits(traces=0)
MACHINES = 7
SEEDS = (27, 29, 41, 42, 45, 65, 109, 121, 126, 127, 149)


def changed(contents: Contents, changes: Mapping[str, Mapping[int, int]]) -> Contents:
    words = {store: tuple(changes.get(store, {}).get(address, word) for address, word in enumerate(row))
             for store, row in contents.words.items()}
    return contents._replace(words=words)


def by_chance(random: Random, contents: Contents, executed: Mapping[str, frozenset[int]]) -> Changes:
    """One or two bits, more often than not of words that the sound machine presents."""
    found: Changes = {}
    for _ in range(random.choice((1, 1, 2))):
        store = random.choice(list(contents.words))
        address = random.choice(sorted(executed[store]) if executed.get(store) and random.random() < 0.7 else
                                range(len(contents.words[store])))
        word = found.get(store, {}).get(address, contents.words[store][address])
        found.setdefault(store, {})[address] = word ^ 1 << random.randrange(contents.machine.stores[store].bits)
    return found


def of_the_cycle_before(random: Random, terms: Terms, prop: Property) -> Property:
    """The same, asked of what was a cycle earlier; an answer may be due at once."""
    return prop._replace(node=terms.prior(prop.node) if random.random() < 0.7 else prop.node,
                         cycles=random.randrange(3))


def occurrences(properties: list[Property], shown: bool) -> list[Property]:
    """Whether each condition occurs, and each that is taken for granted."""
    return [prop._replace(kind="reach", node=node, trigger=None, unless=None, vacuity=None, per_word="", shown=shown)
            for prop in properties for node in (prop.node, prop.vacuity) if node is not None]


def ways(contents: Contents, properties: list[Property]) -> dict[Node, Words | None]:
    """The words on a way of the sound machine to each condition; None where it never has it."""
    system, asked = build_system(contents), tuple(occurrences(properties, True))
    found: dict[Node, Words | None] = {}
    for one, verdict in zip(lower_properties(system, asked), decide(system, asked, Limits()).verdicts):
        found[one.node] = None if verdict.witness is None else frozenset(
            (store, address) for cycle in verdict.witness.cycles for store, address in cycle.addresses.items())
    return found


def alone(contents: Contents, properties: list[Property]) -> Verdicts:
    return decide(build_system(contents), tuple(properties), LIMITS)


def broken_first(verdicts: Verdicts, stopping: list[int], remembering: list[bool]) -> list[Broken]:
    """Those that remember are asked only where no other is broken."""
    for remembers in (False, True):
        found = [Broken(number, min(one.cycles for one in verdicts.verdicts[number].breaks)) for number in stopping
                 if remembering[number] == remembers and verdicts.verdicts[number].outcome == "broken"]
        if found:
            least = min(one.cycles for one in found)
            return [one for one in found if one.cycles == least]
    return []


class Several(NamedTuple):
    """Machines that differ from a sound one in a few words, one of them in none, and what is asked of them all."""

    contents: Contents
    properties: list[Property]
    changes: list[Changes]
    stopping: list[int]


def several(random: Random) -> Several:
    contents, properties = random_contents(random)
    for more in (random_journeys, random_comparisons, random_successions):
        properties += more(random, contents)
    properties += [of_the_cycle_before(random, contents.machine.terms, prop) for prop in properties
                   if prop.kind in ("always", "within")]
    sound = alone(contents, properties)
    changes: list[Changes] = [{}, *(by_chance(random, contents, sound.executed) for _ in range(MACHINES))]
    random.shuffle(changes)
    stopping = [number for number, verdict in enumerate(sound.verdicts) if properties[number].kind == "bad"
                and verdict.outcome != "broken" and random.random() < 0.5]
    return Several(contents, properties, changes, stopping)


def test_an_address_that_is_formed_otherwise_is_asked_of_all_that_is_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    """The words of a second store stand where a word of the first one, which may be another, says."""
    contents, properties, changes, stopping = several(Random(27))
    ground = Ground(build_system(contents), properties, len(changes), LIMITS)
    found = MachineFamily(ground, changes, stopping)
    told = found.presented("nano")
    monkeypatch.setattr(found, "_otherwise", lambda functions: frozenset())
    assert found.presented("nano") != told and any(lacks or more for lacks, more in told.values())


@pytest.mark.parametrize("seed", SEEDS)
def test_each_machine_comes_to_what_is_proved_of_it_alone(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    random = Random(seed)
    contents, properties, changes, stopping = several(random)
    unchanged, system = changes.index({}), build_system(contents)
    remembering = [bool(prop.monitors) for prop in lower_properties(system, tuple(properties))]
    occurring = [(number, node) for number, prop in enumerate(properties) for node in (prop.node, prop.vacuity)
                 if node is not None]
    single = [alone(changed(contents, change), [*properties, *occurrences(properties, False)]) for change in changes]
    sound = single[unchanged]
    wanted = {machine: first for machine, one in enumerate(single)
              if (first := broken_first(one, stopping, remembering))}
    left = frozenset(range(len(changes))) - wanted.keys()
    for few, known in ((0, ways(contents, properties)), (8, {})):
        monkeypatch.setattr(family, "FEW", few)
        ground = Ground(system, properties, len(changes) + random.randrange(3), LIMITS, known)
        found = MachineFamily(ground, changes, stopping)
        assert {machine: sorted(first) for machine, first in found.first.items()} == wanted
        assert found.left == left and unchanged in found.alike <= left
        for machine in found.alike:
            assert (single[machine].states, single[machine].depth) == (sound.states, sound.depth)
        for number, prop in enumerate(properties):
            if sound.verdicts[number].outcome != "broken":
                assert found.broken(number) == {
                    machine for machine in left if single[machine].verdicts[number].outcome == "broken"}, prop
            taken = [place for place, (of, node) in enumerate(occurring, len(properties))
                     if of == number and node is prop.vacuity]
            assert found.vacuous(number) == {
                machine for machine in left for place in taken if single[machine].verdicts[place].outcome == "broken"}
        assert found.dead() == {machine for machine in left if single[machine].over_assumed.outcome == "broken"}
        for store in sound.executed:
            presented = found.presented(store)
            assert presented.keys() <= left
            for machine in left:
                executed = single[machine].executed[store]
                assert presented.get(machine, (frozenset(), frozenset())) == (
                    sound.executed[store] - executed, executed - sound.executed[store])
        some = frozenset(random.sample(sorted(left), random.randint(0, len(left))))
        found.restrict(some)
        assert found.left == some and found.alike <= some
        assert found.dead() == {machine for machine in some if single[machine].over_assumed.outcome == "broken"}
