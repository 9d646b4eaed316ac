"""What stands on inputs, step by step, as the lines of a script say: worked by hand, and by a rule said again."""

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.data.outside import Outside, OutsideStep
from ordain.data.partial import UNKNOWN, Ternary
from ordain.machine.expression import Node, Terms

TERMS = Terms()
ONE, OTHER = TERMS.leaf("state", "one", 1), TERMS.leaf("state", "other", 1)


def levels(doings: Sequence[OutsideStep], seen: dict[Node, str], steps: int, cycles: Sequence[int] = ()) -> str:
    """The input `key`, `-` where no line sets it. `seen`: what conditions are worth, a digit or x for each step."""
    outside, found = Outside(doings, lambda cycle: {}), ""
    for step in range(steps):
        cycle = cycles[step] if cycles else step + 1
        found += str(outside.given(cycle).get("key", "-"))
        outside.heard(cycle, [UNKNOWN if seen[node][step] == "x" else Ternary(int(seen[node][step]), 1)
                              for node in outside.nodes], {})
    return found


def line(begins: str, number: int = 0, condition: Node | None = None, values: tuple[int, ...] = (1,), lasts: int = 0,
         until: Node | None = None) -> OutsideStep:
    return OutsideStep(begins, number, condition, (("key", values),), lasts, until)  # type: ignore[arg-type]


@pytest.mark.parametrize(("doing", "one", "wanted"), [
    (line("start"), "000000", "111111"),
    (line("cycle", 3), "000000", "--1111"),
    (line("cycle", 3, lasts=2), "000000", "--11--"),
    (line("every", 2, lasts=1), "000000", "-1-1-1"),
    (line("when", condition=ONE), "001100", "---111"),
    (line("when", condition=ONE, lasts=1), "001100", "---1--"),
    (line("when", condition=ONE, lasts=1), "010100", "--1-1-"),
    (line("when", condition=ONE, lasts=3), "010100", "--1111"),
    (line("when", condition=ONE, lasts=1), "x1x1xx", "--1-1-"),
    (line("while", condition=ONE), "011010", "--11-1"),
    (line("cycle", 2, until=ONE), "000100", "-111--"),
    (line("when", condition=ONE, values=(7, 8), lasts=1), "101010", "-7-8--"),
    (line("when", condition=ONE, values=(7, 8)), "101010", "-77888"),
])
def test_one_line(doing: OutsideStep, one: str, wanted: str) -> None:
    assert levels([doing], {ONE: one}, 6) == wanted


def test_what_began_last_counts_and_leaves_what_was_there_before() -> None:
    doings = [line("start", values=(0,)), line("cycle", 4, values=(2,)), line("when", condition=ONE, lasts=2)]
    assert levels(doings, {ONE: "0100000"}, 7) == "0012222", "the key is let go after cycle 4, when 2 has begun"
    assert levels(doings, {ONE: "0000100"}, 7) == "0002211"
    assert levels([line("cycle", 2, values=(3,)), line("cycle", 2, values=(4,))], {}, 3) == "-44"


def test_a_switch_goes_to_and_fro() -> None:
    on, off = line("when", condition=ONE), line("when", condition=OTHER, values=(0,))
    assert levels([on, off], {ONE: "1000100000", OTHER: "0010000100"}, 10) == "-110011100"


def test_a_cycle_of_several_steps_begins_once() -> None:
    """The clock is held in cycle 2: a key of two steps is let go while it stands still."""
    assert levels([line("cycle", 2, lasts=2)], {}, 6, (1, 2, 2, 2, 2, 3)) == "-11---"


def test_options_lie_over_the_script() -> None:
    outside = Outside([line("start", values=(3,))], lambda cycle: {"key": 5} if cycle == 2 else {})
    assert [outside.given(cycle)["key"] for cycle in (1, 2, 3)] == [3, 5, 3]


lines = st.lists(st.tuples(st.integers(1, 12), st.integers(0, 5), st.integers(0, 9)), max_size=6)


@settings(deadline=None, max_examples=60)
@given(lines)
def test_lines_with_cycles_are_intervals(made: list[tuple[int, int, int]]) -> None:
    """Each is the interval from its cycle on; the one with the latest beginning, then the last one written, counts."""
    got = levels([line("cycle", cycle, values=(value,), lasts=lasts) for cycle, lasts, value in made], {}, 14)
    for at in range(1, 15):
        here = [(cycle, number, value) for number, (cycle, lasts, value) in enumerate(made)
                if cycle <= at and (not lasts or at < cycle + lasts)]
        assert got[at - 1] == (str(max(here)[2]) if here else "-")
