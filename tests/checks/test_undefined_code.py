"""A field value without a name, and allowances that are about one field of the words only."""

import pytest

from ordain.checks.run import Selection, prove
from ordain.checks.undefined_code import is_undefined, undefined_at
from ordain.control.system import build_system
from ordain.prover.decide import decide
from tests.checks.reports import findings_named, report
from tests.planted.plant import Sound
from tests.workshop import contents_of

SOUND = Sound("""\
machine tuner "an erased cell is presented: ones in all fields"
microprogram "m.micro"
store control 2 words of 4 bits
    address turn
chip U1 2 x 4
    holds control[3:0]
    address {address}
    erased ones
field band 2 bits
    low 0 idle
    high 1
field range 2 bits
    near 0 idle
    far 1
state turn 1 bit, reset 0
    next not turn
home turn is 0
""", "routine only at 0\n        band high\n")


@pytest.mark.parametrize(("allowance", "fields"), [
    ("", ["band", "range"]),
    ('allow undefined-code "erased"', []),
    ('allow undefined-code on band "erased"', ["range"]),
    ('allow undefined-code on range "erased"', ["band"]),
    ('allow undefined-code on band at only "not there"', ["band", "range"]),
])
def test_an_allowance_for_one_field_says_nothing_of_another(allowance: str, fields: list[str]) -> None:
    found = report(Sound(f"{SOUND.machine}{allowance}\n", SOUND.micro))
    assert [finding.message.split("`")[1] for finding in findings_named("undefined-code", found)] == fields


@pytest.mark.parametrize(("level", "erased"), [("", "ones"), (", active low", "zeros")])
def test_the_value_is_that_of_the_field_alone(level: str, erased: str) -> None:
    """Ones beside it are another field's; on active low lines erased zeros say 3 as well."""
    machine = SOUND.machine.replace("field range 2 bits", f"field range 2 bits{level}").replace("ones", erased)
    found = findings_named("undefined-code", report(Sound(machine, SOUND.micro)))
    assert "field `range` holds 3, which has no name, at 0x1, where nothing was placed" in [
        finding.message for finding in found]


ODD = 0b1000
"""`band` is 2, as no compiler makes it; `range` is near."""


def needed(texts: Sound, words: dict[int, int]) -> list[bool | None]:
    """Of the allowances, where chips hold other words at some addresses."""
    contents = contents_of(*texts)
    held = list(contents.words["control"])
    for address, word in words.items():
        held[address] = word
    burned = contents._replace(words={"control": tuple(held)})
    system = build_system(burned)
    return [one.needed for one in prove(burned, lambda asked: decide(system, asked)).allowances]


@pytest.mark.parametrize(("words", "turn", "on", "expected"), [
    ({}, "not turn", "", True),                 # the cell that is executed and was not placed
    ({}, "turn", "", False),                    # nor executed
    ({0: ODD}, "turn", "", True),               # the word that was placed
    ({0: ODD}, "turn", " on band", True),
    ({0: ODD}, "turn", " on range", False),
    ({0: ODD}, "turn", " at only", True),
    ({}, "not turn", " at only", False),
    ({0: ODD}, "turn", " on band at only", True),
    ({0: ODD}, "turn", " on range at only", False),
])
def test_whether_an_allowance_is_needed(words: dict[int, int], turn: str, on: str, expected: bool) -> None:
    machine = SOUND.machine.replace("next not turn", f"next {turn}") + f'allow undefined-code{on} "erased"\n'
    assert needed(Sound(machine, SOUND.micro), words) == [expected]


def test_a_word_that_was_placed_counts_though_nothing_leads_there() -> None:
    machine = SOUND.machine.replace("2 words", "4 words").replace("U1 2 x", "U1 4 x").replace(
        "address turn", "address {0b0, turn}") + 'allow undefined-code at idler "spare"\n'
    micro = "routine only at 0\n        band high\n        band high\nroutine idler at 2\n        band low\n"
    assert needed(Sound(machine, micro), {2: ODD}) == [True]
    assert needed(Sound(machine, micro), {3: ODD}) == needed(Sound(machine, micro), {0: ODD}) == [False]


def test_the_codes_that_are_defined_are_shown_beside_a_word() -> None:
    contents = contents_of(*SOUND)
    burned = contents._replace(words={"control": (ODD, ODD)})
    system = build_system(burned)
    placed, loose = findings_named("undefined-code", prove(burned, lambda asked: decide(system, asked)))
    assert [place.label for place in placed.places] == ["the codes that are defined"]
    assert placed.span is not None and placed.span.text == "band high"
    assert loose.places == () and loose.span == contents.machine.fields["band"].span


@pytest.mark.parametrize(("active", "flip"), [("", 0), (", active low", 0b111)])
def test_which_words_are_told_and_how(active: str, flip: int) -> None:
    """Words 0 and 1 are placed, 2 and 3 come next and are erased, 4 to 7 never come. `band` is the middle three bits;
    `plain` has no codes."""
    machine = f"""\
machine tuner
microprogram "m.micro"
store control 8 words of 8 bits
    address turn
field plain 2 bits, idle 0
field band 3 bits{active}
    low 0 idle
    mid 2
    high 5
spare 2 bits
field hop 1 bit
state turn 3 bits, reset 0
    next 0 if hop else turn + 1 if turn is not 3 else 0
home turn is 0
"""
    contents = contents_of(machine, "routine only at 0\n        band mid\n        band high, plain 3, hop\n")

    def told(*bands: int) -> list[str]:
        read = contents._replace(words={"control": tuple((band ^ flip) << 3 | 0b11000000 for band in bands)})
        system = build_system(read)
        for field in contents.machine.fields.values():
            assert undefined_at(read, field) == [at for at, word in enumerate(read.words["control"])
                                                 if is_undefined(field, word)]
        return [finding.message for finding in findings_named("undefined-code", prove(
            read, lambda asked: decide(system, asked)))]

    assert told(2, 5, 0, 2, 7, 7, 7, 7) == []
    assert told(2, 4, 0, 5, 7, 7, 7, 7) == ["field `band` holds 4, which has no name, at `only+1` (0x1)"]
    assert told(2, 5, 1, 0, 7, 7, 7, 7) == [
        "field `band` holds 1, which has no name, at 0x2, where nothing was placed"]
    assert told(3, 5, 7, 6, 7, 7, 7, 7) == [
        "field `band` holds 3, which has no name, at `only` (0x0)",
        "field `band` holds 7, which has no name, at 0x2, where nothing was placed and 1 more such cells"]


@pytest.mark.parametrize(("only", "told"), [((), 2), (("undefined-code",), 2), (("contention",), 0)])
def test_codes_are_looked_at_where_that_is_selected(only: tuple[str, ...], told: int) -> None:
    assert len(findings_named("undefined-code", report(SOUND, Selection(frozenset(only))))) == told
