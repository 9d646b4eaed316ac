"""Which questions about several cycles are decided on the search of the machine alone."""

import pytest

from ordain.control.model import System
from ordain.control.system import build_system
from ordain.machine.expression import Node
from ordain.prover.answers.monitors import in_order
from ordain.prover.decide import decide
from ordain.prover.model import Property
from ordain.prover.questions import lower_properties
from tests import oracle
from tests.workshop import contents_of

MACHINE = """machine weir
microprogram "weir.micro"
store control 8 words of 4 bits
    address upc
field branch 2 bits
    step     0 idle
    wipe     1
    dispatch 2
    home     3
field open 1 bit
spare 1 bit
state upc 3 bits, reset 0
    next choose branch
        dispatch : {0b1, opcode}
        home     : 0
        otherwise : upc + 1
input clear 1 bit
input new 2 bits
state opcode 2 bits, reset 3
    next choose branch
        wipe      : 0 if clear else opcode
        home      : new
        otherwise : opcode
home start
"""
MICRO = """routine start at 0
    open
    branch wipe
    branch dispatch
routine ends at 4
    open
    branch step
    open
    branch home
"""
CONTENTS = contents_of(MACHINE, MICRO)
TERMS = CONTENTS.machine.terms
OPEN, CLEAR = TERMS.leaf("field", "open", 1), TERMS.leaf("input", "clear", 1)
ODD = TERMS.among(TERMS.leaf("state", "opcode", 2), frozenset((1, 3)))


def ordered(node: Node) -> list[Node]:
    system: System = build_system(CONTENTS)
    (prop,) = lower_properties(system, (Property("asked", "", "reach", node),))
    return in_order(system, prop)


def test_conditions_in_cycles_one_after_another() -> None:
    both = TERMS.and_((CLEAR, TERMS.prior(TERMS.and_((OPEN, TERMS.prior(CLEAR))))))
    assert ordered(both) == [CLEAR, OPEN, CLEAR]
    assert ordered(TERMS.prior(TERMS.prior(OPEN))) == [OPEN, TERMS.const(1, 1), TERMS.const(1, 1)]
    assert ordered(TERMS.and_((ODD, TERMS.prior(OPEN)))) == [OPEN, ODD], "the last cycle may ask about anything"


@pytest.mark.parametrize("node", [
    TERMS.and_((CLEAR, TERMS.not_(TERMS.prior(OPEN)))),     # in the first cycle, too, where nothing has been
    TERMS.or_((CLEAR, TERMS.prior(OPEN))),
    TERMS.prior(ODD),                                       # a state of the machine would have to be kept everywhere
    TERMS.prior(TERMS.not_(TERMS.prior(OPEN)))])
def test_what_is_more_than_that(node: Node) -> None:
    assert ordered(node) == []


FORGETFUL = """machine sluice
microprogram "sluice.micro"
store control 4 words of 4 bits
    address upc
field branch 2 bits
    step  0 idle
    asked 1
    home  2
    take  3
spare 2 bits
state upc 2 bits, reset 0
    next choose branch
        asked     : 2 if flag else 3
        home      : 0
        otherwise : upc + 1
input go 1 bit
state flag 1 bit, reset 0
    next go if branch is take else flag
home start
"""


@pytest.mark.parametrize("kind", ["bad", "reach"])
def test_what_only_the_comparison_still_looks_at(kind: str) -> None:
    """At 2 the flag is 1 and was 1; but once it has been asked nothing of the machine looks at it any more, so the
    search of the machine alone holds it at 0 there."""
    contents = contents_of(FORGETFUL, "routine start at 0\n    branch take\n    branch asked\n"
                                      "    branch home\n    branch home\n")
    terms = contents.machine.terms
    flag, upc = terms.leaf("state", "flag", 1), terms.leaf("state", "upc", 2)
    node = terms.and_((terms.among(upc, frozenset((2,))), terms.equal(terms.prior(flag), flag)))
    asked = Property("same", "", kind, node)  # type: ignore[arg-type]
    (found,) = decide(contents, build_system(contents), (asked,)).verdicts
    assert found.outcome == oracle.verdict(contents, asked).outcome == ("broken" if kind == "bad" else "proved")
