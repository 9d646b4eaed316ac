"""Which addresses reachable cycles present, exactly: also where no question looks at them."""

import pytest

from ordain.control.system import build_system
from ordain.machine.expression import Node
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from ordain.rom.contents import Contents
from tests import oracle
from tests.prover.by_hand import Bench
from tests.workshop import contents_of


def presented(contents: Contents, reduce: bool) -> dict[str, frozenset[int]]:
    return decide(build_system(contents), (), Limits(reduce=reduce)).executed


TWINS = """machine twins
microprogram "m.micro"
store control 8 words of 2 bits
    address {{{line}, step}}
    instruction {line}
    step step
field stop 1 bit
field load 1 bit
state step 1 bit, reset 0
    next 0 if stop else step + 1
{declared}
bus data 1 bit, pulled high
    driven by memory when load
"""


@pytest.mark.parametrize("reduce", [True, False])
def test_equal_words_of_which_one_is_never_read(reduce: bool) -> None:
    """The opcode is even, whatever comes over the bus. Nothing tells the last words of even and odd ones apart."""
    contents = contents_of(
        TWINS.format(line="ir", declared="register ir 2 bits, loads {data, 0b0} when load, reset 0"),
        "prologue\n    load\n" + "".join(f'instruction {code} "{code}"\n    stop\n' for code in (0, 1, "others")))
    assert presented(contents, reduce) == {"control": frozenset((0, 4, 1, 5))}


@pytest.mark.parametrize("reduce", [True, False])
def test_equal_words_on_free_lines(reduce: bool) -> None:
    """A coded input has three values, and the fourth is never on the lines."""
    contents = contents_of(
        TWINS.format(line="level", declared="input level (low, middle, high)").replace("    instruction level\n", "")
        .replace("    step step\n", ""), "routine all at 0\n" + "    stop\n" * 8)
    assert presented(contents, reduce) == {"control": frozenset((0, 2, 4))}


def lines(bench: Bench) -> dict[str, Node]:
    """What may form the address of a second store: what counts by itself, what is held, an agent, an input."""
    terms = bench.terms
    count, held = bench.state("count", 1, 0), bench.state("held", 1, 0)
    here = bench.state("one.here", 1, 0, None, "one")
    comes, hand = bench.input("one.comes", 1), bench.input("hand", 1)
    bench.next("count", terms.not_(count))
    bench.next("held", terms.or_((held, bench.leaf("field", "pulse", 1))))
    bench.next("one.here", terms.or_((here, comes)))
    return {"count": count, "held": held, "agent": here, "input": hand, "agent's input": comes}


@pytest.mark.parametrize("reduce", [True, False])
@pytest.mark.parametrize("line", ["count", "held", "agent", "input", "agent's input"])
def test_a_second_store_on_which_nothing_depends(line: str, reduce: bool) -> None:
    bench = Bench()
    terms = bench.terms
    upc = bench.state("upc", 2, 0)
    bench.next("upc", terms.add(upc, terms.const(1, 2)))
    pulse = bench.store("control", upc, {"pulse": 1, "rest": 1}, [2, 2, 2, 2])["pulse"]
    bench.store("beside", terms.join([lines(bench)[line], pulse]), {"work": 1}, [1, 1, 1, 1])
    contents = bench.contents()
    found = presented(contents, reduce)
    assert found == oracle.decide(contents, ()).executed
    assert found["beside"] == frozenset((1, 3))


def test_a_store_that_holds_no_microprogram_is_left_out() -> None:
    bench = Bench()
    upc = bench.state("upc", 1, 0)
    bench.next("upc", bench.terms.not_(upc))
    bench.store("control", upc, {"pulse": 1}, [0, 1])
    bench.store("beside", upc, {"work": 1}, [1, 1])
    bench.stores["beside"] = bench.stores["beside"]._replace(fill="map")
    assert presented(bench.contents(), True) == {"control": frozenset((0, 1))}
