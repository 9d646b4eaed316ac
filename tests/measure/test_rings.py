"""Rings against networkx: every state one by one, over graphs made by chance."""

from typing import NamedTuple

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.control.system import build_system
from ordain.measure.rings import RingCycles, RingGround, rings_within
from ordain.prover.model import Limits, Property
from ordain.prover.symbolic.cases import SearchCase, SearchWatch, model_of
from tests.measure.plain_cycles import touching
from tests.workshop import contents_of

State = tuple[int, int]
"""(what is kept, the place)"""

MACHINE = """\
machine rings
microprogram "m.micro"
store control 32 words of 8 bits
    address {place, pick}
field there 3 bits number, idle 0
field other 3 bits number, idle 0
field sets 2 bits number, idle 0
state place 3 bits, reset any
    next other if kept[0] else there
state kept 2 bits, reset any
    next {kept[1] or sets[1], kept[0] or sets[0]}
input pick 2 bits
order go : there 0
"""
WITHOUT_WORDS = contents_of(MACHINE, "routine r at 0\n    go\n")


class Word(NamedTuple):
    there: int
    other: int
    sets: int


@st.composite
def tables(draw: st.DrawFn) -> list[Word]:
    """A word for each {place, pick}. From a place and what is kept it goes to one or two others, close by or anywhere:
    rings that overlap, rings within others, and ways from one to the other."""
    far, sets = draw(st.booleans()), st.sampled_from((0, 0, draw(st.integers(0, 3))))
    table = []
    for place in range(8):
        near = st.integers(0, 7) if far else st.sampled_from((place - 1, place + 1, place)).map(lambda to: to % 8)
        there, other = (draw(st.lists(near, min_size=1, max_size=2)) for _ in range(2))
        table += [Word(there[pick % len(there)], other[pick % len(other)], draw(sets)) for pick in range(4)]
    return table


def ringed(table: list[Word], region: set[State]) -> set[frozenset[int]]:
    """The addresses of the rings, those that touch taken together."""
    graph: nx.DiGraph[State] = nx.DiGraph()
    for kept, place in region:
        for word in table[place << 2:(place << 2) + 4]:
            after = kept | word.sets, word.other if kept & 1 else word.there
            if after in region:
                graph.add_edge((kept, place), after)
    return touching({place << 2 | pick for _, place in part for pick in range(4)}
                    for part in nx.strongly_connected_components(graph)
                    if len(part) > 1 or any(graph.has_edge(state, state) for state in part))


@given(tables(), st.sets(st.tuples(st.integers(0, 3), st.integers(0, 7)), min_size=20))
@settings(max_examples=200, deadline=None)
def test_every_ring_of_a_region_and_nothing_else(table: list[Word], region: set[State]) -> None:
    fields = WITHOUT_WORDS.machine.fields
    words = tuple(sum(value << fields[name].low for name, value in word._asdict().items()) for word in table)
    system = build_system(WITHOUT_WORDS._replace(words={"control": words}))
    terms = system.terms
    state = terms.join((terms.leaf("state", "kept", 2), terms.leaf("state", "place", 3)))
    model = model_of(system, (Property("", "", "reach", terms.parity(state)),), Limits(reduce=False))
    case = SearchCase(model, (), SearchWatch(Limits(), None, 0.0))
    inside = case.space.of(terms.among(state, frozenset(kept << 3 | place for kept, place in region)))
    rounds = RingCycles(case, RingGround(case, "control", 0), case.graph(), terms.const(1, 1))
    assert rings_within(rounds, inside) == ringed(table, region)
