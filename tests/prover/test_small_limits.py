"""Where something is too much to be listed, the engine takes another way. Here everything is too much.

Such a bound is there for speed; with any value of it the answers must be the same. `test_against_plain_search` holds
the answers with the usual bounds against a search of single states.
"""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property
from ordain.rom.contents import Contents
from tests.prover.by_hand import random_comparisons, random_contents, random_journeys
from tests.prover.test_against_plain_search import _answer

BOUNDS = {
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


@settings(max_examples=50)
@given(st.integers(0, 1 << 32))
def test_bounds_change_no_answer(seed: int) -> None:
    random = Random(seed)
    contents, properties = random_contents(random)
    properties += [*random_comparisons(random, contents)[:2], *random_journeys(random, contents)[:2]]
    some = {name: random.choice(values) for name, values in BOUNDS.items()}
    same(contents, properties, some)
    same(contents, properties, {name: value for name, value in some.items() if random.random() < 0.3})
