"""Every message about a placement that cannot be, each with a neighbour one step away that can."""

from collections.abc import Iterable, Mapping, Sequence
from unittest.mock import patch

import pytest

from ordain.machine.expression import Terms
from ordain.machine.model import Machine
from ordain.microprogram.model import MapCell, Microinstruction, OpcodeUse, Program
from ordain.placement.demands import Bond
from ordain.placement.fewest import Fewest
from ordain.placement.pages import kept
from ordain.placement.place import place
from ordain.placement.quick import Stuck
from ordain.sockets import touching_fewest
from ordain.text.source import Span
from tests.placement.by_hand import HERE, block, body, field, label, machine, one_store, program, store, word


def message(small: Machine, wanted: Program) -> str:
    """`name: message` of the one finding, "" when everything is placed."""
    placement, findings = place(small, wanted, None)
    assert len(findings) <= 1 and (placement is None) == bool(findings)
    return f"{findings[0].name}: {findings[0].message}" if findings else ""


def row(first: int, length: int, **more: object) -> list[object]:
    """Words that must stand in a row."""
    return [word(first + at, succeeds=int(at < length - 1),
                 **(more if not at else {})) for at in range(length)]  # type: ignore[arg-type]


def rows(*lengths: int, fixed: Sequence[int] = ()) -> Program:
    """Rows of the given lengths, then one word at each fixed address."""
    words: list[object] = []
    for length in lengths:
        words += row(len(words), length)
    words += [word(len(words) + at, fixed=(address,)) for at, address in enumerate(fixed)]
    return program(words)  # type: ignore[arg-type]


def test_more_words_than_addresses() -> None:
    assert message(one_store(8, 3), rows(*[1] * 8)) == ""
    assert message(one_store(8, 3), rows(*[1] * 11)) == (
        "over-full: store `control` is over-full by 3 words: 11 to place, 8 free")
    assert message(one_store(8, 3), rows(*[1] * 7, fixed=[0, 4])) == (
        "over-full: store `control` is over-full by 1 word: 7 to place, 6 free")


def test_a_row_longer_than_every_free_run() -> None:
    assert message(one_store(16, 4), rows(7, fixed=[7, 15])) == ""
    assert message(one_store(16, 4), rows(7, fixed=[6, 13])) == (
        "over-full: a row of 7 words must stand together, the largest free run has 6: over-full by 1 word")


def test_rows_that_leave_gaps() -> None:
    """Two free runs of five take two rows of four, but not a third, though six addresses would be free for it."""
    assert message(one_store(16, 4), rows(4, 4, fixed=[5, 11, 12, 13, 14, 15])) == ""
    assert message(one_store(16, 4), rows(4, 4, 2, fixed=[5, 11, 12, 13, 14, 15])) == (
        "over-full: store `control` is over-full by 2 words: no arrangement of its rows and blocks fits")


def test_a_store_that_is_thought_larger_counts_beyond_its_last_address() -> None:
    """Behind three walls one row of two has no room; one word more, from 7 on."""
    assert message(one_store(8, 3), rows(2, 1, 1, fixed=[2, 4, 6])) == ""
    assert message(one_store(8, 3), rows(2, 2, fixed=[2, 4, 6])) == (
        "over-full: store `control` is over-full by 1 word: no arrangement of its rows and blocks fits")


def test_a_fixed_word_outside_the_store() -> None:
    assert message(one_store(10, 4), rows(fixed=[9])) == ""
    assert message(one_store(10, 4), rows(fixed=[10])) == (
        "out-of-store: `body` is to stand at 0xA, but `control` ends at 0x9")
    _, (finding,) = place(one_store(10, 4), rows(fixed=[10, 9, 11, 12, 13, 14]), None)
    assert len(finding.places) == 3 and finding.notes == ("and 1 word more",)
    _, (finding,) = place(one_store(10, 4), rows(fixed=[10, 9, 11, 12, 13]), None)
    assert len(finding.places) == 3 and finding.notes == ()


def test_a_fixed_row_that_runs_out_of_the_store() -> None:
    def at(address: int) -> Program:
        return program(row(0, 3, fixed=(address,)))  # type: ignore[arg-type]

    assert message(one_store(8, 3), at(5)) == ""
    assert message(one_store(8, 3), at(6)) == (
        "over-full: from 0x6 on there is room for 2 words, but 3 words must stand in a row")
    for address, room, lower in ((2, 2, 1), (3, 1, 2), (6, 2, 1)):
        _, (finding,) = place(one_store(16, 4), at(address)._replace(counting={"control": 2}), None)
        assert finding.message.startswith(f"from 0x{address:X} on there is room for {room} word")
        assert f"begin it {lower} lower" in finding.help


def test_two_words_at_one_address() -> None:
    def two(first: int, second: int) -> Program:
        return program([word(0, fixed=(first,), owner="one"), word(1, fixed=(second,), owner="two")])

    assert message(one_store(8, 3), two(2, 3)) == ""
    assert message(one_store(8, 3), two(2, 2)) == "placement-conflict: two words are to stand at 0x2 of `control`"


@pytest.mark.parametrize(("kind", "starts", "said"), [
    ("instruction", True, "the slot of opcode 0x1, 0x9"), ("instruction", False, "the room of `one` at 0x2"),
    ("routine", True, "the room of `one` at 0x2"), ("routine", False, "the room of `one` at 0x2"),
])
def test_a_row_that_runs_into_a_fixed_word(kind: str, starts: bool, said: str) -> None:
    """What has an opcode has a slot, where the hardware gives one; a routine has not."""
    small = one_store(8, 3)
    ir = small.terms.leaf("register", "ir", 4)
    stores = {"control": small.stores["control"]._replace(starts_at=ir if starts else None)}
    words = [*row(0, 3, fixed=(2,), owner="one"), word(3, fixed=(4,), owner="two")]
    own = [OpcodeUse(opcode, "one", False) for opcode in (1, 9)] if kind == "instruction" else []
    wanted = program(words, [body(0, 3, name="one")._replace(kind=kind),  # type: ignore[arg-type]
                             body(3, 4, name="two")._replace(kind="instruction")])._replace(opcodes=tuple(own))
    assert message(small._replace(stores=stores), wanted) == f"over-full: {said} holds 2 words, needs 3"


def test_two_instructions_at_one_address_where_no_opcode_sends_them_there() -> None:
    wanted = program([word(0, fixed=(2,), owner="one"), word(1, fixed=(2,), owner="two")],
                     [body(number, number + 1, name=name)._replace(kind="instruction")
                      for number, name in enumerate(("one", "two"))])
    _, (finding,) = place(one_store(8, 3), wanted, None)
    assert finding.help == "move one of them"


@pytest.mark.parametrize(("opcode", "kinds", "said"), [
    ("whole", ("instruction", "instruction"),
     "`starts at` sends their opcodes, of 8 bits, to one address: if only some bits of `ir` are the opcode, say which, "
     "such as `instruction ir[7:4]`"),
    ("part", ("instruction", "instruction"),
     "`starts at` sends their opcodes to one address: give it all bits that the `instruction` line names"),
    ("whole", ("instruction", "routine"), "move one of them"),
    ("whole", ("routine", "instruction"), "move one of them"),
    ("none", ("instruction", "instruction"), "move one of them"),
])
def test_two_instructions_that_are_sent_to_one_address(opcode: str, kinds: tuple[str, str], said: str) -> None:
    machine = one_store(8, 3)
    ir = machine.terms.leaf("register", "ir", 8)
    said_by = {"whole": ir, "part": machine.terms.slice(ir, 7, 4), "none": None}[opcode]
    stores = {"control": machine.stores["control"]._replace(opcode=said_by)}
    wanted = program([word(0, fixed=(2,), owner="one"), word(1, fixed=(2,), owner="two")],
                     [body(number, number + 1, name=name)._replace(kind=kind)  # type: ignore[arg-type]
                      for number, (name, kind) in enumerate(zip(("one", "two"), kinds))])
    _, (finding,) = place(machine._replace(stores=stores), wanted, None)
    assert finding.help == said


def test_two_words_that_claim_several_addresses_are_told_once() -> None:
    wanted = program([word(0, fixed=(2, 5), owner="one"), word(1, fixed=(2, 5), owner="two")])
    _, findings = place(one_store(8, 3), wanted, None)
    assert [finding.message for finding in findings] == ["two words are to stand at 0x2 of `control`"]


def test_a_word_that_is_out_of_reach_of_a_short_field_says_why_it_stands_twice() -> None:
    named = program([word(0, targets=[("short", label(1))]), word(1, fixed=(5,))])
    placement, _ = place(one_store(8, 3), named, None)
    assert placement is not None and placement.addresses[1][0] == 5
    assert [(word, why) for word, _, why in placement.copies] == [(1, "for a short reference to `w1`")]


def test_the_unused_word_shares_no_page() -> None:
    """It stands everywhere; who names it in a page is not asked."""
    unused = word(2, targets=[("short", label(0, page=True))], owner="unused")
    placement, findings = place(one_store(8, 3), program([word(0), word(1)], unused=unused), None)
    assert placement is not None and not findings and placement.addresses == ((0,), (1,))
    other = word(2, targets=[("short", label(1, page=True))], owner="unused")
    assert message(one_store(8, 3), program([word(0, fixed=(5,)), word(1, fixed=(2,))], unused=other)) == ""
    for slots in ((5,), (5, 2), (6, 5)):
        placement, _ = place(one_store(8, 3), program([word(0, fixed=slots), word(1)], unused=unused), None)
        assert placement is not None and placement.unused == {"control": (min(slots) & 3) << 8}


def test_a_body_without_words_demands_nothing() -> None:
    """At the end of the text, where no word follows."""
    empty = body(2, 2, name="none", align=4, same_page=4)
    placement, findings = place(one_store(8, 3), program([word(0), word(1)], [body(0, 2), empty]), None)
    assert placement is not None and not findings and placement.addresses == ((0,), (1,))


def test_pairs_for_which_no_aligned_addresses_are_left() -> None:
    """Two addresses in a row are free each time; below an even one and the next they are a pair."""
    def pair(*fixed: int) -> Program:
        words = [word(0, targets=[("whole", block(1, 2))]), word(1), word(2)]
        return program([*words, *(word(3 + at, fixed=(address,)) for at, address in enumerate(fixed))])

    assert message(one_store(8, 3), pair(0, 2, 4)) == ""
    assert message(one_store(8, 3), pair(0, 2, 5, 7)) == (
        "over-full: 1 aligned blocks of 2 words are needed, 0 are free: over-full by 2 words")


def test_a_pair_that_is_needed_a_second_time_in_a_full_store() -> None:
    """w1 is fixed at an odd address and first in a pair: the pair finds no place, whatever a field can reach."""
    def named(*at: int) -> Program:
        return program([word(0, fixed=(0,), targets=[("whole", block(1, 2))]),
                        *(word(1 + number, fixed=(address,)) for number, address in enumerate(at))])

    assert message(one_store(4, 2), named(2, 3, 1)) == ""
    assert message(one_store(4, 2), named(1, 2, 3)) == (
        "over-full: 1 aligned blocks of 2 words are needed, 0 are free: over-full by 2 words")


def test_the_block_that_is_told_is_one_of_the_size_of_which_there_are_too_many() -> None:
    """Two pairs for one aligned place, and after them a table in the text that fits."""
    def asked(number: int, *named: int) -> Microinstruction:
        return word(number, targets=[("whole", block(*named)._replace(span=word(number).span))])

    wanted = program([asked(0, 0, 1), word(1), asked(2, 2, 3), word(3), word(4, targets=[("short", label(0))]),
                      *(word(5 + at, fixed=(address,)) for at, address in enumerate((1, 4)))])
    _, (finding,) = place(one_store(7, 3), wanted, None)
    assert finding.message.startswith("2 aligned blocks of 2 words are needed, 1 are free")
    assert finding.span is not None and finding.span.line == 3


def test_what_fits_nowhere_touches_no_chip() -> None:
    told: list[Fewest] = []
    placement, findings = touching_fewest({}, told.append)(one_store(2, 1), program([word(n) for n in range(3)]), None)
    assert placement is None and not told and [finding.name for finding in findings] == ["over-full"]


def test_a_slot_that_is_too_small() -> None:
    """Slots of four words, wired from the opcode; an instruction of six runs into the next one."""
    terms = Terms()
    opcode = terms.leaf("opcode", "ir", 2)
    starts = terms.join((opcode, terms.const(0, 2)))
    small = machine([store("control", 16, 8, 4, terms, starts_at=starts)], [], terms)

    def instructions(length: int) -> Program:
        words = [*row(0, length, fixed=(12 - 4,), owner="load"), *row(length, 2, fixed=(12,), owner="add")]
        named = [body(0, length, name="load")._replace(kind="instruction"),
                 body(length, length + 2, name="add")._replace(kind="instruction")]
        return program(words, named)._replace(  # type: ignore[arg-type]
            opcodes=(OpcodeUse(2, "load", False), OpcodeUse(3, "add", False)))

    assert message(small, instructions(4)) == ""
    assert message(small, instructions(4)._replace(words=tuple(
        word(at, fixed=(8,), owner=owner) for at, owner in enumerate(("load", "add"))), bodies=(
        body(0, 1, name="load")._replace(kind="instruction"), body(1, 2, name="add")._replace(kind="instruction")))) \
        == "placement-conflict: two words are to stand at 0x8 of `control`"
    assert message(small, instructions(6)) == "over-full: the slot of opcode 0x2 holds 4 words, needs 6"


def test_a_row_that_runs_into_fixed_words_without_slots() -> None:
    def two(length: int) -> Program:
        return program([*row(0, length, fixed=(0,), owner="long"),
                        word(length, fixed=(3,), owner="other")])  # type: ignore[list-item]

    assert message(one_store(8, 3), two(3)) == ""
    named = two(5)._replace(bodies=(body(0, 5, name="long")._replace(kind="instruction"), body(5, 6, name="other")))
    for wanted in (two(5), named):
        assert message(one_store(8, 3), wanted) == "over-full: the room of `long` at 0x0 holds 3 words, needs 5"
    later = program([word(0, fixed=(4,), owner="other"), word(1),
                     *row(2, 3, fixed=(2,), owner="long")])  # type: ignore[list-item]
    assert message(one_store(8, 3), later) == "over-full: the room of `long` at 0x2 holds 2 words, needs 3"


def test_pages() -> None:
    """A page of four words; all words of the body are to share it."""
    def bound(count: int, fixed: Sequence[int] = ()) -> Program:
        words = [word(at, fixed=fixed if not at else ()) for at in range(count)]
        return program(words, [body(0, count, same_page=4)])

    assert message(one_store(16, 4), bound(4)) == ""
    assert message(one_store(16, 4), bound(7)) == (
        "over-full: 7 words must share a page of 4, no page has more than 4 free: over-full by 3 words")
    assert message(one_store(16, 4), bound(4, [6])) == ""
    assert message(one_store(16, 4), bound(7, [6])) == "over-full: page 0x4-0x7 is over-full by 3 words"


def test_a_page_of_which_others_have_left_too_little() -> None:
    """Four addresses are free, two in each page."""
    def beside(*fixed: int) -> Program:
        return program([word(0), word(1), word(2), *(word(3 + at, fixed=(each,)) for at, each in enumerate(fixed))],
                       [body(0, 3, same_page=4), body(3, 3 + len(fixed), name="walls")])

    assert message(one_store(8, 3), beside(1, 5, 6)) == ""
    assert message(one_store(8, 3), beside(1, 2, 5, 6)) == (
        "over-full: 3 words must share a page of 4, no page has more than 2 free: over-full by 1 word")


@pytest.mark.parametrize(("slots", "stands"), [((0, 5), (1,)), ((0, 5), (1, 6)), ((0, 2), (1,)), ((5,), (1, 6))])
def test_a_page_that_words_in_several_slots_have_to_share(slots: tuple[int, ...], stands: tuple[int, ...]) -> None:
    """Wherever the first is, the second has to be in that page; and nothing is left to be placed."""
    wanted = program([word(0, fixed=slots, targets=[("short", label(1, page=True))]), word(1, fixed=stands)])
    placement, findings = place(one_store(8, 3), wanted, None)
    assert (placement is not None) == ({each // 4 for each in slots} <= {each // 4 for each in stands})
    assert [finding.name for finding in findings] == ([] if placement else ["over-full"])


def test_a_page_that_fixed_words_leave_where_other_words_stand_twice() -> None:
    """Two pairs of the same two words, the other way round: nothing about the fixed ones is left to choose."""
    def far(address: int) -> Program:
        return program([word(0, fixed=(1,)), word(1, fixed=(address,)), word(2, targets=[("whole", block(3, 4))]),
                        word(3, targets=[("whole", block(4, 3))]), word(4)],
                       [body(0, 2, name="one", same_page=4), body(2, 5, name="two")])

    assert message(one_store(16, 4), far(2)) == ""
    assert message(one_store(16, 4), far(4)) == (
        "page-conflict: words that must share a page of 4 words are fixed at 0x1 and 0x4")


def test_a_part_of_an_address_asks_for_no_place() -> None:
    """A field of the low bits that is told `part` may name a word anywhere; told nothing, only below."""
    def named(rest: str) -> Program:
        return program([*[word(number) for number in range(6)], word(6, targets=[
            ("short", label(7)._replace(rest=rest))]), word(7, fixed=(7,))])  # type: ignore[arg-type]

    placement, _ = place(one_store(8, 3), named("part"), None)
    assert placement is not None and placement.addresses[7] == (7,) and not placement.copies
    assert placement.words["control"][placement.addresses[6][0]] >> 8 & 0xFF == 3
    assert message(one_store(8, 3), named("zeros")).startswith("over-full: ")


def test_a_page_that_fixed_words_leave() -> None:
    def two(second: int) -> Program:
        return program([word(0, fixed=(4,)), word(1, fixed=(second,))], [body(0, 2, same_page=4)])

    assert message(one_store(16, 4), two(7)) == ""
    assert message(one_store(16, 4), two(8)) == (
        "page-conflict: words that must share a page of 4 words are fixed at 0x4 and 0x8")


def test_what_a_short_field_reaches() -> None:
    """The field `short` of a 16-word store has three bits: it reaches eight words."""
    def named(count: int) -> Program:
        return program([*[word(at) for at in range(count)],
                        *[word(count + at, targets=[("short", label(at))]) for at in range(count)]])

    small = one_store(32, 5)
    assert message(small, named(16)) == ""
    wanted = message(one_store(32, 5), program([*[word(at) for at in range(18)], *[
        word(18 + at, targets=[("short", label(at)), ("even", label(0 if at else 1))]) for at in range(10)], *[
        word(28, targets=[("short", label(at)) for at in range(10, 18)])]]))
    assert wanted == "over-full: addresses below 0x10 are over-full by 2 words: 18 words must stand there, 16 are free"


def test_aligned_blocks() -> None:
    """Eight words hold four pairs, and three when a fixed word cuts one of them in two."""
    def pairs(count: int, fixed: Sequence[int]) -> Program:
        words = [word(2 * at + half, targets=[("whole", block(2 * at, 2 * at + 1))] if not half else ())
                 for at in range(count) for half in range(2)]
        return program([*words, *[word(2 * count + at, fixed=(address,)) for at, address in enumerate(fixed)]])

    assert message(one_store(8, 3), pairs(3, [3])) == ""
    assert message(one_store(8, 3), pairs(3, [3, 5])) == (
        "over-full: 3 aligned blocks of 2 words are needed, 2 are free: over-full by 2 words")


def test_blocks_of_two_sizes() -> None:
    """A table takes two of the four pairs' places."""
    def blocks(pairs: int) -> Program:
        words = [word(at, targets=[("whole", block(0, 1, 2, 3))] if not at else ()) for at in range(4)]
        for at in range(4, 4 + 2 * pairs, 2):
            words += [word(at, targets=[("whole", block(at, at + 1))]), word(at + 1)]
        return program([*words, word(len(words), fixed=(7,))])

    assert message(one_store(9, 4), blocks(1)) == ""
    assert message(one_store(9, 4), blocks(2)) == (
        "over-full: 4 aligned blocks of 2 words are needed, 3 are free: over-full by 2 words")


def test_a_block_whose_words_count_on() -> None:
    """A word that counts on needs its successor where the block has another word."""
    def pair(succeeds: int) -> Program:
        return program([word(0, succeeds=succeeds, targets=[("whole", block(0, 2))]), word(1), word(2)])

    assert message(one_store(8, 3), pair(0)) == ""
    assert message(one_store(8, 3), pair(1)) == (
        "block-conflict: `pair(w0, w2)` can stand nowhere: two words would need one address")


def test_what_two_fields_and_two_words_ask_for_is_refused_once() -> None:
    """Pieces of one label in several fields of a word are one demand, and so are those of the next word."""
    def twice(succeeds: int) -> Program:
        both = [("whole", block(0, 2)), ("short", block(0, 2))]
        return program([word(0, succeeds=succeeds, targets=both), word(1), word(2), word(3, targets=both)])

    small = one_store(8, 3)
    assert message(small, twice(0)) == ""
    assert message(small, twice(1)) == (
        "block-conflict: `pair(w0, w2)` can stand nowhere: two words would need one address")


def test_a_block_larger_than_the_store() -> None:
    table = program([word(0, targets=[("whole", block(0, 1, 2, 3))]), word(1), word(2), word(3)])
    assert message(one_store(4, 2), table) == ""
    assert message(one_store(3, 2), table) == (
        "over-full: 4 words must stand in fixed places to each other for `table(w0, w1, w2, w3)`, and no address of "
        "the 3 words of `control` suits")


def test_a_search_that_is_given_up_is_not_called_impossible(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows that fit only in one way; with a budget of one state it is not found, and that is all we say."""
    wanted = rows(4, 4, 3, 4, 3, 3, fixed=[10, 22, 23, 24, 25, 26, 27, 28, 29, 30, 31])
    assert message(one_store(32, 5), wanted) == ""
    monkeypatch.setattr("ordain.placement.place._STATES", 1)
    assert message(one_store(32, 5), wanted) == (
        "placement-undecided: no placement in `control` was found in 1 attempts; whether one exists is not known")


def test_what_counting_shows_of_words_that_need_not_stand_together_is_no_answer(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """w1 counts on to w2, which is first in a pair: three in a row. But no more than two are free in a row, and then w2
    stands twice. Ended early, the search does not know that."""
    wanted = program([word(0, fixed=(2,), targets=[("whole", block(2, 3))]), word(1, succeeds=1), word(2), word(3),
                      word(4, fixed=(5,))])
    placement, _ = place(one_store(8, 3), wanted, None)
    assert placement is not None and [set(each) for each in placement.addresses[1:4]] == [{3}, {4, 0}, {1}]
    monkeypatch.setattr("ordain.placement.place._STATES", 1)
    assert message(one_store(8, 3), wanted).startswith("placement-undecided: ")
    crowd = wanted._replace(words=(*wanted.words, *(word(5 + at) for at in range(4))), bodies=(body(0, 9),),
                            labels={f"w{at}": at for at in range(9)})
    assert message(one_store(8, 3), crowd) == "over-full: store `control` is over-full by 1 word: 7 to place, 6 free"


def test_for_which_piece_no_room_was_found_is_said_however_far_the_search_came(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside the table of four, at 4, there is no room for the pair of w6 and w7; that of w4 and w5 is in the table."""
    def line(number: int) -> Span:
        return word(number - 1).span

    wanted = program([
        word(0, fixed=(1,), targets=[("whole", block(2, 3, 4, 5)._replace(span=line(1)))]),
        word(1, fixed=(2,), targets=[("whole", block(4, 5)._replace(span=line(2))),
                                     ("even", block(6, 7)._replace(span=line(3)))]),
        *(word(at) for at in range(2, 8))])
    told = []
    for states in range(1, 30):
        monkeypatch.setattr("ordain.placement.place._STATES", states)
        _, (finding,) = place(one_store(8, 3), wanted, None)
        told.append((finding.name, finding.span, finding.label))
    undecided = "placement-undecided", line(3), "no room was found for 2 words that stand together"
    assert told[0] == undecided and told[-1][0] == "over-full"
    assert {each for each in told if each[0] != "over-full"} == {undecided}


def test_alignment_against_a_fixed_place() -> None:
    def aligned(at: int) -> Program:
        return program([word(0, fixed=(at,)), word(1)], [body(0, 2, align=4)])

    assert message(one_store(8, 3), aligned(4)) == ""
    assert message(one_store(8, 3), aligned(2)) == "placement-conflict: `body` is to stand at 0x2, no multiple of 4"


def test_a_mapping_store_that_cannot_hold_the_address() -> None:
    """A mapping store of two bits names words below 4 only."""
    terms = Terms()
    small = machine([store("control", 8, 8, 3, terms), store("entry", 4, 2, 2, terms, fill="start")], [], terms)

    def entered(at: int) -> Program:
        return program([word(0, fixed=(at,))], entries=[MapCell("entry", 1, "w0", HERE)])

    assert place(small, entered(3), None)[0] is not None
    placement, findings = place(small, entered(4), None)
    assert placement is not None                            # the word was copied to where the two bits reach
    assert [finding.name for finding in findings] == ["start-unclear"], "nothing joins them to an address"
    assert len(placement.addresses[0]) == 2 and placement.addresses[0][1] < 4
    assert placement.words["entry"] == {1: placement.addresses[0][1]}
    assert placement.copies == ((0, placement.addresses[0][1], "for the 2 bits of `entry`"),)


def test_a_counter_shorter_than_the_address() -> None:
    """The counter has two bits: a row stays within four words."""
    assert message(one_store(16, 4), program(row(0, 4), counting=2)) == ""  # type: ignore[arg-type]
    assert message(one_store(16, 4), program(row(0, 5), counting=2)) == (  # type: ignore[arg-type]
        "over-full: a row of 5 words must stand together, the largest free run has 4: over-full by 1 word")


def test_a_table_larger_than_a_lap_of_the_counter() -> None:
    """Its words do not count on from one to the next."""
    def table(*fixed: int) -> Program:
        return program([word(0, targets=[("whole", block(0, 1, 2, 3))]), word(1), word(2), word(3),
                        *(word(4 + at, fixed=(address,)) for at, address in enumerate(fixed))], counting=1)

    assert message(one_store(8, 3), table()) == message(one_store(8, 3), table(1)) == ""
    assert message(one_store(8, 3), table(1, 5)).startswith("over-full: 1 aligned blocks of 4 words are needed, 0 are")
    with patch("ordain.placement.quick.lay", return_value=Stuck(None, None)):
        assert message(one_store(8, 3), table(1)) == ""


@pytest.mark.parametrize("align", [0, 2])
def test_a_row_that_has_to_begin_at_an_even_address(align: int) -> None:
    wanted = program([*row(0, 7), word(7, fixed=(7,)), word(8, fixed=(15,))],  # type: ignore[list-item]
                     [body(0, 7, align=align), body(7, 9, name="walls")])
    assert message(one_store(16, 4), wanted) == ""
    walls = program([*row(0, 7), word(7, fixed=(6,)), word(8, fixed=(13,))],  # type: ignore[list-item]
                    [body(0, 7, align=align), body(7, 9, name="walls")])
    assert message(one_store(16, 4), walls) == (
        "over-full: a row of 7 words must stand together, the largest free run has 6: over-full by 1 word")


def test_what_a_field_of_one_bit_reaches() -> None:
    """Two addresses, 0 and 1, for three words that are named by a field of one bit; one of both may be fixed."""
    small = one_store(4, 2)
    def named(count: int, *fixed: int) -> Program:
        return program([*(word(at, fixed=fixed[at:at + 1], targets=[("short", label(at))]) for at in range(count))])

    assert message(small, named(2)) == message(small, named(2, 1)) == ""
    assert message(small, named(3)) == (
        "over-full: addresses below 0x2 are over-full by 1 word: 3 words must stand there, 2 are free")
    assert message(small, named(3, 1)) == (
        "over-full: addresses below 0x2 are over-full by 1 word: 2 words must stand there, 1 are free")


def test_labels_of_a_block_in_two_stores() -> None:
    terms = Terms()
    small = machine([store("control", 8, 8, 3, terms, ["target"]), store("other", 8, 8, 3, terms)],
                    [field("target", 2, 0, (2, 0))], terms)

    def pair(where: str) -> Program:
        return program([word(0, targets=[("target", block(1, 2))]), word(1), word(2, store=where)],
                       [body(0, 2), body(2, 3, name="more")._replace(store=where)])

    assert message(small, pair("control")) == ""
    assert message(small, pair("other")) == "block-conflict: the words of a block stand in different stores"

    def paged(where: str) -> Program:
        return program([word(0, targets=[("page", label(1, page=True))]), word(1, store=where)],
                       [body(0, 1), body(1, 2, name="more")._replace(store=where)])

    def fixed(where: str) -> Program:
        return program([word(0, fixed=(2,), owner="one"), word(1, store=where, fixed=(2,), owner="two")],
                       [body(0, 1, name="one"), body(1, 2, name="two")._replace(store=where)])

    assert message(small, fixed("other")) == ""
    assert message(small, fixed("control")) == "placement-conflict: two words are to stand at 0x2 of `control`"

    halves = machine([store("control", 8, 8, 3, terms, ["page"]), store("other", 8, 8, 3, terms)],
                     [field("page", 1, 0, (1, 0))], terms)
    assert message(halves, paged("control")) == ""
    assert message(halves, paged("other")) == "page-conflict: a page is shared only inside one store"


def one_page(count: int, *fixed: int) -> Program:
    """A body of one page of four words, whose first words are fixed."""
    return program([word(at, fixed=fixed[at:at + 1]) for at in range(count)], [body(0, count, same_page=4)])


@pytest.mark.parametrize(("size", "wanted", "line", "label", "beside", "notes"), [
    (8, rows(*[1] * 9), None, "", [], []),
    (8, rows(*[1] * 7, fixed=[0, 4]), None, "", [], ["2 of the 8 words are fixed"]),
    (16, one_page(7), 1, "the first of them", [], []),
    # three words beside the fixed one are as many as the page has room for: the fourth is the one too many
    (16, one_page(7, 6), 5, "one of the words that must stand in this page", [], []),
    (16, one_page(2, 4, 8), 2, "fixed at 0x8", [(1, "fixed at 0x4")], []),
    (4, program([word(at, fixed=(1,) if at == 1 else (), targets=[("short", label(at))]) for at in range(3)]),
     3, "one of the words that a short field must reach", [], ["it must stand there for a short reference to `w2`"]),
    (16, rows(3, 7, fixed=[6, 13]), 4, "the row begins here", [], []),
    (16, rows(7, 7, fixed=[6, 13]), 1, "the row begins here", [], []),
    (16, rows(4, 4, 2, fixed=[5, 11, 12, 13, 14, 15]), 9, "no room for this row of 2 words", [],
     ["every arrangement was ruled out"]),
])
def test_where_it_is_told_and_what_beside_it(size: int, wanted: Program, line: int | None, label: str,
                                             beside: list[tuple[int, str]], notes: list[str]) -> None:
    """Word N stands in line N + 1 of the text."""
    placement, (finding,) = place(one_store(size, (size - 1).bit_length()), wanted, None)
    assert placement is None and finding.label == label and list(finding.notes) == notes
    assert (finding.span.line if finding.span else None) == line
    assert [(place.span.line, place.label) for place in finding.places] == beside


def test_places_that_break_a_page_are_counted_as_attempts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Word 2 must stand in three places, in both halves of the store, and word 3 in the page of each of them. A search
    that counted only what it goes on with would look at millions of places within its attempts."""
    looked = 0

    def counted(bond: Bond, places: Mapping[int, Iterable[int]]) -> bool:
        nonlocal looked
        looked += 1
        return kept(bond, places)

    wanted = program([word(0, targets=[("short", label(2))]), word(1, targets=[("even", label(2))]),
                      word(2, fixed=(0xC1,), targets=[("short", label(3, page=True))]), word(3)])
    monkeypatch.setattr("ordain.placement.exact.kept", counted)
    monkeypatch.setattr("ordain.placement.place._STATES", 400)
    findings = place(one_store(256, 8), wanted, None)[1]
    assert [finding.name for finding in findings] == ["placement-undecided"]
    assert "`part(...)` where a register has them" in findings[0].help
    assert 0 < looked <= 800


def test_a_word_that_has_to_stand_twice_beside_a_pair_that_is_fixed() -> None:
    """Free are 1, 4 and 5: the pair of w1 and w2 has no room below 4, where the short field wants w2. The pair of w4
    and w5 stands where those two are fixed, and needs no other place."""
    wanted = program([word(0, fixed=(0,), targets=[("whole", block(1, 2)), ("short", label(2))]), word(1), word(2),
                      word(3, fixed=(2, 3), targets=[("whole", block(4, 5))]), word(4, fixed=(6,)),
                      word(5, fixed=(7,))])
    placement, findings = place(one_store(8, 3), wanted, None)
    assert placement is not None and not findings
    assert [set(each) for each in placement.addresses] == [{0}, {4}, {1, 5}, {2, 3}, {6}, {7}]
