"""An input on the clock keeps its value as long as its phase does not end; any other may change in every phase."""

import pytest

from ordain.checks.run import questions
from ordain.control.system import build_system
from ordain.prover.decide import decide
from tests.agreement import disagreements
from tests.workshop import contents_of

MACHINE = """\
machine latchkey
store control 4 words of 4 bits
    address upc
field branch 1 bit
    step 0 idle
    stay 1
spare 3 bits
clock clk (early, late)
state upc 2 bits, reset 0
    next upc if branch is stay else upc + 1
input key 2 bits on clk, other 1 bit
state seen 2 bits, reset 0, on early
    next key
assume not (key is 3 and other)
rule "the same in both halves" never late and seen is not key
rule "another in the next one" reach early and seen is not key and not prior(at start)
rule "any value"               reach late and key is 2
"""
PROGRAM = "routine start at 0\n    branch step\n    branch step\n    branch step\n    branch stay\n"


def outcomes(machine: str) -> dict[str, str]:
    """The verdict on every rule; what the plain search says is the same."""
    contents = contents_of(machine, PROGRAM)
    asked = [question for _, question in questions(contents)]
    found = decide(build_system(contents), tuple(asked))
    assert disagreements(contents, asked) == []
    assert found.over_assumed.outcome == "proved"
    return {verdict.property.subject: verdict.outcome for verdict in found.verdicts if " " in verdict.property.subject}


@pytest.mark.parametrize("clock", [
    "clock clk (early, late)\n",
    "clock clk (early, late)\n    held while other\n",
    "clock clk (early, late)\n    held while other and early\n",
])
def test_an_input_on_the_clock_stays_as_it_is_through_a_cycle(clock: str) -> None:
    found = outcomes(MACHINE.replace("clock clk (early, late)\n", clock))
    assert found == {"the same in both halves": "proved", "another in the next one": "proved", "any value": "proved"}


def test_an_input_of_its_own_does_not() -> None:
    assert outcomes(MACHINE.replace("on clk,", ","))["the same in both halves"] == "broken"


def test_an_input_on_the_first_half_changes_between_the_halves_alone() -> None:
    found = outcomes(MACHINE.replace("on clk,", "on early,"))
    assert found["the same in both halves"] == "broken"
    late = MACHINE.replace("on clk,", "on early,").replace("on early\n    next key", "on late\n    next key")
    found = outcomes(late.replace("never late and", "never early and not at start and"))
    assert found["the same in both halves"] == "proved"


ARMS = """\
machine turnstile
store control 16 words of 4 bits
    address {key, op, step}
    instruction op
    step step
field over 1 bit
field lamp 3 bits number, idle 0
clock clk (early, late)
    held while stop
input key 1 bit on clk, stop 1 bit
state step 2 bits, reset 0
    next 0 if over else step + 1
register op 1 bit, reset 0
home step is 0
rule "one or the other" never late and key and lamp is 2
rule "both halves"      reach late and key and lamp is 1
"""


def test_an_arm_asks_about_an_input_on_the_clock() -> None:
    """The line is one line, in whichever half the input comes from outside: A3 key, A2 opcode, A1 and A0 step."""
    contents = contents_of(ARMS, "instruction 0 \"in\"\n    when key\n        lamp 1, over\n    otherwise\n"
                                 "        lamp 2, over\ninstruction 1 \"out\"\n    over\n")
    assert [contents.words["control"][address] for address in (0b0_0_00, 0b1_0_00, 0b0_1_00, 0b1_1_00)] == [
        0b1_010, 0b1_001, 0b1_000, 0b1_000]
    asked = [question for _, question in questions(contents)]
    found = decide(build_system(contents), tuple(asked))
    assert {verdict.outcome for verdict in found.verdicts} == {"proved"} and disagreements(contents, asked) == []
