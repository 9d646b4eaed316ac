"""Where something is too much to be listed, the engine takes another way. Here everything is too much.

Such a bound is there for speed; with any value of it the answers must be the same. `test_against_plain_search` holds
the answers with the usual bounds against a search of single states.
"""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.checks.run import Selection, questions
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property
from ordain.rom.contents import Contents
from tests.prover.by_hand import random_comparisons, random_contents, random_journeys
from tests.prover.test_against_plain_search import _answer
from tests.workshop import contents_of

BOUNDS = {
    "search.explore.SCATTERED": (0, 1, 4), "search.breadth_first.CHECK_EVERY": (1,),
    "search.dead_bits.FAN_OUT": (1, 2, 4), "search.dead_bits.OPEN_BITS": (0, 1, 2),
    "search.edges.OPEN_BITS": (0, 1, 2), "relation.input_values.WIDE": (1, 2, 8),
    "answers.input_solving.WIDE": (1, 2, 8), "relation.roles.SET_LIMIT": (1, 4, 16), "relation.roles.SAMPLE": (1, 2),
    "decide.GROWTH": (0,), "decide.TOGETHER": (1, 2), "answers.paths.LOOP_SEARCH": (1,),
    "answers.prior_cycle.FEW": (1,),
}


def same(contents: Contents, properties: list[Property], bounds: dict[str, int]) -> None:
    system = build_system(contents)
    usual = decide(contents, system, tuple(properties), Limits(traces=2))
    with pytest.MonkeyPatch.context() as patch:
        for name, value in bounds.items():
            patch.setattr(f"ordain.prover.{name}", value)
        small = decide(contents, system, tuple(properties), Limits(traces=2))
    assert (small.executed, small.over_assumed.outcome) == (usual.executed, usual.over_assumed.outcome)
    for one, other in zip(small.verdicts, usual.verdicts, strict=True):
        assert _answer(contents, one) == _answer(contents, other)


@settings(max_examples=40)
@given(st.integers(0, 1 << 32))
def test_bounds_change_no_answer(seed: int) -> None:
    random = Random(seed)
    contents, properties = random_contents(random)
    properties += [*random_comparisons(random, contents)[:2], *random_journeys(random, contents)[:2]]
    some = {name: random.choice(values) for name, values in BOUNDS.items()}
    same(contents, properties, some)
    same(contents, properties, {name: value for name, value in some.items() if random.random() < 0.3})


MANY = """machine scatter
microprogram "m.micro"
store control 4 words of 6 bits
    address upc
field target 2 bits address, idle following
field la 1 bit
field lb 1 bit
field lc 1 bit
spare 1 bit
state upc 2 bits, reset 0
    next target
bus data 4 bits, floats
register a {width} bits, loads {source} when la, reset any
register b 4 bits, loads data when lb, reset any
register c 4 bits, loads data when lc, reset any
home upc is 0
rule "never all" never a is 3 and b is 5 and c is 7 and upc is 3
rule "steady" never a is prior(a) and c is 3 and prior(b) is 1
rule "equal" always reach b is c
"""
MICRO = "routine all at 0\n    first: la\n    lb\n    lc\n    la, target first\n"


@pytest.mark.parametrize("source", ["data", "b"])
def test_what_begins_with_any_value_is_kept_as_a_set(source: str) -> None:
    """Four thousand states to begin with: one by one and as a set the answers are the same."""
    contents = contents_of(MANY.format(width=4, source=source), MICRO)
    asked = [asked for _, asked in questions(contents, Selection(frozenset(("never", "always-reach"))))]
    same(contents, asked, {"search.explore.SCATTERED": 1 << 20})
    found = decide(contents, build_system(contents), tuple(asked), Limits(traces=1))
    assert found.states > 1 << 13 and [each.outcome for each in found.verdicts] == ["broken", "broken", "proved"]


def test_too_many_states_to_begin_with_are_told_within_the_limit() -> None:
    contents = contents_of(MANY.format(width=32, source=f"{{0b{'0' * 28}, data}}"), MICRO)
    terms = contents.machine.terms
    wide = terms.equal(terms.leaf("register", "a", 32), terms.prior(terms.leaf("register", "a", 32)))
    found = decide(contents, build_system(contents), (Property("kept", "", "bad", wide),), Limits(seconds=0.2))
    assert found.ended == "seconds" and found.verdicts[0].outcome == "undecided"
