"""Rings against networkx: every state one by one, over graphs made by chance."""

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st
from oxidd.bdd import BDDFunction

from ordain.control.system import build_system
from ordain.measure.rings import rings_within
from ordain.prover.model import Limits, Property
from ordain.prover.symbolic.cases import Case, Watch, model_of
from ordain.prover.symbolic.space import by_value
from tests.workshop import contents_of

State = tuple[int, int]
"""The value that is kept, and the place."""

MACHINE = """\
machine rings
microprogram "m.micro"
store control 64 words of 4 bits
    address {kept, place, pick}
field there 4 bits number, idle 0
state place 3 bits, reset any
    next there[2:0]
state kept 1 bit, reset any
    next kept
input pick 2 bits
order go <n> : there <n>
"""


@st.composite
def graphs(draw: st.DrawFn) -> list[int]:
    """Where it goes from {kept, place, pick}."""
    places = st.integers(0, draw(st.integers(1, 7)))
    return draw(st.lists(places, min_size=64, max_size=64) | _mostly_onward(places))


def _mostly_onward(places: st.SearchStrategy[int]) -> st.SearchStrategy[list[int]]:
    """Few ways back: several small rings, and ways from one to the other."""
    return st.lists(st.tuples(st.integers(0, 3), st.integers(0, 9), places), min_size=64, max_size=64).map(
        lambda drawn: [back if not chance else min(address >> 2 & 7 | onward, 7)
                       for address, (onward, chance, back) in enumerate(drawn)])


def ringed(table: list[int], region: set[State]) -> set[frozenset[State]]:
    graph: nx.DiGraph[State] = nx.DiGraph()
    for kept, place in region:
        for pick in range(4):
            after = kept, table[kept << 5 | place << 2 | pick]
            if after in region:
                graph.add_edge((kept, place), after)
    return {frozenset(part) for part in nx.strongly_connected_components(graph)
            if len(part) > 1 or any(graph.has_edge(state, state) for state in part)}


@given(graphs(), st.sets(st.tuples(st.integers(0, 1), st.integers(0, 7)), min_size=8))
@settings(max_examples=60, deadline=None)
def test_every_ring_of_a_region_and_nothing_else(table: list[int], region: set[State]) -> None:
    contents = contents_of(MACHINE, "".join(
        f"routine r{address} at {address}\n    go {there}\n" for address, there in enumerate(table)))
    system = build_system(contents)
    terms = system.terms
    state = terms.join((terms.leaf("state", "kept", 1), terms.leaf("state", "place", 3)))
    model = model_of(system, (Property("", "", "reach", terms.parity(state)),), Limits(reduce=False))
    case = Case(model, (), Watch(Limits(), None, 0.0))
    bits = case.space.bits(state)

    def states_of(found: BDDFunction) -> frozenset[State]:
        return frozenset(divmod(value, 8) for value, _ in by_value(bits, found))

    def at(states: set[State]) -> BDDFunction:
        return case.space.of(terms.among(state, frozenset(kept << 3 | place for kept, place in states)))

    found = list[frozenset[State]]()
    for rings in rings_within(case, case.graph(), at(region) & case.layers.reached):
        found += {states_of(at({one}).exists(rings.others) & rings.states) for one in states_of(rings.states)}
    assert len(found) == len(set(found)) and set(found) == ringed(table, region)
