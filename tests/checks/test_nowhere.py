"""Words that nobody placed, in a second store that goes its own way: nothing else asks where it is."""

import pytest

from ordain.checks import nowhere
from ordain.control.system import build_system
from ordain.prover.decide import decide
from tests.workshop import contents_of

TURRET = """\
machine turret "a turret that turns beside its control"
microprogram "m.micro"
store control 2 words of 2 bits
    address now
field pulse 1 bit
spare 1 bit
store beside 8 words of 2 bits
    address {turn, PULSE}
field shine 1 bit
spare 1 bit
state now 1 bit, reset 0
    next not now
state turn 2 bits, reset 0
    next turn + 1 if turn is not LAST else turn
input key 1 bit
order rest :
"""
MICRO = """\
routine first in control at 0
        WORD
        WORD
routine lights in beside at 0
        shine
"""


@pytest.mark.parametrize(("pulse", "word", "last", "cycles"), [
    # `beside` holds 4 words, at 0 to 3: turn 0 and 1
    ("pulse", "rest", 1, {}),
    ("pulse", "rest", 3, {4: 3, 6: 4}),                      # in cycle 2, and in cycle 3
    ("pulse", "pulse", 3, {5: 3, 7: 4}),
    ("key", "pulse", 3, {4: 3, 5: 3, 6: 4, 7: 4}),              # a line from outside: both
    ("now", "pulse", 3, {4: 3, 7: 4, 6: 5}),                    # and it stays at 3: then both
])
def test_every_address_is_told_with_its_shortest_way(pulse: str, word: str, last: int, cycles: dict[int, int]) -> None:
    micro = MICRO.replace("WORD", word) + "        shine\n" * 3
    contents = contents_of(TURRET.replace("PULSE", pulse).replace("LAST", str(last)), micro)
    question = next(one for one in nowhere.ask(contents) if one.subject == "beside")
    (verdict,) = decide(build_system(contents), (question,)).verdicts
    assert verdict.outcome == ("broken" if cycles else "proved")
    assert {found.address: found.cycles for found in verdict.breaks} == cycles
    for found in verdict.breaks:
        assert found.trace is not None and found.trace.cycles[-1].addresses["beside"] == found.address
