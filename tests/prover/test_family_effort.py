"""What is searched for many machines at once, and for which of them: each shortcut shows in a search that is not made.

Six machines with one word each that is another than in the sound one, which goes 0, 1, 2 and again: `ring` at 0, `lamp`
at 1. What each comes to can be read off its word."""

from collections.abc import Sequence
from typing import Any

import pytest

from ordain.control.system import build_system
from ordain.machine.expression import Among, Leaf, Node, Not, Terms
from ordain.prover import family, ground, limits
from ordain.prover.family import MachineFamily
from ordain.prover.ground import Ground, TooMany
from ordain.prover.limits import LimitReached
from ordain.prover.symbolic import cases
from ordain.prover.symbolic.relation import Graph, Relation
from tests.prover.test_family import LIMITS, Changes, alone, ways
from tests.prover.test_searches import CONTENTS, GO, LAMP, MACHINE, MICRO, RING, TERMS, YES, asked, at, before, both
from tests.workshop import contents_of

CHANGES: list[Changes] = [{"control": word} for word in (
    {0: 0b1010},    # on to 2 from 0: no lamp any more
    {1: 0b0001},    # back to 0 from 1
    {3: 0b1111},    # nobody comes there
    {2: 0b0010},    # rings again at 2
    {0: 0b0111},    # the lamp at 0, too
    {0: 0b0100},    # no ring
)]
QUESTIONS = [
    asked("bad", both(before(RING), at(2))), asked("bad", both(before(LAMP), at(0))), asked("bad", both(RING, at(2))),
    asked("reach", both(before(LAMP), at(2))), asked("always", at(1)), asked("always", at(0)),
    asked("within", at(1), trigger=at(0), cycles=1), asked("reach", LAMP), asked("always", both(before(RING), LAMP)),
    asked("always", both(before(RING), at(1))), asked("within", at(1), trigger=both(before(RING), at(2)), cycles=1),
    asked("within", LAMP, trigger=RING, cycles=1), asked("reach", both(before(RING), GO))]
Searches = list[tuple[str, set[int]]]


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Searches:
    """What is searched, for which machines: "layers" from the start, what is "met" there, what is reached "beside" the
    sound machine, the "graph" for going backwards; and each cycle onwards and back in it."""
    found: Searches = []

    def noted(owner: type, name: str, machines: Any) -> None:
        whole = getattr(owner, name)

        def instead(self: Any, *given: Any) -> Any:
            found.append((name.strip("_"), machines(self, given)))
            return whole(self, *given)

        monkeypatch.setattr(owner, name, instead)

    noted(MachineFamily, "_layers", lambda self, given: {*self.machines(given[1])})
    noted(MachineFamily, "_met", lambda self, given: {*given[1]})
    noted(MachineFamily, "_beside", lambda self, given: {*given[1]})
    noted(MachineFamily, "_graph", lambda self, given: {*given[0]})
    noted(Relation, "after", lambda self, given: set())
    noted(Graph, "before", lambda self, given: set())
    return found


def of(stopping: Sequence[int]) -> MachineFamily:
    return MachineFamily(Ground(build_system(CONTENTS), QUESTIONS, 7, LIMITS, ways(CONTENTS, QUESTIONS)), CHANGES,
                         stopping)


def cycles(made: Searches) -> tuple[int, int]:
    """Onwards and back."""
    names = [name for name, _ in made]
    return names.count("after"), names.count("before")


def searches(made: Searches) -> Searches:
    return [one for one in made if one[0] not in ("after", "before")]


@pytest.mark.parametrize(("few", "expected", "onwards"), [
    (0, [("layers", {0, 1}), ("beside", {0, 1, 4, 5}), ("beside", {0}), ("layers", {0}), ("beside", {0, 1}),
         ("layers", {1})], 22),
    (8, [("layers", {0, 1}), ("layers", {0, 1, 4, 5})], 5)])
def test_machines_in_which_something_may_be_broken_are_searched_once_more(
        made: Searches, monkeypatch: pytest.MonkeyPatch, few: int, expected: Searches, onwards: int) -> None:
    """Only the first two go another way at all. Each is searched with what the question remembers that it breaks; when
    it is found out before, no other is. A few are searched once, with all that the questions remember."""
    monkeypatch.setattr(family, "FEW", few)
    ground = Ground(build_system(CONTENTS), QUESTIONS, 7, LIMITS, {})
    made.clear()
    found = MachineFamily(ground, CHANGES, (0, 1, 2))
    assert {machine: [tuple(one) for one in first] for machine, first in found.first.items()} == {
        0: [(0, 2)], 1: [(1, 3)], 3: [(2, 3)]}
    assert (found.left, found.alike) == ({2, 4, 5}, {2, 4, 5})
    assert (searches(made), cycles(made)[0]) == (expected, onwards)


ANSWERS: list[tuple[set[int], Searches, tuple[int, int]]] = [
    ({0}, [("beside", {0, 5}), ("met", {0})], (7, 0)),
    ({1}, [("beside", {0, 1, 4}), ("met", {1})], (8, 0)),
    (set(), [], (0, 0)),
    ({0, 1}, [("beside", {0, 4}), ("met", {0, 4})], (3, 0)),
    ({0}, [("graph", {0, 1})], (0, 2)),
    (set(), [("graph", {0, 1})], (0, 2)),
    ({0}, [], (1, 0)),
    ({0}, [], (0, 0)),
    ({0, 5}, [("layers", {0, 1, 4, 5}), ("graph", {0, 1, 4, 5})], (3, 3)),
    ({0, 5}, [("graph", {0, 1, 5})], (0, 2)),
    ({0}, [], (1, 0)),
    ({0}, [], (1, 0)),
    ({5}, [("beside", {0, 1, 5}), ("met", {0, 1, 5})], (5, 0)),
]
"""Where a few are searched as quickly, nothing is looked at beside the sound machine."""
FEWER_CYCLES = {0: ({0, 5}, 3), 1: ({0, 1, 4}, 3), 3: ({0, 4}, 3), 12: ({0, 1, 5}, 3)}


@pytest.mark.parametrize("few", [0, 8])
def test_what_the_sound_machine_says_is_not_searched_for(made: Searches, monkeypatch: pytest.MonkeyPatch,
                                                         few: int) -> None:
    """Of a machine that goes the same way, and has the same conditions there, and of one in which a way of the sound
    machine to what is asked has only words that are the same."""
    monkeypatch.setattr(family, "FEW", few)
    found = of((2,))
    assert (found.left, found.alike) == ({0, 1, 2, 4, 5}, {2, 4, 5})
    for number, (broken, expected, steps) in enumerate(ANSWERS):
        made.clear()
        assert found.broken(number) == broken
        if few and number in FEWER_CYCLES:
            machines, onwards = FEWER_CYCLES[number]
            assert (searches(made), cycles(made)) == ([("met", machines)], (onwards, 0))
        else:
            assert (searches(made), cycles(made)) == (expected, steps)


def test_what_is_asked_of_machines_that_are_all_like_the_sound_one_takes_nothing(made: Searches) -> None:
    found = of((0, 1, 2))
    found.restrict({2})
    made.clear()
    assert [found.broken(number) for number in range(len(QUESTIONS))] == [set()] * len(QUESTIONS)
    assert found.dead() == set() and not made


@pytest.mark.parametrize(("few", "many"), [(0, 12), (0, 1), (8, 12), (8, 1)])
def test_of_several_questions_with_a_memory_those_are_told_that_are_broken_first(
        few: int, many: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first machine goes 0, 2, 0: it comes to 2 after `ring` in its second cycle, and back to 0 after two in its
    third. Each question is searched for by itself, or both together."""
    monkeypatch.setattr(family, "FEW", few)
    monkeypatch.setattr(family, "MANY", many)
    questions = [asked("bad", both(before(at(0), 2), at(0))), asked("bad", both(before(RING), at(2)))]
    for order in ((0, 1), (1, 0)):
        some = [questions[number] for number in order]
        found = MachineFamily(Ground(build_system(CONTENTS), some, 2, LIMITS), CHANGES[:1], (0, 1))
        assert {machine: [tuple(one) for one in first] for machine, first in found.first.items()} == {
            0: [(order.index(1), 2)]}


def test_questions_are_asked_together_that_remember_little(monkeypatch: pytest.MonkeyPatch) -> None:
    """At most three bits in all, here; what remembers more stands alone."""
    monkeypatch.setattr(family, "MANY", 3)
    assert family._joined([0b1, 0b11, 0b100, 0b1000, 0b11110000, 0b1]) == [[0b1, 0b11, 0b100], [0b1000], [0b11110000],
                                                                          [0b1]]
    assert family._joined([0b111, 0b100, 0b110]) == [[0b111, 0b100, 0b110]] and family._joined([]) == []


SWITCHED = MACHINE.replace("    next target\n", "    next target if go else 0\n")


def test_what_follows_a_trigger_follows_with_its_inputs() -> None:
    """With `go` control comes from 0 to 1 and on to 2 and 0, in another machine from 1 back to 0, in a third from 2 by
    way of 3 to 0; without it always to 0. So after `go` at 0 it is at 1, after `go` at 1 at 2 or, in the one, not; and
    from 2 it comes to 1 in two cycles or, in the other, in three."""
    contents = contents_of(SWITCHED, MICRO)
    questions = [asked("within", at(1), trigger=both(at(0), GO), cycles=1),
                 asked("within", at(2), trigger=both(at(1), GO), cycles=1),
                 asked("within", at(2), trigger=both(at(0), GO), cycles=2, unless=TERMS.not_(GO)),
                 *(asked("within", at(1), trigger=at(2), cycles=cycles, unless=TERMS.not_(GO)) for cycles in (2, 3, 4))]
    terms = contents.machine.terms
    questions = [one._replace(node=moved(terms, one.node), trigger=moved(terms, one.trigger or YES),
                              unless=one.unless and moved(terms, one.unless)) for one in questions]
    assert [one.outcome for one in alone(contents, questions).verdicts] == ["proved"] * 6
    others: list[Changes] = [CHANGES[1], {"control": {2: 0b1100}}]
    found = MachineFamily(Ground(build_system(contents), questions, 2, LIMITS), others, ())
    assert found.alike == set()
    assert [found.broken(number) for number in range(6)] == [set(), {0}, {0}, {1}, set(), set()]


@pytest.mark.parametrize("chosen", ["state tally 2 bits, reset 0\n    next tally + 1\n", "input tally 2 bits\n"])
def test_words_of_a_store_that_nobody_asks_about_change_no_answer(chosen: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """It shows what a counter of its own or a line chooses, and no question and no address has to do with either."""
    monkeypatch.setattr(family, "FEW", 0)
    contents = contents_of(f"{MACHINE}store lamps 4 words of 1 bit\n    address tally\n    word tally is 2\n{chosen}",
                           MICRO)
    terms = contents.machine.terms
    rung = terms.prior(terms.leaf("field", "ring", 1))
    question = asked("bad", terms.and_((rung, moved(terms, at(2)))))
    shown: Changes = {"lamps": {1: 1, 2: 0}}
    others: list[Changes] = [CHANGES[0], shown, {**CHANGES[0], **shown}, {"control": {3: 0b1111}, **shown}]
    for stopping in ((), (0,)):
        found = MachineFamily(Ground(build_system(contents), [question], len(others), LIMITS), others, stopping)
        assert found.broken(0) | found.first.keys() == {0, 2}


def moved(terms: Terms, node: Node) -> Node:
    """The same condition of another machine."""
    match node:
        case Leaf(kind=kind, name=name, width=width):
            return terms.leaf(kind, name, width)
        case Not(args=(arg,)):
            return terms.not_(moved(terms, arg))
        case Among(args=(arg,), values=values):
            return terms.among(moved(terms, arg), values)
        case _:
            return terms.and_(moved(terms, arg) for arg in node.args)


def test_what_all_machines_have_in_common_may_be_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ground, "LARGEST", 1)
    with pytest.raises(TooMany, match="width"):
        Ground(build_system(CONTENTS), QUESTIONS, len(CHANGES), LIMITS)


def test_each_family_has_its_own_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """A second for each: the first one begins at 1,000 s, the next one long after."""
    now = [1000.0]
    for module in (ground, cases, limits):
        monkeypatch.setattr(module, "monotonic", lambda: now[0])
    common = Ground(build_system(CONTENTS), QUESTIONS, len(CHANGES), LIMITS._replace(seconds=1.0))
    now[0] = 2000.0
    assert MachineFamily(common, CHANGES, ()).left == frozenset(range(len(CHANGES)))
    now[0] = 2002.0
    with pytest.raises(LimitReached, match="seconds"):
        common.watch.look()


@pytest.mark.parametrize(("few", "number"), [(0, 0), (8, 0), (0, 8)])
def test_sets_of_many_machines_may_grow_too_large(few: int, number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside the sound machine, from the start up to what is asked, and from the start on."""
    monkeypatch.setattr(family, "FEW", few)
    found = of((2,))
    monkeypatch.setattr(family, "LARGEST", 0)
    with pytest.raises(TooMany, match="width"):
        found.broken(number)
    monkeypatch.setattr(family, "LARGEST", 1 << 20)
    assert found.broken(number) == ANSWERS[number][0]
