"""Sets of valuations against valuations one by one."""

from collections.abc import Iterable

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.logic.valuations import FEW, Domain
from ordain.machine.expression import Terms

RADICES = st.lists(st.integers(1, 13), min_size=1, max_size=4)


@settings(max_examples=150, deadline=None)
@given(RADICES, st.frozensets(st.integers(0, 15), max_size=FEW + 4))
def test_leaves_and_their_values(radices: list[int], among: frozenset[int]) -> None:
    terms = Terms()
    leaves = tuple(terms.leaf("input", f"i{index}", 4) for index in range(len(radices)))
    domain = Domain(leaves, tuple(radices))
    every = [domain.values_of(index) for index in range(domain.size)]
    assert [domain.index_of(values) for values in every] == list(range(domain.size)) and len(set(every)) == domain.size
    for number, leaf in enumerate(leaves):
        for bit, plane in enumerate(domain.planes(leaf)):
            assert plane == _set(values[number] >> bit & 1 for values in every)
        for value in range(radices[number]):
            assert domain.having(number, value) == _set(values[number] == value for values in every)
        assert domain.true(terms.among(leaf, among)) == _set(values[number] in among for values in every)


def _set(truths: Iterable[int]) -> int:
    return sum(1 << index for index, truth in enumerate(truths) if truth)


def test_a_wide_bus() -> None:
    """All values of sixteen lines at once: what is asked of it is a few masks, not one mask for each value."""
    terms = Terms()
    bus, other = terms.leaf("bus", "data", 16), terms.leaf("input", "go", 1)
    domain = Domain((other, bus), (2, 1 << 16))
    sum_ = terms.add(bus, terms.const(0x1234, 16))
    where = domain.true(terms.and_((other, terms.equal(sum_, terms.const(0, 16)))))
    assert domain.values_of(where.bit_length() - 1) == (1, 0x10000 - 0x1234) and where.bit_count() == 1
