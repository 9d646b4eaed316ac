"""Words keep their recorded addresses after small edits, and never at the price of a placement."""

from collections.abc import Mapping, Sequence
from random import Random
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ordain.machine.expression import Terms
from ordain.microprogram.model import Body, Microinstruction, Program
from ordain.placement.clusters import join
from ordain.placement.demands import collect
from ordain.placement.model import Placement, Recorded
from ordain.placement.place import place
from ordain.placement.quick import Stuck, first_fit, free_runs
from ordain.placement.remember import wishes
from ordain.placement.space import AddressSpace
from tests.placement.by_hand import block, body, field, label, machine, one_store, program, store, word
from tests.placement.test_against_every_possibility import faults, some_program


def recorded_of(wanted: Program, placement: Placement) -> Recorded:
    """What a build leaves for the next one."""
    keys = {f"{each.name}/{index - each.first}": placement.addresses[index]
            for each in wanted.bodies for index in range(each.first, each.end)}
    return Recorded({"control": keys}, placement.words)


def placed(size: int, width: int, wanted: Program, recorded: Recorded | None = None) -> Placement:
    placement, findings = place(one_store(size, width), wanted, recorded)
    assert placement is not None and not findings, findings
    return placement


def bodies(*contents: Sequence[tuple[int, int]]) -> Program:
    """Bodies named a, b, c ... of words (bits in the two highest bytes, succeeds)."""
    words: list[Microinstruction] = []
    made: list[Body] = []
    for number, content in enumerate(contents):
        first = len(words)
        words += [word(first + at, bits=bits << 16, succeeds=succeeds) for at, (bits, succeeds) in enumerate(content)]
        made.append(body(first, len(words), name=chr(ord("a") + number)))
    return program(words, made)


def where(wanted: Program, placement: Placement) -> dict[int, int]:
    """The address of each word, words being known by their bits."""
    return {each.bits >> 16: placement.addresses[index][0] for index, each in enumerate(wanted.words)}


def test_nothing_changes_when_nothing_changed() -> None:
    wanted = bodies([(1, 1), (2, 0)], [(3, 0)], [(4, 1), (5, 1), (6, 0)])
    places = {"a/0": 9, "a/1": 10, "b/0": 3, "c/0": 12, "c/1": 13, "c/2": 14}
    before = Recorded({"control": {key: (place,) for key, place in places.items()}}, {})
    assert where(wanted, placed(16, 4, wanted, before)) == {1: 9, 2: 10, 3: 3, 4: 12, 5: 13, 6: 14}


def test_a_word_put_in_moves_only_itself() -> None:
    """Every word names its successor: the new word takes a free place, the words after it stay."""
    old = bodies([(1, 0), (2, 0), (3, 0)], [(4, 0)])
    new = bodies([(1, 0), (9, 0), (2, 0), (3, 0)], [(4, 0)])
    before = placed(8, 3, old)
    after = where(new, placed(8, 3, new, recorded_of(old, before)))
    assert {at: after[at] for at in (1, 2, 3, 4)} == where(old, before)


def test_a_word_taken_out_moves_nothing() -> None:
    old = bodies([(1, 0), (9, 0), (2, 0), (3, 0)], [(4, 0)])
    new = bodies([(1, 0), (2, 0), (3, 0)], [(4, 0)])
    before = placed(8, 3, old)
    assert where(new, placed(8, 3, new, recorded_of(old, before))).items() <= where(old, before).items()


def test_a_row_that_grew_moves_and_its_neighbours_stay() -> None:
    old = bodies([(1, 1), (2, 0)], [(3, 1), (4, 0)])
    new = bodies([(1, 1), (2, 1), (9, 0)], [(3, 1), (4, 0)])
    before = placed(16, 4, old)
    assert where(old, before) == {1: 0, 2: 1, 3: 2, 4: 3}
    assert where(new, placed(16, 4, new, recorded_of(old, before))) == {3: 2, 4: 3, 1: 4, 2: 5, 9: 6}


def test_a_row_that_grew_at_its_front_stays_where_there_is_room() -> None:
    old = bodies([(1, 1), (2, 1), (3, 0)])
    new = bodies([(9, 1), (1, 1), (2, 1), (3, 0)])
    before = Recorded({"control": {"a/0": (5,), "a/1": (6,), "a/2": (7,)}}, {"control": {5: 1 << 16, 6: 2 << 16,
                                                                                       7: 3 << 16}})
    assert where(new, placed(16, 4, new, before)) == {9: 4, 1: 5, 2: 6, 3: 7}
    assert where(old, placed(16, 4, old, before)) == {1: 5, 2: 6, 3: 7}


def test_recorded_words_give_way_where_they_must() -> None:
    """Single words lie so that no two free addresses are neighbours; a new row of four needs some of them moved."""
    old = bodies(*[[(at + 1, 0)] for at in range(4)])
    before = Recorded({"control": {f"{chr(ord('a') + at)}/0": (2 * at,) for at in range(4)}}, {})
    assert where(old, placed(8, 3, old, before)) == {1: 0, 2: 2, 3: 4, 4: 6}
    new = bodies(*[[(at + 1, 0)] for at in range(4)], [(10, 1), (11, 1), (12, 1), (13, 0)])
    after = where(new, placed(8, 3, new, before))
    assert [after[at] - after[10] for at in (10, 11, 12, 13)] == [0, 1, 2, 3]
    assert sum(after[at + 1] == 2 * at for at in range(4)) == 2       # a row of four covers two of them at least


def test_a_recorded_address_that_no_longer_suits_is_given_up() -> None:
    def pair(aligned: bool) -> Program:
        targets = [("whole", block(0, 1))] if aligned else []
        return program([word(0, targets=targets), word(1)])

    before = Recorded({"control": {"body/0": (3,), "body/1": (4,)}}, {})
    assert placed(8, 3, pair(False), before).addresses == ((3,), (4,))
    assert placed(8, 3, pair(True), before).addresses == ((0,), (1,))


def test_a_group_of_a_page_stays_in_its_page() -> None:
    wanted = program([word(0), word(1)], [body(0, 2, same_page=4)])
    before = Recorded({"control": {"body/0": (13,), "body/1": (15,)}}, {})
    assert placed(16, 4, wanted, before).addresses == ((13,), (15,))
    split = Recorded({"control": {"body/0": (13,), "body/1": (9,)}}, {})
    assert placed(16, 4, wanted, split).addresses == ((13,), (12,))


def test_bits_that_do_not_matter_are_those_of_the_last_build() -> None:
    wanted = program([word(0, bits=0b0001, open=0b0110), word(1, open=0b0111)])
    before = Recorded({"control": {"body/0": (5,)}}, {"control": {5: 0b0111}})
    assert placed(8, 3, wanted, before).words["control"] == {5: 0b0111, 6: 0}
    assert placed(8, 3, wanted).words["control"] == {0: 1, 1: 0}


def test_records_of_unknown_words_and_impossible_addresses_do_no_harm() -> None:
    wanted = bodies([(1, 1), (2, 0)])
    before: Mapping[str, tuple[int, ...]] = {"gone/0": (3,), "a/0": (7,), "a/1": (900,), "a/2": ()}
    assert where(wanted, placed(8, 3, wanted, Recorded({"control": dict(before)}, {}))) == {1: 0, 2: 1}


@given(st.lists(st.lists(st.integers(0, 1), min_size=1, max_size=6), min_size=1, max_size=8), st.data())
def test_only_what_changed_moves(shape: list[list[int]], data: st.DataObject) -> None:
    """One word is put in somewhere; words of other bodies keep their addresses when the store has room to spare."""
    code = iter(range(1, 1000))
    contents = [[(next(code), succeeds if at < len(each) - 1 else 0) for at, succeeds in enumerate(each)]
                for each in shape]
    old = bodies(*contents)
    number = data.draw(st.integers(0, len(contents) - 1))
    at = data.draw(st.integers(0, len(contents[number])))
    changed = [list(each) for each in contents]
    changed[number].insert(at, (999, 1 if at < len(contents[number]) else 0))
    new = bodies(*changed)
    before = placed(128, 7, old)
    recorded = recorded_of(old, before)
    assert placed(128, 7, old, recorded) == before
    kept, after = where(old, before), where(new, placed(128, 7, new, recorded))
    others = [bits for each, content in enumerate(contents) if each != number for bits, _ in content]
    assert {bits: after[bits] for bits in others} == {bits: kept[bits] for bits in others}


def test_targets_follow_a_word_that_moved() -> None:
    old = program([word(0, bits=1 << 24, targets=[("whole", label(1))]), word(1, bits=2 << 24)])
    recorded = Recorded({"control": {"body/0": (6,), "body/1": (2,)}}, {})
    assert placed(8, 3, old, recorded).words["control"] == {6: 1 << 24 | 2, 2: 2 << 24}


@pytest.mark.parametrize(("counting", "kept"), [(4, True), (2, False), (3, True)])
def test_a_row_that_was_recorded_across_what_is_now_the_end_of_a_lap(counting: int, kept: bool) -> None:
    """Behind address 3 a counter of two bits goes on at 0. A wider one does not, and the row stays."""
    wanted = bodies([(1, 1), (2, 0)])._replace(counting={"control": counting})
    before = Recorded({"control": {"a/0": (3,), "a/1": (4,)}}, {})
    assert placed(16, 4, wanted, before).addresses == (((3,), (4,)) if kept else ((0,), (1,)))


@pytest.mark.parametrize(("size", "kept"), [(8, True), (7, False), (4, False)])
def test_a_row_that_was_recorded_beyond_what_is_now_the_end_of_the_store(size: int, kept: bool) -> None:
    wanted = bodies([(1, 1), (2, 0)])
    before = Recorded({"control": {"a/0": (6,), "a/1": (7,)}}, {})
    assert placed(size, 3, wanted, before).addresses == (((6,), (7,)) if kept else ((0,), (1,)))


def test_a_row_that_is_given_room_stands_in_one_lap() -> None:
    """Recorded single words leave 3 and 4 free, where one lap ends and the next begins: one of them has to give way."""
    wanted = bodies([(1, 1), (2, 0)], *([(number, 0)] for number in range(3, 9)))._replace(counting={"control": 2})
    old = (0,), (1,), (2,), (5,), (6,), (7,)
    before = Recorded({"control": dict(zip(("b/0", "c/0", "d/0", "e/0", "f/0", "g/0"), old))}, {})
    found = placed(8, 3, wanted, before)
    assert faults(wanted, found, 8, 3) == []
    assert sum(now == was for now, was in zip(found.addresses[2:], old)) == 5


def test_a_row_of_which_one_word_is_in_the_way_gives_way_as_a_whole() -> None:
    """0, 1-2, 5-7 and 10-11 are taken; a row of three fits best over 2-4, and what stood at 1-2 goes to 8-9."""
    rows = [(1, 0)], [(2, 1), (3, 0)], [(4, 1), (5, 1), (6, 0)], [(7, 1), (8, 0)]
    old = {"a/0": (0,), "b/0": (1,), "b/1": (2,), "c/0": (5,), "c/1": (6,), "c/2": (7,), "d/0": (10,), "d/1": (11,)}
    new = bodies(*rows, [(10, 1), (11, 1), (12, 0)])
    assert where(new, placed(12, 4, new, Recorded({"control": old}, {}))) == {
        1: 0, 10: 2, 11: 3, 12: 4, 4: 5, 5: 6, 6: 7, 2: 8, 3: 9, 7: 10, 8: 11}


def test_words_that_are_fixed_do_not_give_way() -> None:
    """3, 5 and 7 are free, but no two in a row: one recorded word has to go, whatever stands at 0 and 1."""
    wanted = program([*(word(at) for at in range(3)), word(3, fixed=(0,)), word(4, fixed=(1,)), word(5, succeeds=1),
                      word(6)], [*(body(at, at + 1, name=f"b{at}") for at in range(3)), body(3, 5, name="walls"),
                                 body(5, 7, name="new")])
    found = placed(8, 3, wanted, Recorded({"control": {"b0/0": (2,), "b1/0": (4,), "b2/0": (6,)}}, {}))
    assert found.addresses == ((5,), (4,), (6,), (0,), (1,), (2,), (3,))


def test_a_table_goes_where_the_fewest_recorded_words_give_way() -> None:
    """At 4 it would push two words of the row, at 8 one: the row goes to 1. At 0 and 12 stand fixed words."""
    wanted = program([word(0, fixed=(0,), targets=[("whole", block(4, 5, 6, 7))]), word(1, succeeds=1),
                      word(2, succeeds=1), word(3), *(word(at) for at in range(4, 8)), word(8, fixed=(12,))],
                     [body(0, 1, name="a"), body(1, 4, name="row"), body(4, 8, name="table"), body(8, 9, name="b")])
    found = placed(16, 4, wanted, Recorded({"control": {"row/0": (6,), "row/1": (7,), "row/2": (8,)}}, {}))
    assert [found.addresses[at] for at in (1, 4)] == [(1,), (8,)]


@pytest.mark.parametrize("page", [0, 16])
def test_what_was_recorded_as_a_whole_stays_so_when_room_is_made(page: int) -> None:
    """`b` had its first word where the second of `a` was. A new row of four needs 9 to 12, where 10 is taken."""
    wanted = program([word(0, succeeds=1), word(1), word(2, succeeds=1), word(3),
                      *(word(4 + at, succeeds=int(at < 3)) for at in range(4)), word(8),
                      *(word(9 + at, fixed=(address,)) for at, address in enumerate((2, 8, 13)))],
                     [body(0, 2, name="b"), body(2, 4, name="a"), body(4, 8, name="c", same_page=page),
                      body(8, 9, name="d"), body(9, 12, name="walls")])
    before = Recorded({"control": {"b/0": (5,), "a/0": (4,), "a/1": (5,), "d/0": (10,)}}, {})
    found = placed(16, 4, wanted, before)
    assert [found.addresses[at] for at in (2, 4)] == [(4,), (9,)]


def test_one_word_gives_way_to_a_pair() -> None:
    """Words at 0, 2, 4 and 6 leave no aligned place free; the first goes elsewhere, and the others stay."""
    singles = [word(at) for at in range(4)]
    wanted = program([*singles, word(4, targets=[("whole", block(5, 6))]), word(5), word(6)],
                     [body(at, at + 1, name=f"b{at}") for at in range(4)] + [body(4, 7, name="new")])
    old = {f"b{at}/0": (2 * at,) for at in range(4)}
    found = placed(8, 3, wanted, Recorded({"control": old}, {}))
    assert faults(wanted, found, 8, 3) == [] and found.addresses[5:] == ((0,), (1,))
    assert found.addresses[1:4] == ((2,), (4,), (6,))


def no_search(*args: object) -> None:
    raise AssertionError("the quick way should have found it")


@pytest.mark.parametrize(("row", "taken", "stands"), [
    (False, (4,), (5, 6, 7)),                   # the fullest page that has room
    (False, (4, 8, 9), (5, 6, 7)), (False, (1, 2, 4, 5), (8, 9, 10)),
    (True, (5, 8), (9, 10, 11)),                # three are free from 4 to 7 as well, but not in a row
    (True, (5, 9, 13), (0, 1, 2)),
])
def test_the_page_that_a_group_gets(row: bool, taken: tuple[int, ...], stands: tuple[int, ...]) -> None:
    """Three words in one page of four, found without a search."""
    wanted = program([*(word(at, succeeds=int(row and at < 2)) for at in range(3)),
                      *(word(3 + at, fixed=(address,)) for at, address in enumerate(taken))],
                     [body(0, 3, name="three", same_page=4), body(3, 3 + len(taken), name="walls")])
    with patch("ordain.placement.exact.search", no_search):
        found = placed(16, 4, wanted)
    assert tuple(places[0] for places in found.addresses[:3]) == stands


def test_a_word_likes_to_stand_behind_the_one_before_it() -> None:
    """Though a lower address is free; the first of a body does not care."""
    free, runs = [(0, 1), (2, 8)], [(0, 2), (2, 1), (3, 1)]
    assert first_fit(free, runs, range(3), {}, frozenset({0})) == [2, 4, 5]
    assert first_fit(free, runs, range(3), {}, frozenset({0, 2})) == [2, 0, 4]
    assert first_fit(free, runs, range(3), {}, None) == [2, 0, 4]
    assert first_fit(free, runs, range(3), {0: 5}, frozenset()) == [2, 4, 5]
    assert first_fit(free, [(0, 7)], range(1), {}, None) == 0
    assert first_fit([(0, 2), (4, 5)], [(3, 1)], range(1), {3: 4}, frozenset()) == [4]      # the only place there


def test_a_word_whose_place_another_took_goes_where_there_is_room() -> None:
    """Words 3 and 4 take 4 and 5, where word 20 would like to stand: it stands at 0 then, and not somewhere behind."""
    free = [(0, 1), (4, 8)]
    assert first_fit(free, [(3, 2), (20, 1)], range(2), {20: 4}, frozenset({3})) == [4, 0]
    assert first_fit(free, [(3, 2), (20, 1)], range(2), {20: 6}, frozenset({3})) == [4, 6]


@pytest.mark.parametrize(("free", "counting", "runs"), [
    (0b1111, 2, [(0, 4)]), (0b11111, 2, [(0, 4), (4, 5)]), (0b11110, 2, [(1, 4), (4, 5)]), (0b11011, 1, [
        (0, 2), (3, 4), (4, 5)]), (0b111111, 1, [(0, 2), (2, 4), (4, 6)]), (0b111, 4, [(0, 3)]), (0, 2, [])])
def test_free_stretches_are_cut_where_the_counter_begins_anew(free: int, counting: int,
                                                              runs: list[tuple[int, int]]) -> None:
    assert free_runs(free, counting) == runs


def test_a_word_likes_to_stand_behind_a_block() -> None:
    """0 is free, but the second word of the pair stands at 3, and the next word behind it."""
    wanted = program([word(0, fixed=(1,), targets=[("whole", block(1, 2))]), word(1), word(2), word(3)])
    assert placed(8, 3, wanted).addresses == ((1,), (2,), (3,), (4,))
    fixed = program([word(0, fixed=(4,)), word(1), word(2)])
    assert placed(8, 3, fixed).addresses == ((4,), (5,), (6,))


def test_the_exact_way_keeps_what_was_recorded() -> None:
    """Where there is room for it: the twin has a word where the second of the pair was."""
    def pairs(*fixed: int) -> Program:
        words = [word(0, targets=[("whole", block(1, 2))]), word(1), word(2)]
        return program([*words, *(word(3 + at, fixed=(address,)) for at, address in enumerate(fixed))],
                       [body(0, 3), body(3, 3 + len(fixed), name="more")])

    before = Recorded({"control": {"body/0": (7,), "body/1": (4,), "body/2": (5,)}}, {})
    with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
        assert placed(8, 3, pairs(), before).addresses[1:3] == ((4,), (5,))
        assert placed(8, 3, pairs(5), before).addresses[1:3] == ((0,), (1,))


@pytest.mark.parametrize("seed", range(5))
def test_no_record_spoils_a_placement(seed: int) -> None:
    """Whatever a record says, of whatever program: what can be placed is, and correctly. And once more with what came
    of it nothing moves."""
    rng = Random(seed)
    for _ in range(100):
        wanted, size, width = some_program(rng)
        said = {f"body {rng.randint(0, 5)}/{rng.randint(0, 5)}": tuple(rng.sample(range(10), rng.randint(1, 2)))
                for _ in range(rng.randint(0, 6))}
        words = {rng.randrange(8): rng.getrandbits(32) for _ in range(rng.randint(0, 6))}
        placement, _ = place(one_store(size, width), wanted, Recorded({"control": said}, {"control": words}))
        assert (placement is not None) == (place(one_store(size, width), wanted, None)[0] is not None), wanted
        if placement is not None:
            assert faults(wanted, placement, size, width) == [], wanted
            again, _ = place(one_store(size, width), wanted, recorded_of(wanted, placement))
            assert again is not None and faults(wanted, again, size, width) == [], wanted
            if all(len(places) == 1 for places in placement.addresses):
                assert again.addresses == placement.addresses, wanted


def test_a_body_that_grew_is_known_by_its_words_less_what_is_worked_out() -> None:
    """The parity bit is none of what a word does: it changes with where its target stands."""
    terms = Terms()
    parity = terms.parity(terms.slice(terms.leaf("word", "control", 16), 15, 9))
    fields = [field("parity", 8, 8, derived=parity), field("target", 7, 4, (3, 0))]
    small = machine([store("control", 16, 16, 4, terms, [each.name for each in fields])], fields, terms)

    def body_of(*bits: int) -> Program:
        return program([word(number, bits=each << 9, targets=[("target", label(number))])
                        for number, each in enumerate(bits)])

    old = {f"body/{number}": (place,) for number, place in enumerate((9, 4, 12))}
    before = Recorded({"control": old}, {"control": {9: 1 << 9 | 9 << 4, 4: 2 << 9 | 4 << 4, 12: 3 << 9 | 1 << 8}})
    placement, _ = place(small, body_of(1, 2, 5, 3), before)
    assert placement is not None
    assert [places[0] for places in placement.addresses] == [9, 4, 5, 12]
    other = before._replace(words={"control": {**before.words["control"], 12: 7 << 9}})
    placement, _ = place(small, body_of(1, 2, 5, 3), other)
    assert placement is not None and placement.addresses[3] != (12,)


@pytest.mark.parametrize(("recalled", "bases", "firm"), [
    ({0: (2,), 1: (3,), 2: (6,), 3: (7,), 4: (9,), 5: (12,), 6: (13,)}, ((2,), (12, 6, 9)), {0, 1, 2, 3}),
    ({0: (2,), 2: (6,), 5: (12,), 6: (14,)}, ((2,), (12, 6, None)), set()),
    ({0: (2,), 1: (4,), 5: (12,), 6: (13,)}, ((2,), (12, None, None)), {1}),     # of two the lower
    ({1: (3, 9), 0: (8,), 4: (5, 9)}, ((8,), (None, None, 5)), {0, 3}),
    ({}, ((None,), (None, None, None)), set()),
])
def test_where_pieces_would_like_to_stand(recalled: dict[int, tuple[int, ...]], bases: object, firm: set[int]) -> None:
    """A pair of words 0 and 1, rows of 5 and 6 and of 2 and 3, word 4 alone: firm is who was recorded as a whole."""
    words = [word(0, targets=[("whole", block(0, 1))]), word(1), word(2, succeeds=1), word(3), word(4),
             word(5, succeeds=1), word(6)]
    (task,), _ = collect(one_store(16, 4), program(words))
    units = join(AddressSpace(16, 4), task, frozenset(), merge=True)
    runs = [first for first, _ in units.runs]
    assert sorted(runs) == [2, 4, 5]
    found = wishes(units, recalled)
    by_first = dict(zip(runs, found.runs, strict=True))
    assert (found.units, (by_first[5], by_first[2], by_first[4])) == bases
    numbers = {("unit", 0): 0, ("run", runs.index(5)): 1, ("run", runs.index(2)): 2, ("run", runs.index(4)): 3}
    assert {numbers[one] for one in found.firm} == firm


@pytest.mark.parametrize(("differing", "kept"), [
    (0, True), *((1 << bit, True) for bit in range(4, 8)), *((1 << bit, True) for bit in range(9, 12)), (7 << 9, True),
    (15 << 4, True), *((1 << bit, False) for bit in (0, 1, 3, 8, 12, 15))])
def test_which_bits_of_a_word_say_that_it_is_the_same(differing: int, kept: bool) -> None:
    """Not those of an address, which may have moved, nor those that are computed; of a body with a word more."""
    terms = Terms()
    derived = terms.slice(terms.leaf("word", "control", 16), 3, 1)
    fields = [field("target", 7, 4, (3, 0)), field("sum", 11, 9, derived=derived)]
    small = machine([store("control", 16, 16, 4, terms, ["target", "sum"])], fields, terms)
    wanted = program([word(0, bits=5, targets=[("target", label(2))]), word(1, bits=0x3000), word(2, bits=0x5000)])
    old = Recorded({"control": {"body/0": (9,), "body/1": (12,)}}, {"control": {9: 5 ^ differing, 12: 0xF00F}})
    placement, findings = place(small, wanted, old)
    assert placement is not None and not findings
    assert (placement.addresses[0] == (9,)) == kept


def test_a_word_goes_back_to_where_its_label_stood() -> None:
    """It stood twice; a row of which the two words were recorded apart keeps the lower one of the two places."""
    old = Recorded({"control": {"a/0": (9, 4)}}, {"control": {}})
    assert placed(16, 4, bodies([(1, 0)]), old).addresses == ((9,),)
    old = Recorded({"control": {"a/0": (9,), "a/1": (4,)}}, {"control": {}})
    assert placed(16, 4, bodies([(1, 1), (2, 0)]), old).addresses == ((3,), (4,))


def test_a_body_of_words_that_are_all_alike_grows_at_its_end() -> None:
    old = Recorded({"control": {"a/0": (9,), "a/1": (12,)}}, {"control": {9: 7 << 16, 12: 7 << 16}})
    assert placed(16, 4, bodies([(7, 0), (7, 0), (7, 0)]), old).addresses[:2] == ((9,), (12,))


def test_a_body_that_shrank_says_nothing_of_the_one_behind_it() -> None:
    """The word that b lost is like the first of c, which is new: that takes the first free place."""
    old = Recorded({"control": {"a/0": (5,), "b/0": (9,), "b/1": (12,), "b/2": (14,)}},
                   {"control": {5: 1 << 16, 9: 2 << 16, 12: 3 << 16, 14: 4 << 16}})
    assert placed(16, 4, bodies([(1, 0)], [(2, 0), (3, 0)], [(4, 0)]), old).addresses == ((5,), (9,), (12,), (0,))
