"""What is told of a placement that does not exist: what counting shows of it, and of what it does not; each with a
neighbour of which it shows nothing."""

from collections.abc import Sequence

import pytest

from ordain.microprogram.model import Microinstruction, Program
from ordain.placement.clusters import Unit, Units, join
from ordain.placement.demands import Demand, collect
from ordain.placement.explain import NoRoom, no_room, nothing_fits, shortage
from ordain.placement.pages import Pages, group
from ordain.placement.place import place
from ordain.placement.quick import Stuck
from ordain.placement.space import AddressSpace
from ordain.text.findings import Finding
from ordain.text.source import Span
from tests.placement.by_hand import block, body, label, one_store, program, word


def line(number: int) -> Span:
    return word(number - 1).span


def short(size: int, wanted: Program) -> Finding | None:
    """What counting shows, whether or not there is a placement."""
    (task,), _ = collect(one_store(size, (size - 1).bit_length()), wanted)
    space = AddressSpace(size, task.width)
    units = join(space, task, frozenset(number for bond in task.bonds for number in bond.words), merge=True)
    return shortage(task, space, units, group(task.bonds, units))


def fixed(first: int, *addresses: int) -> list[Microinstruction]:
    return [word(first + at, fixed=(address,)) for at, address in enumerate(addresses)]


def pair(number: int, named: tuple[int, ...], *, fixed: Sequence[int] = ()) -> Microinstruction:
    return word(number, targets=[("whole", block(*named)._replace(span=line(number + 1)))], fixed=fixed)


def test_the_row_that_no_lap_holds_is_told() -> None:
    """From a multiple of four on four words in a row, where the counter has one bit or two; and not the short reference
    that is asked for before it."""
    wanted = program([word(0, targets=[("short", label(1)._replace(span=line(1)))]), word(1),
                      *(word(at, succeeds=int(at < 5)) for at in range(2, 6))],
                     [body(0, 2), body(2, 6, name="row", align=4)._replace(span=line(3))])
    assert place(one_store(8, 3), wanted._replace(counting={"control": 2}), None)[1] == []
    finding, = place(one_store(8, 3), wanted._replace(counting={"control": 1}), None)[1]
    assert finding.span == line(3) and finding.message.startswith("4 words must stand in fixed places")


def test_a_short_row_of_two_is_no_aligned_block() -> None:
    """It may stand at 1 and 2, where no pair can."""
    wanted = program([word(0, fixed=(0,), targets=[("short", label(1))]), word(1, succeeds=1), word(2),
                      *fixed(3, 3, 5, 7)])
    assert short(8, wanted) is None and place(one_store(8, 3), wanted, None)[0] is not None
    names = wanted.words[0]._replace(targets=(("whole", block(1, 2)),))
    aligned = wanted._replace(words=(names, word(1), *wanted.words[2:]))
    finding = short(8, aligned)
    assert finding is not None and finding.message.startswith("1 aligned blocks of 2 words are needed, 0 are free")


def test_a_pair_within_a_table_needs_no_room_of_its_own() -> None:
    """At 4 is room for the table; two tables, each with a pair in it, need two."""
    one = [pair(0, (2, 3, 4, 5), fixed=(0,)), pair(1, (4, 5), fixed=(2,)), *(word(at) for at in range(2, 6))]
    assert short(8, program(one)) is None
    two = [*one, *(word(at) for at in range(6, 10)), pair(10, (6, 7, 8, 9), fixed=(1,)), pair(11, (8, 9), fixed=(3,))]
    assert short(16, program(two)) is None and short(16, program([*two, *fixed(12, 6)])) is None
    finding = short(16, program([*two, *fixed(12, 6, 9, 13)]))
    assert finding is not None
    assert finding.message == "2 aligned blocks of 4 words are needed, 0 are free: over-full by 8 words"


def test_the_last_pair_is_told_of_those_for_which_there_is_no_room() -> None:
    """Beside them a row of three, and a label below 8, which need no aligned place."""
    wanted = program([pair(0, (2, 3), fixed=(1,)), pair(1, (4, 5), fixed=(4,)), *(word(at) for at in range(2, 6)),
                      word(6, fixed=(7,), targets=[("short", label(7)._replace(span=line(7)))]), word(7)])
    finding = short(10, wanted)
    assert finding is None
    finding = short(8, wanted._replace(words=(*wanted.words[:7], word(7))))
    assert finding is not None
    assert finding.message == "2 aligned blocks of 2 words are needed, 1 are free: over-full by 2 words"
    assert finding.span == line(2)


def test_words_that_stand_twice_are_not_counted_as_blocks() -> None:
    """Two pairs of the same two words in a store of four, and a word that a field of one bit names."""
    wanted = program([word(0, targets=[("whole", block(1, 2)), ("even", block(2, 1)), ("short", label(0))]), word(1),
                      word(2)])
    assert short(4, wanted) is None
    finding, = place(one_store(4, 2), wanted, None)[1]
    assert finding.message.startswith("store `control` is over-full")


@pytest.mark.parametrize(("lengths", "told"), [((7, 3), 1), ((3, 7), 4), ((6, 3), None)])
def test_the_longest_row_is_held_against_the_longest_stretch(lengths: tuple[int, int], told: int | None) -> None:
    words = [word(at, succeeds=int(at not in (lengths[0] - 1, sum(lengths) - 1))) for at in range(sum(lengths))]
    finding = short(16, program([*words, *fixed(sum(lengths), 6, 13)]))
    assert (finding.span if finding else None) == (line(told) if told else None)


def test_a_full_store_of_fixed_words_is_not_short_of_anything() -> None:
    assert short(4, program(fixed(0, 0, 1, 2, 3))) is None


def refuted(wanted: Program, size: int) -> Finding:
    """What is told when every arrangement was tried."""
    placement, (finding,) = place(one_store(size, (size - 1).bit_length()), wanted, None)
    assert placement is None and finding.notes == ("every arrangement was ruled out",)
    return finding


def test_by_how_many_words_a_store_is_too_small_is_told_where_more_words_help() -> None:
    """Two pairs below 8: 6 is one place for them, and no word behind 15 is another. A row that has no room would stand
    behind 7."""
    below = program([*fixed(0, 1, 3, 5), word(3, targets=[("short", block(5, 6))]),
                     word(4, targets=[("short", block(7, 8))]), *(word(at) for at in range(5, 9))])
    finding = refuted(below, 16)
    assert finding.message == "store `control` is over-full: no arrangement of its rows and blocks fits"
    assert "part(" not in finding.help
    row = program([*fixed(0, 2, 4, 6), *(word(at, succeeds=int(at in (3, 5))) for at in range(3, 7))])
    finding = refuted(row, 8)
    assert finding.message.startswith("store `control` is over-full by 1 word: no arrangement")
    assert "part(" not in finding.help


@pytest.mark.parametrize(("counting", "more"), [(3, "1 word"), (2, "2 words")])
def test_a_store_that_is_thought_larger_has_the_laps_of_its_counter(counting: int, more: str) -> None:
    """Three rows of two; 0, 2 to 5 and 7 are free. The third would stand at 7 and 8, where that is no end of a lap."""
    words = [word(at, succeeds=int(at % 2 == 0)) for at in range(6)]
    finding = refuted(program([*words, *fixed(6, 1, 6)], counting=counting), 8)
    assert finding.message.startswith(f"store `control` is over-full by {more}: ")


def limited(unit: Unit) -> str:
    """What is told of a unit that finds no room in a store of 8 words."""
    (task,), _ = collect(one_store(8, 3), program([word(0)]))
    units = Units((Demand(((0, 0),), 0, "", line(1)),), (unit,), dict.fromkeys(range(8), 9), (), (), False)
    return nothing_fits(task, units, Pages((), {}, ()), NoRoom(None, "it")).message


def test_a_word_whose_address_begins_with_ones_does_not_move_behind_the_store() -> None:
    assert limited(Unit((0,), (0,), 0xF0, (), ((0, 0),), True)).startswith("store `control` is over-full: ")
    assert limited(Unit((0,), (0,), 0x0F, ((0, 4),), ((0, 0),), False)).startswith("store `control` is over-full: ")
    assert limited(Unit((0,), (0,), 0xFF, (), ((0, 0),), False)).startswith("store `control` is over-full by 1 word: ")


def test_what_a_piece_is_called() -> None:
    (task,), _ = collect(one_store(8, 3), program([word(0, succeeds=1), word(1), word(2)]))
    demands = Demand(((0, 0),), 0, "", line(1)), Demand(((0, 2),), 0, "", line(2)), Demand(((0, 1),), 0, "", line(3))
    made = Unit((0,), (0,), 255, (), ((1, 0),), False), Unit((0, 1), (0, 1), 127, (), ((2, 0), (0, 1)), False)
    units = Units(demands, made, {}, (), ((0, 2), (2, 1)), False)
    assert no_room(task, units, Stuck(None, 1)) == NoRoom(line(3), "this row of 1 word")
    assert no_room(task, units, Stuck(None, 0)) == NoRoom(line(1), "this row of 2 words")
    assert no_room(task, units, Stuck(0, None)) == NoRoom(line(2), "1 word that stand together")
    assert no_room(task, units, Stuck(1, None)) == NoRoom(line(3), "2 words that stand together")
    assert no_room(task, units, Stuck(None, None)) == NoRoom(None, "every piece")
