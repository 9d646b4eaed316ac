"""Which variables and bits the answers depend on: what is left out makes no difference, and what makes one stays."""

import pytest

from ordain.control.system import build_system
from ordain.machine.expression import LeafKind
from ordain.prover.decide import decide
from ordain.prover.model import Limits, Property
from tests import oracle
from tests.prover.by_hand import Bench


@pytest.mark.parametrize("opcode", [None, 0, 1, 2, 3])
@pytest.mark.parametrize("read", ["field", "word"])
@pytest.mark.parametrize("fill", ["map", "computed", "start", "microprogram"])
def test_what_addresses_a_store_counts_where_its_word_does(opcode: int | None, fill: str, read: LeafKind) -> None:
    """The first word goes where a second store says, at the place of the opcode: to a lamp at the third opcode only.
    Nothing but that store looks at the opcode."""
    bench = Bench()
    terms = bench.terms
    code = bench.state("opcode", 2, opcode)
    bench.next("opcode", code)
    bench.store("entry", code, {"start": 2}, [1, 1, 2, 3])
    start = bench.leaf(read, "start" if read == "field" else "entry", 2)
    bench.stores["entry"] = bench.stores["entry"]._replace(fill=fill)
    upc = bench.state("upc", 2, 0)
    bench.next("upc", terms.if_(terms.among(upc, frozenset((0,))), start, upc))
    lamp = bench.store("control", upc, {"lamp": 1}, [0, 0, 1, 0])["lamp"]
    contents, asked = bench.contents(), Property("lit", "", "bad", lamp)
    wanted = "broken" if opcode in (None, 2) else "proved"
    for reduce in (True, False):
        (found,) = decide(build_system(contents), (asked,), Limits(reduce=reduce)).verdicts
        assert found.outcome == oracle.verdict(contents, asked).outcome == wanted


@pytest.mark.parametrize(("presented", "outcome"), [(True, "proved"), (False, "broken")])
def test_what_falls_away_with_the_address_put_in_is_read_all_the_same(presented: bool, outcome: str) -> None:
    """No cycle presents another address than the counter's number, and then it makes no difference what was before."""
    bench = Bench()
    terms = bench.terms
    upc = bench.state("upc", 1, 0)
    bench.next("upc", terms.not_(upc))
    lamp = bench.store("control", upc, {"lamp": 1}, [0, 1])["lamp"]
    here = terms.equal(bench.leaf("address", "control", 1), upc)
    asked = Property("dark", "", "bad", terms.and_((terms.not_(here) if presented else here, terms.prior(lamp))))
    contents = bench.contents()
    (found,) = decide(build_system(contents), (asked,)).verdicts
    assert found.outcome == oracle.verdict(contents, asked).outcome == outcome
