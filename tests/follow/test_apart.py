"""What to look at next: by hand on a ring of words that asks a switch, and whether anything tells two machines apart,
against stepping both through all that can come in."""

from itertools import product
from random import Random

import pytest

from ordain.control.cycle import Running
from ordain.control.model import System
from ordain.control.system import build_system
from ordain.follow.apart import lines_of, look
from ordain.follow.cells import CellFault, cell_fault
from ordain.follow.following import Clips
from ordain.follow.looks import at_one_line, by_line
from ordain.follow.model import Apart, Hypothesis, Looked, Suspect
from ordain.follow.states import States
from ordain.follow.wiring import clip_faults, wiring_faults
from ordain.logic.evaluate import evaluate
from ordain.machine.expression import Node
from ordain.show.diagnosis import diagnosis_lines
from ordain.show.page import Page
from tests.follow.test_command import MICRO
from tests.follow.test_wiring import SWITCH
from tests.workshop import contents_of


def looked(*texts: str) -> Looked:
    """Nothing was captured: what is known are the faults alone."""
    contents = contents_of(SWITCH, MICRO)
    lines = lines_of(contents.machine)
    states = States(build_system(contents), [], lines.values())
    every = {one.text: one for one in (
        *wiring_faults(states.system), *clip_faults(("cut",)),
        *(Hypothesis("state", f"key_1 stays at {level}", state="key_1", level=level) for level in (0, 1)),
        *(cell_fault(contents, CellFault("control", address, bit, 0)) for address in range(8) for bit in range(8)))}
    return look(states, Clips(()), (), [Suspect((every[text],), 0) for text in texts], lines, "control")


@pytest.mark.parametrize(("texts", "apart"), [
    (("key stays at 1", "key_1 stays at 1"), Apart("key_1", 0, None, (1,), (0,))),
    (("key comes inverted", "the clip at cut sees something else"),
     Apart("key_1", 0, 0, (0,), (1,), (("key", 0),), True, 1)),
    (("U1.D2 reads 0 in begin (control 0): cut", "the clip at cut sees something else"),
     Apart("cut", 0, 0, (1,), (0,))),
    (("U1.D2 reads 1 in begin+1 (control 1): cut", "U1.D1 reads 1 in begin+1 (control 1): turn",
      "U1.D1 reads 0 in begin+3 (control 3): turn"),
     Apart("turn", 0, 1, (1,), (0, 2), then=(Apart("turn", 0, 3, (0, 1), (2,)),))),
])
def test_what_to_look_at(texts: tuple[str, ...], apart: Apart) -> None:
    assert looked(*texts) == Looked(apart, (), True, len(texts))


def test_what_halves_them_is_looked_for_beside_words_that_differ() -> None:
    """The word alone tells one of four from the others; what the key brings into `key_1` tells two from two."""
    texts = "key comes inverted", "key stays at 0", "key stays at 1", "U1.D2 reads 0 in begin (control 0): cut"
    assert looked(*texts) == Looked(Apart("key_1", 0, 0, (0, 2), (1, 3), (("key", 0),), True, 1), (), True, 4)


@pytest.mark.parametrize(("texts", "groups"), [
    (("key stays at 0", "key_1 stays at 0"), ((0, 1),)),
    (("U1.D2 reads 0 in control 6: cut", "the clip at cut sees something else"), ((0, 1),)),
])
def test_what_no_line_tells_apart(texts: tuple[str, ...], groups: tuple[tuple[int, ...], ...]) -> None:
    """Of words at which control never is, nobody sees what they hold."""
    assert looked(*texts) == Looked(None, groups, True, len(texts))


def test_several_lines_at_once() -> None:
    """The target of the jump in word 3, which is 0, read with another bit turned by each of three: one line leaves two
    of them."""
    every = [f"U1.D{pin} reads 1 in begin+3 (control 3): target[{pin - 3}]" for pin in (3, 4, 5)]
    found = looked(*every).apart
    assert found == Apart("target", 0, 3, (), (), values=((1, (0,)), (2, (1,)), (4, (2,))))
    assert found.left(3) == 1 and found._replace(values=()).left(3) == 3
    assert Apart("cut", 0, 1, (0,), (1, 2)).left(4) == 3


def test_one_line_more_than_once() -> None:
    """Each look tells one of three from the others; both together tell all apart. Four of which one is at neither
    leave two: it, and whatever is seen."""
    both = Apart("turn", 0, 1, (1,), (0, 2), then=(Apart("turn", 0, 3, (0, 1), (2,)),))
    assert (both.left(3), both._replace(then=()).left(3), both.left(4)) == (1, 2, 2)
    looks = [Apart("turn", 0, 1, (1,), (0, 2)), Apart("turn", 0, 2, (0, 1, 2), ()), Apart("turn", 0, 3, (0, 1), (2,))]
    assert at_one_line(looks, 3) == both
    assert at_one_line(looks[:2], 3) == looks[0]
    late = looks[0]._replace(clock=9)
    assert by_line([late, looks[2], looks[0]]) == by_line([looks[0], late, looks[2]]) == [[late, looks[2]]]


@pytest.mark.parametrize("among", [2, 5, 9])
def test_looks_at_one_line_leave_as_many_as_can_be(among: int) -> None:
    """Against what is left of every suspect in turn, with every level where it is not sure."""
    chance = Random(among)
    for _ in range(60):
        looks = [_look(chance, among, clock) for clock in range(1, 4)]
        seen = max(sum(all(level in (None, shown) for level, shown in zip(one, told))
                       for one in zip(*(_levels(look, among) for look in looks)))
                   for told in product((0, 1), repeat=3))
        assert looks[0]._replace(then=tuple(looks[1:])).left(among) == seen
        if all(look.left(among) == among for look in looks):
            continue
        best = at_one_line(looks, among)
        assert seen <= best.left(among) <= min(look.left(among) for look in looks)


def _look(chance: Random, among: int, clock: int) -> Apart:
    levels = [chance.choice((0, 1, None)) for _ in range(among)]
    ones, zeros = (tuple(number for number, level in enumerate(levels) if level == wanted) for wanted in (1, 0))
    return Apart("line", clock, None, ones, zeros)


def _levels(look: Apart, among: int) -> list[int | None]:
    return [1 if number in look.ones else 0 if number in look.zeros else None for number in range(among)]


def test_how_it_is_told() -> None:
    def told(*texts: str) -> str:
        some = [Suspect((Hypothesis("cell", text),), 9) for text in texts]
        places = ["begin (0)", "begin+3 (3)"]
        lines = diagnosis_lines(some, 9, 3, 50, looked(*texts), places, 0, Page(200))
        return " ".join(" ".join(lines).split())

    assert "a clip at key_1; step to begin (0), with key=0; in the clock after that it is 1 with 1, 0 with 2" in told(
        "key comes inverted", "the clip at cut sees something else")
    assert "no line tells 1, 2 apart, whatever is stepped from reset on" in told("key stays at 0", "key_1 stays at 0")
    assert ("a clip at turn; step to begin (0); there it is 1 with 2, 0 with 1, 3; step to begin+3 (3); there it is 1 "
            "with 1, 2, 0 with 3") in told(
        "U1.D2 reads 1 in begin+1 (control 1): cut", "U1.D1 reads 1 in begin+1 (control 1): turn",
        "U1.D1 reads 0 in begin+3 (control 3): turn")
    assert "all of target; step to begin (0); there it is 1 with 1, 2 with 2, 4 with 3" in told(
        *(f"U1.D{pin} reads 1 in begin+3 (control 3): target[{pin - 3}]" for pin in (3, 4, 5)))
    assert "Power off before a clip" in told("key stays at 1", "key_1 stays at 1")


def parts(one: States, other: States, lines: list[Node]) -> bool:
    """Whether two machines that begin alike ever differ, state by state."""
    systems = [machine.system._replace(variables=machine.space.variables) for machine in (one, other)]
    runnings = [Running(system) for system in systems]
    shown = [[machine._lowered[line] for line in lines] for machine in (one, other)]
    seen = now = {*product(*(range(each.values) if each.reset is None else (each.reset,)
                             for each in systems[0].variables))}
    while now:
        following = set()
        for state, free in product(now, product(*(range(each.values) for each in one.system.free))):
            came = [_cycle(system, running, levels, state, free)
                    for system, running, levels in zip(systems, runnings, shown)]
            if came[0] is not None and came[1] is not None:
                if came[0] != came[1]:
                    return True
                following.add(came[0][1])
        now = following - seen
        seen = seen | now
    return False


def _cycle(system: System, running: Running, lines: list[Node], state: tuple[int, ...],
           free: tuple[int, ...]) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """What the lines show, and what follows; None where something that is assumed does not hold."""
    values = running.values({**{each.leaf: value for each, value in zip(system.variables, state)},
                             **{each.leaf: value for each, value in zip(system.free, free)}})
    memo: dict[Node, int] = {}
    if not all(evaluate(node, values, memo) for node in system.assumptions):
        return None
    return tuple(evaluate(node, values, memo) for node in lines), tuple(running.next(values).values())


@pytest.mark.parametrize("assumed", ["", "assume not (key and cut)\n"])
def test_whether_anything_tells_two_machines_apart(assumed: str) -> None:
    """Any two faults of words, and of what comes in; with a promise that hangs on a bit of the word."""
    contents = contents_of(SWITCH + assumed, MICRO)
    lines, random = lines_of(contents.machine), Random(4)
    states = States(build_system(contents), [], lines.values())
    every = [*wiring_faults(states.system), *(cell_fault(contents, CellFault("control", address, bit, 0))
                                              for address in range(8) for bit in range(8))]
    differ = []
    for _ in range(30):
        some = random.sample(every, 2)
        there = parts(*(states.changed(one) for one in some), list(lines.values()))
        found = look(states, Clips(()), (), [Suspect((one,), 0) for one in some], lines, "control")
        assert found.known and (found.apart is not None) == there, (some[0].text, some[1].text, found)
        assert (found.alike == ((0, 1),)) == (not there)
        differ.append(there)
    assert 5 < sum(differ) < 28
