"""What is taken over from the sound machine, and when: without its condition each shortcut gives a wrong class."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ordain.control.system import build_system
from ordain.faulting import Campaign
from ordain.faults.listing import bit_faults
from ordain.faults.model import Fault, FaultOutcome, Noticed
from ordain.meaning.following import Read
from ordain.misdoing import OneOfMany, speaks_of
from ordain.pipeline import build_model
from ordain.prover import family
from ordain.prover.decide import decide
from ordain.prover.family import MachineFamily
from ordain.prover.ground import Ground
from ordain.prover.model import Limits, Property, Verdicts
from ordain.rom.contents import Contents
from tests.faults.test_classes import MACHINE, MICRO
from tests.meaning.test_proof import ADD, LENT
from tests.meaning.till import FETCH
from tests.workshop import contents_of

ROOT = Path(__file__).parents[2]
RULES = """\
rule "a lamp follows a bell" reach lamp and prior(ring)
rule "no high tone after a lamp" never tone is high and prior(lamp)
rule "a bell is answered" when ring then tone is mid within 3 cycles
rule "the round goes on" always reach ring
"""
LAMP = 'rule "a lamp waits for a bell" never lamp and prior(tone is mid)\n'
"""A jump from the last word to the second breaks this; without it, such a jump is noticed since no bell follows."""
MACHINES = [contents_of(MACHINE + RULES, MICRO), contents_of(MACHINE + RULES + LAMP, MICRO)]


def classes(contents: Contents) -> dict[str, FaultOutcome]:
    return {one.fault.text: one.outcome for one in Campaign(contents).of([*bit_faults(contents)])}


@pytest.fixture(scope="module")
def plain() -> list[dict[str, FaultOutcome]]:
    return [{one.text: campaign.plainly(one) for one in bit_faults(campaign.contents)}
            for campaign in map(Campaign, MACHINES)]


def nobody(self: MachineFamily, *_: object) -> frozenset[int]:
    return frozenset()


CARELESS: dict[str, Callable[[pytest.MonkeyPatch], None]] = {
    "a way that presents words which are others": lambda patch: patch.setattr(
        Ground, "occurs", property(lambda ground: {node: words if words is None else frozenset()
                                                   for node, words in ground.__dict__["occurs"].items()},
                                   lambda ground, value: ground.__dict__.__setitem__("occurs", value)), raising=False),
    "conditions that are others": lambda patch: patch.setattr(MachineFamily, "_own", nobody),
    "states that present words which are others": lambda patch: patch.setattr(
        MachineFamily, "_presenting", lambda self, machines: self._space.false),
    "what is not reached from everywhere": lambda patch: patch.setattr(
        MachineFamily, "_from_everywhere", lambda self, machines, able: True),
}


@pytest.mark.parametrize("few", [0, 8])
def test_with_their_conditions_all_say_what_a_proof_of_each_machine_says(
        few: int, plain: list[dict[str, FaultOutcome]], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(family, "FEW", few)
    assert [classes(contents) for contents in MACHINES] == plain
    assert {one.kind for one in plain[0].values()} == {"noticed", "silent", "harmless"}


@pytest.mark.parametrize("left_out", CARELESS)
def test_without_its_condition_a_shortcut_is_wrong(
        left_out: str, plain: list[dict[str, FaultOutcome]], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(family, "FEW", 0)
    CARELESS[left_out](monkeypatch)
    assert [classes(contents) for contents in MACHINES] != plain


def test_a_meaning_is_proved_anew_where_a_word_was_read_that_is_another(monkeypatch: pytest.MonkeyPatch) -> None:
    built, _ = build_model(ROOT / "examples/stepper/carillon.machine")
    assert built is not None
    fault = next(one for one in bit_faults(built.contents) if one.text.startswith("load n at control 00A: load_acc"))
    expected = Campaign(built.contents).plainly(fault)
    assert expected.meanings == ("load n",)
    assert [one.outcome for one in Campaign(built.contents).of([fault])] == [expected]
    monkeypatch.setattr(Read, "touches", lambda read, changes: False)
    assert [one.outcome for one in Campaign(built.contents).of([fault])] != [expected]


def test_what_is_taken_for_granted_is_asked_anew_where_control_comes_to_something_else(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """The guest writes in the second word if the bus is lent in the first."""
    contents = contents_of(LENT, FETCH + 'instruction 1 "add"\n' + ADD)
    fault = next(one for one in bit_faults(contents) if one.text.startswith("add at ") and one.text.endswith(": lent"))
    expected = Campaign(contents).plainly(fault)
    assert expected.kind == "changed" and expected.meanings == ("add",)
    assert [one.outcome for one in Campaign(contents).of([fault])] == [expected]
    monkeypatch.setattr(OneOfMany, "decided", lambda one, asked: None)
    assert [one.outcome for one in Campaign(contents).of([fault])] == [expected]
    whole = Campaign._noticed

    def careless(campaign: Campaign, faults: list[Fault]) -> tuple[dict[int, Noticed], MachineFamily]:
        noticed, searched = whole(campaign, faults)
        searched.alike = frozenset(range(len(faults)))
        return noticed, searched

    monkeypatch.setattr(Campaign, "_noticed", careless)
    assert [one.outcome for one in Campaign(contents).of([fault])] != [expected]


def test_what_is_taken_for_granted_is_told_by_the_search_of_each_machine_by_itself(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """With the bus lent the guest may write, which is told of that machine and not of the sound one."""
    contents = contents_of(LENT, FETCH + 'instruction 1 "add"\n' + ADD)
    faults = [one for one in bit_faults(contents) if one.text.startswith("add at ")]
    expected = [Campaign(contents).plainly(one) for one in faults]
    told = list[bool]()
    whole = OneOfMany.decided

    def noted(one: OneOfMany, asked: tuple[Property, ...]) -> Verdicts | None:
        found = whole(one, asked)
        told.append(found is not None)
        return found

    monkeypatch.setattr(OneOfMany, "decided", noted)
    assert [one.outcome for one in Campaign(contents).of(faults)] == expected and {*told} == {True}
    monkeypatch.setattr(MachineFamily, "occurs", lambda searched, machine, node: False)     # so it is of the sound one
    assert [one.outcome for one in Campaign(contents).of(faults)] != expected


def test_a_search_tells_nothing_of_bits_that_it_has_not_followed() -> None:
    """`upc` alternates between 0 and 2; a question about its lowest bit alone follows that bit alone."""
    contents = contents_of("machine pump\nstore control 4 words of 1 bit\n    address {0b0, upc[0]}\nfield ring 1 bit\n"
                           "state upc 2 bits, reset 0\n    next {not upc[1], upc[0]}\n"
                           'rule "the pump is quiet" never upc[0]\n', "routine round at 0\n        ring\n")
    system, terms = build_system(contents), contents.machine.terms
    upc = contents.machine.terms.leaf("state", "upc", 2)
    low, high = (Property("never", "", "bad", terms.slice(upc, bit, bit)) for bit in (0, 1))
    assert decide(system, (high,)).verdicts[0].outcome == "broken"
    searched = MachineFamily(Ground(system, (low,), 1, Limits()), [{}], ())
    assert not speaks_of({upc: 0b10}, searched.followed) and speaks_of({upc: 0b01}, searched.followed)
    assert not searched.occurs(0, high.node)


def test_a_word_is_executed_where_one_of_its_places_is() -> None:
    """Every word of `carillon` stands at each level of the lines that its instruction does not ask about."""
    built, _ = build_model(ROOT / "examples/stepper/carillon.machine")
    assert built is not None
    campaign = Campaign(built.contents)
    executed = campaign.executed["control"]
    first, places = next(one for one in campaign._copies.values() if len(one[1] & executed) > 1)
    shown, elsewhere = places & executed, frozenset((max(executed) + 1,))
    assert campaign._executed_no_more({"control": (shown, elsewhere)}) == {("control", first)}
    assert not campaign._executed_no_more({"control": (shown - {min(shown)}, elsewhere)})
    assert not campaign._executed_no_more({"control": (shown, frozenset((first,)))})


def test_a_question_of_the_sound_machine_serves_only_if_it_speaks_of_what_was_followed() -> None:
    terms = MACHINES[0].machine.terms
    mode, field = terms.leaf("state", "mode", 2), terms.leaf("field", "ring", 1)
    assert speaks_of({mode: 2, terms.leaf("input", "key", 1): 1}, {mode: 2})
    for asked, followed in (({mode: 3}, {mode: 2}), ({mode: 1}, {}), ({field: 1}, {mode: 3})):
        assert not speaks_of(asked, followed)
