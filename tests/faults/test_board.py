"""Drivers that are always or never on, and synchronisers left out: by hand on machines small enough for that."""

from ordain.control.system import build_system
from ordain.faulting import Campaign
from ordain.faults.listing import driver_faults, synchroniser_faults
from ordain.faults.model import FaultOutcome
from ordain.follow.faults import faults as faults_of_chips
from ordain.follow.wiring import wiring_faults
from ordain.pipeline import build_model
from tests.faults.test_classes import MACHINE, MICRO, ROOT
from tests.workshop import contents_of

DELAYED = """\
input key 1 bit
state key_1 1 bit, reset 0
    next key
state key_2 1 bit, reset 0
    next key_1
register seen 1 bit
    loads key_2 when lamp
"""


def outcomes(machine: str) -> dict[str, FaultOutcome]:
    contents = contents_of(machine, MICRO)
    faults = [*driver_faults(contents.machine), *synchroniser_faults(
        (one.text, one.inside) for one in wiring_faults(build_system(contents)) if one.kind == "synchroniser")]
    campaign = Campaign(contents)
    found = {tried.fault.text: tried.outcome for tried in campaign.of(faults)}
    assert found == {fault.text: campaign.plainly(fault) for fault in faults}
    return found


def test_a_driver_that_is_always_on_fights_and_one_that_is_never_on_leaves_the_bus_alone() -> None:
    other = MACHINE.replace("    sampled by horn", "    driven by gong when lamp\n    sampled by horn")
    found = outcomes(other)
    assert list(found) == ["bell always drives sound", "bell never drives sound", "gong always drives sound",
                           "gong never drives sound"]
    for name in ("bell", "gong"):
        noticed = found[f"{name} always drives sound"].noticed
        assert noticed is not None and noticed.check == "contention"
    assert found["gong never drives sound"].kind == "silent"


def test_the_same_drivers_on_a_bus_that_may_be_driven_by_several() -> None:
    other = MACHINE.replace("pulled low\n", "wired or\n").replace(
        "    sampled by horn", "    driven by gong when lamp\n    sampled by horn")
    assert {one.kind for one in outcomes(other).values()} == {"silent"}


def test_a_synchroniser_left_out_behaves_differently_and_one_that_nobody_reads_does_not() -> None:
    found = outcomes(MACHINE + DELAYED)
    assert found["key_2 left out, key_1 passes at once"].kind == "silent"
    unread = outcomes(MACHINE + DELAYED.replace("loads key_2", "loads key"))
    assert unread["key_2 left out, key_1 passes at once"].kind == "harmless"


def test_of_faults_of_chips_those_alone_are_worked_out_that_are_wanted() -> None:
    built, _ = build_model(ROOT / "examples/two-masters/signalbox.machine")
    assert built is not None
    every = [*faults_of_chips(built.contents, built.images)]
    asked: list[tuple[str, frozenset[str]]] = []

    def wanted(kind: str, text: str, stores: frozenset[str]) -> bool:
        asked.append((kind, stores))
        return text.startswith("U5") and kind != "bridge"

    some = [*faults_of_chips(built.contents, built.images, wanted)]
    assert some == [one for one in every if one.kind == "state" or (one.text.startswith("U5") and one.kind != "bridge")]
    assert {kind for kind, _ in asked} == {"chip", "pin", "bridge", "exchange"}
    assert {stores for _, stores in asked} == {frozenset(("control",))}
