"""Opcodes that nothing tells apart: faults in their words are one, and each condition for that is needed."""

from collections.abc import Callable

import pytest

from ordain.faulting import Campaign
from ordain.faults.listing import bit_faults
from ordain.faults.model import Fault
from ordain.prover.swapping import Swapped
from ordain.rom.contents import Contents
from tests.meaning.till import FETCH, MACHINE
from tests.workshop import contents_of

PROGRAM = FETCH + """\
instruction 1 "count"
        count, branch home
"""
RULE = 'rule "five does nothing" when branch is dispatch and ir is 5 then at "nothing" within 1 cycle\n'


def swaps(machine: str = MACHINE, micro: str = PROGRAM) -> list[Swapped]:
    campaign = Campaign(contents_of(machine, micro))
    return [*campaign._swapped]


def classes(machine: str, micro: str = PROGRAM) -> list[set[int]]:
    """Of `ir`, those of more than one opcode."""
    (found,) = swaps(machine, micro)
    every = {least: {value for value, other in found.like.items() if other == least} for least in found.like.values()}
    return [some for some in every.values() if len(some) > 1]


def test_opcodes_with_one_start_are_one() -> None:
    assert classes(MACHINE) == [{*range(16)} - {1}]


@pytest.mark.parametrize(("change", "alone"), [
    (lambda text: text + RULE, {1, 5}),                                                     # a question names it
    (lambda text: text.replace("register ir   4 bits,", "register ir   4 bits, reset 3\n   "), {1, 3}),
    (lambda text: text.replace("data 8 bits, floats", "data 8 bits, pulled high"), {1, 15}),    # loaded as a number
])
def test_some_are_told_apart(change: Callable[[str], str], alone: set[int]) -> None:
    assert classes(change(MACHINE)) == [{*range(16)} - alone]


@pytest.mark.parametrize("other", [
    MACHINE.replace("register acc  8 bits", "state odd 1 bit, reset 0\n    next data[0] if load is ir else odd\n"
                    "register acc  8 bits").replace("if_zero  : target if zero", "if_zero  : target if zero or odd"),
    MACHINE.replace("    address ir\n", "    address ir + 1\n"),
    MACHINE.replace("    address ir\n", "    address {ir[3:1], ir[0] xor odd}\n")
    + "state odd 1 bit, reset 0\n    next not odd\n",
    MACHINE.replace("if_zero  : target if zero", "if_zero  : target if zero and ir < temp[3:0]"),
], ids=["what is loaded is looked at", "a sum", "a line that is mixed", "compared with what is held"])
def test_others_are_left_alone(other: str) -> None:
    assert swaps(other, FETCH) == []


def outcomes(campaign: Campaign) -> list[object]:
    return [one.outcome for one in campaign.of(entries(campaign.contents))]


def entries(contents: Contents) -> list[Fault]:
    """Those of 5 come first: what is found of them would be said of others."""
    some = [one for one in bit_faults(contents) if one.store == "entry" and one.address < 8 and one.bit in (0, 5)]
    return sorted(some, key=lambda one: one.address != 5)


def test_faults_of_such_opcodes_come_to_what_each_comes_to_alone() -> None:
    contents = contents_of(MACHINE + RULE, PROGRAM)
    campaign, careless = Campaign(contents), Campaign(contents)
    plain = [campaign.plainly(one) for one in entries(contents)]
    assert outcomes(campaign) == plain and campaign._placed
    (found,) = careless._swapped
    careless.__dict__["_swapped"] = (found._replace(like=dict.fromkeys(found.like, 0)),)
    assert outcomes(careless) != plain
