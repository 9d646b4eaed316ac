"""What decides about effort alone: the order of the variables of the diagrams, which variables are looked at closely,
how much room is set aside, and how often the limits are looked at."""

from collections.abc import Sequence
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ordain.prover.symbolic.cases
import ordain.prover.symbolic.dead
import ordain.prover.symbolic.space
from ordain.control.model import Variable
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.ground import with_versions
from ordain.prover.model import Limits
from ordain.prover.symbolic.cases import SearchCase, SearchWatch, model_of
from ordain.prover.symbolic.relation import Graph, Relation, parts_of
from ordain.prover.symbolic.space import MANAGER, NODE, NODES, UNTIDY, _with_room
from tests.prover.by_hand import random_comparisons, random_contents, random_journeys
from tests.prover.test_against_plain_search import answer
from tests.workshop import contents_of


@pytest.mark.parametrize("wide", [0, 8192])
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 1 << 32))
def test_any_order_and_any_variables_looked_at_closely_give_the_same_verdicts(wide: int, seed: int) -> None:
    random = Random(seed)
    contents, properties = random_contents(random)
    asked = (*properties, *random_journeys(random, contents)[:2], *random_comparisons(random, contents)[:2])

    def any_order(count: int, *_: object) -> list[int]:
        return random.sample(range(count), count)

    def any_variables(variables: Sequence[Variable], addresses: object) -> tuple[list[Variable], list[Variable]]:
        some = random.sample(list(variables), random.randint(0, len(variables)))
        cut = random.randint(0, len(some))
        return some[:cut], some[cut:]

    wanted = decide(build_system(contents), asked, Limits(traces=2))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ordain.prover.symbolic.cases, "WIDE", wide)
        patch.setattr(ordain.prover.symbolic.dead, "SELDOM", 1)
        patch.setattr(ordain.prover.symbolic.space, "ordered", any_order)
        patch.setattr(ordain.prover.symbolic.space, "address_family", any_variables)
        found = decide(build_system(contents), asked, Limits(traces=2))
    assert [answer(contents, one) for one in found.verdicts] == [answer(contents, one) for one in wanted.verdicts]
    assert (found.executed, found.depth, found.over_assumed.outcome) == (
        wanted.executed, wanted.depth, wanted.over_assumed.outcome)


@pytest.mark.parametrize(("left", "nodes"), [
    (None, 1 << 20), (MANAGER + 2 * NODE * 500_000, 500_000), (MANAGER + 2 * NODE * (1 << 21), 1 << 20),
    (MANAGER, None), (MANAGER + 2 * NODE * (1 << 16), 1 << 16), (MANAGER + 2 * NODE * (1 << 16) - 1, None)])
def test_half_of_the_addresses_that_are_left_are_set_aside(monkeypatch: pytest.MonkeyPatch, left: int | None,
                                                           nodes: int | None) -> None:
    """Of a million nodes that are wanted so many as there is room for, twice; None: too few to begin at all."""
    monkeypatch.setattr(ordain.prover.symbolic.space, "address_space_left", lambda: left)
    if nodes is None:
        with pytest.raises(OSError, match="at least"):
            _with_room(1 << 20)
    else:
        assert _with_room(1 << 20) == nodes


def test_limits_are_looked_at_in_every_operation() -> None:
    contents, _ = random_contents(Random(1))
    model = model_of(build_system(contents), (), Limits(reduce=False))
    case = SearchCase(model, (), SearchWatch(Limits(), None, 0.0))
    looks: list[str] = []

    def looked(name: str) -> int:
        return sum(look == name for look in looks)

    graph = Graph(case.space, case.graph().holds, case.atoms, lambda: looks.append("graph"))
    assert graph.after(case.start) == case.relation.after(case.start) and looked("graph") == 1
    assert (graph.before(graph.after(case.start)) & case.start).satisfiable() and looked("graph") == 3
    relation = Relation(case.space, case.relation.parts, case.atoms, model.required, lambda: looks.append("relation"))
    relation.after(case.start)
    once = looked("relation")
    assert once >= len(relation.parts)
    relation.graph(case.start, case.space.true, 0)
    assert looked("relation") >= 2 * once
    parts = parts_of(case.space, range(case.space.states), lambda: looks.append("parts"))
    assert looked("parts") == case.space.states and len(parts) <= case.space.states


def test_what_nothing_needs_is_given_back_when_there_is_much_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was looked at and let go again counts until then; so many more may come, as are needed, before the next."""
    contents, _ = random_contents(Random(1))
    space = model_of(build_system(contents), (), Limits(reduce=False)).space
    kept = [space.function(atom) for atom in range(space.states)]

    def let_go() -> int:
        found = space.true
        for atom in range(space.states):
            found = found & space.next(atom).equiv(kept[atom])
        return space.manager.num_inner_nodes()

    many = let_go()
    space.tidy()
    assert space.manager.num_inner_nodes() == many
    monkeypatch.setattr(space, "_untidy", many - 1)
    space.tidy()
    few = space.manager.num_inner_nodes()
    assert few < many and space._untidy == ordain.prover.symbolic.space.UNTIDY
    monkeypatch.setattr(ordain.prover.symbolic.space, "UNTIDY", 1)
    monkeypatch.setattr(space, "_untidy", few)
    assert let_go() > few
    space.tidy()
    assert (space.manager.num_inner_nodes(), space._untidy) == (few, 2 * few)


LIFT = """machine lift
microprogram "lift.micro"
store control 4 words of 4 bits
    address upc
field target 2 bits address, idle following
field take 1 bit
spare 1 bit
input go 1 bit
state upc 2 bits, reset 0
    next back if pick is 2 and go else target
register pick 2 bits
    loads {0b0, take} when take
state back 2 bits, reset 3
    next upc if take else back
"""


def test_what_an_order_is_made_from(monkeypatch: pytest.MonkeyPatch) -> None:
    """Atoms: `upc` 0 and 1, `back` 2 and 3, `pick` 4 and 5, which may begin with anything and is compared, `go` 6. The
    bits of the address, and in a search of many machines before them the number of the machine, highest first."""
    said: list[tuple[object, ...]] = []
    turned = [6, 3, 0, 1, 2, 5, 4]

    def order(count: int, *more: object) -> list[int]:
        said.append((count, *more))
        return turned if count == 7 else list(range(count))

    monkeypatch.setattr(ordain.prover.symbolic.space, "ordered", order)
    system, everything = build_system(contents_of(LIFT, "routine start at 0\n    take\n    target start\n")), Limits(
        reduce=False)
    space = model_of(system, (), everything).space
    assert [atom for leaf in space.atoms.leaves for atom in space.atoms.of(leaf)] == list(range(7))
    assert said.pop() == (7, space.reads, 0b1111, [0b110000], [1, 0], [])
    assert space.number == [3, 5, 7, 1, 11, 9, 0] and space.manager.num_vars() == 13
    model_of(system, (), everything, apart=True)
    assert said.pop()[-1] == [range(3, 1, -1), range(5, 3, -1)]
    many = model_of(with_versions(system, {"control": ({0: 1}, {1: 1})}, 2), (), everything).space
    assert (*said.pop()[2:],) == (0b1111, [0b110000], [7, 6, 1, 0], []) and many.manager.num_vars() == 17


@pytest.mark.parametrize(("memory", "nodes"), [
    (None, NODES), (NODE * 500_000, 500_000), (NODE * NODES + 1, NODES), (NODE * NODES - 1, NODES - 1),
    (0, UNTIDY >> 5), (-1, UNTIDY >> 5), (NODE * (UNTIDY >> 5) + NODE, (UNTIDY >> 5) + 1)])
def test_the_memory_that_diagrams_may_take(monkeypatch: pytest.MonkeyPatch, memory: int | None, nodes: int) -> None:
    """What is left of the limit when the search is begun; too little is a limit that is reached soon, not none."""
    most: list[int] = []
    room = ordain.prover.symbolic.space._with_room
    monkeypatch.setattr(ordain.prover.symbolic.space, "_with_room",
                        lambda wanted: (most.append(wanted), room(1 << 16))[1])
    monkeypatch.setattr(ordain.prover.symbolic.cases, "memory_taken", lambda: 1000)
    contents, _ = random_contents(Random(1))
    model_of(build_system(contents), (), Limits(memory=None if memory is None else memory + 1000))
    assert most == [nodes]
