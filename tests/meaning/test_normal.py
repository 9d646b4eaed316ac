"""Normal forms of small sums, worked out by hand."""

import pytest

from ordain.machine.expression import Terms
from ordain.meaning.normal import Normal


@pytest.mark.parametrize("width", [2, 3, 4, 8])
def test_a_value_that_is_taken_away_stays_one_part_however_narrow_it_is(width: int) -> None:
    """-x - 1 is `not x`; of three bits, seven times x and seven are the same number."""
    terms = Terms()
    x, y = terms.leaf("input", "x", width), terms.leaf("input", "y", width)
    ones = terms.const((1 << width) - 1, width)
    assert Normal(terms).of(terms.sub(ones, x)) is terms.not_(x)
    assert Normal(terms).of(terms.add(y, terms.not_(x))) is terms.add(terms.sub(y, x), ones)
    assert Normal(terms).of(terms.add(x, x)) is terms.add(x, x)
