"""What is told of two versions."""

import pytest

from ordain.compare.comparison import Comparison, CycleChange
from ordain.show.comparison import comparison_lines
from ordain.show.page import PLAIN

Span = tuple[int | None, int | None] | None


@pytest.mark.parametrize(("old", "new", "rings", "said"), [
    ((3, 4), (3, 5), (0, 0), "3 to 4  ->  3 to 5"), ((3, 3), (4, 4), (1, 1), "3 and waits  ->  4 and waits"),
    ((3, 3), (3, 3), (0, 2), "3  ->  3 and waits"), ((3, 3), (3, 3), (1, 2), "3 and 1 wait  ->  3 and 2 waits"),
    (None, (3, 3), (0, 0), "-  ->  3"), (None, (None, None), (0, 0), "-  ->  no end"),
    ((2, 2), (None, None), (0, 0), "2  ->  no end")])
def test_cycles_before_and_now(old: Span, new: Span, rings: tuple[int, int], said: str) -> None:
    both = Comparison("HEAD", "here", None, None, None, (CycleChange("halt", old, new, rings),), None, frozenset(), ())
    assert f"  `halt`  {said}" in comparison_lines(both, False, PLAIN)
