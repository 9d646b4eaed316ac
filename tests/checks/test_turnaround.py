"""Hand-overs against the words of docs/checks.md, over sequences of who drives the bus in each cycle.

That outputs let go later than others take hold: common practice, no source."""

import random
from collections.abc import Iterator

import pytest

from ordain.checks import turnaround
from ordain.checks.check import Known
from ordain.prover.model import Property
from ordain.rom.contents import Contents
from tests.checks.reports import broken_in
from tests.workshop import contents_of

MACHINE = """\
machine rope "a rope that is handed on"
microprogram "m.micro"
store control 2 words of 4 bits
    address upc
field one   1 bit
field two   1 bit
field three 1 bit
spare 1 bit
state upc 1 bit, reset 0
    next 0
bus line 1 bit, KIND, turnaround OWED
    driven by first = upc when one
    driven by second = upc when two
    driven by third = upc when three
"""
DRIVERS = {"first": "one", "second": "two", "third": "three"}

Who = frozenset[str]


def rope(kind: str, owed: int, more: str) -> Contents:
    return contents_of(MACHINE.replace("KIND", kind).replace("OWED", str(owed)) + more,
                       "routine hand at 0\n        one\n")


def sequences(chance: random.Random, count: int, length: int) -> Iterator[list[Who]]:
    """Mostly nobody or one."""
    choices = [frozenset[str]()] * 4 + [frozenset((name,)) for name in DRIVERS] * 2 + [
        frozenset(DRIVERS), *(frozenset(DRIVERS) - {name} for name in DRIVERS)]
    for _ in range(count):
        yield [chance.choice(choices) for _ in range(length)]


def broken_at(contents: Contents, asked: Property, sequence: list[Who]) -> list[bool]:
    terms = contents.machine.terms
    return broken_in(asked, [{terms.leaf("field", field, 1): int(name in who) for name, field in DRIVERS.items()}
                             for who in sequence])


def handed_over(sequence: list[Who], at: int, owed: int, overlaps_count: bool) -> set[tuple[str, str]]:
    """From whom to whom: those who were there when the bus was last driven and are gone, to those who were not."""
    driven = [cycle for cycle in range(at) if sequence[cycle]]
    if not driven or at - driven[-1] - 1 >= owed:
        return set()
    before, now = sequence[driven[-1]], sequence[at]
    if len(before) > 1 and not overlaps_count:
        return set()
    return {(old, new) for old in before - now for new in now - before}


@pytest.mark.parametrize(("kind", "more", "overlaps_count"), [
    ("floats", "", False), ("floats", 'allow contention on line "resistors"\n', True),
    ("floats", 'allow contention on second "resistors"\n', True), ("floats", 'allow contention "resistors"\n', True),
    ("floats", 'allow floating "nobody looks"\n', False), ("floats", 'allow contention on upc "elsewhere"\n', False),
    ("wired or", "", True), ("wired and", "", True), ("kept", "", False)])
@pytest.mark.parametrize("owed", [1, 2, 3])
def test_every_hand_over_and_nothing_else(kind: str, more: str, overlaps_count: bool, owed: int) -> None:
    contents = rope(kind, owed, more)
    [whole] = turnaround.ask(contents)
    pairs = {(question.data.names[1], question.data.names[2]): question
             for question in turnaround.narrow(contents, whole, Known(frozenset(), {}))}
    assert len(pairs) == 6
    told = 0
    for sequence in sequences(random.Random(owed), 12, 9):
        expected = [handed_over(sequence, at, owed, overlaps_count) for at in range(len(sequence))]
        assert broken_at(contents, whole, sequence) == [bool(over) for over in expected], sequence
        for pair, question in pairs.items():
            assert broken_at(contents, question, sequence) == [pair in over for over in expected], (pair, sequence)
        told += sum(map(bool, expected))
    assert 6 < told < 60


def test_nothing_is_asked_where_nothing_is_owed_or_nobody_follows() -> None:
    bare = MACHINE.replace("KIND, turnaround OWED", "floats")
    alone = bare.replace("floats", "floats, turnaround 1").split("    driven by second")[0]
    for machine in (bare, alone):
        assert [*turnaround.ask(contents_of(machine, "routine hand at 0\n        one\n"))] == []
