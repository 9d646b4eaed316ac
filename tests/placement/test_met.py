"""That a placement is one: of each thing that is demanded a placement in which it alone is missing."""

from collections.abc import Mapping

import pytest

from ordain.placement.demands import Demand, Task, collect
from ordain.placement.met import met
from tests.placement.by_hand import HERE, block, body, label, one_store, program, word

WORDS = [
    word(0, succeeds=1), word(1),                                   # a row of two
    word(2, targets=[("whole", block(3, 4))]), word(3), word(4),       # 3 at an even address, 4 behind it
    word(5, fixed=(12,)), word(6), word(7),                         # 6 and 7 in one page of 4 words
    word(8, targets=[("short", label(9))]), word(9),                # 9 below 8
    word(10, targets=[("short", label(11, page=True))]), word(11),      # both in one half
]
RIGHT = {0: (0,), 1: (1,), 2: (4,), 3: (2,), 4: (3,), 5: (12,), 6: (8,), 7: (11,), 8: (15,), 9: (7,), 10: (9,),
         11: (10,)}


def task(counting: int = 4) -> Task:
    wanted = program(WORDS, [body(0, 6), body(6, 8, name="paged", same_page=4), body(8, 12, name="rest")],
                     counting=counting)
    (found,), findings = collect(one_store(16, 4), wanted)
    assert not findings
    return found


@pytest.mark.parametrize(("moved", "stands"), [
    ({}, True),
    ({0: (13,), 1: (14,)}, True), ({0: (1,), 1: (0,)}, False), ({1: (5,)}, False),      # the row
    ({0: (0, 13), 1: (1, 14)}, True), ({0: (0, 13)}, False), ({1: (1, 14)}, True),      # a copy of the first alone
    ({3: (5,), 4: (6,)}, False), ({3: (3,), 4: (2,)}, False), ({3: (2, 5)}, True), ({4: (3, 5)}, True),
    ({3: (14,), 4: (13,)}, False), ({3: (6,), 4: (3, 5)}, False), ({3: (2, 6), 4: (3, 5)}, True),
    ({5: (13,)}, False), ({5: (12, 13)}, True),
    ({6: (5,)}, False), ({7: (14,)}, False), ({6: (5, 8)}, True), ({6: (13,), 7: (14,)}, True),
    ({9: (13,)}, False), ({9: (7, 13)}, True), ({9: (5,)}, True),
    ({11: (5,)}, False), ({11: (5, 10)}, True), ({10: (5,)}, False), ({10: (5, 9)}, False),
    ({10: (5, 9), 11: (6, 10)}, True),
    ({8: (16,)}, False), ({8: (-1,)}, False),                           # outside
    ({8: (0,)}, False), ({8: (15, 15)}, True),                          # two words at one address
    ({8: ()}, False),                                                   # nowhere
])
def test_what_is_demanded(moved: Mapping[int, tuple[int, ...]], stands: bool) -> None:
    assert met(task(), {**RIGHT, **moved}) == stands


def test_a_word_that_is_missing_is_not_placed() -> None:
    assert not met(task(), {number: places for number, places in RIGHT.items() if number != 8})


@pytest.mark.parametrize(("counting", "stands"), [(4, True), (3, False), (2, False)])
def test_a_row_stands_in_one_lap_of_the_counter(counting: int, stands: bool) -> None:
    """From 7 to 8 the third bit counts on."""
    assert met(task(counting), {**RIGHT, 0: (7,), 1: (8,), 9: (0,), 6: (9,), 10: (13,), 11: (14,)}) == stands


@pytest.mark.parametrize(("zeros", "ones", "stands"), [
    (0, 0, True), (0, 7, True), (0, 4, True), (0, 8, False), (0, 15, False), (8, 7, True), (1, 0, False),
    (8, 8, False)])
def test_levels_that_an_address_must_have(zeros: int, ones: int, stands: bool) -> None:
    """Of the word at 7, as where a table holds the lower bits of an address and the others are wired."""
    wired = Demand(((0, 9),), zeros, "for the lower bits", HERE, ones)
    assert met(task()._replace(demands=(wired,)), RIGHT) == stands
