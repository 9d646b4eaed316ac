"""How a condition is named, and what is said of one thing that a cycle does otherwise: by hand."""

import pytest

from ordain.compare.difference import Assignment, Change, named
from ordain.logic.diagrams import Functions
from ordain.machine.expression import Leaf, Node, Terms
from tests.compare.test_how_it_is_told import hoist
from tests.workshop import contents_of

MACHINE = contents_of(*hoist(
    ("input dial 3 bits, stop 1 bit", "input dial 3 bits, stop 1 bit\ninput wind (north, east, south)"),
    ("state upc 4", "state mood (calm, wild, torn, mild), reset calm\n    next mood\nstate upc 4"))).machine


@pytest.mark.parametrize(("bits", "said"), [
    ({("stop", 0): 1}, ["stop"]), ({("stop", 0): 0}, ["not stop"]),
    ({("dial", 0): 1, ("dial", 1): 0, ("dial", 2): 1}, ["dial is 5"]),
    ({("dial", 2): 1, ("dial", 1): 0}, ["dial[2:1] is 2"]), ({("dial", 1): 1, ("dial", 0): 0}, ["dial[1:0] is 2"]),
    ({("dial", 1): 1}, ["dial[1] is 1"]), ({("dial", 2): 0, ("dial", 0): 1}, ["dial[0] is 1", "dial[2] is 0"]),
    ({("wind", 0): 0, ("wind", 1): 1}, ["wind is south"]), ({("wind", 0): 1, ("wind", 1): 1}, ["wind is 3"]),
    ({("wind", 1): 1}, ["wind[1] is 1"]), ({("mood", 0): 1, ("mood", 1): 1}, ["mood is mild"]),
    ({("mood", 0): 0, ("mood", 1): 0}, ["mood is calm"]), ({("op", 0): 0, ("op", 1): 1}, ["op is 2"]),
    ({("stop", 0): 1, ("dial", 0): 0, ("op", 1): 1}, ["dial[0] is 0", "op[1] is 1", "stop"]),
])
def test_the_levels_of_lines_as_people_name_them(bits: dict[tuple[str, int], int], said: list[str]) -> None:
    terms = Terms()
    made: dict[str, Node] = {"dial": terms.leaf("input", "dial", 3), "stop": terms.leaf("input", "stop", 1),
                             "wind": terms.leaf("input", "wind", 2), "mood": terms.leaf("state", "mood", 2),
                             "op": terms.leaf("register", "op", 2)}
    functions = Functions([leaf for leaf in made.values() if type(leaf) is Leaf])
    lines = [terms.slice(made[name], bit, bit) for name, bit in bits]
    guard = functions.condition(terms.and_([line if level else terms.not_(line)
                                            for line, level in zip(lines, bits.values())]))
    assert [str(one) for one in named(functions, MACHINE, guard)] == said


@pytest.mark.parametrize(("one", "said"), [
    (Assignment("stop", 1, 0, 0, 1, ""), "stop"), (Assignment("stop", 1, 0, 0, 0, ""), "not stop"),
    (Assignment("dial", 3, 2, 0, 5, ""), "dial is 5"), (Assignment("dial", 3, 2, 1, 1, ""), "dial[2:1] is 1"),
    (Assignment("dial", 3, 1, 1, 0, ""), "dial[1] is 0"), (Assignment("mood", 2, 1, 0, 0, "calm"), "mood is calm")])
def test_one_condition(one: Assignment, said: str) -> None:
    assert str(one) == said


@pytest.mark.parametrize(("one", "said"), [
    (Change("feed", "slow", "quick"), "feed: slow -> quick"), (Change("feed", "", "quick"), "feed: nothing -> quick"),
    (Change("feed", "slow", ""), "feed: slow -> nothing"), (Change("what `a` loads", "", ""), "what `a` loads")])
def test_one_change(one: Change, said: str) -> None:
    assert str(one) == said
