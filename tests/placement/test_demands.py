"""What a program demands of addresses, and what is told where it contradicts itself: who is told, and how often."""

import pytest

from ordain.machine.expression import Terms
from ordain.machine.model import Machine
from ordain.microprogram.model import Program
from ordain.placement.demands import ends_of_runs
from ordain.placement.place import place
from ordain.text.findings import Finding
from ordain.text.source import Span
from tests.placement.by_hand import SOURCE, block, body, field, label, machine, one_store, program, store, word


def told(small: Machine, wanted: Program) -> list[Finding]:
    placement, findings = place(small, wanted, None)
    assert (placement is None) == bool(findings)
    return findings


def line(number: int) -> Span:
    at = SOURCE.line_starts()[number - 1]
    return Span(SOURCE, at, at + 4)


@pytest.mark.parametrize(("succeeds", "ends"), [
    ((0, 0, 0), [1, 2, 3]), ((1, 0, 0), [2, 2, 3]), ((1, 1, 0), [3, 3, 3]), ((2, 0, 0), [3, 2, 3]),
    ((0, 1, 0, 0), [1, 3, 3, 4]), ((2, 2, 0, 0, 0), [4, 4, 3, 4, 5]), ((2, 3, 0, 0, 0, 0), [5, 5, 3, 4, 5, 6]),
    ((3, 0, 0, 0, 0), [4, 2, 3, 4, 5]), ((), [])])
def test_where_rows_end(succeeds: tuple[int, ...], ends: list[int]) -> None:
    """Each word asks for so many words behind it, which ask for words themselves."""
    assert ends_of_runs(tuple(word(at, succeeds=steps) for at, steps in enumerate(succeeds))) == ends


@pytest.mark.parametrize(("fixed", "stands"), [(3, (3,)), (4, (4, 0)), (5, (5, 0))])
def test_what_an_unused_word_names_stands_where_its_field_reaches(fixed: int, stands: tuple[int, ...]) -> None:
    """Two bits of three: 4 and 5 are too high, and the label stands at 0 as well."""
    unused = word(2, targets=[("short", label(0))], owner="unused")
    placement, findings = place(one_store(8, 3), program([word(0, fixed=(fixed,)), word(1)], unused=unused), None)
    assert placement is not None and not findings
    assert placement.addresses[0] == stands and placement.unused == {"control": stands[-1] << 8}


def test_an_unused_word_that_names_nothing_asks_for_nothing() -> None:
    placement, findings = place(one_store(8, 3), program([word(0, fixed=(5,))], unused=word(1)), None)
    assert placement is not None and not findings and placement.addresses == ((5,),)


def test_a_block_in_two_stores_is_told_once() -> None:
    """Its first word counts on as well, to where the second would have to stand."""
    terms = Terms()
    small = machine([store("control", 8, 8, 3, terms, ["target"]), store("other", 8, 8, 3, terms)],
                    [field("target", 2, 0, (2, 0))], terms)
    wanted = program([word(0, targets=[("target", block(1, 3))]), word(1, succeeds=1), word(2),
                      word(3, store="other")], [body(0, 3), body(3, 4, name="more")._replace(store="other")])
    assert [finding.message for finding in told(small, wanted)] == ["the words of a block stand in different stores"]


def test_of_several_who_ask_for_one_block_the_first_is_told() -> None:
    table = block(0, 1, 2, 3)
    wanted = program([word(0), word(1, targets=[("whole", table._replace(span=line(2)))]),
                      word(2, targets=[("whole", table._replace(span=line(3)))]), word(3)])
    finding, = told(one_store(3, 2), wanted)
    assert finding.span == line(2) and finding.message.startswith("4 words must stand in fixed places")
    assert told(one_store(4, 2), wanted) == []


def test_words_outside_of_the_store_are_not_held_against_each_other() -> None:
    """Neither has an address, so they do not claim one together."""
    wanted = program([word(0, fixed=(10,), owner="one"), word(1, fixed=(10,), owner="two")])
    finding, = told(one_store(10, 4), wanted)
    assert finding.name == "out-of-store" and [place.span.line for place in finding.places] == [2]


def test_of_two_words_at_one_address_the_later_claims_what_the_earlier_has() -> None:
    finding, = told(one_store(8, 3), program([word(0, fixed=(2,), owner="one"), word(1, fixed=(2,), owner="two")]))
    assert (finding.span, finding.label) == (line(2), "`two` claims 0x2")
    assert [(place.span, place.label) for place in finding.places] == [(line(1), "`one` does too")]


def test_a_row_that_runs_into_two_words_is_told_of_the_first() -> None:
    """From 2 on three words, where 3 and 4 are taken."""
    wanted = program([word(0, fixed=(3,)), word(1, fixed=(4,)), word(2, fixed=(2,), succeeds=1), word(3, succeeds=1),
                      word(4)])
    finding, = told(one_store(8, 3), wanted)
    assert finding.message == "the room of `body` at 0x2 holds 1 word, needs 3"
    assert [place.span for place in finding.places] == [line(1)]


def test_two_words_that_claim_several_rooms_are_told_once() -> None:
    """A row of two from 2 and from 5 on, and a word at 3 and at 6."""
    wanted = program([word(0, fixed=(2, 5), succeeds=1), word(1), word(2, fixed=(3, 6))])
    finding, = told(one_store(8, 3), wanted)
    assert finding.message == "the room of `body` at 0x2 holds 1 word, needs 2"


@pytest.mark.parametrize(("kinds", "owners", "said"), [
    (("instruction", "instruction"), ("one", "two"), "`starts at` sends their opcodes, of 8 bits, to one address"),
    (("instruction", "instruction"), ("one", "one"), "move one of them"),
    (("instruction", "routine"), ("one", "two"), "move one of them"),
    (("routine", "instruction"), ("one", "two"), "move one of them")])
def test_only_two_instructions_are_sent_to_an_address_by_their_opcodes(kinds: tuple[str, str], owners: tuple[str, str],
                                                                       said: str) -> None:
    small = one_store(8, 3)
    stores = {"control": small.stores["control"]._replace(opcode=small.terms.leaf("register", "ir", 8))}
    wanted = program([word(number, fixed=(2,), owner=owner) for number, owner in enumerate(owners)],
                     [body(number, number + 1, name=name)._replace(kind=kind)  # type: ignore[arg-type]
                      for number, (name, kind) in enumerate(zip(("one", "two"), kinds))])
    finding, = told(small._replace(stores=stores), wanted)
    assert finding.help.startswith(said)
