"""What a driver puts on a bus stays as long as everything does that it is made of. One word in three moves something;
which of the others see it is counted by hand."""

import pytest

from ordain.checks import missing_hold
from ordain.checks.wording import about
from ordain.control.system import build_system
from ordain.prover.decide import decide
from ordain.prover.model import Limits
from tests.workshop import contents_of

MACHINE = """\
machine carillon "bells that are struck by a barrel"
microprogram "m.micro"
store control 64 words of 13 bits
    address upc
field last  1 bit
field give  1 bit
field beat  1 bit
field load  1 bit
field open  1 bit
field turn  1 bit
field put   1 bit
field lend  1 bit
field tune  2 bits, idle 0
field other 1 bit
spare 2 bits
state upc 6 bits, reset 0
    next 0 if last else upc + 1
state barrel 2 bits, reset 0
    next barrel + 1 if turn else barrel
register wire 2 bits, loads wire + 1 when load
latch pane 2 bits, loads wire when open
memory book 4 words of 2 bits
    address ADDRESS
    writes wire when put
input wind 2 bits
constant still = 2
signal both = wire xor barrel
bus rope 2 bits, floats
    driven by wire when lend
bus bell 2 bits, floats
    driven by clapper = VALUE when give
strobe beat
    bell steady 1 cycle before, 1 cycle after
"""
EVENTS = {"load": {"after"}, "turn": {"after"}, "put": {"after"}, "open": {"during", "after"},
          "lend 0": {"during", "after"}, "tune 1": {"before", "after"}, "other": {"after"}}
"""What can stand in a word, with the sides of its pulse on which that shows: what moves at the end of the word has
moved after it; a latch that is open and a bus that nobody drives are not settled within it; what the word itself says
is other before and after."""
ALWAYS = frozenset(EVENTS)


PULSE = 4
"""Words that belong to one pulse."""


def pulses(event: str) -> list[str]:
    """Two of them: something moves in the word before the pulse, and in the pulse's own."""
    word = ", ".join(["give", *(() if event == "lend 0" else ("lend",)), *(() if event == "nothing" else (event,))])
    still = "give, lend"
    return [still, word, f"{still}, beat", still, still, still, f"{word}, beat", still]


def broken(value: str, address: str, machine: str = MACHINE) -> list[set[str]]:
    """Of each pulse the sides on which the bus is not steady; of the two of "nothing" first."""
    words = [word for event in ("nothing", *EVENTS) for word in pulses(event)]
    micro = "routine main at 0\n" + "".join(f"        {word}\n" for word in words).rstrip() + ", last\n"
    contents = contents_of(machine.replace("VALUE", value).replace("ADDRESS", address), micro)
    found: list[set[str]] = [set() for _ in words[::PULSE]]
    asked = tuple(missing_hold.ask(contents))
    for verdict in decide(build_system(contents), asked, Limits(traces=0)).verdicts:
        for one in verdict.breaks:
            assert one.address is not None
            found[one.address // PULSE].add(about(verdict.property).detail.part)
    return found


@pytest.mark.parametrize(("value", "address", "by"), [
    ("wire", "barrel", {"load"}),
    ("pane", "barrel", {"open"}),
    ("barrel", "wire", {"turn"}),
    ("tune", "wire", {"tune 1"}),
    ("still", "wire", set()),
    ("rope", "barrel", {"load", "lend 0"}),
    ("both", "barrel", {"load", "turn"}),
    ("wire and pane", "barrel", {"load", "open"}),
    ("wire xor tune", "barrel", {"load", "tune 1"}),
    ("{wire[0], tune[0]}", "barrel", {"load", "tune 1"}),
    ("{wire[0], tune[1]}", "barrel", {"load", "tune 1"}),   # a field counts as a whole
    ("barrel xor tune", "wire", {"turn", "tune 1"}),
    ("wind", "wire", ALWAYS),             # a line from outside may always change
    ("wire and wind", "wire", ALWAYS),
    ("book", "wire", {"put", "load"}),
    ("book", "pane", {"put", "open"}),
    ("book", "barrel", {"put", "turn"}),
    ("book", "tune", {"put", "tune 1"}),
    ("book", "rope", {"put", "load", "lend 0"}),
    ("book", "0b00", {"put"}),
    ("book", "wire xor barrel", {"put", "load", "turn"}),
    ("book", "wind", ALWAYS),
    ("book + wire", "barrel", {"put", "turn", "load"}),
    ("book xor tune", "pane", {"put", "open", "tune 1"}),
    ("book and rope", "0b01", {"put", "load", "lend 0"}),
    ("book xor wind", "0b01", ALWAYS),
])
def test_what_moves_what_is_driven(value: str, address: str, by: frozenset[str]) -> None:
    always = {"before", "after"} if by == ALWAYS else set()
    expected = [always, always]
    for event, sides in EVENTS.items():
        expected += [always, always] if event not in by or always else [{"before"}, sides]
    assert broken(value, address) == expected


@pytest.mark.parametrize(("value", "address"), [("rope", "barrel"), ("book", "rope"), ("book and rope", "0b01")])
def test_a_bus_that_is_followed_may_be_declared_later(value: str, address: str) -> None:
    rope = "bus rope 2 bits, floats\n    driven by wire when lend\n"
    later = MACHINE.replace(rope, "") + rope
    assert later != MACHINE and broken(value, address, later) == broken(value, address)


CHART = "store chart 4 words of 2 bits\n    address barrel\n    word barrel + 1\n"


@pytest.mark.parametrize(("name", "by"), [
    ("wire", {"load"}), ("pane", {"open"}), ("barrel", {"turn"}), ("tune", {"tune 1"}), ("still", set()),
    ("both", {"load", "turn"}), ("book", {"put", "turn"}), ("chart", {"turn"})])
def test_a_driver_that_is_what_it_is_called(name: str, by: set[str]) -> None:
    machine = MACHINE.replace("clapper = VALUE", name).replace("memory book", f"{CHART}memory book")
    assert broken("", "barrel", machine) == [set(), set(), *(
        side for event, sides in EVENTS.items() for side in ([{"before"}, sides] if event in by else [set(), set()]))]


def test_a_line_from_outside_that_is_said_to_stand_still_may_change() -> None:
    """What is assumed is so in every cycle, and not between two of them."""
    calm = MACHINE + "assume wind is 0\n"
    for value in ("wind", "barrel xor wind"):
        assert broken(value, "barrel", calm) == [{"before", "after"}] * (2 + 2 * len(EVENTS))


@pytest.mark.parametrize("kind", ["wired or", "wired and"])
def test_drivers_that_pull_together(kind: str) -> None:
    """Both are on in every cycle, and one of them never changes."""
    wired = MACHINE.replace("bell 2 bits, floats", f"bell 2 bits, {kind}").replace(
        "when give\n", "when give\n    driven by hammer = still when give\n")
    assert broken("wire", "barrel", wired) == broken("wire", "barrel")


def test_a_bus_without_drivers_is_never_steady_and_at_rest_always() -> None:
    bare = MACHINE.replace("    driven by clapper = VALUE when give\n", "")
    sides = {"before", "during", "after"}
    assert all(found and found <= sides for found in broken("", "barrel", bare))
    assert not any(broken("", "barrel", bare.replace("bell 2 bits, floats", "bell 2 bits, pulled low")))


@pytest.mark.parametrize(("kind", "sides"), [("floats", {"after"}), ("pulled low", {"after"}), ("kept", set())])
def test_the_last_of_two_drivers_leaves(kind: str, sides: set[str]) -> None:
    """In the word behind the pulse nobody drives: only a kept bus stays as it was."""
    text = MACHINE.replace("bell 2 bits, floats", f"bell 2 bits, {kind}").replace(
        "    driven by clapper", "    driven by hammer = still when other\n    driven by clapper")
    micro = "routine main at 0\n        give\n        give\n        give, beat\n        load 0\n        give, last\n"
    contents = contents_of(text.replace("VALUE", "still").replace("ADDRESS", "barrel"), micro)
    found = decide(build_system(contents), tuple(missing_hold.ask(contents)), Limits(traces=0)).verdicts
    assert {about(verdict.property).detail.part for verdict in found if verdict.outcome == "broken"} == sides
