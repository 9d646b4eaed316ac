"""What can be said about a word: each phrase with what it sets and what it has to find."""

import pytest

from ordain.rom.phrases import AddressBlock, Name, StoredPhrase, phrases_for
from tests.rom.machines import machine_of

FERRY = """
machine ferry
microprogram "ferry.micro"
store control 16 words of 48 bits
    address upc
field go 1 bit
field kind 3 bits
    none 0 idle
    oar 1
    sail 2
    tow 3
    rest 4
field level 3 bits, idle 0
field load 2 bits
    none 0 idle
    deck 1
    hold 2
field target 4 bits address, idle 0
field dozen 12 bits, idle 0
field baker 13 bits, idle 0
field check 1 bit = even parity of control[8:0]
spare 9 bits
store side 16 words of 8 bits
    address lower
field leave 1 bit
field aim 4 bits address, idle 0
spare 3 bits
state upc 4 bits, reset 0
    next target if go else upc + 1
state lower 4 bits, reset 0
    next aim if leave else lower + 1
constant most = 5
"""


TO = StoredPhrase(("to", Name("there", True)),
                  (("go", 1), ("target", AddressBlock((Name("there", True),), "zeros"))))


def told(more: str) -> list[StoredPhrase]:
    return phrases_for(machine_of(FERRY + more), "control")


def test_orders_with_flags_codes_constants_and_labels() -> None:
    assert told("""
order blink: go
order row: kind oar, level most
order to <there>: go, target <there>
order home: to pier
order lift <n>: level <n>
order brim: lift most
order three: lift 3
""") == [
        StoredPhrase(("blink",), (("go", 1),)),
        StoredPhrase(("row",), (("kind", 1), ("level", 5))),
        TO,
        StoredPhrase(("home",), (("go", 1), ("target", AddressBlock((Name("pier", False),), "zeros")))),
        StoredPhrase(("lift", Name("n", True)), (("level", Name("n", True)),)),
        StoredPhrase(("brim",), (("level", 5),)),
        StoredPhrase(("three",), (("level", 3),)),
    ]


def test_orders_that_cannot_be_read_back() -> None:
    """One fills a number with a name that is none, one an address with what is none by itself; one is of another
    store, one of both."""
    assert told("""
order lift <n>: level <n>
order odd: lift nonsense
order to <there>: go, target <there>
order on: to following
order part: leave
order both: go, leave
""") == [
        StoredPhrase(("lift", Name("n", True)), (("level", Name("n", True)),)),
        TO,
    ]


def transfers(driven: str, sampled: str) -> list[StoredPhrase]:
    """Of one driver `oars` and one sampler `deck`, with these conditions."""
    return told(f"bus keel 8 bits, pulled low\n    driven by oars {driven}\n    sampled by deck {sampled}\n")


WORDS = ("deck", "<-", "oars")


@pytest.mark.parametrize(("driven", "sampled", "expected"), [
    ("when kind is oar", "when go", [((("kind", 1), ("go", 1)), ())]),
    ("when kind is oar", "when not go", [((("kind", 1), ("go", 0)), ())]),
    ("when kind in (oar, tow)", "when load is deck", [((("load", 1),), (("kind", frozenset((1, 3))),))]),
    ("when kind in (oar, tow)", "when kind in (tow, sail)", [((("kind", 3),), ())]),
    ("when kind in (oar, tow)", "when kind in (rest, sail)", []),
    ("when kind is oar and go", "when kind is tow and load is deck", []),
    ("when kind not in (oar, tow)", "when go", [((("go", 1),), (("kind", frozenset((0, 2, 4, 5, 6, 7))),))]),
    ("when kind is oar and upc is 3", "when go", [((("kind", 1), ("go", 1)), ())]),
    ("when kind in (oar, tow) and kind in (tow, rest)", "when go", [((("kind", 3), ("go", 1)), ())]),
    ("when kind in (oar, tow) and kind is not oar", "when go", [((("kind", 3), ("go", 1)), ())]),
    ("when level[1:0] in (1, 2)", "when go", []),
    ("when check", "when go", []),
    ("when upc is 3", "when go", []),
    ("when go", "when upc is 3", []),
    ("", "when go", [((("go", 1),), ())]),
    ("when leave", "when go", []),
    ("when kind in (oar, tow)", "when leave", []),
    ("when kind in (oar, tow)", "", []),
    ("when baker is 7", "when go", [((("baker", 7), ("go", 1)), ())]),
    ("when baker is not 7", "when go", []),
    ("when dozen is not 7", "when go", [((("go", 1),), (("dozen", frozenset(range(1 << 12)) - {7}),))]),
])
def test_a_transfer_says_what_both_ends_want(driven: str, sampled: str, expected: list[tuple[object, object]]) -> None:
    """Codes that both allow; parts of a condition that are no fields of the word are not its business, and where
    nothing else is asked the word has no say. Of a field of 13 bits no list of all other values is made."""
    assert [(phrase.words, phrase.sets, phrase.needs) for phrase in transfers(driven, sampled)] == [
        (WORDS, *each) for each in expected]


def test_two_buses_between_the_same_ends_are_told_apart() -> None:
    assert [phrase.words for phrase in told("""
bus keel 8 bits, pulled low
    driven by oars when kind is oar
    driven by deck when kind is rest
    sampled by deck when load is deck
bus mast 8 bits, pulled low
    driven by oars when kind is sail
    sampled by deck when load is deck
    sampled by hold when load is hold
""")] == [(*WORDS, "via", "keel"), (*WORDS, "via", "mast"), ("hold", "<-", "oars")]
