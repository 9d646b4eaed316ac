"""Images of sets against single valuations moved one by one, on random factors that read one another in any way."""

from itertools import product
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from ordain.logic.valuations import Domain
from ordain.machine.expression import Terms
from ordain.prover.relation.images import Factor, Ring, compose


def _random(random: Random) -> tuple[Domain, list[Factor], list[dict[tuple[int, ...], set[int]]]]:
    """Factors, and beside them, per variable, the next values by what the variable reads."""
    terms = Terms()
    radices = tuple(random.choice([2, 2, 3, 4]) for _ in range(random.randint(1, 5)))
    domain = Domain(tuple(terms.leaf("state", f"v{index}", 2) for index in range(len(radices))), radices)
    every = list(product(*(range(radix) for radix in radices)))
    factors, tables = [], []
    for variable, radix in enumerate(radices):
        reads = [index for index in range(len(radices)) if index == variable or random.random() < 0.4]
        # of what it reads, only one bit each: so values of others are alike to it
        seen = [[random.randrange(2) for _ in range(radices[index])] for index in reads]
        table: dict[tuple[int, ...], set[int]] = {}
        moves: dict[int, int] = {}
        for values in every:
            key = (values[variable], *(bits[values[index]] for index, bits in zip(reads, seen, strict=True)))
            if key not in table:
                table[key] = set(random.sample(range(radix), random.choice([0, 1, 1, 1, 2])))
            for new in table[key]:
                delta = (new - values[variable]) * domain.strides[variable]
                moves[delta] = moves.get(delta, 0) | 1 << domain.index_of(values)
        factors.append(Factor(variable, moves, sum(1 << index for index in reads), 0))
        tables.append({values: table[values[variable], *(bits[values[index]] for index, bits
                                                         in zip(reads, seen, strict=True))] for values in every})
    return domain, factors, tables


@settings(max_examples=300, deadline=None)
@given(st.integers(0, 1 << 32))
def test_every_valuation_moves_as_its_variables_do(seed: int) -> None:
    random = Random(seed)
    domain, factors, tables = _random(random)
    relation = compose(domain, factors)
    after = {values: {domain.index_of(new) for new in product(*(table[values] for table in tables))}
             for values in product(*(range(radix) for radix in domain.radices))}
    for values, wanted in after.items():
        assert relation.image(1 << domain.index_of(values)) == sum(1 << index for index in wanted)
    some = random.getrandbits(domain.size)
    chosen = [values for values in after if some >> domain.index_of(values) & 1]
    assert relation.image(some) == sum(1 << index for index in set().union(*(after[values] for values in chosen)))
    assert relation.preimage(some) == sum(1 << domain.index_of(values) for values, wanted in after.items()
                                          if any(some >> index & 1 for index in wanted))


def test_a_ring_is_opened_where_least_is_asked() -> None:
    """Two that give way to one another: each asks of the other only whether it owns. That is two parts of two stages
    each, not the product of all moves."""
    terms = Terms()
    domain = Domain(tuple(terms.leaf("state", name, 2) for name in "ab"), (4, 4))
    factors = []
    for one, other in ((0, 1), (1, 0)):
        moves: dict[int, int] = {}
        for index in range(domain.size):
            values = domain.values_of(index)
            new = {0: 1, 1: 1 if values[other] == 2 else 2, 2: 3, 3: 0}[values[one]]
            delta = (new - values[one]) * domain.strides[one]
            moves[delta] = moves.get(delta, 0) | 1 << index
        factors.append(Factor(one, moves, 3, 0))
    (ring,) = compose(domain, factors).stages
    assert isinstance(ring, Ring) and [len(stages) for _, stages in ring.parts] == [2, 2]
