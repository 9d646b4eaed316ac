"""Cycles of instructions against a plain search of all states, over machines made by chance: `plain_cycles`."""

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.control.system import build_system
from ordain.measure.cycles import Taken, cycles_of
from tests.measure.plain_cycles import Counted, Plain, by_chance
from tests.workshop import contents_of

TITLES = ["one", "two"]


@given(st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_least_most_and_waits(random: Random) -> None:
    made = by_chance(random.choice)
    contents = contents_of(made.machine, made.micro)
    found = cycles_of(build_system(contents), TITLES)
    assert found is not None
    plain = Plain(contents, made)
    by_hand = plain.instructions(TITLES)
    for one in found.taken:
        compare(one, by_hand[one.title])
    compare(found.fetch, plain.fetch(TITLES))


def compare(told: Taken | None, by_hand: Counted) -> None:
    rings = frozenset() if told is None else frozenset(frozenset(ring.addresses) for ring in told.rings)
    assert (None if told is None else told.least, None if told is None else told.most) == (by_hand.least, by_hand.most)
    assert rings == by_hand.waits
