"""A unit made of PROMs: what an instruction does is what stands in these, word for word."""

import pytest

from ordain.control.system import build_system
from ordain.meaning import lookup
from ordain.meaning.proof import Outcome
from ordain.meaning.run import outcomes as meanings_of
from ordain.prover.decide import decide
from ordain.rom.contents import Contents
from tests.meaning.test_proof import ADD
from tests.meaning.till import FETCH, MACHINE
from tests.workshop import contents_of

PROMS = MACHINE.replace("signal sum = acc - temp if less else acc + temp\n", """\
signal other = 0x00 if less else temp
store low 256 words of 5 bits
    address {acc[3:0], not other[3:0]}
    word    {0b0, acc[3:0]} + {0b0, other[3:0]}
store high 512 words of 4 bits
    address {low[4], other[7:4], acc[7:4]}
    word    acc[7:4] + other[7:4] + {0b000, low[4]}
signal sum = {high, low[3:0]}
""")
"""Two nibbles with a carry between; `less` leaves what `acc` has."""


def outcome_of(contents: Contents) -> Outcome:
    system = build_system(contents)
    return meanings_of(contents, lambda asked: decide(system, asked))[0]["tried"]


def tried(words: str, machine: str = PROMS) -> Contents:
    return contents_of(machine, FETCH + f'instruction 1 "tried"\n{words}')


def spoilt(contents: Contents, store: str, address: int) -> Contents:
    """With the lowest bit of one word turned, as a chip might have it."""
    words = list(contents.words[store])
    words[address] ^= 1
    return contents._replace(words={**contents.words, store: tuple(words)})


def test_a_sum_made_of_two_proms_is_proved() -> None:
    found = outcome_of(tried(ADD))
    assert found.difference is None and not found.why, found


def test_with_the_carry_left_out_it_is_broken_by_operands_that_have_one() -> None:
    assert PROMS.count(" + {0b000, low[4]}") == 1
    found = outcome_of(tried(ADD, PROMS.replace(" + {0b000, low[4]}", ""))).difference
    assert found is not None and found.name == "acc"
    before = {leaf.name: value for leaf, value in found.before.leaves.items()}
    acc, byte = before["acc"], found.before.words["memory", before["pc"]]
    assert (acc & 15) + (byte & 15) > 15
    assert (found.expected, found.came) == ((acc + byte) % 256, (acc + byte) % 256 - 16 & 0xFF)


@pytest.mark.parametrize("store, address, acc, byte", [("low", 0x3F - 0x04, 3, 4), ("high", 0x1A5, 0x5F, 0xA1)])
def test_one_bit_of_one_word_in_the_chip_is_what_tells_them_apart(store: str, address: int, acc: int,
                                                                  byte: int) -> None:
    """By hand: low at {3, not 4}; high with the carry of F + 1, and A and 5."""
    found = outcome_of(spoilt(tried(ADD), store, address)).difference
    assert found is not None and found.name in ("acc", "zero")
    before = {leaf.name: value for leaf, value in found.before.leaves.items()}
    seen = before["acc"], found.before.words["memory", before["pc"]]
    keep = 0x0F if store == "low" else 0xF0
    assert seen[0] & keep == acc & keep and seen[1] & keep == byte & keep
    assert store == "low" or (seen[0] & 15) + (seen[1] & 15) > 15


def test_a_word_that_these_operands_never_show_changes_nothing() -> None:
    """With `less` the other operand is 0: no sum has a carry then, and only the addresses with F as its turned low
    nibble are shown."""
    words = ("    means acc <- acc, pc <- pc + 1\n        fetched, load temp\n"
             "        put sum, load acc, less, branch home\n")
    for store, address in (("low", 0x3E), ("high", 0x105)):
        found = outcome_of(spoilt(tried(words), store, address))
        assert found.difference is None and not found.why, found
    assert outcome_of(spoilt(tried(words), "low", 0x3F)).difference is not None


def test_what_takes_too_many_choices_is_not_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lookup, "MOST_CHOICES", 20)
    found = outcome_of(tried(ADD))
    assert found.difference is None and "shows depends on too much of its address" in found.why


def test_a_table_with_fewer_words_than_its_address_lines_reach_is_not_decided() -> None:
    """What comes behind the last word, nobody says: a smaller chip may show its first words again, or nothing."""
    found = outcome_of(tried(ADD, PROMS.replace("store high 512 words", "store high 500 words")))
    assert found.difference is None and "`high` has fewer words than its address lines reach" in found.why


@pytest.mark.parametrize("target, means, holds", [
    (4, "acc <- 4", True), (5, "acc <- 0", False), (5, "acc <- 5", False), (7, "acc <- 0", False),
    (7, "acc <- undefined", False), (7, "pc <- pc", True)])
def test_nor_is_what_comes_behind_its_last_word_where_a_field_says_the_address(target: int, means: str,
                                                                               holds: bool) -> None:
    machine = MACHINE.replace("signal sum = acc - temp if less else acc + temp\n", """\
store low 5 words of 8 bits
    address target[2:0]
    word    {0b00000, target[2:0]}
signal sum = low
""")
    shows = "put sum, load acc" if "acc" in means else "put sum"
    found = outcome_of(tried(f"    means {means}\n        target {target}, {shows}\n        branch home\n", machine))
    assert (found.way is not None) == holds and found.difference is None
    assert holds or "`low` has fewer words than its address lines reach" in found.why
