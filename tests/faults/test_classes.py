"""Each class of fault on a machine small enough to work out by hand, and its twin one bit away."""

from functools import cache
from pathlib import Path

import pytest

from ordain.faulting import Campaign
from ordain.faults.listing import bit_faults
from ordain.faults.model import Fault, FaultOutcome, Noticed
from ordain.pipeline import build_model
from ordain.prover.model import Limits
from tests.workshop import contents_of

ROOT = Path(__file__).parents[2]

MACHINE = """\
machine bell "rings, and shows that it does"
microprogram "m.micro"
store control 8 words of 8 bits
    address upc
    unused  next start
field next 3 bits address, idle following
field ring 1 bit
field lamp 1 bit
field tone 2 bits
    low  0 idle
    mid  1
    high 2
spare 1 bit
state upc 3 bits, reset 0
    next next
bus sound 1 bit, pulled low
    driven by bell when ring
    sampled by horn when ring
rule "the bell rings alone" never ring and lamp
rule "the bell rings" reach ring
rule "the lamp is lit" reach lamp
"""
MICRO = """\
routine round
  start:
        ring
        lamp
        tone mid, next start
"""


@cache
def campaign() -> Campaign:
    return Campaign(contents_of(MACHINE, MICRO))


def fault(address: int, line: str) -> Fault:
    found = [one for one in bit_faults(campaign().contents)
             if one.address == address and one.text.endswith(f": {line}")]
    assert len(found) == 1
    return found[0]


def come_to(address: int, line: str) -> FaultOutcome:
    """Both ways to it."""
    one = fault(address, line)
    (tried,) = campaign().of([one])
    assert campaign().plainly(one) == tried.outcome
    return tried.outcome


def test_a_rule_notices_it_in_the_cycle_that_presents_the_word() -> None:
    assert come_to(1, "ring").noticed == Noticed("never", "the bell rings alone", 2)
    assert come_to(0, "lamp").noticed == Noticed("never", "the bell rings alone", 1)


def test_the_same_bit_where_no_rule_speaks_of_it_is_silent() -> None:
    assert come_to(2, "lamp").kind == "silent" == come_to(2, "ring").kind
    assert come_to(1, "lamp").noticed is not None       # the lamp is never lit any more
    assert come_to(2, "lamp").titles


def test_what_is_missing_is_noticed_without_a_cycle() -> None:
    noticed = come_to(0, "ring").noticed
    assert noticed is not None and noticed.cycles is None


def test_a_code_without_a_name_is_noticed_and_one_with_a_name_is_not() -> None:
    assert come_to(2, "tone[1]").noticed == Noticed("undefined-code", "tone", 3)
    assert come_to(2, "tone[0]").kind == "silent"
    assert come_to(0, "tone[1]").kind == "silent"


def test_a_spare_bit_is_harmless() -> None:
    assert come_to(0, "spare bit 0").kind == "harmless"


def test_control_that_comes_to_an_empty_place_is_noticed() -> None:
    noticed = come_to(2, "next[2]").noticed
    assert noticed is not None and noticed == Noticed("nowhere", "control", 4)


def test_a_word_that_is_passed_by_is_noticed_as_never_executed() -> None:
    contents = contents_of(MACHINE.replace('rule "the bell rings" reach ring\n', ""),
                           MICRO.replace("        ring\n", "        tone mid\n        lamp\n"))
    found = Campaign(contents)
    one = next(one for one in bit_faults(contents) if one.address == 0 and one.text.endswith("next[1]"))
    (tried,) = found.of([one])
    assert tried.outcome == found.plainly(one)
    assert tried.outcome.noticed is not None


def test_a_word_that_nobody_executes_is_harmless_in_all_its_bits() -> None:
    contents = contents_of(MACHINE, MICRO + "routine spare_routine\n        ring, lamp, next start\n")
    found = Campaign(contents)
    faults = [one for one in bit_faults(contents) if "spare_routine" in one.names]
    assert len(faults) == 8
    assert {tried.outcome for tried in found.of(faults)} == {FaultOutcome("harmless")} == {*map(found.plainly, faults)}


@pytest.mark.parametrize("limits", [Limits(states=1)])
def test_what_is_not_decided_is_told_as_that(limits: Limits) -> None:
    found = Campaign(contents_of(MACHINE, MICRO), limits)
    one = fault(2, "lamp")
    assert found.plainly(one).kind == "undecided" == next(found.of([one])).outcome.kind


def test_which_changed_instructions_no_longer_do_what_their_text_says() -> None:
    """`load n` is said to load acc and to count pc. Without the first it does something else; what stands in temp is
    nobody's business, so a load of that is a change and no more."""
    built, _ = build_model(ROOT / "examples/stepper/carillon.machine")
    assert built is not None
    campaign = Campaign(built.contents)
    faults = {one.text.rpartition(": ")[2].split()[0]: one for one in bit_faults(built.contents)
              if one.text.startswith("load n at control 00A: ")}
    for field, meanings in (("load_acc", ("load n",)), ("count_pc", ("load n",)), ("load_temp", ())):
        expected = FaultOutcome("changed", titles=("load n",), meanings=meanings)
        assert campaign.plainly(faults[field]) == expected
        assert [one.outcome for one in campaign.of([faults[field]])] == [expected]


def test_the_bits_of_a_store_without_fields_are_called_by_their_number_and_are_not_spare() -> None:
    """A decoder in a PROM; a bit that nothing holds is spare only where fields say what the others are."""
    prom = "store lit 8 words of 2 bits\n    address upc\n    word {upc[0], upc is 3}\n" \
           "store tone_out 8 words of 1 bit\n    address upc\n    word upc is 1\n" \
           "chip U1 8 x 1\n    holds tone_out\n    address upc\nchip U2 8 x 2\n    holds lit\n    address upc\n" \
           "chip U3 8 x 8\n    holds control[7:1], spare\n    address upc\n"
    contents = contents_of(MACHINE.replace("bus sound", prom + "bus sound"), MICRO)
    lines = {one.text.split(": ")[1] for one in bit_faults(contents) if one.store != "control"}
    assert lines == {"lit[1] (U2.D1)", "lit[0] (U2.D0)", "tone_out (U1.D0)"}
