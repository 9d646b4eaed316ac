"""Words that must not follow each other, said a second time: against the check, and against what it proves."""

import random

import pytest

from ordain.audit.tearing import wrong
from ordain.checks import torn
from ordain.rom.contents import Contents
from tests.audit.kept import boasting, kept, outcomes, proved
from tests.checks.test_torn import MACHINE, MICRO, OPEN, PROLOGUE, RING, a_tree, arms, lathe, text_of
from tests.workshop import contents_of


def both(contents: Contents) -> tuple[set[tuple[int, int]], set[tuple[int, int]]]:
    """Pairs of addresses, as the check has them and as the audit has them."""
    store = contents.machine.stores["control"]
    asked = torn._out_of_order(torn._cells(contents, store))
    return ({(cell, other) for cells, others in asked for cell in cells for other in others},
            {(cell, other) for cell, others in wrong(contents, store) for other in others})


def test_the_pairs_are_those_of_the_check_in_texts_by_chance_with_other_bits_in_some_words() -> None:
    pairs = 0
    for seed in range(60):
        chance = random.Random(seed)
        body = "\n".join(text_of(a_tree(chance, ("carry", "raw"), 3), "        "))
        if body.count("\n") > 12:
            continue
        contents = contents_of((OPEN if seed % 2 else MACHINE).replace("RAW", "raw"), MICRO.replace("TURN", body))
        sites = dict(contents.sites["control"])
        for place in chance.choices(sorted(sites), k=seed % 3):
            sites[place] = sites[place]._replace(bits=sites[place].bits ^ 1 << chance.randrange(8))
        one, other = both(contents._replace(sites={"control": sites}))
        assert one == other, seed
        pairs += len(one)
    assert pairs > 150


@pytest.mark.parametrize("machine", [MACHINE, RING])
def test_the_pairs_of_a_prologue_with_arms(machine: str) -> None:
    text = arms("a / a / fetch", "b / fetch", condition="raw").replace("\n", "\n        ")
    one, other = both(contents_of(machine.replace("RAW", "raw"), PROLOGUE.replace("FETCH", text)))
    assert one == other and one


def test_in_a_ring_the_pairs_are_those_of_a_counter() -> None:
    numbers, pairs = (0b000, 0b100, 0b110, 0b111, 0b011, 0b001), 0
    for seed in range(40):
        body = "\n".join(text_of(a_tree(random.Random(seed), ("carry", "raw"), 3), "        "))
        if body.count("\n") > 12:
            continue
        plain, ring = (both(contents_of(text.replace("RAW", "raw"), MICRO.replace("TURN", body)))
                       for text in (MACHINE, RING))
        turned = {tuple(cell & ~7 | numbers[cell & 7] for cell in pair) for pair in plain[0]}
        assert turned == ring[0] == ring[1], seed
        pairs += len(turned)
    assert pairs > 50


@pytest.mark.parametrize(("turn", "said"), [
    (arms("a / a, last", "b / c, set, last"), "confirmed"),
    (arms("a / a, last", "b, set / c, last"), "refused"),
    (arms("a, set / b / a, last", "a, set / c / b, last"), "confirmed"),
    (arms("a, set / b, set / a, last", "a, set / c / b, last"), "refused"),
])
def test_what_is_proved_is_confirmed_and_what_is_broken_is_refused(turn: str, said: str) -> None:
    sound = lathe(turn)
    for machine in (sound.machine, RING.replace("RAW", "raw")):
        contents = contents_of(machine, sound.micro)
        assert outcomes(contents, kept(contents, boasting(proved(contents))))["torn", "control"] == said


def test_an_allowance_at_the_word_where_control_goes_on() -> None:
    sound = lathe(arms("a / a, last", "b, set / c, last"))
    for place, said in (("turn", "confirmed"), ("rest", "refused")):
        contents = contents_of(sound.machine + f'allow torn at "{place}" "the flag is slow"\n', sound.micro)
        assert outcomes(contents, kept(contents, boasting(proved(contents))))["torn", "control"] == said
