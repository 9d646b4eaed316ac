"""The final words: what stands in target fields, derived fields and mapping stores."""

from itertools import pairwise

import pytest

from ordain.machine.expression import Node, Terms
from ordain.machine.model import Field
from ordain.microprogram.model import MapCell, Program
from ordain.placement.place import place
from tests.placement.by_hand import FOLLOWING, HERE, block, field, label, machine, program, store, word


def stored(fields: list[Field], wanted: Program, terms: Terms, *, width: int = 4, bits: int = 16) -> dict[int, int]:
    """The words of a store with these fields."""
    small = machine([store("control", 1 << width, bits, width, terms, [each.name for each in fields])], fields, terms)
    placement, findings = place(small, wanted, None)
    assert placement is not None and not findings
    return placement.words["control"]


def two(target: object, *, name: str = "target", at: int = 9) -> Program:
    """A word at 0 that names, and the word named at a fixed address."""
    return program([word(0, fixed=(0,), targets=[(name, target)]), word(1, fixed=(at,))])  # type: ignore[list-item]


def test_a_whole_address() -> None:
    assert stored([field("target", 7, 4, (3, 0))], two(label(1)), Terms())[0] == 9 << 4


def test_an_active_low_address() -> None:
    """The stored bits are the complement of the address."""
    assert stored([field("target", 7, 4, (3, 0), active_low=True)], two(label(1)), Terms())[0] == 6 << 4


def test_a_part_of_an_address() -> None:
    """Only bits 3 down to 2 are held; the others are 0 in the address."""
    assert stored([field("target", 1, 0, (3, 2))], two(label(1), at=12), Terms())[0] == 0b11


def test_a_page() -> None:
    """The field holds the low two bits, the word and its target share the others."""
    wanted = program([word(0, fixed=(9,), targets=[("target", label(1, page=True))]), word(1)])
    words = stored([field("target", 1, 0, (1, 0))], wanted, Terms())
    named = next(address for address in words if address != 9)
    assert named >> 2 == 9 >> 2 and words[9] == named & 3


def test_a_word_in_two_pages_names_a_word_in_each() -> None:
    """The same text in two slots, each with the copy of its page."""
    wanted = program([word(0, fixed=(0, 8), targets=[("target", label(1, page=True))]), word(1, fixed=(2, 11))])
    assert stored([field("target", 1, 0, (1, 0))], wanted, Terms()) == {0: 2, 8: 3, 2: 0, 11: 0}


def test_slots_are_not_copies() -> None:
    """A word that is to stand in several slots stands there because it is told to."""
    terms = Terms()
    placement, _ = place(machine([store("control", 8, 4, 3, terms)], [], terms), program([word(0, fixed=(5, 1))]), None)
    assert placement is not None and placement.addresses == ((1, 5),) and placement.copies == ()


def test_what_follows_a_word_in_its_second_slot_is_a_copy() -> None:
    terms = Terms()
    placement, _ = place(machine([store("control", 8, 4, 3, terms)], [], terms),
                         program([word(0, fixed=(1, 5), succeeds=1), word(1)]), None)
    assert placement is not None and placement.addresses == ((1, 5), (2, 6))
    assert placement.copies == ((1, 6, "for the word before it, which counts on"),)


def test_a_pair_holds_the_even_address() -> None:
    wanted = program([word(0, targets=[("target", block(2, 1))]), word(1), word(2, fixed=(6,))])
    assert stored([field("target", 3, 0, (3, 0))], wanted, Terms()) == {0: 6, 6: 0, 7: 0}


def test_the_following_word() -> None:
    wanted = program([word(0, fixed=(3,), targets=[("target", FOLLOWING)]), word(1, fixed=(12,))])
    assert stored([field("target", 3, 0, (3, 0))], wanted, Terms()) == {3: 12, 12: 0}


def parity_machine(terms: Terms, derived: Node, *, active_low: bool = False) -> list[Field]:
    return [field("target", 7, 4, (3, 0)), field("parity", 0, 0, derived=derived, active_low=active_low)]


@pytest.mark.parametrize("odd", [False, True])
@pytest.mark.parametrize("at", range(1, 16))
def test_parity_is_that_of_the_finished_word(at: int, odd: bool) -> None:
    """Even parity makes the number of ones even, odd parity odd (common practice, no source)."""
    terms = Terms()
    parity = terms.parity(terms.slice(terms.leaf("word", "control", 16), 15, 1))
    words = stored(parity_machine(terms, terms.not_(parity) if odd else parity), two(label(1), at=at), terms)
    assert all(word.bit_count() % 2 == int(odd) for word in words.values())
    assert words[0] >> 4 == at and not words[0] & 0b1110


def test_an_active_low_parity_bit() -> None:
    terms = Terms()
    parity = terms.parity(terms.slice(terms.leaf("word", "control", 16), 15, 1))
    words = stored(parity_machine(terms, parity, active_low=True), two(label(1), at=1), terms)
    assert words == {0: 1 << 4, 1: 1}


def test_parity_over_scattered_bits() -> None:
    terms = Terms()
    whole = terms.leaf("word", "control", 16)
    parity = terms.parity(terms.join((terms.slice(whole, 7, 7), terms.slice(whole, 4, 4))))
    words = stored(parity_machine(terms, parity), two(label(1), at=0b1010), terms)
    assert words[0] == 0b1010_0001


def test_a_parity_over_what_is_worked_out_of_the_word() -> None:
    """Of the highest bit of the target, and of a bit of the target and 3."""
    terms = Terms()
    target = terms.slice(terms.leaf("word", "control", 16), 7, 4)
    more = terms.slice(terms.add(target, terms.const(3, 4)), 1, 1)
    parity = terms.parity(terms.join((terms.slice(target, 3, 3), more)))
    for at in range(1, 16):
        assert stored(parity_machine(terms, parity), two(label(1), at=at), terms)[0] & 1 == at >> 3 ^ (at + 3 >> 1 & 1)


def test_a_bit_twice_in_a_parity() -> None:
    """It cancels out."""
    terms = Terms()
    whole = terms.leaf("word", "control", 16)
    parity = terms.parity(terms.join((terms.slice(whole, 7, 7), terms.slice(whole, 4, 4), terms.slice(whole, 7, 7))))
    for at in range(1, 16):
        assert stored(parity_machine(terms, parity), two(label(1), at=at), terms)[0] & 1 == at & 1


def test_any_expression_over_the_word() -> None:
    """A bit that says whether the target is 9."""
    terms = Terms()
    derived = terms.among(terms.slice(terms.leaf("word", "control", 16), 7, 4), frozenset({9}))
    for at in range(1, 16):
        assert stored(parity_machine(terms, derived), two(label(1), at=at), terms)[0] & 1 == (at == 9)


def test_each_word_has_its_own_derived_field() -> None:
    """Words that differ in one bit of what is read, and in bits beside it that are not."""
    terms = Terms()
    target = terms.slice(terms.leaf("word", "control", 16), 7, 4)
    for held in range(16):
        fields = [field("target", 7, 4, (3, 0)), field("is", 0, 0, derived=terms.among(target, frozenset({held})))]
        words = program([word(at, fixed=(at,), bits=(at & 1) << 8 | (at & 2) << 2, targets=[("target", label(at ^ 5))])
                         for at in range(16)])
        found = stored(fields, words, terms)
        assert {at for at, bits in found.items() if bits & 1} == {held ^ 5}


def test_a_derived_field_over_the_whole_word() -> None:
    """Its own bit, the highest, is 0 then. The words differ in the lowest bit, or in none of the lower four."""
    terms = Terms()
    derived = terms.among(terms.leaf("word", "control", 16), frozenset({0x31, 0x40}))
    wanted = program([word(at, fixed=(at,), bits=bits) for at, bits in enumerate((0x30, 0x31, 0x40, 0x41, 0x30))])
    words = stored([field("is", 15, 15, derived=derived)], wanted, terms)
    assert [words[at] >> 15 for at in range(5)] == [0, 1, 1, 0, 0]


def test_a_derived_field_counts_those_above_it() -> None:
    """The second parity bit covers the first."""
    terms = Terms()
    whole = terms.leaf("word", "control", 16)
    inner, outer = terms.parity(terms.slice(whole, 7, 4)), terms.parity(terms.slice(whole, 7, 1))
    fields = [field("target", 7, 4, (3, 0)), field("inner", 1, 1, derived=inner), field("outer", 0, 0, derived=outer)]
    assert stored(fields, two(label(1), at=7), terms)[0] == 7 << 4 | 0b10
    assert stored(fields, two(label(1), at=3), terms)[0] == 3 << 4


@pytest.mark.parametrize("bits", [(4, 2, 1, 0), (4, 8, 9, 10)])
def test_a_chain_of_derived_fields(bits: tuple[int, ...]) -> None:
    """Each turns over the bit before it; the first is the lowest bit of the target."""
    terms = Terms()
    whole = terms.leaf("word", "control", 16)
    fields = [field("target", 7, 4, (3, 0)), *(
        field(f"bit {at}", at, at, derived=terms.not_(terms.slice(whole, before, before)))
        for before, at in pairwise(bits))]
    assert stored(fields, two(label(1), at=7), terms)[0] == 7 << 4 | 1 << bits[2]
    assert stored(fields, two(label(1), at=8), terms)[0] == 8 << 4 | 1 << bits[1] | 1 << bits[3]


def test_a_parity_counts_no_bit_beside_those_it_is_of() -> None:
    """Of bits 7 and 4, in bit 8; the lowest bit is set in every word."""
    terms = Terms()
    whole = terms.leaf("word", "control", 16)
    parity = terms.parity(terms.join((terms.slice(whole, 7, 7), terms.slice(whole, 4, 4))))
    for bits in range(16):
        words = stored([field("parity", 8, 8, derived=parity)], program([word(0, bits=bits << 4 | 1)]), terms)
        assert words[0] >> 8 == bits >> 3 ^ bits & 1


def test_a_parity_of_bits_of_a_sum() -> None:
    """Of the three lower bits of the target and 3: not of those of the word."""
    terms = Terms()
    target = terms.slice(terms.leaf("word", "control", 16), 7, 4)
    parity = terms.parity(terms.slice(terms.add(target, terms.const(3, 4)), 2, 0))
    for at in range(1, 16):
        assert stored(parity_machine(terms, parity), two(label(1), at=at), terms)[0] & 1 == (at + 3 & 7).bit_count() & 1


def test_a_block_is_named_where_all_of_it_stands() -> None:
    """w2 is first in two pairs, and stands twice: with w3 behind it, and with w4."""
    wanted = program([word(0, targets=[("target", block(2, 3))]), word(1, targets=[("target", block(2, 4))]),
                      word(2, bits=1 << 8), word(3, bits=2 << 8), word(4, bits=3 << 8)])
    words = stored([field("target", 3, 0, (3, 0))], wanted, Terms())
    assert sorted(words.values())[-4:] == [1 << 8, 1 << 8, 2 << 8, 3 << 8]
    named = {words[bits + 1] >> 8: words[bits] >> 8 for bits in words.values() if bits < 1 << 8}
    assert named == {2: 1, 3: 1}


@pytest.mark.parametrize("active_low", [False, True])
def test_the_unused_word_is_finished_like_the_others(active_low: bool) -> None:
    """Odd parity of a word without ones, and of one with a one, in bit 8."""
    terms = Terms()
    parity = terms.parity(terms.slice(terms.leaf("word", "control", 16), 7, 0))
    fields = [field("parity", 8, 8, derived=parity, active_low=active_low)]
    small = machine([store("control", 16, 16, 4, terms, ["parity"])], fields, terms)
    for bits, odd in ((0, False), (4, True), (6, False)):
        placement, _ = place(small, program([word(0, bits=bits)], unused=word(1, bits=bits)), None)
        assert placement is not None and placement.unused["control"] == bits | (odd != active_low) << 8
        assert placement.words["control"][0] == placement.unused["control"]


def test_the_unused_word_is_finished_too() -> None:
    terms = Terms()
    parity = terms.parity(terms.slice(terms.leaf("word", "control", 16), 15, 1))
    fields = parity_machine(terms, parity)
    small = machine([store("control", 16, 16, 4, terms, [each.name for each in fields])], fields, terms)
    wanted = two(label(1), at=7)._replace(unused={"control": word(0, targets=[("target", label(1))])})
    placement, _ = place(small, wanted, None)
    assert placement is not None and placement.unused == {"control": 7 << 4 | 1}


def test_mapping_and_computed_stores() -> None:
    terms = Terms()
    small = machine([store("control", 8, 8, 3, terms), store("entry", 4, 3, 2, terms, fill="map"),
                     store("decoder", 2, 2, 1, terms, fill="computed")], [], terms)
    wanted = program([word(0, fixed=(5,))], entries=[MapCell("entry", 2, "w0", HERE), MapCell("entry", 3, "w0", HERE)])
    placement, findings = place(small, wanted._replace(computed={"decoder": (1, 2)}), None)
    assert placement is not None and not findings
    assert placement.words == {"control": {5: 0}, "entry": {2: 5, 3: 5}, "decoder": {0: 1, 1: 2}}
