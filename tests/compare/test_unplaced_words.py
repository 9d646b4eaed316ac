"""Words of which the text says nothing: what stands in unused cells acts all the same, and nobody left it open."""

import pytest

from ordain.rom.contents import Contents
from tests.compare.bench import Word, burned, resolved
from tests.compare.judged import compared, moved
from tests.compare.test_observation import TENDER

LOOSE = TENDER.replace("HOLDSSENSE", " address").replace("WHERE", "0b0011").replace("WHEN", "hum").replace(
    "spare 1 bit\nfield last 1 bit\n", "field light 1 bit, idle any\nfield last 1 bit, idle any\n")


def stray(**unused: int) -> Contents:
    """The first word goes to a cell in which nothing was placed."""
    return burned(resolved(LOOSE), {0: Word("start", {"ring": 1, "to": 8, "last": 0, "light": 0})},
                  unused={"to": 0, **unused})


@pytest.mark.parametrize("field", ["last", "light", "hum"])
def test_no_bit_of_an_unused_cell_is_left_open(field: str) -> None:
    """Also in a field that may be anything where no order sets it: here there is no order at all."""
    old, new = stray(last=0, light=0), stray(**{"last": 0, "light": 0, field: 1})
    for one, other in ((old, new), (new, old)):
        assert moved(compared(one, other)) == dict.fromkeys(("reset", "start"), "changed")
        assert moved(compared(one, one)) == {}
