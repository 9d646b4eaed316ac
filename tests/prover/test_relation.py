"""What a cycle does, in one part, in some and in one for each bit: large machines have several, small ones would have
one."""

from itertools import pairwise
from random import Random

import pytest

from ordain.control.system import build_system
from ordain.prover.model import Limits
from ordain.prover.symbolic.cases import SearchCase, SearchWatch, model_of
from ordain.prover.symbolic.paths import one_of, shortest
from ordain.prover.symbolic.reads import members
from ordain.prover.symbolic.relation import Relation, parts_of
from ordain.prover.symbolic.space import by_value
from ordain.rom.contents import Contents
from tests.prover.by_hand import SEQUENCERS, Bench, random_contents

ALL_TOGETHER, SOME_TOGETHER, ALONE = 1 << 30, 30, 0
"""Nodes that a part may have."""


def cases(contents: Contents, *largest: int) -> list[SearchCase]:
    """A search for each size of parts, over the same diagrams."""
    model = model_of(build_system(contents), (), Limits(reduce=False))
    return [SearchCase(model._replace(largest=each), (), SearchWatch(Limits(), None, 0.0)) for each in largest]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("kind", SEQUENCERS)
def test_in_many_parts_all_leads_where_it_leads_in_one(kind: str, seed: int) -> None:
    """Forwards, back from one state, and as a graph; that one part says what is so is held against a plain search."""
    contents, properties = random_contents(Random(seed), (kind,))
    whole, *parted = cases(contents, ALL_TOGETHER, SOME_TOGETHER, ALONE)
    some, alone = (len(case.relation.parts) for case in parted)
    assert len(whole.relation.parts) == 1 < some < alone == whole.space.states
    for case in parted:
        assert case.layers.new == whole.layers.new and case.graph().holds == whole.graph().holds
        for node in (prop.node for prop in properties if case.space.knows(prop.node)):
            assert case.graph(node).holds == whole.graph(node).holds
        for level, new in enumerate(whole.layers.new):
            one = one_of(case, new)
            assert case.relation.into(case.layers.reached, one) == whole.graph().before(one)
            path = shortest(case, level, new)
            assert [case.count(state) for state in path] == [1] * (level + 1)
            assert not (path[0] & ~case.start).satisfiable() and not (path[-1] & ~new).satisfiable()
            for state, following in pairwise(path):
                assert (whole.graph().after(state) & following).satisfiable()


@pytest.mark.parametrize("seed", range(8))
def test_what_is_not_looked_at_may_have_any_value(seed: int) -> None:
    """Of some variables, from any values of the others in every cycle: as of all variables, looked at afterwards."""
    random = Random(seed)
    contents, _ = random_contents(random)
    (case,) = cases(contents, ALL_TOGETHER)
    space, model = case.space, case.model
    for _ in range(4):
        variables = random.sample(list(space.variables), random.randrange(1, len(space.variables)))
        known = sum(1 << atom for variable in variables for atom in space.atoms.of(variable.leaf))
        others = space.cube(members(case.atoms & ~known))
        some = random.choice(case.layers.new).exists(others)
        relation = Relation(space, parts_of(space, members(known), lambda: None), known, model.required, lambda: None)
        assert relation.after(some) == case.relation.after(some).exists(others)


@pytest.mark.parametrize("largest", [ALL_TOGETHER, ALONE])
@pytest.mark.parametrize("values", [1, 2, 3, 5, 8])
def test_a_value_that_an_input_cannot_have_leads_nowhere(values: int, largest: int) -> None:
    """The place is what the dial stood at, of which some numbers have no name; beside it another input."""
    bench = Bench()
    dial, go = bench.input("dial", 3, values), bench.input("go", 1)
    place, lit = bench.state("place", 3, 0), bench.state("lit", 1, 0)
    bench.next("place", dial)
    bench.next("lit", bench.terms.and_((go, bench.terms.among(dial, frozenset((values - 1,))))))
    bench.store("control", place, {"lamp": 1}, [0] * 8)
    (case,) = cases(bench.contents(), largest)
    bits = [*case.space.bits(place), *case.space.bits(lit)]
    assert {value for value, _ in by_value(bits, case.layers.reached)} == {
        *(2 * value for value in range(values)), 2 * (values - 1) + 1}
    assert case.transitions == (values + 1) ** 2
