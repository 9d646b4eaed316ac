"""Counters that are not understood: a word that names a label, and may go on to the one below, is never let stand
anywhere. Where the text says how a counter is written, the words of it are walked by hand."""

import pytest

from ordain.pipeline import build_texts
from ordain.text.findings import Severity

MACHINE = """\
machine m "two states take turns"
microprogram "m.micro"
clock clk (first, second)
store control 64 words of 13 bits
    address {address}
field op 1 bit
field if_z 1 bit
field target 6 bits address, idle 0
field mark 5 bits, idle 0
input z 1 bit
{states}
order goto <there>: op, target <there>
order when z <there>: if_z, target <there>
"""
MICRO = """\
routine start at 0
    mark 1, goto pair
routine pair
    mark 2, when z start
    mark 3, goto start
""" + "".join(f"routine filler{cell} at {cell}\n    goto start\n" for cell in range(1, 40, 2))
PHASES = "state ahead 6 bits, reset 0, on first\n    next target if op or (if_z and z) else {} + 1\n" \
    "state active 6 bits, reset 0, on second\n    next ahead\n"
FIRST = PHASES.format("ahead").split("state active")[0]
LATER = PHASES.replace("first", "other").replace("second", "first").replace("other", "second")
BASE = "state base 6 bits, reset 0\n    next target if op or (if_z and z) else base\n" \
    "state step 2 bits, reset 0\n    next 0 if op or (if_z and z) else step + 1\n"
LINK = "state link 6 bits, reset 0, on second\n    next active + 1 if mark is 31 else link\n"


def built(address: str, states: str, micro: str = MICRO) -> dict[int, int] | set[str]:
    """What stands in each cell; or the names of the errors."""
    text = MACHINE.replace("{address}", address).replace("{states}", states)
    made, findings = build_texts({"m.machine": text, "m.micro": micro}, "m.machine")
    if made is None:
        return {finding.name for finding in findings if finding.severity is Severity.ERROR}
    return made.placement.words["control"]


@pytest.mark.parametrize(("address", "states"), [
    ("active", PHASES.format("ahead")), ("active", LATER.format("ahead")), ("active", PHASES.format("ahead") + LINK),
    ("base + {0b0000, step}", BASE), ("active or {0b00000, z}", PHASES.format("ahead")),
    ("{hi, lo}", FIRST + "state hi 3 bits, reset 0, on second\n    next ahead[5:3]\n"
     "state lo 3 bits, reset 0, on second\n    next ahead[2:0]\n"),
    ("not active", FIRST + "state active 6 bits, reset 63, on second\n    next not ahead\n"),
    ("active", FIRST + "state active 6 bits, reset 0, on second\n    next ahead and {not z, 0b11111}\n"),
    ("active", PHASES.format("ahead").replace("ahead + 1", "{ahead[4:0], ahead[5] xor not ahead[4]}")),
    ("active", FIRST + "bus way 6 bits, multiplexed\n    driven by ahead\nstate active 6 bits, reset 0, on second\n"
     "    next way\n"),
    ("way", "bus way 6 bits, multiplexed\n    driven by upc\nstate upc 6 bits, reset 0\n    next target if op or (if_z "
     "and z) else upc + 1\n")],
    ids=["a phase before", "a phase after", "with a call", "a base", "with a line put to it", "in two halves", "turned",
         "gated", "by gates", "over a bus", "presented on a bus"])
def test_a_word_that_may_go_on_does_not_stand_anywhere(address: str, states: str) -> None:
    assert built(address, states) == {"no-order"}


STALLED = "input hold 1 bit\nstate upc 6 bits, reset 0\n    next {}target if op or (if_z and z) else upc + 1\n" \
    "state active 6 bits, reset 0\n    next active if hold else upc\n"


@pytest.mark.parametrize("held", ["upc if hold else ", ""])
def test_a_pipeline_that_is_held_has_its_words_in_a_row(held: str) -> None:
    """The word behind a jump is obeyed while that is on its way."""
    fillers = "".join(f"routine filler{at} at {at}\n    goto start\n    mark 7\n" for at in range(2, 40, 3))
    micro = "routine start at 0\n    mark 1, goto pair\n    mark 2\nroutine pair\n    mark 3, when z start\n" \
        "    mark 4\n    mark 5, goto start\n    mark 6\n" + fillers
    machine = MACHINE.replace("clock clk (first, second)\n", "").replace("{address}", "active").replace(
        "{states}", STALLED.format(held))
    made, findings = build_texts({"m.machine": machine, "m.micro": micro}, "m.machine")
    assert made is not None, findings
    cells = made.placement.words["control"]
    pair = cells[0] >> 5 & 63
    assert [cells[at] & 31 for at in (0, 1, *range(pair, pair + 4))] == [1, 2, 3, 4, 5, 6]


@pytest.mark.parametrize(("last", "said"), [
    ("mark 3", None),                                   # it may be obeyed while a jump is on its way
    ("mark 3, when z start", {"no-order"}),             # it may go on to whatever stands there
])
def test_the_last_word_where_the_counter_is_not_understood(last: str, said: set[str] | None) -> None:
    cells = built("active", PHASES.format("ahead"), f"routine start at 0\n    mark 1, goto pair\n"
                                                    f"routine pair at 9\n    mark 2, goto start\n    {last}\n")
    assert (cells == said) if said is not None else isinstance(cells, dict)


@pytest.mark.parametrize("states", [PHASES.format("active"), LATER.format("active")])
def test_the_second_plus_one_is_understood(states: str) -> None:
    """Cells of odd addresses are taken: the two words of the pair stand behind these."""
    cells = built("active", states)
    assert isinstance(cells, dict) and cells[0] & 31 == 1
    pair = cells[0] >> 5 & 63
    assert cells[pair] & 31 == 2 and cells[pair + 1] & 31 == 3 and pair >= 40


@pytest.mark.parametrize("states", [PHASES.format("ahead"), BASE], ids=["phases", "a base"])
def test_where_no_word_can_go_on_each_may_stand_anywhere(states: str) -> None:
    cells = built("active" if "active" in states else "base + {0b0000, step}", states,
                  MICRO.replace("when z start", "goto start"))
    assert isinstance(cells, dict)


@pytest.mark.parametrize(("low", "said"), [("target[5:2]", set()), ("page", {"no-order"})])
def test_what_is_put_into_the_address_that_a_word_holds_is_no_counter(low: str, said: set[str]) -> None:
    """A digit that counts chooses one of four words; beside a page it is the counter, seen through a second state."""
    states = "state page 4 bits, reset 0\n    next target[5:2] if op else page\n" \
        "state digit 2 bits, reset 0, on first\n    next digit + 1\n" \
        f"state active 6 bits, reset 0, on second\n    next {{{low}, digit}}\n"
    four = "routine four\n" + "".join(f"  w{n}: mark {n + 1}, target table(w0, w1, w2, w3)\n" for n in range(4))
    cells = built("active", states, "routine start at 0\n    target table(w0, w1, w2, w3)\n" + four)
    assert (cells == said) if said else isinstance(cells, dict)
