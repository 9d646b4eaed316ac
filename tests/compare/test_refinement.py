"""The coarsest stable partition: against rounds in which every node is looked at anew until nothing changes."""

from collections.abc import Hashable

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.compare.refinement import coarsest

Graph = tuple[list[int], list[list[int]]]
"""What each node does by itself, and where it goes, by letters."""


@st.composite
def graphs(draw: st.DrawFn) -> Graph:
    count = draw(st.integers(0, 14))
    node = st.integers(0, max(0, count - 1))
    return ([draw(st.integers(0, 2)) for _ in range(count)],
            [draw(st.lists(node, min_size=0, max_size=2)) for _ in range(count)])


def plainly(graph: Graph) -> list[int]:
    does, goes = graph
    block: list[Hashable] = [0] * len(does)
    while True:
        seen = [(does[node], tuple(block[target] for target in goes[node])) for node in range(len(does))]
        numbers = {look: number for number, look in enumerate(dict.fromkeys(seen))}
        after: list[Hashable] = [numbers[look] for look in seen]
        if len(numbers) == len(set(block)) or not does:
            return [numbers[look] for look in seen]
        block = after


def found(graph: Graph) -> list[int]:
    does, goes = graph
    return coarsest(len(does), lambda node, block: (does[node], tuple(block[target] for target in goes[node])),
                    lambda node: goes[node])


@given(graphs())
@settings(max_examples=300)
def test_nodes_are_apart_where_something_tells_them_apart(graph: Graph) -> None:
    ours, plain = found(graph), plainly(graph)
    assert len({*zip(ours, plain)}) == len({*ours}) == len({*plain})


def test_a_long_chain_is_told_apart_from_its_end() -> None:
    """Each node can be told from the next only by how far the end is; two chains of one length are one."""
    length = 40
    goes = [[node + 1] for node in range(length - 1)] + [[]]
    both = goes + [[target + length for target in row] for row in goes]
    block = found(([0] * (2 * length), both))
    assert block[:length] == block[length:] and len({*block}) == length


def test_the_largest_part_of_a_block_keeps_its_number() -> None:
    """Of a chain each node is looked at a few times, and not as often as there are nodes."""
    looked: list[int] = []
    length = 200

    def signature(node: int, block: list[int]) -> Hashable:
        looked.append(node)
        return block[node + 1] if node + 1 < length else "end"

    block = coarsest(length, signature, lambda node: [node + 1] if node + 1 < length else [])
    assert len({*block}) == length and len(looked) <= 3 * length
    assert coarsest(5, lambda node, _: node == 3, lambda node: []) == [0, 0, 0, 1, 0]


def test_a_node_that_looks_as_before_stays_where_it_is() -> None:
    """The first looks at the third, which gets another block, and shows nothing of it."""
    assert coarsest(4, lambda node, _: "aaxy"[node], lambda node: [2] if node == 0 else [])[:2] == [0, 0]


def test_the_few_that_look_as_before_are_told_from_the_many_that_do_not() -> None:
    """Of the last four, one leads to a node that keeps its block when that is split, and three to the one that leaves
    it: these three are more than half."""
    labels = ["way", "way", "far goal", "near goal", "start", "start", "start", "start"]
    leads = [[2], [3], [], [], [1], [0], [0], [0]]
    block = coarsest(len(leads), lambda node, block: (labels[node], *[block[to] for to in leads[node]]),
                     leads.__getitem__)
    assert block[5] == block[6] == block[7] and len({block[node] for node in range(6)}) == 6


def test_what_stays_in_a_block_is_apart_from_a_larger_part_that_leaves_it() -> None:
    """Three nodes go to the second and one to the third, which come to the first and to the fourth; the others go
    round, and are not looked at again. The largest part keeps the number, and numbers have no gaps."""
    goes = [[], [0], [3], [], [4], [4], [1], [1], [1], [2]]
    graph = ([1, 0, 0, 2, *[0] * 6], goes)
    ours = found(graph)
    assert len({*zip(ours, plainly(graph))}) == len({*ours}) == 7 and ours[4] == ours[5] and len({*ours[6:9]}) == 1
    assert ours[6] == 0 and {*ours} == {*range(7)}
