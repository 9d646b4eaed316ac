"""Gates against plain Python, gate by gate."""

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.logic.gates import Gates, among, evaluate
from ordain.machine.expression import Leaf, Node, Terms
from tests.logic.plain_terms import LEAVES, Plain, leaf_values, made, plain_terms, value_of


def simulated(gates: Gates, inputs: list[int]) -> list[int]:
    """The level of every variable, given those of the first ones."""
    levels = [0, *inputs]
    for a, b in gates.gates:
        levels.append((levels[a >> 1] ^ (a & 1)) & (levels[b >> 1] ^ (b & 1)))
    return levels


@settings(max_examples=400)
@given(plain_terms(), leaf_values())
def test_gates_are_worth_what_was_written(term: Plain, values: dict[str, int]) -> None:
    terms = Terms()
    node = made(terms, term)
    places: dict[str, list[int]] = {}
    inputs: list[int] = []
    for _, name, width in LEAVES:
        places[name] = [2 * (len(inputs) + 1 + bit) for bit in range(width)]
        inputs += [values[name] >> (width - 1 - bit) & 1 for bit in range(width)]
    gates = Gates(1 + len(inputs))
    known: dict[Node, list[int]] = {}

    def leaf(asked: Leaf) -> list[int]:
        return places[asked.name]

    evaluate(gates, (node,), leaf, known)
    levels = simulated(gates, inputs)
    bits = [levels[literal >> 1] ^ (literal & 1) for literal in known[node]]
    assert int("".join(map(str, bits)), 2) == value_of(term, values)
    for number, (a, b) in enumerate(gates.gates, gates.first):  # as AIGER wants it: 2 * number > a >= b
        assert 2 * number > a >= b > 1


@given(st.integers(1, 5), st.data())
def test_tables_and_sets_hold_exactly_their_members(width: int, data: st.DataObject) -> None:
    column = data.draw(st.integers(0, (1 << (1 << width)) - 1))
    members = frozenset(value for value in range(1 << width) if column >> value & 1)
    gates = Gates(1 + width)
    address = [2 * (1 + bit) for bit in range(width)]
    looked_up, member = gates.table(column, address), among(gates, address, members)
    for value in range(1 << width):
        levels = simulated(gates, [value >> (width - 1 - bit) & 1 for bit in range(width)])
        assert levels[looked_up >> 1] ^ (looked_up & 1) == int(value in members)
        assert levels[member >> 1] ^ (member & 1) == int(value in members)
