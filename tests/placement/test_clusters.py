"""Which words one place serves: demands joined into units, in a store of eight words, each worked out by hand."""

from collections.abc import Sequence
from typing import NamedTuple

import pytest

from ordain.microprogram.model import Body, Microinstruction
from ordain.placement.clusters import Units, join
from ordain.placement.demands import Demand, collect
from ordain.placement.space import AddressSpace, members
from tests.placement.by_hand import HERE, block, body, label, one_store, program, word


def joined(words: Sequence[Microinstruction], bodies: Sequence[Body] = (), *, merge: bool = True,
           counting: int | None = None, bonded: frozenset[int] = frozenset()) -> Units:
    (task,), findings = collect(one_store(8, 3), program(words, bodies, counting=counting))
    assert not findings
    return join(AddressSpace(8, 3), task, bonded, merge=merge)


class Made(NamedTuple):
    """Of each unit its words from its base on, the bases that it may have, the offsets at which its demands begin;
    address -> fixed word; whether something may stand twice."""

    units: list[tuple[list[int], list[int], list[int]]]
    fixed: dict[int, int]
    shared: bool


def pair(number: int, *named: int) -> Microinstruction:
    return word(number, targets=[("whole", block(*named))])


EVEN = [0, 2, 4, 6]


@pytest.mark.parametrize(("words", "made"), [
    # the second of the pair counts on to 3: three words, of which the first is at an even address
    ([pair(0, 1, 2), word(1), word(2, succeeds=1), word(3)], Made([([1, 2, 3], [0, 2, 4], [0])], {}, False)),
    # 1 counts on to the first of the pair: it stands before an even address
    ([pair(0, 2, 3), word(1, succeeds=1), word(2), word(3)], Made([([1, 2, 3], [1, 3, 5], [1, 0])], {}, False)),
    # 3 stands behind 1 in the pair, and behind 2 in the row
    ([pair(0, 1, 3), word(1), word(2, succeeds=1), word(3)],
     Made([([1, 3], EVEN, [0]), ([2, 3], list(range(7)), [0])], {}, True)),
    # 2 is first in one pair and second in the other
    ([pair(0, 2, 3), pair(1, 4, 2), word(2), word(3), word(4)],
     Made([([2, 3], EVEN, [0]), ([4, 2], EVEN, [0])], {}, True)),
    # 3 is second in a pair, and a field without the lowest bit names it
    ([pair(0, 2, 3), word(1, targets=[("even", label(3))]), word(2), word(3)],
     Made([([2, 3], EVEN, [0]), ([3], EVEN, [0])], {}, True)),
    ([pair(0, 2, 3), word(1, targets=[("even", label(2))]), word(2), word(3)],
     Made([([2, 3], EVEN, [0, 0])], {}, False)),
    ([pair(0, 2, 3, 4, 5), pair(1, 4, 5), word(2), word(3), word(4), word(5)],
     Made([([2, 3, 4, 5], [0, 4], [0, 2])], {}, False)),
    ([pair(0, 1, 2), word(1, fixed=(4,)), word(2)], Made([], {4: 1, 5: 2}, False)),
    ([pair(0, 1, 2), word(1), word(2, fixed=(5,))], Made([], {4: 1, 5: 2}, False)),
    ([pair(0, 1, 2), word(1, fixed=(5,)), word(2)], Made([([1, 2], EVEN, [0])], {5: 1}, True)),
    ([pair(0, 1, 2), word(1), word(2, fixed=(0,))], Made([([1, 2], EVEN, [0])], {0: 2}, True)),
    ([pair(0, 1, 2), word(1, fixed=(4,)), word(2), word(3, fixed=(5,))],
     Made([([1, 2], EVEN, [0])], {4: 1, 5: 3}, True)),
    ([word(0, succeeds=1), word(1, fixed=(3,))], Made([], {3: 1, 2: 0}, False)),
    ([word(0, succeeds=1), word(1, fixed=(0,))], Made([([0, 1], list(range(7)), [0])], {0: 1}, True)),
    ([word(0, targets=[("short", label(1))]), word(1)], Made([([1], [0, 1, 2, 3], [0])], {}, False)),
    ([pair(0, 1, 1), word(1)], Made([([1, 1], EVEN, [0])], {}, False)),
    # an even place of 1 is there already; one more is odd
    ([pair(0, 1, 1), word(1, targets=[("even", label(1))])], Made([([1, 1], EVEN, [0, 0])], {}, True)),
    # three demands at one place: the pair is the second half of the table, and 4 is at an even address there
    ([pair(0, 2, 3, 4, 5), pair(1, 4, 5), word(2, targets=[("even", label(4))]), word(3), word(4), word(5)],
     Made([([2, 3, 4, 5], [0, 4], [0, 2, 2])], {}, False)),
    # 1 counts on to 2 below 4; 2 is the first of a pair of which the second is fixed
    ([word(0, targets=[("short", label(1)), ("whole", block(2, 3))]), word(1, succeeds=1), word(2),
      word(3, fixed=(5,))], Made([], {3: 1, 4: 2, 5: 3}, False)),
    # 3 counts on to 4 below 4, 5 stands before 3 in a pair, and both behind two others in a table of which one is fixed
    ([word(0, targets=[("short", label(3))]), pair(1, 5, 3), pair(2, 6, 7, 5, 3), word(3, succeeds=1), word(4), word(5),
      word(6, fixed=(0,)), word(7)], Made([], {0: 6, 1: 7, 2: 5, 3: 3, 4: 4}, False)),
    # two demands of one place that it cannot meet both: below 4, and the last word of a row of six
    ([word(0, targets=[("short", label(6))]), *(word(at, succeeds=int(at < 6)) for at in range(1, 7))],
     Made([([6], [0, 1, 2, 3], [0]), ([1, 2, 3, 4, 5, 6], [0, 1, 2], [0])], {}, True)),
])
def test_what_one_place_serves(words: list[Microinstruction], made: Made) -> None:
    units = joined(words)
    assert Made([(list(unit.words), list(members(unit.domain)), [offset for _, offset in unit.parts])
                 for unit in units.units], units.fixed, units.shared) == made
    held = {number for unit in units.units for number in unit.words} | set(units.fixed.values())
    assert {first for first, _ in units.runs} == {number for number in range(len(words)) if number not in held}


def test_without_joining_every_demand_stays_apart() -> None:
    words = [pair(0, 2, 3), word(1, succeeds=1), word(2), word(3)]
    units = joined(words, merge=False)
    assert [unit.words for unit in units.units] == [(2, 3), (1, 2)] and units.shared
    assert [unit.words for unit in joined([pair(0, 1, 2), word(1, fixed=(4,)), word(2)], merge=False).units] == [(1, 2)]


def test_a_row_stands_in_one_lap_and_a_block_need_not() -> None:
    """The counter has one bit: a row of two begins at an even address. A table of four has two laps in it."""
    row = [pair(0, 2, 3), word(1, succeeds=1), word(2), word(3)]
    assert [list(members(unit.domain)) for unit in joined(row, counting=1).units] == [EVEN, EVEN]
    table = [pair(0, 1, 2, 3, 4), word(1), word(2), word(3), word(4)]
    assert [list(members(unit.domain)) for unit in joined(table, counting=1).units] == [[0, 4]]


def test_a_word_that_counts_on_may_begin_a_lap_behind_another_word() -> None:
    """Of a table of four the third begins a lap of two; it follows w3 elsewhere, but not here."""
    table = [pair(0, 1, 2, 4, 5), word(1), word(2), word(3, succeeds=1), word(4), word(5)]
    assert [list(members(unit.domain)) for unit in joined(table, counting=1).units] == [[0, 4], EVEN]


def test_a_row_as_long_as_a_table() -> None:
    """Both at a multiple of four: the table may have two laps in it, the row not."""
    words = [pair(0, 1, 2, 3, 4), *(word(at, succeeds=int(5 <= at < 8)) for at in range(1, 9))]
    bodies = [body(0, 5), body(5, 9, name="row", align=4)]
    assert [list(members(unit.domain)) for unit in joined(words, bodies, counting=2).units] == [[0, 4], [0, 4]]
    assert [list(members(unit.domain)) for unit in joined(words, bodies, counting=1).units] == [[0, 4], []]


def test_where_demands_are_met_next_to_fixed_words() -> None:
    """The table at 0, the pair at 2, the short reference at 3."""
    units = joined([word(0, targets=[("short", label(3))]), pair(1, 5, 3), pair(2, 6, 7, 5, 3), word(3, succeeds=1),
                    word(4), word(5), word(6, fixed=(0,)), word(7)])
    assert sorted(units.settled) == [(0, 3), (1, 2), (2, 0)]


@pytest.mark.parametrize(("ones", "high"), [((0, 0), False), ((4, 0), True), ((0, 4), True), ((4, 4), True)])
def test_ones_in_the_address_of_one_demand_are_those_of_the_unit(ones: tuple[int, int], high: bool) -> None:
    (task,), _ = collect(one_store(8, 3), program([word(0)]))
    demands = tuple([Demand(((0, 0),), at, "", HERE, levels) for at, levels in enumerate(ones)])
    unit, = join(AddressSpace(8, 3), task._replace(demands=demands), frozenset(), merge=True).units
    assert unit.high == high and list(members(unit.domain)) == [at for at in EVEN if at & max(ones) == max(ones)]


def test_rows_that_something_is_asked_of() -> None:
    row = [word(0, succeeds=1), word(1), word(2)]
    assert joined(row).runs == ((0, 2), (2, 1)) and not joined(row).units
    bonded = joined(row, bonded=frozenset({1}))
    assert bonded.runs == ((2, 1),) and [unit.words for unit in bonded.units] == [(0, 1)]
    aligned = joined(row, [body(0, 3, align=4)])
    assert aligned.runs == ((2, 1),) and [list(members(unit.domain)) for unit in aligned.units] == [[0, 4]]
    assert aligned.units[0].rules == ((0, 3),)
