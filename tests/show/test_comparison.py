"""What is told of two versions."""

import pytest

from ordain.compare.comparison import Comparison, CycleChange
from ordain.show.comparison import comparison_lines
from ordain.show.page import PLAIN
from tests.compare.judged import Texts, after
from tests.compare.test_how_it_is_told import hoist

Span = tuple[int | None, int | None] | None


@pytest.mark.parametrize(("old", "new", "rings", "said"), [
    ((3, 4), (3, 5), (0, 0), "3 to 4  ->  3 to 5"), ((3, 3), (4, 4), (1, 1), "3 and waits  ->  4 and waits"),
    ((3, 3), (3, 3), (0, 2), "3  ->  3 and waits"), ((3, 3), (3, 3), (1, 2), "3 and 1 wait  ->  3 and 2 waits"),
    (None, (3, 3), (0, 0), "-  ->  3"), (None, (None, None), (0, 0), "-  ->  no end"),
    ((2, 2), (None, None), (0, 0), "2  ->  no end")])
def test_cycles_before_and_now(old: Span, new: Span, rings: tuple[int, int], said: str) -> None:
    both = Comparison("HEAD", "here", None, None, None, (CycleChange("halt", old, new, rings),), None, frozenset(), ())
    assert f"  `halt`  {said}" in comparison_lines(both, False, PLAIN)


TAIL: Texts = hoist(("""\
        up, branch jump, target wait
instruction others "lower"
""", """\
        up, branch jump, target tail
routine tail
        note bell
        branch jump, target wait
instruction 3 "far"
        down
        branch jump, target tail
instruction others "lower"
"""))


def test_instructions_that_come_to_one_change_after_other_cycles() -> None:
    """`lift` has done one word before the tail, `far` two: both were told to differ first in the second cycle."""
    found = after(TAIL, ("note bell", "note horn"))

    def told(everything: bool) -> list[str]:
        whole = Comparison("before", "after", found, None, None, None, None, frozenset(), ())
        return [line.strip() for line in comparison_lines(whole, everything, PLAIN)]

    assert told(False)[4] == "cycle 2 is the first that differs; 3 of `far`"
    assert [line for line in told(True) if line.endswith("differs")] == [
        "cycle 2 is the first that differs", "cycle 3 is the first that differs"]
    assert [line for line in told(True) if line.startswith("changed")] == [
        "changed: `lift`", "changed: `far` (0x03)"]

