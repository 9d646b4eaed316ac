"""The ways by which an open latch comes round to itself, each with one that is a bit away from it.

That a transparent latch passes on its input while it is enabled, so that a way round through it is an asynchronous
loop: common practice, no source."""

import pytest

from tests.checks.reports import findings_named, outcomes, report
from tests.planted.plant import Sound

MACHINE = """\
machine bellows "bellows of a smithy"
microprogram "m.micro"
store control 4 words of 5 bits
    address upc
field a    1 bit
field b    1 bit
field c    1 bit
field last 1 bit
spare 1 bit
state upc 2 bits, reset 0
    next 0 if last else upc + 1
input key 2 bits
PARTS
"""
MICRO = "routine smith at 0\n        WORD\n        last\n"
PROM = ("store table 4 words of 2 bits\n    address air\n    word air + 1\nlatch air 2 bits, loads pipe when a\n"
        "bus pipe 2 bits, floats\n    driven by table when b\n    driven by foot when a and not b\n")
RING = "latch air 2 bits, loads fire when a\nlatch fire 2 bits\n    loads air when b\n    loads key when c\n"

WAYS = [
    ("it drives the bus", "latch air 2 bits, loads pipe when a\n"
     "bus pipe 2 bits, pulled low\n    driven by air when b\n", "a, b", "a"),
    ("a store between", PROM, "a, b", "a"),
    ("a bus that follows", "latch air 2 bits, loads pipe when a\n"
     "bus pipe 2 bits, pulled low\n    driven by pump, follows hose\n"
     "bus hose 2 bits, pulled low\n    driven by air when b\n", "a, b", "a"),
    ("a signal on a bus", "latch air 2 bits, loads pipe when a\nsignal more = air + 1\nbus pipe 2 bits, pulled low\n"
     "    driven by more when b\n", "a, b", "a"),
    ("who drives the bus", "latch air 2 bits, loads pipe when a\nbus pipe 2 bits, pulled low\n"
     "    driven by foot when b and air[0]\n", "a, b", "a"),
    ("its own enable", "latch air 2 bits, loads key when a and (c or not air[0])\n", "a", "a, c"),
    ("its own source", "latch air 2 bits, loads (air + 1 if b else key) when a\n", "a, b", "a"),
    ("a pair of latches", RING, "a, b", "a, c"),
    ("the enable of another latch", "latch air 2 bits, loads fire when a\n"
     "latch fire 2 bits, loads key when b and air is 1\n", "a, b", "a"),
    ("a gate that is open", "latch air 1 bit, loads key[0] and (air or not b) when a\n", "a, b", "a"),
]


@pytest.mark.parametrize(("parts", "faulty", "sound"), [way[1:] for way in WAYS], ids=[way[0] for way in WAYS])
def test_a_way_round(parts: str, faulty: str, sound: str) -> None:
    def outcome(parts: str, word: str) -> str:
        return outcomes(report(Sound(MACHINE.replace("PARTS", parts), MICRO.replace("WORD", word))))["race air"]

    assert outcome(parts, faulty) == "broken"
    assert outcome(parts, sound) == "proved"


def test_an_edge_triggered_register_ends_the_way() -> None:
    found = report(Sound(MACHINE.replace("PARTS", RING.replace("latch fire", "register fire")),
                         MICRO.replace("WORD", "a, b")))
    assert outcomes(found)["race air"] == "proved"
    assert "race fire" not in outcomes(found)       # of a register nothing is asked


def test_the_finding_names_the_latch_and_the_word() -> None:
    found = report(Sound(MACHINE.replace("PARTS", PROM), MICRO.replace("WORD", "a, b")))
    [finding] = findings_named("race", found)
    assert finding.message == "latch `air` is open and feeds itself at `smith` (0x0)"
    assert finding.span is not None and finding.span.text == "a, b"
